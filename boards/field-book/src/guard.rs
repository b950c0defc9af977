//! A flash of which nothing is erased unless that was meant, and of which every write is read back.

use embedded_storage_async::nor_flash::{
    ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash,
};

/// A flash in the hands of the storage, which erases pages in which it finds nothing it can read.
pub struct Guarded<'a, F> {
    pub flash: &'a mut F,
    pub may_erase: bool,
}

/// Read back so much at a time: a multiple of every flash's word.
const CHUNK: usize = 64;

/// Why something was not done.
#[derive(Debug)]
pub enum Refusal<E> {
    /// The flash failed.
    Flash(E),
    /// It was to be erased.
    Erasing,
    /// What was written is not what is read: the cells are worn, or were not blank.
    NotTaken,
}

impl<E: NorFlashError> NorFlashError for Refusal<E> {
    fn kind(&self) -> NorFlashErrorKind {
        match self {
            Self::Flash(error) => error.kind(),
            Self::Erasing | Self::NotTaken => NorFlashErrorKind::Other,
        }
    }
}

impl<F: NorFlash> ErrorType for Guarded<'_, F> {
    type Error = Refusal<F::Error>;
}

impl<F: NorFlash> ReadNorFlash for Guarded<'_, F> {
    const READ_SIZE: usize = F::READ_SIZE;

    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
        self.flash.read(offset, bytes).await.map_err(Refusal::Flash)
    }

    fn capacity(&self) -> usize {
        self.flash.capacity()
    }
}

impl<F: NorFlash> NorFlash for Guarded<'_, F> {
    const WRITE_SIZE: usize = F::WRITE_SIZE;
    const ERASE_SIZE: usize = F::ERASE_SIZE;

    async fn erase(&mut self, from: u32, to: u32) -> Result<(), Self::Error> {
        if !self.may_erase {
            return Err(Refusal::Erasing);
        }
        self.flash.erase(from, to).await.map_err(Refusal::Flash)
    }

    async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
        self.flash.write(offset, bytes).await.map_err(Refusal::Flash)?;
        let mut read = [0; CHUNK];
        let mut at = offset;
        for written in bytes.chunks(CHUNK) {
            let read = read.get_mut(..written.len()).unwrap_or_default();
            self.flash.read(at, read).await.map_err(Refusal::Flash)?;
            if read != written {
                return Err(Refusal::NotTaken);
            }
            at = at.saturating_add(CHUNK as u32);
        }
        Ok(())
    }
}
