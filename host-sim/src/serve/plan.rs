//! The map: a plain plan to scale, north of the site's grid up, made of nothing but the job.

use glam::DVec2;
use maud::{Markup, html};

use super::draw::{Labels, WIDE, dots, line, n, through, words};
use crate::book::{Station, Verdict};
use crate::chart::{plain, round_down};
use crate::job::{EntryId, Places, Spot, State, StationEntry, Utility, ellipse95};
use crate::units::METRES_PER_FOOT;

const TALLEST: f64 = 420.0;
const SHORTEST: f64 = 160.0;
const MARGIN: f64 = 26.0;
/// Strip under the map for the scale.
const STRIP: f64 = 44.0;
/// With more stations, or where they stand closer, they are points without ellipses or links.
const MOST_DETAILED: usize = 200;
const CLOSEST: f64 = 10.0;
/// Numbers that follow each other are so far apart; between them some are left out.
const NUMBERS_APART: f64 = 34.0;
/// What lies together closer than this is shown no larger, metres.
const NARROWEST_M: f64 = 2.0;

/// A station with a place.
struct Mark<'a> {
    entry: EntryId,
    station: &'a StationEntry,
    spot: Spot,
}

impl Mark<'_> {
    fn found(&self) -> &Station {
        &self.station.found
    }
}

/// Stations of a run in order.
struct Line<'a> {
    run: EntryId,
    name: &'a str,
    utility: Utility,
    marks: Vec<Mark<'a>>,
    /// Whether the station after a mark was left out for want of a place.
    gaps: Vec<bool>,
}

/// From the grid to the drawing.
struct View {
    corner_m: DVec2,
    per_m: f64,
    height: f64,
}

impl View {
    fn around(points: &[(DVec2, f64)]) -> Self {
        let low = points.iter().fold(DVec2::INFINITY, |low, (at, reach)| low.min(*at - *reach));
        let high = points.iter().fold(DVec2::NEG_INFINITY, |high, (at, reach)| high.max(*at + *reach));
        let size = (high - low).max(DVec2::splat(NARROWEST_M));
        let middle = 0.5 * (low + high);
        let inner = DVec2::new(WIDE, TALLEST) - 2.0 * MARGIN;
        let per_m = (inner / size).min_element();
        let height = (size.y * per_m + 2.0 * MARGIN).max(SHORTEST);
        let corner_m = middle + DVec2::new(-WIDE, height) / (2.0 * per_m);
        Self { corner_m, per_m, height }
    }

    /// How far apart the stations of a run stand on the drawing, on the whole.
    fn spacing(&self, run: &Line<'_>) -> Option<f64> {
        let steps = run.marks.windows(2).map(|pair| pair[0].spot.at.distance(pair[1].spot.at));
        let (count, length) = steps.fold((0.0, 0.0), |(count, sum), step| (count + 1.0, sum + step));
        (count > 0.0).then(|| self.per_m * length / count)
    }

    fn at(&self, place_m: DVec2) -> DVec2 {
        let from = place_m - self.corner_m;
        DVec2::new(from.x, -from.y) * self.per_m
    }
}

/// Where what is shown leads to.
pub struct Links<F: Fn(EntryId) -> String, G: Fn(EntryId) -> String> {
    /// Address of a run's page.
    pub run: F,
    /// Address of a station's page.
    pub station: G,
}

/// Draw all runs, or `only` one; or say why there is no map.
pub fn plan<F: Fn(EntryId) -> String, G: Fn(EntryId) -> String>(
    state: &State,
    places: &Places,
    only: Option<EntryId>,
    links: &Links<F, G>,
) -> Markup {
    let lines = lines(state, places, only);
    let drawn = |entry: EntryId| lines.iter().any(|l| l.marks.iter().any(|m| m.entry == entry));
    // All points belong on the map of a job; on that of a run those that its stations are tied to.
    let ties: Vec<_> = state.ties().filter(|(_, t)| only.is_none() || drawn(t.station)).collect();
    let points: Vec<_> = state
        .points()
        .filter(|(id, _)| only.is_none() || ties.iter().any(|(_, t)| t.point == *id))
        .filter_map(|(id, point)| Some((places.of(id).ok()?, point.name.as_str())))
        .collect();
    let marks = || lines.iter().flat_map(|l| &l.marks);
    let count = marks().count();
    if count + points.len() == 0 {
        return html! { p.none { "Nothing here has a place, so there is no map. Go by the marks on the ground." } };
    }
    let with_reach = |reach: fn(&Spot) -> f64| {
        let stations = marks().map(|m| (m.spot.at, reach(&m.spot)));
        View::around(&stations.chain(points.iter().map(|(spot, _)| (spot.at, 0.0))).collect::<Vec<_>>())
    };
    let view = with_reach(|spot| ellipse95() * spot.cov.axes().0);
    let apart = lines.iter().filter_map(|run| view.spacing(run)).fold(f64::INFINITY, f64::min);
    let detailed = count <= MOST_DETAILED && apart >= CLOSEST;
    let view = if detailed { view } else { with_reach(|_| 0.0) };
    let room = DVec2::new(WIDE, view.height);
    let mut labels = Labels::default();
    if detailed {
        marks().for_each(|m| labels.keep_free(view.at(m.spot.at), 3.0));
    }
    // Every one, every second, every fifth and so on.
    let every = [1, 2, 5, 10, 20, 50, 100].into_iter().find(|&n| f64::from(n) * apart >= NUMBERS_APART);
    let numbered =
        |m: &Mark<'_>| every.is_some_and(|n| m.found().number.is_multiple_of(n)) || m.found().trouble_spot;
    html! {
        svg.map xmlns="http://www.w3.org/2000/svg" role="img" aria-label="Map of the job, north up"
            viewBox={ "0 0 " (n(WIDE)) " " (n(view.height + STRIP)) } {
            rect.frame x="0.5" y="0.5" width=(n(WIDE - 1.0)) height=(n(view.height - 1.0)) {}
            @for (_, tie) in &ties {
                @if let (Ok(a), Ok(b)) = (places.of(tie.station), places.of(tie.point)) {
                    (line("tie", view.at(a.at), view.at(b.at)))
                }
            }
            @for run in &lines { (course(&view, run)) }
            @if only.is_some() { @for run in &lines { (letter(&view, run, &mut labels)) } }
            @if detailed {
                @for mark in marks() { (ellipse(&view, mark)) }
                @for mark in marks() { (detail(&view, mark, &(links.station)(mark.entry), numbered(mark).then_some(&mut labels), room)) }
            } @else {
                @for verdict in [Verdict::Agree, Verdict::Doubt, Verdict::Refuse] {
                    @let these = marks().filter(|m| m.found().verdict == verdict).map(|m| view.at(m.spot.at));
                    path class={ "dots " (verdict.word().to_lowercase()) } d=(dots(these)) {}
                }
                @if only.is_some() {
                    @for mark in marks().filter(|m| numbered(m)) { (number(&view, mark, &mut labels, room)) }
                }
            }
            @for (spot, name) in &points { (point(&view, spot, name, &mut labels, room)) }
            @for mark in marks().filter(|m| m.found().trouble_spot) {
                @let at = view.at(mark.spot.at);
                circle.trouble cx=(n(at.x)) cy=(n(at.y)) r="6.5" {}
            }
            @if only.is_none() {
                @for run in &lines { (name(&view, run, &(links.run)(run.run), &mut labels, room)) }
            }
            (north(&view))
            (scale(&view))
        }
        p.also {
            "Straight from station to station: between them nothing was measured. "
            @if detailed { "Ellipses hold the true place with 95 %. " }
            "Dotted: a station there was refused or has no place. Crosses: tried and refused."
            @if !points.is_empty() { " Triangles: permanent points; fine lines: ties." }
            @if marks().any(|m| m.found().trouble_spot) { " Ring: trouble spot." }
        }
    }
}

fn lines<'a>(state: &'a State, places: &Places, only: Option<EntryId>) -> Vec<Line<'a>> {
    let mut lines: Vec<Line<'a>> = state
        .runs()
        .filter(|(id, _)| only.is_none_or(|only| only == *id))
        .map(|(run, card)| Line {
            run,
            name: &card.name,
            utility: card.utility,
            marks: vec![],
            gaps: vec![],
        })
        .collect();
    let mut stations: Vec<_> = state.stations().collect();
    stations.sort_by_key(|(id, s)| (s.found.number, *id));
    for (entry, station) in stations {
        let Ok(at) = lines.binary_search_by_key(&station.run, |line| line.run) else { continue };
        match places.of(entry) {
            Ok(spot) => {
                lines[at].marks.push(Mark { entry, station, spot });
                lines[at].gaps.push(false);
            }
            Err(_) => {
                if let Some(gap) = lines[at].gaps.last_mut() {
                    *gap = true;
                }
            }
        }
    }
    lines
}

fn colour(utility: Utility) -> String {
    format!("course {}", utility.word())
}

/// The line of a run: whole where station follows station, dotted over what is not known.
fn course(view: &View, run: &Line<'_>) -> Markup {
    let (mut whole, mut gaps) = (Vec::new(), Vec::new());
    let (mut piece, mut gap) = (Vec::new(), false);
    for (mark, gap_after) in run.marks.iter().zip(&run.gaps) {
        if mark.found().is_located() {
            let at = view.at(mark.spot.at);
            if let Some(before) = piece.last().filter(|_| gap) {
                gaps.push(through([*before, at]));
                whole.push(std::mem::take(&mut piece));
            }
            piece.push(at);
            gap = *gap_after;
        } else {
            gap = true;
        }
    }
    whole.push(piece);
    let whole: String = whole.into_iter().filter(|p| p.len() > 1).map(through).collect();
    html! {
        @if !whole.is_empty() { path class=(colour(run.utility)) d=(whole) {} }
        @if !gaps.is_empty() { path.gap d=(gaps.concat()) {} }
    }
}

/// The letter of what flows in a run, on the longest piece of its line: colour alone tells nothing.
fn letter(view: &View, run: &Line<'_>, labels: &mut Labels) -> Markup {
    let pieces = run.marks.windows(2).map(|pair| (view.at(pair[0].spot.at), view.at(pair[1].spot.at)));
    let Some((a, b)) = pieces.max_by(|a, b| a.0.distance(a.1).total_cmp(&b.0.distance(b.1))) else {
        return html! {};
    };
    let middle = 0.5 * (a + b);
    labels.keep_free(middle, 6.0);
    words("letter middle", middle + DVec2::new(0.0, 3.5), run.utility.letter())
}

fn ellipse(view: &View, mark: &Mark<'_>) -> Markup {
    if !mark.found().is_located() {
        return html! {};
    }
    let at = view.at(mark.spot.at);
    let (long, short, bearing) = mark.spot.cov.axes();
    let scale = ellipse95() * view.per_m;
    html! {
        ellipse class={ "range " (mark.found().verdict.word().to_lowercase()) } cx=(n(at.x)) cy=(n(at.y))
            rx=(n(short * scale)) ry=(n(long * scale))
            transform={ "rotate(" (n(bearing.to_degrees())) " " (n(at.x)) " " (n(at.y)) ")" } {}
    }
}

fn detail(view: &View, mark: &Mark<'_>, address: &str, labels: Option<&mut Labels>, room: DVec2) -> Markup {
    let (at, found) = (view.at(mark.spot.at), mark.found());
    html! {
        a href=(address) aria-label={ "Station " (found.number) ", " (found.verdict.word()) } {
            circle.reach cx=(n(at.x)) cy=(n(at.y)) r="9" {}
            @if found.is_located() {
                circle class={ "mark " (found.verdict.word().to_lowercase()) } cx=(n(at.x)) cy=(n(at.y)) r="3.2" {}
            } @else {
                (line("cross", at - 3.5, at + 3.5))
                (line("cross", at + DVec2::new(-3.5, 3.5), at + DVec2::new(3.5, -3.5)))
            }
            @if let Some(labels) = labels { (number(view, mark, labels, room)) }
        }
    }
}

fn number(view: &View, mark: &Mark<'_>, labels: &mut Labels, room: DVec2) -> Markup {
    let number = mark.found().number.to_string();
    html! {
        @if let Some(corner) = labels.beside(view.at(mark.spot.at), &number, room) { (words("number", corner, &number)) }
    }
}

fn point(view: &View, spot: &Spot, name: &str, labels: &mut Labels, room: DVec2) -> Markup {
    let at = view.at(spot.at);
    let corners = [DVec2::new(0.0, -5.0), DVec2::new(4.5, 3.5), DVec2::new(-4.5, 3.5)].map(|c| at + c);
    html! {
        path.point d={ (through(corners)) "z" } {}
        @if let Some(corner) = labels.beside(at, name, room) { (words("fine", corner, name)) }
    }
}

/// Letter and name of a run at its middle.
fn name(view: &View, run: &Line<'_>, address: &str, labels: &mut Labels, room: DVec2) -> Markup {
    const LONGEST: usize = 24;
    let Some(middle) = run.marks.get(run.marks.len() / 2) else { return html! {} };
    let mut text: String = format!("{} {}", run.utility.letter(), run.name);
    if text.chars().count() > LONGEST {
        text = text.chars().take(LONGEST - 1).chain(['…']).collect();
    }
    html! {
        @if let Some(corner) = labels.beside(view.at(middle.spot.at), &text, room) {
            a href=(address) { (words("name", corner, &text)) }
        }
    }
}

fn north(view: &View) -> Markup {
    let foot = DVec2::new(WIDE - 14.0, view.height + 38.0);
    let tip = foot - DVec2::new(0.0, 30.0);
    html! {
        (line("north", foot, tip))
        path.north-head d={ (through([tip, tip + DVec2::new(4.0, 11.0), tip + DVec2::new(-4.0, 11.0)])) "z" } {}
        (words("letter end", foot - DVec2::new(7.0, 8.0), "N"))
    }
}

/// Bars in metres and feet.
fn scale(view: &View) -> Markup {
    const LONGEST: f64 = 170.0;
    let bar = |left: f64, per_unit: f64, unit: &str| {
        let length = round_down(LONGEST / per_unit);
        let (a, b) = (
            DVec2::new(left, view.height + 12.0),
            DVec2::new(left + length * per_unit, view.height + 12.0),
        );
        let end = DVec2::new(0.0, 4.0);
        html! {
            (line("scale", a, b)) (line("scale", a - end, a + end)) (line("scale", b - end, b + end))
            (words("start", a + DVec2::new(0.0, 20.0), &format!("{} {unit}", plain(length))))
        }
    };
    html! { (bar(8.0, view.per_m, "m")) (bar(226.0, view.per_m * METRES_PER_FOOT, "ft")) }
}
