//! What the marks on the drawings mean. Only marks that are drawn are explained.

use glam::DVec2;
use maud::{Markup, html};

use super::block::{Block, Drawing};
use super::brief::Brief;
use super::draw::{DOT_MM, coloured, diamond, frame, line, mm, point_mark, shallow_mark, text};
use crate::book::{Run, Verdict};
use crate::job::Utility;

const WIDE_MM: f64 = 13.0;
const HIGH_MM: f64 = 7.4;
const MIDDLE: DVec2 = DVec2::new(WIDE_MM / 2.0, HIGH_MM / 2.0);

/// The legend of both drawings; none where nothing is drawn.
pub fn legend(brief: &Brief) -> Option<Block> {
    let run = &brief.run;
    let has = |verdict| run.stations.iter().any(|s| s.verdict == verdict);
    let located = run.stations.iter().any(|s| s.is_located());
    let planned = run.stations.iter().any(|s| s.is_located() && s.position.is_some());
    let deep = run.stations.iter().any(|s| s.stated_depth_m().is_some());
    let mut items = Vec::new();
    let mut add = |swatch: Markup, words: &str| {
        let content = swatch;
        let drawing = Drawing { label: String::new(), width_mm: WIDE_MM, height_mm: HIGH_MM, content };
        items.push((drawing, words.to_owned()));
    };
    if has(Verdict::Agree) {
        add(frame(MIDDLE, Verdict::Agree), "Agree: independent methods agree, checks passed");
    }
    if has(Verdict::Doubt) {
        add(
            frame(MIDDLE, Verdict::Doubt),
            "Doubt, lines broken: methods or checks disagree; the place may be far off, see the reasons",
        );
    }
    if has(Verdict::Refuse) {
        add(frame(MIDDLE, Verdict::Refuse), "Refuse: tried here, no figure may be given");
    }
    if located {
        let words = format!(
            "{}: {}, drawn straight from station to station, not measured between",
            brief.utility.letter(),
            brief.utility.word()
        );
        add(pipe(brief.utility), &words);
    }
    if planned {
        add(
            line(
                &format!("lay {}", brief.utility.word()),
                MIDDLE.with_x(1.5),
                MIDDLE.with_x(WIDE_MM - 1.5),
            ),
            "Lay of the pipe at the station",
        );
        add(zone(), zone_words(run));
    }
    if located {
        add(ring(), "Place and 95 % circle; bar: 95 % range of depth");
    }
    if deep && run.stations.iter().any(|s| s.stated_shallow_bound_m().is_some()) {
        add(shallow_mark(MIDDLE), "Shallow bound: reckon with the pipe from here down");
    }
    if has(Verdict::Refuse) && located {
        add(gap(), "?: nothing stated; the pipe may be anywhere");
    }
    if planned && brief.ties.iter().any(|t| t.at.is_some()) {
        add(point_mark(MIDDLE), "Permanent point, with its ties");
    }
    if planned && brief.others.iter().any(|o| !o.path.is_empty()) {
        add(other(), "Other line, by its letter; broken: expected there and not found");
    }
    if located && run.stations.iter().any(|s| s.truth.is_some()) {
        add(diamond(MIDDLE), "True place and depth: simulation only");
    }
    (!items.is_empty()).then_some(Block::Legend(items))
}

fn zone_words(run: &Run) -> &'static str {
    match run.tolerance_zone.width_m(&run.pipe) {
        Some(_) => "Tolerance zone, horizontal: expose only by safe means",
        None => "Tolerance zone, horizontal: add half the pipe’s width, not known here",
    }
}

fn other() -> Markup {
    html! {
        (line("other", MIDDLE.with_x(0.5), MIDDLE.with_x(WIDE_MM - 0.5)))
        (text("letter middle", MIDDLE + DVec2::new(0.0, 1.2), "U"))
    }
}

fn pipe(utility: Utility) -> Markup {
    html! {
        (coloured("pipe", utility, MIDDLE.with_x(0.5), MIDDLE.with_x(WIDE_MM - 0.5)))
        (text("letter middle", MIDDLE + DVec2::new(0.0, 1.2), utility.letter()))
    }
}

fn gap() -> Markup {
    html! {
        (line("pipe gap", MIDDLE.with_x(0.5), MIDDLE.with_x(WIDE_MM - 0.5)))
        (text("letter middle", MIDDLE + DVec2::new(0.0, 1.2), "?"))
    }
}

fn zone() -> Markup {
    let corner = (mm(1.0), mm(MIDDLE.y - 2.6));
    html! {
        rect.zone-fill x=(corner.0) y=(corner.1) width=(mm(WIDE_MM - 2.0)) height="5.2" {}
        rect.zone-edge x=(corner.0) y=(corner.1) width=(mm(WIDE_MM - 2.0)) height="5.2" {}
    }
}

fn ring() -> Markup {
    let at = MIDDLE - DVec2::new(2.5, 0.0);
    let x = MIDDLE.x + 3.5;
    html! {
        circle.circle95 cx=(mm(at.x)) cy=(mm(at.y)) r="2.2" {}
        circle.dot cx=(mm(at.x)) cy=(mm(at.y)) r=(mm(DOT_MM)) {}
        (line("bar", DVec2::new(x, 1.0), DVec2::new(x, HIGH_MM - 1.0)))
        @for y in [1.0, HIGH_MM - 1.0] { (line("bar", DVec2::new(x - 1.2, y), DVec2::new(x + 1.2, y))) }
        circle.dot cx=(mm(x)) cy=(mm(MIDDLE.y)) r=(mm(DOT_MM)) {}
    }
}
