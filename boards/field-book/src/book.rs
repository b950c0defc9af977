//! The book in flash.

use core::ops::Range;

use embedded_storage_async::nor_flash::NorFlash;
use nullwalk_core::record::{Envelope, Keeping, MAX_RECORD_BYTES, Record, encode};
use sequential_storage::Error;
use sequential_storage::cache::{Cache, Uncached};
use sequential_storage::queue::{QueueConfig, QueueStorage};

use crate::guard::{Guarded, Refusal};
use crate::layout::{Layout, Misfit};
use crate::page;

/// A field book in flash.
pub struct FieldBook<F> {
    flash: F,
    layout: Layout,
    next_sequence: u32,
    full: bool,
    buffer: [u8; MAX_RECORD_BYTES],
}

/// What opening a book found, and what it had to clear up.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Recovery {
    /// Records that must never go.
    pub kept: u32,
    /// Hops.
    pub hops: u32,
    /// Pages whose erasing had been cut short. They held the oldest hops.
    pub pages_erased: u32,
    /// The region of the hops made no sense and was erased as a whole.
    pub hops_given_up: bool,
}

/// Why a book cannot be opened or written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BookError<E> {
    /// The layout does not fit the flash.
    Layout(Misfit),
    /// The region of what must never go holds something else, or is damaged: read it out, then format it. Nothing in
    /// it was changed.
    Damaged,
    /// No room for what must never go. Nothing more is recorded: read the book out, then format it.
    Full,
    /// The record is longer than any may be.
    TooLong,
    /// The flash does not take what is written: it is worn, or was not blank. The next record may find a better place.
    NotTaken,
    /// The flash itself failed.
    Flash(E),
}

/// Where the flash does not take a record, it is written again behind, so often in all.
const ATTEMPTS: usize = 3;

/// What is done to hops that cannot be read.
#[derive(Clone, Copy)]
enum Remedy {
    EraseOldest,
    EraseAll,
}

impl<F: NorFlash> FieldBook<F> {
    /// Open the book that stands in `flash`, or begin one where everything is erased. Reads every byte of it once.
    ///
    /// # Errors
    /// When the layout does not fit, what must never go is damaged, or the flash fails.
    pub async fn open(flash: F, layout: Layout) -> Result<(Self, Recovery), BookError<F::Error>> {
        layout.check(&flash).map_err(BookError::Layout)?;
        let mut book = Self { flash, layout, next_sequence: 0, full: false, buffer: [0; MAX_RECORD_BYTES] };
        book.check_kept().await?;
        let (raw, mut recovery) = (book.layout.raw(), Recovery::default());
        let erased = page::finish_erasing(&mut book.flash, &raw, &mut book.buffer).await;
        match erased.map_err(BookError::Flash)? {
            Some(pages) => recovery.pages_erased = pages,
            None => book.erase_hops(Remedy::EraseAll, &mut recovery).await?,
        }
        let (mut next, mut kept, mut hops) = (0, 0, 0);
        let mut count = |envelope: Envelope<'_>, counted: &mut u32| {
            next = next.max(envelope.sequence.wrapping_add(1));
            *counted += 1;
        };
        book.visit(book.layout.kept(), |envelope| count(envelope, &mut kept)).await?;
        // A page whose erasing was cut short may pass for a full one. It is the oldest.
        for remedy in [Remedy::EraseOldest, Remedy::EraseAll] {
            match book.visit(raw.clone(), |envelope| count(envelope, &mut hops)).await {
                Err(BookError::Damaged) => {
                    hops = 0;
                    book.erase_hops(remedy, &mut recovery).await?;
                }
                visited => {
                    visited?;
                    break;
                }
            }
        }
        (recovery.kept, recovery.hops) = (kept, hops);
        book.next_sequence = next;
        Ok((book, recovery))
    }

    /// Erase the book and begin a new one.
    ///
    /// # Errors
    /// When the layout does not fit, or the flash fails.
    pub async fn format(mut flash: F, layout: Layout) -> Result<Self, BookError<F::Error>> {
        layout.check(&flash).map_err(BookError::Layout)?;
        for region in [layout.kept(), layout.raw()] {
            flash.erase(region.start, region.end).await.map_err(BookError::Flash)?;
        }
        Ok(Self { flash, layout, next_sequence: 0, full: false, buffer: [0; MAX_RECORD_BYTES] })
    }

    /// The storage erases what it can make no sense of. In the region of what must never go, that is not for it to do.
    async fn check_kept(&mut self) -> Result<(), BookError<F::Error>> {
        let mut usable = false;
        for page in page::pages::<F>(&self.layout.kept()) {
            let whole = match page::state(&mut self.flash, page).await.map_err(BookError::Flash)? {
                page::State::Closed => true,
                // One page is being filled, at most.
                page::State::Filling => !core::mem::replace(&mut usable, true),
                page::State::Open => {
                    let blank = page::is_blank(&mut self.flash, page, &mut self.buffer);
                    let blank = blank.await.map_err(BookError::Flash)?;
                    usable |= blank;
                    blank
                }
                page::State::Torn => false,
            };
            if !whole {
                return Err(BookError::Damaged);
            }
        }
        if usable { Ok(()) } else { Err(BookError::Damaged) }
    }

    async fn erase_hops(
        &mut self,
        remedy: Remedy,
        recovery: &mut Recovery,
    ) -> Result<(), BookError<F::Error>> {
        let raw = self.layout.raw();
        match remedy {
            Remedy::EraseOldest => {
                let oldest = page::after_filling(&mut self.flash, &raw).await.map_err(BookError::Flash)?;
                recovery.pages_erased += 1;
                page::erase(&mut self.flash, oldest).await
            }
            Remedy::EraseAll => {
                recovery.hops_given_up = true;
                self.flash.erase(raw.start, raw.end).await
            }
        }
        .map_err(BookError::Flash)
    }

    /// Append a record. One that is never kept is passed over.
    ///
    /// # Errors
    /// When there is no room for what must never go, or the flash fails. Once there was no room, hops are refused too:
    /// nobody is to walk on in the belief that the walk is recorded.
    pub async fn append(&mut self, record: &Record) -> Result<(), BookError<F::Error>> {
        let (region, overwrite) = match record.kind().keeping() {
            Keeping::Always => (self.layout.kept(), false),
            Keeping::WhileThereIsRoom if self.full => return Err(BookError::Full),
            Keeping::WhileThereIsRoom => (self.layout.raw(), true),
            Keeping::Never => return Ok(()),
        };
        let written =
            encode(record, self.next_sequence, &mut self.buffer).map_err(|_| BookError::TooLong)?;
        let mut queue = queue(&mut self.flash, region, overwrite)?;
        let mut pushed = Err(BookError::NotTaken);
        for _ in 0..ATTEMPTS {
            pushed = queue.push(written, overwrite).await.map_err(told);
            if !matches!(pushed, Err(BookError::NotTaken)) {
                break;
            }
        }
        self.full = match pushed {
            Err(BookError::Full) => true,
            _ if overwrite => self.full,
            _ => false,
        };
        pushed?;
        self.next_sequence = self.next_sequence.wrapping_add(1);
        Ok(())
    }

    /// Bytes left for what must never go. A station takes some two hundred.
    ///
    /// # Errors
    /// When the flash fails.
    pub async fn room_bytes(&mut self) -> Result<u32, BookError<F::Error>> {
        queue(&mut self.flash, self.layout.kept(), false)?.space_left().await.map_err(told)
    }

    /// Show `each` of the records that must never go, oldest first.
    ///
    /// # Errors
    /// When the flash fails, or makes no sense any more.
    pub async fn kept(&mut self, each: impl FnMut(Envelope<'_>)) -> Result<(), BookError<F::Error>> {
        self.visit(self.layout.kept(), each).await
    }

    /// Show `each` of the hops, oldest first.
    ///
    /// # Errors
    /// When the flash fails, or makes no sense any more.
    pub async fn hops(&mut self, each: impl FnMut(Envelope<'_>)) -> Result<(), BookError<F::Error>> {
        self.visit(self.layout.raw(), each).await
    }

    /// Number of the next record.
    pub fn next_sequence(&self) -> u32 {
        self.next_sequence
    }

    /// The flash.
    pub fn flash(&self) -> &F {
        &self.flash
    }

    /// The flash, to close the book.
    pub fn into_flash(self) -> F {
        self.flash
    }

    async fn visit(
        &mut self,
        region: Range<u32>,
        mut each: impl FnMut(Envelope<'_>),
    ) -> Result<(), BookError<F::Error>> {
        let may_erase = region == self.layout.raw();
        let mut queue = queue(&mut self.flash, region, may_erase)?;
        let mut entries = queue.iter().await.map_err(told)?;
        loop {
            match entries.next(&mut self.buffer).await {
                Ok(Some(entry)) => {
                    if let Ok(envelope) = Envelope::whole(&entry) {
                        each(envelope);
                    }
                }
                Ok(None) => return Ok(()),
                Err(error) => return Err(told(error)),
            }
        }
    }
}

type Queue<'a, F> = QueueStorage<Guarded<'a, F>, Cache<Uncached, Uncached, Uncached>>;

/// Without a cache, which can be wrong: finding the place to write costs some hundred short reads.
fn queue<F: NorFlash>(
    flash: &mut F,
    region: Range<u32>,
    may_erase: bool,
) -> Result<Queue<'_, F>, BookError<F::Error>> {
    let config = QueueConfig::try_new(region).map_err(|_| BookError::Layout(Misfit::NotOnPages))?;
    Ok(QueueStorage::new(Guarded { flash, may_erase }, config, Cache::new_uncached()))
}

fn told<E>(error: Error<Refusal<E>>) -> BookError<E> {
    match error {
        Error::Storage { value: Refusal::Flash(error) } => BookError::Flash(error),
        Error::Storage { value: Refusal::NotTaken } => BookError::NotTaken,
        Error::FullStorage => BookError::Full,
        Error::ItemTooBig => BookError::TooLong,
        _ => BookError::Damaged,
    }
}
