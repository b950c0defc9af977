//! The sweep as a drawing: what was walked, what was found, and what would have been noticed where.

use glam::DVec2;
use maud::{Markup, html};

use super::{Found, Sweep, Walk};
use crate::chart::{
    BLUE, GUIDE_GREY, INK, PAPER, RED, SHADES, WIDTH, decimal, document, heading, note, round_down, words,
};

const MARGIN: f64 = 14.0;
const GAP: f64 = 26.0;
/// Of a map, pixels.
const TALLEST: f64 = 420.0;
const TOP: f64 = 66.0;
/// Around what was walked and the box, metres.
const AROUND_M: f64 = 0.5;
/// What is not noticed at all, beyond the darkest shade: lightness and hatching both tell.
const BARE: &str = "url(#bare)";
/// Limits between shades: depths in metres, and currents over that which was asked for, so that what counts as swept ends
/// where a shade does.
const DEPTHS_M: [f64; 5] = [3.0, 2.0, 1.5, 1.0, 0.5];
const CURRENTS: [f64; 5] = [0.2, 0.5, 1.0, 2.0, 5.0];

/// One of the two maps.
struct Map {
    title: String,
    key: [String; 6],
    classes: Vec<usize>,
}

/// From the site to pixels; north is up.
#[derive(Clone, Copy)]
struct View {
    left: f64,
    top: f64,
    size: DVec2,
    low_m: DVec2,
    per_m: f64,
}

impl View {
    fn at(&self, place_m: DVec2) -> DVec2 {
        let from = (place_m - self.low_m) * self.per_m;
        DVec2::new(self.left + from.x, self.top + self.size.y - from.y)
    }
}

/// The drawing.
pub fn svg(sweep: &Sweep, walk: &Walk) -> String {
    let [east, north, wide, high] = sweep.box_m;
    let corner_m = DVec2::new(east, north);
    let places = || walk.sights.iter().map(|sight| sight.at_m.truncate());
    let low_m = places().fold(corner_m, DVec2::min) - AROUND_M;
    let high_m = places().fold(corner_m + DVec2::new(wide, high), DVec2::max) + AROUND_M;
    let extent_m = high_m - low_m;
    let per_m = ((WIDTH - 2.0 * MARGIN - GAP) / 2.0 / extent_m.x).min(TALLEST / extent_m.y);
    let size = extent_m * per_m;
    let view = |n: f64| View { left: MARGIN + n * (WIDTH - MARGIN) / 2.0, top: TOP, size, low_m, per_m };
    let (current_ma, depth_m) = sweep.swept_for;
    let depths = sweep.limits.depths_for(current_ma);
    let currents = sweep.limits.at_depth(depth_m);
    let limits_ma = CURRENTS.map(|share| round(share * current_ma));
    let deep = Map {
        title: format!("How deep a line of {current_ma} mA would be noticed"),
        key: ["3 m and more", "2 to 3 m", "1.5 to 2 m", "1 to 1.5 m", "0.5 to 1 m", "not at 0.5 m"]
            .map(Into::into),
        classes: depths.iter().map(|d| class(&DEPTHS_M, |limit| d + 1e-9 >= limit)).collect(),
    };
    let faint = Map {
        title: format!("Least current noticed {depth_m} m down"),
        key: [
            format!("{} mA and less", limits_ma[0]),
            format!("to {} mA", limits_ma[1]),
            format!("to {} mA: swept, as was asked for", limits_ma[2]),
            format!("to {} mA: not swept", limits_ma[3]),
            format!("to {} mA", limits_ma[4]),
            format!("more than {} mA", limits_ma[4]),
        ],
        classes: currents.iter().map(|i| class(&limits_ma, |limit| *i <= limit)).collect(),
    };
    let bottom = TOP + size.y;
    let content = html! {
        defs {
            pattern id="bare" width="6" height="6" patternUnits="userSpaceOnUse" {
                rect width="6" height="6" fill=(PAPER) {}
                path d="M0 6L6 0M-1 1L1 -1M5 7L7 5M0 0L6 6M-1 5L1 7M5 -1L7 1" stroke=(INK) stroke-width="1" {}
            }
            @for (n, view) in [view(0.0), view(1.0)].iter().enumerate() {
                clipPath id={ "map" (n) } {
                    rect x=(decimal(view.left)) y=(decimal(view.top)) width=(decimal(size.x)) height=(decimal(size.y)) {}
                }
            }
        }
        (heading(MARGIN, 22.0, &format!("Sweep for lines, {:.0} Hz", sweep.tone_hz)))
        (words("start", MARGIN, 40.0, &format!(
            "What this walk would have noticed with 95 %: a long line in its worst lay, peak current. Over nothing, {} such sweeps in 100 find a line.",
            100.0 * sweep.false_alarm)))
        (map(&deep, view(0.0), sweep, walk, 0))
        (map(&faint, view(1.0), sweep, walk, 1))
        (scale_bar(view(0.0), bottom + 30.0))
        (north_arrow(WIDTH - MARGIN - 16.0, bottom + 26.0))
        (key(&deep, MARGIN, bottom + 62.0))
        (key(&faint, view(1.0).left, bottom + 62.0))
        (signs(bottom + 62.0 + 6.0 * 18.0 + 14.0))
        (words("start", MARGIN, bottom + 62.0 + 6.0 * 18.0 + 62.0,
            "Nothing detected is no proof of nothing there, and no permission to dig: lines without load or tone make no field."))
        (words("start", MARGIN, bottom + 62.0 + 6.0 * 18.0 + 78.0, "Follow local codes and licensed practice."))
    };
    document(
        WIDTH,
        bottom + 62.0 + 6.0 * 18.0 + 94.0,
        "Sweep of an area: lines found and limits of detection",
        &content,
    )
}

/// Which shade: the first whose limit holds; beyond the last, bare.
fn class(limits: &[f64; 5], holds: impl Fn(f64) -> bool) -> usize {
    limits.iter().position(|limit| holds(*limit)).unwrap_or(limits.len())
}

fn fill(class: usize) -> &'static str {
    SHADES.get(class).copied().unwrap_or(BARE)
}

fn map(map: &Map, view: View, sweep: &Sweep, walk: &Walk, n: usize) -> Markup {
    let [east, north, wide, high] = sweep.box_m;
    let (corner, size) = (view.at(DVec2::new(east, north + high)), DVec2::new(wide, high) * view.per_m);
    html! {
        (words("start", view.left, view.top - 8.0, &map.title))
        g clip-path={ "url(#map" (n) ")" } {
            (cells(map, view, sweep))
            (lanes(view, walk))
            @for line in &sweep.lines { (wire(view, line)) }
        }
        rect x=(decimal(corner.x)) y=(decimal(corner.y)) width=(decimal(size.x)) height=(decimal(size.y))
            fill="none" stroke=(INK) stroke-width="2" {}
        rect x=(decimal(view.left)) y=(decimal(view.top)) width=(decimal(view.size.x)) height=(decimal(view.size.y))
            fill="none" stroke=(GUIDE_GREY) stroke-width="0.8" {}
        @for line in &sweep.lines { (tag(view, line)) }
    }
}

/// The cells of the box: neighbours of one shade in one piece.
fn cells(map: &Map, view: View, sweep: &Sweep) -> Markup {
    let [east, north, ..] = sweep.box_m;
    let [wide, high] = sweep.limits.cell_m;
    let mut pieces = Vec::new();
    for (row, classes) in map.classes.chunks(sweep.limits.columns).enumerate() {
        let mut from = 0;
        while let Some(&first) = classes.get(from) {
            let to = (from..classes.len()).find(|&k| classes[k] != first).unwrap_or(classes.len());
            let place_m = DVec2::new(east + from as f64 * wide, north + (row + 1) as f64 * high);
            pieces.push((view.at(place_m), (to - from) as f64 * wide * view.per_m, first));
            from = to;
        }
    }
    // A little taller than a row, so that no seam shows.
    let tall = high * view.per_m + 0.3;
    html! {
        @for (at, width, class) in pieces.iter().filter(|(_, _, class)| *class > 0) {
            rect x=(decimal(at.x)) y=(decimal(at.y)) width=(decimal(*width + 0.3)) height=(decimal(tall)) fill=(fill(*class)) shape-rendering="crispEdges" {}
        }
    }
}

/// The way walked.
fn lanes(view: View, walk: &Walk) -> Markup {
    let mut path = String::new();
    let mut last: Option<DVec2> = None;
    for sight in &walk.sights {
        let place_m = sight.at_m.truncate();
        // Jumps from capture to capture were not walked.
        let begins = last.is_none_or(|last| last.distance(place_m) > 1.5);
        if last.is_some_and(|last| !begins && last.distance(place_m) < 0.1) {
            continue;
        }
        let at = view.at(place_m);
        path.push_str(&format!("{}{} {}", if begins { "M" } else { "L" }, decimal(at.x), decimal(at.y)));
        last = Some(place_m);
    }
    html! {
        path d=(path) fill="none" stroke=(PAPER) stroke-width="2.4" {}
        path d=(path) fill="none" stroke=(BLUE) stroke-width="1.4" stroke-dasharray="2 3" {}
    }
}

/// A line that was found, with the 95 % band of its place.
fn wire(view: View, line: &Found) -> Markup {
    let middle_m = line.wire.at_m.truncate();
    let (along, left) = (line.wire.along().truncate(), line.wire.left().truncate());
    let far_m = 400.0 / view.per_m.max(1.0) + view.size.length() / view.per_m;
    let ends = |aside_m: f64| {
        let from = middle_m + left * aside_m;
        [view.at(from - along * far_m), view.at(from + along * far_m)]
    };
    let band_m = 1.96 * line.place_sigma_m;
    let stroke = |aside_m: f64, colour: &str, width: &str, dashes: Option<&str>| {
        let [a, b] = ends(aside_m);
        html! {
            line x1=(decimal(a.x)) y1=(decimal(a.y)) x2=(decimal(b.x)) y2=(decimal(b.y)) stroke=(colour)
                stroke-width=(width) stroke-dasharray=[dashes] {}
        }
    };
    html! {
        (stroke(0.0, PAPER, "5", None))
        (stroke(0.0, RED, "2.4", if line.cautions.is_empty() { None } else { Some("9 4") }))
        @if band_m * view.per_m > 4.0 {
            @for side in [-1.0, 1.0] { (stroke(side * band_m, RED, "1", Some("2 2"))) }
        }
    }
}

/// The letter of a line, where it leaves the map.
fn tag(view: View, line: &Found) -> Markup {
    let from = view.at(line.wire.at_m.truncate());
    let along = line.wire.along().truncate() * DVec2::new(1.0, -1.0);
    let (low, high) =
        (DVec2::new(view.left, view.top) + 12.0, DVec2::new(view.left, view.top) + view.size - 12.0);
    // As far along either way as the map goes.
    let reach = |way: DVec2| {
        let to = |at: f64, way: f64, low: f64, high: f64| {
            if way.abs() < 1e-9 { f64::INFINITY } else { ((if way > 0.0 { high } else { low }) - at) / way }
        };
        from + way * to(from.x, way.x, low.x, high.x).min(to(from.y, way.y, low.y, high.y))
    };
    html! {
        @for at in [reach(along), reach(-along)] {
            @if at.cmpge(low - 1.0).all() && at.cmple(high + 1.0).all() {
                circle cx=(decimal(at.x)) cy=(decimal(at.y)) r="9" fill=(PAPER) stroke=(RED) stroke-width="1.6" {}
                text x=(decimal(at.x)) y=(decimal(at.y + 4.2)) text-anchor="middle" font-weight="bold" { (line.letter) }
            }
        }
    }
}

/// Free of the dust of binary fractions.
fn round(value: f64) -> f64 {
    (value * 1000.0).round() / 1000.0
}

fn scale_bar(view: View, y: f64) -> Markup {
    let length_m = round_down(110.0 / view.per_m);
    let half = 0.5 * length_m * view.per_m;
    html! {
        rect x=(decimal(MARGIN)) y=(decimal(y)) width=(decimal(half)) height="5" fill=(INK) stroke=(INK) {}
        rect x=(decimal(MARGIN + half)) y=(decimal(y)) width=(decimal(half)) height="5" fill=(PAPER) stroke=(INK) {}
        (words("start", MARGIN, y - 5.0, "0"))
        (words("middle", MARGIN + half, y - 5.0, &round(0.5 * length_m).to_string()))
        (words("start", MARGIN + 2.0 * half - 3.0, y - 5.0, &format!("{} m", round(length_m))))
    }
}

/// North is up.
fn north_arrow(x: f64, y: f64) -> Markup {
    html! {
        path d={ "M" (decimal(x)) " " (decimal(y + 14.0)) "v-26m-5 9l5 -9l5 9" } fill="none" stroke=(INK) stroke-width="1.6" {}
        (words("end", x - 8.0, y + 4.0, "N"))
    }
}

fn key(map: &Map, x: f64, y: f64) -> Markup {
    html! {
        @for (n, name) in map.key.iter().enumerate() {
            @let top = y + n as f64 * 18.0;
            rect x=(decimal(x)) y=(decimal(top)) width="24" height="12" fill=(fill(n)) stroke=(INK) stroke-width="0.8" {}
            (words("start", x + 32.0, top + 10.5, name))
        }
    }
}

fn signs(y: f64) -> Markup {
    html! {
        rect x=(decimal(MARGIN)) y=(decimal(y - 10.0)) width="24" height="12" fill="none" stroke=(INK) stroke-width="2" {}
        (words("start", MARGIN + 32.0, y, "box to be dug"))
        line x1=(decimal(MARGIN + 150.0)) x2=(decimal(MARGIN + 174.0)) y1=(decimal(y - 4.0)) y2=(decimal(y - 4.0))
            stroke=(BLUE) stroke-width="1.4" stroke-dasharray="2 3" {}
        (words("start", MARGIN + 182.0, y, "way walked"))
        line x1=(decimal(MARGIN + 290.0)) x2=(decimal(MARGIN + 318.0)) y1=(decimal(y - 4.0)) y2=(decimal(y - 4.0))
            stroke=(RED) stroke-width="2.4" {}
        (words("start", MARGIN + 326.0, y, "line found, with its letter; broken: with a caution"))
        (note("start", MARGIN, y + 20.0, "Outside the box no limits are shown. Lines are drawn straight on; nothing says how they go on."))
    }
}
