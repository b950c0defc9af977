//! What the tone path lets through, and how it settles.

use std::error::Error;

use maud::{Markup, html};
use nullwalk_core::tone::{Response, Tone};

use super::{FIRST, GUIDE, LEFT, Mark, RIGHT, WIDTH, heading, note, words};
use crate::chart::{self, Axis, BLUE, INK, Line, Panel, decimal};

const TONE_HZ: f32 = 512.0;
const RATE_HZ: f32 = 8000.0;
const FLOOR_DB: f64 = -120.0;
const HAIR: Line = Line::new(BLUE, "0.7", "");

pub fn draw() -> Result<String, Box<dyn Error>> {
    let tone = Tone::new(TONE_HZ, RATE_HZ)?;
    let response = tone.response();
    let content = html! {
        (Mark::Ring.key(LEFT, 14.0, "harmonic of 50 Hz"))
        (Mark::Triangle.key(LEFT + 150.0, 14.0, "harmonic of 60 Hz"))
        (near(&response))
        (wide(&response))
        (step(&response))
    };
    Ok(chart::document(WIDTH, 880.0, "Response of the tone path over frequency and time", &content))
}

/// What a real signal at `hz` becomes: it holds a positive and a negative frequency, and either may fold onto
/// the tone. The worst case is that both add up.
fn gain_db(response: &Response<'_>, hz: f64) -> f64 {
    let gain = |offset_hz: f64| f64::from(response.gain(offset_hz as f32));
    let tone_hz = f64::from(TONE_HZ);
    20.0 * (gain(hz - tone_hz) + gain(-hz - tone_hz)).max(1e-9).log10()
}

fn panel(top: f64, height: f64, x: Axis, y: Axis) -> Panel {
    Panel { left: LEFT, top, width: WIDTH - LEFT - RIGHT, height, x, y }
}

fn near(response: &Response<'_>) -> Markup {
    let x = Axis::linear("frequency, Hz", 452.0, 572.0, 10.0);
    let panel = panel(58.0, 240.0, x, Axis::linear("response, dB", FLOOR_DB, 0.0, 20.0));
    let points = (0..=1200).map(|k| 452.0 + 0.1 * f64::from(k)).map(|hz| (hz, gain_db(response, hz)));
    html! {
        (heading(LEFT, 48.0, "about the tone"))
        (panel.scales())
        (panel.curve([(512.0, FLOOR_DB), (512.0, 0.0)], GUIDE))
        (panel.curve(points, FIRST))
        (panel.outline())
        (harmonics(response, panel, true))
        (note("start", panel.x(512.0) + 6.0, panel.bottom() - 8.0, "tone, 512 Hz"))
        (note("middle", panel.x(488.0), panel.y(-44.0), "image of −488 Hz, folded by 1000 Hz"))
    }
}

fn wide(response: &Response<'_>) -> Markup {
    let x = Axis::linear("frequency, Hz", 0.0, 4000.0, 500.0);
    let panel = panel(382.0, 200.0, x, Axis::linear("response, dB", FLOOR_DB, 0.0, 20.0));
    let points = (1..=4000).map(f64::from).map(|hz| (hz, gain_db(response, hz)));
    html! {
        (heading(LEFT, 372.0, "the whole band: what is about a multiple of 200 Hz from the tone folds onto it"))
        (panel.scales())
        (panel.curve(points, HAIR))
        (panel.outline())
        (harmonics(response, panel, false))
    }
}

/// The harmonics of both grids; named where there is room.
fn harmonics(response: &Response<'_>, panel: Panel, named: bool) -> Markup {
    let of = |grid_hz: f64, mark: Mark| {
        let harmonics = (1..80).map(move |k| f64::from(k) * grid_hz).filter(|&hz| panel.x.shows(hz));
        harmonics.map(move |hz| (hz, mark))
    };
    html! {
        @for (hz, mark) in of(50.0, Mark::Ring).chain(of(60.0, Mark::Triangle)) {
            @let db = gain_db(response, hz);
            // What lies below the panel is not worth a mark.
            @if db > FLOOR_DB { (mark.at(panel.x(hz), panel.y(db))) }
            @if named && db > FLOOR_DB { (note("middle", panel.x(hz), panel.y(db) - 9.0, &format!("{hz:.0}"))) }
        }
    }
}

fn step(response: &Response<'_>) -> Markup {
    let x = Axis::linear("time from a step to the end of the window, s", 0.0, 0.8, 0.1);
    let panel = panel(670.0, 160.0, x, Axis::linear("output", -0.2, 1.2, 0.2));
    let points: Vec<(f64, f64)> = (0..160)
        .map(|k| 0.005 * (f64::from(k) + 0.5))
        .map(|s| (s, f64::from(response.step(s as f32))))
        .collect();
    let settled_s =
        points.iter().rev().find(|(_, y)| (y - 1.0).abs() > 0.01).map_or(0.0, |(s, _)| s + 0.0025);
    let highest = points.iter().map(|(_, y)| *y).fold(0.0, f64::max);
    let x = panel.x(settled_s);
    html! {
        (heading(LEFT, 660.0, "a sonde switched on"))
        (panel.scales())
        (panel.curve([(0.0, 1.0), (0.8, 1.0)], GUIDE))
        (panel.curve(points, FIRST))
        line x1=(decimal(x)) x2=(decimal(x)) y1=(decimal(panel.y(1.0))) y2=(decimal(panel.y(0.45))) stroke=(INK) {}
        (words("middle", x, panel.y(0.3), &format!("within 1 % from {settled_s:.2} s on")))
        (note("middle", panel.x(0.42), panel.top - 4.0, &format!("overshoot {:.1} %", 100.0 * (highest - 1.0))))
        (panel.outline())
    }
}
