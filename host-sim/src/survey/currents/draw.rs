//! Currents against distance.

use maud::{Markup, html};

use super::{Books, Run, Step};
use crate::chart::{
    Axis, FIRST, FOURTH, GUIDE, INK, LEFT, Line, PAPER, Panel, RIGHT, SECOND, THIRD, WIDTH, decimal,
    document, heading, note, words,
};

const TOP: f64 = 66.0;
const HEIGHT: f64 = 260.0;
/// From the panel to the list below it, and from line to line.
const LIST: f64 = 64.0;
const LINE: f64 = 17.0;
/// Letters on a line.
const LETTERS: usize = 122;

/// The drawing.
pub fn svg(books: &Books) -> String {
    let fixes = || books.runs.iter().flat_map(|run| &run.fixes);
    let distances = || fixes().map(|fix| fix.at_m);
    let (from, to) =
        (distances().fold(f64::INFINITY, f64::min), distances().fold(f64::NEG_INFINITY, f64::max));
    let margin_m = (0.02 * (to - from)).max(0.5);
    let most = fixes().map(|fix| fix.current_ma + 2.0 * fix.sigma_ma()).fold(0.0, f64::max);
    let least = fixes().map(|fix| fix.current_ma).filter(|ma| *ma > 0.0).fold(most, f64::min);
    let panel = Panel {
        left: LEFT,
        top: TOP,
        width: WIDTH - LEFT - RIGHT,
        height: HEIGHT,
        x: Axis::rounded("distance along the run, m", from - margin_m, to + margin_m, 12.0),
        y: Axis::log("current, mA", (0.7 * least).max(1e-4 * most).max(1e-9), 1.2 * most.max(1e-6)),
    };
    let steps: Vec<(&Run, &Step)> =
        books.runs.iter().flat_map(|run| run.steps.iter().map(move |s| (run, s))).collect();
    let list: Vec<String> =
        steps.iter().enumerate().flat_map(|(n, (run, step))| entry(n, run, step)).collect();
    let height = panel.bottom() + LIST + LINE * (list.len() as f64 + 2.0);
    let content = html! {
        (heading(14.0, 22.0, "Current along the run"))
        (panel.scales())
        @for (n, run) in books.runs.iter().enumerate() { (curve(panel, run, n)) }
        (panel.outline())
        @for (n, (_, step)) in steps.iter().enumerate() { (mark(panel, step, n)) }
        @for (n, line) in list.iter().enumerate() {
            (words("start", 14.0, panel.bottom() + LIST + LINE * n as f64, line))
        }
        (words("start", 14.0, height - 12.0, "A smooth loss does not prove that this is the line that was meant. Nothing here is permission to dig: follow local codes and licensed practice."))
    };
    document(WIDTH, height, "Current along a run, with its steps", &content)
}

fn style(n: usize) -> Line {
    [FIRST, SECOND, THIRD, FOURTH][n % 4]
}

/// What was measured, and what loss and steps expect.
fn curve(panel: Panel, run: &Run, n: usize) -> Markup {
    let expected = run.fixes.iter().zip(&run.expected_ma).filter(|(_, ma)| ma.is_finite());
    let last = run.fixes.iter().zip(&run.expected_ma).rev().find(|(_, ma)| ma.is_finite());
    html! {
        (panel.curve(expected.map(|(fix, ma)| (fix.at_m, *ma)), style(n)))
        @for fix in &run.fixes {
            @let low = (fix.current_ma - 1.96 * fix.sigma_ma()).max(panel.y.start());
            (panel.whisker(fix.at_m, fix.current_ma, (low, fix.current_ma + 1.96 * fix.sigma_ma()), Line::new(style(n).stroke, "1.2", "")))
        }
        @if let Some((fix, ma)) = last.filter(|_| !run.name.is_empty()) {
            (note("end", panel.x(fix.at_m) - 6.0, panel.y(*ma) - 8.0, &run.name))
        }
    }
}

/// Where something has to be said: its number, above the panel; neighbours at two heights.
fn mark(panel: Panel, step: &Step, n: usize) -> Markup {
    let x = panel.x(0.5 * (step.from_m + step.to_m));
    let y = panel.top - 12.0 - 20.0 * (n % 2) as f64;
    html! {
        line x1=(decimal(x)) x2=(decimal(x)) y1=(decimal(y)) y2=(decimal(panel.bottom())) stroke=(GUIDE.stroke)
            stroke-dasharray=(GUIDE.dashes) {}
        circle cx=(decimal(x)) cy=(decimal(y)) r="9" fill=(PAPER) stroke=(INK) {}
        text x=(decimal(x)) y=(decimal(y + 4.2)) text-anchor="middle" { (n + 1) }
    }
}

/// What has to be said, in lines.
fn entry(n: usize, run: &Run, step: &Step) -> Vec<String> {
    let change = step.change.map_or(String::new(), |change| format!(" {:+.0} %,", 100.0 * change));
    let name = if run.name.is_empty() { String::new() } else { format!("{}, ", run.name) };
    let place = format!("{}  {name}{} to {} m:{change}", n + 1, step.from_m, step.to_m);
    let text = format!("{place} {}", step.flag.sentence());
    let options = textwrap::Options::new(LETTERS).subsequent_indent("\u{2003}");
    textwrap::wrap(&text, options).into_iter().map(|line| line.into_owned()).collect()
}
