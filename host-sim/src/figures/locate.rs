//! A whole simulated locate: where the walk went, and what was heard on the way.

use std::error::Error;

use maud::{Markup, html};
use nullwalk_core::locate::Phase;

use super::{FIRST, FOURTH, GUIDE, LEFT, Mark, RIGHT, SECOND, THIRD, WIDTH, heading, note, words};
use crate::book::SitePosition;
use crate::chart::{self, Axis, BAND, INK, Line, Panel, decimal};
use crate::run::{self, Event, Outcome};
use crate::site::{SiteError, Truth, builtin};
use crate::synth::Simulation;
use crate::units::metres_range;

/// The demonstration's first station, as the demonstration shows it.
const SITE: &str = "drain-run";
const STATION: usize = 0;
const SEED: u64 = 1;

const PLAN_TOP: f64 = 58.0;
const PLAN_PX: f64 = 400.0;
const CLOSE_UP_PX: f64 = 200.0;
/// Distance that two times on the plan keep from each other, metres.
const ROOM_M: f64 = 0.6;
/// Half the width of the close-up, metres.
const CLOSE_UP_M: f64 = 0.15;
const PHASES: [(Phase, Line, &str); 4] = [
    (Phase::Listen, THIRD, "Listen"),
    (Phase::Home, SECOND, "Home"),
    (Phase::Bracket, FIRST, "Bracket"),
    (Phase::Settle, FOURTH, "Settle"),
];

/// One output of the instrument.
struct Step {
    time_s: f64,
    phase: Phase,
    east_m: f64,
    north_m: f64,
    level_db: f64,
    forward_nt: f64,
}

struct Locate {
    steps: Vec<Step>,
    outcome: Outcome,
    truth: Truth,
    mark: SitePosition,
}

pub fn draw() -> Result<String, Box<dyn Error>> {
    let locate = locate()?;
    let end_s = locate.outcome.duration_s;
    let time = |top, height, label, y| {
        let x = Axis::linear(label, 0.0, end_s, 10.0);
        Panel { left: LEFT, top, width: WIDTH - LEFT - RIGHT, height, x, y }
    };
    let level = time(562.0, 150.0, "", Axis::linear("field, dB re 1 pT", 48.0, 95.0, 10.0));
    let forward = time(760.0, 150.0, "", Axis::linear("forward, nT", -25.0, 25.0, 10.0));
    let rung = time(948.0, 90.0, "time, s", Axis::linear("gain rung", -0.5, 4.5, 1.0));
    let content = html! {
        @for (n, (_, line, name)) in PHASES.into_iter().enumerate() {
            (line.key(LEFT + 110.0 * n as f64, 14.0, name))
        }
        (plan(&locate))
        (close_up(&locate))
        (heading(LEFT, level.top - 24.0, "signal level"))
        (bands(&locate, level, true))
        (level.scales())
        (level.curve(locate.steps.iter().map(|s| (s.time_s, s.level_db)), FIRST))
        (level.outline())
        (heading(LEFT, forward.top - 24.0, "forward component, levelled"))
        (bands(&locate, forward, false))
        (forward.scales())
        (forward.curve([(0.0, 0.0), (end_s, 0.0)], GUIDE))
        (forward.curve(locate.steps.iter().map(|s| (s.time_s, s.forward_nt)), FIRST))
        (events(&locate, forward))
        (forward.outline())
        (heading(LEFT, rung.top - 8.0, "gain"))
        (rung.scales())
        (rung.curve(rungs(&locate), FIRST))
        (rung.outline())
    };
    Ok(chart::document(WIDTH, 1086.0, "A simulated locate, from above and over time", &content))
}

fn locate() -> Result<Locate, Box<dyn Error>> {
    let site = builtin().iter().find(|b| b.name == SITE).ok_or("no such built-in site")?.site()?;
    let array = site.array.array()?.ok_or("the site has no array")?;
    let instrument = run::instrument::<6>(&site.signal, site.front_end.ladder()?, array)?;
    let mut simulation = Simulation::new(&site, STATION, SEED)?;
    let truth =
        simulation.truth().cloned().ok_or_else(|| SiteError::new("source", "is missing".to_owned()))?;
    let mut steps = Vec::new();
    let Ok(outcome) = run::locate(&instrument, &mut simulation, None, |update| {
        let Some(position) = update.glimpse.mast.position else { return };
        let field_t = update.glimpse.lower().field_t;
        steps.push(Step {
            time_s: update.glimpse.at as f64 / site.signal.sample_rate_hz,
            phase: update.guidance.phase,
            east_m: f64::from(position.enu_m.x),
            north_m: f64::from(position.enu_m.y),
            level_db: 20.0 * (f64::from(field_t.length()) / 1e-12).log10(),
            forward_nt: f64::from(field_t.x) * 1e9,
        });
    });
    let place = outcome.fix.as_ref().and_then(|fix| fix.place).ok_or("the locate ended without a mark")?;
    let mark = SitePosition {
        east_m: f64::from(place.east_m),
        north_m: f64::from(place.north_m),
        sigma_m: f64::from(place.sigma_m),
    };
    Ok(Locate { steps, outcome, truth, mark })
}

fn plan(locate: &Locate) -> Markup {
    let range = |value: fn(&Step) -> f64| {
        let values = || locate.steps.iter().map(value);
        (values().fold(f64::MAX, f64::min), values().fold(f64::MIN, f64::max))
    };
    let ((west, east), (south, north)) = (range(|s| s.east_m), range(|s| s.north_m));
    let half_m = 0.5 * (east - west).max(north - south) + 0.4;
    let (middle_e, middle_n) = (0.5 * (west + east), 0.5 * (south + north));
    let panel = Panel {
        left: LEFT,
        top: PLAN_TOP,
        width: PLAN_PX,
        height: PLAN_PX,
        x: Axis::linear("east, m", middle_e - half_m, middle_e + half_m, 1.0),
        y: Axis::linear("north, m", middle_n - half_m, middle_n + half_m, 1.0),
    };
    let start = locate.steps.first();
    html! {
        (heading(LEFT, PLAN_TOP - 10.0, "the walk from above, with its time in seconds"))
        (panel.scales())
        (path(locate, panel))
        @for step in every(locate, 5.0) {
            @let (x, y) = (panel.x(step.east_m), panel.y(step.north_m));
            circle cx=(decimal(x)) cy=(decimal(y)) r="2" {}
            (note("start", x + 5.0, y - 4.0, &format!("{:.0}", step.time_s)))
        }
        @if let Some(start) = start {
            (Mark::Square.at(panel.x(start.east_m), panel.y(start.north_m)))
            (note("start", panel.x(start.east_m) + 8.0, panel.y(start.north_m) + 14.0, "start and sweep"))
        }
        (panel.outline())
    }
}

/// The walk, each phase in its own line.
fn path(locate: &Locate, panel: Panel) -> Markup {
    // Stretches share their ends, so that the path has no gaps.
    let stretches = stretches(locate);
    html! {
        @for &(from, to) in &stretches {
            @let points = locate.steps.get(from..(to + 1).min(locate.steps.len())).unwrap_or_default();
            @if let Some(line) = points.first().map(|s| style(s.phase)) {
                (panel.curve(points.iter().map(|s| (s.east_m, s.north_m)), line))
            }
        }
    }
}

/// Where each stretch of one phase begins and ends.
fn stretches(locate: &Locate) -> Vec<(usize, usize)> {
    let mut from = 0;
    let ends = locate.steps.chunk_by(|a, b| a.phase == b.phase).map(|chunk| {
        let start = from;
        from += chunk.len();
        (start, from)
    });
    ends.collect()
}

fn style(phase: Phase) -> Line {
    PHASES.into_iter().find(|(p, ..)| *p == phase).map_or(THIRD, |(_, line, _)| line)
}

fn name(phase: Phase) -> &'static str {
    PHASES.into_iter().find(|(p, ..)| *p == phase).map_or("", |(.., name)| name)
}

/// The first step at or after every multiple of `interval_s`, where there is room for another.
fn every(locate: &Locate, interval_s: f64) -> Vec<&Step> {
    let mut next_s = interval_s;
    let mut kept: Vec<&Step> = locate.steps.first().into_iter().collect();
    for step in &locate.steps {
        if step.time_s < next_s {
            continue;
        }
        next_s += interval_s;
        let away_m = |k: &&Step| (k.east_m - step.east_m).hypot(k.north_m - step.north_m);
        if kept.iter().map(away_m).fold(f64::MAX, f64::min) > ROOM_M {
            kept.push(step);
        }
    }
    kept.split_off(kept.len().min(1))
}

/// What is too small for the plan: the mark, its uncertainty, and the truth.
fn close_up(locate: &Locate) -> Markup {
    let Locate { truth, mark, .. } = locate;
    let (east, north) = (truth.east_m, truth.north_m);
    let panel = Panel {
        left: WIDTH - RIGHT - CLOSE_UP_PX,
        top: PLAN_TOP,
        width: CLOSE_UP_PX,
        height: CLOSE_UP_PX,
        x: Axis::linear("east, m", east - CLOSE_UP_M, east + CLOSE_UP_M, 0.1),
        y: Axis::linear("north, m", north - CLOSE_UP_M, north + CLOSE_UP_M, 0.1),
    };
    let radius_px = mark.radius95_m() / (2.0 * CLOSE_UP_M) * CLOSE_UP_PX;
    let (x, y) = (panel.x(mark.east_m), panel.y(mark.north_m));
    let keys = panel.bottom() + 58.0;
    let near = |s: &Step| (s.east_m - east).abs() < CLOSE_UP_M && (s.north_m - north).abs() < CLOSE_UP_M;
    let walk: Vec<&[Step]> =
        locate.steps.chunk_by(|a, b| near(a) == near(b)).filter(|c| c.iter().all(near)).collect();
    let away_m = (mark.east_m - east).hypot(mark.north_m - north);
    html! {
        (heading(panel.left, PLAN_TOP - 10.0, "close-up of the mark"))
        (panel.scales())
        @for chunk in walk {
            @if let Some(first) = chunk.first() {
                (panel.curve(chunk.iter().map(|s| (s.east_m, s.north_m)), Line { width: "0.8", ..style(first.phase) }))
            }
        }
        circle cx=(decimal(x)) cy=(decimal(y)) r=(decimal(radius_px)) fill="none" stroke=(INK) stroke-width="1.2" {}
        (Mark::Cross.at(x, y))
        (Mark::Diamond.at(panel.x(east), panel.y(north)))
        (panel.outline())
        (Mark::Cross.key(panel.left, keys, "mark, with its 95 % circle"))
        (Mark::Diamond.key(panel.left, keys + 22.0, "true place"))
        (words("start", panel.left, keys + 48.0, &format!("apart by {:.0} mm", 1000.0 * away_m)))
        (words("start", panel.left, keys + 66.0, &depth(locate)))
        (words("start", panel.left, keys + 84.0, &format!("true depth {:.2} m", truth.depth_m)))
    }
}

fn depth(locate: &Locate) -> String {
    let range = locate.outcome.judgement.range;
    range.map_or("no depth".to_owned(), |r| {
        format!("depth {} (95 %)", metres_range(f64::from(r.low_m), f64::from(r.high_m)))
    })
}

/// The phases as bands behind a panel over time.
fn bands(locate: &Locate, panel: Panel, named: bool) -> Markup {
    let time = |n: usize| locate.steps.get(n).map_or(locate.outcome.duration_s, |s| s.time_s);
    html! {
        @for (n, &(from, to)) in stretches(locate).iter().enumerate() {
            @let (left, right) = (panel.x(time(from)), panel.x(time(to)));
            @if n % 2 == 1 {
                rect x=(decimal(left)) y=(decimal(panel.top)) width=(decimal(right - left))
                    height=(decimal(panel.height)) fill=(BAND) {}
            }
            @if named {
                @if let Some(step) = locate.steps.get(from) {
                    (note("middle", 0.5 * (left + right), panel.top - 6.0, name(step.phase)))
                }
            }
        }
    }
}

/// The moments worth telling.
fn events(locate: &Locate, panel: Panel) -> Markup {
    let told = locate.outcome.log.iter().filter_map(|moment| {
        let name = match moment.event {
            Event::Sweep(_) => "turned about",
            Event::Marked => "both nulls passed",
            Event::Crossed => "crossed",
            Event::Fixed => "fix",
            _ => return None,
        };
        Some((moment.time_s, name))
    });
    html! {
        @for (time_s, name) in told {
            @let x = panel.x(time_s);
            line x1=(decimal(x)) x2=(decimal(x)) y1=(decimal(panel.top)) y2=(decimal(panel.top + 12.0)) stroke=(INK) {}
            (note("middle", x, panel.top - 6.0, name))
        }
    }
}

/// The rung over time, in steps.
fn rungs(locate: &Locate) -> Vec<(f64, f64)> {
    let mut points: Vec<(f64, f64)> = Vec::new();
    for moment in &locate.outcome.log {
        if let Event::Rung(rung) = moment.event {
            points.extend(points.last().map(|&(_, before)| (moment.time_s, before)));
            points.push((moment.time_s, f64::from(rung)));
        }
    }
    points.extend(points.last().map(|&(_, rung)| (locate.outcome.duration_s, rung)));
    points
}
