//! What a run that was joined amounts to.

use serde::Serialize;

use super::plan::Plan;
use super::profile::Profile;
use crate::book::{Estimate, Measured};
use crate::job::EntryId;

/// A run joined.
#[derive(Debug, Clone, Serialize)]
pub struct Joined {
    /// Its name.
    pub run: String,
    /// Length of its line, metres.
    pub length_m: f64,
    /// Where the ground was not levelled, depths stand for heights, as if it were level.
    pub ground_taken_level: bool,
    /// What the line passes, in order.
    pub stations: Vec<JoinedStation>,
    /// From each station to the next.
    pub segments: Vec<Segment>,
    /// Where the trouble is.
    pub trouble: Vec<Trouble>,
    /// What has to be looked at.
    pub flags: Vec<Flag>,
    #[serde(skip)]
    pub(super) plan: Plan,
    #[serde(skip)]
    pub(super) profile: Option<Profile>,
    #[serde(skip)]
    pub(super) grounds_m: Vec<f64>,
    /// The stations' own depths: smoothing may not make them any surer.
    #[serde(skip)]
    pub(super) own: Vec<Option<Estimate>>,
    #[serde(skip)]
    pub(super) wander: [f64; 2],
}

/// A station on the line.
#[derive(Debug, Clone, Serialize)]
pub struct JoinedStation {
    /// Its entry in the job.
    pub entry: EntryId,
    /// Its number.
    pub number: u32,
    /// Distance along the run, metres.
    pub chainage_m: f64,
    /// Where the line passes it.
    pub east_m: f64,
    /// Where the line passes it.
    pub north_m: f64,
    /// How far aside the pipe may be, 95 %, metres: the line's own uncertainty, and the mark's distance from it.
    pub aside95_m: f64,
    /// How far the station's own mark is from the line, metres.
    pub mark_off_m: f64,
    /// By how much the line turns there where it bends, degrees, to the right positive.
    pub bend_deg: Option<f64>,
    /// Depth to source on the smoothed profile, if there is one.
    pub depth_m: Option<Measured>,
}

/// From a station to the next.
#[derive(Debug, Clone, Serialize)]
pub struct Segment {
    /// Number of the first station.
    pub from: u32,
    /// Number of the second.
    pub to: u32,
    /// Length in plan, metres.
    pub length_m: f64,
    /// Fall towards the higher number, metres for a metre, of the stations' own depths and not of the smoothed line.
    pub fall: Option<Measured>,
    /// It rises where the run should fall, by more than the uncertainty of the two depths.
    pub uphill: bool,
    /// Nothing may be said of what lies between: a station was refused or left out there.
    pub gap: bool,
    /// Whether a figure of either end is in doubt.
    pub doubt: bool,
    /// How much longer the camera's cable is than the line, metres.
    pub cable_spare_m: Option<Measured>,
}

/// Where the trouble is.
#[derive(Debug, Clone, Serialize)]
pub struct Trouble {
    /// How that is known.
    pub by: &'static str,
    /// Stations that it is between, or at.
    pub between: [u32; 2],
    /// Distance along the run, metres, with its 95 % range.
    pub chainage_m: Estimate,
    /// Where it is.
    pub east_m: f64,
    /// Where it is.
    pub north_m: f64,
    /// How far aside of the line it may be, 95 %, metres.
    pub aside95_m: f64,
    /// Depth to source, metres, with its 95 % range.
    pub depth_m: Option<Estimate>,
}

/// Something that has to be looked at.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Flag {
    /// For machines.
    pub code: &'static str,
    /// In words, with what to do.
    pub sentence: String,
}

/// A point to stake out.
#[derive(Debug, Clone, Serialize)]
pub struct Stake {
    /// What it is.
    pub what: String,
    /// Distance along the run, metres.
    pub chainage_m: f64,
    /// Where it is.
    pub east_m: f64,
    /// Where it is.
    pub north_m: f64,
    /// How far aside the pipe may be, 95 %, metres.
    pub aside95_m: f64,
    /// Shallow end of the depth's 95 % range, metres.
    pub depth_low95_m: Option<f64>,
    /// Deep end of it.
    pub depth_high95_m: Option<f64>,
}
