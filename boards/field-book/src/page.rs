//! What a power cut while a page is being erased leaves behind, and how to clear it up.
//!
//! `sequential-storage` marks a page at its first word when it begins to fill it, and at its last when it is full. It
//! reads a marker as set when four or more bits of it are cleared. A page whose erasing was cut short may show any
//! bits, so also those of a page in use; only its neighbours tell.

use core::ops::Range;

use embedded_storage_async::nor_flash::NorFlash;

/// Cleared bits that make a marker.
const MARKED_BITS: u32 = 4;
/// The longest words that `sequential-storage` supports.
const MAX_WORD: usize = 32;

/// What the markers of a page say.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum State {
    /// Nothing was written yet.
    Open,
    /// Records are being added.
    Filling,
    /// It is full.
    Closed,
    /// Neither: its erasing was cut short.
    Torn,
}

/// The pages of a region, by their addresses.
pub fn pages<F: NorFlash>(region: &Range<u32>) -> impl Iterator<Item = u32> + use<F> {
    region.clone().step_by(F::ERASE_SIZE)
}

/// The page after another, round the end of the region.
pub fn next<F: NorFlash>(region: &Range<u32>, page: u32) -> u32 {
    let next = page.saturating_add(F::ERASE_SIZE as u32);
    if next < region.end { next } else { region.start }
}

/// What the markers of a page say.
pub async fn state<F: NorFlash>(flash: &mut F, page: u32) -> Result<State, F::Error> {
    let last = page + (F::ERASE_SIZE - F::READ_SIZE) as u32;
    let (begun, full) = (is_marked(flash, page).await?, is_marked(flash, last).await?);
    Ok(match (begun, full) {
        (false, false) => State::Open,
        (true, false) => State::Filling,
        (true, true) => State::Closed,
        (false, true) => State::Torn,
    })
}

async fn is_marked<F: NorFlash>(flash: &mut F, at: u32) -> Result<bool, F::Error> {
    let mut word = [0xff; MAX_WORD];
    if let Some(word) = word.get_mut(..F::READ_SIZE) {
        flash.read(at, word).await?;
    }
    Ok(word.iter().map(|byte| byte.count_zeros()).sum::<u32>() >= MARKED_BITS)
}

/// Whether nothing was written to a page between its markers. `buffer` is for reading into.
pub async fn is_blank<F: NorFlash>(flash: &mut F, page: u32, buffer: &mut [u8]) -> Result<bool, F::Error> {
    let word = F::READ_SIZE.max(F::WRITE_SIZE) as u32;
    let (mut at, end) = (page + word, page + F::ERASE_SIZE as u32 - word);
    // Whole words at a time.
    let most = buffer.len() as u32 / word * word;
    while at < end {
        let length = most.min(end - at);
        let Some(bytes) = buffer.get_mut(..length as usize).filter(|bytes| !bytes.is_empty()) else {
            return Ok(false);
        };
        flash.read(at, bytes).await?;
        if bytes.iter().any(|byte| *byte != 0xff) {
            return Ok(false);
        }
        at += length;
    }
    Ok(true)
}

/// Erase a page.
pub async fn erase<F: NorFlash>(flash: &mut F, page: u32) -> Result<(), F::Error> {
    flash.erase(page, page + F::ERASE_SIZE as u32).await
}

/// The page after the one that is being filled: the oldest.
pub async fn after_filling<F: NorFlash>(flash: &mut F, region: &Range<u32>) -> Result<u32, F::Error> {
    for page in pages::<F>(region) {
        if state(flash, page).await? == State::Filling {
            return Ok(next::<F>(region, page));
        }
    }
    Ok(region.start)
}

/// Erase again what was being erased when the power was cut, in a region where the oldest pages are erased. Returns
/// how many pages, or `None` where the region makes no sense.
pub async fn finish_erasing<F: NorFlash>(
    flash: &mut F,
    region: &Range<u32>,
    buffer: &mut [u8],
) -> Result<Option<u32>, F::Error> {
    let mut erased = 0;
    let mut filling: Option<u32> = None;
    let mut open = false;
    for page in pages::<F>(region) {
        let torn = match state(flash, page).await? {
            State::Torn => true,
            // It may look open and not be so between its markers.
            State::Open => !is_blank(flash, page, buffer).await?,
            State::Filling => match filling {
                None => {
                    filling = Some(page);
                    false
                }
                // Two of them: the page after the one in use is erased before that one is closed.
                Some(other) if next::<F>(region, other) == page => true,
                Some(other) if next::<F>(region, page) == other => {
                    erase(flash, other).await?;
                    erased += 1;
                    open = true;
                    filling = Some(page);
                    false
                }
                Some(_) => return Ok(None),
            },
            State::Closed => false,
        };
        if torn {
            erase(flash, page).await?;
            erased += 1;
        }
        open |= torn || state(flash, page).await? == State::Open;
    }
    // A page is always open, or being filled.
    Ok((open || filling.is_some()).then_some(erased))
}
