//! Stations joined to a run: its line in plan and profile, its slopes, where the trouble is, and what to stake out.

mod plan;
mod profile;
mod system;

use glam::DVec2;
use serde::Serialize;
use thiserror::Error;

pub use plan::{LEAST_APART_M, Plan, PlanStation, plan};
pub use profile::{Level, Profile, profile};

use crate::book::{Estimate, Measured, Verdict};
use crate::job::{Content, EntryId, Falls, Places, RunCard, State, StationEntry};

/// A run joined.
#[derive(Debug, Clone, Serialize)]
pub struct Joined {
    /// Its name.
    pub run: String,
    /// Length of its line, metres.
    pub length_m: f64,
    /// Where the ground was not levelled, depths stand for heights, as if it were level.
    pub ground_taken_level: bool,
    /// What the line passes, in order.
    pub stations: Vec<JoinedStation>,
    /// From each station to the next.
    pub segments: Vec<Segment>,
    /// Where the trouble is.
    pub trouble: Vec<Trouble>,
    /// What has to be looked at.
    pub flags: Vec<Flag>,
    #[serde(skip)]
    plan: Plan,
    #[serde(skip)]
    profile: Option<Profile>,
    #[serde(skip)]
    grounds_m: Vec<f64>,
    /// The stations' own depths: smoothing may not make them any surer.
    #[serde(skip)]
    own: Vec<Option<Estimate>>,
    #[serde(skip)]
    wander: [f64; 2],
}

/// A station on the line.
#[derive(Debug, Clone, Serialize)]
pub struct JoinedStation {
    /// Its entry in the job.
    pub entry: EntryId,
    /// Its number.
    pub number: u32,
    /// Distance along the run, metres.
    pub chainage_m: f64,
    /// Where the line passes it.
    pub east_m: f64,
    /// Where the line passes it.
    pub north_m: f64,
    /// How far aside the pipe may be, 95 %, metres: the line's own uncertainty, and the mark's distance from it.
    pub aside95_m: f64,
    /// How far the station's own mark is from the line, metres.
    pub mark_off_m: f64,
    /// By how much the line turns there where it bends, degrees, to the right positive.
    pub bend_deg: Option<f64>,
    /// Depth to source on the smoothed profile, if there is one.
    pub depth_m: Option<Measured>,
}

/// From a station to the next.
#[derive(Debug, Clone, Serialize)]
pub struct Segment {
    /// Number of the first station.
    pub from: u32,
    /// Number of the second.
    pub to: u32,
    /// Length in plan, metres.
    pub length_m: f64,
    /// Fall towards the higher number, metres for a metre, of the stations' own depths and not of the smoothed line.
    pub fall: Option<Measured>,
    /// It rises where the run should fall, by more than the uncertainty of the two depths.
    pub uphill: bool,
    /// Nothing may be said of what lies between: a station was refused or left out there.
    pub gap: bool,
    /// Whether a figure of either end is in doubt.
    pub doubt: bool,
    /// How much longer the camera's cable is than the line, metres.
    pub cable_spare_m: Option<Measured>,
}

/// Where the trouble is.
#[derive(Debug, Clone, Serialize)]
pub struct Trouble {
    /// How that is known.
    pub by: &'static str,
    /// Stations that it is between, or at.
    pub between: [u32; 2],
    /// Distance along the run, metres, with its 95 % range.
    pub chainage_m: Estimate,
    /// Where it is.
    pub east_m: f64,
    /// Where it is.
    pub north_m: f64,
    /// How far aside of the line it may be, 95 %, metres.
    pub aside95_m: f64,
    /// Depth to source, metres, with its 95 % range.
    pub depth_m: Option<Estimate>,
}

/// Something that has to be looked at.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Flag {
    /// For machines.
    pub code: &'static str,
    /// In words, with what to do.
    pub sentence: String,
}

/// A point to stake out.
#[derive(Debug, Clone, Serialize)]
pub struct Stake {
    /// What it is.
    pub what: String,
    /// Distance along the run, metres.
    pub chainage_m: f64,
    /// Where it is.
    pub east_m: f64,
    /// Where it is.
    pub north_m: f64,
    /// How far aside the pipe may be, 95 %, metres.
    pub aside95_m: f64,
    /// Shallow end of the depth's 95 % range, metres.
    pub depth_low95_m: Option<f64>,
    /// Deep end of it.
    pub depth_high95_m: Option<f64>,
}

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
/// Half of a 95 % range in standard uncertainties.
const SIGMAS95: f64 = 1.96;

struct Used<'a> {
    entry: EntryId,
    station: &'a StationEntry,
    plan: PlanStation,
}

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
        (0..used.len() - 1).map(|k| joined.segment(&used[k], &used[k + 1], &all, card.falls)).collect();
    joined.flag_segments(&card);
    joined.find_trouble(&used, &card);
    Ok(joined)
}

impl Flag {
    fn new(code: &'static str, sentence: String) -> Self {
        Self { code, sentence }
    }
}

/// Numbers that are not there, or there twice.
fn missing(all: &[(EntryId, &StationEntry)]) -> Vec<Flag> {
    let mut flags = Vec::new();
    for pair in all.windows(2) {
        let [(_, a), (_, b)] = pair else { continue };
        let (a, b) = (a.found.number, b.found.number);
        if a == b {
            flags.push(Flag::new(
                "number-twice",
                format!("Station {a} is there twice. Withdraw or renumber one."),
            ));
        } else if b - a > 1 {
            let which = if b - a == 2 {
                format!("Station {} is", a + 1)
            } else {
                format!("Stations {} to {} are", a + 1, b - 1)
            };
            flags.push(Flag::new(
                "station-missing",
                format!("{which} missing. Import or withdraw, or renumber what follows."),
            ));
        }
    }
    flags
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

/// Standard uncertainty of a depth: its own, or that of its range where doubt has widened it.
fn depth_sigma(depth: &Estimate) -> f64 {
    depth.sigma.max((depth.high95 - depth.low95) / (2.0 * SIGMAS95))
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

    /// Of the segment from station `k` to the next.
    fn direction(&self, k: usize) -> DVec2 {
        (self.plan.at[k + 1] - self.plan.at[k]).normalize_or_zero()
    }

    fn segment(
        &self,
        a: &Used<'_>,
        b: &Used<'_>,
        all: &[(EntryId, &StationEntry)],
        falls: Falls,
    ) -> Segment {
        let (from, to) = (&a.station.found, &b.station.found);
        let way = b.plan.spot.at - a.plan.spot.at;
        let measured_m = way.length();
        let unit = way / measured_m;
        let length_sigma = (a.plan.spot.cov.along(unit) + b.plan.spot.cov.along(unit)).sqrt();
        let fall = from.stated_depth_m().zip(to.stated_depth_m()).map(|(da, db)| {
            let ground = a.station.ground_m.zip(b.station.ground_m);
            let (ga, gb) = ground
                .unwrap_or((Measured { value: 0.0, sigma: 0.0 }, Measured { value: 0.0, sigma: 0.0 }));
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

    fn flag_segments(&mut self, card: &RunCard) {
        for s in &self.segments {
            let Segment { from, to, .. } = s;
            if let (true, Some(fall)) = (s.uphill, s.fall) {
                let ground = if self.ground_taken_level { ", if the ground is level" } else { "" };
                self.flags.push(Flag::new(
                    "uphill",
                    format!(
                        "From station {from} to {to} the pipe rises by {:.1} % ± {:.1} % where it should fall{ground}. \
                         Level the ground, locate again, and look with the camera.",
                        100.0 * fall.value.abs(),
                        100.0 * SIGMAS95 * fall.sigma
                    ),
                ));
            }
            // One-sided, 5 %.
            if let Some(spare) = s.cable_spare_m.filter(|m| m.value < -1.645 * m.sigma) {
                self.flags.push(Flag::new(
                    "cable-too-short",
                    format!(
                        "From station {from} to {to} the line is {:.2} m longer than the cable that lay in it, which \
                         cannot be: the counter slipped, or a station is misplaced or misnumbered.",
                        -spare.value
                    ),
                ));
            }
        }
        let falls = self.segments.iter().filter(|s| s.fall.is_some()).count();
        if card.falls == Falls::Unknown && falls > 0 {
            self.flags.push(Flag::new(
                "fall-unknown",
                "Nobody said which way the run falls, so what rises is not flagged. Set `falls` of the run.".to_owned(),
            ));
        }
        if self.ground_taken_level && falls > 0 {
            self.flags.push(Flag::new(
                "ground-not-levelled",
                "The ground was not levelled at every station: slopes are those of the depths, as if it were level."
                    .to_owned(),
            ));
        }
    }

    fn find_trouble(&mut self, used: &[Used<'_>], card: &RunCard) {
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

    /// How far the pipe may be aside of the line on the way from station `k` to the next, 95 %: the line's own uncertainty,
    /// a bow as wide as the direction is allowed to wander, and the marks' distance from the line.
    fn aside95_m(&self, k: usize, share: f64) -> f64 {
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
    fn depth_between(&self, k: usize, share: f64) -> Option<Estimate> {
        let (height, sigma) = self.profile.as_ref()?.between(k, share);
        let (a, b) = (self.own[k]?, self.own[k + 1]?);
        let mix = |a: f64, b: f64| (1.0 - share) * a + share * b;
        let value = mix(self.grounds_m[k], self.grounds_m[k + 1]) - height;
        let bow = SIGMAS95 * self.wander[1] * self.bow_m(k, share);
        let low95 = (value - SIGMAS95 * sigma).min(mix(a.low95, b.low95)) - bow;
        let high95 = (value + SIGMAS95 * sigma).max(mix(a.high95, b.high95)) + bow;
        Some(Estimate { value, sigma: (high95 - low95) / (2.0 * SIGMAS95), low95: low95.max(0.0), high95 })
    }

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

/// In one segment; a spacing that gives more was a slip of the hand.
const MOST_STAKES: f64 = 1000.0;
