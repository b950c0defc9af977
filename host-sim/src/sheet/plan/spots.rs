//! What stands on the plan: stations that have places, and the links between those that were located.

use glam::DVec2;

use crate::book::{Run, Station};

/// A station that has a place on the plan.
pub struct Spot<'a> {
    pub station: &'a Station,
    /// Its place in the run's list.
    pub index: usize,
    /// East and north, metres.
    pub place_m: DVec2,
    pub radius95_m: f64,
    /// From the mark to the edge of the tolerance zone; none where nothing was located.
    pub zone_m: Option<f64>,
}

/// Two located stations that follow each other; `gap` when one between them was refused or has no place.
pub struct Link<'a> {
    pub from: &'a Spot<'a>,
    pub to: &'a Spot<'a>,
    pub gap: bool,
}

pub fn spots(run: &Run) -> Vec<Spot<'_>> {
    run.stations.iter().enumerate().filter_map(|(index, s)| Spot::new(run, index, s)).collect()
}

impl<'a> Spot<'a> {
    fn new(run: &Run, index: usize, station: &'a Station) -> Option<Self> {
        let position = station.position?;
        let zone = || run.tolerance_zone.half_width_m(&run.pipe, &position);
        Some(Self {
            station,
            index,
            place_m: DVec2::new(position.east_m, position.north_m),
            radius95_m: position.radius95_m(),
            zone_m: station.is_located().then(zone),
        })
    }
}

pub fn links<'a>(spots: &'a [Spot<'a>]) -> Vec<Link<'a>> {
    let located: Vec<&Spot<'_>> = spots.iter().filter(|s| s.zone_m.is_some()).collect();
    let link = |pair: &[&'a Spot<'a>]| match pair {
        [from, to] => Some(Link { from, to, gap: to.index != from.index + 1 }),
        _ => None,
    };
    located.windows(2).filter_map(link).collect()
}
