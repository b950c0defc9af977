//! What has to be looked at.

use super::joined::{Flag, Joined, Segment};
use super::used::SIGMAS95;
use crate::job::{EntryId, Falls, RunCard, StationEntry};

impl Flag {
    pub(super) fn new(code: &'static str, sentence: String) -> Self {
        Self { code, sentence }
    }
}

/// Numbers that are not there, or there twice.
pub fn missing(all: &[(EntryId, &StationEntry)]) -> Vec<Flag> {
    let mut flags = Vec::new();
    for pair in all.windows(2) {
        let [(_, a), (_, b)] = pair else { continue };
        let (a, b) = (a.found.number, b.found.number);
        if a == b {
            flags.push(Flag::new(
                "number-twice",
                format!("Station {a} is there twice. Withdraw or renumber one."),
            ));
        } else if b - a > 1 {
            let which = if b - a == 2 {
                format!("Station {} is", a + 1)
            } else {
                format!("Stations {} to {} are", a + 1, b - 1)
            };
            flags.push(Flag::new(
                "station-missing",
                format!("{which} missing. Import or withdraw, or renumber what follows."),
            ));
        }
    }
    flags
}

impl Joined {
    /// What the segments say.
    pub(super) fn flag_segments(&mut self, card: &RunCard) {
        for s in &self.segments {
            let Segment { from, to, .. } = s;
            if let (true, Some(fall)) = (s.uphill, s.fall) {
                let ground = if self.ground_taken_level { ", if the ground is level" } else { "" };
                self.flags.push(Flag::new(
                    "uphill",
                    format!(
                        "From station {from} to {to} the pipe rises by {:.1} % ± {:.1} % where it should fall{ground}. \
                         Level the ground, locate again, and look with the camera.",
                        100.0 * fall.value.abs(),
                        100.0 * SIGMAS95 * fall.sigma
                    ),
                ));
            }
            // One-sided, 5 %.
            if let Some(spare) = s.cable_spare_m.filter(|m| m.value < -1.645 * m.sigma) {
                self.flags.push(Flag::new(
                    "cable-too-short",
                    format!(
                        "From station {from} to {to} the line is {:.2} m longer than the cable that lay in it, which \
                         cannot be: the counter slipped, or a station is misplaced or misnumbered.",
                        -spare.value
                    ),
                ));
            }
        }
        let falls = self.segments.iter().filter(|s| s.fall.is_some()).count();
        if card.falls == Falls::Unknown && falls > 0 {
            self.flags.push(Flag::new(
                "fall-unknown",
                "Nobody said which way the run falls, so what rises is not flagged. Set `falls` of the run.".to_owned(),
            ));
        }
        if self.ground_taken_level && falls > 0 {
            self.flags.push(Flag::new(
                "ground-not-levelled",
                "The ground was not levelled at every station: slopes are those of the depths, as if it were level."
                    .to_owned(),
            ));
        }
    }
}
