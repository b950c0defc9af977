//! Which way to turn, and whether the signal grows.
//!
//! Far from a level sonde the direction `-sign(Bz) B_horizontal` always leads nearer: with the sonde's axis
//! along x, the observer at (x, y, d) and rho^2 = x^2 + y^2, its projection on the way to the source is
//! |x| (2 rho^2 - d^2) times something positive. That holds until rho = d / sqrt 2, where the nulls begin.

use glam::Vec3;

use crate::math;

/// Outputs over which the trend is taken: one second.
const SPAN: usize = 10;
/// The signal has to fall this far below its best before the source counts as passed, decibels.
const PASSED_DB: f32 = 3.0;
/// and this far before a lane that found no two nulls is given up.
const STRAYED_DB: f32 = 10.0;
/// A field this much steeper than flat is near a null of its horizontal part.
const STEEP: f32 = 3.0;
/// Least square of the horizontal over the vertical field for a bearing near the nulls.
const LEVEL_SHARE: f32 = 1.0 / 16.0;

/// Angle to turn to the right to face the source, radians; `None` where the field has no horizontal part.
pub fn turn_to_source(field_t: Vec3) -> Option<f32> {
    let toward = if field_t.z > 0.0 { -field_t } else { field_t };
    let flat = toward.x != 0.0 || toward.y != 0.0;
    flat.then(|| -math::atan2(toward.y, toward.x))
}

/// The turn near the nulls: outside them the bearing to the source, inside them the lay, whichever way is ahead.
/// None where the field stands so steeply that its horizontal part says little.
pub fn turn_near(field_t: Vec3) -> Option<f32> {
    let readable = field_t.truncate().length_squared() > LEVEL_SHARE * field_t.z * field_t.z;
    turn_to_source(field_t).filter(|_| readable).map(math::wrap_half_pi)
}

/// Whether the field stands steeply, as it does about the nulls.
pub fn is_steep(field_t: Vec3) -> bool {
    field_t.z * field_t.z > STEEP * STEEP * (field_t.x * field_t.x + field_t.y * field_t.y)
}

/// The course of the signal's level.
#[derive(Debug, Clone, Default)]
pub struct Homing {
    levels_db: [f32; SPAN],
    count: usize,
    best_db: Option<f32>,
}

impl Homing {
    /// Take in a level; the trend in decibels per second.
    pub fn push(&mut self, level_db: f32, hop_s: f32) -> f32 {
        let before = core::mem::replace(&mut self.levels_db[self.count % SPAN], level_db);
        let trend = if self.count < SPAN { 0.0 } else { (level_db - before) / (SPAN as f32 * hop_s) };
        // Counting on from 2 SPAN as from SPAN keeps the ring's place and never overflows.
        self.count = if self.count + 1 == 2 * SPAN { SPAN } else { self.count + 1 };
        self.best_db = Some(self.best_db.map_or(level_db, |best| best.max(level_db)));
        trend
    }

    /// Whether the signal has fallen clearly since its best.
    pub fn has_passed(&self, level_db: f32) -> bool {
        self.best_db.is_some_and(|best| level_db < best - PASSED_DB)
    }

    /// Whether the signal has fallen so far that the lane missed the source.
    pub fn has_strayed(&self, level_db: f32) -> bool {
        self.best_db.is_some_and(|best| level_db < best - STRAYED_DB)
    }

    /// Forget the best level: a new approach begins.
    pub fn restart(&mut self) {
        self.best_db = None;
    }
}
