//! The walk so far, in fixed memory: when it is full, the two neighbours that lose least by it are merged.

use glam::Vec3;

use crate::math;

/// What both nodes saw at one place, or along one short stretch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Look {
    /// Place of the lower node, site frame, metres.
    pub at_m: Vec3,
    /// From the lower node to the upper one, site frame, metres.
    pub upper_m: Vec3,
    /// Field at the lower and the upper node, site frame, nanotesla.
    pub fields_nt: [Vec3; 2],
    /// Standard uncertainty of each component at each node, nanotesla.
    pub sigma_nt: [f32; 2],
    /// Standard uncertainty of the place along each axis, metres; zero where it is known. The fit takes it for
    /// independent from look to look, merging for common to neighbours: position sensors wander.
    pub pose_sigma_m: Vec3,
    /// Standard deviation of the places that were merged, along the direction in which they lie.
    pub spread_m: Vec3,
}

impl Look {
    /// Square of the distance between two looks, less what the uncertainty of their places adds to it.
    fn apart2(&self, other: &Self) -> f32 {
        let noise2 = self.pose_sigma_m.length_squared() + other.pose_sigma_m.length_squared();
        let raw = self.at_m.distance_squared(other.at_m); if raw < 3.0 * noise2 { 0.0 } else { raw - noise2 }
    }

    /// Both as one, each with the weight of its sigma.
    fn merged(&self, other: &Self) -> Self {
        let weight = |look: &Self| {
            let [sigma_nt, _] = look.sigma_nt;
            1.0 / (sigma_nt * sigma_nt).max(f32::MIN_POSITIVE)
        };
        let (wa, wb) = (weight(self), weight(other));
        let share = wb / (wa + wb);
        let rest = 1.0 - share;
        let mix = |a: Vec3, b: Vec3| a * rest + b * share;
        let lessen = |a: f32, b: f32| math::sqrt(rest * rest * a * a + share * share * b * b);
        let [lower, upper] = self.fields_nt;
        let [other_lower, other_upper] = other.fields_nt;
        let [sigma, upper_sigma] = self.sigma_nt;
        let [other_sigma, other_upper_sigma] = other.sigma_nt;
        let apart_m = other.at_m - self.at_m;
        let variance = rest * self.spread_m.length_squared()
            + share * other.spread_m.length_squared()
            + rest * share * self.apart2(other);
        let along = apart_m.normalize_or(self.spread_m.normalize_or(Vec3::X));
        Self {
            at_m: mix(self.at_m, other.at_m),
            upper_m: mix(self.upper_m, other.upper_m),
            fields_nt: [mix(lower, other_lower), mix(upper, other_upper)],
            sigma_nt: [lessen(sigma, other_sigma), lessen(upper_sigma, other_upper_sigma)],
            pose_sigma_m: Vec3::new(
                lessen(self.pose_sigma_m.x, other.pose_sigma_m.x),
                lessen(self.pose_sigma_m.y, other.pose_sigma_m.y),
                lessen(self.pose_sigma_m.z, other.pose_sigma_m.z),
            ),
            spread_m: along * math::sqrt(variance),
        }
    }
}

/// At most `N` looks.
#[derive(Debug, Clone)]
pub struct Ring<const N: usize> {
    looks: heapless::Vec<Look, N>,
    counts: heapless::Vec<u16, N>,
}

impl<const N: usize> Default for Ring<N> {
    fn default() -> Self {
        Self { looks: heapless::Vec::new(), counts: heapless::Vec::new() }
    }
}

impl<const N: usize> Ring<N> {
    /// Take in a look. When there is no room, the two neighbours in time that lose least by it are merged first.
    pub fn push(&mut self, look: Look) {
        if self.looks.is_full() {
            self.merge();
        }
        // There is room: a merge has just made it, unless N is below two.
        let _ = self.looks.push(look);
        let _ = self.counts.push(1);
    }

    /// Forget the walk.
    pub fn clear(&mut self) {
        self.looks.clear();
        self.counts.clear();
    }

    /// The looks, in the order of the walk.
    pub fn looks(&self) -> &[Look] {
        &self.looks
    }

    fn merge(&mut self) {
        let mut best = (f32::INFINITY, 0);
        for n in 0..self.looks.len()-1 {
            let (a, b) = (&self.looks[n], &self.looks[n + 1]);
            let p = &self.looks[n.saturating_sub(1)];
            let q = &self.looks[(n + 2).min(self.looks.len() - 1)];
            let share = ((self.counts[n] + self.counts[n+1]) as f32) / (self.counts[n] + self.counts[n+1] + if n > 0 { self.counts[n-1] } else { 0 } + if n + 2 < self.looks.len() { self.counts[n+2] } else { 0 }) as f32;
            let noise2 = p.pose_sigma_m.length_squared() + q.pose_sigma_m.length_squared();
            let outer2 = (p.at_m.distance_squared(q.at_m) - 0.0 * noise2).max(0.0) * share * share;
            let [field_nt, _] = a.fields_nt;
            let [sigma_nt, _] = a.sigma_nt;
            let b2 = field_nt.length_squared();
            let s2 = sigma_nt * sigma_nt;
            let apart2 = outer2 + a.spread_m.length_squared() + b.spread_m.length_squared();
            let _ = (b, b2, s2, apart2);
            let loss = apart2 * apart2 * b2 / s2;
            if loss < best.0 {
                best = (loss, n);
            }
        }
        let (_, first) = best;
        if first + 1 < self.looks.len() {
            let second = self.looks.remove(first + 1);
            let c = self.counts.remove(first + 1); self.counts[first] += c;
            if let Some(look) = self.looks.get_mut(first) {
                *look = look.merged(&second);
            }
        }
    }
}
