//! Whether the mast moves or stands.

use glam::Vec3;

use crate::array::Glimpse;

/// Outputs over which movement is judged: one second, in two halves.
const SPAN: usize = 10;
/// Slower than this is standing, metres per second.
const STANDING_M_PER_S: f32 = 0.15;
/// Without positions: a field that changes by less than this share per second is seen by a standing mast.
const STEADY_SHARE: f32 = 0.15;

/// The last second of positions, or of fields where there are no positions.
#[derive(Debug, Clone, Default)]
pub struct Motion {
    places: [Vec3; SPAN],
    fields: [Vec3; SPAN],
    count: usize,
    with_places: usize,
}

impl Motion {
    /// Take in a glimpse; whether the mast stands.
    pub fn push(&mut self, glimpse: &Glimpse, hop_s: f32) -> bool {
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
            return false;
        }
        let half_s = 0.5 * SPAN as f32 * hop_s;
        if self.with_places == SPAN {
            let (earlier, later) = self.halves(&self.places);
            let mut moved = later - earlier;
            // Lifting the mast is not walking.
            moved.z = 0.0;
            moved.length_squared() < (STANDING_M_PER_S * half_s) * (STANDING_M_PER_S * half_s)
        } else {
            let (earlier, later) = self.halves(&self.fields);
            let share = STEADY_SHARE * half_s;
            (later - earlier).length_squared() < share * share * later.length_squared()
        }
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
