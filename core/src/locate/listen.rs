//! Is the tone there?

use glam::Vec3;

use crate::array::Glimpse;
use crate::tone::HOPS;

/// The tone is heard at this ratio to the noise, and lost below the second, decibels.
const HEARD_DB: f32 = 9.0;
const LOST_DB: f32 = 6.0;
/// For so many outputs in a row.
const HEARD_STREAK: u8 = 8;
const LOST_STREAK: u8 = 15;
/// Fields one window apart share no sample: a tone points the same way in both, noise does not.
const STEADY_COSINE: f32 = 0.7;
/// A tone's components move in step; noise has as much in quadrature as in phase.
const IN_STEP: f32 = 0.7;

/// Whether the tone is heard, decided with hysteresis.
#[derive(Debug, Clone, Default)]
pub struct Listener {
    heard: bool,
    streak: u8,
    past: [Vec3; HOPS],
    next: usize,
}

impl Listener {
    pub fn heard(&self) -> bool {
        self.heard
    }

    pub fn push(&mut self, glimpse: &Glimpse) -> bool {
        let field = glimpse.lower().field_t * 1e9;
        let before = core::mem::replace(&mut self.past[self.next % HOPS], field);
        self.next = (self.next + 1) % HOPS;
        let otherwise = if self.heard {
            glimpse.snr_db < LOST_DB
        } else {
            let aligned = field.dot(before);
            let steady = aligned > 0.0
                && aligned * aligned
                    > STEADY_COSINE * STEADY_COSINE * field.length_squared() * before.length_squared();
            glimpse.snr_db > HEARD_DB && steady && glimpse.ellipticity < IN_STEP
        };
        self.streak = if otherwise { self.streak + 1 } else { 0 };
        let enough = if self.heard { LOST_STREAK } else { HEARD_STREAK };
        if self.streak >= enough {
            self.heard = !self.heard;
            self.streak = 0;
        }
        self.heard
    }
}
