//! A run: its plan and profile, its stations, what to look at and what to stake out.

use axum::extract::{Path, Query, State};
use axum::response::IntoResponse as _;
use maud::{Markup, html};

use super::address::address;
use super::hand_on::PRINTED;
use super::job_page::{Leaf, name};
use super::page::{ROWS, caution, depth, leaf_through, page, shelf, simulated, verdict};
use super::plan::{Links, plan};
use super::profile::profile;
use super::shelf::Opened;
use super::{Answer, Desk, Office, Trouble, entry, forms, of_job};
use crate::alignment::{Joined, join};
use crate::book::{Run, Verdict};
use crate::job::{Content, EntryId, Falls, Places, RunCard, StationEntry};
use crate::units::{feet_inches, metres, metres_range, metres_up};

/// Farthest that stakes are apart, metres; farther where a run would take more than so many.
const STAKES_M: f64 = 2.0;
const MOST_STAKES: f64 = 100.0;

pub async fn show(
    State(office): Desk,
    Path((job, run)): Path<(String, String)>,
    Query(leaf): Query<Leaf>,
) -> Answer {
    let run = entry(&run)?;
    of_job(office, job, move |office, volume, opened| {
        let Some(Content::Run(card)) = opened.job.state().get(run) else {
            return Err(Trouble::not_found());
        };
        let home = address(volume);
        let content = content(office, opened, run, card, &home, &leaf);
        let trail = [(&*name(volume, opened), home)];
        Ok(page(&card.name, &trail, &content).into_response())
    })
    .await
}

fn content(
    office: &Office,
    opened: &Opened,
    id: EntryId,
    card: &RunCard,
    home: &str,
    leaf: &Leaf,
) -> Markup {
    let state = opened.job.state();
    let stations = state.stations_of(id);
    let at = leaf.at(stations.len());
    let links =
        Links { run: |id| format!("{home}/run/{id}"), station: |id| format!("{home}/station/{id}") };
    html! {
        h1 { (card.name) }
        @if !card.description.is_empty() { p.lead { (card.description) } }
        @if card.simulated || stations.iter().any(|(_, s)| s.found.truth.is_some()) { (simulated()) }
        (caution())
        (shelf("Of this run", &sheets(home, id)))
        @match &opened.places {
            Err(why) => p.message { (why.place) ": " (why.what) },
            Ok(places) => {
                section { h2 { "Plan" } (plan(state, places, Some(id), &links)) }
                (joined(opened, places, id, &stations))
            }
        }
        section #stations {
            h2 { "Stations" }
            @if stations.is_empty() { p.none { "None was recorded. That does not mean that nothing is there." } }
            @else { (table(opened, &stations, at, home)) }
            (leaf_through("stations", at, stations.len(), |n| format!("{home}/run/{id}?page={n}#stations")))
        }
        section { h2 { "The run" } (facts(card)) }
        (forms::notes(office, opened, Some(id), home))
    }
}

fn sheets(home: &str, id: EntryId) -> Vec<(String, &'static str)> {
    let drawn = (format!("{home}/run/{id}/sheet"), "Dig sheet");
    let printed = PRINTED.iter().map(|(file, words, _)| (format!("{home}/run/{id}/{file}"), *words));
    std::iter::once(drawn).chain(printed).collect()
}

fn table(opened: &Opened, stations: &[(EntryId, &StationEntry)], at: usize, home: &str) -> Markup {
    html! {
        table {
            thead { tr {
                th scope="col" { "Station" } th scope="col" { "Verdict" } th scope="col" { "Depth to source, 95 %" } th scope="col" { "Place" }
            } }
            tbody {
                @for (id, station) in stations.iter().skip((at - 1) * ROWS).take(ROWS) {
                    @let found = &station.found;
                    tr {
                        th scope="row" {
                            a href={ (home) "/station/" (id) } { (found.number) @if !found.name.is_empty() { " " (found.name) } }
                        }
                        td data-label="Verdict" { (verdict(found.verdict)) @if found.trouble_spot { " " b { "Trouble spot" } } }
                        td data-label="Depth to source, 95 %" { (depth(found)) }
                        td data-label="Place" { (place(opened, *id, station)) }
                    }
                }
            }
        }
    }
}

/// Where a station is, and how sure that is.
pub fn place(opened: &Opened, id: EntryId, station: &StationEntry) -> Markup {
    let Ok(places) = &opened.places else { return html! { span.none { "Not known" } } };
    match places.of(id) {
        Err(why) => html! { span.none { (why) } },
        Ok(spot) => {
            let radius_m = crate::job::ellipse95() * spot.cov.axes().0;
            let (e, n) = (spot.at.x, spot.at.y);
            html! {
                @if !station.found.is_located() { "tried or marked at " }
                (metres(e.abs())) @if e < 0.0 { " W, " } @else { " E, " } (metres(n.abs())) @if n < 0.0 { " S" } @else { " N" }
                @if station.found.is_located() {
                    " " span.also { @if station.found.verdict == Verdict::Doubt { "not surer than " } @else { "within " } (metres_up(radius_m)) }
                }
            }
        }
    }
}

fn joined(opened: &Opened, places: &Places, id: EntryId, stations: &[(EntryId, &StationEntry)]) -> Markup {
    let joined = match join(opened.job.state(), places, id) {
        Ok(joined) => joined,
        Err(why) => {
            return html! { section { h2 { "Profile" } p.none { "There is none: " (why) "." } } };
        }
    };
    html! {
        section {
            h2 { "Profile" }
            (profile(&joined, stations))
            @if joined.ground_taken_level {
                p.also { "The ground was not levelled at every station: slopes are those of the depths, as if it were level." }
            }
        }
        @if !joined.flags.is_empty() {
            section { h2 { "Look at" } ul { @for flag in &joined.flags { li { (flag.sentence) } } } }
        }
        @for trouble in &joined.trouble {
            section {
                h2 { "Trouble spot" }
                dl {
                    dt { "Known by" } dd {
                        (trouble.by)
                        @if trouble.between[0] == trouble.between[1] { ", " (trouble.between[0]) }
                        @else { ", between stations " (trouble.between[0]) " and " (trouble.between[1]) }
                    }
                    dt { "Along the run" } dd { b { (metres_range(trouble.chainage_m.low95, trouble.chainage_m.high95)) } " from the first station, 95 %" }
                    dt { "Place" } dd { (format!("{:.2} m east, {:.2} m north", trouble.east_m, trouble.north_m)) ", within " (metres_up(trouble.aside95_m)) " aside" }
                    dt { "Depth to source" }
                    dd {
                        @match trouble.depth_m {
                            Some(d) => { b { (metres_range(d.low95, d.high95)) } ", 95 %" }
                            None => span.none { "Not stated: it takes a depth at every station of the run" },
                        }
                    }
                }
            }
        }
        (segments(&joined))
        (stakes(&joined))
    }
}

fn segments(joined: &Joined) -> Markup {
    html! {
        details {
            summary { "Segments and slopes" }
            table {
                thead { tr { th scope="col" { "From, to" } th scope="col" { "Length" } th scope="col" { "Fall, 95 %" } th scope="col" { "Look at" } } }
                tbody {
                    @for s in &joined.segments {
                        tr {
                            th scope="row" { (s.from) " to " (s.to) }
                            td data-label="Length" { (metres(s.length_m)) " " span.also { (feet_inches(s.length_m)) } }
                            td data-label="Fall, 95 %" {
                                @match s.fall {
                                    Some(f) => (format!("{:+.1} % ± {:.1} %", 100.0 * f.value, 196.0 * f.sigma)),
                                    None => "not known",
                                }
                            }
                            td data-label="Look at" {
                                @if s.gap { b { "Gap: nothing known between. " } }
                                @if s.uphill { b { "Uphill. " } }
                                @if s.doubt { b { "In doubt. " } }
                                @if !(s.gap || s.uphill || s.doubt) { span.also { "nothing flagged" } }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn stakes(joined: &Joined) -> Markup {
    let stakes = joined.stakes(STAKES_M.max(joined.length_m / MOST_STAKES));
    html! {
        details {
            summary { "Stakes to set out" }
            table {
                thead { tr {
                    th scope="col" { "Stake" } th scope="col" { "Along" } th scope="col" { "East, north" } th scope="col" { "Aside, 95 %" } th scope="col" { "Depth to source, 95 %" }
                } }
                tbody {
                    @for s in &stakes {
                        tr {
                            th scope="row" { (s.what) }
                            td data-label="Along" { (format!("{:.2} m", s.chainage_m)) }
                            td data-label="East, north" { (format!("{:.2} m, {:.2} m", s.east_m, s.north_m)) }
                            td data-label="Aside, 95 %" { (metres_up(s.aside95_m)) }
                            td data-label="Depth to source, 95 %" {
                                @match s.depth_low95_m.zip(s.depth_high95_m) {
                                    Some((low, high)) => (metres_range(low, high)),
                                    None => span.none { "Not stated" },
                                }
                            }
                        }
                    }
                }
            }
            p.also { "A stake’s depth between stations is not measured; its range says what it rests on." }
        }
    }
}

fn facts(card: &RunCard) -> Markup {
    let size =
        |value: Option<f64>| value.map_or("not known".to_owned(), |v| format!("{:.0} mm", 1000.0 * v));
    let width_m = Run { pipe: card.pipe, tolerance_zone: card.tolerance_zone, ..Run::default() };
    let width_m = width_m.tolerance_zone.width_m(&card.pipe);
    html! {
        dl {
            dt { "Utility" } dd { (card.utility.letter()) ", " (card.utility.word()) }
            @if !card.recorded.is_empty() { dt { "Recorded" } dd { (card.recorded) } }
            dt { "Falls" }
            dd { (match card.falls {
                Falls::Unknown => "nobody said which way",
                Falls::WithNumbers => "towards the higher numbers",
                Falls::AgainstNumbers => "towards the lower numbers",
            }) }
            dt { "Bore, wall" } dd { (size(card.pipe.bore_m)) ", " (size(card.pipe.wall_m)) }
            dt { "Tolerance zone" }
            dd {
                "the larger of " (metres_up(card.tolerance_zone.legal_m)) " and the 95 % radius, "
                @match width_m {
                    Some(width_m) => { "plus half the pipe’s width of " (metres_up(width_m)) },
                    None => "and the pipe’s width is not known: add half of it on each side",
                }
            }
        }
    }
}
