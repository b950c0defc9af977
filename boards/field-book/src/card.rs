//! A file on a memory card.

use embedded_io::{ErrorType, Write};
use embedded_sdmmc::{BlockDevice, Error, File, TimeSource};

/// A file on a card, for a [`Stream`](crate::Stream). Open it to append.
///
/// It stands between the two because the file's own `Write` calls itself without end (`embedded-sdmmc` 0.9.0).
pub struct CardFile<
    'a,
    D: BlockDevice,
    T: TimeSource,
    const DIRS: usize,
    const FILES: usize,
    const VOLUMES: usize,
>(pub File<'a, D, T, DIRS, FILES, VOLUMES>);

impl<D: BlockDevice, T: TimeSource, const DIRS: usize, const FILES: usize, const VOLUMES: usize> ErrorType
    for CardFile<'_, D, T, DIRS, FILES, VOLUMES>
{
    type Error = Error<D::Error>;
}

impl<D: BlockDevice, T: TimeSource, const DIRS: usize, const FILES: usize, const VOLUMES: usize> Write
    for CardFile<'_, D, T, DIRS, FILES, VOLUMES>
{
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Self::Error> {
        File::write(&self.0, bytes)?;
        Ok(bytes.len())
    }

    fn flush(&mut self) -> Result<(), Self::Error> {
        File::flush(&self.0)
    }
}
