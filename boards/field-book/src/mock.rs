//! A NOR flash in memory: writing only clears bits, only whole pages are erased, and the power may fail anywhere.

use std::vec::Vec;

use embedded_storage_async::nor_flash::{
    ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash,
};

/// Steps in which a page is erased. In the first few its bits are cleared, as a real flash does it.
pub const ERASE_STEPS: usize = 16;
const CLEARING_STEPS: usize = 4;

/// Something done to a flash.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Operation {
    /// Bytes were programmed, one after the other.
    Write {
        /// The first of them.
        at: usize,
        /// What was to be there.
        bytes: Vec<u8>,
    },
    /// A page was erased.
    Erase {
        /// Its first byte.
        at: usize,
        /// Its length.
        length: usize,
    },
}

/// How the step is left that the power failed in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cut {
    /// As if it had not begun.
    Plain,
    /// Half done: some bits have changed and others not, by this seed.
    Half(u64),
}

impl Operation {
    /// Steps that it takes: a byte each, or those of erasing.
    pub fn steps(&self) -> usize {
        match self {
            Self::Write { bytes, .. } => bytes.len(),
            Self::Erase { .. } => ERASE_STEPS,
        }
    }

    /// Do it to `image`, wholly or for so many `steps` until the power fails.
    pub fn apply(&self, image: &mut [u8], cut: Option<(usize, Cut)>) {
        match (self, cut) {
            (Self::Write { at, bytes }, None) => program(image, *at, bytes),
            (Self::Write { at, bytes }, Some((steps, cut))) => {
                program(image, *at, &bytes[..steps]);
                if let (Cut::Half(seed), Some(byte)) = (cut, bytes.get(steps)) {
                    let spared = Random(seed).byte();
                    program(image, at + steps, &[byte | spared]);
                }
            }
            (Self::Erase { at, length }, None) => image[*at..at + length].fill(0xff),
            (Self::Erase { at, length }, Some((steps, Cut::Plain))) => {
                image[*at..at + length * steps / ERASE_STEPS].fill(0xff);
            }
            (Self::Erase { at, length }, Some((steps, Cut::Half(seed)))) => {
                let mut random = Random(seed);
                for byte in &mut image[*at..at + length] {
                    let (done, of) = match steps.checked_sub(CLEARING_STEPS) {
                        None => (steps, CLEARING_STEPS),
                        Some(steps) => (steps, ERASE_STEPS - CLEARING_STEPS),
                    };
                    let changed = random.bits(done as f32 / of as f32);
                    *byte = if steps < CLEARING_STEPS { *byte & !changed } else { changed };
                }
            }
        }
    }
}

fn program(image: &mut [u8], at: usize, bytes: &[u8]) {
    for (cell, byte) in image[at..at + bytes.len()].iter_mut().zip(bytes) {
        *cell &= byte;
    }
}

/// SplitMix64 (Steele, Lea and Flood 2014).
struct Random(u64);

impl Random {
    fn byte(&mut self) -> u8 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (z >> 56) as u8
    }

    /// Bits of which this share is set.
    fn bits(&mut self, share: f32) -> u8 {
        (0..8).fold(0, |bits, n| bits | u8::from(f32::from(self.byte()) < 256.0 * share) << n)
    }
}

/// What was done to a flash.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Work {
    /// Bytes read.
    pub read_bytes: usize,
    /// Bytes programmed.
    pub written_bytes: usize,
    /// Pages erased.
    pub erased_pages: usize,
    /// Bytes in which bits were to be set that only erasing can set.
    pub unerased_bytes: usize,
}

/// A flash with words of `WORD` bytes and pages of `PAGE`.
#[derive(Debug, Clone)]
pub struct MockFlash<const WORD: usize, const PAGE: usize> {
    image: Vec<u8>,
    /// What is being done, if it is to be remembered.
    pub operations: Option<Vec<Operation>>,
    /// What was done.
    pub work: Work,
    /// Steps until the power fails, and how.
    pub power: Option<(usize, Cut)>,
    dead: bool,
}

/// Why it refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MockError {
    /// Not at a word or page.
    Misaligned,
    /// Beyond its end.
    OutOfBounds,
    /// The power is off.
    NoPower,
}

impl NorFlashError for MockError {
    fn kind(&self) -> NorFlashErrorKind {
        match self {
            Self::Misaligned => NorFlashErrorKind::NotAligned,
            Self::OutOfBounds => NorFlashErrorKind::OutOfBounds,
            Self::NoPower => NorFlashErrorKind::Other,
        }
    }
}

impl<const WORD: usize, const PAGE: usize> MockFlash<WORD, PAGE> {
    /// A flash of so many pages, all erased.
    pub fn new(pages: usize) -> Self {
        Self::with_image(vec![0xff; pages * PAGE])
    }

    /// A flash that holds this.
    pub fn with_image(image: Vec<u8>) -> Self {
        Self { image, operations: None, work: Work::default(), power: None, dead: false }
    }

    /// What it holds.
    pub fn image(&self) -> &[u8] {
        &self.image
    }

    /// Switch the power on again.
    pub fn restart(&mut self) {
        (self.power, self.dead) = (None, false);
    }

    fn check(&self, at: usize, length: usize, grain: usize) -> Result<(), MockError> {
        if self.dead {
            Err(MockError::NoPower)
        } else if !at.is_multiple_of(grain) || !length.is_multiple_of(grain) {
            Err(MockError::Misaligned)
        } else if at + length > self.image.len() {
            Err(MockError::OutOfBounds)
        } else {
            Ok(())
        }
    }

    fn carry_out(&mut self, operation: Operation) -> Result<(), MockError> {
        let steps = operation.steps();
        if let Some((left, cut)) = &mut self.power {
            if *left < steps {
                operation.apply(&mut self.image, Some((*left, *cut)));
                self.dead = true;
                return Err(MockError::NoPower);
            }
            *left -= steps;
        }
        operation.apply(&mut self.image, None);
        if let Some(operations) = &mut self.operations {
            operations.push(operation);
        }
        Ok(())
    }
}

impl<const WORD: usize, const PAGE: usize> ErrorType for MockFlash<WORD, PAGE> {
    type Error = MockError;
}

impl<const WORD: usize, const PAGE: usize> ReadNorFlash for MockFlash<WORD, PAGE> {
    const READ_SIZE: usize = 1;

    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), MockError> {
        let at = offset as usize;
        self.check(at, bytes.len(), 1)?;
        bytes.copy_from_slice(&self.image[at..at + bytes.len()]);
        self.work.read_bytes += bytes.len();
        Ok(())
    }

    fn capacity(&self) -> usize {
        self.image.len()
    }
}

impl<const WORD: usize, const PAGE: usize> NorFlash for MockFlash<WORD, PAGE> {
    const WRITE_SIZE: usize = WORD;
    const ERASE_SIZE: usize = PAGE;

    async fn erase(&mut self, from: u32, to: u32) -> Result<(), MockError> {
        let (from, to) = (from as usize, to as usize);
        self.check(from, to.saturating_sub(from), PAGE)?;
        for at in (from..to).step_by(PAGE) {
            self.carry_out(Operation::Erase { at, length: PAGE })?;
            self.work.erased_pages += 1;
        }
        Ok(())
    }

    async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), MockError> {
        let at = offset as usize;
        self.check(at, bytes.len(), WORD)?;
        let there = &self.image[at..at + bytes.len()];
        self.work.unerased_bytes +=
            there.iter().zip(bytes).filter(|(old, new)| **new & !**old != 0).count();
        self.work.written_bytes += bytes.len();
        self.carry_out(Operation::Write { at, bytes: bytes.to_vec() })
    }
}
