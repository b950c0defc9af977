//! From each station to the next: length, fall, and what the cable says.

use super::joined::Segment;
use super::used::{SIGMAS95, Used, depth_sigma};
use crate::book::{Measured, Verdict};
use crate::job::{EntryId, Falls, StationEntry};

/// The segment between two stations that follow each other.
pub fn segment(a: &Used<'_>, b: &Used<'_>, all: &[(EntryId, &StationEntry)], falls: Falls) -> Segment {
    let (from, to) = (&a.station.found, &b.station.found);
    let way = b.plan.spot.at - a.plan.spot.at;
    let measured_m = way.length();
    let unit = way / measured_m;
    let length_sigma = (a.plan.spot.cov.along(unit) + b.plan.spot.cov.along(unit)).sqrt();
    let fall = from.stated_depth_m().zip(to.stated_depth_m()).map(|(da, db)| {
        let ground = a.station.ground_m.zip(b.station.ground_m);
        let (ga, gb) =
            ground.unwrap_or((Measured { value: 0.0, sigma: 0.0 }, Measured { value: 0.0, sigma: 0.0 }));
        let drop = (ga.value - da.value) - (gb.value - db.value);
        let sigma = depth_sigma(&da).hypot(depth_sigma(&db)).hypot(ga.sigma).hypot(gb.sigma);
        let value = drop / measured_m;
        Measured { value, sigma: (sigma / measured_m).hypot(value * length_sigma / measured_m) }
    });
    let beyond = |rise: f64, m: Measured| rise > SIGMAS95 * m.sigma;
    let uphill = fall.is_some_and(|m| match falls {
        Falls::WithNumbers => beyond(-m.value, m),
        Falls::AgainstNumbers => beyond(m.value, m),
        Falls::Unknown => false,
    });
    let between = |number: u32| from.number < number && number < to.number;
    let cable_spare_m = a.station.counter_m.zip(b.station.counter_m).map(|(ca, cb)| Measured {
        value: (cb.value - ca.value).abs() - measured_m,
        sigma: ca.sigma.hypot(cb.sigma).hypot(length_sigma),
    });
    Segment {
        from: from.number,
        to: to.number,
        length_m: measured_m,
        fall,
        uphill,
        gap: all.iter().any(|(_, s)| between(s.found.number)) || to.number > from.number + 1,
        doubt: [from, to].iter().any(|s| s.verdict == Verdict::Doubt),
        cable_spare_m,
    }
}
