//! What a run is joined from.

use super::plan::PlanStation;
use crate::book::Estimate;
use crate::job::{EntryId, StationEntry};

/// Half of a 95 % range in standard uncertainties.
pub const SIGMAS95: f64 = 1.96;

/// A station that the line passes.
pub struct Used<'a> {
    pub entry: EntryId,
    pub station: &'a StationEntry,
    pub plan: PlanStation,
}

/// Standard uncertainty of a depth: its own, or that of its range where doubt has widened it.
pub fn depth_sigma(depth: &Estimate) -> f64 {
    depth.sigma.max((depth.high95 - depth.low95) / (2.0 * SIGMAS95))
}
