//! What legs are made of.

use std::f64::consts::TAU;

use glam::DVec2;

/// One simple movement; a leg is a few of them.
#[derive(Debug, Clone, Copy)]
pub enum Motion {
    /// Turn to a bearing.
    Face(f64),
    /// Go straight to a point at a pace.
    Go { goal: DVec2, pace: f64 },
    /// Walk straight on until the cue gives a mark and a little further, at most so far; if there
    /// is none, try again.
    Onward { max_m: f64, tries: u8 },
    /// Look again where the source may be, and go there.
    Again { length_m: f64, tries: u8 },
    /// Walk on as the cue says, at most so far.
    Follow { max_m: f64 },
    /// Go to the mark, then look again whether it has moved, so many times.
    Approach { corrections: u8 },
    /// Turn once around in so many seconds.
    Spin { seconds: f64 },
    /// Pitch the mast.
    Pitch(f64),
    /// Bring the lower node to a height above ground.
    Height(f64),
    /// Keep still.
    Hold { seconds: f64 },
}

/// Bearing of a direction in plan, radians clockwise from north.
pub fn bearing(way: DVec2) -> f64 {
    way.x.atan2(way.y)
}

/// The short way round from one bearing to another, radians, positive clockwise.
pub fn turn_between(from: f64, to: f64) -> f64 {
    let turn = (to - from).rem_euclid(TAU);
    if turn > TAU * 0.5 { turn - TAU } else { turn }
}
