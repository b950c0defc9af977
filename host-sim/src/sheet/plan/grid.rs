//! Fine crosses at round coordinates, lettered along the left and lower edge.

use glam::DVec2;
use maud::{Markup, html};

use super::view::{Axes, View};
use crate::chart::round_up;
use crate::sheet::draw::{WIDTH_MM, line, text};
use crate::sheet::options::Units;
use crate::units::METRES_PER_FOOT;

/// Draw them.
pub fn grid(view: &View) -> Markup {
    let (unit_m, unit) = match view.units {
        Units::Metric => (1.0, "m"),
        Units::Feet => (METRES_PER_FOOT, "ft"),
    };
    let step_m = unit_m * round_up(20.0 / (unit_m * view.mm_per_m));
    let paper_m = DVec2::new(WIDTH_MM, view.height_mm) / view.mm_per_m;
    let corners = [view.corner_m, view.corner_m + view.axes.turn(paper_m)];
    let low = corners[0].min(corners[1]);
    let high = corners[0].max(corners[1]);
    let easts = multiples(step_m, low.x, high.x);
    let norths = multiples(step_m, low.y, high.y);
    let inside =
        |at: &DVec2| at.x > 12.0 && at.x < WIDTH_MM - 3.0 && at.y > 3.0 && at.y < view.height_mm - 6.0;
    let crosses = easts.iter().flat_map(|&e| norths.iter().map(move |&n| DVec2::new(e, n)));
    let crosses = crosses.map(|place_m| view.at(place_m)).filter(inside);
    let east_lines = easts
        .iter()
        .map(|&e| (view.at(DVec2::new(e, view.corner_m.y)), compass(e / unit_m, unit, ["E", "W"])));
    let north_lines = norths
        .iter()
        .map(|&n| (view.at(DVec2::new(view.corner_m.x, n)), compass(n / unit_m, unit, ["N", "S"])));
    let (along_bottom, along_left): (Vec<_>, Vec<_>) = match view.axes {
        Axes::NorthUp => (east_lines.collect(), north_lines.collect()),
        Axes::NorthRight => (north_lines.collect(), east_lines.collect()),
    };
    let edge = view.height_mm;
    html! {
        @for at in crosses {
            (line("grid", at - DVec2::X, at + DVec2::X))
            (line("grid", at - DVec2::Y, at + DVec2::Y))
        }
        @for (at, words) in along_bottom.iter().filter(|(at, _)| at.x > 12.0 && at.x < WIDTH_MM - 8.0) {
            (text("fine middle", DVec2::new(at.x, edge - 1.6), words))
            (line("tick", DVec2::new(at.x, edge - 5.2), DVec2::new(at.x, edge - 4.2)))
        }
        @for (at, words) in along_left.iter().filter(|(at, _)| at.y > 7.0 && at.y < edge - 7.0) {
            (text("fine", DVec2::new(1.4, at.y + 0.85), words))
        }
    }
}

/// Multiples of `step` from `low` to `high`.
fn multiples(step: f64, low: f64, high: f64) -> Vec<f64> {
    ((low / step).ceil() as i64..=(high / step).floor() as i64).map(|k| k as f64 * step).collect()
}

/// A coordinate in words: `4 m E`.
fn compass(length: f64, unit: &str, [positive, negative]: [&str; 2]) -> String {
    let size = (length.abs() * 1000.0).round() / 1000.0;
    let side = if size == 0.0 {
        ""
    } else if length > 0.0 {
        positive
    } else {
        negative
    };
    format!("{size} {unit} {side}").trim_end().to_owned()
}
