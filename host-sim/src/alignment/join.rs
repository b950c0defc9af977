//! The stations of a run joined.

use glam::DVec2;
use thiserror::Error;

use super::flags::missing;
use super::joined::{Flag, Joined, JoinedStation};
use super::plan::{LEAST_APART_M, PlanStation, plan};
use super::profile::{Level, Profile, profile};
use super::segments::segment;
use super::used::{SIGMAS95, Used, depth_sigma};
use crate::book::Measured;
use crate::job::{Content, EntryId, Places, RunCard, State};

/// Why a run cannot be joined.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum Unjoined {
    /// Too few stations.
    #[error(
        "run {run:?}: a line takes two stations with places and a verdict other than Refuse, and there are {usable}"
    )]
    TooFew {
        /// The run.
        run: String,
        /// How many there are.
        usable: usize,
    },
    /// Too many.
    #[error("run {run:?}: {stations} stations are more than are joined at once ({MOST}); divide the run")]
    TooMany {
        /// The run.
        run: String,
        /// How many there are.
        stations: usize,
    },
    /// Two at one place.
    #[error(
        "run {run:?}: stations {a} and {b} follow each other at the same place; withdraw one, or correct its number or \
         its place"
    )]
    SamePlace {
        /// The run.
        run: String,
        /// The first.
        a: u32,
        /// The second.
        b: u32,
    },
}

/// All unknowns are solved at once; more take long and are most likely several runs.
const MOST: usize = 400;

/// Join the stations of a run in the order of their numbers.
///
/// # Errors
/// When there is no line through them.
pub fn join(state: &State, places: &Places, run: EntryId) -> Result<Joined, Unjoined> {
    let card = match state.get(run) {
        Some(Content::Run(card)) => card.clone(),
        _ => RunCard::default(),
    };
    let all = state.stations_of(run);
    let mut flags = missing(&all);
    let mut used = Vec::new();
    for (entry, station) in &all {
        let number = station.found.number;
        match places.of(*entry) {
            _ if !station.found.is_located() => flags.push(Flag::new(
                "refused",
                format!("Station {number} was refused or only marked by hand: the line passes it unseen. Locate there again."),
            )),
            Err(why) => flags.push(Flag::new("no-place", format!("Station {number} is left out: {why}."))),
            Ok(spot) => {
                let plan =
                    PlanStation { spot, lay_deg: station.found.lay_deg, bends: card.bends.contains(&number) };
                used.push(Used { entry: *entry, station, plan });
            }
        }
    }
    let name = card.name.clone();
    match used.len() {
        usable @ (0 | 1) => return Err(Unjoined::TooFew { run: name, usable }),
        stations if stations > MOST => return Err(Unjoined::TooMany { run: name, stations }),
        _ => {}
    }
    let inputs: Vec<PlanStation> = used.iter().map(|u| u.plan).collect();
    let same = used.windows(2).find(|w| w[0].plan.spot.at.distance(w[1].plan.spot.at) < LEAST_APART_M);
    let numbers = |w: &[Used<'_>]| (w[0].station.found.number, w[1].station.found.number);
    let (a, b) = same.map_or((0, 0), numbers);
    let same_place = || Unjoined::SamePlace { run: name.clone(), a, b };
    let plan = plan(&inputs, card.wander_deg.to_radians()).ok_or_else(same_place)?;
    let chainages = chainages(&plan.at);
    let (profile, grounds_m, ground_taken_level) = heights(&used, &chainages, card.wander_slope);
    let mut joined = Joined {
        run: card.name.clone(),
        length_m: chainages.last().copied().unwrap_or_default(),
        ground_taken_level,
        stations: Vec::new(),
        segments: Vec::new(),
        trouble: Vec::new(),
        flags,
        plan,
        profile,
        grounds_m,
        own: used.iter().map(|u| u.station.found.stated_depth_m()).collect(),
        wander: [card.wander_deg.to_radians(), card.wander_slope],
    };
    joined.stations = (0..used.len()).map(|k| joined.station(k, &used[k], chainages[k])).collect();
    joined.segments =
        (0..used.len() - 1).map(|k| segment(&used[k], &used[k + 1], &all, card.falls)).collect();
    joined.flag_segments(&card);
    joined.find_trouble(&used, &card);
    Ok(joined)
}

fn chainages(at: &[DVec2]) -> Vec<f64> {
    let mut walked = 0.0;
    let steps = at.windows(2).map(|w| w[0].distance(w[1]));
    std::iter::once(0.0)
        .chain(steps.map(|step| {
            walked += step;
            walked
        }))
        .collect()
}

/// A profile through all stations, the ground at each, and whether that was taken to be level. None where a depth is
/// missing.
fn heights(used: &[Used<'_>], chainages: &[f64], wander: f64) -> (Option<Profile>, Vec<f64>, bool) {
    let grounds: Option<Vec<Measured>> = used.iter().map(|u| u.station.ground_m).collect();
    let level = grounds.is_none();
    let grounds = grounds.unwrap_or_else(|| vec![Measured { value: 0.0, sigma: 0.0 }; used.len()]);
    let levels: Option<Vec<Level>> = used
        .iter()
        .zip(chainages)
        .zip(&grounds)
        .map(|((u, &chainage_m), ground)| {
            let depth = u.station.found.stated_depth_m()?;
            let sigma_m = depth_sigma(&depth).hypot(ground.sigma);
            Some(Level { chainage_m, height_m: ground.value - depth.value, sigma_m })
        })
        .collect();
    let profile = levels.and_then(|levels| profile(&levels, wander));
    (profile, grounds.iter().map(|g| g.value).collect(), level)
}

impl Joined {
    fn station(&self, k: usize, used: &Used<'_>, chainage_m: f64) -> JoinedStation {
        let at = self.plan.at[k];
        let across = self.direction(k.min(self.plan.at.len() - 2)).perp();
        let depth_m = self
            .profile
            .as_ref()
            .map(|p| Measured { value: self.grounds_m[k] - p.height_m[k], sigma: p.sigma_m(k) });
        let mark_off_m = at.distance(used.plan.spot.at);
        JoinedStation {
            entry: used.entry,
            number: used.station.found.number,
            chainage_m,
            east_m: at.x,
            north_m: at.y,
            aside95_m: SIGMAS95 * self.plan.cov(k).along(across).sqrt() + mark_off_m,
            mark_off_m,
            bend_deg: self.plan.bends.contains(&k).then(|| self.plan.turn_deg(k)),
            depth_m,
        }
    }
}
