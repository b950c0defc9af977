//! Whether the mast walks, is raised or lowered, or stands.

use glam::{Vec2, Vec3};

use crate::array::Glimpse;

/// Outputs over which movement is judged: one second, in two halves.
const SPAN: usize = 10;
/// Slower than this is standing, metres per second.
const STANDING_M_PER_S: f32 = 0.15;
/// and what positions seem to move on top of that, as a share of their sigma in a second: wandering within 20 s they
/// show 0.45 of it (an Ornstein-Uhlenbeck process over half a second).
const WANDERING_PER_S: f32 = 0.6;
/// Wandering within 5 s they show three times that. A field that changes by less than this share in half a second, and
/// by what noise may do, tells that the mast stands all the same: over a source 6 m down walking shows 0.14.
const WANDERING_FAST_PER_S: f32 = 2.5;
const STANDING_SHARE: f32 = 0.03;
const STANDING_SIGMAS: f32 = 3.0;
/// Without positions: a field that changes by less than this share per second is seen by a standing mast.
const STEADY_SHARE: f32 = 0.15;

/// Rising or sinking more slowly than this is standing, metres per second.
const LEVEL_M_PER_S: f32 = 0.02;

/// How the mast moves.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Gait {
    /// Across the ground.
    Walks,
    /// Up or down in one place.
    Shifts,
    /// Not at all.
    Stands,
}

/// The last second of positions, or of fields where there are no positions.
#[derive(Debug, Clone, Default)]
pub struct Motion {
    places: [Vec3; SPAN],
    fields: [Vec3; SPAN],
    count: usize,
    with_places: usize,
}

impl Motion {
    /// Take in a glimpse; how the mast moves.
    pub fn push(&mut self, glimpse: &Glimpse, hop_s: f32) -> Gait {
        let slot = self.count % SPAN;
        self.fields[slot] = glimpse.lower().field_t * 1e9;
        self.with_places = match glimpse.mast.position {
            Some(position) => {
                self.places[slot] = position.enu_m;
                (self.with_places + 1).min(SPAN)
            }
            None => 0,
        };
        // Counting on from 2 SPAN as from SPAN keeps the ring's place and never overflows.
        self.count = if self.count + 1 == 2 * SPAN { SPAN } else { self.count + 1 };
        if self.count < SPAN {
            return Gait::Walks;
        }
        let half_s = 0.5 * SPAN as f32 * hop_s;
        if self.with_places == SPAN {
            let (earlier, later) = self.halves(&self.places);
            let moved = later - earlier;
            let noise_nt = STANDING_SIGMAS * glimpse.lower().sigma_t * 1e9;
            let stands = self.field_stands(STANDING_SHARE, noise_nt);
            let wandering_per_s = if stands { WANDERING_FAST_PER_S } else { WANDERING_PER_S };
            let wandering_m_per_s = glimpse.mast.position.map_or(0.0, |p| wandering_per_s * p.sigma_m);
            let still_m = (STANDING_M_PER_S + wandering_m_per_s) * half_s;
            if moved.truncate().length_squared() > still_m * still_m {
                Gait::Walks
            } else if moved.z.abs() > LEVEL_M_PER_S * half_s {
                Gait::Shifts
            } else {
                Gait::Stands
            }
        } else if self.field_stands(STEADY_SHARE * half_s, 0.0) {
            Gait::Stands
        } else {
            Gait::Walks
        }
    }

    /// Whether the field changes in half a second by less than a share of itself and what noise may do.
    fn field_stands(&self, share: f32, noise_nt: f32) -> bool {
        let (earlier, later) = self.halves(&self.fields);
        (later - earlier).length_squared() < share * share * later.length_squared() + noise_nt * noise_nt
    }

    /// Mean displacement over half a second, horizontally; `None` without positions.
    pub fn velocity(&self) -> Option<Vec2> {
        (self.with_places == SPAN).then(|| {
            let (earlier, later) = self.halves(&self.places);
            (later - earlier).truncate()
        })
    }

    fn halves(&self, ring: &[Vec3; SPAN]) -> (Vec3, Vec3) {
        let (mut earlier, mut later) = (Vec3::ZERO, Vec3::ZERO);
        for age in 0..SPAN {
            let value = ring[(self.count + age) % SPAN];
            if age < SPAN / 2 { earlier += value } else { later += value }
        }
        let half = 2.0 / SPAN as f32;
        (earlier * half, later * half)
    }
}
