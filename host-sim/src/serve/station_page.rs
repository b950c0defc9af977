//! A station: everything known of it, and how it came to be known.

use axum::extract::{Path, State};
use axum::response::IntoResponse as _;
use glam::DVec2;
use maud::{Markup, html};

use super::address::address;
use super::draw::{WIDE, line, n, words};
use super::job_page::name;
use super::page::{caution, depth, page, simulated, verdict};
use super::pictures::capture_of;
use super::shelf::Opened;
use super::{Answer, Desk, Trouble, entry, forms, history, job_page, of_job, run_page};
use crate::book::{Check, Cover, Station};
use crate::chart::{plain, round_up};
use crate::job::{Content, Entry, EntryId, RunCard, StationEntry};
use crate::units::{feet_inches, feet_inches_range, lay, metres, metres_range};

pub async fn show(State(office): Desk, Path((job, station)): Path<(String, String)>) -> Answer {
    let id = entry(&station)?;
    of_job(office, job, move |office, volume, opened| {
        let entries = opened.job.history_of(id)?;
        let state = opened.job.state();
        let Some(Content::Station(station)) = state.get(id) else { return Err(Trouble::not_found()) };
        let Some(Content::Run(card)) = state.get(station.run) else { return Err(Trouble::not_found()) };
        let home = address(volume);
        let here = format!("{home}/station/{id}");
        let content = html! {
            h1 { "Station " (station.found.number) @if !station.found.name.is_empty() { ": " (station.found.name) } }
            @if card.simulated || station.found.truth.is_some() { (simulated()) }
            (caution())
            (neighbours(opened, id, station, &home))
            (found(opened, id, station, card))
            (methods(&station.found))
            (checks(&station.found))
            (origin(opened, id, station, &here))
            (forms::notes(office, opened, Some(id), &home))
            (forms::correction(office, &here, station))
            (past(&entries))
        };
        let run = (&*card.name, format!("{home}/run/{}", station.run));
        let trail = [(&*name(volume, opened), home), run];
        Ok(page(&format!("Station {}", station.found.number), &trail, &content).into_response())
    })
    .await
}

fn neighbours(opened: &Opened, id: EntryId, station: &StationEntry, home: &str) -> Markup {
    let all = opened.job.state().stations_of(station.run);
    let at = all.iter().position(|(other, _)| *other == id).unwrap_or_default();
    let link = |at: Option<usize>| at.and_then(|at| all.get(at)).copied();
    html! {
        nav.leaves aria-label="Stations of the run" {
            @if let Some((id, s)) = link(at.checked_sub(1)) { a rel="prev" href={ (home) "/station/" (id) } { "Station " (s.found.number) } }
            span { (at + 1) " of " (all.len()) }
            @if let Some((id, s)) = link(Some(at + 1)) { a rel="next" href={ (home) "/station/" (id) } { "Station " (s.found.number) } }
        }
    }
}

fn found(opened: &Opened, id: EntryId, station: &StationEntry, card: &RunCard) -> Markup {
    let s = &station.found;
    html! {
        section {
            h2 { "What was found" }
            p { (verdict(s.verdict)) @if s.trouble_spot { " " b { "Trouble spot" } } }
            @for reason in &s.reasons { p.reason { b { (reason.sentence) } " " (reason.remedy) } }
            dl {
                dt { "Depth to source, 95 %" }
                dd {
                    (depth(s))
                    @if let Some(d) = s.stated_depth_m() { " " span.also.line { "best " (metres(d.value)) " / " (feet_inches(d.value)) } }
                }
                @if let Some(m) = s.stated_shallow_bound_m() {
                    dt { "Reckon with it from" }
                    dd { (metres(m)) " / " (feet_inches(m)) " down; nothing says that the ground above is free" }
                }
                dt { "Depth of cover" }
                dd {
                    @match s.stated_depth_m().map(|d| card.pipe.cover(&d)) {
                        Some(Cover::Between { low_m, high_m }) => { (metres_range(low_m, high_m)) " " span.also { (feet_inches_range(low_m, high_m)) } }
                        Some(Cover::SizeUnknown) => span.none { "Not stated: bore or wall is not known" },
                        Some(Cover::Impossible) => span.none { "Not stated: the pipe’s size does not fit this depth" },
                        None => span.none { "Not stated" },
                    }
                }
                dt { "Place" } dd { (run_page::place(opened, id, station)) " " span.also.line { (job_page::place(&station.place)) } }
                @if s.is_located() {
                    dt { "Lay" }
                    dd { @match &s.lay_deg { Some(l) => { (lay(l.value)) " ± " ((1.96 * l.sigma).ceil()) "°" }, None => "not known" } }
                }
                @if let Some(tone) = s.tone {
                    dt { "Tone" }
                    dd { (format!("{:.0} Hz, off by {:+.2} Hz, up to {:.0} dB above the noise", tone.nominal_hz, tone.offset_hz + 0.0, tone.snr_db)) }
                }
                @if let Some(counter) = station.counter_m { dt { "Counter of the cable" } dd { (metres(counter.value)) } }
                @if let Some(ground) = station.ground_m { dt { "Height of the ground" } dd { (format!("{:.2} m", ground.value)) } }
                @if let Some(truth) = s.truth { dt { "Truth, known to the simulator only" } dd { (metres(truth.depth_to_source_m)) " deep" } }
            }
        }
    }
}

/// Each method's own answer, drawn to one scale.
fn methods(station: &Station) -> Markup {
    let located = station.is_located();
    let answers: Vec<_> =
        station.methods.iter().filter_map(|m| Some((m, m.estimate.filter(|_| located)?))).collect();
    html! {
        section {
            h2 { "Methods" }
            @if station.methods.is_empty() { p.none { "None was recorded." } }
            ul {
                @for method in &station.methods {
                    li {
                        (method.method) ": "
                        @match (method.estimate.filter(|_| located), &method.refused) {
                            (Some(e), _) => { b { (metres_range(e.low95, e.high95)) } },
                            (None, Some(why)) => { "none: " (why) },
                            (None, None) => "not stated",
                        }
                    }
                }
            }
            @if !answers.is_empty() && let Some(all) = station.stated_depth_m() {
                @let low = answers.iter().map(|(_, e)| e.low95).fold(all.low95, f64::min);
                @let high = answers.iter().map(|(_, e)| e.high95).fold(all.high95, f64::max);
                (bars(&answers.iter().map(|(m, e)| (&*m.method, e.low95, e.value, e.high95)).chain([("stated", all.low95, all.value, all.high95)]).collect::<Vec<_>>(), low, high))
            }
        }
    }
}

fn bars(rows: &[(&str, f64, f64, f64)], low: f64, high: f64) -> Markup {
    const LEFT: f64 = 132.0;
    const STEP: f64 = 20.0;
    let span = (high - low).max(0.02);
    let (low, span) = (low - 0.06 * span, 1.12 * span);
    let x = |m: f64| LEFT + (WIDE - LEFT - 12.0) * (m - low) / span;
    let bottom = 8.0 + STEP * rows.len() as f64;
    let step = round_up(span / 3.0);
    let first = (low / step).ceil() as i32;
    let last = ((low + span) / step).floor() as i32;
    html! {
        svg.bars xmlns="http://www.w3.org/2000/svg" role="img" aria-label="Answers of the methods with their 95 % ranges"
            viewBox={ "0 0 " (n(WIDE)) " " (n(bottom + 36.0)) } {
            @for k in first..=last {
                @let at = x(f64::from(k) * step);
                (line("grid", DVec2::new(at, 2.0), DVec2::new(at, bottom + 4.0)))
                (words("figure middle", DVec2::new(at, bottom + 16.0), &plain(f64::from(k) * step)))
            }
            @for (k, (name, low, value, high)) in rows.iter().enumerate() {
                @let y = 16.0 + STEP * k as f64;
                @let class = if *name == "stated" { "bar stated" } else { "bar" };
                (words("method", DVec2::new(0.0, y + 3.5), name))
                (line(class, DVec2::new(x(*low), y), DVec2::new(x(*high), y)))
                (line(class, DVec2::new(x(*low), y - 4.0), DVec2::new(x(*low), y + 4.0)))
                (line(class, DVec2::new(x(*high), y - 4.0), DVec2::new(x(*high), y + 4.0)))
                circle.mark cx=(n(x(*value))) cy=(n(y)) r="3" {}
            }
            (words("figure", DVec2::new(LEFT, bottom + 32.0), "depth to source, m; bars: 95 %"))
        }
    }
}

fn checks(station: &Station) -> Markup {
    let (passed, failed): (Vec<&Check>, Vec<&Check>) = station.checks.iter().partition(|c| c.passed);
    let list = |checks: &[&Check]| {
        html! { ul { @for c in checks { li { b { (c.name) } @if !c.detail.is_empty() { ": " (c.detail) } } } } }
    };
    html! {
        section {
            h2 { "Checks" }
            @if station.checks.is_empty() { p.none { "None was recorded." } }
            @if !failed.is_empty() { h3 { "Failed" } (list(&failed)) }
            @if !passed.is_empty() { details { summary { (passed.len()) " passed" } (list(&passed)) } }
        }
    }
}

fn origin(opened: &Opened, id: EntryId, station: &StationEntry, here: &str) -> Markup {
    let state = opened.job.state();
    let source = station.origin.as_ref().and_then(|o| match state.get(o.source) {
        Some(Content::Source(source)) => Some((o, source)),
        _ => None,
    });
    let ties: Vec<_> = state.ties().filter(|(_, t)| t.station == id).collect();
    let residuals = opened.places.as_ref().ok().and_then(|p| p.ties_of(id));
    html! {
        section {
            h2 { "Where it comes from" }
            @match source {
                Some((origin, source)) => dl {
                    dt { "File" } dd { (source.path) ", " (source.what) ", " (source.bytes) " bytes" }
                    dt { "SHA-256" } dd { code { (source.sha256) } }
                    @if let Some(record) = origin.sequence { dt { "Record" } dd { (record) } }
                    @if !source.instrument.is_empty() { dt { "Instrument" } dd { (source.instrument) } }
                },
                None => p { "Entered by hand, or located without a file." },
            }
            @if capture_of(state, station).is_some() {
                p { a href={ (here) "/pictures" } { "Pictures of the walk and the samples" } }
            }
            @if !ties.is_empty() {
                h3 { "Ties" }
                ul {
                    @for (k, (_, tie)) in ties.iter().enumerate() {
                        li {
                            (metres(tie.distance_m)) " to "
                            @if let Some(Content::Point(point)) = state.get(tie.point) { (point.name) }
                            @if let Some(r) = residuals.and_then(|t| t.residuals_m.get(k)) { span.also { (format!(", off by {:+.3} m", r + 0.0)) } }
                        }
                    }
                }
                @if residuals.is_some_and(|t| !t.agree) { p.message { "The ties contradict each other; tape them again." } }
            }
        }
    }
}

fn past(entries: &[Entry]) -> Markup {
    html! { section #history { h2 { "History" } (history::table(entries)) } }
}
