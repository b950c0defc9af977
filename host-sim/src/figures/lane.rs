//! The field along a lane over a sonde, level and tilted, with the features that the core finds in it.

use maud::{Markup, html};
use nullwalk_core::extrema::{Extrema, Feature, Kind, Prominence};
use nullwalk_core::field::dipole;
use nullwalk_core::tone::Overlap;

use super::{FIRST, GUIDE, LEFT, Mark, RIGHT, SECOND, THIRD, WIDTH, heading, note, words};
use crate::chart::{self, Axis, Panel};

const PITCHES_DEG: [f64; 3] = [0.0, 10.0, 30.0];
const TOP: f64 = 82.0;
const HEIGHT: f64 = 200.0;
const STEP: f64 = 240.0;
/// Half the length shown, and half the length walked, in depths.
const SHOWN: f64 = 2.5;
const WALKED: f64 = 6.0;
/// Values of the stream per depth.
const DENSITY: f64 = 20.0;

/// One instant of the lane: place in depths, and the forward, vertical and total field in per cent of a level
/// sonde's overhead.
struct Step {
    u: f64,
    forward: f64,
    vertical: f64,
    total: f64,
}

pub fn draw() -> String {
    let content = html! {
        (legend())
        @for (n, pitch_deg) in PITCHES_DEG.into_iter().enumerate() {
            (panel(pitch_deg, TOP + n as f64 * STEP, n + 1 == PITCHES_DEG.len()))
        }
    };
    let height = TOP + 3.0 * STEP;
    chart::document(WIDTH, height, "Field along a lane over a sonde, level and tilted", &content)
}

fn legend() -> Markup {
    html! {
        (FIRST.key(LEFT, 14.0, "forward"))
        (SECOND.key(LEFT + 110.0, 14.0, "vertical"))
        (THIRD.key(LEFT + 220.0, 14.0, "total"))
        (Mark::Ring.key(LEFT, 36.0, "null of the forward field"))
        (Mark::Triangle.key(LEFT + 190.0, 36.0, "its peaks: main and side"))
        (Mark::Square.key(LEFT + 370.0, 36.0, "extrema of the vertical field"))
        (Mark::Diamond.key(LEFT + 560.0, 36.0, "its null"))
        (Mark::Cross.key(LEFT + 300.0, 14.0, "maximum of the total: no mark"))
    }
}

fn panel(pitch_deg: f64, top: f64, last: bool) -> Markup {
    let label = if last { "place along the lane past the sonde, in depths" } else { "" };
    let panel = Panel {
        left: LEFT,
        top,
        width: WIDTH - LEFT - RIGHT,
        height: HEIGHT,
        x: Axis::linear(label, -SHOWN, SHOWN, 0.5),
        y: Axis::linear("field, % of level overhead", -175.0, 175.0, 50.0),
    };
    let steps = walk(pitch_deg);
    let curve = |value: fn(&Step) -> f64| steps.iter().map(move |s| (s.u, value(s)));
    let title = if pitch_deg == 0.0 {
        "sonde level".to_owned()
    } else {
        format!("forward end of the sonde raised by {pitch_deg:.0}°")
    };
    let peak = steps.iter().max_by(|a, b| a.total.total_cmp(&b.total));
    html! {
        (heading(panel.left, top - 8.0, &title))
        (panel.scales())
        (panel.curve([(0.0, -175.0), (0.0, 175.0)], GUIDE))
        (words("end", panel.x(0.0) - 5.0, panel.bottom() - 6.0, "sonde"))
        (panel.curve(curve(|s| s.total), THIRD))
        (panel.curve(curve(|s| s.vertical), SECOND))
        (panel.curve(curve(|s| s.forward), FIRST))
        (panel.outline())
        @for (u, feature) in features(&steps, |s| s.forward) {
            @let null = feature.kind == Kind::Null;
            (mark(panel, if null { Mark::Ring } else { Mark::Triangle }, u, &feature))
        }
        @for (u, feature) in features(&steps, |s| s.vertical) {
            @let null = feature.kind == Kind::Null;
            (mark(panel, if null { Mark::Diamond } else { Mark::Square }, u, &feature))
        }
        @if let Some(peak) = peak {
            (Mark::Cross.at(panel.x(peak.u), panel.y(peak.total)))
            // Over a level sonde it stands with the forward peak, and its place is the sonde's.
            @if peak.u.abs() > 0.01 {
                (note("start", panel.x(peak.u) + 8.0, panel.y(peak.total) - 6.0, &signed(peak.u)))
            }
        }
    }
}

fn walk(pitch_deg: f64) -> Vec<Step> {
    let (s, c) = pitch_deg.to_radians().sin_cos();
    let last = (WALKED * DENSITY) as i32;
    // In units of a level sonde's field overhead, which points against the moment.
    let step = |k: i32| {
        let u = f64::from(k) / DENSITY;
        let [x, y, z] = dipole([c, 0.0, s], [u, 0.0, 1.0]).map(|b| -b / 1e-7 * 100.0);
        Step { u, forward: x, vertical: z, total: (x * x + y * y + z * z).sqrt() }
    };
    (-last..=last).map(step).collect()
}

/// What the core finds in a component, with its place in depths.
fn features(steps: &[Step], value: fn(&Step) -> f64) -> Vec<(f64, Feature)> {
    let mut search = Extrema::new(Prominence::default(), Overlap::NONE);
    let mut found = Vec::new();
    for step in steps {
        search.push(value(step) as f32, 0.01, |feature| {
            found.push((
                (f64::from(feature.index) + f64::from(feature.fraction)) / DENSITY - WALKED,
                feature,
            ));
        });
    }
    found.retain(|(u, _)| u.abs() < SHOWN);
    found
}

fn mark(panel: Panel, mark: Mark, u: f64, feature: &Feature) -> Markup {
    let value = f64::from(feature.value);
    let (x, y) = (panel.x(u), panel.y(value));
    html! {
        (mark.at(x, y))
        @if feature.kind == Kind::Null {
            (note("middle", x, y + 19.0, &signed(u)))
        } @else {
            @let share = format!("{} %", value.round()).replace('-', "−");
            (note("middle", x, if feature.kind == Kind::Peak { y - 9.0 } else { y + 17.0 }, &share))
        }
    }
}

fn signed(u: f64) -> String {
    // Adding zero turns a negative zero into a plain one.
    let rounded = (u * 100.0).round() / 100.0 + 0.0;
    if rounded == 0.0 { "0".to_owned() } else { format!("{rounded:+.2}").replace('-', "−") }
}
