//! The stations in words and figures.

use maud::{Markup, html};

use crate::book::{Check, Cover, Estimate, MethodResult, Run, Station, Verdict};
use crate::units::{feet_inches, feet_inches_range, feet_inches_up, lay, metres, metres_range, metres_up};

/// One block of rows for each station.
pub fn table(run: &Run) -> Markup {
    html! {
        table.stations {
            thead {
                tr {
                    th.number scope="col" { "Station" }
                    th.place scope="col" { "Place, 95 % circle" }
                    th.zone scope="col" { "Lay, tolerance zone" }
                    th.depth scope="col" { "Depth to source, 95 %" }
                    th.cover scope="col" { "Depth of cover" }
                    th scope="col" { "Methods, each 95 %" }
                }
            }
            @for station in &run.stations { (rows(run, station)) }
        }
    }
}

fn rows(run: &Run, station: &Station) -> Markup {
    html! {
        tbody {
            tr {
                th.number scope="row" {
                    div.big { (station.number) }
                    div class={ "verdict " (station.verdict.word().to_lowercase()) } { (station.verdict.word()) }
                    @if station.trouble_spot { div.trouble { "Trouble spot" } }
                }
                td { (place(station)) }
                td { (zone(run, station)) }
                td { (depth(station)) }
                td { (cover(run, station)) }
                td { (methods(station)) }
            }
            tr.detail { td colspan="6" { (detail(station)) } }
        }
    }
}

fn place(station: &Station) -> Markup {
    let Some(p) = &station.position else {
        return if station.is_located() {
            html! { p { "No position; go by the mark on the ground." } }
        } else {
            html! { p.none { "Not stated" } p.also { "Reasons below" } }
        };
    };
    html! {
        @if !station.is_located() { p { "Tried at" } }
        p { (coordinates(p.east_m, p.north_m, metres)) }
        p.also { (coordinates(p.east_m, p.north_m, feet_inches)) }
        @if station.is_located() {
            p.also {
                // What is doubted is as a rule what the circle takes for granted.
                @if station.verdict == Verdict::Doubt { "not surer than " } @else { "within " }
                (metres_up(p.radius95_m())) " / " (feet_inches_up(p.radius95_m()))
            }
            @if station.verdict == Verdict::Doubt { p.also { "In doubt: reasons below" } }
        }
    }
}

/// Site coordinates with the side of the origin they lie on, as the plan letters them.
fn coordinates(east_m: f64, north_m: f64, words: fn(f64) -> String) -> String {
    let east = if east_m < 0.0 { "W" } else { "E" };
    let north = if north_m < 0.0 { "S" } else { "N" };
    format!("{} {east}, {} {north}", words(east_m.abs()), words(north_m.abs()))
}

fn zone(run: &Run, station: &Station) -> Markup {
    if !station.is_located() {
        return html! { p.none { "Not stated" } };
    }
    html! {
        @match &station.lay_deg {
            Some(direction) => p { (lay(direction.value)) span.also { " ± " ((1.96 * direction.sigma).ceil()) "°" } },
            None => p { "Lay not known" },
        }
        @if let Some(p) = &station.position {
            @let zone_m = run.tolerance_zone.half_width_m(&run.pipe, p);
            p.figure { (metres_up(zone_m)) " / " (feet_inches_up(zone_m)) }
            p.also {
                @if run.tolerance_zone.width_m(&run.pipe).is_none() { "and half the pipe’s width " }
                "each side"
                @if station.verdict == Verdict::Doubt { ", at least" }
            }
        }
    }
}

fn depth(station: &Station) -> Markup {
    let Some(d) = station.stated_depth_m() else {
        return html! { p.none { "Not stated" } p.also { "Reasons below" } };
    };
    html! {
        p.main { (metres_range(d.low95, d.high95)) }
        p.main { (feet_inches_range(d.low95, d.high95)) }
        p.also { "best " (metres(d.value)) " / " (feet_inches(d.value)) }
        @if let Some(m) = station.stated_shallow_bound_m() {
            p.also { "reckon with it from " (unbroken(&metres(m))) " / " (unbroken(&feet_inches(m))) " down" }
        }
        @if station.verdict == Verdict::Doubt { p.also { "In doubt: reasons below" } }
    }
}

fn cover(run: &Run, station: &Station) -> Markup {
    let Some(d) = station.stated_depth_m() else {
        return html! { p.none { "Not stated" } };
    };
    match run.pipe.cover(&d) {
        Cover::Between { low_m, high_m } => html! {
            p { (metres_range(low_m, high_m)) }
            p { (feet_inches_range(low_m, high_m)) }
        },
        Cover::SizeUnknown => html! { p { "Not stated: bore or wall is not known." } },
        Cover::Impossible => {
            html! { p { "Not stated: the pipe’s size does not fit this depth. Check the bore and the wall." } }
        }
    }
}

fn methods(station: &Station) -> Markup {
    html! {
        ul.methods {
            @for method in &station.methods {
                li { span.method { (method.method) } " " (answer(station, method)) }
            }
        }
        @if station.methods.is_empty() { p.none { "None recorded" } }
    }
}

/// A method's own answer; behind a refused station it is kept back with the rest.
fn answer(station: &Station, method: &MethodResult) -> Markup {
    let shown: Option<Estimate> = method.estimate.filter(|_| station.is_located());
    match (shown, &method.refused) {
        (Some(e), _) => html! { span.figure { (metres_range(e.low95, e.high95)) } },
        (None, Some(why)) => html! { span.also { "none: " (why) } },
        (None, None) => html! { span.also { "not stated" } },
    }
}

fn detail(station: &Station) -> Markup {
    let (passed, failed): (Vec<_>, Vec<_>) = station.checks.iter().partition(|c| c.passed);
    html! {
        @for reason in &station.reasons {
            p.reason { b { (reason.sentence) } " " span.next { "Next: " } (reason.remedy) }
        }
        @if !failed.is_empty() {
            p { b { "Failed: " } (joined(&failed)) }
        }
        p.also {
            @if !station.name.is_empty() { span.name { (station.name) } ". " }
            @if !passed.is_empty() {
                "Passed: " (joined(&passed)) " "
            }
            @if station.checks.is_empty() { "No check was recorded. " }
            (heard(station))
        }
        @if station.is_located() {
            p.found {
                "When exposed: top of pipe " span.blank {} " below the surface, " span.blank {}
                " off the mark; on " span.blank {} " by " span.blank {}
            }
        }
    }
}

fn joined(checks: &[&Check]) -> Markup {
    html! {
        @for (k, check) in checks.iter().enumerate() {
            @if k > 0 { "; " }
            (check.name)
            @if !check.detail.is_empty() { " (" (unbroken(&check.detail)) ")" }
        }
        "."
    }
}

/// Two decimals with a sign; a zero is never negative.
fn signed(value: f64) -> String {
    format!("{:+.2}", (value * 100.0).round() / 100.0 + 0.0)
}

/// Words that no line end parts, but after a comma.
fn unbroken(words: &str) -> String {
    words.replace(' ', "\u{a0}").replace(",\u{a0}", ", ")
}

/// The tone, the recording behind the station, and for a simulated one the truth.
fn heard(station: &Station) -> Markup {
    html! {
        @match &station.tone {
            Some(tone) => {
                "Tone " (format!("{:.0}", tone.nominal_hz)) " Hz, carrier " (signed(tone.offset_hz))
                " Hz off, " (format!("{:.0}", tone.snr_db)) " dB above the noise."
            }
            None => "No tone was recorded.",
        }
        @if !station.capture.is_empty() { " Capture " span.capture { (station.capture) } "." }
        @if let Some(t) = station.truth.filter(|_| station.is_located()) {
            " " b { "Simulated truth:" } " " (unbroken(&coordinates(t.east_m, t.north_m, metres)))
            ", depth to source " (unbroken(&metres(t.depth_to_source_m))) "."
        }
    }
}
