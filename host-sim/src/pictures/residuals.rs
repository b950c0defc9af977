//! What the fix leaves unexplained: measured field against that of a sonde as it was found.

use glam::DVec3;
use maud::html;
use nullwalk_core::field::dipole;
use nullwalk_core::frame::heading_rotation;
use nullwalk_core::locate::Phase;

use super::components::bands;
use super::walk::{Step, Walk};
use crate::chart::{self, Axis, CURVES, FIRST, GUIDE, LEFT, Panel, RIGHT, SUM, WIDTH, heading, note};

const NAMES: [&str; 3] = ["forward", "left", "up"];
/// Weaker fields than this many standard uncertainties say nothing of the fit.
const LEAST_SIGMAS: f64 = 10.0;
/// The scale of what is left reaches this far at most, per cent.
const MOST_PERCENT: f64 = 50.0;

/// A sonde as the fix says it lies.
struct Found {
    at_m: DVec3,
    moment: DVec3,
}

/// One instant's measured field and that of the sonde found, levelled mast frame, nanotesla.
struct Pair {
    time_s: f64,
    measured: DVec3,
    found: DVec3,
}

pub fn draw(walk: &Walk) -> Option<String> {
    // The lay has no forward end, so the pitch may be meant either way.
    let candidates = [1.0, -1.0].into_iter().filter_map(|sign| Some(pairs(walk, &sonde(walk, sign)?)));
    let pairs = candidates.min_by(|a, b| left_over(a).total_cmp(&left_over(b)))?;
    let (first, last) = (pairs.first()?, pairs.last()?);
    let end_s = last.time_s.max(first.time_s + 1.0);
    let panel = |top, height, label, y| {
        let x = Axis::rounded(label, first.time_s, end_s, 10.0);
        Panel { left: LEFT, top, width: WIDTH - LEFT - RIGHT, height, x, y }
    };
    let sizes = || pairs.iter().flat_map(|p| [p.measured.length(), p.found.length()]);
    let (least, most) = (sizes().fold(f64::MAX, f64::min), sizes().fold(0.0, f64::max));
    let upper =
        panel(76.0, 170.0, "", Axis::log("field, nT", chart::round_down(least), chart::round_up(most)));
    let percent = |p: &Pair| (p.measured - p.found) * (100.0 / p.measured.length());
    let reach = pairs.iter().map(|p| percent(p).abs().max_element()).fold(1.0, f64::max).min(MOST_PERCENT);
    let lower =
        panel(302.0, 200.0, "time, s", Axis::rounded("residual, % of the field there", -reach, reach, 6.0));
    let rms = left_over(&pairs).sqrt() * 100.0;
    let beyond = pairs.iter().filter(|p| percent(p).abs().max_element() > reach).count();
    let mut told = format!("rms {rms:.1} % over {} outputs", pairs.len());
    if beyond > 0 {
        told.push_str(&format!(", {beyond} beyond the scale"));
    }
    let content = html! {
        (FIRST.key(LEFT, 14.0, "measured, lower node"))
        (SUM.key(LEFT + 190.0, 14.0, "of the sonde as it was found"))
        (heading(LEFT, 54.0, "size of the field"))
        (bands(walk, upper, true))
        (upper.scales())
        (upper.curve(pairs.iter().map(|p| (p.time_s, p.found.length())), SUM))
        (upper.curve(pairs.iter().map(|p| (p.time_s, p.measured.length())), FIRST))
        (upper.outline())
        (heading(LEFT, 294.0, "measured less found"))
        @for (n, name) in NAMES.iter().enumerate() {
            (CURVES[n].key(LEFT + 200.0 + 110.0 * n as f64, 290.0, name))
        }
        (bands(walk, lower, false))
        (lower.scales())
        (lower.curve([(first.time_s, 0.0), (end_s, 0.0)], GUIDE))
        @for (n, line) in CURVES.iter().take(NAMES.len()).enumerate() {
            (lower.curve(pairs.iter().map(|p| (p.time_s, percent(p)[n])), *line))
        }
        (lower.outline())
        (note("end", lower.right() - 6.0, lower.top + 16.0, &told))
    };
    Some(chart::document(
        WIDTH,
        550.0,
        &format!("What the fix leaves unexplained: {}", walk.title),
        &content,
    ))
}

/// Mean square of what is left, as a share of the field.
fn left_over(pairs: &[Pair]) -> f64 {
    let share = |p: &Pair| (p.measured - p.found).length_squared() / p.measured.length_squared();
    pairs.iter().map(share).sum::<f64>() / pairs.len().max(1) as f64
}

fn sonde(walk: &Walk, pitch_sign: f64) -> Option<Found> {
    let fix = walk.outcome.fix.as_ref()?;
    let (place, lay, moment) = (fix.place?, fix.lay_rad?, fix.moment_a_m2?);
    let depth_m = f64::from(walk.outcome.judgement.depth?.depth_m);
    // The ground is a foot's height below the node that rests on it.
    let held = walk.steps.iter().rev().find(|s| s.phase == Phase::Settle).and_then(|s| s.at_m)?;
    let up_m = held.z - walk.foot_m - depth_m;
    let at_m = DVec3::new(f64::from(place.east_m), f64::from(place.north_m), up_m);
    let (s, c) = f64::from(lay.value).sin_cos();
    let (sp, cp) = (pitch_sign * fix.pitch_rad.map_or(0.0, |p| f64::from(p.value))).sin_cos();
    Some(Found { at_m, moment: f64::from(moment.value) * DVec3::new(s * cp, c * cp, sp) })
}

fn pairs(walk: &Walk, sonde: &Found) -> Vec<Pair> {
    let pair = |step: &Step| {
        let rotation = heading_rotation(step.heading_rad? as f32).as_dmat3();
        let on_site =
            DVec3::from_array(dipole(sonde.moment.to_array(), (step.at_m? - sonde.at_m).to_array())) * 1e9;
        let found = rotation.transpose() * on_site;
        // The transmitter's phase is unknown, so a field and its opposite are the same.
        let found = if found.dot(step.lower_nt) < 0.0 { -found } else { found };
        let strong = step.lower_nt.length() > LEAST_SIGMAS * step.sigma_nt;
        strong.then_some(Pair { time_s: step.time_s, measured: step.lower_nt, found })
    };
    walk.steps.iter().filter_map(pair).collect()
}
