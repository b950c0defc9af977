//! The slow side's loop, one turn at a time.

use embedded_graphics::draw_target::DrawTarget;
use embedded_graphics::pixelcolor::BinaryColor;
use nullwalk_core::frame::{MastReading, SampleIndex};
use nullwalk_core::locate::Sound;
use nullwalk_drivers::battery::Charge;
use nullwalk_drivers::buttons::Press;

use crate::book::Book;
use crate::duties::{Duties, Duty, Watchdog};
use crate::handset::Handset;
use crate::intake::Outlet;
use crate::menu::Key;
use crate::screen;

/// The screen is drawn so often, milliseconds: as often as there is something new.
const SCREEN_MS: u32 = 100;
/// Packets of one turn, so that buttons and screen have theirs too while the queue is being emptied.
const PACKETS: usize = 16;

/// What a board has, as the slow side sees it. Nothing here waits for longer than the queue holds out.
pub trait Board: Watchdog {
    /// The display, or a buffer of it.
    type Display: DrawTarget<Color = BinaryColor>;
    /// The field book.
    type Book: Book;

    /// Milliseconds since some time, wrapping.
    fn now_ms(&mut self) -> u32;
    /// What the buttons were used for since they were last looked at, in the order of [`Key::ALL`].
    fn presses(&mut self) -> [Option<Press>; Key::ALL.len()];
    /// What the mast's sensors said last, up to the sample `at`, if that was not told before. Readings are stamped with
    /// the number of the sample at which they hold: while the queue is being emptied, `at` is some time ago.
    fn mast(&mut self, at: SampleIndex) -> Option<MastReading>;
    /// What a satellite says of the time, if that is new: seconds since 1970.
    fn utc_s(&mut self) -> Option<u64>;
    /// What the battery is good for.
    fn charge(&mut self) -> Charge;
    /// Ask the interrupt side for a rung.
    fn set_rung(&mut self, rung: u8);
    /// Play this until told otherwise.
    fn play(&mut self, sound: Sound);
    /// Where to draw.
    fn display(&mut self) -> &mut Self::Display;
    /// Show what was drawn.
    fn show(&mut self);
    /// Where records go.
    fn book(&mut self) -> &mut Self::Book;
}

/// The slow side.
pub struct App<'q, const C: usize, const N: usize> {
    /// What it is all about.
    pub handset: Handset<C>,
    outlet: Outlet<'q, C, N>,
    duties: Duties,
    drawn_ms: Option<u32>,
}

impl<'q, const C: usize, const N: usize> App<'q, C, N> {
    /// A slow side that takes packets from `outlet`.
    pub const fn new(handset: Handset<C>, outlet: Outlet<'q, C, N>) -> Self {
        Self { handset, outlet, duties: Duties(0), drawn_ms: None }
    }

    /// Everything once. To be called again and again; between two turns the board may sleep until the next interrupt.
    pub fn turn<B: Board>(&mut self, board: &mut B) {
        let now_ms = board.now_ms();
        let charge = board.charge();
        self.handset.battery(charge, board.book());
        if let Some(utc_s) = board.utc_s() {
            self.handset.set_utc(utc_s, now_ms);
        }
        for _ in 0..PACKETS {
            let Some(packet) = self.outlet.peek() else { break };
            let mast = board.mast(packet.filled.block().start);
            self.handset.take(packet, mast, board.book());
            // Taken where it lies: a packet is large.
            let _ = self.outlet.dequeue();
            self.duties.done(Duty::Samples, board);
        }
        self.handset.tick(now_ms, board.book());
        if self.handset.is_silent() {
            self.duties.done(Duty::Samples, board);
        }
        let rung = self.handset.wanted_rung();
        board.set_rung(rung);
        for (key, press) in Key::ALL.into_iter().zip(board.presses()) {
            if let Some(press) = press {
                self.handset.press(key, press, board.book());
            }
        }
        self.duties.done(Duty::Buttons, board);
        board.play(self.handset.sound());
        if self.drawn_ms.is_none_or(|drawn_ms| now_ms.wrapping_sub(drawn_ms) >= SCREEN_MS) {
            self.drawn_ms = Some(now_ms);
            // A display that fails shows nothing; the tone and the book go on.
            if screen::draw(&self.handset.view(), board.display()).is_ok() {
                board.show();
            }
            self.duties.done(Duty::Screen, board);
        }
    }
}
