//! Wherever a depth stands on a screen, or that nothing was found, its caution stands on the same screen. What stands
//! there is read from the pixels, with the letters of another reader of fonts, whatever page was meant to be drawn.

mod common;

use std::collections::HashMap;

use embedded_graphics::geometry::Point;
use embedded_graphics::pixelcolor::BinaryColor;
use nullwalk_core::locate::Phase;
use nullwalk_core::verdict::{Reason, Verdict};
use nullwalk_core::words;
use nullwalk_handset::screen::{Canvas, draw};
use nullwalk_handset::view::{Count, Page, View};
use u8g2_fonts::types::{FontColor, VerticalPosition};
use u8g2_fonts::{FontRenderer, fonts};

/// Every font of any screen that writes words or figures.
const FONTS: [FontRenderer; 7] = [
    FontRenderer::new::<fonts::u8g2_font_helvR08_tf>(),
    FontRenderer::new::<fonts::u8g2_font_helvB08_tr>(),
    FontRenderer::new::<fonts::u8g2_font_helvB12_tf>(),
    FontRenderer::new::<fonts::u8g2_font_helvB14_tr>(),
    FontRenderer::new::<fonts::u8g2_font_helvB18_tf>(),
    FontRenderer::new::<fonts::u8g2_font_helvB24_tr>(),
    FontRenderer::new::<fonts::u8g2_font_logisoso38_tn>(),
];

/// What says that nothing was found, or that there is no figure.
const NOTHING: [&str; 5] = ["not heard", "is here", "no figure", "without a figure.", "without a fix."];
/// What is lit, row by row.
struct Pixels {
    width: usize,
    height: usize,
    lit: Vec<bool>,
}

impl Pixels {
    fn of<const W: usize, const H: usize>(canvas: &Canvas<W, H>) -> Self {
        let lit = (0..H).flat_map(|y| (0..8 * W).map(move |x| canvas.is_lit(x, y)));
        Self { width: 8 * W, height: H, lit: lit.collect() }
    }

    /// Beyond the edge nothing is lit.
    fn lit(&self, x: i32, y: i32) -> bool {
        let (Ok(x), Ok(y)) = (usize::try_from(x), usize::try_from(y)) else { return false };
        x < self.width && y < self.height && self.lit[y * self.width + x]
    }

    fn all_lit(&self) -> Vec<(i32, i32)> {
        let lit = self.lit.iter().enumerate().filter(|(_, lit)| **lit);
        lit.map(|(at, _)| ((at % self.width) as i32, (at / self.width) as i32)).collect()
    }
}

/// Columns that are empty beside a word, and not between the letters of one.
const GAP: i32 = 2;

/// How something is written in one font: what is lit and what is not, from a pixel that is.
struct Writing(Vec<(i32, i32, bool)>);

impl Writing {
    /// None where the font lacks a letter.
    fn new(font: &FontRenderer, text: &str) -> Option<Self> {
        let mut canvas = Canvas::<64, 64>::new();
        let (at, ink) = (Point::new(16, 48), FontColor::Transparent(BinaryColor::On));
        font.render(text, at, VerticalPosition::Baseline, ink, &mut canvas).ok()?;
        let drawn = Pixels::of(&canvas);
        let lit = drawn.all_lit();
        let &(x0, y0) = lit.first()?;
        let left = lit.iter().map(|(x, _)| x).min()? - GAP;
        let right = lit.iter().map(|(x, _)| x).max()? + GAP;
        let (top, bottom) = (y0, lit.iter().map(|(_, y)| *y).max()?);
        let all = (left..=right).flat_map(|x| (top..=bottom).map(move |y| (x, y)));
        Some(Self(all.map(|(x, y)| (x - x0, y - y0, drawn.lit(x, y))).collect()))
    }

    fn is_on(&self, screen: &Pixels) -> bool {
        let mut from = screen.all_lit().into_iter();
        from.any(|(x, y)| self.0.iter().all(|(dx, dy, lit)| screen.lit(x + dx, y + dy) == *lit))
    }
}

/// Reads what it was asked for before in the same way.
#[derive(Default)]
struct Reader {
    known: HashMap<String, Vec<Writing>>,
}

impl Reader {
    /// Whether a text stands on a screen on one line, in any one font.
    fn reads(&mut self, screen: &Pixels, text: &str) -> bool {
        if !self.known.contains_key(text) {
            let writings = FONTS.iter().filter_map(|font| Writing::new(font, text)).collect();
            self.known.insert(text.to_owned(), writings);
        }
        self.known[text].iter().any(|writing| writing.is_on(screen))
    }

    /// Whether all words of a text stand on a screen, on whatever lines.
    fn reads_words(&mut self, screen: &Pixels, text: &str) -> bool {
        text.split_whitespace().all(|word| self.reads(screen, word))
    }
}

/// How many screens showed what must have its caution.
#[derive(Default)]
struct Seen {
    depths: usize,
    nothings: usize,
}

impl Seen {
    /// The property, on one screen.
    fn check<const W: usize, const H: usize>(
        &mut self,
        reader: &mut Reader,
        name: &str,
        view: &View<'_>,
        depths: &[&str],
    ) {
        let mut canvas = Canvas::<W, H>::new();
        let Ok(()) = draw(view, &mut canvas);
        let screen = Pixels::of(&canvas);
        if depths.iter().any(|depth| reader.reads(&screen, depth)) {
            self.depths += 1;
            assert!(
                reader.reads_words(&screen, words::CAUTION_DEPTH),
                "{name}: a depth without its caution"
            );
        }
        if NOTHING.iter().any(|nothing| reader.reads(&screen, nothing)) {
            self.nothings += 1;
            assert!(
                reader.reads_words(&screen, words::CAUTION_NOTHING_BRIEF),
                "{name}: nothing found without its caution"
            );
        }
    }

    fn check_all(&mut self, reader: &mut Reader, name: &str, view: &View<'_>, depths: &[&str]) {
        // By night letters are light. Under the sun it is the same picture, inverted, as another test shows.
        let view = View { night: true, ..view.clone() };
        self.check::<16, 64>(reader, name, &view, depths);
        self.check::<32, 128>(reader, name, &view, depths);
    }
}

/// Both sizes of letters.
const SCREENS: usize = 2;

#[test]
fn what_stands_on_a_screen_is_read_and_what_does_not_is_not() {
    let mut reader = Reader::default();
    let guidance = nullwalk_core::locate::Guidance {
        offset: common::offset(1.24, 0.3),
        ..common::guidance(Phase::Bracket, 52.0)
    };
    let screen = Pixels::of(&common::small(&common::view(Page::Guide(&guidance))));
    assert!(reader.reads(&screen, "1.24") && reader.reads(&screen, "0.30 m left"));
    assert!(reader.reads_words(&screen, "left 0.30 ahead"));
    for absent in
        ["14", "1.25", "2.24", "head", "behind", words::CAUTION_DEPTH, words::CAUTION_NOTHING_BRIEF]
    {
        assert!(!reader.reads_words(&screen, absent), "{absent}");
    }
}

#[test]
fn no_depth_stands_without_its_caution() {
    let (mut reader, mut seen) = (Reader::default(), Seen::default());
    // The range and its middle; the shallow bound is a fifth above.
    let depths = ["1.37", "1.79", "1.58", "1.10"];
    let (mut drawn, mut ranged) = (0, 0);
    for reasons in [vec![], vec![Reason::MethodsDisagree], common::reasons().to_vec()] {
        for verdict in [Verdict::Agree, Verdict::Doubt, Verdict::Refuse] {
            for range in [None, Some((1.37, 1.79))] {
                for notice in [None, Some("samples lost")] {
                    let mut fix = common::fix(verdict, &reasons, range);
                    if notice.is_some() {
                        fix.judgement.shallow_m = None;
                    }
                    let view = View { notice, ..common::view(Page::Fix(&fix)) };
                    seen.check_all(&mut reader, &format!("{verdict:?} for {reasons:?}"), &view, &depths);
                    drawn += SCREENS;
                    ranged += if range.is_some() && verdict != Verdict::Refuse { SCREENS } else { 0 };
                }
            }
        }
    }
    // Each of them says one or the other, and was read.
    assert_eq!((seen.depths, seen.nothings), (ranged, drawn - ranged));
}

#[test]
fn no_page_says_that_nothing_was_found_without_its_caution() {
    let (mut reader, mut seen) = (Reader::default(), Seen::default());
    // The range of the fixes among the scenes.
    let depths = ["1.12", "1.28", "0.87", "2.04", "10.2", "13.9"];
    common::scenes(|name, view| seen.check_all(&mut reader, name, view, &depths));
    assert!(seen.depths >= 3 * SCREENS && seen.nothings >= 3 * SCREENS);
    for phase in [Phase::Listen, Phase::Home, Phase::Bracket, Phase::Settle] {
        for trouble in common::reasons().map(Some).into_iter().chain([None]) {
            let mut guidance = common::guidance(phase, 3.0);
            guidance.trouble = trouble;
            let name = format!("{phase:?}, {trouble:?}");
            let before = seen.nothings;
            seen.check_all(&mut reader, &name, &common::view(Page::Guide(&guidance)), &depths);
            let is_unheard = matches!(trouble, Some(Reason::NoTone | Reason::OtherTone(_)));
            assert_eq!(seen.nothings - before, if is_unheard { SCREENS } else { 0 }, "{name}");
        }
    }
    let count = Count { number: 1, of: 2 };
    for reason in common::reasons() {
        for page in [Page::Why(reason, count), Page::Remedy(reason, count)] {
            let view = common::view(page);
            seen.check_all(&mut reader, reason.code(), &view, &depths);
            // That it is not heard may stand on two lines.
            let is_unheard = matches!(reason, Reason::NoTone | Reason::OtherTone(_));
            for screen in [Pixels::of(&common::small(&view)), Pixels::of(&common::large(&view))] {
                assert_eq!(
                    reader.reads_words(&screen, words::CAUTION_NOTHING_BRIEF),
                    is_unheard,
                    "{reason:?}"
                );
            }
        }
    }
    for more in [words::STATION_FIXED, words::STATION_WITHOUT_FIGURE, words::STATION_WITHOUT_FIX] {
        let page = Page::Done("Station 12".try_into().unwrap(), more);
        let before = seen.nothings;
        seen.check_all(&mut reader, more, &common::view(page), &depths);
        let is_without = more != words::STATION_FIXED;
        assert_eq!(seen.nothings - before, if is_without { SCREENS } else { 0 }, "{more}");
    }
}
