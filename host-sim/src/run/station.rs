//! From the core's outcome to a station of the book.

use nullwalk_core::verdict as core;

use super::Outcome;
use super::booked::{degrees, method, place, reason, stated_depth, verdict};
use crate::book::{Check, MethodResult, Station, Tone};
use crate::equipment::Signal;

/// What a recording found, as station `number` of a run.
pub fn station(number: u32, name: &str, signal: &Signal, outcome: &Outcome) -> Station {
    let judgement = &outcome.judgement;
    let fix = outcome.fix.as_ref();
    Station {
        number,
        name: name.to_owned(),
        position: fix.and_then(|f| f.place).map(place),
        lay_deg: fix.and_then(|f| f.lay_rad).map(degrees),
        depth_to_source_m: stated_depth(judgement),
        shallow_bound_m: judgement.shallow_m.map(f64::from),
        methods: fix.map(methods).unwrap_or_default(),
        verdict: verdict(judgement.verdict),
        reasons: judgement.reasons.as_slice().iter().map(reason).collect(),
        checks: fix.map(checks).unwrap_or_default(),
        tone: (outcome.best_snr_db > 0.0).then(|| Tone {
            nominal_hz: signal.tone_hz,
            offset_hz: f64::from(outcome.carrier_offset_hz),
            snr_db: f64::from(outcome.best_snr_db),
        }),
        ..Station::default()
    }
}

fn methods(fix: &core::Fix) -> Vec<MethodResult> {
    core::Method::ALL.iter().zip(&fix.depths).map(|(which, depth)| method(which.name(), *depth)).collect()
}

/// The checks that stand behind a verdict, each failed where its reason was given.
fn checks(fix: &core::Fix) -> Vec<Check> {
    let failed = |code: &str| fix.judgement.reasons.as_slice().iter().any(|r| r.code() == code);
    let check = |name: &str, codes: &[&str], detail: String| Check {
        name: name.to_owned(),
        passed: !codes.iter().any(|code| failed(code)),
        detail,
    };
    let found = fix.depths.iter().flatten().count();
    let pitch = fix.pitch_rad.map_or(String::new(), |p| {
        format!("pitch {:.0} ± {:.0} degrees", p.value.to_degrees(), p.sigma.to_degrees())
    });
    vec![
        check("methods agree", &["methods-disagree", "one-method"], format!("{found} methods")),
        check("both nulls passed", &["not-bracketed"], String::new()),
        check("lane across walked", &["not-crossed"], String::new()),
        check("held at the mark", &["away-from-mark"], String::new()),
        check("sonde not too steep", &["tilted"], pitch),
        check("field in step", &["elliptical"], String::new()),
        check("one sonde explains the field", &["bent-field"], String::new()),
        check("the whole walk tells", &["walk-undetermined"], String::new()),
        check("both nodes agree", &["nodes-contradict", "not-below"], String::new()),
        check("nodes as calibrated", &["calibration-off"], String::new()),
        check("as strong as on the bench", &["strength-differs"], String::new()),
        check("recording undisturbed", &["disturbed"], String::new()),
    ]
}
