//! What to stake out.

use super::joined::{Joined, Stake};

/// In one segment; a spacing that gives more was a slip of the hand.
const MOST_STAKES: f64 = 1000.0;

impl Joined {
    /// Points to stake out: every station, points no farther apart than `spacing_m`, and the trouble.
    pub fn stakes(&self, spacing_m: f64) -> Vec<Stake> {
        let mut stakes = Vec::new();
        for (k, station) in self.stations.iter().enumerate() {
            let own = self.own[k];
            stakes.push(Stake {
                what: format!("station {}", station.number),
                chainage_m: station.chainage_m,
                east_m: station.east_m,
                north_m: station.north_m,
                aside95_m: station.aside95_m,
                depth_low95_m: own.map(|d| d.low95),
                depth_high95_m: own.map(|d| d.high95),
            });
            let Some(segment) = self.segments.get(k).filter(|s| !s.gap) else { continue };
            let length = self.plan.at[k].distance(self.plan.at[k + 1]);
            let pieces = (length / spacing_m).ceil().clamp(1.0, MOST_STAKES);
            for n in 1..pieces as usize {
                let share = n as f64 / pieces;
                let at = self.plan.at[k].lerp(self.plan.at[k + 1], share);
                let depth = self.depth_between(k, share);
                stakes.push(Stake {
                    what: format!("between {} and {}", segment.from, segment.to),
                    chainage_m: station.chainage_m + share * length,
                    east_m: at.x,
                    north_m: at.y,
                    aside95_m: self.aside95_m(k, share),
                    depth_low95_m: depth.map(|d| d.low95),
                    depth_high95_m: depth.map(|d| d.high95),
                });
            }
        }
        for trouble in &self.trouble {
            stakes.push(Stake {
                what: "trouble spot".to_owned(),
                chainage_m: trouble.chainage_m.value,
                east_m: trouble.east_m,
                north_m: trouble.north_m,
                aside95_m: trouble.aside95_m,
                depth_low95_m: trouble.depth_m.map(|d| d.low95),
                depth_high95_m: trouble.depth_m.map(|d| d.high95),
            });
        }
        stakes.sort_by(|a, b| a.chainage_m.total_cmp(&b.chainage_m));
        stakes
    }
}
