//! What the marks on the drawings mean. Only marks that are drawn are explained.

use glam::DVec2;
use maud::{Markup, html};

use super::draw::{DOT_MM, diamond, frame, line, mm};
use crate::book::{Run, Verdict};

const WIDE_MM: f64 = 13.0;
const HIGH_MM: f64 = 7.4;
const MIDDLE: DVec2 = DVec2::new(WIDE_MM / 2.0, HIGH_MM / 2.0);

/// The legend of both drawings.
pub fn legend(run: &Run) -> Markup {
    let has = |verdict| run.stations.iter().any(|s| s.verdict == verdict);
    let located = run.stations.iter().any(|s| s.is_located());
    let planned = run.stations.iter().any(|s| s.is_located() && s.position.is_some());
    html! {
        ul.legend {
            @if has(Verdict::Agree) { (item(frame(MIDDLE, Verdict::Agree), "Agree: independent methods agree, checks passed")) }
            @if has(Verdict::Doubt) { (item(frame(MIDDLE, Verdict::Doubt), "Doubt, lines broken: methods or checks disagree; the place may be far off, see the reasons")) }
            @if has(Verdict::Refuse) { (item(frame(MIDDLE, Verdict::Refuse), "Refuse: tried here, no figure may be given")) }
            @if located {
                (item(pipe(), "D: drain, drawn straight from station to station, not measured between"))
                @if planned {
                    (item(lay(), "Lay of the pipe at the station"))
                    (item(zone(), zone_words(run)))
                }
                (item(ring(), "Place and 95 % circle; bar: 95 % range of depth"))
            }
            @if has(Verdict::Refuse) && located { (item(gap(), "?: nothing stated; the pipe may be anywhere")) }
            @if located && run.stations.iter().any(|s| s.truth.is_some()) {
                (item(diamond(MIDDLE), "True place and depth: simulation only"))
            }
        }
    }
}

fn zone_words(run: &Run) -> &'static str {
    match run.tolerance_zone.width_m(&run.pipe) {
        Some(_) => "Tolerance zone, horizontal: expose only by safe means",
        None => "Tolerance zone, horizontal: add half the pipe’s width, not known here",
    }
}

fn item(swatch: Markup, words: &str) -> Markup {
    html! {
        li {
            svg.swatch xmlns="http://www.w3.org/2000/svg" aria-hidden="true"
                viewBox={ "0 0 " (mm(WIDE_MM)) " " (mm(HIGH_MM)) }
                width={ (mm(WIDE_MM)) "mm" } height={ (mm(HIGH_MM)) "mm" } { (swatch) }
            span { (words) }
        }
    }
}

fn pipe() -> Markup {
    html! {
        (line("pipe", MIDDLE.with_x(0.5), MIDDLE.with_x(WIDE_MM - 0.5)))
        text."letter middle" x=(mm(MIDDLE.x)) y=(mm(MIDDLE.y + 1.2)) { "D" }
    }
}

fn gap() -> Markup {
    html! {
        (line("pipe gap", MIDDLE.with_x(0.5), MIDDLE.with_x(WIDE_MM - 0.5)))
        text."letter middle" x=(mm(MIDDLE.x)) y=(mm(MIDDLE.y + 1.2)) { "?" }
    }
}

fn lay() -> Markup {
    line("lay", MIDDLE.with_x(1.5), MIDDLE.with_x(WIDE_MM - 1.5))
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
