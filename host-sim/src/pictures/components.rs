//! The field's components along the walk, with their noise, peaks and nulls.

use maud::{Markup, html};
use nullwalk_core::extrema::{Extrema, Kind, Prominence};
use nullwalk_core::locate::Phase;

use super::walk::{Step, Walk, phase_name, stretches};
use crate::chart::{
    self, Axis, BAND, BLUE, FIRST, GUIDE, LEFT, Line, Mark, Panel, RIGHT, SECOND, WIDTH, decimal, heading,
    note,
};

const TOP: f64 = 76.0;
const HEIGHT: f64 = 130.0;
const APART: f64 = 172.0;
/// The band around a curve reaches so many standard uncertainties to either side.
const SIGMAS95: f64 = 1.96;
/// A thinner band hides behind its curve, pixels.
const THINNEST_PX: f64 = 0.5;
/// A stretch needs so many pixels for its name.
const NAME_PX: f64 = 46.0;

/// One component.
struct Component {
    name: &'static str,
    of: fn(glam::DVec3) -> f64,
}

const COMPONENTS: [Component; 3] = [
    Component { name: "forward", of: |v| v.x },
    Component { name: "left", of: |v| v.y },
    Component { name: "up", of: |v| v.z },
];

pub fn draw(walk: &Walk) -> Option<String> {
    let (first, last) = (walk.steps.first()?, walk.steps.last()?);
    let end_s = last.time_s.max(first.time_s + 1.0);
    let two = walk.steps.iter().any(|s| s.upper_nt.is_some());
    let time = |top, height, label, y| {
        let x = Axis::rounded(label, first.time_s, end_s, 10.0);
        Panel { left: LEFT, top, width: WIDTH - LEFT - RIGHT, height, x, y }
    };
    let level = time(TOP, HEIGHT, "", level_axis(walk)?);
    let content = html! {
        (FIRST.key(LEFT, 14.0, "lower node"))
        @if two { (SECOND.key(LEFT + 130.0, 14.0, "upper node")) }
        (Mark::Triangle.key(LEFT + 260.0, 14.0, "peak"))
        (Mark::Ring.key(LEFT + 330.0, 14.0, "null"))
        (band_key(LEFT + 400.0))
        (heading(LEFT, TOP - 22.0, "signal"))
        (bands(walk, level, true))
        (level.scales())
        (level.curve(walk.steps.iter().filter_map(|s| Some((s.time_s, decibels(s.lower_nt.length())?))), FIRST))
        @if two {
            (level.curve(walk.steps.iter().filter_map(|s| Some((s.time_s, decibels(s.upper_nt?.length())?))), SECOND))
        }
        (level.outline())
        @for (n, component) in COMPONENTS.iter().enumerate() {
            @let label = if n + 1 == COMPONENTS.len() { "time, s" } else { "" };
            @let panel = time(TOP + APART * (n + 1) as f64, HEIGHT, label, axis(walk, component));
            (heading(LEFT, panel.top - 8.0, component.name))
            (one(walk, component, panel, two))
        }
    };
    let height = TOP + APART * COMPONENTS.len() as f64 + HEIGHT + 44.0;
    Some(chart::document(WIDTH, height, &format!("Field along the walk: {}", walk.title), &content))
}

/// Decibels over a picotesla.
fn decibels(nt: f64) -> Option<f64> {
    (nt > 0.0).then(|| 20.0 * (nt * 1e3).log10())
}

fn level_axis(walk: &Walk) -> Option<Axis> {
    let of_step = |s: &Step| [Some(s.lower_nt), s.upper_nt].into_iter().flatten().collect::<Vec<_>>();
    let levels: Vec<f64> =
        walk.steps.iter().flat_map(of_step).filter_map(|v| decibels(v.length())).collect();
    let least = levels.iter().copied().reduce(f64::min)?;
    let most = levels.iter().copied().reduce(f64::max)?;
    Some(Axis::rounded("dB re 1 pT", least - 3.0, most.max(least + 10.0) + 3.0, 5.0))
}

fn axis(walk: &Walk, component: &Component) -> Axis {
    let of_step = |s: &Step| [Some(s.lower_nt), s.upper_nt].into_iter().flatten().collect::<Vec<_>>();
    let values = || walk.steps.iter().flat_map(of_step).map(component.of);
    let (least, most) = (values().fold(0.0, f64::min), values().fold(0.0, f64::max));
    let room = (0.15 * (most - least)).max(1e-3);
    Axis::rounded("nT", least - room, most + room, 5.0)
}

fn one(walk: &Walk, component: &Component, panel: Panel, two: bool) -> Markup {
    let value = |s: &Step| (component.of)(s.lower_nt);
    let features = features(walk, value);
    html! {
        (bands(walk, panel, false))
        (panel.scales())
        (noise(walk, value, panel))
        (panel.curve([(panel.x.start(), 0.0), (panel.x.end(), 0.0)], GUIDE))
        @if two {
            (panel.curve(walk.steps.iter().filter_map(|s| Some((s.time_s, (component.of)(s.upper_nt?)))), Line { width: "1.1", ..SECOND }))
        }
        (panel.curve(walk.steps.iter().map(|s| (s.time_s, value(s))), FIRST))
        (panel.outline())
        @for (time_s, kind, value) in features {
            @let mark = if kind == Kind::Null { Mark::Ring } else { Mark::Triangle };
            (mark.at(panel.x(time_s), panel.y(value)))
        }
    }
}

/// What the core finds in a component: time, kind, value.
fn features(walk: &Walk, value: impl Fn(&Step) -> f64) -> Vec<(f64, Kind, f64)> {
    let mut search = Extrema::new(Prominence::default(), walk.overlap);
    let mut found = Vec::new();
    for step in &walk.steps {
        search.push(value(step) as f32, step.sigma_nt as f32, |feature| found.push(feature));
    }
    let time = |index: u32, fraction: f32| {
        let (a, b) = (walk.steps.get(index as usize)?, walk.steps.get(index as usize + 1));
        let hop_s = b.map_or(0.0, |b| b.time_s - a.time_s);
        // While the mast is held still, what comes and goes is noise.
        (a.phase != Phase::Settle).then(|| a.time_s + f64::from(fraction) * hop_s)
    };
    found.iter().filter_map(|f| Some((time(f.index, f.fraction)?, f.kind, f64::from(f.value)))).collect()
}

/// The noise as a band, 95 %.
fn noise(walk: &Walk, value: impl Fn(&Step) -> f64, panel: Panel) -> Markup {
    let widest =
        walk.steps.iter().map(|s| panel.y(0.0) - panel.y(SIGMAS95 * s.sigma_nt)).fold(0.0, f64::max);
    if widest < THINNEST_PX {
        return html! {};
    }
    let edge = |step: &Step, side: f64| {
        let y = value(step) + side * SIGMAS95 * step.sigma_nt;
        format!("{} {}", decimal(panel.x(step.time_s)), decimal(panel.y(y)))
    };
    let upper = walk.steps.iter().map(|s| edge(s, 1.0));
    let lower = walk.steps.iter().rev().map(|s| edge(s, -1.0));
    let points: Vec<String> = upper.chain(lower).collect();
    html! { polygon points=(points.join(" ")) fill=(BLUE) fill-opacity="0.25" {} }
}

fn band_key(x: f64) -> Markup {
    html! {
        rect x=(x) y="8" width="28" height="12" fill=(BLUE) fill-opacity="0.25" {}
        (chart::words("start", x + 34.0, 18.0, "noise, 95 % (often thinner than the line)"))
    }
}

/// The phases as bands behind a panel over time.
pub fn bands(walk: &Walk, panel: Panel, named: bool) -> Markup {
    let time = |n: usize| walk.steps.get(n).map_or(walk.outcome.duration_s, |s| s.time_s);
    html! {
        @for (n, &(from, to)) in stretches(&walk.steps).iter().enumerate() {
            @let (left, right) = (panel.x(time(from)), panel.x(time(to)));
            @if n % 2 == 1 {
                rect x=(decimal(left)) y=(decimal(panel.top)) width=(decimal((right - left).max(0.0)))
                    height=(decimal(panel.height)) fill=(BAND) {}
            }
            @if named && right - left > NAME_PX {
                @if let Some(step) = walk.steps.get(from) {
                    (note("middle", 0.5 * (left + right), panel.top - 6.0, phase_name(step.phase)))
                }
            }
        }
    }
}
