//! The plan of a yard: what was found where, seen from above, to scale. North is up.

use glam::DVec2;
use maud::{Markup, PreEscaped, html};

use super::Trace;
use super::text::amperes;
use crate::book::{Station, Verdict};
use crate::run::Walk;
use crate::site::Site;
use crate::units;

/// Width of the drawing and its margins, pixels.
const WIDTH: f64 = 1100.0;
const MARGIN: f64 = 36.0;
/// A table row, and the heads above drawing and table.
const ROW: f64 = 22.0;
const HEAD: f64 = 54.0;
/// Length of the stroke along a lay, metres, and its least length on paper, pixels.
const LAY_M: f64 = 4.0;
const TAG: f64 = 11.0;

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

/// A mark on the plan and its row in the table.
struct Mark {
    number: u32,
    place_m: Option<DVec2>,
    lay_deg: Option<f64>,
    verdict: Verdict,
    sonde: bool,
    cells: [String; 5],
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
        let low = places.iter().copied().reduce(DVec2::min)? - DVec2::splat(2.0);
        let high = places.iter().copied().reduce(DVec2::max)? + DVec2::splat(2.0);
        let size_m = (high - low).max(DVec2::splat(6.0));
        let scale = ((WIDTH - 2.0 * MARGIN) / size_m.x).min(560.0 / size_m.y);
        let view = View { low, high: low + size_m, scale, top: HEAD };
        let ground = view.ground();
        let table_top = HEAD + ground.y + 58.0;
        let height = table_top + ROW * (marks.len() as f64 + 1.0) + 64.0;
        let drawn = html! {
            (PreEscaped("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n"))
            svg xmlns="http://www.w3.org/2000/svg" viewBox={ "0 0 " (px(WIDTH)) " " (px(height)) }
                width=(px(WIDTH)) height=(px(height)) font-family="DejaVu Sans, Arial, sans-serif" font-size="13" {
                title { (self.title) }
                rect width="100%" height="100%" fill="white" {}
                text x=(px(MARGIN)) y="30" font-size="19" font-weight="bold" { (self.title) }
                (view.frame())
                @for (what, corners) in &self.truth { (view.truth(what, corners)) }
                @for lane in &self.lanes { (view.lane(lane)) }
                @for mark in &marks { (view.mark(mark)) }
                (view.strip(table_top - 34.0))
                (table(&marks, table_top))
                (cautions(height))
            }
        };
        Some(drawn.into_string())
    }
}

fn of_station(station: &Station) -> Mark {
    let depth = station.stated_depth_m();
    Mark {
        number: station.number,
        place_m: station.position.filter(|_| station.is_located()).map(|p| DVec2::new(p.east_m, p.north_m)),
        lay_deg: station.lay_deg.map(|lay| lay.value),
        verdict: station.verdict,
        sonde: true,
        cells: [
            station.name.clone(),
            "sonde in the drain".to_owned(),
            station.verdict.word().to_owned(),
            depth.map_or(String::new(), |d| units::metres_range(d.low95, d.high95)),
            station.stated_shallow_bound_m().map_or(String::new(), units::metres),
        ],
    }
}

fn of_trace(trace: &Trace) -> Mark {
    let silent = trace.listened.mains && trace.listened.order.is_none();
    let what = match (trace.listened.mains, trace.current) {
        (_, Some(current)) => format!("{} rms", amperes(current.rms_a)),
        (true, None) if silent => "mains: nothing heard".to_owned(),
        _ => String::new(),
    };
    let kind = if trace.listened.mains { "live power" } else { "tone" };
    let figures = trace.is_located();
    Mark {
        number: trace.number,
        place_m: trace.place.map(|p| DVec2::new(p.east_m, p.north_m)),
        lay_deg: trace.lay_deg.filter(|_| figures).map(|lay| lay.value),
        verdict: trace.verdict,
        sonde: false,
        cells: [
            trace.name.clone(),
            if what.is_empty() || silent {
                format!("{kind}{}{what}", if silent { "; " } else { "" })
            } else {
                format!("{kind}, {what}")
            },
            if silent { "no proof".to_owned() } else { trace.verdict.word().to_owned() },
            trace.depth_m.map_or(String::new(), |d| units::metres_range(d.low95, d.high95)),
            trace.shallow_bound_m.map_or(String::new(), units::metres),
        ],
    }
}

/// From the site to the paper.
struct View {
    low: DVec2,
    high: DVec2,
    scale: f64,
    top: f64,
}

impl View {
    /// Size of the ground on paper.
    fn ground(&self) -> DVec2 {
        (self.high - self.low) * self.scale
    }

    fn at(&self, place_m: DVec2) -> DVec2 {
        let from = place_m - self.low;
        DVec2::new(MARGIN + from.x * self.scale, self.top + self.ground().y - from.y * self.scale)
    }

    fn frame(&self) -> Markup {
        let size = self.ground();
        let every = |low: f64, high: f64| {
            let first = (low / 5.0).ceil() as i32;
            (first..=(high / 5.0).floor() as i32).map(|k| 5.0 * f64::from(k))
        };
        html! {
            defs { clipPath id="ground" {
                rect x=(px(MARGIN)) y=(px(self.top)) width=(px(size.x)) height=(px(size.y)) {}
            } }
            g stroke="#e4e4e4" stroke-width="1" {
                @for east in every(self.low.x, self.high.x) {
                    @let x = self.at(DVec2::new(east, self.low.y)).x;
                    line x1=(px(x)) x2=(px(x)) y1=(px(self.top)) y2=(px(self.top + size.y)) {}
                }
                @for north in every(self.low.y, self.high.y) {
                    @let y = self.at(DVec2::new(self.low.x, north)).y;
                    line y1=(px(y)) y2=(px(y)) x1=(px(MARGIN)) x2=(px(MARGIN + size.x)) {}
                }
            }
            g fill="#777" font-size="10" {
                @for east in every(self.low.x, self.high.x - 2.5) {
                    text x=(px(self.at(DVec2::new(east, 0.0)).x + 3.0)) y=(px(self.top + size.y - 4.0)) { (format!("{east} m E")) }
                }
                @for north in every(self.low.y, self.high.y) {
                    text x=(px(MARGIN + 3.0)) y=(px(self.at(DVec2::new(0.0, north)).y - 3.0)) { (format!("{north} m N")) }
                }
            }
            rect x=(px(MARGIN)) y=(px(self.top)) width=(px(size.x)) height=(px(size.y)) fill="none" stroke="#333" {}
        }
    }

    fn points(&self, places: &[[f64; 2]]) -> String {
        let point = |place: &[f64; 2]| {
            let at = self.at(DVec2::from_array(*place));
            format!("{},{}", px(at.x), px(at.y))
        };
        places.iter().map(point).collect::<Vec<_>>().join(" ")
    }

    fn truth(&self, what: &str, corners: &[[f64; 2]]) -> Markup {
        html! {
            g clip-path="url(#ground)" {
                polyline points=(self.points(corners)) fill="none" stroke="#9a9a9a" stroke-width="1.5" stroke-dasharray="7 5" {}
                (self.named(what, corners))
            }
        }
    }

    /// A line's name, along its longest piece that is on the paper.
    fn named(&self, what: &str, corners: &[[f64; 2]]) -> Markup {
        let inside = |place: DVec2| place.clamp(self.low, self.high);
        let pieces = corners.windows(2).filter_map(|ends| {
            let (from, to) = (DVec2::from_array(ends[0]), DVec2::from_array(ends[1]));
            // The part of it that shows, by small steps.
            let on = (0..=400).map(|k| from.lerp(to, f64::from(k) / 400.0)).filter(|&p| inside(p) == p);
            let shown: Vec<DVec2> = on.collect();
            Some((*shown.first()?, *shown.last()?))
        });
        let longest = pieces.max_by(|a, b| a.0.distance(a.1).total_cmp(&b.0.distance(b.1)));
        let Some((from, to)) = longest else { return html! {} };
        let (a, b) = (self.at(from), self.at(to));
        let (a, b) = if b.x < a.x { (b, a) } else { (a, b) };
        let at = a.lerp(b, 0.72);
        let degrees = (b - a).y.atan2((b - a).x).to_degrees();
        html! {
            text x=(px(at.x)) y=(px(at.y - 5.0)) fill="#777" font-size="11" font-style="italic"
                transform=(format!("rotate({degrees:.1} {} {})", px(at.x), px(at.y))) { (what) }
        }
    }

    fn lane(&self, lane: &Lane) -> Markup {
        html! { polyline points=(self.points(&lane.places_m)) fill="none" stroke="#b9d3e6" stroke-width="1.3" {} }
    }

    fn mark(&self, mark: &Mark) -> Markup {
        let Some(place_m) = mark.place_m else { return html! {} };
        let at = self.at(place_m);
        let (colour, dashes) = style(mark.verdict);
        let lay = mark.lay_deg.map(|degrees| {
            let (sin, cos) = degrees.to_radians().sin_cos();
            DVec2::new(sin, -cos) * (0.5 * LAY_M * self.scale)
        });
        let tag = at + DVec2::new(15.0, -15.0);
        html! {
            @if let Some(half) = lay {
                line x1=(px(at.x - half.x)) y1=(px(at.y - half.y)) x2=(px(at.x + half.x)) y2=(px(at.y + half.y))
                    stroke=(colour) stroke-width=(if mark.sonde { "2" } else { "4" }) stroke-dasharray=(dashes) {}
            }
            @if mark.sonde {
                rect x=(px(at.x - 5.0)) y=(px(at.y - 5.0)) width="10" height="10" fill="white" stroke=(colour)
                    stroke-width="2" transform=(format!("rotate(45 {} {})", px(at.x), px(at.y))) {}
            } @else {
                circle cx=(px(at.x)) cy=(px(at.y)) r="4.5" fill="white" stroke=(colour) stroke-width="2" {}
            }
            circle cx=(px(tag.x)) cy=(px(tag.y)) r=(px(TAG)) fill="white" stroke="#222" {}
            text x=(px(tag.x)) y=(px(tag.y + 4.5)) text-anchor="middle" font-weight="bold" { (mark.number) }
        }
    }

    /// Scale bar, north, and what the strokes mean.
    fn strip(&self, y: f64) -> Markup {
        let five = 5.0 * self.scale;
        let x = MARGIN;
        let key = |x: f64, verdict: Verdict, words: &str| {
            let (colour, dashes) = style(verdict);
            html! {
                line x1=(px(x)) x2=(px(x + 30.0)) y1=(px(y)) y2=(px(y)) stroke=(colour) stroke-width="4" stroke-dasharray=(dashes) {}
                text x=(px(x + 37.0)) y=(px(y + 4.5)) { (words) }
            }
        };
        html! {
            path d=(format!("M{} {} v-6 h{} v6", px(x), px(y + 3.0), px(five))) fill="none" stroke="#222" stroke-width="1.5" {}
            text x=(px(x + five + 8.0)) y=(px(y + 4.5)) { "5 m" }
            path d=(format!("M{0} {1} v-20 m-5 7 l5 -7 l5 7", px(x + five + 60.0), px(y + 8.0))) fill="none" stroke="#222" stroke-width="1.5" {}
            text x=(px(x + five + 70.0)) y=(px(y + 4.5)) { "north" }
            (key(x + five + 140.0, Verdict::Agree, "agree"))
            (key(x + five + 235.0, Verdict::Doubt, "doubt"))
            line x1=(px(x + five + 330.0)) x2=(px(x + five + 360.0)) y1=(px(y)) y2=(px(y)) stroke="#9a9a9a" stroke-width="1.5" stroke-dasharray="7 5" {}
            text x=(px(x + five + 367.0)) y=(px(y + 4.5)) { "as it really runs (simulated)" }
            line x1=(px(x + five + 590.0)) x2=(px(x + five + 620.0)) y1=(px(y)) y2=(px(y)) stroke="#b9d3e6" stroke-width="2" {}
            text x=(px(x + five + 627.0)) y=(px(y + 4.5)) { "walked" }
        }
    }
}

fn style(verdict: Verdict) -> (&'static str, &'static str) {
    match verdict {
        Verdict::Agree => (crate::chart::BLUE, ""),
        Verdict::Doubt => (crate::chart::RED, "9 4"),
        Verdict::Refuse => ("#555", "2 4"),
    }
}

/// Left edges of the table's columns.
const COLUMNS: [f64; 6] = [0.0, 34.0, 360.0, 590.0, 690.0, 880.0];

fn table(marks: &[Mark], top: f64) -> Markup {
    let heads = ["", "where", "what was heard", "verdict", "depth (95 %)", "reckon from"];
    html! {
        g font-weight="bold" {
            @for (head, x) in heads.iter().zip(COLUMNS) {
                text x=(px(MARGIN + x)) y=(px(top)) { (head) }
            }
        }
        line x1=(px(MARGIN)) x2=(px(WIDTH - MARGIN)) y1=(px(top + 6.0)) y2=(px(top + 6.0)) stroke="#222" {}
        @for (n, mark) in marks.iter().enumerate() {
            @let y = top + ROW * (n as f64 + 1.0);
            text x=(px(MARGIN)) y=(px(y)) font-weight="bold" { (mark.number) }
            @for (cell, x) in mark.cells.iter().zip(COLUMNS.iter().skip(1)) {
                text x=(px(MARGIN + x)) y=(px(y)) { (cell) }
            }
        }
    }
}

fn cautions(height: f64) -> Markup {
    html! {
        g fill="#a00000" font-size="12" {
            text x=(px(MARGIN)) y=(px(height - 34.0)) {
                "A located depth is no permission to dig. Follow local codes and licensed practice, have all utilities notified and marked, and expose with safe means."
            }
            text x=(px(MARGIN)) y=(px(height - 16.0)) {
                "Nothing heard is no proof that nothing is there: a cable without load makes no field. Depths are those of the current's middle."
            }
        }
    }
}

/// Rounded to a tenth of a pixel.
fn px(value: f64) -> String {
    format!("{:.1}", value + 0.0)
}
