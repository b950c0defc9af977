//! The other lines on the site, as far as the frame shows them.

use glam::DVec2;
use maud::{Markup, html};

use super::view::View;
use crate::job::OtherLine;
use crate::sheet::draw::{WIDTH_MM, coloured, line, text};

/// Another line, as far as the frame shows it, with its letter on every stretch.
pub fn other_line(view: &View, other: &OtherLine) -> Markup {
    let corners: Vec<DVec2> = other.path.iter().map(|&at| view.at(DVec2::from_array(at))).collect();
    let class = if other.found { "other" } else { "other missed" };
    let letter = if other.found {
        other.utility.letter().to_owned()
    } else {
        format!("{}?", other.utility.letter())
    };
    html! {
        @for pair in corners.windows(2) {
            @if let Some((from, to)) = inside(pair[0], pair[1], DVec2::new(WIDTH_MM, view.height_mm)) {
                @if other.found { (coloured(class, other.utility, from, to)) } @else {
                    (line(&format!("{class} {}", other.utility.word()), from, to))
                }
                @if from.distance(to) > 8.0 {
                    (text("letter middle", from.lerp(to, 0.5) + DVec2::new(0.0, 1.2), &letter))
                }
            }
        }
    }
}

/// The part of a stretch that lies on a paper of this size (Liang and Barsky 1984, from memory).
fn inside(from: DVec2, to: DVec2, size: DVec2) -> Option<(DVec2, DVec2)> {
    let way = to - from;
    let (mut enters, mut leaves) = (0.0_f64, 1.0_f64);
    for (step, room) in
        [(-way.x, from.x), (way.x, size.x - from.x), (-way.y, from.y), (way.y, size.y - from.y)]
    {
        if step < 0.0 {
            enters = enters.max(room / step);
        } else if step > 0.0 {
            leaves = leaves.min(room / step);
        } else if room < 0.0 {
            return None;
        }
    }
    (enters < leaves).then(|| (from + enters * way, from + leaves * way))
}
