//! Permanent points that are near, and the ties to them.

use glam::DVec2;
use maud::{Markup, html};

use super::spots::Spot;
use super::view::{Axes, View, bounds};
use crate::letters::shortened;
use crate::sheet::brief::TieLine;
use crate::sheet::draw::{WIDTH_MM, line, point_mark, text};
use crate::sheet::options::Units;

/// A point farther off than this many times the run's own size is not drawn: it would make the run a dot.
const FARTHEST_POINT: f64 = 1.5;
/// More ties than this are not lettered with their lengths.
const MOST_LETTERED: usize = 8;
const LONGEST_NAME: usize = 28;

/// Ties to points that are near enough to be drawn.
pub fn near_ties<'a>(spots: &[Spot<'_>], ties: &'a [TieLine]) -> Vec<(DVec2, &'a TieLine)> {
    let (low, high) = bounds(spots, &[], Axes::NorthUp);
    let size_m = (high - low).max_element().max(4.0);
    let middle = Axes::NorthUp.turn(low.midpoint(high));
    let near = |at: &DVec2| at.distance(middle) < FARTHEST_POINT * size_m;
    ties.iter().filter_map(|tie| Some((tie.at.filter(near)?, tie))).collect()
}

/// Points once each with their names, and thin lines from the stations to them.
pub fn tie_lines(view: &View, spots: &[Spot<'_>], ties: &[(DVec2, &TieLine)], units: Units) -> Markup {
    let place = |number: u32| spots.iter().find(|s| s.station.number == number).map(|s| view.at(s.place_m));
    let lettered = ties.iter().filter(|(_, tie)| tie.taped).count() <= MOST_LETTERED;
    let mut points: Vec<(DVec2, &str)> = Vec::new();
    for (at, tie) in ties {
        if !points.iter().any(|(_, name)| *name == tie.point) {
            points.push((view.at(*at), &tie.point));
        }
    }
    html! {
        @for (at, tie) in ties {
            @let to = view.at(*at);
            @if let Some(from) = place(tie.station).filter(|_| tie.taped) {
                (line("tie", from, to))
                @if lettered && from.distance(to) > 14.0 {
                    (text("fine haloed middle", from.lerp(to, 0.62) + DVec2::new(0.0, 0.8), &units.length(tie.distance_m)[0]))
                }
            }
        }
        @for (at, name) in points {
            (point_mark(at))
            // Towards the middle of the paper, where there is room.
            @let (class, step) = if at.x > WIDTH_MM / 2.0 { ("fine haloed end", -2.6) } else { ("fine haloed", 2.6) };
            (text(class, at + DVec2::new(step, 0.9), &shortened(name, LONGEST_NAME)))
        }
    }
}
