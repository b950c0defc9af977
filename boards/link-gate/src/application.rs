//! What a board calls of the handset's application.

use core::hint::black_box;

use nullwalk_core::frame::MastReading;
use nullwalk_core::locate::Sound;
use nullwalk_core::record::Record;
use nullwalk_drivers::battery::Charge;
use nullwalk_drivers::buttons::Press;
use nullwalk_drivers::converter::Filled;
use nullwalk_handset::Handset;
use nullwalk_handset::app::{App, Board};
use nullwalk_handset::book::{Book, Unkept};
use nullwalk_handset::duties::Watchdog;
use nullwalk_handset::intake::{Inlet, Packets};
use nullwalk_handset::screen::Canvas;
use nullwalk_handset::selftest::{Finding, Report, SelfTest};

use crate::{CHANNELS, keep};

/// Frames of a block, 5 ms at 8 kHz, and blocks in the queue.
const FRAMES: usize = 40;
const DEPTH: usize = 16;

/// Keep every entry point, one line each.
pub fn keep_all() {
    keep(Handset::<CHANNELS>::new as *const ());
    keep(begin as *const ());
    keep(Handset::<CHANNELS>::resume_after as *const ());
    keep(Handset::<CHANNELS>::set_utc as *const ());
    keep(Handset::<CHANNELS>::total as *const ());
    keep(turn as *const ());
    keep(split as *const ());
    keep(Inlet::<CHANNELS, FRAMES>::push as *const ());
    keep(SelfTest::<CHANNELS>::new as *const ());
    keep(SelfTest::<CHANNELS>::started as *const ());
    keep(SelfTest::<CHANNELS>::stored as *const ());
    keep(SelfTest::<CHANNELS>::tick as *const ());
    keep(push_into_selftest as *const ());
    keep(Finding::sentence as *const ());
    keep(Finding::remedy as *const ());
    #[cfg(not(feature = "handset-whole"))]
    keep(crate::display::draw as *const ());
}

fn begin(handset: &mut Handset<CHANNELS>, report: &Report, book: &mut Unknown) {
    handset.begin(report, book);
    handset.fault(black_box(nullwalk_core::record::FaultKind::TiltSilent), black_box(None), 1, book);
}

fn turn(app: &mut App<'_, CHANNELS, FRAMES>, board: &mut Unknown) {
    app.turn(board);
}

fn split(packets: &mut Packets<CHANNELS, FRAMES, DEPTH>) {
    let (producer, consumer) = packets.split();
    black_box((Inlet::new(producer), consumer));
}

fn push_into_selftest(test: &mut SelfTest<CHANNELS>, filled: &Filled<CHANNELS, FRAMES>) {
    test.push(filled);
}

/// A board that may do anything, with a picture of its display in memory.
struct Unknown {
    canvas: Canvas<16, 64>,
}

impl Watchdog for Unknown {
    fn feed(&mut self) {
        black_box(());
    }
}

impl Book for Unknown {
    fn append(&mut self, record: &Record) -> Result<(), Unkept> {
        black_box(record);
        black_box(Err(Unkept::Failed))
    }

    fn close(&mut self) -> Result<(), Unkept> {
        black_box(Ok(()))
    }
}

impl Board for Unknown {
    type Display = Canvas<16, 64>;
    type Book = Self;

    fn now_ms(&mut self) -> u32 {
        black_box(0)
    }

    fn presses(&mut self) -> [Option<Press>; 5] {
        black_box([None; 5])
    }

    fn mast(&mut self, _: u64) -> Option<MastReading> {
        black_box(None)
    }

    fn utc_s(&mut self) -> Option<u64> {
        black_box(None)
    }

    fn charge(&mut self) -> Charge {
        black_box(Charge::Full)
    }

    fn set_rung(&mut self, rung: u8) {
        black_box(rung);
    }

    fn play(&mut self, sound: Sound) {
        black_box(sound);
    }

    fn display(&mut self) -> &mut Canvas<16, 64> {
        &mut self.canvas
    }

    fn show(&mut self) {
        black_box(());
    }

    fn book(&mut self) -> &mut Self {
        self
    }
}
