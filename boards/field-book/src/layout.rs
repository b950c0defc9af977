//! Where in flash the book stands.

use core::ops::Range;

use embedded_storage_async::nor_flash::NorFlash;

/// Fewest pages of the region for hops: the one being written, the one being erased, and one that holds something.
const LEAST_RAW_PAGES: u32 = 3;

/// The two regions of a book, as addresses in flash.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Layout {
    kept: Range<u32>,
    raw: Range<u32>,
}

/// Why a layout does not fit a flash.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Misfit {
    /// A region does not begin and end where a page does.
    NotOnPages,
    /// The flash ends before a region does.
    BeyondFlash,
    /// The regions overlap.
    Overlap,
    /// A region has too few pages: `kept` needs one, `raw` three.
    TooSmall,
    /// A page is too small for the longest record.
    SmallPages,
}

impl Layout {
    /// A book with its records that must never go in `kept`, and its hops in `raw`.
    pub const fn new(kept: Range<u32>, raw: Range<u32>) -> Self {
        Self { kept, raw }
    }

    /// The region of what must never go.
    pub fn kept(&self) -> Range<u32> {
        self.kept.clone()
    }

    /// The region of the hops.
    pub fn raw(&self) -> Range<u32> {
        self.raw.clone()
    }

    /// Whether a flash can hold it.
    pub(crate) fn check<F: NorFlash>(&self, flash: &F) -> Result<(), Misfit> {
        let (kept, raw) = (&self.kept, &self.raw);
        let page = F::ERASE_SIZE as u32;
        let ends = [kept.start, kept.end, raw.start, raw.end];
        // Two markers and a header stand beside the record, each of a word.
        let word = F::READ_SIZE.max(F::WRITE_SIZE).max(8);
        if F::ERASE_SIZE < nullwalk_core::record::MAX_RECORD_BYTES + 3 * word {
            Err(Misfit::SmallPages)
        } else if ends.iter().any(|end| !end.is_multiple_of(page)) {
            Err(Misfit::NotOnPages)
        } else if ends.iter().any(|end| *end as usize > flash.capacity()) {
            Err(Misfit::BeyondFlash)
        } else if kept.is_empty() || raw.end.saturating_sub(raw.start) < LEAST_RAW_PAGES * page {
            Err(Misfit::TooSmall)
        } else if kept.start < raw.end && raw.start < kept.end {
            Err(Misfit::Overlap)
        } else {
            Ok(())
        }
    }
}
