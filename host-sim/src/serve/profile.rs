//! The profile of a run: depth to source along it with its 95 % ranges, under the ground.

use glam::DVec2;
use maud::{Markup, html};

use super::draw::{Labels, WIDE, line, n, through, words};
use crate::alignment::Joined;
use crate::book::{Station, Verdict};
use crate::chart::{plain, round_up};
use crate::job::{EntryId, StationEntry};

const LEFT: f64 = 44.0;
const RIGHT: f64 = WIDE - 14.0;
const GROUND: f64 = 34.0;
const FLOOR: f64 = 214.0;
const TALL: f64 = 258.0;
/// Stations that stand closer are not told apart any more.
const CLOSEST: f64 = 6.0;
/// Numbers that follow each other are so far apart; between them some are left out.
const NUMBERS_APART: f64 = 26.0;

/// A station with a depth, and how far along the run it is.
struct Column<'a> {
    along_m: f64,
    station: &'a Station,
    low95: f64,
    value: f64,
    high95: f64,
}

/// Draw the profile of a run that was joined, or say why there is none.
pub fn profile(joined: &Joined, stations: &[(EntryId, &StationEntry)]) -> Markup {
    let columns: Vec<Column<'_>> = joined
        .stations
        .iter()
        .filter_map(|on_line| {
            let (_, entry) = stations.iter().find(|(id, _)| *id == on_line.entry)?;
            let d = entry.found.stated_depth_m()?;
            let (along_m, station) = (on_line.chainage_m, &entry.found);
            Some(Column { along_m, station, low95: d.low95, value: d.value, high95: d.high95 })
        })
        .collect();
    let Some(deepest) = columns.iter().map(|c| c.high95).reduce(f64::max) else {
        return html! { p.none { "No station has a depth that may be stated, so there is no profile." } };
    };
    let step_m = round_up(deepest.max(0.01) / 5.0);
    let steps = (deepest.max(0.01) / step_m).ceil();
    let y = |depth_m: f64| GROUND + (FLOOR - GROUND) * depth_m / (steps * step_m);
    let x = |along_m: f64| LEFT + 14.0 + (RIGHT - LEFT - 28.0) * along_m / joined.length_m.max(1e-3);
    let along_step = round_up(joined.length_m.max(0.01) / 6.0);
    let along_figures = (joined.length_m / along_step).floor() as u32;
    let apart = (RIGHT - LEFT - 28.0) / columns.len() as f64;
    let every =
        [1, 2, 5, 10, 20].into_iter().find(|&n| f64::from(n) * apart >= NUMBERS_APART).unwrap_or(50);
    let mut labels = Labels::default();
    html! {
        svg.profile xmlns="http://www.w3.org/2000/svg" role="img" aria-label="Depth to source along the run"
            viewBox={ "0 0 " (n(WIDE)) " " (n(TALL)) } {
            @for k in 1..=steps as u32 {
                @let depth = f64::from(k) * step_m;
                (line("grid", DVec2::new(LEFT, y(depth)), DVec2::new(RIGHT, y(depth))))
                (words("figure end", DVec2::new(LEFT - 5.0, y(depth) + 3.0), &plain(depth)))
            }
            @for k in 0..=along_figures {
                @let along = f64::from(k) * along_step;
                (line("grid", DVec2::new(x(along), FLOOR), DVec2::new(x(along), FLOOR + 4.0)))
                (words("figure middle", DVec2::new(x(along), FLOOR + 16.0), &plain(along)))
            }
            (words("figure", DVec2::new(LEFT, TALL - 8.0), "along the run, m"))
            (words("figure", DVec2::new(2.0, 11.0), "depth to source, m; bars: 95 %"))
            (line("ground", DVec2::new(LEFT, GROUND), DVec2::new(RIGHT, GROUND)))
            @for pair in columns.windows(2) {
                @if let [a, b] = pair {
                    @let gap = joined.segments.iter().any(|s| s.from == a.station.number && s.gap)
                        || b.station.number != a.station.number + 1;
                    path class=(if gap { "gap" } else { "slope" })
                        d=(through([DVec2::new(x(a.along_m), y(a.value)), DVec2::new(x(b.along_m), y(b.value))])) {}
                }
            }
            @if apart >= CLOSEST {
                @for c in &columns {
                    @let (at, wide) = (x(c.along_m), DVec2::new(3.0, 0.0));
                    @let class = if c.station.verdict == Verdict::Doubt { "bar doubt" } else { "bar" };
                    @let (top, bottom) = (DVec2::new(at, y(c.low95)), DVec2::new(at, y(c.high95)));
                    (line(class, top, bottom)) (line("bar", top - wide, top + wide)) (line("bar", bottom - wide, bottom + wide))
                    circle class={ "mark " (c.station.verdict.word().to_lowercase()) } cx=(n(at)) cy=(n(y(c.value))) r="2.6" {}
                    @if c.station.number.is_multiple_of(every) {
                        (number(c, at, &mut labels))
                    }
                }
            } @else {
                @let edge = columns.iter().map(|c| DVec2::new(x(c.along_m), y(c.low95)));
                @let back = columns.iter().rev().map(|c| DVec2::new(x(c.along_m), y(c.high95)));
                path.band d={ (through(edge.chain(back))) "z" } {}
            }
            @for spot in &joined.trouble {
                @let low = x(spot.chainage_m.low95.clamp(0.0, joined.length_m));
                @let high = x(spot.chainage_m.high95.clamp(0.0, joined.length_m));
                rect.trouble x=(n(low - 1.0)) y=(n(GROUND)) width=(n(high - low + 2.0)) height=(n(FLOOR - GROUND)) {}
            }
        }
        p.also {
            "Below the ground as it was at each station, drawn level. Between stations nothing was measured. Dotted: a \
             station there was refused, or has no depth or place."
            @if !joined.trouble.is_empty() { " Shaded upright: where the trouble spot lies, 95 %." }
        }
    }
}

fn number(column: &Column<'_>, at: f64, labels: &mut Labels) -> Markup {
    let number = column.station.number.to_string();
    let corner = labels.beside(DVec2::new(at - 8.0, GROUND + 2.5), &number, DVec2::new(WIDE, GROUND));
    html! { @if let Some(corner) = corner { (words("number", corner, &number)) } }
}
