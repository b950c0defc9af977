//! What may be said of the way between two stations.

use glam::DVec2;

use super::joined::Joined;
use super::used::SIGMAS95;
use crate::book::Estimate;

impl Joined {
    /// Direction of the segment from station `k` to the next.
    pub(super) fn direction(&self, k: usize) -> DVec2 {
        (self.plan.at[k + 1] - self.plan.at[k]).normalize_or_zero()
    }

    /// How far the pipe may be aside of the line on the way from station `k` to the next, 95 %: the line's own uncertainty,
    /// a bow as wide as the direction is allowed to wander, and the marks' distance from the line.
    pub(super) fn aside95_m(&self, k: usize, share: f64) -> f64 {
        let across = self.direction(k).perp();
        let bow = self.wander[0] * self.bow_m(k, share);
        let off = (1.0 - share) * self.stations[k].mark_off_m + share * self.stations[k + 1].mark_off_m;
        SIGMAS95 * self.plan.cov_between(k, share).along(across).max(0.0).sqrt().hypot(bow) + off
    }

    /// A corner of one radian there would leave the line by so much.
    fn bow_m(&self, k: usize, share: f64) -> f64 {
        self.plan.at[k].distance(self.plan.at[k + 1]) * share * (1.0 - share)
    }

    /// Depth on the way from station `k` to the next, below a ground that is straight between them. Its range holds that of
    /// the smoothed line and that of a straight line between the stations' own ranges, and a bow beyond.
    pub(super) fn depth_between(&self, k: usize, share: f64) -> Option<Estimate> {
        let (height, sigma) = self.profile.as_ref()?.between(k, share);
        let (a, b) = (self.own[k]?, self.own[k + 1]?);
        let mix = |a: f64, b: f64| (1.0 - share) * a + share * b;
        let value = mix(self.grounds_m[k], self.grounds_m[k + 1]) - height;
        let bow = SIGMAS95 * self.wander[1] * self.bow_m(k, share);
        let low95 = (value - SIGMAS95 * sigma).min(mix(a.low95, b.low95)) - bow;
        let high95 = (value + SIGMAS95 * sigma).max(mix(a.high95, b.high95)) + bow;
        Some(Estimate { value, sigma: (high95 - low95) / (2.0 * SIGMAS95), low95: low95.max(0.0), high95 })
    }
}
