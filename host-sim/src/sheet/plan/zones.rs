//! The tolerance zone: a disc around each station, and a band from each to the next.

use maud::{Markup, html};

use super::spots::{Link, Spot};
use super::view::View;
use crate::sheet::draw::{WIDTH_MM, mm};

/// The tolerance zone. Every piece is outlined, then all are blanked, so that only the outline of the
/// whole remains; the hatch is cut out along the whole as well.
pub fn zones(view: &View, spots: &[Spot<'_>], links: &[Link<'_>]) -> Markup {
    let discs = spots.iter().filter_map(|s| Some((view.at(s.place_m), s.zone_m? * view.mm_per_m)));
    let bands = links.iter().filter(|l| !l.gap).filter_map(|l| band(view, l));
    let shapes = html! {
        @for (c, r) in discs { circle cx=(mm(c.x)) cy=(mm(c.y)) r=(mm(r)) {} }
        @for points in bands { polygon points=(points) {} }
    };
    html! {
        clipPath id="zone-outline" { (shapes) }
        g.zone-edge { (shapes) }
        g.zone-blank { (shapes) }
        rect.zone-fill clip-path="url(#zone-outline)" x="0" y="0" width=(mm(WIDTH_MM)) height=(mm(view.height_mm)) {}
    }
}

/// The piece of zone between two stations: bounded by the common outer tangents of their circles.
pub fn band(view: &View, link: &Link<'_>) -> Option<String> {
    let (a, b) = (view.at(link.from.place_m), view.at(link.to.place_m));
    let (ra, rb) = (link.from.zone_m? * view.mm_per_m, link.to.zone_m? * view.mm_per_m);
    let along = b - a;
    // With one circle inside the other there is nothing between them.
    let lean = (ra - rb) / along.length();
    if lean.is_nan() || lean.abs() >= 1.0 {
        return None;
    }
    let (along, across) = (along.normalize(), along.normalize().perp());
    let side = (1.0 - lean * lean).sqrt();
    let (left, right) = (along * lean + across * side, along * lean - across * side);
    let corners = [a + left * ra, b + left * rb, b + right * rb, a + right * ra];
    Some(corners.map(|p| format!("{},{}", mm(p.x), mm(p.y))).join(" "))
}
