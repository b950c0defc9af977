//! How every picture looks: the one place for colours, lines and letters.
//!
//! Colours are those of Okabe and Ito (2008, Color Universal Design), which differ for the colour-blind too; each curve has
//! its own dashes besides, so that nothing depends on colour and a grey print tells the same. Where a colour stands for a
//! figure, the scale is cividis (Nuñez, Anderton and Renslow 2018, PLoS ONE 13:e0199239), which grows lighter evenly and
//! looks the same to nearly everybody.

use crate::letters::FAMILY;

pub const BLUE: &str = "#0072b2";
pub const RED: &str = "#d55e00";
pub const GREEN: &str = "#009e73";
pub const PURPLE: &str = "#cc79a7";
pub const SKY: &str = "#56b4e9";
pub const ORANGE: &str = "#e69f00";
/// Letters, frames, and what is measured but once.
pub const INK: &str = "#16191d";
/// What is said beside.
pub const SOFT: &str = "#4a5058";
pub const GUIDE_GREY: &str = "#8a9097";
/// Lines of scales.
pub const GRID: &str = "#dcdfe3";
/// Bands behind curves.
pub const BAND: &str = "#f1f2f4";
/// What everything is drawn on.
pub const PAPER: &str = "#fff";
/// Steps of a scale on maps, light enough for lines in colour upon them.
pub const SHADES: [&str; 5] = [PAPER, "#e3e3e3", "#c4c4c4", "#a2a2a2", "#7d7d7d"];

/// Height of letters in pixels, and of those that stand beside curves.
pub const LETTERS_PX: f64 = 12.0;
pub const SMALL_PX: f64 = 11.0;
/// The letters that travel with the program, and what looks like them elsewhere.
pub fn letters() -> String {
    format!("{FAMILY}, Helvetica, Arial, sans-serif")
}

/// Width of a picture, pixels: a column of the book. Left edge of its panels, and their distance from the right.
pub const WIDTH: f64 = 760.0;
pub const LEFT: f64 = 64.0;
pub const RIGHT: f64 = 16.0;

/// How a curve is drawn.
#[derive(Debug, Clone, Copy)]
pub struct Line {
    /// Colour.
    pub stroke: &'static str,
    /// Width in pixels.
    pub width: &'static str,
    /// Lengths of dashes and gaps; empty for a plain line.
    pub dashes: &'static str,
}

impl Line {
    /// A style of line.
    pub const fn new(stroke: &'static str, width: &'static str, dashes: &'static str) -> Self {
        Self { stroke, width, dashes }
    }

    pub fn dash_array(self) -> Option<&'static str> {
        Some(self.dashes).filter(|dashes| !dashes.is_empty())
    }
}

pub const FIRST: Line = Line::new(BLUE, "1.8", "");
pub const SECOND: Line = Line::new(RED, "1.6", "7 3");
pub const THIRD: Line = Line::new(SOFT, "1.4", "2 3");
pub const FOURTH: Line = Line::new(INK, "1.2", "10 3 2 3");
/// A line that helps the eye and measures nothing.
pub const GUIDE: Line = Line::new(GUIDE_GREY, "1", "4 4");
/// What sums up all the others.
pub const SUM: Line = Line::new(INK, "2.2", "");
/// Curves of one picture that holds many, each colour with two kinds of dashes.
pub const CURVES: [Line; 12] = [
    Line::new(BLUE, "1.6", ""),
    Line::new(RED, "1.6", "7 3"),
    Line::new(GREEN, "1.6", "2 3"),
    Line::new(PURPLE, "1.6", "10 3 2 3"),
    Line::new(SKY, "1.6", "4 2"),
    Line::new(ORANGE, "1.6", "12 3"),
    Line::new(BLUE, "1.2", "3 3"),
    Line::new(RED, "1.2", ""),
    Line::new(GREEN, "1.2", "8 2"),
    Line::new(PURPLE, "1.2", ""),
    Line::new(SKY, "1.2", "1 2"),
    Line::new(ORANGE, "1.2", "2 2"),
];
