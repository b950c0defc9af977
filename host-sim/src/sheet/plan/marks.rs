//! The pipe, the marks of its stations, and their labels.

use glam::DVec2;
use maud::{Markup, html};

use super::spots::{Link, Spot};
use super::view::{LABEL_GAP_MM, LABEL_STAND_OFF_MM, View};
use crate::job::Utility;
use crate::sheet::draw::{DOT_MM, TAG_MM, WIDTH_MM, diamond, joint, label, line, mm, text};

/// The middle of a label keeps this far from the sides of the frame.
const LABEL_SIDE_MM: f64 = 13.0;

/// The line of the pipe between two stations, broken by its letter.
pub fn pipe(view: &View, link: &Link<'_>, utility: Utility) -> Markup {
    let (a, b) = (view.at(link.from.place_m), view.at(link.to.place_m));
    // The middle of a gap is where the refused station stands.
    let (drawn, letter, along): (_, _, &[f64]) = match link.gap {
        true => (line("pipe gap", a, b), "?", &[0.3, 0.7]),
        false => (joint(link.from.station, link.to.station, utility, a, b), utility.letter(), &[0.5]),
    };
    html! {
        (drawn)
        @if a.distance(b) > 16.0 {
            @for &part in along { (text("letter middle", a.lerp(b, part) + DVec2::new(0.0, 1.2), letter)) }
        }
    }
}

/// Half the length of the bar that shows the lay: short enough for two neighbours to stay apart.
pub fn half_lay_mm(view: &View, links: &[Link<'_>]) -> f64 {
    const LONGEST_MM: f64 = 6.5;
    const SHORTEST_MM: f64 = 2.0;
    let between = |link: &Link<'_>| view.at(link.from.place_m).distance(view.at(link.to.place_m));
    let closest_mm = links.iter().map(between).fold(f64::INFINITY, f64::min);
    (closest_mm / 4.0).clamp(SHORTEST_MM, LONGEST_MM)
}

/// What is drawn at the place itself.
pub fn mark(view: &View, spot: &Spot<'_>, lay_mm: f64, utility: Utility) -> Markup {
    let at = view.at(spot.place_m);
    if spot.zone_m.is_none() {
        return html! {
            (line("tried", at - DVec2::new(1.4, 1.4), at + DVec2::new(1.4, 1.4)))
            (line("tried", at - DVec2::new(1.4, -1.4), at + DVec2::new(1.4, -1.4)))
        };
    }
    html! {
        @if let Some(lay) = spot.station.lay_deg {
            @let (s, c) = lay.value.to_radians().sin_cos();
            @let step = view.axes.turn(DVec2::new(s, c)) * lay_mm;
            (line(&format!("lay {}", utility.word()), at - step, at + step))
        }
        circle.circle95 cx=(mm(at.x)) cy=(mm(at.y)) r=(mm(spot.radius95_m * view.mm_per_m)) {}
        circle.dot cx=(mm(at.x)) cy=(mm(at.y)) r=(mm(DOT_MM)) {}
        @if let Some(truth) = spot.station.truth {
            (diamond(view.at(DVec2::new(truth.east_m, truth.north_m))))
        }
    }
}

/// Number and remarks, led out of the zone.
pub fn led_out(view: &View, index: usize, spot: &Spot<'_>) -> Markup {
    let at = view.at(spot.place_m);
    let edge_mm = (spot.zone_m.unwrap_or(0.0) * view.mm_per_m).max(LABEL_STAND_OFF_MM);
    let raised_mm = edge_mm + LABEL_GAP_MM + TAG_MM + view.labels.raised_mm(index);
    let raised = at + view.up * raised_mm;
    let label_at = raised.with_x(raised.x.clamp(LABEL_SIDE_MM, WIDTH_MM - LABEL_SIDE_MM));
    html! {
        (line("leader", at + view.up, label_at + (at - label_at).normalize_or_zero() * TAG_MM))
        (label(label_at, spot.station))
    }
}
