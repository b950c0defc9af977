//! What changes with depth: coverage, errors, efficiency.

use maud::html;
use nullwalk_core::verdict::Verdict;

use super::{LEFT, RIGHT, WIDTH};
use crate::chart::{self, Axis, BLUE, FIRST, GUIDE, Line, Panel, SECOND, heading, note, words};
use crate::stats::{mean, quantile, rms};
use crate::trials::rows::Row;
use crate::trials::summary::{DEPTHS_M, error_in_bounds, within_range};

/// More dots than this make no picture clearer.
const MOST_DOTS: usize = 3000;

fn panel(rows: &[Row], y: Axis) -> Option<Panel> {
    let deepest_m = rows.iter().filter_map(|r| r.truth).map(|t| t.depth_m).reduce(f64::max)?;
    let x = Axis::rounded("true depth to the source, m", 0.0, 1.05 * deepest_m, 8.0);
    Some(Panel { left: LEFT, top: 40.0, width: WIDTH - LEFT - RIGHT, height: 300.0, x, y })
}

/// Rows by depth: the mean depth of those in each bin that has any.
fn binned<'a>(rows: &[&'a Row]) -> Vec<(f64, Vec<&'a Row>)> {
    let bin = |&(from_m, to_m): &(f64, f64)| {
        let within = |r: &&&Row| r.truth.is_some_and(|t| (from_m..to_m).contains(&t.depth_m));
        let here: Vec<&Row> = rows.iter().filter(within).copied().collect();
        let depths: Vec<f64> = here.iter().filter_map(|r| r.truth).map(|t| t.depth_m).collect();
        Some((mean(&depths)?, here))
    };
    DEPTHS_M.iter().filter_map(bin).collect()
}

/// How often the stated range holds the truth.
pub fn coverage(rows: &[Row]) -> Option<String> {
    // Both verdicts stand at the mean depth of all, side by side.
    let all: Vec<&Row> = rows.iter().collect();
    let bins = binned(&all);
    let of = |verdict| {
        let shares = bins.iter().map(|(depth_m, here)| {
            let its: Vec<&Row> = here.iter().filter(|r| r.verdict == verdict).copied().collect();
            (*depth_m, within_range(&its, 1.0))
        });
        shares.filter(|(_, share)| share.of > 0).collect::<Vec<_>>()
    };
    let shares = [(of(Verdict::Agree), FIRST, -6.0), (of(Verdict::Doubt), SECOND, 6.0)];
    let lows = shares.iter().flat_map(|(set, _, _)| set).map(|(_, share)| share.interval().0);
    let lowest = lows.reduce(f64::min)?;
    // A little room above 100 %, where most of them stand.
    let from = (100.0 * lowest / 10.0).floor().min(8.0) * 10.0;
    let panel = panel(rows, Axis::rounded("range holds the truth, %", from, 103.0, 8.0))?;
    let content = html! {
        (FIRST.key(LEFT, 14.0, "agree"))
        (SECOND.key(LEFT + 90.0, 14.0, "doubt"))
        (words("start", LEFT + 190.0, 18.0, "with the 95 % interval of the share (Wilson); the number of trials beside it"))
        (panel.scales())
        (panel.curve([(panel.x.start(), 95.0), (panel.x.end(), 95.0)], GUIDE))
        @for (shares, line, aside) in shares {
            @let panel = Panel { left: panel.left + aside, ..panel };
            @for (depth_m, share) in shares {
                @let (low, high) = share.interval();
                @let value = 100.0 * share.value().unwrap_or(0.0);
                (panel.whisker(depth_m, value, (100.0 * low, 100.0 * high), line))
                @let anchor = if aside < 0.0 { "end" } else { "start" };
                (note(anchor, panel.x(depth_m) + 1.4 * aside, panel.y(value) + 4.0, &share.of.to_string()))
            }
        }
        (panel.outline())
    };
    Some(chart::document(WIDTH, 392.0, "How often the stated range holds the true depth", &content))
}

/// Errors of the stated depth beside the stated sigmas.
pub fn errors(rows: &[Row]) -> Option<String> {
    let agree: Vec<&Row> = rows.iter().filter(|r| r.verdict == Verdict::Agree).collect();
    let error = |r: &&Row| Some((r.truth?.depth_m, r.depth_error_m(r.depth_m?)?.abs()));
    let dots: Vec<(f64, f64)> = agree.iter().filter_map(error).collect();
    let size = |share| quantile(&dots.iter().map(|d| d.1).collect::<Vec<_>>(), share);
    let lowest = chart::round_down(size(0.02)?.max(1e-5));
    let highest = chart::round_up(size(1.0)?.max(10.0 * lowest));
    let panel = panel(rows, Axis::log("error of the depth, m", lowest, highest))?;
    let curve = |value: &dyn Fn(&[&Row]) -> Option<f64>| {
        binned(&agree).into_iter().filter_map(|(d, here)| Some((d, value(&here)?))).collect::<Vec<_>>()
    };
    let found = curve(&|here| rms(&here.iter().filter_map(|r| Some(error(r)?.1)).collect::<Vec<_>>()));
    let claimed =
        curve(&|here| rms(&here.iter().filter_map(|r| r.sigma_m.map(f64::from)).collect::<Vec<_>>()));
    const FOUND: Line = Line::new("#000", "2.2", "");
    let content = html! {
        (words("start", LEFT, 18.0, "dots: one trial each, where methods agree"))
        (FOUND.key(LEFT + 270.0, 14.0, "their rms"))
        (SECOND.key(LEFT + 390.0, 14.0, "rms of the stated sigmas"))
        (panel.scales())
        (panel.dots(dots.iter().copied().step_by(dots.len().div_ceil(MOST_DOTS)), BLUE))
        (panel.curve(found, FOUND))
        (panel.curve(claimed, SECOND))
        (panel.outline())
    };
    Some(chart::document(WIDTH, 392.0, "Errors of the stated depth and stated sigmas", &content))
}

/// Errors of the traverse fit over the bound of the walk.
pub fn efficiency(rows: &[Row]) -> Option<String> {
    let all: Vec<&Row> = rows.iter().collect();
    let points = binned(&all).into_iter().filter_map(|(depth_m, here)| {
        let errors: Vec<f64> = here.iter().filter_map(|r| error_in_bounds(r)).map(|(_, z)| z).collect();
        let value = rms(&errors)?;
        // A normal sample's rms is uncertain by 1/sqrt(2 n) of itself.
        let factor = (1.96 / (2.0 * errors.len() as f64).sqrt()).exp();
        Some((depth_m, value, (value / factor, value * factor), errors.len()))
    });
    let points: Vec<_> = points.collect();
    let lowest = points.iter().map(|p| p.2.0).reduce(f64::min)?;
    let highest = points.iter().map(|p| p.2.1).reduce(f64::max)?;
    let y = Axis::log(
        "rms error of the traverse fit, bounds",
        chart::round_down(lowest.min(0.5)),
        chart::round_up(highest.max(5.0)),
    );
    let panel = panel(rows, y)?;
    let content = html! {
        (heading(LEFT, 18.0, "Traverse fit, any verdict, over the Cramér-Rao bound of the walk (1: nobody could do better)"))
        (panel.scales())
        (panel.curve([(panel.x.start(), 1.0), (panel.x.end(), 1.0)], GUIDE))
        @for (depth_m, value, interval, count) in &points {
            (panel.whisker(*depth_m, *value, *interval, FIRST))
            (note("start", panel.x(*depth_m) + 8.0, panel.y(*value) + 4.0, &count.to_string()))
        }
        (panel.outline())
    };
    Some(chart::document(WIDTH, 392.0, "Efficiency of the traverse fit", &content))
}
