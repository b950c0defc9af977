//! The walk from above: where it went, which way the field pointed, and where the fix is.

use glam::DVec2;
use maud::{Markup, html};
use nullwalk_core::locate::Phase;

use super::walk::{Step, Walk, phase_name, stretches};
use crate::chart::{
    self, Axis, FIRST, FOURTH, LEFT, Line, Mark, Panel, RED, RIGHT, SECOND, SUM, THIRD, WIDTH, decimal,
    heading, note, words,
};
use crate::units::metres_range;

const TOP: f64 = 58.0;
const SIDE: f64 = 400.0;
const CLOSE_UP: f64 = 190.0;
/// Arrows keep this far from each other on the paper, pixels.
const ARROWS_APART: f64 = 20.0;
/// Longest and shortest arrow, pixels, and how many decibels lie between.
const LONGEST: f64 = 19.0;
const SHORTEST: f64 = 5.0;
const RANGE_DB: f64 = 60.0;
/// Point of a normal distribution in the plane that holds 95 %: sqrt(-2 ln 0.05).
const RADIUS95: f64 = 2.4477;
/// Times keep this far from each other, pixels.
const TIMES_APART: f64 = 46.0;

/// Below the picture, because it tells a depth or that there is none.
const DEPTH: &str = "A located depth is no permission to dig. Follow local codes and licensed practice.";
const NOTHING: &str = "Nothing heard does not mean nothing there: one tone was listened for.";

const PHASES: [(Phase, Line); 4] =
    [(Phase::Listen, THIRD), (Phase::Home, SECOND), (Phase::Bracket, FIRST), (Phase::Settle, FOURTH)];

pub fn draw(walk: &Walk) -> Option<String> {
    let places: Vec<(DVec2, &Step)> =
        walk.steps.iter().filter_map(|s| Some((s.at_m?.truncate(), s))).collect();
    let (_, start) = *places.first()?;
    let (low, high) = places
        .iter()
        .fold((DVec2::INFINITY, DVec2::NEG_INFINITY), |(low, high), (at, _)| (low.min(*at), high.max(*at)));
    let fix = fix(walk);
    let (low, high) = fix.map_or((low, high), |fix| (low.min(fix.at), high.max(fix.at)));
    let panel =
        square(LEFT, TOP, SIDE, low.midpoint(high), 0.5 * (high - low).max_element().max(1.0) + 0.4);
    let content = html! {
        @for (n, (phase, line)) in PHASES.into_iter().enumerate() { (line.key(LEFT + 110.0 * n as f64, 14.0, phase_name(phase))) }
        (heading(LEFT, TOP - 10.0, "the walk from above; arrows: level field"))
        (panel.scales())
        (path(walk, panel))
        (arrows(&places, panel))
        (times(&places, panel, fix))
        @if let Some(at) = start.at_m {
            (Mark::Square.at(panel.x(at.x), panel.y(at.y)))
        }
        @if let Some(fix) = fix { (found(panel, fix)) }
        (panel.outline())
        (beside(walk, fix))
        (words("start", LEFT, TOP + SIDE + 62.0, DEPTH))
        (words("start", LEFT, TOP + SIDE + 78.0, NOTHING))
    };
    Some(chart::document(
        WIDTH,
        TOP + SIDE + 92.0,
        &format!("The walk from above: {}", walk.title),
        &content,
    ))
}

/// Where the source was found.
#[derive(Clone, Copy)]
struct Found {
    at: DVec2,
    radius95_m: f64,
    lay_rad: Option<f64>,
}

fn fix(walk: &Walk) -> Option<Found> {
    let fix = walk.outcome.fix.as_ref()?;
    let place = fix.place?;
    Some(Found {
        at: DVec2::new(f64::from(place.east_m), f64::from(place.north_m)),
        radius95_m: RADIUS95 * f64::from(place.sigma_m),
        lay_rad: fix.lay_rad.map(|lay| f64::from(lay.value)),
    })
}

/// A panel with the same scale both ways.
fn square(left: f64, top: f64, side: f64, middle: DVec2, half_m: f64) -> Panel {
    let axis = |label, middle: f64| Axis::rounded(label, middle - half_m, middle + half_m, side / 60.0);
    let (x, y) = (axis("east, m", middle.x), axis("north, m", middle.y));
    Panel { left, top, width: side, height: side, x, y }
}

/// The walk, each phase in its own line.
fn path(walk: &Walk, panel: Panel) -> Markup {
    let style = |phase| PHASES.into_iter().find(|(p, _)| *p == phase).map_or(THIRD, |(_, line)| line);
    html! {
        @for (from, to) in stretches(&walk.steps) {
            // Stretches share their ends, so that the path has no gaps.
            @let steps = walk.steps.get(from..(to + 1).min(walk.steps.len())).unwrap_or_default();
            @if let Some(line) = steps.first().map(|s| style(s.phase)) {
                (panel.curve(steps.iter().filter_map(|s| Some((s.at_m?.x, s.at_m?.y))), line))
            }
        }
    }
}

/// The level part of the field, its length by decibels. Its sign is common to all arrows and unknown.
fn arrows(places: &[(DVec2, &Step)], panel: Panel) -> Markup {
    let level = |s: &Step| Walk::on_site(s).map(|field| field.truncate());
    let strongest = places.iter().filter_map(|(_, s)| Some(level(s)?.length())).fold(0.0, f64::max);
    let mut kept: Vec<DVec2> = Vec::new();
    let mut path = String::new();
    for (at, step) in places {
        let Some(field) = level(step).filter(|f| f.length() > 3.0 * step.sigma_nt && strongest > 0.0)
        else {
            continue;
        };
        let foot = DVec2::new(panel.x(at.x), panel.y(at.y));
        if kept.iter().any(|k| k.distance(foot) < ARROWS_APART) {
            continue;
        }
        kept.push(foot);
        let db = 20.0 * (field.length() / strongest).log10();
        let size = LONGEST + (SHORTEST - LONGEST) * (-db / RANGE_DB).clamp(0.0, 1.0);
        // North is up on the paper.
        let along = DVec2::new(field.x, -field.y).normalize_or_zero();
        let (tail, tip) = (foot - 0.5 * size * along, foot + 0.5 * size * along);
        let barb = |side: f64| tip - 4.0 * along + side * 2.4 * along.perp();
        let (left, right) = (barb(1.0), barb(-1.0));
        let corner = |p: DVec2| format!("{} {}", decimal(p.x), decimal(p.y));
        path.push_str(&format!(
            "M{}L{}M{}L{}L{}",
            corner(tail),
            corner(tip),
            corner(left),
            corner(tip),
            corner(right)
        ));
    }
    html! { path d=(path) fill="none" stroke=(RED) stroke-width="1.1" {} }
}

/// Times along the walk; the mark is kept clear.
fn times(places: &[(DVec2, &Step)], panel: Panel, fix: Option<Found>) -> Markup {
    let mut kept: Vec<DVec2> =
        fix.iter().map(|fix| DVec2::new(panel.x(fix.at.x), panel.y(fix.at.y))).collect();
    let mut next_s = 0.0;
    let mut told = Vec::new();
    for (at, step) in places {
        let here = DVec2::new(panel.x(at.x), panel.y(at.y));
        if step.time_s < next_s || kept.iter().any(|k| k.distance(here) < TIMES_APART) {
            continue;
        }
        next_s = step.time_s + 4.0;
        kept.push(here);
        told.push((here, format!("{:.0} s", step.time_s)));
    }
    html! { @for (at, time) in told { (note("start", at.x + 6.0, at.y - 8.0, &time)) } }
}

/// The mark with its circle and its lay.
fn found(panel: Panel, fix: Found) -> Markup {
    let (x, y) = (panel.x(fix.at.x), panel.y(fix.at.y));
    let radius = fix.radius95_m * panel.width / (panel.x.end() - panel.x.start());
    html! {
        @if let Some(lay) = fix.lay_rad {
            @let (s, c) = lay.sin_cos();
            @let (dx, dy) = (26.0 * s, -26.0 * c);
            line x1=(decimal(x - dx)) y1=(decimal(y - dy)) x2=(decimal(x + dx)) y2=(decimal(y + dy))
                stroke=(SUM.stroke) stroke-width=(SUM.width) {}
        }
        circle cx=(decimal(x)) cy=(decimal(y)) r=(decimal(radius)) fill="none" stroke=(SUM.stroke) stroke-width="1.2" {}
        (Mark::Cross.at(x, y))
    }
}

/// The mark from near, and what the signs mean.
fn beside(walk: &Walk, fix: Option<Found>) -> Markup {
    let left = WIDTH - RIGHT - CLOSE_UP;
    let keys = TOP + CLOSE_UP + 70.0;
    let verdict = walk.outcome.judgement.verdict;
    let range = walk.outcome.judgement.range;
    html! {
        @if let Some(fix) = fix {
            @let half_m = chart::round_up(1.6 * fix.radius95_m.max(0.01));
            @let panel = square(left, TOP, CLOSE_UP, fix.at, half_m);
            (heading(left, TOP - 10.0, "the mark, from near"))
            (panel.scales())
            (found(panel, fix))
            (panel.outline())
        } @else {
            (heading(left, TOP - 10.0, "no mark"))
        }
        (Mark::Square.key(left, keys, "start"))
        (Mark::Cross.key(left, keys + 22.0, "mark, its 95 % circle and lay"))
        path d={ "M" (decimal(left)) " " (decimal(keys + 44.0)) "h14m-4 -3l4 3l-4 3" } fill="none" stroke=(RED) stroke-width="1.1" {}
        (words("start", left + 20.0, keys + 48.0, "level field; one sign for all,"))
        (words("start", left + 20.0, keys + 64.0, "unknown; length by decibels"))
        (words("start", left, keys + 92.0, &format!("verdict: {verdict:?}")))
        @if let Some(r) = range {
            (words("start", left, keys + 110.0, "depth to source, 95 %:"))
            @let range = metres_range(f64::from(r.low_m), f64::from(r.high_m));
            (words("start", left, keys + 126.0, &range))
        }
    }
}
