//! Calibration without a laboratory: the same source seen by a mast in several attitudes.
//!
//! A [`Plan`] lists recordings of a source that stays where it is, the attitude of the mast in each, and
//! the slot each node was in. [`calibrate`] takes one reading per coil from each recording, with the core's
//! own detector, and finds gain, phase and direction of every coil together with the fields in the slots,
//! which nobody needs to know. The result is an `[array]` section for captures and sites. The procedure is
//! the book's chapter on calibration.

mod fit;
mod judge;
mod model;
mod plan;
mod reading;
mod section;
mod summary;

use std::path::PathBuf;

use glam::DVec3;
use nullwalk_core::error::ConfigError;
use serde::Serialize;
use thiserror::Error;

use crate::capture::{Capture, CaptureError, Notice};
use crate::equipment::{ArrayFile, CalibrationFile};
use crate::tolerant_toml;
use fit::Fit;
pub use judge::Refusal;
use model::Model;
pub use plan::{Ask, Attitude, Expected, KnownSlot, Plan};
pub use reading::{CoilReading, Reading, read};
pub use section::{load_array, to_toml};

/// A known field more than this away from the one found makes a notice, degrees.
const FIELD_ANGLE_DEG: f64 = 10.0;

/// Why there is no calibration.
#[derive(Debug, Error)]
pub enum CalibrateError {
    /// A plan or an array file cannot be read.
    #[error("{file}: cannot be read: {source}; check the path and its permissions")]
    Read {
        /// The file.
        file: String,
        /// What the system said.
        source: std::io::Error,
    },
    /// It is not TOML, or a value does not fit its key.
    #[error(transparent)]
    Parse(#[from] tolerant_toml::ParseError),
    /// The plan describes something that cannot be.
    #[error("{file}, {place}: {problem}")]
    Plan {
        /// The file.
        file: String,
        /// The key or entry.
        place: String,
        /// What it must be.
        problem: &'static str,
    },
    /// A capture cannot be read.
    #[error(transparent)]
    Capture(#[from] CaptureError),
    /// A capture is read, but does not serve.
    #[error("{path}: {problem}")]
    Recording {
        /// The capture.
        path: PathBuf,
        /// What is wrong, and what to do.
        problem: &'static str,
    },
    /// A tone that the core cannot listen for.
    #[error(transparent)]
    Config(#[from] ConfigError),
    /// An array that cannot be.
    #[error("{file}: {source}")]
    Array {
        /// The file.
        file: String,
        /// Which parameter, and what is asked of it.
        source: ConfigError,
    },
    /// The recordings do not give what was asked.
    #[error("{}", .0.iter().map(|r| r.text.as_str()).collect::<Vec<_>>().join("\n"))]
    Refused(Vec<Refusal>),
}

/// A value and its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Found {
    /// The value.
    pub value: f64,
    /// Its standard uncertainty.
    pub sigma: f64,
}

/// What was found of one coil, relative to what the captures said of it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CoilFound {
    /// The node, counted from zero, and the letter of the axis, in words.
    pub name: String,
    /// Channel, counted from zero.
    pub channel: u8,
    /// Times the described gain. Its uncertainty is that against the mean of all coils.
    pub gain: Found,
    /// Degrees ahead of the described phase, against the mean of all coils.
    pub phase_deg: Found,
    /// Degrees away from the described direction, and how well each of the two angles is known.
    pub lean_deg: Found,
}

/// How well one recording fits.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AttitudeFound {
    /// Its name in the plan.
    pub name: String,
    /// Signal over noise, all coils together.
    pub signal_to_noise: f64,
    /// Root mean square of its residuals in units of what was thought of them; about 1.
    pub strain: f64,
}

/// A calibration.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Calibration {
    /// The array with all corrections and uncertainties in it.
    pub array: ArrayFile,
    /// What was found of each coil.
    pub coils: Vec<CoilFound>,
    /// The recordings.
    pub attitudes: Vec<AttitudeFound>,
    /// What the fit leaves of the readings, relative to the field, root mean square.
    pub residual: f64,
    /// Uncertainty of the ratio of the nodes from the residuals, in the worst direction of the field.
    pub from_residuals: f64,
    /// The same from leaving out one recording after the other; none when each of them is needed.
    pub from_jackknife: Option<f64>,
    /// Whether a known field fixed the scale.
    pub scaled: bool,
    /// What is odd.
    pub notices: Vec<String>,
}

/// Reads every capture of a plan and calibrates.
///
/// # Errors
/// When a capture cannot be read or does not serve, or the recordings do not determine what was asked.
pub fn calibrate(plan: &Plan) -> Result<(Calibration, Vec<Notice>), CalibrateError> {
    let mut notices = Vec::new();
    let mut readings = Vec::new();
    let mut array: Option<ArrayFile> = None;
    for attitude in &plan.attitude {
        let capture = Capture::open(&attitude.capture)?;
        let described = &capture.description.array;
        if *array.get_or_insert_with(|| described.clone()) != *described {
            let problem = "describes another array than the captures before it; make them alike";
            return Err(CalibrateError::Recording { path: capture.path, problem });
        }
        if attitude.slots.len() != described.node.len() {
            let problem = "has another number of nodes than the plan has slots for it";
            return Err(CalibrateError::Recording { path: capture.path, problem });
        }
        readings.push(read(&capture)?);
        notices.extend(capture.notices);
    }
    let calibration =
        solve(plan, &array.unwrap_or_default(), &readings).map_err(CalibrateError::Refused)?;
    Ok((calibration, notices))
}

/// Calibrates from readings, one for each attitude of the plan, which name a slot for every node of `array`.
///
/// # Errors
/// Every reason why the readings do not determine what was asked.
pub fn solve(plan: &Plan, array: &ArrayFile, readings: &[Reading]) -> Result<Calibration, Vec<Refusal>> {
    let coils = array.node.iter().map(|n| n.coil.len()).sum::<usize>();
    let fits = readings.len() == plan.attitude.len()
        && readings.iter().all(|r| r.len() == coils && r.iter().all(|r| r.field_t.is_finite()))
        && plan.attitude.iter().all(|a| a.slots.len() == array.node.len())
        && array.node.iter().all(|n| n.coil.len() == 3);
    if !fits || array.node.len() != 2 {
        return Err(vec![Refusal::not_two_nodes()]);
    }
    let model = Model::new(plan, array, readings);
    let weak = judge::weak(plan, &model);
    if !weak.is_empty() {
        return Err(weak);
    }
    let without: Vec<Option<Fit>> = (0..model.attitudes()).map(|k| Fit::new(&model.without(k))).collect();
    let fit = match Fit::new(&model) {
        Some(fit) if !judge::is_strained(&fit) => fit,
        strained => return Err(vec![judge::misfit(plan, &model, strained.as_ref(), &without)]),
    };
    let mut refusals = judge::undetermined(plan.ask, &model, &fit);
    refusals.extend(judge::far_off(&model, &fit));
    let spread = Spread::new(plan, &model, &fit, without);
    let from_residuals = spread.worst_direction(|slope| fit.sigma(slope));
    let from_jackknife = spread.jackknife().then(|| spread.worst_direction(|slope| spread.scatter(slope)));
    let node_ratio_sigma = from_residuals.max(from_jackknife.unwrap_or(0.0));
    if refusals.is_empty() {
        refusals.extend(judge::vague(node_ratio_sigma));
    }
    if !refusals.is_empty() {
        return Err(refusals);
    }
    let scale = Scale::new(plan, &model, &fit);
    let corrected = corrected(array, &model, &fit, scale.log_gain);
    let residual = model.relative_residual(&fit.x);
    let how = match plan.ask {
        Ask::Full => "gain, phase and axis of each coil",
        Ask::Ratio => "ratio of the nodes",
    };
    let title = if plan.title.is_empty() { String::new() } else { format!("{}: ", plan.title) };
    let note = format!(
        "{title}{how} from the same source in {} attitudes; residual {:.2} %; scale {}",
        model.attitudes(),
        100.0 * residual,
        if scale.sigma.is_some() { "from a known field" } else { "as described before" },
    );
    let calibration = CalibrationFile {
        node_ratio_sigma: round(node_ratio_sigma, 1e-5),
        scale_sigma: scale.sigma.map_or(array.calibration.scale_sigma, |sigma| round(sigma, 1e-5)),
        note,
        ..array.calibration.clone()
    };
    Ok(Calibration {
        coils: spread.coils(array, scale.log_gain),
        attitudes: attitudes(plan, &model, &fit),
        array: ArrayFile { calibration, ..corrected },
        residual,
        from_residuals,
        from_jackknife,
        scaled: scale.sigma.is_some(),
        notices: scale.notices,
    })
}

/// The uncertainty of anything, from the residuals and from leaving out one recording after the other.
struct Spread<'a> {
    model: &'a Model,
    fit: &'a Fit,
    /// Fits without one recording each; empty when one of them no longer determines what was asked.
    without: Vec<Fit>,
}

impl<'a> Spread<'a> {
    fn new(plan: &Plan, model: &'a Model, fit: &'a Fit, without: Vec<Option<Fit>>) -> Self {
        let spared = |(k, rest): (usize, Option<Fit>)| {
            rest.filter(|rest| judge::determines(plan.ask, &model.without(k), rest))
        };
        let without: Option<Vec<Fit>> = without.into_iter().enumerate().map(spared).collect();
        Self { model, fit, without: without.unwrap_or_default() }
    }

    fn jackknife(&self) -> bool {
        !self.without.is_empty()
    }

    /// The jackknife's standard uncertainty (Efron and Tibshirani 1993, *An Introduction to the Bootstrap*,
    /// ch. 11).
    fn scatter(&self, slope: &[f64]) -> f64 {
        let n = self.without.len() as f64;
        let values: Vec<f64> = self.without.iter().map(|fit| fit.value(slope)).collect();
        let mean = values.iter().sum::<f64>() / n;
        let squares: f64 = values.iter().map(|v| (v - mean) * (v - mean)).sum();
        ((n - 1.0) / n * squares).sqrt()
    }

    fn sigma(&self, slope: &[f64]) -> f64 {
        let from_residuals = self.fit.sigma(slope);
        if self.jackknife() { from_residuals.max(self.scatter(slope)) } else { from_residuals }
    }

    /// The largest uncertainty of the ratio of the nodes' fields over all directions of the field.
    fn worst_direction(&self, sigma: impl Fn(&[f64]) -> f64) -> f64 {
        let steps = [-1.0, 0.0, 1.0];
        let mut worst = 0.0f64;
        for (x, y, z) in
            steps.iter().flat_map(|x| steps.iter().flat_map(move |y| steps.map(|z| (*x, *y, z))))
        {
            if let Some(u) = DVec3::new(x, y, z).try_normalize() {
                worst = worst.max(sigma(&self.model.node_ratio_slope(u)));
            }
        }
        worst
    }

    fn coils(&self, array: &ArrayFile, log_gain: f64) -> Vec<CoilFound> {
        let n = self.model.coils.len();
        let unit = |at: usize| {
            let mut slope = vec![0.0; self.model.coil_at(n)];
            slope[at] = 1.0;
            slope
        };
        let against_mean = |coil: usize, part: usize| {
            let mut slope = unit(self.model.coil_at(coil) + part);
            (0..n).for_each(|c| slope[self.model.coil_at(c) + part] -= 1.0 / n as f64);
            slope
        };
        let described = array.node.iter().flat_map(|node| &node.coil);
        described
            .enumerate()
            .map(|(coil, file)| {
                let at = self.model.coil_at(coil);
                let gain = (self.fit.x[at] + log_gain).exp();
                let phase = against_mean(coil, 1);
                let lean =
                    self.model.direction(coil, &self.fit.x).angle_between(self.model.coils[coil].axis);
                let lean_sigma = self.sigma(&unit(at + 2)).max(self.sigma(&unit(at + 3)));
                CoilFound {
                    name: judge::coil_name(self.model, coil),
                    channel: file.channel,
                    gain: Found { value: gain, sigma: gain * self.sigma(&against_mean(coil, 0)) },
                    phase_deg: Found {
                        value: self.fit.value(&phase).to_degrees(),
                        sigma: self.sigma(&phase).to_degrees(),
                    },
                    lean_deg: Found { value: lean.to_degrees(), sigma: lean_sigma.to_degrees() },
                }
            })
            .collect()
    }
}

/// The common scale, as known fields give it.
struct Scale {
    /// To be added to the log of every gain.
    log_gain: f64,
    /// `None` when no field is known.
    sigma: Option<f64>,
    notices: Vec<String>,
}

impl Scale {
    fn new(plan: &Plan, model: &Model, fit: &Fit) -> Self {
        let names = plan.slot_names();
        let (mut sum, mut weights, mut notices) = (0.0, 0.0, Vec::new());
        for known in &plan.slot {
            let Some(slot) = names.iter().position(|name| *name == known.name) else { continue };
            let (excess, slope, angle) = model.against(DVec3::from_array(known.field_t), slot, &fit.x);
            let weight = (known.field_sigma * known.field_sigma + fit.sigma(&slope).powi(2)).recip();
            sum += excess * weight;
            weights += weight;
            if angle.to_degrees() > FIELD_ANGLE_DEG {
                notices.push(format!(
                    "slot {}: the field runs {:.0}° away from where field_t says; check both",
                    known.name,
                    angle.to_degrees()
                ));
            }
        }
        if weights == 0.0 {
            return Self { log_gain: 0.0, sigma: None, notices };
        }
        Self { log_gain: sum / weights, sigma: Some(weights.sqrt().recip()), notices }
    }
}

/// The array with what was found put in.
fn corrected(array: &ArrayFile, model: &Model, fit: &Fit, log_gain: f64) -> ArrayFile {
    let mut array = array.clone();
    for (c, coil) in array.node.iter_mut().flat_map(|node| &mut node.coil).enumerate() {
        let own = &fit.x[model.coil_at(c)..];
        coil.gain = round(coil.gain * (own[0] + log_gain).exp(), 1e-6);
        coil.phase_deg = round(coil.phase_deg + own[1].to_degrees(), 1e-4);
        coil.axis = model.direction(c, &fit.x).to_array().map(|x| round(x, 1e-6));
    }
    array
}

fn attitudes(plan: &Plan, model: &Model, fit: &Fit) -> Vec<AttitudeFound> {
    let freedom = (fit.freedom / model.attitudes() as f64).max(1.0);
    let found = |(k, attitude): (usize, &Attitude)| AttitudeFound {
        name: attitude.name.clone(),
        signal_to_noise: model.signal_to_noise(k),
        strain: fit.misfit.get(k).map_or(0.0, |m| (m / freedom).sqrt()),
    };
    plan.attitude.iter().enumerate().map(found).collect()
}

/// To the nearest multiple, so that files stay readable.
fn round(x: f64, step: f64) -> f64 {
    let per_unit = step.recip().round();
    (x * per_unit).round() / per_unit
}
