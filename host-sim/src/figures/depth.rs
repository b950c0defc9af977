//! How uncertain the depths are, as the core states it, over depth.

use glam::Vec3;
use maud::{Markup, html};
use nullwalk_core::array::NodeField;
use nullwalk_core::depth::{self, Depth, Measured, Passing, Standing, Unusable};
use nullwalk_core::field::dipole;

use super::{FIRST, FOURTH, LEFT, RIGHT, SECOND, THIRD, WIDTH, words};
use crate::chart::{self, Axis, INK, Line, Panel};

/// The sonde and noise of the book's examples: A m2, tesla per root hertz.
const MOMENT_A_M2: f64 = 0.2;
const NOISE_T: f32 = 5e-12;
const SPACING_M: f32 = 0.4;
/// Noise bandwidth of a hold of three seconds, hertz.
const HOLD_HZ: f32 = 1.0 / 3.0;
/// Noise bandwidth of one output while walking, hertz.
const OUTPUT_HZ: f32 = 6.95;
const NODE_SIGMAS: [(f32, Line, &str); 4] =
    [(0.001, FIRST, "0.1 %"), (0.003, SECOND, "0.3 %"), (0.01, THIRD, "1 %"), (0.02, FOURTH, "2 %")];
/// Standard uncertainty of each null's place on the ground, metres.
const PLACE_SIGMA_M: f32 = 0.02;
const NULLS: Line = Line::new(INK, "2.6", "");

pub fn draw() -> String {
    let panel = Panel {
        left: LEFT,
        top: 58.0,
        width: WIDTH - LEFT - RIGHT,
        height: 340.0,
        x: Axis::log("depth below the lower node, m", 0.3, 10.0),
        y: Axis::log("standard uncertainty of the depth, m", 0.001, 5.0),
    };
    let content = html! {
        (NULLS.key(LEFT, 14.0, "null spacing, each null placed to 2 cm"))
        (words("start", LEFT, 40.0, "field ratio, the nodes’ gains known to"))
        @for (n, (_, line, name)) in NODE_SIGMAS.into_iter().enumerate() {
            (line.key(LEFT + 230.0 + 100.0 * n as f64, 36.0, name))
        }
        (panel.scales())
        @for (gain_sigma, line, _) in NODE_SIGMAS { (curve(panel, line, |d| ratio(d, gain_sigma))) }
        (curve(panel, NULLS, nulls))
        (panel.outline())
    };
    chart::document(WIDTH, 446.0, "Uncertainty of two ways to depth", &content)
}

/// The curve of one method, as far as it gives a depth.
fn curve(panel: Panel, line: Line, method: impl Fn(f32) -> Result<Depth, Unusable>) -> Markup {
    let depths = (0..=160).map(|k| 0.3 * 10_f32.powf(k as f32 * 0.01));
    let points = depths.filter_map(|d| Some((f64::from(d), f64::from(method(d).ok()?.sigma_m))));
    panel.curve(points.filter(|&(_, sigma_m)| panel.y.shows(sigma_m)), line)
}

/// A node `r_m` above the sonde, listened to for `bandwidth_hz`.
fn node(r_m: f32, bandwidth_hz: f32) -> NodeField {
    let field = dipole([MOMENT_A_M2, 0.0, 0.0], [0.0, 0.0, f64::from(r_m)]);
    NodeField { field_t: Vec3::from_array(field.map(|b| b as f32)), sigma_t: NOISE_T * bandwidth_hz.sqrt() }
}

fn ratio(depth_m: f32, gain_sigma: f32) -> Result<Depth, Unusable> {
    let (lower, upper) = (node(depth_m, HOLD_HZ), node(depth_m + SPACING_M, HOLD_HZ));
    depth::ratio(lower, upper, SPACING_M, gain_sigma, Standing::default())
}

/// Noise moves a null by noise over slope, 0.97 d times noise over the field overhead.
fn nulls(depth_m: f32) -> Result<Depth, Unusable> {
    let overhead = node(depth_m, OUTPUT_HZ);
    let noise_m = 0.97 * depth_m * overhead.sigma_t / overhead.field_t.length();
    let sigma_m = (2.0 * (noise_m * noise_m + PLACE_SIGMA_M * PLACE_SIGMA_M)).sqrt();
    let apart = Measured::new(core::f32::consts::SQRT_2 * depth_m, sigma_m);
    depth::null_spacing(apart, Passing::default())
}
