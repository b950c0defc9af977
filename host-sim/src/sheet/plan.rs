//! The plan: what lies where, seen from above, to scale and north up.

use glam::DVec2;
use maud::{Markup, html};

use super::draw::{DOT_MM, TAG_MM, WIDTH_MM, diamond, joint, line, mm, remarks, tag, text};
use super::scale;
use crate::book::{Run, Station};
use crate::units::METRES_PER_FOOT;

/// The plan grows as tall as this before the scale is reduced.
const TALLEST_MM: f64 = 80.0;
const SHORTEST_MM: f64 = 46.0;
/// Strip under the drawing for the scale bars and the north arrow.
const STRIP_MM: f64 = 12.5;
const LINE_MM: f64 = 3.4;

/// A station that has a place on the plan.
struct Spot<'a> {
    station: &'a Station,
    /// Its place in the run's list.
    index: usize,
    /// East and north, metres.
    place_m: DVec2,
    radius95_m: f64,
    /// From the mark to the edge of the tolerance zone; none where nothing was located.
    zone_m: Option<f64>,
}

/// Two located stations that follow each other; `gap` when one between them was refused or has no place.
struct Link<'a> {
    from: &'a Spot<'a>,
    to: &'a Spot<'a>,
    gap: bool,
}

/// Draw the plan, or say why there is none.
pub fn plan(run: &Run) -> Markup {
    let spots = spots(run);
    if spots.is_empty() {
        return html! { p.note { "No station has a position, so no plan can be drawn. Go by the marks on the ground." } };
    }
    let links = links(&spots);
    let view = View::around(&spots);
    let frame_height = view.height_mm;
    let height = frame_height + STRIP_MM;
    html! {
        svg.drawing xmlns="http://www.w3.org/2000/svg" role="img" aria-label="Plan of the stations, north up"
            viewBox={ "0 0 " (mm(WIDTH_MM)) " " (mm(height)) }
            width={ (mm(WIDTH_MM)) "mm" } height={ (mm(height)) "mm" } {
            defs { (zone_hatch()) }
            (view.grid())
            (zones(&view, &spots, &links))
            @for link in &links { (pipe(&view, link)) }
            @for spot in &spots { (mark(&view, spot)) }
            rect.border x="0.3" y="0.3" width=(mm(WIDTH_MM - 0.6)) height=(mm(frame_height - 0.6)) {}
            @if run.is_simulated() { (text("remark", DVec2::new(3.0, 5.0), "SIMULATED")) }
            @for spot in &spots { (label(&view, spot)) }
            (strip(&view))
        }
    }
}

fn spots(run: &Run) -> Vec<Spot<'_>> {
    run.stations.iter().enumerate().filter_map(|(index, s)| Spot::new(run, index, s)).collect()
}

impl<'a> Spot<'a> {
    fn new(run: &Run, index: usize, station: &'a Station) -> Option<Self> {
        let position = station.position?;
        let zone = || run.tolerance_zone.half_width_m(&run.pipe, &position);
        Some(Self {
            station,
            index,
            place_m: DVec2::new(position.east_m, position.north_m),
            radius95_m: position.radius95_m(),
            zone_m: station.is_located().then(zone),
        })
    }
}

fn links<'a>(spots: &'a [Spot<'a>]) -> Vec<Link<'a>> {
    let located: Vec<&Spot<'_>> = spots.iter().filter(|s| s.zone_m.is_some()).collect();
    let link = |pair: &[&'a Spot<'a>]| match pair {
        [from, to] => Some(Link { from, to, gap: to.index != from.index + 1 }),
        _ => None,
    };
    located.windows(2).filter_map(link).collect()
}

/// From the site to the paper.
struct View {
    mm_per_m: f64,
    ratio: f64,
    /// Site coordinates of the upper left corner of the frame.
    corner_m: DVec2,
    height_mm: f64,
    /// Unit step on paper from a mark towards its label.
    label_step: DVec2,
}

impl View {
    fn around(spots: &[Spot<'_>]) -> Self {
        let reach = |s: &Spot<'_>| DVec2::splat(s.zone_m.unwrap_or(0.0).max(s.radius95_m));
        let low = spots.iter().map(|s| s.place_m - reach(s)).fold(DVec2::INFINITY, DVec2::min);
        let high = spots.iter().map(|s| s.place_m + reach(s)).fold(DVec2::NEG_INFINITY, DVec2::max);
        let size_m = high - low;
        // Labels stand off the line: above a run that goes across the paper, right of one that goes up.
        let across = size_m.x >= size_m.y;
        let label_step = if across { DVec2::NEG_Y } else { DVec2::X };
        let label_room_mm = if across { 2.0 * TAG_MM + 2.0 * LINE_MM + 4.0 } else { 34.0 };
        let (left, right, top, bottom) =
            if across { (15.0, 15.0, label_room_mm, 9.0) } else { (15.0, label_room_mm, 7.0, 9.0) };
        let ratio = scale::ratio(size_m.x, WIDTH_MM - left - right)
            .max(scale::ratio(size_m.y, TALLEST_MM - top - bottom));
        let mm_per_m = 1000.0 / ratio;
        let height_mm = (size_m.y * mm_per_m + top + bottom).max(SHORTEST_MM);
        let spare = DVec2::new(
            WIDTH_MM - left - right - size_m.x * mm_per_m,
            height_mm - top - bottom - size_m.y * mm_per_m,
        ) / 2.0;
        let corner_m = DVec2::new(low.x - (left + spare.x) / mm_per_m, high.y + (top + spare.y) / mm_per_m);
        Self { mm_per_m, ratio, corner_m, height_mm, label_step }
    }

    fn at(&self, place_m: DVec2) -> DVec2 {
        (place_m - self.corner_m) * DVec2::new(1.0, -1.0) * self.mm_per_m
    }

    /// Fine crosses at round coordinates, lettered along the left and lower edge.
    fn grid(&self) -> Markup {
        let step_m = scale::round_up(20.0 / self.mm_per_m);
        let far_m = self.corner_m + DVec2::new(WIDTH_MM, -self.height_mm) / self.mm_per_m;
        let easts = multiples(step_m, self.corner_m.x, far_m.x);
        let norths = multiples(step_m, far_m.y, self.corner_m.y);
        let inside =
            |at: DVec2| at.x > 9.0 && at.x < WIDTH_MM - 3.0 && at.y > 3.0 && at.y < self.height_mm - 6.0;
        html! {
            @for &east in &easts {
                @let x = self.at(DVec2::new(east, 0.0)).x;
                @if x > 12.0 && x < WIDTH_MM - 8.0 {
                    (text("fine middle", DVec2::new(x, self.height_mm - 1.6), &compass(east, "E", "W")))
                    (line("tick", DVec2::new(x, self.height_mm - 5.2), DVec2::new(x, self.height_mm - 4.2)))
                }
                @for &north in &norths {
                    @let at = self.at(DVec2::new(east, north));
                    @if inside(at) {
                        (line("grid", at - DVec2::X, at + DVec2::X))
                        (line("grid", at - DVec2::Y, at + DVec2::Y))
                    }
                }
            }
            @for &north in &norths {
                @let y = self.at(DVec2::new(0.0, north)).y;
                @if y > 4.0 && y < self.height_mm - 7.0 {
                    (text("fine", DVec2::new(1.4, y + 0.85), &compass(north, "N", "S")))
                }
            }
        }
    }
}

/// Multiples of `step` from `low` to `high`.
fn multiples(step: f64, low: f64, high: f64) -> Vec<f64> {
    ((low / step).ceil() as i64..=(high / step).floor() as i64).map(|k| k as f64 * step).collect()
}

/// A coordinate in words: `4 m E`.
fn compass(metres: f64, positive: &str, negative: &str) -> String {
    let size = (metres.abs() * 1000.0).round() / 1000.0;
    let side = if size == 0.0 {
        ""
    } else if metres > 0.0 {
        positive
    } else {
        negative
    };
    format!("{size} m {side}").trim_end().to_owned()
}

/// Slanting hatch for the tolerance zone, in paper millimetres so that neighbouring shapes join.
pub fn zone_hatch() -> Markup {
    html! {
        pattern id="zone" width="2.2" height="2.2" patternUnits="userSpaceOnUse" patternTransform="rotate(45)" {
            line.hatch x1="0" y1="0" x2="0" y2="2.2" {}
        }
    }
}

/// The tolerance zone. Every piece is outlined, then all are blanked, so that only the outline of the whole
/// remains; the hatch is cut out along the whole as well.
fn zones(view: &View, spots: &[Spot<'_>], links: &[Link<'_>]) -> Markup {
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
fn band(view: &View, link: &Link<'_>) -> Option<String> {
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

/// The line of the pipe between two stations, broken by its letter.
fn pipe(view: &View, link: &Link<'_>) -> Markup {
    let (a, b) = (view.at(link.from.place_m), view.at(link.to.place_m));
    // The middle of a gap is where the refused station stands.
    let (class, letter, along): (_, _, &[f64]) = match link.gap {
        true => ("pipe gap", "?", &[0.3, 0.7]),
        false => (joint(link.from.station, link.to.station), "D", &[0.5]),
    };
    html! {
        (line(class, a, b))
        @if a.distance(b) > 16.0 {
            @for &part in along { (text("letter middle", a.lerp(b, part) + DVec2::new(0.0, 1.2), letter)) }
        }
    }
}

/// What is drawn at the place itself.
fn mark(view: &View, spot: &Spot<'_>) -> Markup {
    const LAY_MM: f64 = 6.5;
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
            @let step = DVec2::new(s, -c) * LAY_MM;
            (line("lay", at - step, at + step))
        }
        circle.circle95 cx=(mm(at.x)) cy=(mm(at.y)) r=(mm(spot.radius95_m * view.mm_per_m)) {}
        circle.dot cx=(mm(at.x)) cy=(mm(at.y)) r=(mm(DOT_MM)) {}
        @if let Some(truth) = spot.station.truth {
            (diamond(view.at(DVec2::new(truth.east_m, truth.north_m))))
        }
    }
}

/// Number and remarks, led out of the zone.
fn label(view: &View, spot: &Spot<'_>) -> Markup {
    let at = view.at(spot.place_m);
    let step = view.label_step;
    let edge_mm = (spot.zone_m.unwrap_or(0.0) * view.mm_per_m).max(4.0);
    let tag_at = at + step * (edge_mm + 1.8 + TAG_MM);
    let across = step.x == 0.0;
    html! {
        (line("leader", at + step * 1.0, tag_at - step * TAG_MM))
        (tag(tag_at, spot.station))
        @for (row, words) in remarks(spot.station).iter().enumerate() {
            @if across {
                (text("remark middle", tag_at - DVec2::new(0.0, TAG_MM + 1.3 + row as f64 * LINE_MM), words))
            } @else {
                (text("remark", tag_at + DVec2::new(TAG_MM + 1.3, 1.1 + row as f64 * LINE_MM), words))
            }
        }
    }
}

/// Scale bars in metres and feet, the ratio, and the north arrow.
fn strip(view: &View) -> Markup {
    let origin = DVec2::new(0.0, view.height_mm + 5.6);
    let mm_per_ft = view.mm_per_m * METRES_PER_FOOT;
    let north = DVec2::new(WIDTH_MM - 5.0, view.height_mm + 1.0);
    html! {
        (bar(origin, view.mm_per_m, "m"))
        (bar(origin + DVec2::new(72.0, 0.0), mm_per_ft, "ft"))
        (text("small", origin + DVec2::new(140.0, -1.2), &format!("1 : {}", view.ratio)))
        (text("fine", origin + DVec2::new(140.0, 2.2), "on paper, printed"))
        (text("fine", origin + DVec2::new(140.0, 5.0), "at full size"))
        (line("north", north + DVec2::new(0.0, 11.2), north))
        path.north-head d={ "M" (mm(north.x)) " " (mm(north.y)) "l-1.9 5.2l1.9 -1.2z" } {}
        (text("letter middle", north + DVec2::new(-4.2, 5.4), "N"))
    }
}

/// A bar of four fields, every second one filled.
fn bar(origin: DVec2, mm_per_unit: f64, unit: &str) -> Markup {
    const LONGEST_MM: f64 = 54.0;
    let field = scale::round_down(LONGEST_MM / 4.0 / mm_per_unit);
    let field_mm = field * mm_per_unit;
    html! {
        @for k in 0..4 {
            @let class = if k % 2 == 0 { "field" } else { "field open" };
            rect class=(class) x=(mm(origin.x + 1.5 + f64::from(k) * field_mm)) y=(mm(origin.y))
                width=(mm(field_mm)) height="1.5" {}
        }
        @for k in [0.0, 2.0, 4.0] {
            @let words = if k == 4.0 { format!("{} {unit}", plain(k * field)) } else { plain(k * field) };
            (text("fine middle", origin + DVec2::new(1.5 + k * field_mm, -1.2), &words))
        }
    }
}

/// A round figure without the noise of binary fractions.
fn plain(figure: f64) -> String {
    format!("{}", (figure * 1e6).round() / 1e6)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::book::{SitePosition, Verdict};

    fn station(number: u32, east_m: f64, north_m: f64, verdict: Verdict) -> Station {
        let position = Some(SitePosition { east_m, north_m, sigma_m: 0.05 });
        Station { number, position, verdict, ..Station::default() }
    }

    fn run(stations: Vec<Station>) -> Run {
        Run { stations, ..Run::default() }
    }

    #[test]
    fn the_plan_is_to_scale_and_north_is_up() {
        let run = run(vec![station(1, 0.0, 0.0, Verdict::Agree), station(2, 13.0, 3.0, Verdict::Agree)]);
        let spots = spots(&run);
        let view = View::around(&spots);
        let (a, b) = (view.at(spots[0].place_m), view.at(spots[1].place_m));
        assert_eq!(view.ratio, 100.0);
        assert!(((b - a) - DVec2::new(130.0, -30.0)).length() < 1e-9);
        for p in [a, b] {
            assert!(p.x > 0.0 && p.x < WIDTH_MM && p.y > 0.0 && p.y < view.height_mm);
        }
    }

    #[test]
    fn a_refused_station_leaves_a_gap_without_zone() {
        let verdicts = [Verdict::Agree, Verdict::Doubt, Verdict::Refuse, Verdict::Agree];
        let stations = verdicts.iter().zip(1..).map(|(&v, n)| station(n, f64::from(n) * 4.0, 0.0, v));
        let run = run(stations.collect());
        let spots = spots(&run);
        let links = links(&spots);
        let ends: Vec<_> =
            links.iter().map(|l| (l.from.station.number, l.to.station.number, l.gap)).collect();
        assert_eq!(ends, [(1, 2, false), (2, 4, true)]);
        let drawn = plan(&run).into_string();
        // One band, drawn in three layers.
        assert_eq!(drawn.matches("<polygon").count(), 3);
    }

    #[test]
    fn the_band_touches_both_circles() {
        let run = Run {
            stations: vec![
                station(1, 0.0, 0.0, Verdict::Agree),
                Station {
                    position: Some(SitePosition { east_m: 8.0, north_m: 2.0, sigma_m: 0.5 }),
                    ..station(2, 0.0, 0.0, Verdict::Agree)
                },
            ],
            ..Run::default()
        };
        let spots = spots(&run);
        let view = View::around(&spots);
        let links = links(&spots);
        let corners: Vec<DVec2> = band(&view, &links[0])
            .unwrap()
            .split(' ')
            .map(|p| p.split_once(',').unwrap())
            .map(|(x, y)| DVec2::new(x.parse().unwrap(), y.parse().unwrap()))
            .collect();
        let (a, b) = (view.at(spots[0].place_m), view.at(spots[1].place_m));
        let (ra, rb) = (spots[0].zone_m.unwrap(), spots[1].zone_m.unwrap());
        assert!(rb > ra * 1.5, "the second circle is the larger one");
        for (corner, centre, radius) in [(corners[0], a, ra), (corners[1], b, rb)] {
            let spoke = corner - centre;
            assert!((spoke.length() - radius * view.mm_per_m).abs() < 0.02);
            // A tangent stands square on its spoke.
            let edge = (corners[1] - corners[0]).normalize();
            assert!(spoke.normalize().dot(edge).abs() < 1e-3);
        }
    }
}
