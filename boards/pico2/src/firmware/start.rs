//! Before the first locate: the book is opened, and the self-test goes through the whole front end.

use nullwalk_core::record::{Note, Record, clipped};
use nullwalk_drivers::converter::Input;
use nullwalk_handset::app::Board as _;
use nullwalk_handset::book::Book as _;
use nullwalk_handset::duties::Watchdog as _;
use nullwalk_handset::intake::Outlet;
use nullwalk_handset::screen;
use nullwalk_handset::selftest::{Report, SelfTest, Trial};
use nullwalk_handset::view::{Page, View};
use nullwalk_pico2::fitting::{self, CHANNELS, FRAMES, TONE_HZ};

use super::board::Pico2;
use super::book::Opening;
use super::sampling;

/// The screen is drawn so often meanwhile, milliseconds.
const SCREEN_MS: u32 = 100;

/// Open the book. DOWN held: send it over the link first. UP and DOWN held: erase it.
pub fn open_book(board: &mut Pico2) {
    show(board, &Report::default());
    let opening = match board.keys.held {
        [true, true, ..] => Opening::Format,
        [false, true, ..] => Opening::SendAll,
        _ => Opening::GoOn,
    };
    board.book().open(opening);
}

/// Carry out what the self-test asks for.
pub fn self_test(board: &mut Pico2, outlet: &mut Outlet<'_, CHANNELS, FRAMES>) -> Report {
    let mut test = SelfTest::<CHANNELS>::new(fitting::expected().expect("a test makes these"));
    let (mut listening, mut drawn_ms) = (None::<Input>, board.now_ms());
    loop {
        let now_ms = board.now_ms();
        test.tick(now_ms);
        match test.trial() {
            Trial::Start => {
                if let Some(started) = sampling::started() {
                    test.started(started);
                }
            }
            Trial::Listen { input, rung } => {
                sampling::set_rung(rung);
                if listening != Some(input) {
                    listening = Some(input);
                    sampling::listen_to(input);
                }
            }
            Trial::Store => {
                let note = Note { at: 0, text: clipped("Self-test.") };
                // The book reads back what it writes.
                test.stored(board.book().append(&Record::Note(note)).is_ok());
            }
            Trial::Over => break,
        }
        while let Some(packet) = outlet.dequeue() {
            test.push(&packet.filled);
        }
        if now_ms.wrapping_sub(drawn_ms) >= SCREEN_MS {
            drawn_ms = now_ms;
            show(board, test.report());
        }
        // Every trial ends by itself, so that this does too.
        board.feed();
        cortex_m::asm::wfi();
    }
    if listening != Some(Input::Coil) {
        sampling::listen_to(Input::Coil);
    }
    sampling::set_rung(0);
    test.report().clone()
}

fn show(board: &mut Pico2, report: &Report) {
    let view = View {
        page: Page::Testing(report),
        tone_hz: TONE_HZ,
        rung: 0,
        held: false,
        notice: None,
        mute: false,
        night: false,
    };
    if screen::draw(&view, board.display()).is_ok() {
        board.show();
    }
}
