//! From a fix of the core to what is told of it.

use nullwalk_core::depth::Measured;
use nullwalk_core::trace::{self as core, LineMethod, TraceFix};
use nullwalk_core::verdict::Place;

use super::{Current, Listened, Second, Trace};
use crate::book::Verdict;
use crate::run::{self, Walk};

pub(super) fn told(fix: &TraceFix, walk: &Walk, listened: Listened) -> Trace {
    let judgement = &fix.judgement;
    let verdict = run::verdict(judgement.verdict);
    let located = verdict != Verdict::Refuse;
    let scale = f64::from(walk.array.sigma().scale);
    let current = |a: Measured| {
        let peak_a = f64::from(a.value);
        Current {
            peak_a,
            rms_a: peak_a / std::f64::consts::SQRT_2,
            sigma_a: f64::from(a.sigma).hypot(scale * peak_a),
        }
    };
    // One that would be above the ground, or far beyond the lanes, helps the fit and tells nothing.
    let is_plain = |two: &core::TwoLines| {
        let reach_m = 5.0 * two.first.depth.depth_m;
        two.explains
            && two.second.depth.depth_m > 0.0
            && apart_m(two.first.place, two.second.place) < f64::from(reach_m)
    };
    let second = fix.two.filter(|two| located && is_plain(two)).map(|two| {
        let (first, second) = (two.first.place, two.second.place);
        Second {
            place: run::place(second),
            aside_m: apart_m(first, second),
            depth_m: run::depth(two.second.depth),
            share: f64::from(two.second.current_a.value / two.first.current_a.value),
            phase_deg: f64::from(two.phase_rad).to_degrees(),
            first_depth_m: run::depth(two.first.depth),
        }
    });
    let methods =
        LineMethod::ALL.iter().zip(&fix.depths).map(|(which, depth)| run::method(which.name(), *depth));
    Trace {
        number: 1,
        name: String::new(),
        listened,
        carried_m: 0.0,
        soil: "",
        verdict,
        place: fix.place.map(run::place),
        lay_deg: fix.lay_rad.map(run::degrees),
        slope_deg: fix.slope_rad.map(run::degrees),
        depth_m: run::stated_depth(judgement),
        shallow_bound_m: judgement.shallow_m.map(f64::from),
        methods: methods.collect(),
        current: fix.current_a.filter(|_| located).map(current),
        crossings: fix.crossings.len(),
        second,
        reasons: judgement.reasons.as_slice().iter().map(run::reason).collect(),
        truth: None,
    }
}

fn apart_m(a: Place, b: Place) -> f64 {
    f64::from((a.east_m - b.east_m).hypot(a.north_m - b.north_m))
}
