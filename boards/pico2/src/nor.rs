//! A serial NOR flash of the kind with four wires that many makers sell: 8 MiB, sectors of 4 KiB, pages of 256 bytes.
//!
//! Commands and bits are common to these parts (from memory of their data sheets; JESD216 lists them). Nothing here
//! waits for ever: a part that is missing, broken or worn out is an error, so that the handset can say so and go on.
//!
//! Not the flash that the firmware itself lies in: while that is written or erased the processor cannot fetch its
//! program, and samples would be lost every time, 360 of them with an erase of 45 ms.

use embedded_hal::delay::DelayNs;
use embedded_hal::spi::{Operation, SpiDevice};
use embedded_storage_async::nor_flash::{
    ErrorType, MultiwriteNorFlash, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash,
};

/// Bytes of the part.
pub const CAPACITY: u32 = 8 << 20;
/// Bytes that are erased together. The larger blocks of 64 KiB would take up to 2 s, and samples do not wait so long.
pub const SECTOR: u32 = 4096;
/// Bytes that are written together at most: an address that goes on past a page's end begins at its start again.
const PAGE: u32 = 256;

const WORD: usize = 4;

const WRITE_ENABLE: u8 = 0x06;
const READ_STATUS: u8 = 0x05;
const READ: u8 = 0x03;
const WRITE_PAGE: u8 = 0x02;
const ERASE_SECTOR: u8 = 0x20;
const IDENTITY: u8 = 0x9F;

const BUSY: u8 = 1;
const WRITABLE: u8 = 2;

/// Looked at so often while it is busy.
const LOOK_US: u32 = 50;
/// A page takes 3 ms at most, a sector 400 ms.
const PAGE_LOOKS: u32 = 5_000 / LOOK_US;
const SECTOR_LOOKS: u32 = 500_000 / LOOK_US;

/// Why something was not done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NorError {
    /// The bus failed.
    Bus,
    /// What answers is no flash of this size.
    NotThePart {
        /// Maker, kind, and the power of two of its size.
        identity: [u8; 3],
    },
    /// It does not allow writing: its write protection is on, or it is not there.
    Protected,
    /// It never finishes.
    Stuck,
    /// An address beyond its end, or not where a sector begins.
    Address(NorFlashErrorKind),
}

impl NorFlashError for NorError {
    fn kind(&self) -> NorFlashErrorKind {
        match self {
            Self::Address(kind) => *kind,
            _ => NorFlashErrorKind::Other,
        }
    }
}

/// The part on its bus.
#[derive(Debug)]
pub struct Nor<SPI, D> {
    spi: SPI,
    delay: D,
}

impl<SPI: SpiDevice, D: DelayNs> Nor<SPI, D> {
    /// See that it is a flash of the right size, or a larger one.
    ///
    /// # Errors
    /// [`NorError::NotThePart`], or that of the bus.
    pub fn start(mut spi: SPI, delay: D) -> Result<Self, NorError> {
        let mut answer = [IDENTITY, 0, 0, 0];
        spi.transfer_in_place(&mut answer).map_err(|_| NorError::Bus)?;
        let [_, identity @ ..] = answer;
        let [maker, _, power] = identity;
        // No maker has the number of a wire that hangs at one or at nothing.
        if matches!(maker, 0x00 | 0xFF) || !(23..32).contains(&power) {
            return Err(NorError::NotThePart { identity });
        }
        Ok(Self { spi, delay })
    }

    fn status(&mut self) -> Result<u8, NorError> {
        let mut answer = [READ_STATUS, 0];
        self.spi.transfer_in_place(&mut answer).map_err(|_| NorError::Bus)?;
        Ok(answer[1])
    }

    /// Allow one change, make it, and wait until it is done.
    fn change(&mut self, command: u8, address: u32, bytes: &[u8], looks: u32) -> Result<(), NorError> {
        self.spi.write(&[WRITE_ENABLE]).map_err(|_| NorError::Bus)?;
        if self.status()? & (WRITABLE | BUSY) != WRITABLE {
            return Err(NorError::Protected);
        }
        let head = head(command, address);
        let mut operations = [Operation::Write(&head), Operation::Write(bytes)];
        self.spi.transaction(&mut operations).map_err(|_| NorError::Bus)?;
        for _ in 0..looks {
            if self.status()? & BUSY == 0 {
                return Ok(());
            }
            self.delay.delay_us(LOOK_US);
        }
        Err(NorError::Stuck)
    }
}

const fn head(command: u8, address: u32) -> [u8; 4] {
    let [_, high, middle, low] = address.to_be_bytes();
    [command, high, middle, low]
}

fn within(offset: u32, bytes: &[u8]) -> Result<(), NorError> {
    let end = u64::from(offset) + bytes.len() as u64;
    if end > u64::from(CAPACITY) {
        return Err(NorError::Address(NorFlashErrorKind::OutOfBounds));
    }
    Ok(())
}

impl<SPI, D> ErrorType for Nor<SPI, D> {
    type Error = NorError;
}

impl<SPI: SpiDevice, D: DelayNs> ReadNorFlash for Nor<SPI, D> {
    /// The part takes single bytes. Whole words make the book quicker to open.
    const READ_SIZE: usize = WORD;

    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), NorError> {
        within(offset, bytes)?;
        let head = head(READ, offset);
        let mut operations = [Operation::Write(&head), Operation::Read(bytes)];
        self.spi.transaction(&mut operations).map_err(|_| NorError::Bus)
    }

    fn capacity(&self) -> usize {
        CAPACITY as usize
    }
}

impl<SPI: SpiDevice, D: DelayNs> NorFlash for Nor<SPI, D> {
    const WRITE_SIZE: usize = WORD;
    const ERASE_SIZE: usize = SECTOR as usize;

    async fn erase(&mut self, from: u32, to: u32) -> Result<(), NorError> {
        if !from.is_multiple_of(SECTOR) || !to.is_multiple_of(SECTOR) {
            return Err(NorError::Address(NorFlashErrorKind::NotAligned));
        }
        if from > to || to > CAPACITY {
            return Err(NorError::Address(NorFlashErrorKind::OutOfBounds));
        }
        for sector in (from..to).step_by(SECTOR as usize) {
            self.change(ERASE_SECTOR, sector, &[], SECTOR_LOOKS)?;
        }
        Ok(())
    }

    async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), NorError> {
        within(offset, bytes)?;
        let (mut at, mut left) = (offset, bytes);
        while !left.is_empty() {
            let room = (PAGE - at % PAGE) as usize;
            let (page, rest) = left.split_at(room.min(left.len()));
            self.change(WRITE_PAGE, at, page, PAGE_LOOKS)?;
            at += page.len() as u32;
            left = rest;
        }
        Ok(())
    }
}

/// Bits may be cleared in more than one write.
impl<SPI: SpiDevice, D: DelayNs> MultiwriteNorFlash for Nor<SPI, D> {}

#[cfg(test)]
mod tests {
    extern crate std;

    use std::cell::RefCell;
    use std::vec;
    use std::vec::Vec;

    use embassy_futures::block_on;
    use embedded_hal::spi::ErrorKind;
    use proptest::prelude::*;

    use super::*;

    /// A part as the data sheets describe it, or a wire that is stuck.
    struct StandIn {
        cells: RefCell<Vec<u8>>,
        writable: bool,
        /// Looks until it is done; it never is without any.
        busy: Option<u32>,
        takes: Option<u32>,
        protected: bool,
        wire: Option<u8>,
    }

    impl StandIn {
        fn new() -> Self {
            Self {
                cells: RefCell::new(vec![0xFF; CAPACITY as usize]),
                writable: false,
                busy: Some(0),
                takes: Some(3),
                protected: false,
                wire: None,
            }
        }

        /// All that goes over the wires while it is selected: what is sent, and what comes back.
        fn exchange(&mut self, sent: &[u8]) -> Vec<u8> {
            let mut answer = vec![0xFF; sent.len()];
            let is_busy = self.busy != Some(0);
            let address = |sent: &[u8]| u32::from_be_bytes([0, sent[1], sent[2], sent[3]]) as usize;
            match sent[0] {
                _ if self.wire.is_some() => answer.fill(self.wire.unwrap()),
                READ_STATUS => {
                    answer[1] = u8::from(is_busy) | u8::from(self.writable) << 1;
                    self.busy = self.busy.map(|left| left.saturating_sub(1));
                }
                _ if is_busy => {}
                IDENTITY => answer[1..4].copy_from_slice(&[0xEF, 0x40, 0x17]),
                WRITE_ENABLE => self.writable = !self.protected,
                READ => {
                    let from = address(sent);
                    answer[4..].copy_from_slice(&self.cells.borrow()[from..from + sent.len() - 4]);
                }
                WRITE_PAGE if self.writable => {
                    let from = address(sent);
                    for (n, byte) in sent[4..].iter().enumerate() {
                        let within_page = (from + n) % PAGE as usize;
                        self.cells.borrow_mut()[from / PAGE as usize * PAGE as usize + within_page] &= byte;
                    }
                    (self.writable, self.busy) = (false, self.takes);
                }
                ERASE_SECTOR if self.writable => {
                    let from = address(sent) / SECTOR as usize * SECTOR as usize;
                    self.cells.borrow_mut()[from..from + SECTOR as usize].fill(0xFF);
                    (self.writable, self.busy) = (false, self.takes);
                }
                _ => {}
            }
            answer
        }
    }

    impl embedded_hal::spi::ErrorType for StandIn {
        type Error = ErrorKind;
    }

    impl SpiDevice for StandIn {
        fn transaction(&mut self, operations: &mut [Operation<'_, u8>]) -> Result<(), ErrorKind> {
            let mut sent = Vec::new();
            for operation in operations.iter() {
                match operation {
                    Operation::Write(bytes) => sent.extend_from_slice(bytes),
                    Operation::TransferInPlace(bytes) => sent.extend_from_slice(bytes),
                    Operation::Read(bytes) => sent.resize(sent.len() + bytes.len(), 0),
                    _ => return Err(ErrorKind::Other),
                }
            }
            let answer = self.exchange(&sent);
            let mut at = 0;
            for operation in operations {
                match operation {
                    Operation::Write(bytes) => at += bytes.len(),
                    Operation::TransferInPlace(bytes) | Operation::Read(bytes) => {
                        bytes.copy_from_slice(&answer[at..at + bytes.len()]);
                        at += bytes.len();
                    }
                    _ => {}
                }
            }
            Ok(())
        }
    }

    struct NoTime;

    impl DelayNs for NoTime {
        fn delay_ns(&mut self, _: u32) {}
    }

    fn nor(change: impl FnOnce(&mut StandIn)) -> Result<Nor<StandIn, NoTime>, NorError> {
        let mut part = StandIn::new();
        change(&mut part);
        Nor::start(part, NoTime)
    }

    #[test]
    fn a_missing_part_is_told_from_one() {
        assert!(nor(|_| {}).is_ok());
        for wire in [0x00, 0xFF] {
            let identity = [wire; 3];
            assert_eq!(nor(|part| part.wire = Some(wire)).err(), Some(NorError::NotThePart { identity }));
        }
    }

    #[test]
    fn a_part_that_never_finishes_or_is_protected_is_an_error() {
        let mut stuck = nor(|part| part.takes = None).unwrap();
        assert_eq!(block_on(stuck.erase(0, SECTOR)), Err(NorError::Stuck));
        let mut protected = nor(|part| part.protected = true).unwrap();
        assert_eq!(block_on(protected.write(0, &[1])), Err(NorError::Protected));
    }

    #[test]
    fn addresses_are_checked() {
        let mut nor = nor(|_| {}).unwrap();
        let outside = Err(NorError::Address(NorFlashErrorKind::OutOfBounds));
        assert_eq!(block_on(nor.write(CAPACITY - 1, &[0, 0])), outside);
        assert_eq!(block_on(nor.read(u32::MAX, &mut [0; 2])), outside);
        assert_eq!(block_on(nor.erase(CAPACITY, CAPACITY + SECTOR)), outside);
        let askew = Err(NorError::Address(NorFlashErrorKind::NotAligned));
        assert_eq!(block_on(nor.erase(1, SECTOR)), askew);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        /// Whatever is written comes back, over the ends of pages too, and nothing beside it changes.
        #[test]
        fn what_is_written_comes_back(offset in 0..2 * SECTOR, bytes in proptest::collection::vec(any::<u8>(), 1..1100)) {
            let mut nor = nor(|_| {}).unwrap();
            block_on(nor.write(offset, &bytes)).unwrap();
            let mut expected = vec![0xFF; 4 * SECTOR as usize];
            expected[offset as usize..][..bytes.len()].copy_from_slice(&bytes);
            let mut read = vec![0; expected.len()];
            block_on(nor.read(0, &mut read)).unwrap();
            prop_assert_eq!(&read, &expected);
            block_on(nor.erase(SECTOR, 2 * SECTOR)).unwrap();
            expected[SECTOR as usize..2 * SECTOR as usize].fill(0xFF);
            block_on(nor.read(0, &mut read)).unwrap();
            prop_assert_eq!(&read, &expected);
        }
    }
}
