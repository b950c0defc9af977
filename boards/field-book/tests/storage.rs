//! A full book, a foreign or worn flash, a flash whose power fails again and again, and files and wires.

mod script;

use std::cell::RefCell;
use std::io::{Cursor, Read, Seek, SeekFrom, Write};
use std::rc::Rc;

use embassy_futures::block_on;
use embedded_sdmmc::{
    Block, BlockCount, BlockDevice, BlockIdx, Mode, TimeSource, Timestamp, VolumeIdx, VolumeManager,
};
use nullwalk_core::record::{Deframer, Record};
use nullwalk_field_book::mock::{Cut, MockFlash};
use nullwalk_field_book::{BookError, CardFile, FieldBook, Layout, Misfit, Recovery, Stream};
use proptest::prelude::*;
use script::{header, hop, station};

const PAGE: usize = 4096;
type Flash = MockFlash<1, PAGE>;

/// Two pages of what must never go, and three of hops.
const LAYOUT: Layout = Layout::new(0..2 * PAGE as u32, 2 * PAGE as u32..5 * PAGE as u32);

fn open(
    flash: Flash,
) -> Result<(FieldBook<Flash>, Recovery), BookError<nullwalk_field_book::mock::MockError>> {
    block_on(FieldBook::open(flash, LAYOUT))
}

fn stations(book: &mut FieldBook<Flash>) -> Vec<Record> {
    let mut found = Vec::new();
    block_on(book.kept(|envelope| found.push(envelope.open().unwrap()))).unwrap();
    found
}

#[test]
fn a_full_book_refuses_and_loses_nothing() {
    let (mut book, _) = open(Flash::new(5)).unwrap();
    block_on(book.append(&header())).unwrap();
    let mut written = vec![header()];
    loop {
        block_on(book.append(&hop(written.len() as u32))).unwrap();
        let next = station(written.len() as u16);
        let room = block_on(book.room_bytes()).unwrap();
        match block_on(book.append(&next)) {
            Ok(()) => written.push(next),
            Err(error) => {
                assert_eq!(error, BookError::Full);
                assert!(room < 2 * 300, "refused with room for {room} bytes");
                break;
            }
        }
    }
    assert!(written.len() > 30, "{} records fit", written.len());
    // Nobody is to walk on in the belief that it is recorded.
    assert_eq!(block_on(book.append(&hop(0))), Err(BookError::Full));
    assert_eq!(block_on(book.append(&header())), Err(BookError::Full));
    assert_eq!(stations(&mut book), written);
    let (mut book, recovery) = open(book.into_flash()).unwrap();
    assert_eq!(recovery.kept as usize, written.len());
    assert_eq!(block_on(book.append(&header())), Err(BookError::Full));
    assert_eq!(stations(&mut book), written);

    let mut book = block_on(FieldBook::format(book.into_flash(), LAYOUT)).unwrap();
    block_on(book.append(&header())).unwrap();
    assert_eq!(stations(&mut book), [header()]);
}

#[test]
fn the_oldest_hops_go_first() {
    let (mut book, _) = open(Flash::new(5)).unwrap();
    for n in 0..500 {
        block_on(book.append(&hop(n))).unwrap();
    }
    let mut left = Vec::new();
    block_on(book.hops(|envelope| left.push(envelope.sequence))).unwrap();
    assert!(left.len() >= 28, "{} are left", left.len());
    assert!(left.iter().copied().eq(500 - left.len() as u32..500));
    assert_eq!(book.next_sequence(), 500);
}

#[test]
fn what_is_streamed_only_is_passed_over() {
    let (mut book, _) = open(Flash::new(5)).unwrap();
    let before = book.flash().work;
    let guidance = nullwalk_core::locate::Guidance {
        at: 0,
        phase: nullwalk_core::locate::Phase::Listen,
        turn_rad: None,
        trend_db_per_s: 0.0,
        past_source: false,
        snr_db: 0.0,
        carrier_offset_hz: 0.0,
        offset: None,
        lay_rad: None,
        mark: None,
        crossed: false,
        sweep: None,
        sound: nullwalk_core::locate::Sound::of(0.0),
        trouble: None,
    };
    block_on(book.append(&Record::Guidance(guidance))).unwrap();
    assert_eq!((book.flash().work, book.next_sequence()), (before, 0));
}

#[test]
fn a_layout_that_cannot_be_is_refused() {
    let open = |kept, raw| block_on(FieldBook::open(Flash::new(8), Layout::new(kept, raw))).err();
    let page = PAGE as u32;
    assert_eq!(open(0..page, 100..4 * page), Some(BookError::Layout(Misfit::NotOnPages)));
    assert_eq!(open(0..page, page..9 * page), Some(BookError::Layout(Misfit::BeyondFlash)));
    assert_eq!(open(0..2 * page, page..6 * page), Some(BookError::Layout(Misfit::Overlap)));
    assert_eq!(open(0..page, page..3 * page), Some(BookError::Layout(Misfit::TooSmall)));
    assert_eq!(open(0..page, page..4 * page), None);
    let small = FieldBook::open(MockFlash::<1, 512>::new(8), Layout::new(0..512, 512..4096));
    assert_eq!(block_on(small).err(), Some(BookError::Layout(Misfit::SmallPages)));
}

#[test]
fn a_worn_cell_costs_its_place_and_no_station() {
    let (mut book, _) = open(Flash::new(5)).unwrap();
    block_on(book.append(&station(0))).unwrap();
    let used = book.flash().image().iter().rposition(|&byte| byte != 0xff).unwrap();
    for worn in 1..150 {
        let mut image = book.flash().image()[..].to_vec();
        // Stuck at zero: it looks blank to nobody.
        image[used + worn] = 0;
        let (mut book, _) = open(Flash::with_image(image)).unwrap();
        block_on(book.append(&station(1))).unwrap();
        block_on(book.append(&station(2))).unwrap();
        let (mut book, _) = open(book.into_flash()).unwrap();
        assert_eq!(stations(&mut book), [station(0), station(1), station(2)], "{worn}");
    }
}

#[test]
fn a_flash_that_holds_something_else_is_left_alone() {
    let mut image = vec![0xff; 5 * PAGE];
    image[100..120].copy_from_slice(b"somebody else's data");
    let result = open(Flash::with_image(image));
    assert_eq!(result.err(), Some(BookError::Damaged));
}

#[test]
fn the_power_fails_a_thousand_times_on_one_flash() {
    // Never more stations than fit, so the book is formatted when it is full.
    let mut flash = Flash::new(5);
    let (mut sure, mut lost, mut cuts, mut books) = (Vec::<Record>::new(), 0, 0, 1);
    let mut seed = 1_u64;
    while cuts < 1000 {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        flash.restart();
        flash.power = Some(((seed >> 40) as usize % 3000, Cut::Half(seed)));
        let opened = open(flash.clone());
        let mut book = match opened {
            Ok((book, _)) => book,
            // The power failed while an interrupted erasing was finished. What that left is looked at next time.
            Err(BookError::Flash(_)) => {
                cuts += 1;
                let mut again = flash.clone();
                again.restart();
                flash = open(again).expect("it opens when the power lasts").0.into_flash();
                continue;
            }
            Err(error) => panic!("{error:?}"),
        };
        // The last station of the time before may have been whole after all.
        let found = stations(&mut book);
        assert_eq!(found[..sure.len()], sure[..], "after {cuts} cuts");
        lost += found.len().abs_diff(sure.len()).saturating_sub(1);
        sure = found;
        let ended = loop {
            let number = sure.len() as u32;
            if let Err(error) = block_on(book.append(&hop(number))) {
                break error;
            }
            let next = station(number as u16);
            match block_on(book.append(&next)) {
                Ok(()) => sure.push(next),
                Err(error) => break error,
            }
        };
        flash = book.into_flash();
        match ended {
            BookError::Full => {
                flash.restart();
                flash = block_on(FieldBook::format(flash, LAYOUT)).unwrap().into_flash();
                sure.clear();
                books += 1;
            }
            _ => cuts += 1,
        }
    }
    println!("{cuts} power cuts on one flash, {books} books filled: 0 stations lost");
    assert_eq!(lost, 0);
    assert!(books > 10);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 512, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_flash_is_opened_or_refused_without_a_panic(
        image in proptest::collection::vec(any::<u8>(), 5 * PAGE..=5 * PAGE),
        // Blank stretches make a random image look more like a book.
        blank in proptest::collection::vec((0..5 * PAGE, 0..2 * PAGE), 0..6),
    ) {
        let mut image = image;
        for (at, length) in blank {
            let end = (at + length).min(image.len());
            image[at..end].fill(0xff);
        }
        let kept = image[..2 * PAGE].to_vec();
        let flash = Flash::with_image(image);
        if let Ok((mut book, recovery)) = open(flash) {
            prop_assert_eq!((recovery.kept, recovery.hops), (0, 0), "records out of noise");
            prop_assert_eq!(&book.flash().image()[..2 * PAGE], kept);
            let _ = block_on(book.append(&hop(1)));
            let _ = block_on(book.append(&station(1)));
            let _ = block_on(book.room_bytes());
        }
    }

    #[test]
    fn a_book_with_holes_is_opened_or_refused_and_nothing_false_is_read(
        damage in proptest::collection::vec((0..5 * PAGE, any::<u8>(), 1_usize..200), 1..8),
    ) {
        let (mut book, _) = open(Flash::new(5)).unwrap();
        for n in 0..30 {
            for m in 0..8 {
                block_on(book.append(&hop(8 * n + m))).unwrap();
            }
            block_on(book.append(&station(n as u16))).unwrap();
        }
        let sound = stations(&mut book);
        let mut image = book.flash().image().to_vec();
        for (at, byte, length) in damage {
            let end = (at + length).min(image.len());
            image[at..end].fill(byte);
        }
        if let Ok((mut book, _)) = open(Flash::with_image(image)) {
            for record in stations(&mut book) {
                prop_assert!(sound.contains(&record));
            }
            let _ = block_on(book.append(&hop(1)));
            let _ = block_on(book.append(&station(1)));
        }
    }
}

/// A card in memory, whose power fails after so many blocks were written.
#[derive(Clone)]
struct Card {
    bytes: Rc<RefCell<Vec<u8>>>,
    left: Rc<RefCell<usize>>,
}

#[derive(Debug)]
struct NoPower;

impl BlockDevice for Card {
    type Error = NoPower;

    fn read(&self, blocks: &mut [Block], start: BlockIdx) -> Result<(), NoPower> {
        let bytes = self.bytes.borrow();
        for (block, n) in blocks.iter_mut().zip(start.0 as usize..) {
            block.contents.copy_from_slice(&bytes[n * 512..][..512]);
        }
        Ok(())
    }

    fn write(&self, blocks: &[Block], start: BlockIdx) -> Result<(), NoPower> {
        for (block, n) in blocks.iter().zip(start.0 as usize..) {
            let mut left = self.left.borrow_mut();
            *left = left.checked_sub(1).ok_or(NoPower)?;
            self.bytes.borrow_mut()[n * 512..][..512].copy_from_slice(&block.contents);
        }
        Ok(())
    }

    fn num_blocks(&self) -> Result<BlockCount, NoPower> {
        Ok(BlockCount((self.bytes.borrow().len() / 512) as u32))
    }
}

struct NoClock;

impl TimeSource for NoClock {
    fn get_timestamp(&self) -> Timestamp {
        Timestamp {
            year_since_1970: 55,
            zero_indexed_month: 0,
            zero_indexed_day: 0,
            hours: 0,
            minutes: 0,
            seconds: 0,
        }
    }
}

/// Blocks before the file system: the table of partitions.
const FIRST_BLOCK: usize = 64;
const CARD_BLOCKS: usize = 16_384;

impl Card {
    /// Formatted as cards are sold: one partition, FAT16.
    fn new() -> Self {
        let mut bytes = vec![0; CARD_BLOCKS * 512];
        // Master boot record: one active partition of type 6.
        bytes[446..462].copy_from_slice(&[0x80, 0, 0, 0, 6, 0, 0, 0, 64, 0, 0, 0, 0xc0, 0x3f, 0, 0]);
        bytes[510..512].copy_from_slice(&[0x55, 0xaa]);
        let volume = Cursor::new(&mut bytes[FIRST_BLOCK * 512..]);
        let options = fatfs::FormatVolumeOptions::new().fat_type(fatfs::FatType::Fat16);
        fatfs::format_volume(volume, options).unwrap();
        Self { bytes: Rc::new(RefCell::new(bytes)), left: Rc::new(RefCell::new(usize::MAX)) }
    }

    /// Append stations to the book on the card until all are written or the power fails. Returns how many were.
    fn write(&self, numbers: std::ops::Range<u16>, blocks: usize) -> u16 {
        *self.left.borrow_mut() = blocks;
        let write = || -> Result<u16, ()> {
            let volumes = VolumeManager::new(self.clone(), NoClock);
            let volume = volumes.open_volume(VolumeIdx(0)).map_err(|_| ())?;
            let root = volume.open_root_dir().map_err(|_| ())?;
            let file = root.open_file_in_dir("BOOK.NWB", Mode::ReadWriteCreateOrAppend).map_err(|_| ())?;
            let mut stream = Stream::new(CardFile(file)).map_err(|_| ())?;
            Ok(numbers.clone().take_while(|&n| stream.append(&station(n)).is_ok()).count() as u16)
        };
        write().unwrap_or(0)
    }

    /// The book as any computer reads it.
    fn read(&self) -> Vec<u8> {
        let bytes = self.bytes.borrow();
        let volume = fatfs::FileSystem::new(
            Volume(Cursor::new(bytes[FIRST_BLOCK * 512..].to_vec())),
            fatfs::FsOptions::new(),
        );
        let mut book = Vec::new();
        if let Ok(mut file) = volume.unwrap().root_dir().open_file("BOOK.NWB") {
            file.read_to_end(&mut book).unwrap();
        }
        book
    }
}

/// `fatfs` writes what it has not seen written; this keeps the card out of it.
struct Volume(Cursor<Vec<u8>>);

impl Read for Volume {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        self.0.read(buffer)
    }
}

impl Write for Volume {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.write(bytes)
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

impl Seek for Volume {
    fn seek(&mut self, to: SeekFrom) -> std::io::Result<u64> {
        self.0.seek(to)
    }
}

/// Stations in framed bytes.
fn received(bytes: &[u8]) -> Vec<Record> {
    let mut deframer = Deframer::default();
    bytes.iter().filter_map(|&byte| Some(deframer.push(byte)?.ok()?.open().unwrap())).collect()
}

#[test]
fn a_card_keeps_every_station_that_was_appended() {
    let whole = Card::new();
    assert_eq!(whole.write(0..20, usize::MAX), 20);
    let blocks = usize::MAX - *whole.left.borrow();
    assert_eq!(received(&whole.read()), (0..20).map(station).collect::<Vec<_>>());
    // Every block that is written may be the last.
    for cut in 0..blocks {
        let card = Card::new();
        let written = card.write(0..20, cut);
        let there = received(&card.read());
        assert!(there.len() >= usize::from(written), "{cut}: {} of {written}", there.len());
        assert_eq!(there, (0..there.len() as u16).map(station).collect::<Vec<_>>(), "{cut}");
        // And it goes on behind what is there.
        assert_eq!(card.write(50..53, usize::MAX), 3, "{cut}");
        let then = received(&card.read());
        assert_eq!(then[..there.len()], there[..]);
        assert_eq!(then[then.len() - 3..], [station(50), station(51), station(52)]);
    }
    println!("{blocks} power cuts on a card, one at each block written: 0 stations lost");
}
