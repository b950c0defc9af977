//! The screens are what they were when somebody looked at them, and nothing on them is cut off.

mod common;
#[path = "common/picture.rs"]
mod picture;

use std::convert::Infallible;
use std::fs;
use std::path::Path;

use embedded_graphics::Pixel;
use embedded_graphics::draw_target::DrawTarget;
use embedded_graphics::geometry::{OriginDimensions, Size};
use embedded_graphics::pixelcolor::BinaryColor;
use nullwalk_core::locate::Phase;
use nullwalk_core::record::FaultKind;
use nullwalk_core::verdict::{Reason, Verdict};
use nullwalk_drivers::converter::Fault;
use nullwalk_handset::screen::draw;
use nullwalk_handset::selftest::{Check, Finding, Wrong};
use nullwalk_handset::view::{Count, Page, View};

/// The screens that are kept as text beside this file, to see at once what a change does. They are written anew by
/// `cargo run -p nullwalk-handset --example screens -- boards/handset/tests/golden text`.
#[test]
fn the_screens_are_those_that_were_looked_at() {
    let golden = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/golden");
    for name in picture::GOLDEN {
        let kept = fs::read_to_string(golden.join(format!("{name}.txt"))).unwrap();
        let drawn = picture::scene(name, |view| common::as_text(&common::small(view)));
        assert!(drawn == kept, "{name} is now\n{drawn}");
    }
}

#[test]
fn the_pictures_of_the_book_are_these_screens() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/src/figures");
    let pixels = |png: &[u8]| {
        let mut reader = png::Decoder::new(std::io::Cursor::new(png)).read_info().unwrap();
        let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
        let frame = reader.next_frame(&mut pixels).unwrap();
        (frame.width, frame.height, pixels)
    };
    let drawn_here = picture::of_the_book();
    for entry in fs::read_dir(&folder).unwrap() {
        let file = entry.unwrap().file_name().into_string().unwrap();
        let is_ours = file.starts_with("handset-");
        assert!(
            !is_ours || drawn_here.iter().any(|(name, _)| file == format!("{name}.png")),
            "{file} is not drawn"
        );
    }
    for (name, drawn) in drawn_here {
        let kept = fs::read(folder.join(format!("{name}.png"))).unwrap();
        assert!(pixels(&kept) == pixels(&drawn), "{name}.png is stale: draw the book's figures again");
    }
}

/// Notes what is drawn beside it.
struct Edge {
    size: Size,
    beside: usize,
}

impl OriginDimensions for Edge {
    fn size(&self) -> Size {
        self.size
    }
}

impl DrawTarget for Edge {
    type Color = BinaryColor;
    type Error = Infallible;

    fn draw_iter<I: IntoIterator<Item = Pixel<BinaryColor>>>(
        &mut self,
        pixels: I,
    ) -> Result<(), Infallible> {
        let inside = |at: i32, length: u32| u32::try_from(at).is_ok_and(|at| at < length);
        let Size { width, height } = self.size;
        let beside =
            pixels.into_iter().filter(|Pixel(at, _)| !inside(at.x, width) || !inside(at.y, height));
        self.beside += beside.count();
        Ok(())
    }
}

#[track_caller]
fn assert_whole(name: &str, view: &View<'_>) {
    for size in [Size::new(128, 64), Size::new(256, 128), Size::new(264, 176)] {
        let mut edge = Edge { size, beside: 0 };
        let Ok(()) = draw(view, &mut edge);
        assert_eq!(edge.beside, 0, "{name} is cut off on {size}");
    }
}

#[test]
fn nothing_is_cut_off() {
    common::scenes(assert_whole);
    let count = Count { number: 38, of: 42 };
    for reason in common::reasons() {
        assert_whole(reason.code(), &common::view(Page::Why(reason, count)));
        assert_whole(reason.code(), &common::view(Page::Remedy(reason, count)));
        let range = (reason.severity() != Verdict::Refuse).then_some((0.87, 2.04));
        let fix = common::fix(reason.severity(), &[reason; 1], range);
        assert_whole(reason.code(), &common::view(Page::Fix(&fix)));
    }
    let every = common::fix(Verdict::Doubt, &common::reasons(), Some((99.94, 100.0)));
    assert_whole("every reason", &common::view(Page::Fix(&every)));
    // What guidance can complain of.
    for reason in [
        Reason::Saturated,
        Reason::HeldTooHigh,
        Reason::OtherTone(8192.0),
        Reason::NoTone,
        Reason::Disturbed,
    ] {
        let mut guidance = common::guidance(Phase::Bracket, 88.8);
        guidance.trouble = Some(reason);
        assert_whole(reason.code(), &common::view(Page::Guide(&guidance)));
    }
    for kind in FaultKind::ALL.into_iter().chain([FaultKind::Other(200)]) {
        assert_whole(kind.sentence(), &common::view(Page::Fault(kind, Some(7))));
    }
    let wrongs = [
        Wrong::NotStarted,
        Wrong::Silent,
        Wrong::Flat,
        Wrong::TooQuiet,
        Wrong::TooNoisy,
        Wrong::Level { rung: 3 },
        Wrong::Step { rung: 3 },
        Wrong::AtRail,
        Wrong::NotKept,
    ];
    for wrong in wrongs.into_iter().chain(Fault::ALL.map(Wrong::Faulty)) {
        for (check, channel) in
            Check::ALL.map(|check| (check, None)).into_iter().chain([(Check::Coils, Some(7))])
        {
            let finding = Finding { check, channel, wrong };
            let page = Page::Finding(finding, Count { number: 15, of: 16 });
            assert_whole(finding.sentence(), &common::view(page));
        }
    }
}

/// Light on dark, or dark on light: nothing else differs.
#[test]
fn night_is_sun_inverted() {
    common::scenes(|name, view| {
        let other = View { night: !view.night, ..view.clone() };
        let (one, other) = (common::small(view), common::small(&other));
        for y in 0..64 {
            assert!((0..128).all(|x| one.is_lit(x, y) != other.is_lit(x, y)), "{name}, row {y}");
        }
    });
}

/// A figure that cannot be is no reason to stop.
#[test]
fn numbers_that_cannot_be_are_survived() {
    for value in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, f32::MAX, f32::MIN, 0.0] {
        let mut guidance = common::guidance(Phase::Home, value);
        guidance.turn_rad = Some(value);
        common::large(&common::view(Page::Guide(&guidance)));
        guidance.turn_rad = None;
        guidance.offset = common::offset(value, -value);
        common::large(&common::view(Page::Guide(&guidance)));
        let fix = common::fix(Verdict::Doubt, &[], Some((value, value)));
        common::small(&common::view(Page::Fix(&fix)));
    }
}
