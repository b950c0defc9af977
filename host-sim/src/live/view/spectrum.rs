//! The spectrum of the last second, with the tone marked.

use ratatui::Frame;
use ratatui::layout::{Constraint, Layout, Rect};
use ratatui::symbols::Marker;
use ratatui::text::Line;
use ratatui::widgets::canvas::{Canvas, Line as Stroke};
use ratatui::widgets::{Paragraph, Wrap};

use super::Look;
use crate::live::axes::{Axes, gutter};
use crate::live::spectrum::Spectrum;
use crate::live::state::State;

/// Reach of the closer look to either side of the tone, hertz.
const CLOSE_HZ: f64 = 60.0;
/// A spectrum is shown down to so much below its strongest bin, decibels.
const REACH_DB: f64 = 120.0;

pub fn panel(frame: &mut Frame<'_>, state: &State, look: Look, area: Rect) {
    plot(frame, state, look, area, "Spectrum", |half_rate_hz, _| [0.0, half_rate_hz]);
}

pub fn page(frame: &mut Frame<'_>, state: &State, look: Look, area: Rect) {
    let [above, below] = Layout::vertical([Constraint::Fill(1), Constraint::Fill(1)]).areas(area);
    plot(frame, state, look, above, "Spectrum: the last second", |half_rate_hz, _| [0.0, half_rate_hz]);
    plot(frame, state, look, below, "About the tone", |half_rate_hz, tone_hz| {
        [(tone_hz - CLOSE_HZ).max(0.0), (tone_hz + CLOSE_HZ).min(half_rate_hz)]
    });
}

fn plot(
    frame: &mut Frame<'_>,
    state: &State,
    look: Look,
    area: Rect,
    name: &str,
    band: impl Fn(f64, f64) -> [f64; 2],
) {
    let (Some(spectrum), Some(signal)) = (&state.spectrum, &state.about.signal) else {
        let block = look.panel(name);
        let text = if state.about.has_samples {
            "waiting for a second without a gap"
        } else {
            "There are no raw samples here, so there is no spectrum."
        };
        return frame.render_widget(Paragraph::new(text).wrap(Wrap { trim: true }).block(block), area);
    };
    let tone_hz = signal.tone_hz;
    let title = format!("{name}, {}", spectrum.unit.label());
    let block = look.panel(&title);
    let inner = block.inner(area);
    frame.render_widget(block, area);
    let half_rate_hz = spectrum.bin_hz * spectrum.level_db.len().saturating_sub(1) as f64;
    let band = band(half_rate_hz, tone_hz);
    let bounds = bounds(spectrum, band);
    let up: Vec<String> = levels(bounds, inner.height).iter().map(|db| format!("{db:.0}")).collect();
    let along = [band[0], (band[0] + band[1]) / 2.0, band[1]].map(hertz);
    let axes = Axes { up: &up, along: &along, gutter: gutter(&up).max(5), style: look.quiet() };
    let room = axes.draw(frame, inner);
    let peaks = peaks(spectrum, band, 2 * usize::from(room.width));
    let ink = look.ink(look.trace());
    let mark = format!("{tone_hz:.0} Hz");
    let is_right = tone_hz > (band[0] + band[1]) / 2.0;
    // Text is put where it begins.
    let columns = mark.len() as f64 + if is_right { 2.0 } else { 0.0 };
    let back = if is_right { columns - 1.0 } else { 0.0 };
    let text = if is_right { format!("{mark} ▼") } else { format!("▼ {mark}") };
    let text_hz = tone_hz - back * (band[1] - band[0]) / f64::from(room.width.max(1));
    let mark = Line::styled(text, look.found().patch(look.strong()));
    let canvas =
        Canvas::default().marker(Marker::Braille).x_bounds(band).y_bounds(bounds).paint(|context| {
            for (hz, db) in &peaks {
                let y2 = db.clamp(bounds[0], bounds[1]);
                context.draw(&Stroke { x1: *hz, y1: bounds[0], x2: *hz, y2, color: ink });
            }
            context.layer();
            if band[0] <= tone_hz && tone_hz <= band[1] {
                context.print(text_hz.max(band[0]), bounds[1], mark.clone());
            }
        });
    frame.render_widget(canvas, room);
}

/// Whole tens of decibels that hold the band, with room above for the mark of the tone.
fn bounds(spectrum: &Spectrum, [from_hz, to_hz]: [f64; 2]) -> [f64; 2] {
    let within = |bin: usize| (from_hz..=to_hz).contains(&(bin as f64 * spectrum.bin_hz));
    // Next to 0 Hz a coil says nothing of the field, and the window's skirt stands there.
    let levels: Vec<f64> = (spectrum.level_db.iter().enumerate().skip(8))
        .filter(|(bin, level)| within(*bin) && level.is_finite())
        .map(|(_, level)| *level)
        .collect();
    let top = levels.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let bottom = levels.iter().copied().fold(f64::INFINITY, f64::min);
    if !(top.is_finite() && bottom.is_finite()) {
        return [0.0, 10.0];
    }
    let top = 10.0 * (top / 10.0).ceil() + 20.0;
    // Labels in between are whole tens then, too.
    let reach = 40.0 * ((top - bottom) / 40.0).ceil();
    [top - reach.clamp(40.0, REACH_DB), top]
}

/// Labels for as much as there is room.
fn levels([bottom, top]: [f64; 2], rows: u16) -> Vec<f64> {
    let parts = if rows >= 9 { 4 } else { 2 };
    (0..=parts).map(|n| bottom + (top - bottom) * f64::from(n) / f64::from(parts)).collect()
}

/// The highest level in each of so many columns.
fn peaks(spectrum: &Spectrum, [from_hz, to_hz]: [f64; 2], columns: usize) -> Vec<(f64, f64)> {
    let step_hz = (to_hz - from_hz) / columns.max(1) as f64;
    let level = |hz: f64| spectrum.level_db.get((hz / spectrum.bin_hz).round() as usize);
    (0..columns)
        .filter_map(|column| {
            let begin_hz = from_hz + column as f64 * step_hz;
            let bins = (step_hz / spectrum.bin_hz).ceil().max(1.0) as usize;
            let levels = (0..bins).filter_map(|bin| level(begin_hz + bin as f64 * spectrum.bin_hz));
            levels.copied().reduce(f64::max).map(|db| (begin_hz + 0.5 * step_hz, db))
        })
        .collect()
}

fn hertz(hz: f64) -> String {
    if hz >= 1000.0 { format!("{} kHz", (hz / 10.0).round() / 100.0) } else { format!("{hz:.0} Hz") }
}
