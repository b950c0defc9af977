//! The profile: depth to source along the run, with its 95 % bars, under a ground drawn flat.

use glam::DVec2;
use maud::{Markup, html};

use super::block::{Block, Drawing, Para, Role};
use super::brief::Brief;
use super::draw::{DOT_MM, Labels, TAG_MM, WIDTH_MM, diamond, joint, label, line, mm, shallow_mark, text};
use super::options::{Options, Units};
use crate::book::{Estimate, Run, Station, Verdict};
use crate::chart::round_up;
use crate::job::Utility;
use crate::units::METRES_PER_FOOT;

const LEFT_MM: f64 = 14.0;
const RIGHT_MM: f64 = WIDTH_MM - 14.0;
/// Room before the first and after the last station, so that their figures stay inside.
const INSET_MM: f64 = 16.0;
/// From the lower edge of the lowest tag to the ground.
const STAND_OFF_MM: f64 = 1.2;
const DEEP_MM: f64 = 32.0;
/// Below the deepest line: figures and notes.
const FOOT_MM: f64 = 12.4;
/// The same without figures.
const NARROW_FOOT_MM: f64 = 5.6;
/// A figure such as `10 ft 11 in to 11 ft 10 in` needs this much.
const FIGURE_MM: f64 = 29.0;

/// Where each station stands along the run.
struct Along {
    x_mm: Vec<f64>,
    /// Paper millimetres for a metre along the run; none when the stations are only spaced evenly.
    mm_per_m: Option<f64>,
}

/// Draw the profile, or say why there is none.
pub fn profile(brief: &Brief, options: &Options) -> Block {
    let (run, units) = (&brief.run, options.units);
    let deepest_m =
        run.stations.iter().filter_map(Station::stated_depth_m).map(|d| d.high95).reduce(f64::max);
    let Some(deepest_m) = deepest_m else {
        let words = "No station has a depth that may be stated, so there is no profile.";
        return Block::Para(Para::new(Role::Note, words));
    };
    let along = along(run);
    let labels =
        Labels::place(along.x_mm.iter().map(|&x| DVec2::new(x, 0.0)).zip(&run.stations), DVec2::NEG_Y);
    let axis = Axis::down_to(deepest_m, labels.height_mm() + STAND_OFF_MM);
    let columns: Vec<(f64, &Station)> = along.x_mm.iter().copied().zip(&run.stations).collect();
    let roomy = along.x_mm.windows(2).all(|w| matches!(w, [a, b] if b - a >= FIGURE_MM));
    let height_mm = axis.floor_mm() + if roomy { FOOT_MM } else { NARROW_FOOT_MM };
    let content = html! {
        (axis.lines(units))
        (ground(axis.ground_mm))
        @if run.is_simulated() { (text("remark", DVec2::new(3.0, 4.0), "SIMULATED")) }
        @for pair in columns.windows(2) {
            @if let [(xa, a), (xb, b)] = pair {
                (slope(&axis, brief.utility, (*xa, a), (*xb, b)))
                @if roomy { (distance(DVec2::new(0.5 * (xa + xb), axis.ground_mm), a, b, units)) }
            }
        }
        @for (index, &(x, station)) in columns.iter().enumerate() {
            (column(&axis, x, station))
            (label(DVec2::new(x, axis.ground_mm - STAND_OFF_MM - TAG_MM - labels.raised_mm(index)), station))
            @if roomy { (figures(DVec2::new(x, axis.floor_mm()), station, units)) }
        }
        (text("fine middle", DVec2::new(WIDTH_MM / 2.0, height_mm - 1.0), &notes(&axis, &along, roomy)))
    };
    let label = "Depth to source along the run".to_owned();
    Block::Drawing(Drawing { label, width_mm: WIDTH_MM, height_mm, content })
}

fn along(run: &Run) -> Along {
    let (first, last) = (LEFT_MM + INSET_MM, RIGHT_MM - INSET_MM);
    let chainage_m = chainage_m(run).unwrap_or_default();
    if let Some(&length_m) = chainage_m.last().filter(|&&length_m| length_m > 0.0) {
        let mm_per_m = (last - first) / length_m;
        let x_mm = chainage_m.iter().map(|m| first + m * mm_per_m).collect();
        return Along { x_mm, mm_per_m: Some(mm_per_m) };
    }
    let step_mm = (last - first) / run.stations.len() as f64;
    let x_mm = (0..run.stations.len()).map(|k| first + (k as f64 + 0.5) * step_mm).collect();
    Along { x_mm, mm_per_m: None }
}

/// Horizontal distance walked to each station, if all of them have places.
fn chainage_m(run: &Run) -> Option<Vec<f64>> {
    let mut walked_m = 0.0;
    let mut before = None;
    let walk = |station: &Station| {
        let place = station.position.map(|p| DVec2::new(p.east_m, p.north_m))?;
        walked_m += before.replace(place).map_or(0.0, |b| place.distance(b));
        Some(walked_m)
    };
    run.stations.iter().map(walk).collect()
}

/// The depth axis, lettered in metres on the left and feet on the right.
struct Axis {
    ground_mm: f64,
    step_m: f64,
    steps: u32,
    step_ft: f64,
}

impl Axis {
    fn down_to(deepest_m: f64, ground_mm: f64) -> Self {
        // A millimetre at least, so that a depth of nothing still has an axis.
        let deepest_m = deepest_m.max(1e-3);
        let step_m = round_up(deepest_m / 5.0);
        let steps = (deepest_m / step_m).ceil() as u32;
        let bottom_ft = step_m * f64::from(steps) / METRES_PER_FOOT;
        Self { ground_mm, step_m, steps, step_ft: round_up(bottom_ft / 6.0) }
    }

    fn bottom_m(&self) -> f64 {
        self.step_m * f64::from(self.steps)
    }

    fn mm_per_m(&self) -> f64 {
        DEEP_MM / self.bottom_m()
    }

    fn y(&self, depth_m: f64) -> f64 {
        self.ground_mm + depth_m * self.mm_per_m()
    }

    fn floor_mm(&self) -> f64 {
        self.ground_mm + DEEP_MM
    }

    /// The units that come first stand on the left.
    fn lines(&self, units: Units) -> Markup {
        let feet = (self.bottom_m() / METRES_PER_FOOT / self.step_ft) as u32;
        let left = |y: f64, words: &str| text("fine end", DVec2::new(LEFT_MM - 1.6, y + 0.85), words);
        let right = |y: f64, words: &str| text("fine", DVec2::new(RIGHT_MM + 1.8, y + 0.85), words);
        let tick = |x: f64, y: f64| line("tick", DVec2::new(x, y), DVec2::new(x + 1.0, y));
        html! {
            @for k in 0..=self.steps {
                @let depth_m = f64::from(k) * self.step_m;
                @let (y, words) = (self.y(depth_m), scale_figure(depth_m, "m"));
                @if k > 0 { (line("grid", DVec2::new(LEFT_MM, y), DVec2::new(RIGHT_MM, y))) }
                @if units == Units::Metric { (left(y, &words)) } @else { (right(y, &words)) }
            }
            @for k in 0..=feet {
                @let depth_ft = f64::from(k) * self.step_ft;
                @let (y, words) = (self.y(depth_ft * METRES_PER_FOOT), scale_figure(depth_ft, "ft"));
                @if units == Units::Metric { (tick(RIGHT_MM, y)) (right(y, &words)) } @else {
                    (tick(LEFT_MM - 1.0, y)) (left(y, &words))
                }
            }
        }
    }
}

fn scale_figure(figure: f64, unit: &str) -> String {
    format!("{} {unit}", (figure * 1e4).round() / 1e4)
}

/// The ground: a line with slanting strokes under it, as on any section.
fn ground(ground_mm: f64) -> Markup {
    let stroke = |k: u32| DVec2::new(LEFT_MM + 2.0 + f64::from(k) * 4.0, ground_mm);
    html! {
        (line("ground", DVec2::new(LEFT_MM, ground_mm), DVec2::new(RIGHT_MM, ground_mm)))
        @for k in 0..38 { (line("tick", stroke(k), stroke(k) + DVec2::new(-1.3, 1.3))) }
    }
}

/// The line between two depths that follow each other.
fn slope(axis: &Axis, utility: Utility, (xa, a): (f64, &Station), (xb, b): (f64, &Station)) -> Markup {
    let (Some(da), Some(db)) = (a.stated_depth_m(), b.stated_depth_m()) else { return html! {} };
    joint(a, b, utility, DVec2::new(xa, axis.y(da.value)), DVec2::new(xb, axis.y(db.value)))
}

/// How far to tape along the ground from one mark to the next, above the ground between them.
fn distance(ground: DVec2, a: &Station, b: &Station, units: Units) -> Markup {
    let (true, true) = (a.is_located(), b.is_located()) else { return html! {} };
    let (Some(from), Some(to)) = (a.position, b.position) else { return html! {} };
    let apart_m = (to.east_m - from.east_m).hypot(to.north_m - from.north_m);
    let [first, second] = units.length(apart_m);
    html! {
        (text("fine middle", ground - DVec2::new(0.0, 5.0), &first))
        (text("fine middle", ground - DVec2::new(0.0, 1.9), &second))
    }
}

/// What is under one station.
fn column(axis: &Axis, x: f64, station: &Station) -> Markup {
    html! {
        @match station.stated_depth_m() {
            Some(depth) => (depth_bar(axis, x, &depth, station.verdict)),
            None => {
                (line("hidden", DVec2::new(x, axis.ground_mm + 2.0), DVec2::new(x, axis.floor_mm())))
                (text("letter middle", DVec2::new(x, axis.ground_mm + DEEP_MM / 2.0), "?"))
            }
        }
        @if let Some(bound_m) = station.stated_shallow_bound_m() {
            (shallow_mark(DVec2::new(x, axis.y(bound_m.min(axis.bottom_m())))))
        }
        @if let Some(truth) = station.truth.filter(|_| station.is_located()) {
            // A true depth beyond the axis is not drawn: the axis belongs to what was measured.
            @if truth.depth_to_source_m <= axis.bottom_m() {
                (diamond(DVec2::new(x, axis.y(truth.depth_to_source_m))))
            }
        }
    }
}

fn depth_bar(axis: &Axis, x: f64, depth: &Estimate, verdict: Verdict) -> Markup {
    let class = if verdict == Verdict::Doubt { "bar doubt" } else { "bar" };
    let (top, bottom) = (DVec2::new(x, axis.y(depth.low95)), DVec2::new(x, axis.y(depth.high95)));
    let cap = DVec2::new(1.7, 0.0);
    html! {
        (line(class, top, bottom))
        (line("bar", top - cap, top + cap))
        (line("bar", bottom - cap, bottom + cap))
        circle.dot cx=(mm(x)) cy=(mm(axis.y(depth.value))) r=(mm(DOT_MM)) {}
    }
}

/// The depth in words below the bar.
fn figures(below: DVec2, station: &Station, units: Units) -> Markup {
    let at = |row: f64| below + DVec2::new(0.0, 4.2 + row * 3.2);
    match station.stated_depth_m() {
        Some(d) => {
            let [first, second] = units.range(d.low95, d.high95);
            html! {
                (text("figure middle", at(0.0), &first))
                (text("fine middle", at(1.0), &second))
            }
        }
        None => text("figure middle", at(0.0), "no depth stated"),
    }
}

fn notes(axis: &Axis, along: &Along, roomy: bool) -> String {
    let lengths = match along.mm_per_m {
        Some(mm_per_m) => {
            let tape = if roomy { "distances are from mark to mark; " } else { "" };
            format!("{tape}depths drawn {:.1} times as large as lengths", axis.mm_per_m() / mm_per_m)
        }
        None => "stations spaced evenly, not to scale".to_owned(),
    };
    let figures = if roomy { "" } else { "; figures in the table" };
    format!("Ground drawn flat; {lengths}{figures}.")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::book::SitePosition;

    fn station(east_m: f64, north_m: f64) -> Station {
        let position = Some(SitePosition { east_m, north_m, sigma_m: 0.05 });
        Station { position, ..Station::default() }
    }

    #[test]
    fn stations_stand_at_their_distance_along_the_run() {
        let stations = vec![station(0.0, 0.0), station(3.0, 4.0), station(3.0, 14.0)];
        let run = Run { stations, ..Run::default() };
        assert_eq!(chainage_m(&run), Some(vec![0.0, 5.0, 15.0]));
        let x = along(&run).x_mm;
        assert!(((x[1] - x[0]) * 2.0 - (x[2] - x[1])).abs() < 1e-9);
        assert!(x[0] > LEFT_MM && x[2] < RIGHT_MM);
    }

    #[test]
    fn without_places_they_are_spaced_evenly_and_that_is_said() {
        let run = Run { stations: vec![station(0.0, 0.0), Station::default()], ..Run::default() };
        let along = along(&run);
        assert_eq!(along.mm_per_m, None);
        assert!(notes(&Axis::down_to(1.0, 10.0), &along, true).contains("not to scale"));
    }

    #[test]
    fn the_axis_holds_the_deepest_bar() {
        for deepest_m in [0.0, 0.05, 0.9, 1.0, 2.13, 999.0] {
            let axis = Axis::down_to(deepest_m, 10.0);
            assert!(
                axis.y(deepest_m) <= axis.floor_mm() + 1e-9 && (1..=10).contains(&axis.steps),
                "{deepest_m}"
            );
        }
    }
}
