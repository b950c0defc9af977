//! A circle around a transmitter as a drawing: bearings, with currents as lengths.

use glam::DVec2;
use maud::{Markup, html};

use super::{Circle, Leaving, Role};
use crate::chart::{
    BLUE, GRID, INK, PAPER, RED, SMALL_PX, SOFT, WIDTH, decimal, document, heading, round_up, words,
};

const TOP: f64 = 56.0;
const RADIUS: f64 = 200.0;
const CENTRE: DVec2 = DVec2::new(260.0, TOP + 50.0 + RADIUS);
/// Currents are drawn up to so much of the radius.
const LONGEST: f64 = 0.86;
/// Marks of the level field along the circle rise by so much at most, pixels.
const FIELD: f64 = 26.0;

/// A place on the drawing from a bearing, degrees clockwise from north.
fn at(bearing_deg: f64, radius: f64) -> DVec2 {
    let (sin, cos) = bearing_deg.to_radians().sin_cos();
    CENTRE + DVec2::new(sin, -cos) * radius
}

/// The drawing.
pub fn svg(circle: &Circle) -> String {
    let most = circle.lines.iter().map(|line| line.current_ma.high95).fold(0.0, f64::max);
    let step = if most > 0.0 { round_up(most / 4.0) } else { 1.0 };
    let per_ma = LONGEST * RADIUS / most.max(step);
    let rings: Vec<f64> = (1..=4).map(|n| step * f64::from(n)).filter(|ma| ma * per_ma < RADIUS).collect();
    let height = (CENTRE.y + RADIUS + 78.0).max(TOP + 60.0 + 74.0 * circle.lines.len() as f64);
    let content = html! {
        (heading(14.0, 22.0, &format!("Circle of {:.1} m around the transmitter, {:.0} Hz", circle.radius_m, circle.tone_hz)))
        (words("start", 14.0, 40.0, "Length of an arrow: peak current on the line that leaves this way. Outer curve: level field on the walk."))
        circle cx=(decimal(CENTRE.x)) cy=(decimal(CENTRE.y)) r=(decimal(RADIUS)) fill="none" stroke=(INK) stroke-width="1.2" {}
        @for ma in &rings {
            circle cx=(decimal(CENTRE.x)) cy=(decimal(CENTRE.y)) r=(decimal(ma * per_ma)) fill="none" stroke=(GRID) {}
            @let place = at(11.0, ma * per_ma);
            text x=(decimal(place.x)) y=(decimal(place.y + 3.0)) font-size=(SMALL_PX) text-anchor="middle" stroke=(PAPER)
                stroke-width="3" paint-order="stroke" { (format!("{ma} mA")) }
        }
        @for n in 0..12 {
            @let deg = 30.0 * f64::from(n);
            @let (inner, outer) = (at(deg, RADIUS - 5.0), at(deg, RADIUS));
            line x1=(decimal(inner.x)) y1=(decimal(inner.y)) x2=(decimal(outer.x)) y2=(decimal(outer.y)) stroke=(INK) {}
        }
        (field(circle))
        @for (deg, name) in [(0.0, "N"), (90.0, "E"), (180.0, "S"), (270.0, "W")] {
            @let place = at(deg, RADIUS + FIELD + 16.0);
            text x=(decimal(place.x)) y=(decimal(place.y + 4.0)) text-anchor="middle" font-weight="bold" { (name) }
        }
        @for line in &circle.lines { (arrow(line, per_ma)) }
        circle cx=(decimal(CENTRE.x)) cy=(decimal(CENTRE.y)) r="5" fill=(INK) {}
        @for (n, line) in circle.lines.iter().enumerate() { (entry(line, TOP + 34.0 + 74.0 * n as f64)) }
        @if circle.lines.is_empty() { (words("start", 540.0, TOP + 34.0, "No line found.")) }
        (words("start", 14.0, height - 14.0, "Lines that carry none of this tone are not seen. Nothing here is permission to dig: follow local codes and licensed practice."))
    };
    document(
        WIDTH,
        height,
        "Circle around a transmitter: bearings and currents of the lines that leave",
        &content,
    )
}

/// The level field along the walk, outwards from the circle.
fn field(circle: &Circle) -> Markup {
    let most = circle.trace.iter().map(|(_, nt)| *nt).fold(0.0, f64::max);
    let mut trace = circle.trace.clone();
    trace.sort_by(|a, b| a.0.total_cmp(&b.0));
    // The strongest look of each degree or so is all that can be seen.
    let mut points: Vec<DVec2> = Vec::new();
    for n in 0..360 {
        let looks = trace.iter().filter(|(deg, _)| (*deg as usize).min(359) == n);
        let strongest = looks.map(|(_, nt)| *nt).fold(f64::NAN, f64::max);
        if strongest.is_finite() && most > 0.0 {
            points.push(at(n as f64 + 0.5, RADIUS + FIELD * strongest / most));
        }
    }
    let path: Vec<String> =
        points.iter().map(|at| format!("{} {}", decimal(at.x), decimal(at.y))).collect();
    html! { polygon points=(path.join(" ")) fill="none" stroke=(BLUE) stroke-width="1.2" {} }
}

/// How each part is drawn; none depends on colour alone.
fn look(role: Role) -> (&'static str, &'static str, Option<&'static str>) {
    match role {
        Role::Target => (INK, "4", None),
        Role::Shares => (RED, "3", None),
        Role::Returns => (RED, "3", Some("8 4")),
        Role::Coupled => (SOFT, "2.4", Some("3 3")),
    }
}

/// What flows out points outwards, what comes back inwards.
fn arrow(line: &Leaving, per_ma: f64) -> Markup {
    let (colour, width, dashes) = look(line.role);
    let bearing = line.bearing_deg.value;
    let length = line.current_ma.value * per_ma;
    let (inner, outer) = (at(bearing, 8.0), at(bearing, length.max(16.0)));
    let (tip, from) = if line.role == Role::Returns { (inner, outer) } else { (outer, inner) };
    let way = (tip - from).normalize_or_zero();
    let (left, right) = (tip - way * 11.0 + way.perp() * 5.0, tip - way * 11.0 - way.perp() * 5.0);
    let tag = at(bearing, RADIUS - 16.0);
    let spread = line.bearing_deg.high95 - line.bearing_deg.value;
    let sides = [bearing - spread, bearing + spread].map(|deg| at(deg, RADIUS));
    html! {
        line x1=(decimal(from.x)) y1=(decimal(from.y)) x2=(decimal(tip.x)) y2=(decimal(tip.y)) stroke=(colour)
            stroke-width=(width) stroke-dasharray=[dashes] {}
        path d={ "M" (decimal(tip.x)) " " (decimal(tip.y)) "L" (decimal(left.x)) " " (decimal(left.y)) "L" (decimal(right.x)) " " (decimal(right.y)) "z" } fill=(colour) {}
        line x1=(decimal(sides[0].x)) y1=(decimal(sides[0].y)) x2=(decimal(sides[1].x)) y2=(decimal(sides[1].y)) stroke=(INK) stroke-width="4" {}
        circle cx=(decimal(tag.x)) cy=(decimal(tag.y)) r="9" fill=(PAPER) stroke=(INK) {}
        text x=(decimal(tag.x)) y=(decimal(tag.y + 4.2)) text-anchor="middle" font-weight="bold" { (line.letter) }
    }
}

fn entry(line: &Leaving, y: f64) -> Markup {
    let (colour, width, dashes) = look(line.role);
    let [bearing, current, depth] = [line.bearing_deg, line.current_ma, line.depth_m];
    let name = match line.role {
        Role::Target => "target",
        Role::Shares => "in step: shares",
        Role::Returns => "against: comes back",
        Role::Coupled => "out of step: coupled",
    };
    html! {
        line x1="536" x2="564" y1=(decimal(y - 4.0)) y2=(decimal(y - 4.0)) stroke=(colour) stroke-width=(width) stroke-dasharray=[dashes] {}
        text x="572" y=(decimal(y)) font-weight="bold" { (line.letter) " " (name) }
        (words("start", 572.0, y + 16.0, &format!("{:.0}° ± {:.0}°, {:.2} to {:.2} m down", bearing.value.rem_euclid(360.0), (bearing.high95 - bearing.value).max(1.0), depth.low95, depth.high95)))
        (words("start", 572.0, y + 32.0, &format!("{:.1} to {:.1} mA, {:.0} %", current.low95, current.high95, 100.0 * line.share)))
        (words("start", 572.0, y + 48.0, &format!("phase {:+.0}°", line.phase_deg)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn north_is_up_and_east_to_the_right() {
        assert!((at(0.0, 10.0) - CENTRE - DVec2::new(0.0, -10.0)).length() < 1e-9);
        assert!((at(90.0, 10.0) - CENTRE - DVec2::new(10.0, 0.0)).length() < 1e-9);
    }
}
