//! What stands below the ground: what the strokes mean, and what was found.

use maud::{Markup, html};

use super::mark::{Mark, style};
use super::{MARGIN, ROW, TRUTH, WALKED};
use crate::book::Verdict;
use crate::chart::{INK, WIDTH, decimal, heading, words};

/// Left edges of the table's columns.
const COLUMNS: [f64; 6] = [0.0, 22.0, 270.0, 470.0, 545.0, 655.0];

/// What the strokes mean.
pub(super) fn key(y: f64) -> Markup {
    html! {
        (style(Verdict::Agree).key(MARGIN, y, "lay, agree"))
        (style(Verdict::Doubt).key(MARGIN + 130.0, y, "lay, doubt"))
        (TRUTH.key(MARGIN + 260.0, y, "as it really runs (simulated)"))
        (WALKED.key(MARGIN + 490.0, y, "walked"))
    }
}

pub(super) fn table(marks: &[Mark], top: f64) -> Markup {
    let heads = ["", "where", "what was heard", "verdict", "depth (95 %)", "reckon from"];
    html! {
        @for (head, x) in heads.iter().zip(COLUMNS) { (heading(MARGIN + x, top, head)) }
        @let (right, rule) = (decimal(WIDTH - MARGIN), decimal(top + 6.0));
        line x1=(MARGIN) x2=(right) y1=(rule) y2=(rule) stroke=(INK) {}
        @for (n, mark) in marks.iter().enumerate() {
            @let y = top + ROW * (n as f64 + 1.0) + 2.0;
            (heading(MARGIN, y, &mark.number.to_string()))
            @for (cell, x) in mark.cells.iter().zip(COLUMNS.iter().skip(1)) { (words("start", MARGIN + x, y, cell)) }
        }
    }
}
