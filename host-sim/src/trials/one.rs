//! One trial: a locate, and what came of it as a row.

use std::time::Instant;

use nullwalk_core::depth::Depth;
use nullwalk_core::frame::{BlockInfo, SampleSource};
use nullwalk_core::verdict::{Clue, Fix};
use toml::Value;

use super::bound::{self, Stay};
use super::plan::{Kind, Plan, PlanError, Scene};
use super::rows::{MethodDepth, Row, Truth};
use crate::run::{self, Outcome};
use crate::site::{Site, SiteError};
use crate::synth::{Cue, Guided, Simulation};
use crate::with_channels;

/// Run one trial of a plan. `varied` are the plan's columns.
///
/// # Errors
/// When what was drawn cannot be simulated.
pub fn trial(plan: &Plan, kind: &Kind, number: u64, varied: &[String]) -> Result<Row, PlanError> {
    let Scene { site, seed, drawn } = plan.scene(kind, number)?;
    let begun = Instant::now();
    let located = locate(&site, seed).map_err(|e| PlanError::Entry {
        file: plan.file.clone(),
        place: format!("kind {}, trial {number}", kind.name),
        problem: e.to_string(),
    })?;
    let spent_ms = (begun.elapsed().as_secs_f32() * 1e4).round() / 10.0;
    let cell = |key: &String| {
        let found = drawn.iter().find(|(k, _)| k == key);
        found.map_or_else(String::new, |(_, value)| text(value))
    };
    let identity = Identity { kind: kind.name.clone(), trial: number, seed };
    let sonde = site.station.first().and_then(|here| site.sources(here).first().copied());
    let bound_m = sonde.and_then(|sonde| bound::depth_m(&site, &sonde, &located.walk));
    let mut row = row(identity, varied.iter().map(cell).collect(), &located, spent_ms);
    row.bound_m = bound_m.map(|m| m as f32);
    Ok(row)
}

/// A locate, and what it was about.
#[derive(Debug, Clone)]
pub struct Located {
    /// What is really there.
    pub truth: Option<Truth>,
    /// What the instrument made of it.
    pub outcome: Outcome,
    /// Where the mast really was.
    pub walk: Vec<Stay>,
}

/// Simulate and locate the first station of a site.
///
/// # Errors
/// As [`Simulation::new`].
pub fn locate(site: &Site, seed: u64) -> Result<Located, SiteError> {
    with_channels!(site.signal.channels, C => locate_with::<C>(site, seed))
        .unwrap_or_else(|| Err(SiteError::new("signal.channels", "must be 1 to 8")))
}

fn locate_with<const C: usize>(site: &Site, seed: u64) -> Result<Located, SiteError> {
    let simulation = Simulation::<C>::new(site, 0, seed)?;
    let truth = simulation.truth().map(|t| Truth {
        east_m: t.east_m,
        north_m: t.north_m,
        depth_m: t.depth_m,
        lay_deg: t.lay_rad.to_degrees(),
        pitch_deg: t.pitch_rad.to_degrees(),
        moment_a_m2: t.moment_a_m2,
    });
    let array = site.array.array()?;
    let array = array.ok_or_else(|| SiteError::new("array.node", "must list at least one node"))?;
    let instrument = run::instrument::<C>(&site.signal, site.front_end.ladder()?, array)?;
    let mut walked = Walked { simulation, sample_s: 1.0 / site.signal.sample_rate_hz, stays: Vec::new() };
    let Ok(outcome) = run::locate(&instrument, &mut walked, None, |_| ());
    Ok(Located { truth, outcome, walk: walked.stays })
}

/// A simulation that notes where the mast really was.
struct Walked<const C: usize> {
    simulation: Simulation<C>,
    sample_s: f64,
    stays: Vec<Stay>,
}

impl<const C: usize> SampleSource<C> for Walked<C> {
    type Error = std::convert::Infallible;

    fn read(&mut self, frames: &mut [[i32; C]]) -> Result<Option<BlockInfo>, Self::Error> {
        let read = self.simulation.read(frames);
        if let Ok(Some(info)) = &read {
            let seconds = info.frames as f64 * self.sample_s;
            self.stays.push(Stay { pose: self.simulation.pose(), seconds });
        }
        read
    }

    fn set_rung(&mut self, rung: u8) {
        self.simulation.set_rung(rung);
    }
}

impl<const C: usize> Guided for Walked<C> {
    fn respond(&mut self, cue: Cue) {
        self.simulation.respond(cue);
    }
}

/// Which trial a row is of.
struct Identity {
    kind: String,
    trial: u64,
    seed: u64,
}

fn row(id: Identity, drawn: Vec<String>, located: &Located, spent_ms: f32) -> Row {
    let Located { truth, outcome, .. } = located;
    let truth = *truth;
    let judgement = &outcome.judgement;
    let fix = outcome.fix.as_ref();
    let place = fix.and_then(|f| f.place);
    let lay = fix.and_then(|f| f.lay_rad);
    let place_error_m = place.zip(truth).map(|(place, truth)| {
        let east_m = f64::from(place.east_m) - truth.east_m;
        east_m.hypot(f64::from(place.north_m) - truth.north_m) as f32
    });
    let lay_error_deg = lay.zip(truth).map(|(lay, truth)| {
        let off = f64::from(lay.value).to_degrees() - truth.lay_deg;
        (off - 180.0 * (off / 180.0).round()) as f32
    });
    let method = |depth: &Result<Depth, _>| {
        depth.as_ref().ok().map(|d| MethodDepth { depth_m: d.depth_m, sigma_m: d.sigma_m })
    };
    Row {
        kind: id.kind,
        trial: id.trial,
        seed: id.seed,
        drawn,
        truth,
        verdict: judgement.verdict,
        reasons: judgement.reasons.as_slice().iter().map(|r| r.code().to_owned()).collect(),
        depth_m: judgement.depth.map(|d| d.depth_m),
        sigma_m: judgement.depth.map(|d| d.sigma_m),
        low_m: judgement.range.map(|r| r.low_m),
        high_m: judgement.range.map(|r| r.high_m),
        east_m: place.map(|p| p.east_m),
        north_m: place.map(|p| p.north_m),
        place_error_m,
        place_sigma_m: place.map(|p| p.sigma_m),
        lay_error_deg,
        lay_sigma_deg: lay.map(|l| l.sigma.to_degrees()),
        methods: fix.map_or([None; _], |f| f.depths.each_ref().map(method)),
        bound_m: None,
        scores: fix.map(scores).unwrap_or_default().into_iter().map(|(n, x)| (n.to_owned(), x)).collect(),
        recorded_s: outcome.duration_s as f32,
        spent_ms,
    }
}

/// Named statistics of a fix that look for distortion: the larger, the more suspect; above 1 is flagged.
fn scores(fix: &Fix) -> Vec<(&'static str, Option<f32>)> {
    Clue::ALL.iter().map(|clue| clue.code()).zip(fix.clues).collect()
}

/// A drawn value in a cell; on one line, whatever it is.
fn text(value: &Value) -> String {
    match value {
        Value::String(text) => text.replace(char::is_control, " "),
        other => other.to_string().replace(char::is_control, " "),
    }
}
