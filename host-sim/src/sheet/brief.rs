//! Everything that a sheet is drawn from, gathered in one place.

use glam::DVec2;
use jiff::Timestamp;

use crate::alignment::{Trouble, Unjoined, join};
use crate::book::Run;
use crate::job::{Content, EntryId, OtherLine, Places, State, Sweep, Ticket, Utility};

/// What the sheet of a run is told. What nobody knows is left empty, and the sheet says so.
#[derive(Debug, Clone, Default)]
pub struct Brief {
    /// The run with its stations.
    pub run: Run,
    /// Name of the job it belongs to.
    pub job: String,
    /// What flows in it.
    pub utility: Utility,
    /// The notification of the utilities.
    pub ticket: Ticket,
    /// Distances from stations to permanent points.
    pub ties: Vec<TieLine>,
    /// What was searched.
    pub sweeps: Vec<Sweep>,
    /// Other lines on the site: found, or expected and not found.
    pub others: Vec<OtherLine>,
    /// Where the trouble is.
    pub trouble: Vec<Trouble>,
    /// What has to be looked at in the run as a whole.
    pub flags: Vec<String>,
}

/// A distance from a station to a permanent point.
#[derive(Debug, Clone, PartialEq)]
pub struct TieLine {
    /// The station's number.
    pub station: u32,
    /// Name of the point.
    pub point: String,
    /// What it is, and how it is found.
    pub description: String,
    /// Where it is on the grid, if that is known.
    pub at: Option<DVec2>,
    /// The distance, metres.
    pub distance_m: f64,
    /// Whether it was taped; if not, it is computed from both places.
    pub taped: bool,
}

/// Without taped ties, each station is given distances to so many points.
const COMPUTED_TIES: usize = 2;
/// And to none that is farther off than a tape is long, metres.
const LONGEST_COMPUTED_M: f64 = 30.0;

/// Another run is on the sheet if one of its stations is as near to one of this run's, metres.
const NEAR_M: f64 = 30.0;

impl From<Run> for Brief {
    fn from(run: Run) -> Self {
        Self { run, ..Self::default() }
    }
}

impl Brief {
    /// Of a run of a job; `None` where there is no such run.
    pub fn of_job(state: &State, places: &Places, id: EntryId) -> Option<Self> {
        let Content::Run(card) = state.get(id)? else { return None };
        let settings = state.settings();
        let mut run = state.run(id, places)?;
        if run.made.instrument.is_empty() {
            run.made.instrument = instruments(state, id);
        }
        if run.recorded.is_empty() {
            run.recorded = days(state, id);
        }
        let mut flags = places.notices.clone();
        let mut trouble = Vec::new();
        match join(state, places, id) {
            Ok(joined) => {
                flags.extend(joined.flags.into_iter().map(|flag| flag.sentence));
                trouble = joined.trouble;
            }
            // One station alone is no line, and the summary tells how many there are.
            Err(Unjoined::TooFew { .. }) => {}
            Err(why) => flags.push(format!("No line was joined: {why}.")),
        }
        Some(Self {
            run,
            job: settings.title,
            utility: card.utility,
            ticket: settings.ticket,
            ties: ties(state, places, id),
            sweeps: state.sweeps().map(|(_, sweep)| sweep.clone()).collect(),
            others: others(state, places, id),
            trouble,
            flags,
        })
    }
}

/// Serial numbers of the instruments that the stations came from.
fn instruments(state: &State, id: EntryId) -> String {
    let mut known: Vec<String> = Vec::new();
    for (_, station) in state.stations_of(id) {
        let Some(origin) = &station.origin else { continue };
        if let Some(Content::Source(source)) = state.get(origin.source)
            && !source.instrument.is_empty()
            && !known.contains(&source.instrument)
        {
            known.push(source.instrument.clone());
        }
    }
    known.join(", ")
}

/// The days on which the instruments' clocks say that the stations were fixed.
fn days(state: &State, id: EntryId) -> String {
    let clocks = state.stations_of(id).into_iter().filter_map(|(_, s)| s.origin.as_ref()?.utc_s);
    let day = |s: u64| Some(Timestamp::from_second(i64::try_from(s).ok()?).ok()?.to_string());
    let mut days: Vec<String> =
        clocks.filter_map(day).filter_map(|t| Some(t.split_once('T')?.0.to_owned())).collect();
    days.sort();
    days.dedup();
    match days.as_slice() {
        [] => String::new(),
        [day] => format!("{day} (UTC)"),
        [first, .., last] => format!("{first} to {last} (UTC)"),
    }
}

fn ties(state: &State, places: &Places, id: EntryId) -> Vec<TieLine> {
    let stations = state.stations_of(id);
    let mut lines = Vec::new();
    for (entry, station) in &stations {
        let number = station.found.number;
        for (_, tie) in state.ties().filter(|(_, tie)| tie.station == *entry) {
            let Some(Content::Point(point)) = state.get(tie.point) else { continue };
            lines.push(TieLine {
                station: number,
                point: point.name.clone(),
                description: point.description.clone(),
                at: places.of(tie.point).ok().map(|spot| spot.at),
                distance_m: tie.distance_m,
                taped: true,
            });
        }
    }
    for (entry, station) in &stations {
        let number = station.found.number;
        if !station.found.is_located() || lines.iter().any(|l| l.station == number) {
            continue;
        }
        let Ok(spot) = places.of(*entry) else { continue };
        let mut near: Vec<TieLine> = state
            .points()
            .filter_map(|(point, card)| {
                let at = places.of(point).ok()?.at;
                Some(TieLine {
                    station: number,
                    point: card.name.clone(),
                    description: card.description.clone(),
                    at: Some(at),
                    distance_m: at.distance(spot.at),
                    taped: false,
                })
            })
            .filter(|l| l.distance_m <= LONGEST_COMPUTED_M)
            .collect();
        near.sort_by(|a, b| a.distance_m.total_cmp(&b.distance_m));
        lines.extend(near.into_iter().take(COMPUTED_TIES));
    }
    lines.sort_by_key(|l| l.station);
    lines
}

/// The other lines that are entered, and those of the job's other runs that come near.
fn others(state: &State, places: &Places, id: EntryId) -> Vec<OtherLine> {
    let mut others: Vec<OtherLine> = state.lines().map(|(_, line)| line.clone()).collect();
    let stations = state.stations_of(id);
    let own: Vec<DVec2> =
        stations.iter().filter_map(|(entry, _)| Some(places.of(*entry).ok()?.at)).collect();
    let near = |at: &[f64; 2]| own.iter().any(|o| o.distance(DVec2::from_array(*at)) < NEAR_M);
    for (other, card) in state.runs().filter(|(other, _)| *other != id) {
        let located = state.stations_of(other).into_iter().filter(|(_, s)| s.found.is_located());
        let path: Vec<[f64; 2]> =
            located.filter_map(|(entry, _)| Some(places.of(entry).ok()?.at.to_array())).collect();
        if !path.iter().any(near) {
            continue;
        }
        others.push(OtherLine {
            name: card.name.clone(),
            utility: card.utility,
            known_by: "another run of this job; see its own sheet".to_owned(),
            found: true,
            path: if path.len() < 2 { Vec::new() } else { path },
        });
    }
    others
}
