//! Which rung was in force when, how near to the rail the samples came, and what went wrong meanwhile.

use maud::{Markup, html};

use super::samples::Seen;
use crate::chart::{self, Axis, FIRST, GUIDE, INK, LEFT, Panel, RED, RIGHT, WIDTH, decimal, heading, note};
use crate::inspect::SamplesReport;

/// The scale of levels begins here, dB below the rail.
const DEEPEST_DB: f64 = -80.0;

pub fn draw(seen: &Seen, report: &SamplesReport) -> Option<String> {
    let end_s = report.duration_s.max(0.1);
    let rungs = report.description.front_end.rungs.len();
    let panel = |top, height, label, y| {
        let x = Axis::rounded(label, 0.0, end_s, 10.0);
        Panel { left: LEFT, top, width: WIDTH - LEFT - RIGHT, height, x, y }
    };
    if seen.levels.is_empty() {
        return None;
    }
    let rung = panel(40.0, 110.0, "", Axis::linear("rung", -0.5, rungs as f64 - 0.5, 1.0));
    let level = panel(196.0, 150.0, "", Axis::linear("dB re the rail", DEEPEST_DB, 5.0, 20.0));
    let events = panel(392.0, 44.0, "time, s", Axis::linear("", 0.0, 2.0, 5.0));
    let steps =
        report.rung_spans.iter().flat_map(|s| [(s.from_s, f64::from(s.rung)), (s.to_s, f64::from(s.rung))]);
    let decibels =
        |share: f64| if share > 0.0 { (20.0 * share.log10()).max(DEEPEST_DB) } else { DEEPEST_DB };
    let clipped: u64 = report.channels.iter().map(|c| c.clipped).sum();
    let content = html! {
        (heading(LEFT, 28.0, "gain: rung in force"))
        (rung.scales())
        (rung.curve(steps, FIRST))
        (rung.outline())
        (heading(LEFT, 184.0, "largest sample of any channel in each tenth of a second"))
        (level.scales())
        (level.curve([(0.0, 0.0), (end_s, 0.0)], GUIDE))
        (note("end", level.right() - 6.0, level.y(0.0) + 13.0, "rail"))
        (level.curve(seen.levels.iter().map(|&(t, share)| (t, decibels(share))), FIRST))
        (level.outline())
        (heading(LEFT, 380.0, "trouble"))
        (events.scales())
        (ticks(events, 1.5, &seen.clipped_s))
        (ticks(events, 0.5, &report.gaps.iter().map(|g| g.at_s).collect::<Vec<_>>()))
        (events.outline())
        (note("end", LEFT - 6.0, events.y(1.5) + 4.0, "clipped"))
        (note("end", LEFT - 6.0, events.y(0.5) + 4.0, "lost"))
        (chart::words("end", events.right(), 380.0, &format!("{clipped} samples at the rail, {} gaps", report.gaps.len())))
    };
    Some(chart::document(WIDTH, 486.0, "Gain and clipping over time", &content))
}

fn ticks(panel: Panel, row: f64, times_s: &[f64]) -> Markup {
    let y = panel.y(row);
    let path: String =
        times_s.iter().map(|t| format!("M{} {}v14", decimal(panel.x(*t)), decimal(y - 7.0))).collect();
    html! {
        line x1=(decimal(panel.left)) x2=(decimal(panel.right())) y1=(decimal(panel.y(1.0))) y2=(decimal(panel.y(1.0)))
            stroke=(INK) stroke-width="0.5" {}
        @if !path.is_empty() { path d=(path) fill="none" stroke=(RED) stroke-width="1.4" {} }
    }
}
