//! One fix of a run: a row of the table.

use serde::{Deserialize, Serialize};

/// What a current without a sigma is taken to be worth, as a share of it.
const DEFAULT_SIGMA: f64 = 0.05;
/// A current below so many sigmas is none.
const HEARD: f64 = 3.0;

/// One fix of a line, as a row of the table says it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Fix {
    /// Its name, for people.
    #[serde(default)]
    pub name: String,
    /// Which run it lies on; the first that is named is the main one.
    #[serde(default)]
    pub run: String,
    /// Distance along that run, metres, away from the transmitter.
    pub at_m: f64,
    /// Current, milliamperes; peak or rms, but the same in all rows.
    pub current_ma: f64,
    /// Its standard uncertainty.
    #[serde(default)]
    pub sigma_ma: Option<f64>,
    /// Its phase against a reference, degrees.
    #[serde(default)]
    pub phase_deg: Option<f64>,
    /// Standard uncertainty of that.
    #[serde(default)]
    pub phase_sigma_deg: Option<f64>,
    /// Depth to the middle, metres.
    #[serde(default)]
    pub depth_m: Option<f64>,
    /// Standard uncertainty of that.
    #[serde(default)]
    pub depth_sigma_m: Option<f64>,
    /// For a branch: where on the main run it leaves, metres.
    #[serde(default)]
    pub leaves_at_m: Option<f64>,
}

impl Fix {
    pub(super) fn sigma_ma(&self) -> f64 {
        self.sigma_ma.unwrap_or(DEFAULT_SIGMA * self.current_ma).max(1e-6 * self.current_ma)
    }

    pub(super) fn is_heard(&self) -> bool {
        self.current_ma > HEARD * self.sigma_ma()
    }

    pub(super) fn title(&self) -> String {
        if self.name.is_empty() { format!("{} m", self.at_m) } else { self.name.clone() }
    }
}
