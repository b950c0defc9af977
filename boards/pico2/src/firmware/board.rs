//! The board as the handset's slow side sees it.

use embassy_rp::gpio::Output;
use embassy_rp::watchdog::Watchdog;
use embassy_time::{Duration, Instant};
use nullwalk_core::frame::{MastReading, SampleIndex};
use nullwalk_core::locate::Sound;
use nullwalk_core::record::FaultKind;
use nullwalk_drivers::battery::Charge;
use nullwalk_drivers::buttons::Press;
use nullwalk_drivers::sounder::Sounder;
use nullwalk_handset::app::Board;
use nullwalk_handset::duties;
use nullwalk_handset::menu::Key;

use super::book::Books;
use super::headphones::Headphones;
use super::mast::Mast;
use super::panel::{Battery, Keys};
use super::sampling;
use super::slow::{Display, Slow};

/// The watchdog waits so long. An erase of a worn flash takes 400 ms.
const PATIENCE: Duration = Duration::from_secs(3);
/// No sample for so long, and the converter is started again, milliseconds.
const SILENT_MS: u32 = 2000;

/// The board.
pub struct Pico2 {
    pub watchdog: Watchdog,
    pub light: Output<'static>,
    pub keys: Keys,
    pub sounder: Sounder<Headphones>,
    pub battery: Battery,
    pub mast: Mast,
    pub slow: Slow,
    /// Since when no sample came.
    pub silent_ms: Option<u32>,
}

impl Pico2 {
    /// From now on the watchdog must be fed.
    pub fn guard(&mut self) {
        self.watchdog.pause_on_debug(true);
        self.watchdog.start(PATIENCE);
    }

    /// Something only the board sees.
    pub fn fault(&mut self) -> Option<FaultKind> {
        self.mast.was_lost().then_some(FaultKind::TiltSilent)
    }

    /// Start a converter that is silent again, with a pause between two attempts.
    pub fn revive_converter(&mut self, is_silent: bool) {
        let now_ms = self.now_ms();
        let since_ms = *self.silent_ms.get_or_insert(now_ms);
        if !is_silent {
            self.silent_ms = None;
        } else if now_ms.wrapping_sub(since_ms) >= SILENT_MS {
            self.silent_ms = Some(now_ms);
            sampling::start_again();
        }
    }
}

impl duties::Watchdog for Pico2 {
    fn feed(&mut self) {
        self.watchdog.feed(PATIENCE);
    }
}

impl Board for Pico2 {
    type Display = Display;
    type Book = Books;

    fn now_ms(&mut self) -> u32 {
        Instant::now().as_millis() as u32
    }

    fn presses(&mut self) -> [Option<Press>; Key::ALL.len()] {
        let now_ms = self.now_ms();
        self.keys.buttons.poll(now_ms)
    }

    fn mast(&mut self, at: SampleIndex) -> Option<MastReading> {
        let now_ms = self.now_ms();
        self.mast.up_to(at, sampling::latest(), now_ms)
    }

    fn utc_s(&mut self) -> Option<u64> {
        self.mast.take_utc()
    }

    fn charge(&mut self) -> Charge {
        let now_ms = self.now_ms();
        self.battery.charge(now_ms)
    }

    fn set_rung(&mut self, rung: u8) {
        sampling::set_rung(rung);
    }

    fn play(&mut self, sound: Sound) {
        // A timer that cannot be set stays as it is: the screen says the same.
        let _ = self.sounder.play(sound);
    }

    fn display(&mut self) -> &mut Display {
        &mut self.slow.display
    }

    fn show(&mut self) {
        // A display that does not answer shows nothing; the tone and the book go on.
        let _ = self.slow.display.flush();
        // The light says that the slow side is alive.
        self.light.toggle();
    }

    fn book(&mut self) -> &mut Books {
        &mut self.slow.books
    }
}
