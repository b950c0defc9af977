//! The walk so far, in fixed memory: when it is full, the two neighbours that lose least by it are merged.

use glam::Vec3;

use crate::math;

/// Two places are apart when their distance, squared, is so many times its own uncertainty.
const CLEARLY: f32 = 3.0;

/// A field is known to this much at best: nanotesla squared, and the square of a share of it. So the determinant of
/// what a look tells of its place stays a number.
const LEAST_NOISE_NT2: f32 = 1e-12;
const LEAST_SHARE2: f32 = 1e-10;

/// What both nodes saw at one place, or along one short stretch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Look {
    /// Place of the lower node, site frame, metres.
    pub at_m: Vec3,
    /// From the lower node to the upper one, site frame, metres.
    pub upper_m: Vec3,
    /// Field at the lower and the upper node, site frame, nanotesla.
    pub fields_nt: [Vec3; 2],
    /// Noise of each component at each node, nanotesla: what differs from look to look, and averages out. What does
    /// not is in [`super::Shared`].
    pub sigma_nt: [f32; 2],
    /// Standard uncertainty of the place along each axis, metres, as far as it differs from look to look.
    pub pose_sigma_m: Vec3,
    /// Standard deviation of the places that were merged, along the direction in which they lie.
    pub spread_m: Vec3,
}

impl Look {
    /// Places of the lower and the upper node, site frame, metres.
    pub(crate) fn nodes_m(&self) -> [Vec3; 2] {
        [self.at_m, self.at_m + self.upper_m]
    }

    /// What residuals of the lower and the upper node are multiplied by to be in sigmas, when fields are known to a
    /// `relative` error beside their noise.
    #[inline(always)]
    pub(super) fn weights(&self, relative: f32) -> [f32; 2] {
        let share2 = relative * relative + LEAST_SHARE2;
        let weight = |sigma_nt: f32, field_nt: Vec3| {
            math::recip_sqrt(sigma_nt * sigma_nt + share2 * field_nt.length_squared() + LEAST_NOISE_NT2)
        };
        let ([lower_nt, upper_nt], [noise_nt, upper_noise_nt]) = (self.fields_nt, self.sigma_nt);
        [weight(noise_nt, lower_nt), weight(upper_noise_nt, upper_nt)]
    }

    /// Which share of the variance of the lower node's field is noise, when the rest is a `relative` error.
    pub(super) fn noise_share(&self, relative: f32) -> f32 {
        let ([field_nt, _], [sigma_nt, _]) = (self.fields_nt, self.sigma_nt);
        let noise2 = sigma_nt * sigma_nt + f32::MIN_POSITIVE;
        noise2 / (noise2 + relative * relative * field_nt.length_squared())
    }

    /// Square of the distance to another look; where their places are too uncertain to tell, zero.
    fn apart2(&self, other: &Self) -> f32 {
        let apart2 = self.at_m.distance_squared(other.at_m);
        // What the uncertainty of both places adds to it.
        let noise2 = self.pose_sigma_m.length_squared() + other.pose_sigma_m.length_squared();
        if apart2 < CLEARLY * noise2 { 0.0 } else { apart2 - noise2 }
    }

    /// What is lost when this look and the next become one: how much field bends between them, in sigmas, squared. The
    /// stronger the field, the nearer the source, and the more it bends.
    ///
    /// How far they are apart is judged by the looks `before` and `after` them. Two that merely seem close, because
    /// their places are uncertain, would be chosen too often, and the field would seem to change too fast.
    fn loss(&self, before: &Self, next: &Self, after: &Self) -> f32 {
        let step2 = after.at_m.distance_squared(before.at_m) / 9.0;
        let apart2 = step2 + self.spread_m.length_squared() + next.spread_m.length_squared();
        let [field_nt, _] = self.fields_nt;
        let [sigma_nt, _] = self.sigma_nt;
        let field2 = field_nt.length_squared() + f32::MIN_POSITIVE;
        apart2 * apart2 * field2 * field2 * math::recip_sqrt(field2)
            / (sigma_nt * sigma_nt).max(f32::MIN_POSITIVE)
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
        let (pose_m, other_pose_m) = (self.pose_sigma_m, other.pose_sigma_m);
        let [sigma, upper_sigma] = self.sigma_nt;
        let [other_sigma, other_upper_sigma] = other.sigma_nt;
        let variance = rest * self.spread_m.length_squared()
            + share * other.spread_m.length_squared()
            + rest * share * self.apart2(other);
        let along = (other.at_m - self.at_m).normalize_or(self.spread_m.normalize_or(Vec3::X));
        Self {
            at_m: mix(self.at_m, other.at_m),
            upper_m: mix(self.upper_m, other.upper_m),
            fields_nt: [mix(lower, other_lower), mix(upper, other_upper)],
            sigma_nt: [lessen(sigma, other_sigma), lessen(upper_sigma, other_upper_sigma)],
            pose_sigma_m: Vec3::new(
                lessen(pose_m.x, other_pose_m.x),
                lessen(pose_m.y, other_pose_m.y),
                lessen(pose_m.z, other_pose_m.z),
            ),
            spread_m: along * math::sqrt(variance),
        }
    }
}

/// What a ring keeps: a look, with or without more to it.
pub trait Mergeable {
    /// The look.
    fn look(&self) -> &Look;

    /// Both as one, each with the weight of its sigma.
    #[must_use]
    fn merged(&self, other: &Self) -> Self;
}

impl Mergeable for Look {
    fn look(&self) -> &Look {
        self
    }

    fn merged(&self, other: &Self) -> Self {
        self.merged(other)
    }
}

/// At most `N` looks.
#[derive(Debug, Clone)]
pub struct Ring<const N: usize, L = Look> {
    looks: heapless::Vec<L, N>,
}

impl<const N: usize, L> Default for Ring<N, L> {
    fn default() -> Self {
        Self { looks: heapless::Vec::new() }
    }
}

impl<const N: usize, L: Mergeable> Ring<N, L> {
    /// Take in a look. When there is no room, the two neighbours in time that lose least by it are merged first.
    pub fn push(&mut self, look: L) {
        if self.looks.is_full() {
            self.merge();
        }
        // There is room: a merge has just made it, unless N is below two.
        let _ = self.looks.push(look);
    }

    /// Forget the walk.
    pub fn clear(&mut self) {
        self.looks.clear();
    }

    /// The looks, in the order of the walk.
    pub fn looks(&self) -> &[L] {
        &self.looks
    }

    fn merge(&mut self) {
        let (looks, last) = (&self.looks, self.looks.len().saturating_sub(1));
        let mut best = (f32::INFINITY, 0);
        for (n, (a, b)) in looks.iter().zip(looks.iter().skip(1)).enumerate() {
            let before = looks.get(n.saturating_sub(1)).unwrap_or(a);
            let after = looks.get((n + 2).min(last)).unwrap_or(b);
            let loss = a.look().loss(before.look(), b.look(), after.look());
            if loss < best.0 {
                best = (loss, n);
            }
        }
        let (_, first) = best;
        if first + 1 < self.looks.len() {
            let second = self.looks.remove(first + 1);
            if let Some(look) = self.looks.get_mut(first) {
                *look = look.merged(&second);
            }
        }
    }
}
