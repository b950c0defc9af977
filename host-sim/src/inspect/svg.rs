//! The spectrum as a drawing: the whole band above, the surroundings of the tone below. Told apart by
//! line style and words, so that it also works in black and white.

use maud::{Markup, html};

use super::{SamplesReport, Spectrum, power_db};

const WIDTH: f64 = 900.0;
const LEFT: f64 = 70.0;
const RIGHT: f64 = 20.0;
const PANEL_HEIGHT: f64 = 260.0;
const PANEL_TOPS: [f64; 2] = [50.0, 390.0];
const HEIGHT: f64 = 710.0;
/// The panel of the tone reaches this far to either side, hertz.
const TONE_REACH_HZ: f64 = 30.0;
/// The panel of the whole band begins here, hertz.
const LOWEST_HZ: f64 = 20.0;
/// The scale reaches this far down from its top at most, dB.
const DEEPEST_DB: f64 = 140.0;
/// Line styles of up to eight curves: stroke, width, dashes.
const STYLES: [(&str, &str, &str); 8] = [
    ("#000", "1.1", ""),
    ("#666", "1.1", "5 2"),
    ("#000", "0.8", "2 2"),
    ("#666", "0.8", ""),
    ("#000", "0.8", "8 3"),
    ("#666", "0.8", "2 4"),
    ("#000", "0.8", "8 2 2 2"),
    ("#666", "0.8", "8 2 2 2"),
];

/// One panel: its place on the sheet and the range it shows.
#[derive(Clone, Copy)]
struct Panel {
    top: f64,
    from_hz: f64,
    to_hz: f64,
    log: bool,
    low_db: f64,
    high_db: f64,
}

impl Panel {
    fn x(self, hz: f64) -> f64 {
        let part = if self.log {
            (hz / self.from_hz).ln() / (self.to_hz / self.from_hz).ln()
        } else {
            (hz - self.from_hz) / (self.to_hz - self.from_hz)
        };
        LEFT + part * (WIDTH - LEFT - RIGHT)
    }

    fn y(self, db: f64) -> f64 {
        let part = (self.high_db - db.max(self.low_db)) / (self.high_db - self.low_db);
        self.top + part * PANEL_HEIGHT
    }

    fn shows(self, hz: f64) -> bool {
        (self.from_hz..=self.to_hz).contains(&hz)
    }

    /// Where the frequency axis is labelled.
    fn ticks_hz(self) -> Vec<f64> {
        if self.log {
            let decades = [10.0, 100.0, 1000.0, 10_000.0];
            let ticks = decades.iter().flat_map(|d| [1.0, 2.0, 5.0].map(|m| m * d));
            return ticks.filter(|&hz| self.shows(hz)).collect();
        }
        let first = (self.from_hz / 10.0).ceil() as i32;
        let last = (self.to_hz / 10.0).floor() as i32;
        (first..=last).map(|tens| f64::from(tens) * 10.0).collect()
    }

    fn ticks_db(self) -> impl Iterator<Item = f64> {
        let first = (self.low_db / 20.0).ceil() as i32;
        let last = (self.high_db / 20.0).floor() as i32;
        (first..=last).map(|twenties| f64::from(twenties) * 20.0)
    }
}

/// Draws the spectrum of a report as an SVG document; `None` where it has none.
pub fn spectrum_svg(report: &SamplesReport) -> Option<String> {
    let spectrum = report.spectrum.as_ref()?;
    let [band_top, tone_top] = PANEL_TOPS;
    let bins = spectrum.traces.first()?.power.len();
    let half_hz = spectrum.bin_hz * bins.saturating_sub(1) as f64;
    let tone_hz = report.description.signal.tone_hz;
    let band = panel(spectrum, band_top, LOWEST_HZ.min(half_hz / 2.0), half_hz, true);
    let around = panel(spectrum, tone_top, tone_hz - TONE_REACH_HZ, tone_hz + TONE_REACH_HZ, false);
    let drawing = html! {
        svg xmlns="http://www.w3.org/2000/svg" viewBox={ "0 0 " (WIDTH) " " (HEIGHT) }
            width=(WIDTH) height=(HEIGHT) font-family="sans-serif" font-size="12" fill="#000" {
            rect width=(WIDTH) height=(HEIGHT) fill="#fff" {}
            (legend(spectrum))
            (draw(report, spectrum, band))
            (draw(report, spectrum, around))
        }
    };
    Some(drawing.into_string())
}

fn panel(spectrum: &Spectrum, top: f64, from_hz: f64, to_hz: f64, log: bool) -> Panel {
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
    Panel { top, from_hz, to_hz, log, low_db, high_db }
}

fn draw(report: &SamplesReport, spectrum: &Spectrum, panel: Panel) -> Markup {
    let bottom = panel.top + PANEL_HEIGHT;
    let right = WIDTH - RIGHT;
    html! {
        @for db in panel.ticks_db() {
            @let y = decimal(panel.y(db));
            line x1=(LEFT) x2=(right) y1=(y) y2=(y) stroke="#ddd" {}
            text x=(LEFT - 6.0) y=(y) text-anchor="end" dominant-baseline="middle" { (db) }
        }
        @for hz in panel.ticks_hz() {
            @let x = decimal(panel.x(hz));
            line x1=(x) x2=(x) y1=(panel.top) y2=(bottom) stroke="#ddd" {}
            text x=(x) y=(bottom + 16.0) text-anchor="middle" { (hz) }
        }
        (marks(report, panel))
        @for (trace, (stroke, width, dashes)) in spectrum.traces.iter().zip(STYLES) {
            polyline points=(points(&trace.power, spectrum.bin_hz, panel)) fill="none"
                stroke=(stroke) stroke-width=(width) stroke-dasharray=(dashes) {}
        }
        rect x=(LEFT) y=(panel.top) width=(right - LEFT) height=(PANEL_HEIGHT) fill="none"
            stroke="#000" {}
        text x=(LEFT + (right - LEFT) / 2.0) y=(bottom + 34.0) text-anchor="middle" { "frequency, Hz" }
        @let middle = panel.top + PANEL_HEIGHT / 2.0;
        text x="18" y=(middle) text-anchor="middle" transform={ "rotate(-90 18 " (middle) ")" } {
            (spectrum.unit.label())
        }
    }
}

/// The tone and the harmonics of the mains, named at the panel's top.
fn marks(report: &SamplesReport, panel: Panel) -> Markup {
    let tone_hz = report.tone.as_ref().map_or(report.description.signal.tone_hz, |tone| tone.hz);
    let tone = if report.tone.is_some() { "tone" } else { "tone expected" };
    let harmonics = report.mains.iter().flat_map(|mains| {
        mains.harmonics.iter().map(|&k| (k, f64::from(k) * mains.hz)).filter(|(_, hz)| panel.shows(*hz))
    });
    // High up on a logarithmic axis there is no room for every number.
    let named = |k: u32| !panel.log || k <= 5 || (k <= 13 && k % 2 == 1);
    html! {
        @for (k, hz) in harmonics {
            @let x = decimal(panel.x(hz));
            line x1=(x) x2=(x) y1=(panel.top) y2=(panel.top + 12.0) stroke="#000" stroke-width="0.8" {}
            @if named(k) {
                text x=(x) y=(panel.top - 4.0) text-anchor="middle" font-size="10" {
                    @if k == 1 || !panel.log { "mains " }
                    (k)
                }
            }
        }
        @if panel.shows(tone_hz) {
            @let x = decimal(panel.x(tone_hz));
            line x1=(x) x2=(x) y1=(panel.top) y2=(panel.top + PANEL_HEIGHT) stroke="#000"
                stroke-width="0.8" stroke-dasharray="1 3" {}
            text x=(x) y=(panel.top - 16.0) text-anchor="middle" font-weight="bold" {
                (tone) " " (format!("{tone_hz:.1}")) " Hz"
            }
        }
    }
}

fn points(power: &[f64], bin_hz: f64, panel: Panel) -> String {
    let bins = (0..).map(|bin| f64::from(bin) * bin_hz).zip(power);
    bins.filter(|(hz, power)| panel.shows(*hz) && **power > 0.0)
        .map(|(hz, power)| format!("{} {}", decimal(panel.x(hz)), decimal(panel.y(power_db(*power)))))
        .collect::<Vec<_>>()
        .join(" ")
}

fn legend(spectrum: &Spectrum) -> Markup {
    let width = (WIDTH - LEFT - RIGHT) / spectrum.traces.len().max(4) as f64;
    let places = (0..).map(|k| LEFT + f64::from(k) * width);
    html! {
        @for ((trace, (stroke, width, dashes)), x) in spectrum.traces.iter().zip(STYLES).zip(places) {
            line x1=(x) x2=(x + 28.0) y1="12" y2="12" stroke=(stroke) stroke-width=(width)
                stroke-dasharray=(dashes) {}
            text x=(x + 34.0) y="16" { (trace.label) }
        }
    }
}

/// A tenth of a pixel is enough.
fn decimal(coordinate: f64) -> String {
    format!("{coordinate:.1}")
}
