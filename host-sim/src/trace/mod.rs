//! Lines traced: what a walk in lanes across one amounts to, for people and for machines; and what a load changed along a walk.

mod change;
mod plan;
mod text;
mod visit;

use nullwalk_core::depth::soil::Soil;
use nullwalk_core::depth::{Depth, Measured as CoreMeasured};
use nullwalk_core::error::ConfigError;
use nullwalk_core::looking::phasor_look;
use nullwalk_core::mains::Finding;
use nullwalk_core::trace::{self as core, LineMethod, TraceFix, Tracer};
use nullwalk_core::verdict::Place;
use serde::Serialize;

use crate::book::{Check, Estimate, Measured, MethodResult, Reason, SitePosition, Station, Tone, Verdict};
use crate::carried;
use crate::run::{self, Walk};
use crate::site::LineTruth;

pub use change::{Changed, changed};
pub use plan::{Lane, Plan};
pub use visit::Visit;

/// Printed below whatever was traced.
pub const CAUTION: &str = "\
A located depth is no permission to dig. Follow local codes and licensed practice, have all utilities
notified and marked, and expose with safe means: depth and place may be wrong, other lines may be near.
The depth is that of the current's middle, not of the top of a pipe or duct.
";
/// and of a tone,
pub const TONE_CAUTION: &str = "\
Nothing heard does not mean nothing there: a line that does not carry this current makes no field.
";
/// or of mains.
pub const MAINS_CAUTION: &str = "\
Nothing detected is not proof: a cable without load, one whose currents balance, and one for direct
current make no field that is heard here. Switch on a large load and walk again.
";
/// Reasons for which a current in step beside the line may make every method read too deep.
const OVER_READ: [&str; 5] =
    ["bleed-over", "not-one-line", "methods-disagree", "elliptical", "walk-undetermined"];

/// What is known besides the recording.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// The soil.
    pub soil: Soil,
    /// Height of the ground in the site frame, metres.
    pub ground_up_m: f64,
    /// How high above it the lower node was carried, metres, where the recorded heights do not tell.
    pub carried_m: Option<f64>,
}

impl Default for Settings {
    fn default() -> Self {
        Self { soil: Soil::Unknown, ground_up_m: 0.0, carried_m: None }
    }
}

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

/// Trace the line that a walk crossed. `listen` is what was listened for.
///
/// # Errors
/// When the array has no two nodes, one above the other, or the height of the walk makes no sense.
pub fn trace(walk: &Walk, mains: bool, settings: &Settings) -> Result<Trace, ConfigError> {
    let recorded = walk.seen.iter().filter_map(|seen| seen.glimpse.mast.position);
    let recorded_up_m = recorded.map(|position| f64::from(position.enu_m.z));
    let carried_m =
        carried::height_m(settings.carried_m, recorded_up_m, settings.ground_up_m, &walk.array)?;
    // Where no grid was heard there is nothing to correct for.
    let tone_hz = if walk.frequency_hz > 0.0 { walk.frequency_hz as f32 } else { 50.0 };
    let tracer = Tracer::new(core::Settings {
        soil: settings.soil,
        node_height_m: carried_m as f32,
        ..core::Settings::of(&walk.array, tone_hz)
    })?;
    let mut state = tracer.start();
    let mut looks = 0;
    for seen in &walk.seen {
        let glimpse = &seen.glimpse;
        let position = glimpse.mast.position;
        let Some((look, position)) = phasor_look(glimpse, &walk.array, walk.inflation).zip(position) else {
            continue;
        };
        looks += 1;
        let wander_m = position.sigma_m;
        tracer.push(
            &mut state,
            core::Sight { at: glimpse.at, look, wander_m, phase_rad: None, saturated: false },
        );
    }
    for _ in 0..walk.clipped {
        // Counted, and not used: what it would show is missing where the field is strongest.
        if let Some(sight) = saturated(walk) {
            tracer.push(&mut state, sight);
        }
    }
    let listened = Listened {
        frequency_hz: walk.frequency_hz,
        mains,
        order: walk.order,
        grid_hz: walk.grid_hz,
        snr_db: walk.best_snr_db.is_finite().then_some(f64::from(walk.best_snr_db)),
        looks,
        left_out: walk.left_out,
        duration_s: walk.duration_s,
    };
    let mut found = of_fix(&tracer.judge(&state), walk, listened);
    found.carried_m = carried_m;
    found.soil = soil_name(settings.soil);
    if mains && walk.order.is_none() {
        found.reasons = vec![Reason {
            code: "no-mains".to_owned(),
            sentence: Finding::Silent.sentence().to_owned(),
            remedy: "Then walk the same lanes once more.".to_owned(),
        }];
    }
    Ok(found)
}

fn saturated(walk: &Walk) -> Option<core::Sight> {
    let seen = walk.seen.first()?;
    let look = phasor_look(&seen.glimpse, &walk.array, walk.inflation)?;
    Some(core::Sight { at: seen.glimpse.at, look, wander_m: 0.0, phase_rad: None, saturated: true })
}

/// The word for a class of soil.
pub fn soil_name(soil: Soil) -> &'static str {
    match soil {
        Soil::Dry => "dry",
        Soil::Loam => "loam",
        Soil::Clay => "clay",
        Soil::Unknown => "unknown",
    }
}

fn of_fix(fix: &TraceFix, walk: &Walk, listened: Listened) -> Trace {
    let judgement = &fix.judgement;
    let verdict = run::verdict(judgement.verdict);
    let located = verdict != Verdict::Refuse;
    let scale = f64::from(walk.array.sigma().scale);
    let degrees = |m: CoreMeasured| Measured {
        value: f64::from(m.value).to_degrees(),
        sigma: f64::from(m.sigma).to_degrees(),
    };
    let place = |p: Place| SitePosition {
        east_m: f64::from(p.east_m),
        north_m: f64::from(p.north_m),
        sigma_m: f64::from(p.sigma_m),
    };
    let estimate = |depth: Depth| {
        let (value, sigma) = (f64::from(depth.depth_m), f64::from(depth.sigma_m));
        Estimate { value, sigma, low95: (value - 1.96 * sigma).max(0.0), high95: value + 1.96 * sigma }
    };
    let current = |a: CoreMeasured| {
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
            place: place(second),
            aside_m: apart_m(first, second),
            depth_m: estimate(two.second.depth),
            share: f64::from(two.second.current_a.value / two.first.current_a.value),
            phase_deg: f64::from(two.phase_rad).to_degrees(),
            first_depth_m: estimate(two.first.depth),
        }
    });
    let methods = LineMethod::ALL.iter().zip(&fix.depths).map(|(method, depth)| MethodResult {
        method: method.name().to_owned(),
        estimate: depth.ok().map(estimate),
        refused: depth.err().map(|why| why.sentence().to_owned()),
    });
    Trace {
        number: 1,
        name: String::new(),
        listened,
        carried_m: 0.0,
        soil: "",
        verdict,
        place: fix.place.map(place),
        lay_deg: fix.lay_rad.map(degrees),
        slope_deg: fix.slope_rad.map(degrees),
        depth_m: judgement.depth.zip(judgement.range).map(|(depth, range)| Estimate {
            value: f64::from(depth.depth_m),
            sigma: f64::from(depth.sigma_m),
            low95: f64::from(range.low_m),
            high95: f64::from(range.high_m),
        }),
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
