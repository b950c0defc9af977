//! The first bearing: signal against heading, while the mast is turned full circle.
//!
//! A level mast shows two equal directions, half a turn apart. Pitched 45 degrees forward and down, its
//! forward coil adds the vertical field on one side and subtracts it on the other: one direction is left.
//! When the gain is too high the rail flattens everything, and no direction is left at all.

use core::f32::consts::{PI, TAU};

use glam::Vec3;

use crate::array::Glimpse;
use crate::math;

const BINS: usize = 24;
/// A sweep turns at least this far, radians, and faster than this, radians per output.
const FULL_CIRCLE_RAD: f32 = 0.9 * TAU;
const TURNING_RAD: f32 = 0.05;
/// Outputs without turning after which a sweep is given up.
const PATIENCE: u8 = 10;
/// The best direction must exceed the opposite one by this, decibels, to be the only one.
const ONE_DIRECTION_DB: f32 = 3.0;
/// and exceed the weakest by this, to be a direction at all.
const ANY_DIRECTION_DB: f32 = 3.0;

/// What a full turn says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Sweep {
    /// The source lies this way, a bearing clockwise from north in radians.
    OneBearing(f32),
    /// The signal is as strong this way as the opposite way: pitch the mast 45 degrees forward and repeat.
    TwoBearings(f32),
    /// The signal reaches full scale all around: take the gain down.
    HiddenByGain,
    /// The signal is the same all around.
    NoBearing,
}

/// A turn in progress.
#[derive(Debug, Clone, Default)]
pub struct Sweeper {
    level: [f32; BINS],
    clipped: u16,
    glimpses: u16,
    turned_rad: f32,
    last_heading_rad: Option<f32>,
    idle: u8,
}

impl Sweeper {
    /// Take in a glimpse; the result once the circle is closed.
    pub fn push(&mut self, glimpse: &Glimpse) -> Option<Sweep> {
        let heading_rad = glimpse.mast.heading_rad?;
        let last = self.last_heading_rad.replace(heading_rad).unwrap_or(heading_rad);
        let step = math::wrap_pi(heading_rad - last);
        if step.abs() < TURNING_RAD {
            self.idle = self.idle.saturating_add(1);
            if self.idle >= PATIENCE {
                *self = Self { last_heading_rad: self.last_heading_rad, idle: PATIENCE, ..Self::default() };
            }
            return None;
        }
        self.idle = 0;
        self.turned_rad += step;
        self.glimpses = self.glimpses.saturating_add(1);
        self.clipped = self.clipped.saturating_add(u16::from(glimpse.marks.clipped));
        let forward = glimpse.mast.tilt.unwrap_or_default().levelling() * Vec3::X;
        let level = glimpse.lower().field_t.dot(forward).abs();
        let bin = self.level.get_mut(bin(heading_rad))?;
        *bin = bin.max(level);
        if self.turned_rad.abs() < FULL_CIRCLE_RAD {
            return None;
        }
        let result = self.judge();
        *self = Self { last_heading_rad: self.last_heading_rad, ..Self::default() };
        Some(result)
    }

    fn judge(&self) -> Sweep {
        if 4 * self.clipped > self.glimpses {
            return Sweep::HiddenByGain;
        }
        let strongest = |best: (usize, f32), (n, &level): (usize, &f32)| {
            if level > best.1 { (n, level) } else { best }
        };
        let (best, level) = self.level.iter().enumerate().fold((0, 0.0), strongest);
        let at = |n: usize| self.level[n % BINS];
        let weakest = self.level.iter().copied().filter(|&l| l > 0.0).fold(level, f32::min);
        if math::db(level / weakest.max(f32::MIN_POSITIVE)) < ANY_DIRECTION_DB {
            return Sweep::NoBearing;
        }
        // The lobe's centre, from the strongest bin and its neighbours.
        let (before, after) = (at(best + BINS - 1), at(best + 1));
        let curve = before + after - 2.0 * level;
        let shift = if curve < 0.0 { (0.5 * (before - after) / curve).clamp(-0.5, 0.5) } else { 0.0 };
        let bearing_rad = math::wrap_pi((best as f32 + 0.5 + shift) * TAU / BINS as f32);
        let opposite = at(best + BINS / 2).max(f32::MIN_POSITIVE);
        if math::db(level / opposite) < ONE_DIRECTION_DB {
            Sweep::TwoBearings(bearing_rad)
        } else {
            Sweep::OneBearing(bearing_rad)
        }
    }
}

fn bin(heading_rad: f32) -> usize {
    let turns = (math::wrap_pi(heading_rad) + PI) / TAU + 0.5;
    (turns * BINS as f32) as usize % BINS
}
