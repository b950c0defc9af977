//! Where everything of a job is, on one grid; or why it cannot be said.

use std::collections::BTreeMap;

use glam::DVec2;

use super::content::Content;
use super::draft::Refusal;
use super::place::{Anchor, Cov, Datum, Gnss, Heights, Place, Spot};
use super::state::State;
use super::ties::{Swing, Tied, Untied, tied};
use super::{EntryId, StationEntry};
use crate::book::{Run, SitePosition};

/// Where the stations and points of a job are.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Places {
    /// Where the grid lies on the Earth, if that is known.
    pub anchor: Option<(Datum, Anchor)>,
    /// What the reader should know of the places.
    pub notices: Vec<String>,
    found: BTreeMap<EntryId, Result<Spot, Unplaced>>,
    ties: BTreeMap<EntryId, Tied>,
}

/// Why something has no place.
#[derive(Debug, Clone, PartialEq)]
pub enum Unplaced {
    /// The locate knew no place, and none was taped.
    NeverTaken,
    /// The ties give none.
    Ties(Untied),
}

impl std::fmt::Display for Unplaced {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::NeverTaken => {
                f.write_str("it has no place: tape its mark, or tie it to permanent points")
            }
            Self::Ties(why) => why.fmt(f),
        }
    }
}

impl Places {
    /// Where an entry is.
    ///
    /// # Errors
    /// Why that is not known.
    pub fn of(&self, id: EntryId) -> Result<Spot, Unplaced> {
        self.found.get(&id).cloned().unwrap_or(Err(Unplaced::NeverTaken))
    }

    /// How the ties of a station came out.
    pub fn ties_of(&self, id: EntryId) -> Option<&Tied> {
        self.ties.get(&id)
    }
}

/// One metre of height is worth so many metres in a metre of length, where the height of a place is not known.
const HEIGHT_UNKNOWN: &str = "no height over the ellipsoid is known, so lengths on the grid may be off by 1 in 6000 for \
                              each kilometre the site lies high";

impl State {
    /// Where everything is.
    ///
    /// # Errors
    /// When some places are on a grid and others by satellites, and nothing says where the grid lies.
    pub fn places(&self) -> Result<Places, Refusal> {
        let mut places = Places { anchor: self.anchor()?, ..Places::default() };
        if self.settings().anchor.is_none()
            && places.anchor.is_some()
            && self.gnss().all(|(_, g)| g.height_m.is_none() || g.heights != Heights::Ellipsoid)
        {
            places.notices.push(HEIGHT_UNKNOWN.to_owned());
        }
        for (id, point) in self.points() {
            let spot = places.plain(&point.place);
            places.found.insert(id, spot.ok_or(Unplaced::NeverTaken));
        }
        let mut swings: BTreeMap<EntryId, Vec<Swing>> = BTreeMap::new();
        for (_, tie) in self.ties() {
            if let Ok(from) = places.of(tie.point) {
                let swing = Swing { from, distance_m: tie.distance_m, sigma_m: tie.sigma_m };
                swings.entry(tie.station).or_default().push(swing);
            }
        }
        for (id, station) in self.stations() {
            let taped = swings.get(&id).map(Vec::as_slice).unwrap_or_default();
            let spot = places.of_station(id, station, taped);
            places.found.insert(id, spot);
        }
        Ok(places)
    }

    fn gnss(&self) -> impl Iterator<Item = (String, &Gnss)> {
        self.entries().filter_map(|(_, content)| match content {
            Content::Station(s) => match &s.place {
                Place::Gnss(g) => Some((format!("station {}", s.found.number), g)),
                _ => None,
            },
            Content::Point(p) => match &p.place {
                Place::Gnss(g) => Some((format!("point {:?}", p.name), g)),
                _ => None,
            },
            _ => None,
        })
    }

    /// What lies on the grid and not by satellites.
    fn gridded(&self) -> Option<String> {
        self.entries().find_map(|(_, content)| match content {
            Content::Station(s) => {
                let by_locate =
                    s.place == Place::Locate && s.found.position.is_some() && s.found.is_located();
                let taped = matches!(s.place, Place::Grid { .. });
                (by_locate || taped).then(|| format!("station {}", s.found.number))
            }
            Content::Point(p) => {
                matches!(p.place, Place::Grid { .. }).then(|| format!("point {:?}", p.name))
            }
            _ => None,
        })
    }

    fn anchor(&self) -> Result<Option<(Datum, Anchor)>, Refusal> {
        let settings = self.settings();
        if let (Some(anchor), Some(datum)) = (settings.anchor, settings.datum) {
            return Ok(Some((datum, anchor)));
        }
        let Some((name, first)) = self.gnss().next() else { return Ok(None) };
        if let Some(gridded) = self.gridded() {
            return Err(Refusal {
                place: name,
                what: format!(
                    "has a latitude and longitude, and {gridded} counts from the site's grid; nothing says where that \
                     grid lies: give it with `nullwalk job anchor`"
                ),
            });
        }
        let height = first.height_m.filter(|_| first.heights == Heights::Ellipsoid);
        let anchor = Anchor {
            latitude_deg: first.latitude_deg,
            longitude_deg: first.longitude_deg,
            ellipsoid_height_m: height.unwrap_or(0.0),
            sigma_m: 0.0,
            bearing_deg: 0.0,
            bearing_sigma_deg: 0.0,
        };
        Ok(Some((first.datum, anchor)))
    }

    /// A run as the sheet and the drawings take it, its stations in the order of their numbers and at their places.
    pub fn run(&self, run: EntryId, places: &Places) -> Option<Run> {
        let Content::Run(card) = self.get(run)? else { return None };
        let settings = self.settings();
        let stations = self.stations_of(run).into_iter().map(|(id, station)| {
            let mut found = station.found.clone();
            found.position = places.of(id).ok().map(|spot| SitePosition {
                east_m: spot.at.x,
                north_m: spot.at.y,
                sigma_m: spot.cov.axes().0,
            });
            found
        });
        Some(Run {
            title: card.name.clone(),
            description: card.description.clone(),
            site_note: settings.site_note,
            recorded: card.recorded.clone(),
            made: card.made.clone(),
            simulated: card.simulated,
            pipe: card.pipe,
            tolerance_zone: card.tolerance_zone,
            stations: stations.collect(),
        })
    }

    /// The stations of a run in the order of their numbers.
    pub fn stations_of(&self, run: EntryId) -> Vec<(EntryId, &StationEntry)> {
        let mut stations: Vec<_> = self.stations().filter(|(_, s)| s.run == run).collect();
        stations.sort_by_key(|(id, s)| (s.found.number, *id));
        stations
    }
}

impl Places {
    /// A place that stands for itself.
    fn plain(&self, place: &Place) -> Option<Spot> {
        match place {
            Place::Grid { east_m, north_m, sigma_m } => {
                Some(Spot { at: DVec2::new(*east_m, *north_m), cov: Cov::round(*sigma_m) })
            }
            Place::Gnss(gnss) => {
                let (datum, anchor) = self.anchor?;
                let height = gnss.height_m.filter(|_| gnss.heights == Heights::Ellipsoid);
                let at = anchor.to_grid(datum, gnss.latitude_deg, gnss.longitude_deg, height);
                Some(Spot { at, cov: Cov::round(gnss.sigma_m) })
            }
            Place::Locate | Place::Ties { .. } => None,
        }
    }

    fn of_station(
        &mut self,
        id: EntryId,
        station: &StationEntry,
        taped: &[Swing],
    ) -> Result<Spot, Unplaced> {
        let located = station.found.position;
        // What was taped is the mark; how far the mark may be from the source, the locate says.
        let mark = Cov::round(located.filter(|_| station.found.is_located()).map_or(0.0, |p| p.sigma_m));
        match &station.place {
            Place::Locate => {
                let place = located.ok_or(Unplaced::NeverTaken)?;
                Ok(Spot { at: DVec2::new(place.east_m, place.north_m), cov: Cov::round(place.sigma_m) })
            }
            Place::Ties { side } => {
                let hint = located.map(|p| DVec2::new(p.east_m, p.north_m));
                let found = tied(taped, *side, hint).map_err(Unplaced::Ties)?;
                let number = station.found.number;
                if !found.agree {
                    let worst = found.residuals_m.iter().fold(0.0, |a: f64, r| a.max(r.abs()));
                    self.notices.push(format!(
                        "station {number}: its ties contradict each other by up to {worst:.2} m; tape them again"
                    ));
                } else if found.spare == 0 {
                    self.notices.push(format!(
                        "station {number}: two ties place it and nothing checks them; tape a third"
                    ));
                }
                let spot = Spot { at: found.spot.at, cov: found.spot.cov.and(mark) };
                self.ties.insert(id, found);
                Ok(spot)
            }
            place => {
                let spot = self.plain(place).ok_or(Unplaced::NeverTaken)?;
                Ok(Spot { at: spot.at, cov: spot.cov.and(mark) })
            }
        }
    }
}
