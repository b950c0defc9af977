//! A job: its runs, what was noted, and its map.

use axum::extract::{Path, Query, State};
use axum::response::IntoResponse as _;
use maud::{Markup, html};
use serde::Deserialize;

use super::address::address;
use super::list::outcomes;
use super::page::{ROWS, caution, counted, leaf_through, page, pages, shelf, simulated};
use super::plan::{Links, plan};
use super::shelf::Opened;
use super::{Answer, Desk, Office, Trouble, Volume, forms, of_job};
use crate::job::Place;
use crate::maps::Format;

/// Which page of a table.
#[derive(Deserialize)]
pub struct Leaf {
    page: Option<usize>,
}

impl Leaf {
    /// The page, within what there is.
    pub fn at(&self, rows: usize) -> usize {
        self.page.unwrap_or(1).clamp(1, pages(rows))
    }
}

/// The job in the trail of pages.
pub fn name(volume: &Volume, opened: &Opened) -> String {
    let title = opened.job.state().settings().title;
    if title.trim().is_empty() { volume.name.clone() } else { title }
}

pub async fn show(State(office): Desk, Path(job): Path<String>, Query(leaf): Query<Leaf>) -> Answer {
    of_job(office, job, move |office, volume, opened| {
        let title = name(volume, opened);
        Ok(page(&title, &[], &content(office, volume, opened, &leaf)).into_response())
    })
    .await
}

fn content(office: &Office, volume: &Volume, opened: &Opened, leaf: &Leaf) -> Markup {
    let (state, home) = (opened.job.state(), address(volume));
    let settings = state.settings();
    let mut notices = opened.job.notices();
    match &opened.places {
        Ok(places) => notices.extend(places.notices.iter().cloned()),
        Err(why) => notices.push(format!("{}: {}", why.place, why.what)),
    }
    let runs: Vec<_> = state.runs().collect();
    let at = leaf.at(runs.len());
    let exports = Format::ALL.map(|format| {
        let end = ending(format);
        (format!("{home}/export/job.{end}"), kind(format))
    });
    html! {
        h1 { (name(volume, opened)) }
        @if !settings.description.is_empty() { p.lead { (settings.description) } }
        @if state.runs().any(|(_, run)| run.simulated) { (simulated()) }
        (caution())
        (shelf("Of this job", &[
            (format!("{home}/map"), "Map"),
            (format!("{home}/upload"), "Take in a capture"),
            (format!("{home}/history"), "History"),
        ]))
        @if !notices.is_empty() {
            section {
                h2 { "Look at" }
                ul { @for notice in &notices { li { (notice) } } }
            }
        }
        section {
            h2 { "Runs" }
            p { (counted(runs.len(), "run")) ", " (counted(opened.tally().stations(), "station")) ": " (outcomes(opened.tally())) "." }
            @if !runs.is_empty() {
                table {
                    thead { tr { th scope="col" { "Run" } th scope="col" { "What" } th scope="col" { "Stations" } th scope="col" { "Trouble spots" } } }
                    tbody {
                        @for (id, run) in runs.iter().skip((at - 1) * ROWS).take(ROWS) {
                            @let tally = opened.tallies.get(id).copied().unwrap_or_default();
                            tr {
                                th scope="row" { a href={ (home) "/run/" (id) } { (run.name) } }
                                td data-label="What" { (run.utility.letter()) ", " (run.utility.word()) @if run.simulated { ", simulated" } }
                                td data-label="Stations" { (tally.stations()) ": " (outcomes(tally)) }
                                td data-label="Trouble spots" { @if tally.trouble > 0 { (tally.trouble) } @else { "none marked" } }
                            }
                        }
                    }
                }
            }
            (leaf_through("runs", at, runs.len(), |n| format!("{home}?page={n}")))
        }
        section {
            h2 { "Place" }
            dl {
                @if !settings.site_note.is_empty() { dt { "Site" } dd { (settings.site_note) } }
                dt { "Datum" }
                dd { (settings.datum.map_or("none given", |d| d.name())) ", heights from " (settings.heights.clone().unwrap_or_default()) }
                @if let Some(anchor) = settings.anchor {
                    dt { "Origin of the grid" }
                    dd { (format!("{:.7}°, {:.7}° ± {:.2} m, bearing {:.2}°", anchor.latitude_deg, anchor.longitude_deg, anchor.sigma_m, anchor.bearing_deg)) }
                }
            }
            @if state.points().next().is_some() {
                h3 { "Permanent points" }
                ul {
                    @for (_, point) in state.points().take(ROWS) {
                        li { b { (point.name) } @if !point.description.is_empty() { ", " (point.description) } " " span.also { (place(&point.place)) } }
                    }
                }
                @let more = state.points().count().saturating_sub(ROWS);
                @if more > 0 { p.also { (more) " more are in the export and the history." } }
            }
        }
        section {
            h2 { "Hand on" }
            (shelf("Exports", &exports.map(|(address, kind)| (address, kind))))
            p.also { "GeoJSON and KML take a job only that lies on the Earth in WGS 84. The dig sheet is on the page of its run." }
        }
        (forms::notes(office, opened, None, &home))
    }
}

/// How a file of a format ends.
pub const fn ending(format: Format) -> &'static str {
    match format {
        Format::Geojson => "geojson",
        Format::Gpkg => "gpkg",
        Format::Csv => "csv",
        Format::Dxf => "dxf",
        Format::Kml => "kml",
    }
}

const fn kind(format: Format) -> &'static str {
    match format {
        Format::Geojson => "GeoJSON",
        Format::Gpkg => "GeoPackage",
        Format::Csv => "Table, CSV",
        Format::Dxf => "Drawing, DXF",
        Format::Kml => "KML",
    }
}

/// How a place was had, in words.
pub fn place(place: &Place) -> String {
    match place {
        Place::Locate => "as the locate found it".to_owned(),
        Place::Grid { sigma_m, .. } => format!("taped on the grid, ± {sigma_m} m"),
        Place::Ties { .. } => "by ties".to_owned(),
        Place::Gnss(g) => {
            let quality = if g.quality.is_empty() { String::new() } else { format!(", {}", g.quality) };
            format!("by satellites in {}, ± {} m{quality}", g.datum.name(), g.sigma_m)
        }
    }
}

pub async fn map(State(office): Desk, Path(job): Path<String>) -> Answer {
    of_job(office, job, |_, volume, opened| {
        let (state, home) = (opened.job.state(), address(volume));
        let places = opened.places.as_ref().map_err(|r| Trouble::unfit(format!("{}: {}", r.place, r.what)))?;
        let links =
            Links { run: |id| format!("{home}/run/{id}"), station: |id| format!("{home}/station/{id}") };
        let content = html! {
            h1 { "Map" }
            @if state.runs().any(|(_, run)| run.simulated) { (simulated()) }
            (caution())
            (plan(state, places, None, &links))
            p.also { "Letters: D drain, W water, R reclaimed, G gas, E electric, T telecom, U unknown. What was not looked for is not on this map." }
        };
        let trail = [(&*name(volume, opened), home.clone())];
        Ok(page("Map", &trail, &content).into_response())
    })
    .await
}
