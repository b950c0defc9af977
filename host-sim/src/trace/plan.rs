//! The plan of a yard: what was found where, seen from above, to scale. North is up.

use glam::DVec2;
use maud::{Markup, html};

use super::Trace;
use super::text::amperes;
use crate::book::{Station, Verdict};
use crate::chart::{
    Axis, BLUE, GUIDE, INK, LEFT, LETTERS_PX, Line, PAPER, Panel, RED, RIGHT, SKY, SMALL_PX, SOFT, WIDTH,
    decimal, document, heading, note, words,
};
use crate::letters;
use crate::run::Walk;
use crate::site::Site;
use crate::units;

/// Upper edge of the ground, and its greatest height, pixels.
const TOP: f64 = 40.0;
const TALLEST: f64 = 480.0;
/// Ground around what is on the plan, and the least that is drawn, metres.
const AROUND_M: f64 = 2.0;
const LEAST_M: f64 = 6.0;
/// Left edge of what stands below the ground.
const MARGIN: f64 = 14.0;
/// From the ground to the key, from there to the table, and from row to row.
const KEY: f64 = 58.0;
const TABLE: f64 = 32.0;
const ROW: f64 = 20.0;
/// Length of the stroke along a lay, metres, and its least length on paper, pixels.
const LAY_M: f64 = 4.0;
const LAY_PX: f64 = 26.0;
/// Size of a mark, of the ring around its number, and from one to the other, pixels.
const MARK: f64 = 4.5;
const TAG: f64 = 9.0;
const TAG_AWAY: f64 = 21.0;
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

/// A mark on the plan and its row in the table.
struct Mark {
    number: u32,
    place_m: Option<DVec2>,
    lay_deg: Option<f64>,
    line: Line,
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
            (strip(key))
            (table(&marks, rows))
            @for (n, line) in cautions.iter().enumerate() {
                (words("start", MARGIN, below + 16.0 * n as f64, line))
            }
        };
        Some(document(WIDTH, below + 16.0 * cautions.len() as f64, &self.title, &content))
    }
}

fn of_station(station: &Station) -> Mark {
    let depth = station.stated_depth_m();
    Mark {
        number: station.number,
        place_m: station.position.filter(|_| station.is_located()).map(|p| DVec2::new(p.east_m, p.north_m)),
        lay_deg: station.lay_deg.map(|lay| lay.value),
        line: style(station.verdict),
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
        line: style(trace.verdict),
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

/// From the site to the paper; north is up.
struct View {
    low: DVec2,
    high: DVec2,
    panel: Panel,
}

impl View {
    fn new(low: DVec2, high: DVec2) -> Self {
        let high = high.max(low + LEAST_M);
        let size_m = high - low;
        let per_m = ((WIDTH - LEFT - RIGHT) / size_m.x).min(TALLEST / size_m.y);
        let size = size_m * per_m;
        let axis = |label, from, to, length: f64| Axis::rounded(label, from, to, (length / 50.0).max(2.0));
        let (x, y) = (axis("east, m", low.x, high.x, size.x), axis("north, m", low.y, high.y, size.y));
        Self { low, high, panel: Panel { left: LEFT, top: TOP, width: size.x, height: size.y, x, y } }
    }

    fn at(&self, place_m: DVec2) -> DVec2 {
        let from = (place_m - self.low) * self.per_m();
        DVec2::new(self.panel.left + from.x, self.panel.bottom() - from.y)
    }

    fn per_m(&self) -> f64 {
        self.panel.width / (self.high.x - self.low.x)
    }

    fn rectangle(&self) -> Markup {
        let Panel { left, top, width, height, .. } = self.panel;
        html! { rect x=(decimal(left)) y=(decimal(top)) width=(decimal(width)) height=(decimal(height)) {} }
    }

    fn path(&self, places_m: &[[f64; 2]], line: Line) -> Markup {
        let point = |place: &[f64; 2]| {
            let at = self.at(DVec2::from_array(*place));
            format!("{} {}", decimal(at.x), decimal(at.y))
        };
        let points = places_m.iter().map(point).collect::<Vec<_>>().join(" ");
        html! {
            polyline points=(points) fill="none" stroke=(line.stroke) stroke-width=(line.width)
                stroke-dasharray=[line.dash_array()] {}
        }
    }

    /// A line's name, along its longest piece that is on the paper, away from what was found.
    fn named(&self, what: &str, corners_m: &[[f64; 2]], marks: &[Mark]) -> Markup {
        let inside = |place: DVec2| place.clamp(self.low, self.high);
        let pieces = corners_m.windows(2).filter_map(|ends| {
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
        // As far from its ends as the words need.
        let room = (0.5 * SMALL_PX * letters::width(what, false) + 8.0) / a.distance(b);
        let clear = |at: DVec2| {
            let places = marks.iter().filter_map(|mark| mark.place_m);
            places.map(|place| self.at(place).distance(at)).fold(f64::INFINITY, f64::min)
        };
        let shares =
            (0..=20).map(|k| f64::from(k) / 20.0).filter(|share| (room..=1.0 - room).contains(share));
        let at = shares.map(|share| a.lerp(b, share)).max_by(|p, q| clear(*p).total_cmp(&clear(*q)));
        let at = at.unwrap_or(a.midpoint(b));
        let degrees = (b - a).y.atan2((b - a).x).to_degrees();
        html! {
            g fill=(SOFT) transform=(format!("rotate({degrees:.1} {} {})", decimal(at.x), decimal(at.y))) {
                (note("middle", at.x, at.y - 5.0, what))
            }
        }
    }

    fn mark(&self, mark: &Mark) -> Markup {
        let Some(place_m) = mark.place_m else { return html! {} };
        let at = self.at(place_m);
        let Line { stroke, width, .. } = mark.line;
        let (x, y) = (decimal(at.x), decimal(at.y));
        html! {
            @if let Some(along) = mark.along() {
                @let half = along * (0.5 * (LAY_M * self.per_m()).max(LAY_PX));
                line x1=(decimal(at.x - half.x)) y1=(decimal(at.y - half.y)) x2=(decimal(at.x + half.x))
                    y2=(decimal(at.y + half.y)) stroke=(stroke) stroke-width=(if mark.sonde { "2" } else { width })
                    stroke-dasharray=[mark.line.dash_array()] {}
            }
            @if mark.sonde {
                rect x=(decimal(at.x - MARK)) y=(decimal(at.y - MARK)) width=(2.0 * MARK) height=(2.0 * MARK)
                    fill=(PAPER) stroke=(stroke) stroke-width="2" transform=(format!("rotate(45 {x} {y})")) {}
            } @else {
                circle cx=(x) cy=(y) r=(MARK) fill=(PAPER) stroke=(stroke) stroke-width="2" {}
            }
        }
    }

    /// The marks' numbers, each beside its stroke, where no other mark or number is.
    fn tags(&self, marks: &[Mark]) -> Markup {
        let places: Vec<DVec2> = marks.iter().filter_map(|mark| mark.place_m).map(|p| self.at(p)).collect();
        let mut tags: Vec<(DVec2, u32)> = Vec::new();
        for mark in marks {
            let Some(at) = mark.place_m.map(|place_m| self.at(place_m)) else { continue };
            let beside = mark.along().map_or(DVec2::new(1.0, -1.0).normalize(), DVec2::perp);
            let ways = [0.0, 180.0, 40.0, -40.0, 140.0, -140.0]
                .map(|deg: f64| beside.rotate(DVec2::from_angle(deg.to_radians())));
            let room = |tag: DVec2| {
                let others =
                    places.iter().filter(|place| **place != at).map(|place| place.distance(tag) - MARK);
                let numbers = tags.iter().map(|(other, _)| other.distance(tag) - TAG);
                let (low, high) = (self.at(self.low), self.at(self.high));
                let edge = (tag.x - low.x).min(high.x - tag.x).min(low.y - tag.y).min(tag.y - high.y);
                others.chain(numbers).fold(edge, f64::min) - TAG
            };
            // The first with enough room, or that with the most.
            let choices = ways.map(|way| at + way * TAG_AWAY);
            let free = choices.iter().copied().find(|tag| room(*tag) > 3.0);
            let most = choices.into_iter().max_by(|a, b| room(*a).total_cmp(&room(*b)));
            tags.extend(free.or(most).map(|tag| (tag, mark.number)));
        }
        html! {
            @for (at, number) in &tags {
                circle cx=(decimal(at.x)) cy=(decimal(at.y)) r=(TAG) fill=(PAPER) stroke=(INK) {}
                text x=(decimal(at.x)) y=(decimal(at.y + 0.35 * LETTERS_PX)) text-anchor="middle" font-weight="bold" { (number) }
            }
        }
    }
}

impl Mark {
    /// Which way the lay goes on paper.
    fn along(&self) -> Option<DVec2> {
        let (sin, cos) = self.lay_deg?.to_radians().sin_cos();
        Some(DVec2::new(sin, -cos))
    }
}

/// What the strokes mean.
fn strip(y: f64) -> Markup {
    html! {
        (style(Verdict::Agree).key(MARGIN, y, "lay, agree"))
        (style(Verdict::Doubt).key(MARGIN + 130.0, y, "lay, doubt"))
        (TRUTH.key(MARGIN + 260.0, y, "as it really runs (simulated)"))
        (WALKED.key(MARGIN + 490.0, y, "walked"))
    }
}

fn style(verdict: Verdict) -> Line {
    match verdict {
        Verdict::Agree => Line::new(BLUE, "4", ""),
        Verdict::Doubt => Line::new(RED, "4", "9 4"),
        Verdict::Refuse => Line::new(SOFT, "4", "2 4"),
    }
}

/// Left edges of the table's columns.
const COLUMNS: [f64; 6] = [0.0, 22.0, 270.0, 470.0, 545.0, 655.0];

fn table(marks: &[Mark], top: f64) -> Markup {
    let heads = ["", "where", "what was heard", "verdict", "depth (95 %)", "reckon from"];
    html! {
        @for (head, x) in heads.iter().zip(COLUMNS) { (heading(MARGIN + x, top, head)) }
        @let (right, rule) = (decimal(WIDTH - MARGIN), decimal(top + 6.0));
        line x1=(MARGIN) x2=(right) y1=(rule) y2=(rule) stroke=(INK) {}
        @for (n, mark) in marks.iter().enumerate() {
            @let y = top + ROW * (n as f64 + 1.0) + 2.0;
            (heading(MARGIN, y, &mark.number.to_string()))
            @for (cell, x) in mark.cells.iter().zip(COLUMNS.iter().skip(1)) { (words("start", MARGIN + x, y, cell)) }
        }
    }
}

const CAUTIONS: [&str; 2] = [
    "A located depth is no permission to dig. Follow local codes and licensed practice, have all utilities notified and marked, and expose with safe means.",
    "Nothing heard is no proof that nothing is there: a cable without load makes no field. Depths are those of the current's middle.",
];
