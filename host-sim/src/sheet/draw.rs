//! What plan and profile have in common: paper coordinates in millimetres, marks and lettering.

use glam::DVec2;
use maud::{Markup, html};

use crate::book::{Station, Verdict};
use crate::job::Utility;
use crate::letters::{plain, width};

/// Width of a drawing on paper. It fits A4 and Letter with the margins of the style sheet.
pub const WIDTH_MM: f64 = 180.0;

/// A coordinate as an attribute: a hundredth of a millimetre is finer than any printer.
pub fn mm(value: f64) -> String {
    // Adding zero turns a negative zero into a plain one.
    format!("{}", (value * 100.0).round() / 100.0 + 0.0)
}

/// A straight line of a style class.
pub fn line(class: &str, from: DVec2, to: DVec2) -> Markup {
    html! { line class=(class) x1=(mm(from.x)) y1=(mm(from.y)) x2=(mm(to.x)) y2=(mm(to.y)) {} }
}

/// Lettering of a style class; the class also says where it is anchored. What may stand on lines has a white ground: an
/// outline of the letters would be read twice from a PDF.
pub fn text(class: &str, at: DVec2, words: &str) -> Markup {
    let words = plain(words);
    let has = |name: &str| class.split(' ').any(|c| c == name);
    let size = match (has("letter"), has("remark"), has("haloed")) {
        (true, ..) => Some((3.4, true)),
        (_, true, _) => Some((2.8, true)),
        (.., true) => Some((2.4, false)),
        _ => None,
    };
    html! {
        @if let Some((size, bold)) = size {
            @let width = width(&words, bold) * size + 0.8;
            @let left = if has("middle") { 0.5 * width } else if has("end") { width - 0.4 } else { 0.4 };
            rect.halo x=(mm(at.x - left)) y=(mm(at.y - 0.85 * size)) width=(mm(width)) height=(mm(1.1 * size)) rx="0.6" {}
        }
        text class=(class) x=(mm(at.x)) y=(mm(at.y)) { (words) }
    }
}

/// A line of a utility: its colour on an ink edge, so that yellow shows on white, and grey on grey paper.
pub fn coloured(class: &str, utility: Utility, from: DVec2, to: DVec2) -> Markup {
    html! {
        (line(&format!("{class} edge"), from, to))
        (line(&format!("{class} {}", utility.word()), from, to))
    }
}

/// Slanting hatch for the tolerance zone, in paper millimetres so that neighbouring shapes join.
pub fn zone_hatch() -> Markup {
    html! {
        pattern id="zone" width="2.2" height="2.2" patternUnits="userSpaceOnUse" patternTransform="rotate(45)" {
            line.hatch x1="0" y1="0" x2="0" y2="2.2" {}
        }
    }
}

/// A permanent point: a small triangle with a dot.
pub fn point_mark(at: DVec2) -> Markup {
    html! {
        path.point d={ "M" (mm(at.x)) " " (mm(at.y - 2.0)) "l1.9 3.2h-3.8z" } {}
        circle.dot cx=(mm(at.x)) cy=(mm(at.y)) r="0.45" {}
    }
}

/// How near the surface the pipe has to be reckoned with: a bar on a triangle.
pub fn shallow_mark(at: DVec2) -> Markup {
    html! { path.shallow d={ "M" (mm(at.x - 2.4)) " " (mm(at.y)) "h4.8l-2.4 2z" } {} }
}

/// Radius of the dot at a place or a depth.
pub const DOT_MM: f64 = 0.6;

/// The line between two located stations: broken if either is in doubt.
pub fn joint(a: &Station, b: &Station, utility: Utility, from: DVec2, to: DVec2) -> Markup {
    if [a, b].iter().any(|s| s.verdict == Verdict::Doubt) {
        // On a broken edge there would be no gaps to see.
        line(&format!("pipe doubt {}", utility.word()), from, to)
    } else {
        coloured("pipe", utility, from, to)
    }
}

/// Radius of a number tag.
pub const TAG_MM: f64 = 3.3;

/// The station's number in a frame whose shape tells the verdict: a plain circle, a dashed circle, or a
/// square with its corners crossed out.
fn tag(at: DVec2, station: &Station) -> Markup {
    let number = station.number.to_string();
    let size = if number.len() > 2 { "tag small middle" } else { "tag middle" };
    html! {
        (frame(at, station.verdict))
        (text(size, at + DVec2::new(0.0, 1.15), &number))
    }
}

/// The frame of a tag, without a number.
pub fn frame(at: DVec2, verdict: Verdict) -> Markup {
    match verdict {
        Verdict::Agree => html! { circle.frame cx=(mm(at.x)) cy=(mm(at.y)) r=(mm(TAG_MM)) {} },
        Verdict::Doubt => html! { circle."frame doubt" cx=(mm(at.x)) cy=(mm(at.y)) r=(mm(TAG_MM)) {} },
        Verdict::Refuse => html! {
            rect.frame x=(mm(at.x - TAG_MM)) y=(mm(at.y - TAG_MM))
                width=(mm(2.0 * TAG_MM)) height=(mm(2.0 * TAG_MM)) {}
            @for corner in [DVec2::new(1.0, 1.0), DVec2::new(-1.0, 1.0), DVec2::new(1.0, -1.0), DVec2::new(-1.0, -1.0)] {
                (line("frame", at + corner * TAG_MM, at + corner * TAG_MM * 0.6))
            }
        },
    }
}

/// Height of a line of remarks.
const LINE_MM: f64 = 3.4;

/// What has to be said of a station beside its number.
fn remarks(station: &Station) -> Vec<&'static str> {
    let verdict = match station.verdict {
        Verdict::Agree => None,
        Verdict::Doubt => Some("doubt"),
        Verdict::Refuse => Some("refused"),
    };
    station.trouble_spot.then_some("TROUBLE SPOT").into_iter().chain(verdict).collect()
}

/// A number tag with the remarks above it.
pub fn label(at: DVec2, station: &Station) -> Markup {
    let above = |row: usize| at - DVec2::new(0.0, TAG_MM + 1.3 + row as f64 * LINE_MM);
    html! {
        (tag(at, station))
        @for (row, words) in remarks(station).iter().enumerate() { (text("remark middle", above(row), words)) }
    }
}

/// Labels above their stations, each on the lowest level where it does not run into one before it.
pub struct Labels {
    levels: Vec<u32>,
    level_mm: f64,
    /// How far the highest stands above the highest station.
    height_mm: f64,
}

/// A label's place on the paper: its middle, half its width, its lower and its upper edge.
struct Extent {
    x: f64,
    half: f64,
    low: f64,
    high: f64,
}

impl Labels {
    /// Crowds beyond this overlap: a run so long belongs on several sheets.
    const LEVELS: u32 = 5;

    /// Labels of stations at places on the paper, millimetres right and down, each raised along `up`.
    pub fn place<'a>(stations: impl Iterator<Item = (DVec2, &'a Station)> + Clone, up: DVec2) -> Self {
        let rows = stations.clone().map(|(_, s)| remarks(s).len()).max().unwrap_or(0);
        let level_mm = 2.0 * TAG_MM + 1.6 + rows as f64 * LINE_MM;
        let top = stations.clone().map(|(at, _)| at.y).fold(f64::MAX, f64::min);
        let mut taken: Vec<Extent> = Vec::new();
        let mut levels = Vec::new();
        let mut height_mm: f64 = 0.0;
        for (at, station) in stations {
            let tall = 2.0 * TAG_MM + 1.6 + remarks(station).len() as f64 * LINE_MM;
            let boxed = |level: u32| {
                let at = at + up * f64::from(level) * level_mm;
                let low = at.y;
                Extent { x: at.x, half: half_width_mm(station), low, high: low - tall }
            };
            let free = |b: &Extent| {
                let apart =
                    |t: &Extent| (t.x - b.x).abs() >= t.half + b.half || t.high >= b.low || b.high >= t.low;
                taken.iter().all(apart)
            };
            let level = (0..Self::LEVELS).find(|&level| free(&boxed(level))).unwrap_or(0);
            let found = boxed(level);
            height_mm = height_mm.max(top - found.high);
            taken.push(found);
            levels.push(level);
        }
        Self { levels, level_mm, height_mm }
    }

    /// How far the label of the station with this place in the row is raised.
    pub fn raised_mm(&self, index: usize) -> f64 {
        self.levels.get(index).map_or(0.0, |&level| f64::from(level) * self.level_mm)
    }

    /// Height of all labels together, from the highest station up.
    pub fn height_mm(&self) -> f64 {
        self.height_mm
    }
}

/// Half the width a label needs, with some air; bold capitals are the widest letters there are.
fn half_width_mm(station: &Station) -> f64 {
    const HALF_LETTER_MM: f64 = 0.95;
    let longest = remarks(station).iter().map(|words| words.len()).max().unwrap_or(0);
    (longest as f64 * HALF_LETTER_MM).max(TAG_MM) + 0.5
}

/// Where a simulated source really was: a small open diamond.
pub fn diamond(at: DVec2) -> Markup {
    html! { path.truth d={ "M" (mm(at.x)) " " (mm(at.y - 1.5)) "l1.5 1.5l-1.5 1.5l-1.5 -1.5z" } {} }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn crowded_labels_are_raised_and_lone_ones_are_not() {
        let plain = Station { verdict: Verdict::Agree, ..Station::default() };
        let wide = Station { trouble_spot: true, ..plain.clone() };
        let at = |x: f64| DVec2::new(x, 0.0);
        let row = [(at(0.0), &plain), (at(20.0), &plain), (at(24.0), &wide), (at(60.0), &plain)];
        let labels = Labels::place(row.into_iter(), DVec2::NEG_Y);
        assert_eq!(labels.levels, [0, 0, 1, 0]);
        assert_eq!(labels.raised_mm(0), 0.0);
        assert!(labels.raised_mm(2) >= 2.0 * TAG_MM);
        assert_eq!(labels.height_mm(), 2.0 * labels.raised_mm(2));
        // On a run that falls across the paper, a label is not raised into the one before it.
        let fallen = [(at(20.0), &plain), (DVec2::new(24.0, labels.raised_mm(2)), &wide)];
        assert_eq!(Labels::place(fallen.into_iter(), DVec2::NEG_Y).levels, [0, 0]);
    }
}
