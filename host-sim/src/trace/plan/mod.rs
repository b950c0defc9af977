//! The plan of a yard: what was found where, seen from above, to scale. North is up.

mod mark;
mod table;
mod view;

use glam::DVec2;
use maud::html;

use super::Trace;
use crate::book::Station;
use crate::chart::{GUIDE, LEFT, Line, SKY, WIDTH, document, heading, words};
use crate::run::Walk;
use crate::site::Site;
use mark::{Mark, of_station, of_trace};
use view::View;

/// Ground around what is on the plan, metres.
const AROUND_M: f64 = 2.0;
/// Left edge of what stands below the ground.
const MARGIN: f64 = 14.0;
/// From the ground to the key, from there to the table, and from row to row.
const KEY: f64 = 58.0;
const TABLE: f64 = 32.0;
const ROW: f64 = 20.0;
/// Letters on a line of cautions.
const LETTERS: usize = 118;

const TRUTH: Line = GUIDE;
const WALKED: Line = Line::new(SKY, "1.2", "");

/// A lane that was walked.
#[derive(Debug, Clone, PartialEq)]
pub struct Lane {
    /// Its places: east and north, metres.
    pub places_m: Vec<[f64; 2]>,
}

impl Lane {
    /// Where the mast was on a walk.
    pub fn of(walk: &Walk) -> Self {
        let places = walk.seen.iter().filter_map(|seen| seen.glimpse.mast.position);
        Self { places_m: places.map(|p| [f64::from(p.enu_m.x), f64::from(p.enu_m.y)]).collect() }
    }
}

/// Everything that goes on the plan.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Plan {
    /// Its title.
    pub title: String,
    /// Sondes.
    pub stations: Vec<Station>,
    /// Lines.
    pub traces: Vec<Trace>,
    /// Where the mast was.
    pub lanes: Vec<Lane>,
    /// Where lines really run, which only a simulator knows: what each is, and its corners.
    pub truth: Vec<(String, Vec<[f64; 2]>)>,
}

impl Plan {
    /// Of a site on which nothing was found yet: where its lines really run.
    pub fn of(site: &Site) -> Self {
        let mut truth: Vec<(String, Vec<[f64; 2]>)> = Vec::new();
        for line in site.stations().iter().flat_map(|station| site.lines(station)) {
            let corners = line.corners_m().map(|corner| corner.to_array()).to_vec();
            if truth.iter().all(|(_, known)| *known != corners) {
                truth.push((line.name.clone(), corners));
            }
        }
        Self { title: site.title.clone(), truth, ..Self::default() }
    }

    /// The plan as SVG; `None` where nothing has a place.
    pub fn svg(&self) -> Option<String> {
        let marks: Vec<Mark> =
            self.stations.iter().map(of_station).chain(self.traces.iter().map(of_trace)).collect();
        let walked =
            self.lanes.iter().flat_map(|lane| &lane.places_m).map(|&place| DVec2::from_array(place));
        let places: Vec<DVec2> = marks.iter().filter_map(|mark| mark.place_m).chain(walked).collect();
        let low = places.iter().copied().reduce(DVec2::min)? - AROUND_M;
        let high = places.iter().copied().reduce(DVec2::max)? + AROUND_M;
        let view = View::new(low, high);
        let key = view.panel.bottom() + KEY;
        let rows = key + TABLE;
        let below = rows + ROW * (marks.len() as f64 + 1.0) + 12.0;
        let cautions = CAUTIONS.iter().flat_map(|caution| textwrap::wrap(caution, LETTERS));
        let cautions: Vec<_> = cautions.collect();
        let content = html! {
            (heading(LEFT, 22.0, &self.title))
            defs { clipPath id="ground" { (view.rectangle()) } }
            (view.panel.scales())
            g clip-path="url(#ground)" {
                @for (_, corners) in &self.truth { (view.path(corners, TRUTH)) }
                @for lane in &self.lanes { (view.path(&lane.places_m, WALKED)) }
                @for (what, corners) in &self.truth { (view.named(what, corners, &marks)) }
                @for mark in &marks { (view.mark(mark)) }
                (view.tags(&marks))
            }
            (view.panel.outline())
            (table::key(key))
            (table::table(&marks, rows))
            @for (n, line) in cautions.iter().enumerate() {
                (words("start", MARGIN, below + 16.0 * n as f64, line))
            }
        };
        Some(document(WIDTH, below + 16.0 * cautions.len() as f64, &self.title, &content))
    }
}

const CAUTIONS: [&str; 2] = [
    "A located depth is no permission to dig. Follow local codes and licensed practice, have all utilities notified and marked, and expose with safe means.",
    "Nothing heard is no proof that nothing is there: a cable without load makes no field. Depths are those of the current's middle.",
];
