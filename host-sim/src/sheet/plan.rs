//! The plan: what lies where, seen from above, to scale. North is up, or to the right where the run goes
//! north and south, so that a run always goes across the paper.

use glam::DVec2;
use maud::{Markup, html};

use super::block::{Block, Drawing, Para, Role};
use super::brief::{Brief, TieLine};
use super::draw::{
    DOT_MM, Labels, TAG_MM, WIDTH_MM, coloured, diamond, joint, label, line, mm, point_mark, text,
};
use super::options::{Options, Paper, Units};
use super::scale;
use crate::book::{Run, Station};
use crate::job::{OtherLine, Utility};
use crate::letters::shortened;
use crate::units::METRES_PER_FOOT;

/// The plan grows as tall as this on A4 before the scale is reduced, and by as much less on lower paper.
const TALLEST_MM: f64 = 92.0;
const SHORTEST_MM: f64 = 46.0;
/// Strip under the drawing for the scale bars and the north arrow.
const STRIP_MM: f64 = 12.5;
/// From the edge of the zone to a label, and from a mark to a label where there is no zone.
const LABEL_GAP_MM: f64 = 1.8;
/// The middle of a label keeps this far from the sides of the frame.
const LABEL_SIDE_MM: f64 = 13.0;
const LABEL_STAND_OFF_MM: f64 = 4.0;

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

/// A point farther off than this many times the run's own size is not drawn: it would make the run a dot.
const FARTHEST_POINT: f64 = 1.5;
/// More ties than this are not lettered with their lengths.
const MOST_LETTERED: usize = 8;
const LONGEST_NAME: usize = 28;

/// Draw the plan, or say why there is none.
pub fn plan(brief: &Brief, options: &Options) -> Block {
    let run = &brief.run;
    let spots = spots(run);
    if spots.is_empty() {
        let words = "No station has a position, so no plan can be drawn. Go by the marks on the ground.";
        return Block::Para(Para::new(Role::Note, words));
    }
    let links = links(&spots);
    let ties = near_ties(&spots, &brief.ties);
    let view = View::around(&spots, &ties, options);
    let lay_mm = half_lay_mm(&view, &links);
    let frame_height = view.height_mm;
    let content = html! {
        defs {
            (zone_hatch())
            clipPath id="frame" { rect x="0.3" y="0.3" width=(mm(WIDTH_MM - 0.6)) height=(mm(frame_height - 0.6)) {} }
        }
        (view.grid())
        (zones(&view, &spots, &links))
        g clip-path="url(#frame)" {
            @for other in &brief.others { (other_line(&view, other)) }
        }
        (tie_lines(&view, &spots, &ties, options.units))
        @for link in &links { (pipe(&view, link, brief.utility)) }
        @for spot in &spots { (mark(&view, spot, lay_mm, brief.utility)) }
        rect.border x="0.3" y="0.3" width=(mm(WIDTH_MM - 0.6)) height=(mm(frame_height - 0.6)) {}
        @if run.is_simulated() { (text("remark", DVec2::new(3.0, 5.0), "SIMULATED")) }
        @for (index, spot) in spots.iter().enumerate() { (led_out(&view, index, spot)) }
        (strip(&view))
    };
    Block::Drawing(Drawing {
        label: "Plan of the stations".to_owned(),
        width_mm: WIDTH_MM,
        height_mm: frame_height + STRIP_MM,
        content,
    })
}

/// Ties to points that are near enough to be drawn.
fn near_ties<'a>(spots: &[Spot<'_>], ties: &'a [TieLine]) -> Vec<(DVec2, &'a TieLine)> {
    let (low, high) = bounds(spots, &[], Axes::NorthUp);
    let size_m = (high - low).max_element().max(4.0);
    let middle = Axes::NorthUp.turn(low.midpoint(high));
    let near = |at: &DVec2| at.distance(middle) < FARTHEST_POINT * size_m;
    ties.iter().filter_map(|tie| Some((tie.at.filter(near)?, tie))).collect()
}

/// Points once each with their names, and thin lines from the stations to them.
fn tie_lines(view: &View, spots: &[Spot<'_>], ties: &[(DVec2, &TieLine)], units: Units) -> Markup {
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

/// Another line, as far as the frame shows it, with its letter on every stretch.
fn other_line(view: &View, other: &OtherLine) -> Markup {
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
    /// Directions in which east and north run on the paper.
    axes: Axes,
    labels: Labels,
    /// The way in which labels are led off the run: square to it, as far as paper goes upwards.
    up: DVec2,
    units: Units,
}

/// How the site lies on the paper.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Axes {
    NorthUp,
    NorthRight,
}

impl Axes {
    /// Metres east and north as metres right and down, and the other way round: both turns undo
    /// themselves.
    fn turn(self, m: DVec2) -> DVec2 {
        match self {
            Self::NorthUp => DVec2::new(m.x, -m.y),
            Self::NorthRight => DVec2::new(m.y, m.x),
        }
    }
}

impl View {
    fn around(spots: &[Spot<'_>], ties: &[(DVec2, &TieLine)], options: &Options) -> Self {
        const SIDE_MM: f64 = 15.0;
        const BOTTOM_MM: f64 = 9.0;
        let units = options.units;
        let tallest_mm = TALLEST_MM - Paper::A4.size_mm().1 + options.paper.size_mm().1;
        let points: Vec<DVec2> = ties.iter().map(|(at, _)| *at).collect();
        let (low, high) = bounds(spots, &points, Axes::NorthUp);
        let size_m = high - low;
        let axes = if size_m.y > size_m.x { Axes::NorthRight } else { Axes::NorthUp };
        let (low, high) = bounds(spots, &points, axes);
        let size_m = high - low;
        let wide = scale::ratio(size_m.x, WIDTH_MM - 2.0 * SIDE_MM);
        // Where labels go depends on the scale, and how much height they leave depends on where they go: the
        // scale that fits the width says enough about the labels.
        let up = square_to(spots, axes);
        let labels = |ratio: f64| {
            // Over each mark stands the edge of its zone.
            let base = |s: &Spot<'_>| {
                let at = axes.turn(s.place_m) * 1000.0 / ratio;
                at + up * (s.zone_m.unwrap_or(0.0) * 1000.0 / ratio).max(LABEL_STAND_OFF_MM)
            };
            Labels::place(spots.iter().map(|s| (base(s), s.station)), up)
        };
        let top_mm = |labels: &Labels| LABEL_STAND_OFF_MM + LABEL_GAP_MM + labels.height_mm();
        let room_mm = (tallest_mm - top_mm(&labels(wide)) - BOTTOM_MM).max(SHORTEST_MM / 2.0);
        let ratio = wide.max(scale::ratio(size_m.y, room_mm));
        let labels = labels(ratio);
        let top_mm = top_mm(&labels);
        let mm_per_m = 1000.0 / ratio;
        let size_mm = size_m * mm_per_m;
        let height_mm = (size_mm.y + top_mm + BOTTOM_MM).max(SHORTEST_MM);
        let spare_mm = (height_mm - top_mm - BOTTOM_MM - size_mm.y) / 2.0;
        let left_top_mm = DVec2::new((WIDTH_MM - size_mm.x) / 2.0, top_mm + spare_mm);
        let corner_m = axes.turn(low - left_top_mm / mm_per_m);
        Self { mm_per_m, ratio, corner_m, height_mm, axes, labels, up, units }
    }

    fn at(&self, place_m: DVec2) -> DVec2 {
        self.axes.turn(place_m - self.corner_m) * self.mm_per_m
    }

    /// Fine crosses at round coordinates, lettered along the left and lower edge.
    fn grid(&self) -> Markup {
        let (unit_m, unit) = match self.units {
            Units::Metric => (1.0, "m"),
            Units::Feet => (METRES_PER_FOOT, "ft"),
        };
        let step_m = unit_m * scale::round_up(20.0 / (unit_m * self.mm_per_m));
        let paper_m = DVec2::new(WIDTH_MM, self.height_mm) / self.mm_per_m;
        let corners = [self.corner_m, self.corner_m + self.axes.turn(paper_m)];
        let low = corners[0].min(corners[1]);
        let high = corners[0].max(corners[1]);
        let easts = multiples(step_m, low.x, high.x);
        let norths = multiples(step_m, low.y, high.y);
        let inside =
            |at: &DVec2| at.x > 12.0 && at.x < WIDTH_MM - 3.0 && at.y > 3.0 && at.y < self.height_mm - 6.0;
        let crosses = easts.iter().flat_map(|&e| norths.iter().map(move |&n| DVec2::new(e, n)));
        let crosses = crosses.map(|place_m| self.at(place_m)).filter(inside);
        let east_lines = easts
            .iter()
            .map(|&e| (self.at(DVec2::new(e, self.corner_m.y)), compass(e / unit_m, unit, ["E", "W"])));
        let north_lines = norths
            .iter()
            .map(|&n| (self.at(DVec2::new(self.corner_m.x, n)), compass(n / unit_m, unit, ["N", "S"])));
        let (along_bottom, along_left): (Vec<_>, Vec<_>) = match self.axes {
            Axes::NorthUp => (east_lines.collect(), north_lines.collect()),
            Axes::NorthRight => (north_lines.collect(), east_lines.collect()),
        };
        let edge = self.height_mm;
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
}

/// The direction on paper that is square to the run, upwards.
fn square_to(spots: &[Spot<'_>], axes: Axes) -> DVec2 {
    let ends = spots.first().zip(spots.last());
    let along = ends.map_or(DVec2::X, |(a, b)| axes.turn(b.place_m) - axes.turn(a.place_m));
    let square = along.perp().try_normalize().unwrap_or(DVec2::NEG_Y);
    // A run that comes back to where it began says nothing of a way.
    match square.y {
        y if y < -0.5 => square,
        y if y > 0.5 => -square,
        _ => DVec2::NEG_Y,
    }
}

/// The corners of the drawing, in metres right and down.
fn bounds(spots: &[Spot<'_>], points: &[DVec2], axes: Axes) -> (DVec2, DVec2) {
    /// Room around a point for its mark.
    const POINT_M: f64 = 0.3;
    let reach = |s: &Spot<'_>| DVec2::splat(s.zone_m.unwrap_or(0.0).max(s.radius95_m));
    let spots = spots.iter().map(|s| (axes.turn(s.place_m), reach(s)));
    let points = points.iter().map(|at| (axes.turn(*at), DVec2::splat(POINT_M)));
    let places: Vec<(DVec2, DVec2)> = spots.chain(points).collect();
    (
        places.iter().map(|(at, reach)| *at - *reach).fold(DVec2::INFINITY, DVec2::min),
        places.iter().map(|(at, reach)| *at + *reach).fold(DVec2::NEG_INFINITY, DVec2::max),
    )
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

/// Slanting hatch for the tolerance zone, in paper millimetres so that neighbouring shapes join.
pub fn zone_hatch() -> Markup {
    html! {
        pattern id="zone" width="2.2" height="2.2" patternUnits="userSpaceOnUse" patternTransform="rotate(45)" {
            line.hatch x1="0" y1="0" x2="0" y2="2.2" {}
        }
    }
}

/// The tolerance zone. Every piece is outlined, then all are blanked, so that only the outline of the
/// whole remains; the hatch is cut out along the whole as well.
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
fn pipe(view: &View, link: &Link<'_>, utility: Utility) -> Markup {
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
fn half_lay_mm(view: &View, links: &[Link<'_>]) -> f64 {
    const LONGEST_MM: f64 = 6.5;
    const SHORTEST_MM: f64 = 2.0;
    let between = |link: &Link<'_>| view.at(link.from.place_m).distance(view.at(link.to.place_m));
    let closest_mm = links.iter().map(between).fold(f64::INFINITY, f64::min);
    (closest_mm / 4.0).clamp(SHORTEST_MM, LONGEST_MM)
}

/// What is drawn at the place itself.
fn mark(view: &View, spot: &Spot<'_>, lay_mm: f64, utility: Utility) -> Markup {
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
fn led_out(view: &View, index: usize, spot: &Spot<'_>) -> Markup {
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

/// Scale bars in metres and feet, the ratio, and the north arrow.
fn strip(view: &View) -> Markup {
    let origin = DVec2::new(0.0, view.height_mm + 5.6);
    let mm_per_ft = view.mm_per_m * METRES_PER_FOOT;
    html! {
        @let bars = match view.units {
            Units::Metric => [(view.mm_per_m, "m"), (mm_per_ft, "ft")],
            Units::Feet => [(mm_per_ft, "ft"), (view.mm_per_m, "m")],
        };
        (bar(origin, bars[0].0, bars[0].1))
        (bar(origin + DVec2::new(66.0, 0.0), bars[1].0, bars[1].1))
        (text("small", origin + DVec2::new(130.0, -1.2), &format!("1 : {}", view.ratio)))
        (text("fine", origin + DVec2::new(130.0, 2.2), "on paper, printed"))
        (text("fine", origin + DVec2::new(130.0, 5.0), "at full size"))
        (north(view))
    }
}

/// The north arrow: a staff with half a head, and its letter beside it.
fn north(view: &View) -> Markup {
    let middle = DVec2::new(WIDTH_MM - 8.0, view.height_mm + 6.6);
    let up = view.axes.turn(DVec2::Y);
    let tip = middle + up * 5.6;
    let barb = tip - up * 5.2 - up.perp() * 1.9;
    let notch = tip - up * 4.0;
    let letter =
        middle + if view.axes == Axes::NorthUp { DVec2::new(-4.2, 0.0) } else { DVec2::new(-8.0, 1.2) };
    let head = [tip, barb, notch].map(|p| format!("{} {}", mm(p.x), mm(p.y))).join("L");
    html! {
        (line("north", middle - up * 5.6, tip))
        path.north-head d={ "M" (head) "z" } {}
        (text("letter middle", letter, "N"))
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
        let view = View::around(&spots, &[], &Options::default());
        let (a, b) = (view.at(spots[0].place_m), view.at(spots[1].place_m));
        assert_eq!((view.ratio, view.axes), (100.0, Axes::NorthUp));
        assert!(((b - a) - DVec2::new(130.0, -30.0)).length() < 1e-9);
        for p in [a, b] {
            assert!(p.x > 0.0 && p.x < WIDTH_MM && p.y > 0.0 && p.y < view.height_mm);
        }
    }

    #[test]
    fn a_run_to_the_north_is_turned_and_not_mirrored() {
        let run = run(vec![station(1, 0.0, 0.0, Verdict::Agree), station(2, -3.0, 13.0, Verdict::Agree)]);
        let spots = spots(&run);
        let view = View::around(&spots, &[], &Options::default());
        assert_eq!((view.ratio, view.axes), (100.0, Axes::NorthRight));
        let run_mm = view.at(spots[1].place_m) - view.at(spots[0].place_m);
        // North to the right puts west up.
        assert!((run_mm - DVec2::new(130.0, -30.0)).length() < 1e-9);
        let (north, east) = (view.axes.turn(DVec2::Y), view.axes.turn(DVec2::X));
        assert_eq!(
            north.perp_dot(east),
            Axes::NorthUp.turn(DVec2::Y).perp_dot(Axes::NorthUp.turn(DVec2::X))
        );
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
        let Block::Drawing(drawing) = plan(&Brief::from(run.clone()), &Options::default()) else {
            panic!("there is a plan")
        };
        let drawn = drawing.content.into_string();
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
        let view = View::around(&spots, &[], &Options::default());
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
