//! Depths of a lane walked at a known pace, where no positions say how far apart its nulls lie.

use super::lane::{Along, Spot};
use crate::depth::{Depth, Measured, Unusable};
use crate::extrema::Feature;
use crate::paced::{Known, Misfit, Passed, Walking, pattern};

/// How a lane without positions was walked.
#[derive(Debug, Clone, Copy)]
pub struct Pacing {
    /// Seconds from one glimpse to the next.
    pub hop_s: f32,
    /// Metres per second.
    pub pace_m_per_s: Measured,
    /// What else is thought of the walk.
    pub walking: Walking,
}

impl Pacing {
    /// Depths below the node as carried, by the nulls and by the vertical extrema, of a lane that may have missed the
    /// source by `miss_m`.
    pub fn depths(&self, along: &Along, miss_m: Measured) -> [Result<Depth, Unusable>; 2] {
        let first = along.nulls[0].feature.index;
        let at = |spot: &Spot| Some(self.instant(&spot.feature, first));
        let nulls = [at(&along.nulls[0]), at(&along.nulls[1])];
        let (peak, vertical_null) = (at(&along.peak), along.vertical_null.as_ref().and_then(at));
        let vertical_extrema =
            along.vertical_extrema.as_ref().map_or([None; 2], |pair| [at(&pair[0]), at(&pair[1])]);
        let middle = Passed { peak, vertical_null, ..Passed::default() };
        let all = Passed { nulls, vertical_extrema, ..middle };
        // What no sonde explains as a whole is no better in parts.
        if pattern(&all, self.walking).map_or(true, |all| all.misfit.is_some_and(Misfit::is_gross)) {
            return [Err(Unusable::Uneven); 2];
        }
        let depth = |passed: Passed| {
            let pattern = pattern(&passed, self.walking).map_err(|_| Unusable::Uneven)?;
            pattern.depth(Known::Pace(self.pace_m_per_s), miss_m)
        };
        let by_maxima = match vertical_extrema {
            [Some(_), Some(_)] => depth(Passed { vertical_extrema, ..middle }),
            _ => Err(Unusable::NotMeasured),
        };
        [depth(Passed { nulls, ..middle }), by_maxima]
    }

    /// Seconds since the glimpse of a number.
    fn instant(&self, feature: &Feature, first: u32) -> Measured {
        let since = feature.index.wrapping_sub(first) as i32;
        let seconds = (since as f32 + feature.fraction) * self.hop_s;
        Measured::new(seconds, feature.sigma_samples * self.hop_s)
    }
}
