//! Histograms: errors in stated sigmas, and the time that a locate takes.

use std::f64::consts::TAU;

use maud::{Markup, html};
use nullwalk_core::verdict::{Method, Verdict};

use super::{LEFT, RIGHT, WIDTH};
use crate::chart::{self, Axis, BLUE, Panel, SECOND, heading, note, words};
use crate::stats::{quantile, rms};
use crate::trials::rows::Row;

/// Width of a column, and how far the scale reaches, in sigmas.
const COLUMN: f64 = 0.5;
const REACH: f64 = 4.5;

/// Errors over stated sigmas, of the stated depth and of every method, with the normal curve.
pub fn sigmas(rows: &[Row]) -> Option<String> {
    let stated = rows.iter().filter(|r| r.verdict == Verdict::Agree).filter_map(|r| {
        let sigma_m = f64::from(r.sigma_m.filter(|s| *s > 0.0)?);
        Some(r.depth_error_m(r.depth_m?)? / sigma_m)
    });
    let mut sets: Vec<(&str, Vec<f64>)> = vec![("stated depth, where methods agree", stated.collect())];
    for (n, method) in Method::ALL.iter().enumerate() {
        let errors = rows.iter().filter_map(|r| {
            let found = r.methods.get(n).copied().flatten()?;
            Some(r.depth_error_m(found.depth_m)? / f64::from(found.sigma_m))
        });
        sets.push((method.name(), errors.collect()));
    }
    sets.retain(|(_, errors)| !errors.is_empty());
    if sets.is_empty() {
        return None;
    }
    let lines = sets.len().div_ceil(2);
    let content = html! {
        rect x=(LEFT) y="8" width="28" height="12" fill=(BLUE) fill-opacity="0.35" stroke=(BLUE) stroke-width="0.8" {}
        (words("start", LEFT + 34.0, 18.0, "trials; what is beyond the scale stands in its last column"))
        (SECOND.key(LEFT + 400.0, 14.0, "normal curve of the stated sigma"))
        @for (n, (name, errors)) in sets.iter().enumerate() {
            (sigma_panel(name, errors, n, n + 2 >= sets.len()))
        }
    };
    Some(chart::document(
        WIDTH,
        76.0 + 190.0 * lines as f64,
        "Errors of the depth in stated sigmas",
        &content,
    ))
}

fn sigma_panel(name: &str, errors: &[f64], n: usize, last: bool) -> Markup {
    let width = (WIDTH - 2.0 * LEFT - RIGHT) / 2.0;
    let columns = columns(errors, -REACH, COLUMN, (2.0 * REACH / COLUMN) as usize);
    let scale = 1.0 / (errors.len() as f64 * COLUMN);
    let highest = columns.iter().map(|c| c.1 as f64 * scale).fold(0.45, f64::max);
    let panel = Panel {
        left: LEFT + (n % 2) as f64 * (width + LEFT),
        top: 58.0 + 190.0 * (n / 2) as f64,
        width,
        height: 140.0,
        x: Axis::linear(if last { "error over stated sigma" } else { "" }, -REACH, REACH, 1.0),
        y: Axis::rounded("share per sigma", 0.0, 1.05 * highest, 5.0),
    };
    let normal = (-90..=90).map(|k| f64::from(k) * 0.05).map(|z| (z, (-0.5 * z * z).exp() / TAU.sqrt()));
    let rms = rms(errors).unwrap_or(0.0);
    let told = format!("{} times, rms {rms:.2}", errors.len());
    html! {
        (heading(panel.left, panel.top - 8.0, name))
        (panel.scales())
        @for (from, count) in &columns { (panel.column(*from, from + COLUMN, *count as f64 * scale, BLUE)) }
        (panel.curve(normal, SECOND))
        (panel.outline())
        (note("end", panel.right() - 6.0, panel.top + 16.0, &told))
    }
}

/// How long one locate took.
pub fn time(rows: &[Row]) -> Option<String> {
    let spent_s: Vec<f64> = rows.iter().map(|r| f64::from(r.spent_ms) * 1e-3).collect();
    let (median, most) = (quantile(&spent_s, 0.5)?, quantile(&spent_s, 0.95)?);
    let end = 2.0 * most.max(1e-3);
    let step = end / 40.0;
    let columns = columns(&spent_s, 0.0, step, 40);
    let highest = columns.iter().map(|c| c.1).max()? as f64;
    let panel = Panel {
        left: LEFT,
        top: 40.0,
        width: WIDTH - LEFT - RIGHT,
        height: 220.0,
        x: Axis::rounded(
            "time for simulating and locating once, s; the last column holds all beyond",
            0.0,
            end,
            8.0,
        ),
        y: Axis::rounded("trials", 0.0, 1.05 * highest, 6.0),
    };
    let content = html! {
        (heading(LEFT, 28.0, &format!("median {median:.2} s, 95 % within {most:.2} s")))
        (panel.scales())
        @for (from, count) in &columns { (panel.column(*from, from + step, *count as f64, BLUE)) }
        (panel.outline())
    };
    Some(chart::document(WIDTH, 312.0, "Time for one locate", &content))
}

/// Counts of the values in columns of equal width; the first and the last also hold what is beyond them.
fn columns(values: &[f64], from: f64, width: f64, count: usize) -> Vec<(f64, usize)> {
    let mut columns: Vec<(f64, usize)> = (0..count).map(|k| (from + width * k as f64, 0)).collect();
    for value in values {
        let at = ((value - from) / width).floor().clamp(0.0, (count - 1) as f64);
        if let Some((_, n)) = columns.get_mut(at as usize) {
            *n += 1;
        }
    }
    columns
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_value_stands_in_a_column() {
        let found = columns(&[-9.0, -0.9, 0.1, 0.9, 9.0], -1.0, 0.5, 4);
        assert_eq!(found.iter().map(|c| c.1).collect::<Vec<_>>(), [2, 0, 1, 2]);
    }
}
