//! How well each score tells distorted sites from nominal ones.

use maud::html;
use nullwalk_core::verdict::Verdict;

use crate::chart::{self, Axis, CURVES, GUIDE, INK, LEFT, Line, PAPER, Panel, SUM, decimal, words};
use crate::stats::Share;
use crate::trials::roc::Roc;
use crate::trials::rows::Row;
use crate::trials::summary::{score, score_names};

const SIDE: f64 = 420.0;
const WIDTH: f64 = 820.0;
/// A curve for each score, and what the verdict does.
pub fn draw(nominal: &[&Row], distorted: &[&Row]) -> Option<String> {
    let roc = |value: &dyn Fn(&Row) -> Option<f64>| {
        let values = |rows: &[&Row]| rows.iter().filter_map(|r| value(r)).collect::<Vec<_>>();
        Roc::new(&values(nominal), &values(distorted))
    };
    let names = score_names(nominal.iter().chain(distorted).copied());
    let largest = |r: &Row| r.scores.iter().filter_map(|(_, x)| x.map(f64::from)).reduce(f64::max);
    let mut curves: Vec<(&str, Line, Roc)> = Vec::new();
    for (name, line) in names.iter().zip(CURVES.into_iter().cycle()) {
        curves.extend(roc(&|r| score(r, name)).map(|found| (name.as_str(), line, found)));
    }
    curves.extend(roc(&largest).map(|found| ("the largest of them", SUM, found)));
    let doubted = |rows: &[&Row]| Share::holding(rows.iter().map(|r| r.verdict != Verdict::Agree)).value();
    let verdict = (doubted(nominal)?, doubted(distorted)?);
    let panel = Panel {
        left: LEFT,
        top: 24.0,
        width: SIDE,
        height: SIDE,
        x: Axis::linear("share of nominal trials flagged", 0.0, 1.0, 0.2),
        y: Axis::linear("share of distorted trials flagged", 0.0, 1.0, 0.2),
    };
    let beside = panel.right() + 24.0;
    let cross = |(x, y): (f64, f64)| {
        let (x, y) = (panel.x(x), panel.y(y));
        format!(
            "M{} {}l9 9M{} {}l9 -9",
            decimal(x - 4.5),
            decimal(y - 4.5),
            decimal(x - 4.5),
            decimal(y + 4.5)
        )
    };
    let content = html! {
        (panel.scales())
        (panel.curve([(0.0, 0.0), (1.0, 1.0)], GUIDE))
        @for (_, line, roc) in &curves {
            (panel.curve(roc.points.iter().copied(), *line))
            circle cx=(decimal(panel.x(roc.at_one.0))) cy=(decimal(panel.y(roc.at_one.1))) r="4" fill=(PAPER)
                stroke=(line.stroke) stroke-width="1.6" {}
        }
        path d=(cross(verdict)) fill="none" stroke=(INK) stroke-width="2" {}
        (panel.outline())
        (words("start", beside, 34.0, "score, with the area under its curve"))
        @for (n, (name, line, roc)) in curves.iter().enumerate() {
            (line.key(beside, 52.0 + 20.0 * n as f64, &format!("{name}, {:.3}", roc.area)))
        }
        @let below = 62.0 + 20.0 * curves.len() as f64;
        circle cx=(decimal(beside + 14.0)) cy=(decimal(below)) r="4" fill=(PAPER) stroke=(INK) stroke-width="1.6" {}
        (words("start", beside + 34.0, below + 4.0, "a score of 1"))
        path d={ "M" (decimal(beside + 9.5)) " " (decimal(below + 15.5)) "l9 9m0 -9l-9 9" } fill="none" stroke=(INK)
            stroke-width="2" {}
        (words("start", beside + 34.0, below + 24.0, "any verdict but Agree"))
        (words("start", beside, below + 52.0, &format!("{} nominal and {} distorted trials", nominal.len(), distorted.len())))
    };
    Some(chart::document(WIDTH, 496.0, "Distorted sites told from nominal ones", &content))
}
