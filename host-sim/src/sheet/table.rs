//! The stations in words and figures.

use maud::{Markup, html};

use crate::book::{Cover, Estimate, MethodResult, Run, Station, Verdict};
use crate::units::{
    feet_inches, feet_inches_range, feet_inches_up, lay, metres, metres_range, metres_up,
};

/// One block of rows for each station.
pub fn table(run: &Run) -> Markup {
    html! {
        table.stations {
            thead {
                tr {
                    th.number scope="col" { "Station" }
                    th scope="col" { "Place and lay" }
                    th scope="col" { "Depth to source, 95 % range" }
                    th scope="col" { "Depth of cover" }
                    th scope="col" { "Each method’s own range" }
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
                td { (place(run, station)) }
                td { (depth(station)) }
                td { (cover(run, station)) }
                td { (methods(station)) }
            }
            tr.detail { td colspan="5" { (detail(station)) } }
        }
    }
}

fn place(run: &Run, station: &Station) -> Markup {
    let Some(p) = &station.position else {
        return html! { p { "No position; go by the mark on the ground." } };
    };
    let radius_m = p.radius95_m();
    html! {
        @if !station.is_located() { p { "Tried at" } }
        p { "E " (metres(p.east_m)) ", N " (metres(p.north_m)) }
        p.also { "E " (feet_inches(p.east_m)) ", N " (feet_inches(p.north_m)) }
        @if station.is_located() {
            p.also { "within " (metres_up(radius_m)) " / " (feet_inches_up(radius_m)) " (95 %)" }
            @if let Some(direction) = &station.lay_deg {
                p { "Lay " (lay(direction.value)) span.also { " ± " ((1.96 * direction.sigma).ceil()) "°" } }
            }
            @let zone_m = run.tolerance_zone.half_width_m(&run.pipe, p);
            p { "Zone " (metres_up(zone_m)) " / " (feet_inches_up(zone_m)) " each side" }
        }
    }
}

fn depth(station: &Station) -> Markup {
    let Some(d) = station.stated_depth_m() else {
        return html! { p.none { "Not stated" } p.also { "See the reasons below." } };
    };
    html! {
        p.main { (metres_range(d.low95, d.high95)) }
        p.main { (feet_inches_range(d.low95, d.high95)) }
        p.also { "best " (metres(d.value)) " / " (feet_inches(d.value)) }
        @if station.verdict == Verdict::Doubt { p.also { "In doubt: see the reasons below." } }
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
        (Some(e), _) => html! { (metres_range(e.low95, e.high95)) },
        (None, Some(why)) => html! { span.also { "none: " (why) } },
        (None, None) => html! { span.also { "not stated" } },
    }
}

fn detail(station: &Station) -> Markup {
    let (passed, failed): (Vec<_>, Vec<_>) = station.checks.iter().partition(|c| c.passed);
    html! {
        @if !station.name.is_empty() { p.name { (station.name) } }
        @for reason in &station.reasons {
            p.reason { b { (reason.sentence) } " " span.next { "Next: " } (reason.remedy) }
        }
        @if !failed.is_empty() {
            p { b { "Failed: " } (joined(&failed.iter().map(|c| (&c.name, &c.detail)).collect::<Vec<_>>())) }
        }
        @if !passed.is_empty() {
            p.also { "Passed: " (joined(&passed.iter().map(|c| (&c.name, &c.detail)).collect::<Vec<_>>())) }
        }
        @if station.checks.is_empty() { p.also { "No check was recorded." } }
        (heard(station))
        @if station.is_located() {
            p.found {
                "When exposed: top of pipe found at " span.blank {} " below the surface, "
                span.blank {} " off the mark, on " span.blank {} " by " span.blank {}
            }
        }
    }
}

fn joined(checks: &[(&String, &String)]) -> Markup {
    html! {
        @for (k, (name, figures)) in checks.iter().enumerate() {
            @if k > 0 { "; " }
            (name)
            @if !figures.is_empty() { " (" (figures) ")" }
        }
        "."
    }
}

/// The tone, the recording behind the station, and for a simulated one the truth.
fn heard(station: &Station) -> Markup {
    html! {
        p.also {
            @match &station.tone {
                Some(tone) => {
                    "Tone " (format!("{:.0} Hz, carrier {:+.2} Hz off, {:.0} dB above the noise", tone.nominal_hz, tone.offset_hz, tone.snr_db)) "."
                }
                None => "No tone was recorded.",
            }
            @if !station.capture.is_empty() { " Capture " span.capture { (station.capture) } "." }
            @if let Some(t) = station.truth.filter(|_| station.is_located()) {
                " " b { "Simulated truth:" } " E " (metres(t.east_m)) ", N " (metres(t.north_m))
                ", depth to source " (metres(t.depth_to_source_m)) "."
            }
        }
    }
}
