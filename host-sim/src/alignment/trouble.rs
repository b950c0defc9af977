//! Where the trouble is: at a station, or between two by the counter of the camera's cable.

use super::joined::{Flag, Joined, Trouble};
use super::used::{SIGMAS95, Used};
use crate::book::{Estimate, Measured};
use crate::job::RunCard;

impl Joined {
    /// Find it, by all that tells of it.
    pub(super) fn find_trouble(&mut self, used: &[Used<'_>], card: &RunCard) {
        for (k, u) in used.iter().enumerate().filter(|(_, u)| u.station.found.trouble_spot) {
            let station = &self.stations[k];
            let way = self.direction(k.min(used.len() - 2));
            let half = SIGMAS95 * u.plan.spot.cov.along(way).sqrt();
            self.trouble.push(Trouble {
                by: "a station there",
                between: [station.number; 2],
                chainage_m: Estimate {
                    value: station.chainage_m,
                    sigma: half / SIGMAS95,
                    low95: station.chainage_m - half,
                    high95: station.chainage_m + half,
                },
                east_m: station.east_m,
                north_m: station.north_m,
                aside95_m: station.aside95_m,
                depth_m: u.station.found.stated_depth_m(),
            });
        }
        let Some(at) = card.trouble_counter_m else { return };
        let bracket = (0..used.len() - 1).find_map(|k| {
            let (a, b) = (used[k].station.counter_m?, used[k + 1].station.counter_m?);
            let inside = a.value.min(b.value) <= at.value && at.value <= a.value.max(b.value);
            (inside && a.value != b.value).then_some((k, a, b))
        });
        match bracket {
            Some((k, a, b)) => {
                let trouble = self.between(k, at, a, b, used);
                self.trouble.push(trouble);
            }
            None => self.flags.push(Flag::new(
                "trouble-outside",
                format!(
                    "The trouble spot, at {:.2} m of cable, is not between two stations that follow each other and have \
                     a counter distance. Locate one on either side of it.",
                    at.value
                ),
            )),
        }
    }

    /// The trouble spot between stations `k` and the next, by the counter of the cable. The cable is never shorter than
    /// the line: from either station it can be no farther off than the cable between.
    fn between(&self, k: usize, at: Measured, a: Measured, b: Measured, used: &[Used<'_>]) -> Trouble {
        let length = self.plan.at[k].distance(self.plan.at[k + 1]);
        let (whole, gone) = ((b.value - a.value).abs(), (at.value - a.value).abs());
        let best = length * gone / whole;
        let (near, far) = (length - (whole - gone), gone);
        let way = self.direction(k);
        let mark = |u: &Used<'_>| u.plan.spot.cov.along(way);
        let sigma =
            (at.sigma.powi(2) + a.sigma.max(b.sigma).powi(2) + mark(&used[k]).max(mark(&used[k + 1])))
                .sqrt();
        let low = (near.min(best) - SIGMAS95 * sigma).clamp(0.0, length);
        let high = (far.max(best) + SIGMAS95 * sigma).clamp(0.0, length);
        let from = self.stations[k].chainage_m;
        let place = self.plan.at[k] + best * way;
        let depths = [low, best, high].map(|s| self.depth_between(k, s / length));
        let depth_m = depths[1].map(|middle| {
            let ranges = depths.iter().flatten();
            let low95 = ranges.clone().map(|d| d.low95).fold(f64::INFINITY, f64::min);
            let high95 = ranges.map(|d| d.high95).fold(0.0, f64::max);
            Estimate { low95, high95, ..middle }
        });
        let aside = [low, best, high].map(|s| self.aside95_m(k, s / length));
        Trouble {
            by: "the counter of the cable",
            between: [self.stations[k].number, self.stations[k + 1].number],
            chainage_m: Estimate { value: from + best, sigma, low95: from + low, high95: from + high },
            east_m: place.x,
            north_m: place.y,
            aside95_m: aside.into_iter().fold(0.0, f64::max),
            depth_m,
        }
    }
}
