//! A run of numbered stations and everything known about each.
//!
//! These are the host's own records, made to be kept in a [job](crate::job) and exchanged. [`Run::check`] tells whether
//! the figures in them can be true at all.

mod check;
mod file;
mod pipe;
mod text;

pub use check::Fault;
pub use file::{BookError, write_whole};
pub use pipe::{Cover, Pipe, ToleranceZone};
pub use text::describe;

use serde::{Deserialize, Serialize};

/// What is said wherever a depth is.
pub const CAUTION: &str = "\
A located depth is no permission to dig. Follow local codes and licensed practice, have all utilities
notified and marked, and expose with safe means: depth and place may be wrong, other lines may be near.
Nothing heard does not mean nothing there: one tone was listened for, that of one beacon.
";

/// The chain of stations along one pipe.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Run {
    /// Short name of the job.
    pub title: String,
    /// What was looked for, in a sentence or two.
    pub description: String,
    /// What the crew should know about the place: access, datum of the positions, surface.
    pub site_note: String,
    /// When it was recorded, as free text; empty when unknown.
    pub recorded: String,
    /// Who located, and with what.
    pub made: Provenance,
    /// True when the stations come from the simulator.
    pub simulated: bool,
    /// What is known of the pipe.
    pub pipe: Pipe,
    /// How the tolerance zone is drawn.
    pub tolerance_zone: ToleranceZone,
    /// The stations, in order along the run.
    pub stations: Vec<Station>,
}

impl Run {
    /// Whether any part of this run was simulated. A station that knows its truth can only be a simulated
    /// one.
    pub fn is_simulated(&self) -> bool {
        self.simulated || self.stations.iter().any(|s| s.truth.is_some())
    }
}

/// Who located, and with what. What is not known is left empty.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Provenance {
    /// Person or program.
    pub by: String,
    /// The instrument, with what tells it from others.
    pub instrument: String,
    /// When and how it was last calibrated.
    pub calibrated: String,
}

/// A numbered fix that was marked on the ground, or the place where one was tried and refused.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Station {
    /// Number painted on the ground.
    pub number: u32,
    /// Name, if it has one.
    pub name: String,
    /// Where it is; for a refused station, where the locate was tried.
    pub position: Option<SitePosition>,
    /// Direction of the pipe in plan, degrees clockwise from north.
    pub lay_deg: Option<Measured>,
    /// Depth to source as computed. Read it through [`Station::stated_depth_m`].
    pub depth_to_source_m: Option<Estimate>,
    /// The shallow bound: how near the surface the source has to be reckoned with, metres. That the ground above it is
    /// free is promised by nothing.
    pub shallow_bound_m: Option<f64>,
    /// Each method's own answer.
    pub methods: Vec<MethodResult>,
    /// What may be made of the figures.
    pub verdict: Verdict,
    /// Why the verdict is not [`Verdict::Agree`].
    pub reasons: Vec<Reason>,
    /// Checks that were made.
    pub checks: Vec<Check>,
    /// The tone that was heard.
    pub tone: Option<Tone>,
    /// True where the trouble that was looked for lies.
    pub trouble_spot: bool,
    /// Name of the capture behind this station; empty when none was kept.
    pub capture: String,
    /// Where the source really was: only the simulator knows.
    pub truth: Option<Truth>,
}

impl Station {
    /// The depth that may be shown to anyone: none at all for a refused station.
    pub fn stated_depth_m(&self) -> Option<Estimate> {
        self.depth_to_source_m.filter(|_| self.is_located())
    }

    /// The shallow bound that may be shown: none for a refused station.
    pub fn stated_shallow_bound_m(&self) -> Option<f64> {
        self.shallow_bound_m.filter(|_| self.is_located())
    }

    /// Whether the station's figures may be used, be it with doubt.
    pub fn is_located(&self) -> bool {
        self.verdict != Verdict::Refuse
    }
}

/// A horizontal position in the site frame.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SitePosition {
    /// Metres east of the site's origin.
    pub east_m: f64,
    /// Metres north of the site's origin.
    pub north_m: f64,
    /// Standard uncertainty of each coordinate, metres.
    pub sigma_m: f64,
}

impl SitePosition {
    /// Radius of the circle that holds the true place with 95 % probability.
    ///
    /// Two independent coordinates of equal standard uncertainty put the distance on a Rayleigh
    /// distribution, whose 95 % point is sqrt(-2 ln 0.05) = 2.448 times that uncertainty.
    pub fn radius95_m(&self) -> f64 {
        (-2.0 * 0.05_f64.ln()).sqrt() * self.sigma_m
    }
}

/// A figure with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Measured {
    /// Best estimate.
    pub value: f64,
    /// Standard uncertainty.
    pub sigma: f64,
}

/// A figure with its standard uncertainty and 95 % range, which need not be symmetric.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Estimate {
    /// Best estimate.
    pub value: f64,
    /// Standard uncertainty.
    pub sigma: f64,
    /// Lower end of the 95 % range.
    pub low95: f64,
    /// Upper end of the 95 % range.
    pub high95: f64,
}

impl Estimate {
    /// Of a depth or another size: its 95 % range ends at nothing.
    pub fn of_size(value: f64, sigma: f64) -> Self {
        Self { value, sigma, low95: (value - 1.96 * sigma).max(0.0), high95: value + 1.96 * sigma }
    }
}

/// What one method says of the depth to source.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct MethodResult {
    /// Name of the method.
    pub method: String,
    /// Its answer, metres.
    pub estimate: Option<Estimate>,
    /// Why it gave none.
    pub refused: Option<String>,
}

/// What may be made of a station's figures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    /// Independent methods agree and every check passed.
    Agree,
    /// Methods disagree or a check failed.
    Doubt,
    /// No figure may be given. What was never judged is refused.
    #[default]
    Refuse,
}

impl Verdict {
    /// The verdict as it is printed.
    pub fn word(self) -> &'static str {
        match self {
            Self::Agree => "Agree",
            Self::Doubt => "Doubt",
            Self::Refuse => "Refuse",
        }
    }
}

/// Why a verdict is not [`Verdict::Agree`].
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Reason {
    /// Stable code for machines.
    pub code: String,
    /// The reason in words.
    pub sentence: String,
    /// What to do next.
    pub remedy: String,
}

/// One check behind a verdict.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Check {
    /// What was checked.
    pub name: String,
    /// Whether it held.
    pub passed: bool,
    /// The figures behind it.
    pub detail: String,
}

/// The tone as it was heard.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Tone {
    /// Frequency that was set, hertz.
    pub nominal_hz: f64,
    /// How far off the carrier really was, hertz.
    pub offset_hz: f64,
    /// Signal-to-noise ratio, dB.
    pub snr_db: f64,
}

/// Where a simulated source really was.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Truth {
    /// Metres east of the site's origin.
    pub east_m: f64,
    /// Metres north of the site's origin.
    pub north_m: f64,
    /// Depth to source, metres.
    pub depth_to_source_m: f64,
}
