//! The dig sheet: a run on one or two pages, as one self-contained HTML file that prints to scale.
//!
//! Everything is drawn from vectors; there is no script and nothing is fetched. Nothing depends on
//! colour: a verdict has its word and its own frame, the pipe its letter, the zone its hatch.

mod cautions;
mod draw;
mod legend;
mod plan;
mod profile;
pub(crate) mod scale;
mod table;

use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::book::{Fault, Run, Verdict};
use crate::units::{feet_inches_up, metres_up};

const STYLE: &str = include_str!("style.css");

/// The sheet of a run, as the text of an HTML file.
///
/// # Errors
/// When a figure of the run cannot be true: nothing is drawn from such figures.
pub fn html(run: &Run) -> Result<String, Fault> {
    run.check()?;
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { "Dig sheet: " (title(run)) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                main {
                    (header(run))
                    (cautions::notice())
                    section {
                        h2 { "Plan" }
                        (plan::plan(run))
                    }
                    section {
                        h2 { "Profile: depth to source" }
                        (profile::profile(run))
                        (legend::legend(run))
                    }
                    section.record {
                        h2 { "Stations: " (title(run)) @if run.is_simulated() { " (simulated)" } }
                        (table::table(run))
                    }
                    (cautions::cautions(run))
                    (colophon(run))
                }
            }
        }
    };
    Ok(page.into_string())
}

fn title(run: &Run) -> &str {
    if run.title.is_empty() { "Untitled run" } else { &run.title }
}

fn header(run: &Run) -> Markup {
    html! {
        header {
            @if run.is_simulated() {
                p.simulated { strong { "Simulated." } " No such pipe exists. For learning and testing only; not to be used on site." }
            }
            p.kicker { "Dig sheet" @if !run.recorded.is_empty() { " · " (run.recorded) } }
            h1 { (title(run)) }
            @if !run.description.is_empty() { p.lead { (run.description) } }
            p.summary { (summary(run)) }
            @if !run.site_note.is_empty() { p { b { "Site: " } (run.site_note) } }
            p { b { "Pipe: " } (pipe(run)) }
        }
    }
}

/// How many stations, how they came out, and where the trouble lies.
fn summary(run: &Run) -> String {
    let count = |verdict| run.stations.iter().filter(|s| s.verdict == verdict).count();
    let outcomes = [(Verdict::Agree, "agree"), (Verdict::Doubt, "in doubt"), (Verdict::Refuse, "refused")];
    let outcomes: Vec<String> = outcomes
        .into_iter()
        .map(|(verdict, words)| (count(verdict), words))
        .filter(|(n, _)| *n > 0)
        .map(|(n, words)| format!("{n} {words}{}", if (n, words) == (1, "agree") { "s" } else { "" }))
        .collect();
    let stations = match run.stations.len() {
        0 => return "No station was recorded. That does not mean that nothing is there.".to_owned(),
        1 => "1 station".to_owned(),
        n => format!("{n} stations"),
    };
    let trouble: Vec<String> =
        run.stations.iter().filter(|s| s.trouble_spot).map(|s| s.number.to_string()).collect();
    let trouble = match trouble.as_slice() {
        [] => String::new(),
        spots => format!(" Trouble spot at station {}.", spots.join(" and ")),
    };
    format!("{stations}: {}.{trouble}", outcomes.join(", "))
}

fn pipe(run: &Run) -> String {
    let size = |name: &str, value: Option<f64>| match value {
        Some(v) => format!("{name} {:.0} mm", v * 1000.0),
        None => format!("{name} not known"),
    };
    let width = match run.tolerance_zone.width_m(&run.pipe) {
        Some(w) => format!("{} / {}", metres_up(w), feet_inches_up(w)),
        None => "not known".to_owned(),
    };
    format!(
        "drain, D; {}, {}, {}; facility width {width}.",
        size("bore", run.pipe.bore_m),
        size("wall", run.pipe.wall_m),
        size("beacon", run.pipe.beacon_diameter_m),
    )
}

fn colophon(run: &Run) -> Markup {
    html! {
        footer {
            "Positions count from the site’s origin. Ranges are rounded outwards. "
            @if run.is_simulated() { "Simulated. " }
            "Drawn by nullwalk " (env!("CARGO_PKG_VERSION")) "."
        }
    }
}
