//! The walk so far, in fixed memory: when it is full, the two neighbours that lose least by it are merged.

use glam::Vec3;

use crate::math;

/// Two places are apart when their distance, squared, is so many times its own uncertainty. Less, and two that only
/// seem far apart are taken for a stretch of the walk; more, and a near source is blurred.
const CLEARLY: f32 = 4.8;

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
    /// Which share of the variance of the lower node's field is noise, when the rest is a `relative` error.
    pub(super) fn noise_share(&self, relative: f32) -> f32 {
        let ([field_nt, _], [sigma_nt, _]) = (self.fields_nt, self.sigma_nt);
        let noise2 = sigma_nt * sigma_nt + f32::MIN_POSITIVE;
        noise2 / (noise2 + relative * relative * field_nt.length_squared())
    }

    /// The way to another look, as long as it is likely to be; `None` where both places are too uncertain to tell.
    fn way_m(&self, other: &Self) -> Option<Vec3> {
        let way_m = other.at_m - self.at_m;
        let apart2 = way_m.length_squared();
        // What the uncertainty of both places adds to it.
        let noise2 = self.pose_sigma_m.length_squared() + other.pose_sigma_m.length_squared();
        (apart2 >= CLEARLY * noise2)
            .then(|| way_m * math::sqrt(1.0 - noise2 / apart2.max(f32::MIN_POSITIVE)))
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

    /// Both as one, each with the weight of its sigma. The way to the other one is `way_m`.
    fn merged(&self, other: &Self, way_m: Vec3) -> Self {
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
            + rest * share * way_m.length_squared();
        let along = way_m.normalize_or(self.spread_m.normalize_or(Vec3::X));
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

    /// Both as one, each with the weight of its sigma. The way to the other one is `way_m`.
    #[must_use]
    fn merged(&self, other: &Self, way_m: Vec3) -> Self;
}

impl Mergeable for Look {
    fn look(&self) -> &Look {
        self
    }

    fn merged(&self, other: &Self, way_m: Vec3) -> Self {
        self.merged(other, way_m)
    }
}

/// At most `N` looks.
#[derive(Debug, Clone)]
pub struct Ring<const N: usize, L = Look> {
    looks: heapless::Vec<L, N>,
    /// How many each of them was merged from.
    counts: heapless::Vec<u16, N>,
}

impl<const N: usize, L> Default for Ring<N, L> {
    fn default() -> Self {
        Self { looks: heapless::Vec::new(), counts: heapless::Vec::new() }
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
        let _ = self.counts.push(1);
    }

    /// Forget the walk.
    pub fn clear(&mut self) {
        self.looks.clear();
        self.counts.clear();
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
        let way_m = self.way_from_m(first);
        let merged = taken(&mut self.looks, first + 1).zip(taken(&mut self.counts, first + 1));
        let kept = self.looks.get_mut(first).zip(self.counts.get_mut(first));
        if let (Some((look, count)), Some((next, more))) = (kept, merged) {
            *look = look.merged(&next, way_m);
            *count = count.saturating_add(more);
        }
    }

    /// The way from a look to the next. Where their places are too uncertain to tell, those before and after them tell
    /// at which pace it went; where none do, no way at all.
    fn way_from_m(&self, first: usize) -> Vec3 {
        let counted = |n: usize| Some((self.looks.get(n)?, f32::from(*self.counts.get(n)?)));
        let (mut nearest, mut inside) = (0.0, 0.0);
        for wider in 0..=first {
            let ends = counted(first - wider).zip(counted(first + 1 + wider));
            let Some(((before, first_count), (after, last_count))) = ends else { break };
            // From middle to middle, in looks as they were pushed.
            let between = inside + 0.5 * (first_count + last_count);
            if wider == 0 {
                nearest = between;
            }
            if let Some(way_m) = before.look().way_m(after.look()) {
                return way_m * (nearest / between);
            }
            inside += first_count + last_count;
        }
        Vec3::ZERO
    }
}

/// Take one out, if it is there.
fn taken<T, const N: usize>(of: &mut heapless::Vec<T, N>, at: usize) -> Option<T> {
    (at < of.len()).then(|| of.remove(at))
}
