//! The ground of the plan, to scale. North is up.

use glam::DVec2;
use maud::{Markup, html};

use super::mark::Mark;
use crate::chart::{
    Axis, INK, LEFT, LETTERS_PX, Line, PAPER, Panel, RIGHT, SMALL_PX, SOFT, WIDTH, decimal, note,
};
use crate::letters;

/// Upper edge of the ground, and its greatest height, pixels.
const TOP: f64 = 40.0;
const TALLEST: f64 = 480.0;
/// The least ground that is drawn, metres.
const LEAST_M: f64 = 6.0;
/// Length of the stroke along a lay, metres, and its least length on paper, pixels.
const LAY_M: f64 = 4.0;
const LAY_PX: f64 = 26.0;
/// Size of a mark, of the ring around its number, and from one to the other, pixels.
const MARK: f64 = 4.5;
const TAG: f64 = 9.0;
const TAG_AWAY: f64 = 21.0;

/// From the site to the paper; north is up.
pub(super) struct View {
    low: DVec2,
    high: DVec2,
    pub(super) panel: Panel,
}

impl View {
    pub(super) fn new(low: DVec2, high: DVec2) -> Self {
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

    pub(super) fn rectangle(&self) -> Markup {
        let Panel { left, top, width, height, .. } = self.panel;
        html! { rect x=(decimal(left)) y=(decimal(top)) width=(decimal(width)) height=(decimal(height)) {} }
    }

    pub(super) fn path(&self, places_m: &[[f64; 2]], line: Line) -> Markup {
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
    pub(super) fn named(&self, what: &str, corners_m: &[[f64; 2]], marks: &[Mark]) -> Markup {
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

    pub(super) fn mark(&self, mark: &Mark) -> Markup {
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
    pub(super) fn tags(&self, marks: &[Mark]) -> Markup {
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
