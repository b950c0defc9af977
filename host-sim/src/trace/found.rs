//! A traced line, for people and for machines.

use serde::Serialize;

use crate::book::{Check, Estimate, Measured, MethodResult, Reason, SitePosition, Station, Tone, Verdict};
use crate::site::LineTruth;

/// Reasons for which a current in step beside the line may make every method read too deep.
const OVER_READ: [&str; 5] =
    ["bleed-over", "not-one-line", "methods-disagree", "elliptical", "walk-undetermined"];

/// A line, as one walk across it found it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Trace {
    /// Its number.
    pub number: u32,
    /// Its name, if it has one.
    pub name: String,
    /// What was listened for, and how well it was heard.
    pub listened: Listened,
    /// Height of the lower node above the ground, metres: depths count from the ground.
    pub carried_m: f64,
    /// What the soil was taken for.
    pub soil: &'static str,
    /// What may be made of the figures.
    pub verdict: Verdict,
    /// Ground point above the line, amid the crossings; its sigma is across the line.
    pub place: Option<SitePosition>,
    /// Direction in plan, degrees clockwise from north.
    pub lay_deg: Option<Measured>,
    /// How steeply it rises towards the lay, degrees.
    pub slope_deg: Option<Measured>,
    /// Depth of the current's middle below the ground, metres.
    pub depth_m: Option<Estimate>,
    /// How near the surface it has to be reckoned with, metres.
    pub shallow_bound_m: Option<f64>,
    /// Depth by each method.
    pub methods: Vec<MethodResult>,
    /// The current.
    pub current: Option<Current>,
    /// How many lanes crossed it.
    pub crossings: usize,
    /// A second line that explains what one does not.
    pub second: Option<Second>,
    /// Why the verdict is not [`Verdict::Agree`].
    pub reasons: Vec<Reason>,
    /// What it really was: only the simulator knows.
    pub truth: Option<LineTruth>,
}

/// What was listened for.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Listened {
    /// Frequency of the field, hertz; 0 where no grid was heard.
    pub frequency_hz: f64,
    /// Of mains.
    pub mains: bool,
    /// The order of the harmonic.
    pub order: Option<usize>,
    /// The grid's frequency, hertz.
    pub grid_hz: Option<f64>,
    /// Best signal-to-noise ratio, decibels; none where nothing was heard.
    pub snr_db: Option<f64>,
    /// Looks the walk gave.
    pub looks: usize,
    /// Looks that were left out: clipped, or too much of them bridged.
    pub left_out: usize,
    /// Length of the recording, seconds.
    pub duration_s: f64,
}

/// A current, amperes.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Current {
    /// Its amplitude.
    pub peak_a: f64,
    /// That over the square root of 2.
    pub rms_a: f64,
    /// Standard uncertainty of the peak, the calibration's scale and all.
    pub sigma_a: f64,
}

/// A second line beside the first.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Second {
    /// Where it lies, abreast of the first.
    pub place: SitePosition,
    /// How far from the first, metres.
    pub aside_m: f64,
    /// Its depth, metres.
    pub depth_m: Estimate,
    /// Its current over that of the first.
    pub share: f64,
    /// By how much that is ahead, degrees.
    pub phase_deg: f64,
    /// Depth of the first line, reckoned with the second, metres.
    pub first_depth_m: Estimate,
}

impl Trace {
    /// Whether its figures may be used, be it with doubt.
    pub fn is_located(&self) -> bool {
        self.verdict != Verdict::Refuse
    }

    /// What a neighbour may do to the depth, where there are signs of one.
    pub fn danger(&self) -> Option<&'static str> {
        let has = |codes: &[&str]| self.reasons.iter().any(|reason| codes.contains(&reason.code.as_str()));
        if has(&OVER_READ) {
            Some(
                "a current in step beside this line makes every method read TOO DEEP, which is the dangerous way: reckon \
                 with the line from the shallow bound down",
            )
        } else if has(&["current-returns"]) {
            Some("a current that comes back beside this line draws the marks apart and reads too shallow")
        } else {
            None
        }
    }

    /// The same as a station of a run, to be kept in a job.
    pub fn station(&self) -> Station {
        let amperes = self.current.map_or(String::new(), |c| {
            format!("{:.2} mA peak, {:.2} mA rms", 1e3 * c.peak_a, 1e3 * c.rms_a)
        });
        let crossed = Check {
            name: "lanes cross the line".to_owned(),
            passed: self.crossings > 1,
            detail: format!("{} crossings; current {amperes}", self.crossings),
        };
        Station {
            number: self.number,
            name: self.name.clone(),
            position: self.place,
            lay_deg: self.lay_deg,
            depth_to_source_m: self.depth_m,
            shallow_bound_m: self.shallow_bound_m,
            methods: self.methods.clone(),
            verdict: self.verdict,
            reasons: self.reasons.clone(),
            checks: vec![crossed],
            tone: self.listened.snr_db.filter(|snr| *snr > 0.0).map(|snr_db| Tone {
                nominal_hz: self.listened.frequency_hz,
                offset_hz: 0.0,
                snr_db,
            }),
            ..Station::default()
        }
    }
}
