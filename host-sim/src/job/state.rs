//! What a job amounts to when its entries are read in their order, and what may be entered next.

use std::collections::BTreeMap;

use serde_json::Value;

use super::content::{
    Content, Note, OtherLine, Photo, Point, RunCard, Settings, Source, StationEntry, Sweep, Tie,
};
use super::place::{Gnss, Place};
use super::{Anchor, EntryId};
use crate::book::{Fault, Run};

/// Something to be entered.
#[expect(clippy::large_enum_variant, reason = "most are new, and they come one at a time")]
#[derive(Debug, Clone, PartialEq)]
pub enum Draft {
    /// Something new.
    New(Content),
    /// A correction: fields of an earlier entry with their new values (RFC 7396), and why.
    Correction {
        /// Which entry.
        of: EntryId,
        /// Why.
        reason: String,
        /// The fields that change.
        patch: Value,
    },
    /// An earlier entry counts no longer. It stays in the history.
    Withdrawal {
        /// Which entry.
        of: EntryId,
        /// Why.
        reason: String,
    },
}

/// What stands in the job, corrected, without what was withdrawn.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct State {
    entries: BTreeMap<EntryId, Content>,
    /// Entries of kinds that this program does not know.
    pub unknown: usize,
}

/// Why something may not be entered: where, and what to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refusal {
    /// Which entry, as in `station 3`.
    pub place: String,
    /// What is wrong, and the remedy.
    pub what: String,
}

fn refuse<T>(place: impl Into<String>, what: impl Into<String>) -> Result<T, Refusal> {
    Err(Refusal { place: place.into(), what: what.into() })
}

impl State {
    /// What holds for the whole job.
    pub fn settings(&self) -> Settings {
        let found =
            self.entries.values().find_map(|c| if let Content::Settings(s) = c { Some(s) } else { None });
        found.cloned().unwrap_or_default()
    }

    /// Any entry.
    pub fn get(&self, id: EntryId) -> Option<&Content> {
        self.entries.get(&id)
    }

    /// All entries that count.
    pub fn entries(&self) -> impl Iterator<Item = (EntryId, &Content)> {
        self.entries.iter().map(|(id, content)| (*id, content))
    }

    /// The runs.
    pub fn runs(&self) -> impl Iterator<Item = (EntryId, &RunCard)> {
        self.entries().filter_map(|(id, c)| if let Content::Run(it) = c { Some((id, it)) } else { None })
    }

    /// The stations.
    pub fn stations(&self) -> impl Iterator<Item = (EntryId, &StationEntry)> {
        self.entries()
            .filter_map(|(id, c)| if let Content::Station(it) = c { Some((id, &**it)) } else { None })
    }

    /// The permanent points.
    pub fn points(&self) -> impl Iterator<Item = (EntryId, &Point)> {
        self.entries().filter_map(|(id, c)| if let Content::Point(it) = c { Some((id, it)) } else { None })
    }

    /// The ties.
    pub fn ties(&self) -> impl Iterator<Item = (EntryId, &Tie)> {
        self.entries().filter_map(|(id, c)| if let Content::Tie(it) = c { Some((id, it)) } else { None })
    }

    /// The files that something was taken from.
    pub fn sources(&self) -> impl Iterator<Item = (EntryId, &Source)> {
        self.entries().filter_map(|(id, c)| if let Content::Source(it) = c { Some((id, it)) } else { None })
    }

    /// The notes.
    pub fn notes(&self) -> impl Iterator<Item = (EntryId, &Note)> {
        self.entries().filter_map(|(id, c)| if let Content::Note(it) = c { Some((id, it)) } else { None })
    }

    /// The photos.
    pub fn photos(&self) -> impl Iterator<Item = (EntryId, &Photo)> {
        self.entries().filter_map(|(id, c)| if let Content::Photo(it) = c { Some((id, it)) } else { None })
    }

    /// The searches over areas.
    pub fn sweeps(&self) -> impl Iterator<Item = (EntryId, &Sweep)> {
        self.entries().filter_map(|(id, c)| if let Content::Sweep(it) = c { Some((id, it)) } else { None })
    }

    /// The other lines on the site.
    pub fn lines(&self) -> impl Iterator<Item = (EntryId, &OtherLine)> {
        self.entries().filter_map(|(id, c)| if let Content::Line(it) = c { Some((id, it)) } else { None })
    }

    /// The run of this name.
    pub fn run_named(&self, name: &str) -> Option<EntryId> {
        self.runs().find(|(_, run)| run.name == name).map(|(id, _)| id)
    }

    /// The point of this name.
    pub fn point_named(&self, name: &str) -> Option<EntryId> {
        self.points().find(|(_, point)| point.name == name).map(|(id, _)| id)
    }

    /// Enter `draft` under the number `id`, if it may be.
    pub(super) fn enter(&mut self, id: EntryId, draft: &Draft) -> Result<(), Refusal> {
        match draft {
            Draft::New(content) => {
                self.admit(id, content)?;
                self.entries.insert(id, content.clone());
            }
            Draft::Correction { of, reason, patch } => {
                let corrected = self.corrected(*of, reason, patch)?;
                self.admit(*of, &corrected)?;
                self.entries.insert(*of, corrected);
            }
            Draft::Withdrawal { of, reason } => {
                self.may_go(*of, reason)?;
                self.entries.remove(of);
            }
        }
        Ok(())
    }

    fn corrected(&self, of: EntryId, reason: &str, patch: &Value) -> Result<Content, Refusal> {
        let place = format!("entry {of}");
        let Some(before) = self.get(of) else { return refuse(place, NO_SUCH) };
        if reason.trim().is_empty() {
            return refuse(place, NO_REASON);
        }
        let unread =
            |e: serde_json::Error| Refusal { place: place.clone(), what: format!("cannot be so: {e}") };
        let mut value = before.to_value().map_err(unread)?;
        json_patch::merge(&mut value, patch);
        let after = Content::from_text(before.kind(), &value.to_string()).map_err(unread)?;
        let Some(after) = after else { return refuse(place, NO_SUCH) };
        // A misspelt field would be passed over in silence, and the correction would correct nothing.
        let mut again = after.to_value().map_err(unread)?;
        let kept = again.clone();
        json_patch::merge(&mut again, patch);
        if without_nulls(&again) != without_nulls(&kept) {
            return refuse(place, format!("a {} has no such field as in {patch}", before.kind()));
        }
        Ok(after)
    }

    fn may_go(&self, of: EntryId, reason: &str) -> Result<(), Refusal> {
        let place = format!("entry {of}");
        let Some(content) = self.get(of) else { return refuse(place, NO_SUCH) };
        if reason.trim().is_empty() {
            return refuse(place, NO_REASON);
        }
        if matches!(content, Content::Settings(_)) {
            return refuse(place, "holds the job's settings, which can be corrected but not withdrawn");
        }
        let needs = |c: &Content| match c {
            Content::Station(s) => s.run == of || s.origin.as_ref().is_some_and(|o| o.source == of),
            Content::Tie(t) => t.station == of || t.point == of,
            _ => false,
        };
        match self.entries().find(|(_, c)| needs(c)) {
            Some((user, c)) => {
                refuse(place, format!("is needed by entry {user}, a {}; withdraw that first", c.kind()))
            }
            None => Ok(()),
        }
    }

    /// Whether `content` may stand under the number `id`.
    fn admit(&self, id: EntryId, content: &Content) -> Result<(), Refusal> {
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
            Place::Grid { east_m, north_m, sigma_m } => {
                let near = |m: f64| m.abs() <= FARTHEST_GRID_M;
                if near(*east_m) && near(*north_m) && *sigma_m > 0.0 && *sigma_m <= FARTHEST_GRID_M {
                    Ok(())
                } else {
                    refuse(
                        place,
                        "must lie within 100 km of the grid's origin, with an uncertainty above 0; are these \
                         coordinates of a map? then take a point near the site as the origin",
                    )
                }
            }
            Place::Gnss(gnss) => {
                check_gnss(place, gnss)?;
                same_datum(&self.settings(), place, at)
            }
        }
    }
}

const NO_SUCH: &str = "is not there or was withdrawn; `nullwalk job history` names them all";
const NO_REASON: &str = "a change needs a reason; give one";
const DEEPEST_SWEEP_M: f64 = 20.0;
const MOST_CORNERS: usize = 1000;
const LONGEST_TIE_M: f64 = 200.0;
/// Farther off, a plane is no picture of the Earth, and the figures are most likely those of a map.
const FARTHEST_GRID_M: f64 = 1e5;

/// No place may stand on another datum, or with another kind of height, than the job.
fn same_datum(settings: &Settings, place: &str, at: &Place) -> Result<(), Refusal> {
    let Place::Gnss(gnss) = at else { return Ok(()) };
    let Some(datum) = settings.datum else {
        return refuse(
            place,
            format!(
                "is given in {}, and the job has no datum; say it with `nullwalk job correct JOB 1 --set \
                 'datum=\"{}\"'`",
                gnss.datum.name(),
                gnss.datum.name()
            ),
        );
    };
    if datum != gnss.datum {
        return refuse(
            place,
            format!(
                "is given in {}, the job is in {}: these differ by up to metres and are not mixed; transform the \
                 place to {} first",
                gnss.datum.name(),
                datum.name(),
                datum.name()
            ),
        );
    }
    let heights = settings.heights.clone().unwrap_or_default();
    if gnss.height_m.is_some() && heights != gnss.heights {
        return refuse(
            place,
            format!(
                "its height counts from {}, those of the job from {heights}: these differ by up to 100 m and are not \
                 mixed; convert it, or leave the height out",
                gnss.heights
            ),
        );
    }
    Ok(())
}

fn check_gnss(place: &str, gnss: &Gnss) -> Result<(), Refusal> {
    let sane = gnss.latitude_deg.abs() <= MOST_POLAR_DEG && gnss.longitude_deg.abs() <= 180.0;
    let height = gnss.height_m.is_none_or(|h| h.abs() <= HIGHEST_M);
    if !sane || !height {
        return refuse(
            place,
            "must have a latitude of -89 to 89, a longitude of -180 to 180 and a height of -12 to 12 km; degrees, not \
             minutes or metres",
        );
    }
    if !(gnss.sigma_m > 0.0 && gnss.sigma_m <= 1000.0) {
        return refuse(place, "needs the receiver's uncertainty, above 0 and up to 1000 m");
    }
    Ok(())
}

const MOST_POLAR_DEG: f64 = 89.0;
const HIGHEST_M: f64 = 12_000.0;

fn check_anchor(anchor: &Anchor) -> Result<(), Refusal> {
    let sane = anchor.latitude_deg.abs() <= MOST_POLAR_DEG
        && anchor.longitude_deg.abs() <= 180.0
        && anchor.ellipsoid_height_m.abs() <= HIGHEST_M
        && (0.0..=1000.0).contains(&anchor.sigma_m)
        && anchor.bearing_deg.abs() <= 360.0
        && (0.0..=180.0).contains(&anchor.bearing_sigma_deg);
    if sane {
        return Ok(());
    }
    refuse(
        "anchor",
        "must have a latitude of -89 to 89, a longitude of -180 to 180, a height of -12 to 12 km, a sigma of 0 to 1000 m \
         and a bearing of -360 to 360 with a sigma of 0 to 180",
    )
}

fn check_figures(place: &str, run: &Run) -> Result<(), Refusal> {
    run.check().map_err(|Fault { place: figure, remedy }| {
        // The place is told once.
        let figure = figure.strip_prefix(&format!("{place}: ")).unwrap_or(&figure);
        Refusal { place: place.to_owned(), what: format!("{figure} {remedy}") }
    })
}

fn check_measured(place: &str, name: &str, value: Option<crate::book::Measured>) -> Result<(), Refusal> {
    let sane = value.is_none_or(|m| m.value.abs() <= HIGHEST_M && (0.0..=1000.0).contains(&m.sigma));
    if sane {
        Ok(())
    } else {
        refuse(place, format!("{name} must be -12 to 12 km, with a sigma of 0 to 1000 m"))
    }
}

/// Without the fields that say nothing: a patch takes away what stands against `null`, and a writer may write it. A 1 is
/// a 1.0.
fn without_nulls(value: &Value) -> Value {
    match value {
        Value::Number(n) => n.as_f64().into(),
        Value::Array(list) => list.iter().map(without_nulls).collect(),
        Value::Object(map) => {
            let kept = map.iter().filter(|(_, v)| !v.is_null());
            Value::Object(kept.map(|(k, v)| (k.clone(), without_nulls(v))).collect())
        }
        other => other.clone(),
    }
}
