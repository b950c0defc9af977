//! What many trials amount to, as a table for a person.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use nullwalk_core::verdict::{Method, Verdict};

use super::plan::Plan;
use super::rows::Row;
use crate::stats::{Share, mean, quantile, rms};

/// A circle of this many sigmas holds 95 % of a round normal cloud in the plane: the root of -2 ln 0.05.
const CIRCLE_95: f64 = 2.448;

/// Depths that are summarised together, metres.
pub const DEPTHS_M: [(f64, f64); 8] =
    [(0.0, 0.75), (0.75, 1.25), (1.25, 1.75), (1.75, 2.5), (2.5, 3.5), (3.5, 4.5), (4.5, 6.0), (6.0, 15.0)];

/// The summary of a plan's rows: kind by kind, and of all.
pub fn summary(plan: &Plan, rows: &[Row]) -> String {
    let mut text = String::new();
    let groups = plan.kinds.iter().map(|kind| {
        let its: Vec<&Row> = rows.iter().filter(|r| r.kind == kind.name).collect();
        (kind.name.as_str(), kind.trials, its)
    });
    let mut groups: Vec<_> = groups.collect();
    if groups.len() > 1 {
        let trials = groups.iter().map(|(_, trials, _)| trials).sum();
        groups.push(("all together", trials, rows.iter().collect()));
    }
    for (name, trials, rows) in groups {
        // Writing into a string cannot fail.
        let _ = group(&mut text, name, trials, &rows);
        text.push('\n');
    }
    text
}

fn group(text: &mut String, name: &str, trials: u64, rows: &[&Row]) -> std::fmt::Result {
    writeln!(text, "{name}: {} of {trials} trials", rows.len())?;
    if rows.is_empty() {
        return Ok(());
    }
    let of =
        |verdict: Verdict| rows.iter().filter(move |r| r.verdict == verdict).copied().collect::<Vec<_>>();
    let (agree, doubt) = (of(Verdict::Agree), of(Verdict::Doubt));
    for (word, verdict) in
        [("agree", Verdict::Agree), ("doubt", Verdict::Doubt), ("refuse", Verdict::Refuse)]
    {
        writeln!(text, "  {word:<8}{}", share(Share::holding(rows.iter().map(|r| r.verdict == verdict))))?;
    }
    for (word, rows) in [("agree", &agree), ("doubt", &doubt)] {
        if rows.is_empty() {
            continue;
        }
        writeln!(text, "  where they {word}:")?;
        let mut line = |what: &str, value: String| writeln!(text, "    {what:<46}{value}");
        line("the stated 95 % range holds the depth", share(within_range(rows, 1.0)))?;
        line("the depth is beyond twice that range", share(inverse(within_range(rows, 2.0))))?;
        line("the place is within its 95 % circle", share(within_circle(rows, 1.0)))?;
        line("the place is beyond twice that circle", share(inverse(within_circle(rows, 2.0))))?;
        line("error of the depth", spread(&depth_errors(rows), "m"))?;
        line("error of the place", spread(&collect(rows, |r| r.place_error_m), "m"))?;
        line("error of the lay", spread(&collect(rows, |r| r.lay_error_deg.map(f32::abs)), "degrees"))?;
    }
    methods(text, &[("agree", &agree), ("any verdict", rows)])?;
    efficiency(text, rows)?;
    reasons(text, rows)?;
    flags(text, rows)?;
    let spent: Vec<f64> = rows.iter().map(|r| f64::from(r.spent_ms)).collect();
    writeln!(text, "  time for one locate: {}", spread(&spent, "ms"))
}

/// Whether the truth lies in the stated range, widened so many times about its middle.
pub fn within_range(rows: &[&Row], times: f64) -> Share {
    Share::holding(rows.iter().filter_map(|r| {
        let (low, high) = (f64::from(r.low_m?), f64::from(r.high_m?));
        let (middle, half) = (0.5 * (low + high), 0.5 * (high - low));
        Some((r.truth?.depth_m - middle).abs() <= times * half)
    }))
}

fn within_circle(rows: &[&Row], times: f64) -> Share {
    Share::holding(rows.iter().filter_map(|r| {
        let radius_m = times * CIRCLE_95 * f64::from(r.place_sigma_m?);
        Some(f64::from(r.place_error_m?) <= radius_m)
    }))
}

fn inverse(share: Share) -> Share {
    Share { count: share.of - share.count, of: share.of }
}

fn collect(rows: &[&Row], value: impl Fn(&Row) -> Option<f32>) -> Vec<f64> {
    rows.iter().filter_map(|r| value(r).map(f64::from)).collect()
}

fn depth_errors(rows: &[&Row]) -> Vec<f64> {
    rows.iter().filter_map(|r| r.depth_error_m(r.depth_m?).map(f64::abs)).collect()
}

fn share(share: Share) -> String {
    let Some(value) = share.value() else {
        return "    -".to_owned();
    };
    let (low, high) = share.interval();
    let decimals = if (0.01..=0.99).contains(&value) { 1 } else { 2 };
    let percent = |x: f64| format!("{:.decimals$}", 100.0 * x);
    format!(
        "{:>6} of {:<6} {:>6} %  ({} to {})",
        share.count,
        share.of,
        percent(value),
        percent(low),
        percent(high)
    )
}

fn spread(values: &[f64], unit: &str) -> String {
    match (quantile(values, 0.5), quantile(values, 0.95), quantile(values, 1.0)) {
        (Some(median), Some(most), Some(worst)) => {
            let [median, most, worst] = [median, most, worst].map(significant);
            format!("median {median}, 95 % {most}, worst {worst} {unit}")
        }
        _ => "-".to_owned(),
    }
}

/// Three significant figures, without an exponent.
fn significant(value: f64) -> String {
    let whole = value.abs().log10().floor();
    let decimals = if whole.is_finite() { (2.0 - whole).clamp(0.0, 6.0) as usize } else { 0 };
    format!("{value:.decimals$}")
}

fn methods(text: &mut String, groups: &[(&str, &[&Row])]) -> std::fmt::Result {
    for (word, rows) in groups {
        let mut head = Some(format!(
            "  methods, {word:<12} {:>7} {:>9} {:>9} {:>8} {:>8} {:>10}",
            "times", "bias m", "rms m", "bias s", "rms s", "within 2 s"
        ));
        for (n, method) in Method::ALL.iter().enumerate() {
            let found = |r: &&Row| {
                let m = r.methods.get(n).copied().flatten()?;
                let error_m = r.depth_error_m(m.depth_m)?;
                Some((error_m, error_m / f64::from(m.sigma_m)))
            };
            let (errors, sigmas): (Vec<f64>, Vec<f64>) = rows.iter().filter_map(found).unzip();
            let (Some(bias), Some(rms_m), Some(bias_s), Some(rms_s)) =
                (mean(&errors), rms(&errors), mean(&sigmas), rms(&sigmas))
            else {
                continue;
            };
            if let Some(head) = head.take() {
                writeln!(text, "{head}")?;
            }
            let within =
                100.0 * Share::holding(sigmas.iter().map(|z| z.abs() <= 2.0)).value().unwrap_or(0.0);
            writeln!(
                text,
                "    {:<20} {:>7} {bias:>+9.4} {rms_m:>9.4} {bias_s:>+8.2} {rms_s:>8.2} {within:>8.1} %",
                method.name(),
                errors.len(),
            )?;
        }
    }
    Ok(())
}

/// Errors of the traverse fit in bounds, depth by depth.
fn efficiency(text: &mut String, rows: &[&Row]) -> std::fmt::Result {
    let in_bounds: Vec<(f64, f64)> = rows.iter().filter_map(|r| error_in_bounds(r)).collect();
    let mut head = Some("  traverse fit over the Cramer-Rao bound, any verdict");
    for &(from_m, to_m) in &DEPTHS_M {
        let here: Vec<f64> =
            in_bounds.iter().filter(|(d, _)| (from_m..to_m).contains(d)).map(|(_, z)| *z).collect();
        if let (Some(rms), Some(median)) = (rms(&here), quantile(&here, 0.5)) {
            if let Some(head) = head.take() {
                writeln!(text, "{head}")?;
            }
            // Half of a normal error lies within 0.6745 of its sigma.
            let typical = median / 0.6745;
            writeln!(
                text,
                "    {from_m:>4.2} to {to_m:>5.2} m {:>8} times, rms {rms:>6.2}, by the median {typical:>5.2}",
                here.len()
            )?;
        }
    }
    Ok(())
}

/// The true depth, and the size of the traverse fit's error in bounds.
pub fn error_in_bounds(row: &Row) -> Option<(f64, f64)> {
    let fit = Method::ALL.iter().position(|m| *m == Method::TraverseFit)?;
    let error_m = row.depth_error_m(row.methods.get(fit).copied().flatten()?.depth_m)?;
    Some((row.truth?.depth_m, error_m.abs() / f64::from(row.bound_m.filter(|m| *m > 0.0)?)))
}

fn reasons(text: &mut String, rows: &[&Row]) -> std::fmt::Result {
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    for reason in rows.iter().flat_map(|r| &r.reasons) {
        *counts.entry(reason).or_default() += 1;
    }
    let mut counts: Vec<_> = counts.into_iter().collect();
    counts.sort_by_key(|&(code, count)| (std::cmp::Reverse(count), code));
    if !counts.is_empty() {
        let list: Vec<String> = counts.iter().map(|(code, count)| format!("{code} {count}")).collect();
        writeln!(text, "  reasons: {}", list.join(", "))?;
    }
    Ok(())
}

/// The names of all scores, in the order they come.
pub fn score_names<'a>(rows: impl IntoIterator<Item = &'a Row>) -> Vec<String> {
    let mut names: Vec<String> = Vec::new();
    for (name, _) in rows.into_iter().flat_map(|r| &r.scores) {
        if !names.contains(name) {
            names.push(name.clone());
        }
    }
    names
}

/// A score of a trial, where it has it.
pub fn score(row: &Row, name: &str) -> Option<f64> {
    row.scores.iter().find(|(n, _)| n == name).and_then(|(_, x)| x.map(f64::from))
}

/// How often each score is above 1.
fn flags(text: &mut String, rows: &[&Row]) -> std::fmt::Result {
    let flagged = score_names(rows.iter().copied()).into_iter().filter_map(|name| {
        let share = Share::holding(rows.iter().filter_map(|r| Some(score(r, &name)? > 1.0)));
        Some(format!("{name} {:.1} % of {}", 100.0 * share.value()?, share.of))
    });
    let list: Vec<String> = flagged.collect();
    if list.is_empty() { Ok(()) } else { writeln!(text, "  scores above 1: {}", list.join(", ")) }
}
