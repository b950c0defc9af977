//! The spectrum over time, with the comb of the mains and the tone beside it.

use maud::{Markup, html};

use super::samples::{ROWS, Seen};
use crate::chart::{self, Axis, INK, LEFT, Panel, WIDTH, decimal, heading, note, words};
use crate::inspect::SamplesReport;

const TOP: f64 = 40.0;
const HEIGHT: f64 = 420.0;
/// Room on the right for what lines are called, and for the scale of colours.
const BESIDE: f64 = 150.0;
/// Steps of the scale of colours, and how many decibels lie in one.
const SHADES: usize = 14;
const SHADE_DB: f64 = 5.0;

pub fn draw(seen: &Seen, report: &SamplesReport) -> Option<String> {
    let duration_s = seen.columns.len() as f64 * seen.column_s;
    let loudest = seen.columns.iter().flatten().copied().fold(0.0, f64::max);
    if loudest <= 0.0 {
        return None;
    }
    let top_hz = ROWS as f64 * seen.row_hz;
    let panel = Panel {
        left: LEFT,
        top: TOP,
        width: WIDTH - LEFT - BESIDE,
        height: HEIGHT,
        x: Axis::rounded("time, s", 0.0, duration_s, 8.0),
        y: Axis::rounded("frequency, Hz", 0.0, top_hz, 8.0),
    };
    let loudest_db = 5.0 * (10.0 * loudest.log10() / 5.0).ceil();
    let content = html! {
        (heading(LEFT, 24.0, "all channels together, each half second"))
        (cells(seen, panel, loudest_db))
        (panel.lettering())
        (panel.outline())
        (names(report, panel))
        (key(panel, loudest_db))
    };
    Some(chart::document(WIDTH, TOP + HEIGHT + 50.0, "Spectrum over time", &content))
}

/// Cells of one shade are one path; neighbours in time are one stroke of it.
fn cells(seen: &Seen, panel: Panel, loudest_db: f64) -> Markup {
    let shade = |power: f64| {
        let below = if power > 0.0 { loudest_db - 10.0 * power.log10() } else { f64::MAX };
        SHADES.saturating_sub(1).saturating_sub((below / SHADE_DB).clamp(0.0, SHADES as f64) as usize)
    };
    let mut paths = vec![String::new(); SHADES];
    let columns = seen.columns.len();
    let (wide, high) = (panel.width / columns as f64, panel.height / ROWS as f64);
    for row in 0..ROWS {
        let at = |column: usize| seen.columns.get(column).and_then(|c| c.get(row)).copied().map(shade);
        let y = panel.bottom() - (row + 1) as f64 * high;
        let mut from = 0;
        for column in 1..=columns {
            if column < columns && at(column) == at(from) {
                continue;
            }
            // The darkest is the ground.
            if let Some(path) = at(from).filter(|s| *s > 0).and_then(|s| paths.get_mut(s)) {
                let (x, length) = (panel.left + from as f64 * wide, (column - from) as f64 * wide);
                path.push_str(&format!(
                    "M{} {}h{}v{}h-{}z",
                    decimal(x),
                    hundredths(y),
                    decimal(length),
                    hundredths(high),
                    decimal(length)
                ));
            }
            from = column;
        }
    }
    html! {
        rect x=(decimal(panel.left)) y=(decimal(panel.top)) width=(decimal(panel.width)) height=(decimal(panel.height))
            fill=(colour(0)) {}
        @for (n, path) in paths.iter().enumerate() {
            @if !path.is_empty() { path d=(path) fill=(colour(n)) shape-rendering="crispEdges" {} }
        }
    }
}

fn hundredths(value: f64) -> String {
    format!("{}", (value * 100.0).round() / 100.0)
}

fn colour(shade: usize) -> String {
    let c = colorous::CIVIDIS.eval_rational(shade, SHADES);
    format!("#{c:x}")
}

/// The tone and the mains' comb at the right edge.
fn names(report: &SamplesReport, panel: Panel) -> Markup {
    let tone_hz = report.tone.as_ref().map_or(report.description.signal.tone_hz, |tone| tone.hz);
    let tone = if report.tone.is_some() { "tone" } else { "tone expected" };
    let comb: Vec<(u32, f64)> = report
        .mains
        .iter()
        .flat_map(|m| m.harmonics.iter().map(|&k| (k, f64::from(k) * m.hz)))
        .filter(|(_, hz)| panel.y.shows(*hz))
        .collect();
    let right = panel.right();
    html! {
        @for (k, hz) in &comb {
            @let y = panel.y(*hz);
            line x1=(decimal(right)) x2=(decimal(right + 8.0)) y1=(decimal(y)) y2=(decimal(y)) stroke=(INK) stroke-width="0.8" {}
            @if (panel.y(tone_hz) - y).abs() > 10.0 && (comb.len() < 16 || k % 2 == 1) {
                @let words = if *k == 1 { format!("mains, {hz:.1} Hz") } else { format!("{k}") };
                (note("start", right + 11.0, y + 4.0, &words))
            }
        }
        @if panel.y.shows(tone_hz) {
            @let y = panel.y(tone_hz);
            path d={ "M" (decimal(right + 2.0)) " " (decimal(y)) "l9 -4.5v9z" } fill=(INK) {}
            (heading(right + 14.0, y + 4.0, &format!("{tone}, {tone_hz:.1} Hz")))
        }
    }
}

/// The scale of colours.
fn key(panel: Panel, loudest_db: f64) -> Markup {
    let (left, wide, high) = (panel.right() + 92.0, 14.0, 9.0);
    let top = panel.bottom() - high * SHADES as f64;
    html! {
        @for n in 0..SHADES {
            rect x=(decimal(left)) y=(decimal(top + high * (SHADES - 1 - n) as f64)) width=(decimal(wide)) height=(decimal(high))
                fill=(colour(n)) {}
        }
        rect x=(decimal(left)) y=(decimal(top)) width=(decimal(wide)) height=(decimal(high * SHADES as f64)) fill="none" stroke=(INK) stroke-width="0.6" {}
        (note("start", left + wide + 4.0, top + 8.0, &format!("{loudest_db:.0}")))
        (note("start", left + wide + 4.0, panel.bottom(), &format!("{:.0}", loudest_db - SHADE_DB * SHADES as f64)))
        (words("end", panel.right() + BESIDE - 4.0, panel.bottom() + 18.0, "dB re 1 count, gain 1"))
    }
}
