//! What may stand in a job.

use super::EntryId;
use super::checks::{
    FARTHEST_GRID_M, check_anchor, check_figures, check_gnss, check_grid, check_measured, same_datum,
};
use super::content::{Content, Note, Photo, RunCard, Settings, StationEntry};
use super::draft::{Refusal, refuse};
use super::place::Place;
use super::state::State;
use crate::book::Run;

pub const NO_SUCH: &str = "is not there or was withdrawn; `nullwalk job history` names them all";
const DEEPEST_SWEEP_M: f64 = 20.0;
const MOST_CORNERS: usize = 1000;
const LONGEST_TIE_M: f64 = 200.0;

impl State {
    /// Whether `content` may stand under the number `id`.
    pub(super) fn admit(&self, id: EntryId, content: &Content) -> Result<(), Refusal> {
        match content {
            Content::Settings(settings) => self.admit_settings(id, settings),
            Content::Source(source) => {
                let same = self.sources().find(|(other, s)| *other != id && s.sha256 == source.sha256);
                match same {
                    Some((other, s)) => refuse(
                        source.path.as_str(),
                        format!("is in the job already, as {} in entry {other}; nothing was added", s.path),
                    ),
                    None => Ok(()),
                }
            }
            Content::Run(run) => self.admit_run(id, run),
            Content::Station(station) => self.admit_station(station),
            Content::Point(point) => {
                let place = format!("point {:?}", point.name);
                if point.name.trim().is_empty() {
                    return refuse(place, "has no name; give it the one it has on the sketch");
                }
                if self.point_named(&point.name).is_some_and(|other| other != id) {
                    return refuse(
                        place,
                        "there is a point of this name already; correct that one, or choose another name",
                    );
                }
                if matches!(point.place, Place::Locate | Place::Ties { .. }) {
                    return refuse(place, "needs a place of its own: on the grid, or by satellites");
                }
                self.admit_place(&place, &point.place)
            }
            Content::Tie(tie) => {
                let Some(Content::Station(station)) = self.get(tie.station) else {
                    return refuse(
                        format!("tie {id}"),
                        "hangs on no station that is there; see `nullwalk job show`",
                    );
                };
                let place = format!("tie of station {}", station.found.number);
                if !matches!(self.get(tie.point), Some(Content::Point(_))) {
                    return refuse(place, "hangs on no point that is there; enter the point first");
                }
                let length = tie.distance_m > 0.0 && tie.distance_m <= LONGEST_TIE_M;
                if length && tie.sigma_m > 0.0 && tie.sigma_m <= 0.5 * tie.distance_m.max(1.0) {
                    return Ok(());
                }
                refuse(place, "must be 0 to 200 m long, with an uncertainty above 0 and below a half of it")
            }
            Content::Note(Note { about, .. }) | Content::Photo(Photo { about, .. }) => match about {
                Some(of) if self.get(*of).is_none() => refuse(format!("entry {of}"), NO_SUCH),
                _ => Ok(()),
            },
            Content::Sweep(sweep) => {
                let place = format!("sweep of {:?}", sweep.area);
                if sweep.area.trim().is_empty() || sweep.method.trim().is_empty() {
                    return refuse(place, "must say where it was and what was listened for");
                }
                match sweep.sees_to_m {
                    Some(_) if sweep.source.trim().is_empty() => refuse(
                        place,
                        "says how deep it sees, so it must say which source: a stronger one is seen deeper",
                    ),
                    Some(m) if !(0.0..=DEEPEST_SWEEP_M).contains(&m) => {
                        refuse(place, "must see 0 to 20 m deep, or leave it out when that is not known")
                    }
                    _ => Ok(()),
                }
            }
            Content::Line(line) => {
                let place = format!("line {:?}", line.name);
                if line.name.trim().is_empty() || line.known_by.trim().is_empty() {
                    return refuse(place, "must say what it is and how it is known of");
                }
                let near = |m: &f64| m.abs() <= FARTHEST_GRID_M;
                if line.path.len() == 1
                    || line.path.len() > MOST_CORNERS
                    || !line.path.iter().flatten().all(near)
                {
                    return refuse(
                        place,
                        "must have 2 to 1000 corners within 100 km of the grid's origin, or none where nobody measured it",
                    );
                }
                Ok(())
            }
        }
    }

    fn admit_settings(&self, id: EntryId, settings: &Settings) -> Result<(), Refusal> {
        if self.entries().any(|(other, c)| other != id && matches!(c, Content::Settings(_))) {
            return refuse("settings", "are there already; correct them");
        }
        if let Some(anchor) = &settings.anchor {
            check_anchor(anchor)?;
            if settings.datum.is_none() {
                return refuse("anchor", "has a latitude and a longitude, so the job needs a datum");
            }
        }
        let places = self.entries().filter_map(|(_, c)| match c {
            Content::Station(s) => Some((format!("station {}", s.found.number), &s.place)),
            Content::Point(p) => Some((format!("point {:?}", p.name), &p.place)),
            _ => None,
        });
        for (place, at) in places {
            same_datum(settings, &place, at)?;
        }
        Ok(())
    }

    fn admit_run(&self, id: EntryId, run: &RunCard) -> Result<(), Refusal> {
        let place = format!("run {:?}", run.name);
        if run.name.trim().is_empty() {
            return refuse(place, "has no name; give it one that tells it from the others");
        }
        if self.run_named(&run.name).is_some_and(|other| other != id) {
            return refuse(place, "there is a run of this name already; choose another name");
        }
        let sizes = Run { pipe: run.pipe, tolerance_zone: run.tolerance_zone, ..Run::default() };
        check_figures(&place, &sizes)?;
        if !(0.01..=45.0).contains(&run.wander_deg) || !(1e-4..=1.0).contains(&run.wander_slope) {
            return refuse(place, "wander_deg must be 0.01 to 45 and wander_slope 0.0001 to 1");
        }
        check_measured(&place, "trouble_counter_m", run.trouble_counter_m)
    }

    fn admit_station(&self, station: &StationEntry) -> Result<(), Refusal> {
        let place = format!("station {}", station.found.number);
        if !matches!(self.get(station.run), Some(Content::Run(_))) {
            return refuse(place, "belongs to no run that is there; enter the run first");
        }
        check_figures(&place, &Run { stations: vec![station.found.clone()], ..Run::default() })?;
        check_measured(&place, "ground_m", station.ground_m)?;
        check_measured(&place, "counter_m", station.counter_m)?;
        self.admit_place(&place, &station.place)
    }

    fn admit_place(&self, place: &str, at: &Place) -> Result<(), Refusal> {
        match at {
            Place::Locate | Place::Ties { .. } => Ok(()),
            Place::Grid { east_m, north_m, sigma_m } => check_grid(place, *east_m, *north_m, *sigma_m),
            Place::Gnss(gnss) => {
                check_gnss(place, gnss)?;
                same_datum(&self.settings(), place, at)
            }
        }
    }
}
