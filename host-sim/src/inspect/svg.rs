//! The spectrum as a drawing: the whole band above, the surroundings of the tone below. Told apart by
//! line style and words, so that it also works in black and white.

use maud::{Markup, html};

use super::{SamplesReport, Spectrum, power_db};
use crate::chart::{self, Axis, CURVES, INK, LEFT, Panel, RIGHT, WIDTH, decimal};

const PANEL_HEIGHT: f64 = 260.0;
const PANEL_TOPS: [f64; 2] = [50.0, 390.0];
const HEIGHT: f64 = 710.0;
/// The panel of the tone reaches this far to either side, hertz.
const TONE_REACH_HZ: f64 = 30.0;
/// The panel of the whole band begins here, hertz.
const LOWEST_HZ: f64 = 20.0;
/// The scale reaches this far down from its top at most, dB.
const DEEPEST_DB: f64 = 140.0;
/// Draws the spectrum of a report as an SVG document; `None` where it has none.
pub fn spectrum_svg(report: &SamplesReport) -> Option<String> {
    let spectrum = report.spectrum.as_ref()?;
    let [band_top, tone_top] = PANEL_TOPS;
    let bins = spectrum.traces.first()?.power.len();
    let half_hz = spectrum.bin_hz * bins.saturating_sub(1) as f64;
    let tone_hz = report.description.signal.tone_hz;
    let band = panel(spectrum, band_top, LOWEST_HZ.min(half_hz / 2.0), half_hz, Axis::log);
    let even = |label, from, to| Axis::rounded(label, from, to, 6.0);
    let around = panel(spectrum, tone_top, tone_hz - TONE_REACH_HZ, tone_hz + TONE_REACH_HZ, even);
    let content = html! {
        (legend(spectrum))
        (draw(report, spectrum, band, false))
        (draw(report, spectrum, around, true))
    };
    Some(chart::document(WIDTH, HEIGHT, "Spectrum of the capture", &content))
}

fn panel(
    spectrum: &Spectrum,
    top: f64,
    from_hz: f64,
    to_hz: f64,
    scale: fn(&'static str, f64, f64) -> Axis,
) -> Panel {
    let shown: Vec<f64> = spectrum
        .traces
        .iter()
        .flat_map(|trace| (0..).map(|bin| f64::from(bin) * spectrum.bin_hz).zip(&trace.power))
        .filter(|(hz, power)| (from_hz..=to_hz).contains(hz) && **power > 0.0)
        .map(|(_, power)| power_db(*power))
        .collect();
    let round = |db: f64| 10.0 * (db / 10.0).ceil();
    // Nothing to show still needs a scale.
    let highest = shown.iter().copied().reduce(f64::max).unwrap_or(0.0);
    let lowest = shown.iter().copied().reduce(f64::min).unwrap_or(-20.0);
    let high_db = round(highest + 5.0);
    let low_db = (round(lowest) - 10.0).max(high_db - DEEPEST_DB);
    Panel {
        left: LEFT,
        top,
        width: WIDTH - LEFT - RIGHT,
        height: PANEL_HEIGHT,
        x: scale("frequency, Hz", from_hz, to_hz),
        y: Axis::rounded(spectrum.unit.label(), low_db, high_db, 7.0),
    }
}

/// `near`: only the surroundings of the tone are shown.
fn draw(report: &SamplesReport, spectrum: &Spectrum, panel: Panel, near: bool) -> Markup {
    let points = |power: &[f64]| -> Vec<(f64, f64)> {
        let bins = (0..).map(|bin| f64::from(bin) * spectrum.bin_hz).zip(power);
        bins.filter(|(_, power)| **power > 0.0).map(|(hz, power)| (hz, power_db(*power))).collect()
    };
    html! {
        (panel.scales())
        (marks(report, panel, near))
        @for (trace, line) in spectrum.traces.iter().zip(CURVES) {
            (panel.curve(points(&trace.power), line))
        }
        (panel.outline())
    }
}

/// The tone and the harmonics of the mains, named at the panel's top.
fn marks(report: &SamplesReport, panel: Panel, near: bool) -> Markup {
    let tone_hz = report.tone.as_ref().map_or(report.description.signal.tone_hz, |tone| tone.hz);
    let tone = if report.tone.is_some() { "tone" } else { "tone expected" };
    let harmonics = report.mains.iter().flat_map(|mains| {
        mains.harmonics.iter().map(|&k| (k, f64::from(k) * mains.hz)).filter(|(_, hz)| panel.x.shows(*hz))
    });
    // High up on a logarithmic axis there is no room for every number.
    let named = |k: u32| near || k <= 5 || (k <= 13 && k % 2 == 1);
    html! {
        @for (k, hz) in harmonics {
            @let x = decimal(panel.x(hz));
            line x1=(x) x2=(x) y1=(panel.top) y2=(panel.top + 12.0) stroke=(INK) stroke-width="0.8" {}
            @if named(k) {
                text x=(x) y=(panel.top - 4.0) text-anchor="middle" font-size="10" {
                    @if k == 1 || near { "mains " }
                    (k)
                }
            }
        }
        @if panel.x.shows(tone_hz) {
            @let x = decimal(panel.x(tone_hz));
            line x1=(x) x2=(x) y1=(panel.top) y2=(panel.bottom()) stroke=(INK)
                stroke-width="0.8" stroke-dasharray="1 3" {}
            text x=(x) y=(panel.top - 16.0) text-anchor="middle" font-weight="bold" {
                (tone) " " (format!("{tone_hz:.1}")) " Hz"
            }
        }
    }
}

fn legend(spectrum: &Spectrum) -> Markup {
    let width = (WIDTH - LEFT - RIGHT) / spectrum.traces.len().max(4) as f64;
    let places = (0..).map(|k| LEFT + f64::from(k) * width);
    html! {
        @for ((trace, line), x) in spectrum.traces.iter().zip(CURVES).zip(places) {
            (line.key(x, 12.0, &trace.label))
        }
    }
}
