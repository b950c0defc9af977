//! The signal over time: strength, components, gain and clipping.

use ratatui::Frame;
use ratatui::layout::{Constraint, Layout, Rect};
use ratatui::style::Style;
use ratatui::symbols::Marker;
use ratatui::text::{Line, Span};
use ratatui::widgets::Paragraph;
use ratatui::widgets::canvas::{Canvas, Line as Stroke};

use super::Look;
use crate::live::axes::{Axes, gutter};
use crate::live::state::State;
use crate::live::trail::Point;

/// Columns for the labels at the side, the same for all plots that stand above each other.
const GUTTER: u16 = 8;
/// Strengths so much weaker than the strongest are left out, decades.
const DECADES: f64 = 4.0;

pub fn panel(frame: &mut Frame<'_>, state: &State, look: Look, area: Rect) {
    let block = look.panel("Signal at the lower node");
    let inner = block.inner(area);
    frame.render_widget(block, area);
    let rows = [Constraint::Fill(1), Constraint::Length(1), Constraint::Length(1)];
    let [curve, rungs, time] = Layout::vertical(rows).areas(inner);
    strength(frame, state, look, curve, 0);
    rung_row(frame, state, look, rungs);
    time_row(frame, state, look, time);
}

pub fn page(frame: &mut Frame<'_>, state: &State, look: Look, area: Rect) {
    let block = look.panel("Signal at the lower node: strength, then forward, left and up");
    let inner = block.inner(area);
    frame.render_widget(block, area);
    let rows = [
        Constraint::Fill(2),
        Constraint::Fill(1),
        Constraint::Fill(1),
        Constraint::Fill(1),
        Constraint::Length(1),
        Constraint::Length(1),
    ];
    let [above, forward, left, up, rungs, time] = Layout::vertical(rows).areas(inner);
    strength(frame, state, look, above, 0);
    for (axis, (area, name)) in [(forward, "fwd"), (left, "left"), (up, "up")].into_iter().enumerate() {
        component(frame, state, look, area, (axis, name));
    }
    rung_row(frame, state, look, rungs);
    time_row(frame, state, look, time);
}

/// From when to when, seconds.
fn span_s(state: &State) -> [f64; 2] {
    let until = state.now.as_ref().map_or(0.0, |now| now.time_s).max(state.window_s());
    [until - state.window_s(), until]
}

fn points(state: &State) -> Vec<Point> {
    let [from_s, _] = span_s(state);
    state.history.since(from_s).copied().collect()
}

fn strength(frame: &mut Frame<'_>, state: &State, look: Look, area: Rect, node: usize) {
    let levels: Vec<(f64, f64)> = points(state)
        .iter()
        .map(|p| (p.time_s, f64::from(p.strength_nt(node)).log10()))
        .filter(|(_, level)| level.is_finite())
        .collect();
    let strongest = levels.iter().map(|(_, level)| *level).fold(f64::NEG_INFINITY, f64::max);
    if !strongest.is_finite() {
        return nothing(frame, state, area);
    }
    let top = strongest.ceil().clamp(-9.0, 9.0);
    let weakest = levels.iter().map(|(_, level)| *level).fold(f64::INFINITY, f64::min);
    let bottom = weakest.floor().clamp(top - DECADES, top - 1.0);
    let labels: Vec<String> = (bottom as i32..=top as i32).map(decade_label).collect();
    // Where there is no room for every decade, its ends say it.
    let few = usize::from(area.height) < labels.len();
    let labels = if few { [0, labels.len() - 1].map(|n| labels[n].clone()).to_vec() } else { labels };
    Curve { labels, bounds: [bottom, top], rest: None, levels }.draw(frame, state, look, area);
}

fn component(frame: &mut Frame<'_>, state: &State, look: Look, area: Rect, (axis, name): (usize, &str)) {
    let field = |p: &Point| f64::from(p.nodes_nt[0].get(axis).copied().unwrap_or_default());
    let points = points(state);
    let largest =
        points.iter().map(|p| field(p).abs()).filter(|b| b.is_finite()).fold(0.0, f64::max).max(1e-3);
    let full = rounded_up(largest);
    let levels: Vec<(f64, f64)> = points.iter().map(|p| (p.time_s, field(p))).collect();
    let labels = if area.height >= 3 {
        vec![format!("-{full}"), format!("{name} 0"), format!("{full} nT")]
    } else {
        vec![format!("{name} -{full}"), format!("{full} nT")]
    };
    Curve { labels, bounds: [-full, full], rest: Some(0.0), levels }.draw(frame, state, look, area);
}

/// 1, 2 or 5 of a decade.
fn rounded_up(value: f64) -> f64 {
    let decade = 10f64.powf(value.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0].into_iter().find(|step| value <= step * decade * 1.000_001);
    // Printed as it is meant: 0.2, not 0.2000001.
    let rounded = step.unwrap_or(10.0) * decade;
    format!("{rounded:.3}").parse().unwrap_or(rounded)
}

/// A curve over time.
struct Curve {
    labels: Vec<String>,
    bounds: [f64; 2],
    /// Where a line is drawn for nothing.
    rest: Option<f64>,
    /// Seconds and levels.
    levels: Vec<(f64, f64)>,
}

impl Curve {
    fn draw(&self, frame: &mut Frame<'_>, state: &State, look: Look, area: Rect) {
        let Self { labels, bounds, rest, levels } = self;
        let (bounds, rest) = (*bounds, *rest);
        let axes = Axes { up: labels, along: &[], gutter: gutter(labels).max(GUTTER), style: look.quiet() };
        let room = axes.draw(frame, area);
        let (quiet, ink) = (look.ink(look.quiet()), look.ink(look.trace()));
        let span = span_s(state);
        let canvas =
            Canvas::default().marker(Marker::Braille).x_bounds(span).y_bounds(bounds).paint(|context| {
                if let Some(y) = rest {
                    let [x1, x2] = span;
                    context.draw(&Stroke { x1, y1: y, x2, y2: y, color: quiet });
                    context.layer();
                }
                for pair in levels.windows(2) {
                    // Nobody knows what was in a gap.
                    if let [(x1, y1), (x2, y2)] = *pair
                        && x2 - x1 < 0.5
                    {
                        let [y1, y2] = [y1, y2].map(|y| y.clamp(bounds[0], bounds[1]));
                        context.draw(&Stroke { x1, y1, x2, y2, color: ink });
                    }
                }
            });
        frame.render_widget(canvas, room);
    }
}

fn nothing(frame: &mut Frame<'_>, state: &State, area: Rect) {
    let text = if state.now.is_some() { "what the coils are is not known here" } else { "" };
    frame.render_widget(Paragraph::new(text), area);
}

/// The rung in force over time, and letters where something happened to the samples.
fn rung_row(frame: &mut Frame<'_>, state: &State, look: Look, area: Rect) {
    let [from_s, until_s] = span_s(state);
    let columns = usize::from(area.width.saturating_sub(GUTTER));
    let mut cells: Vec<Cell> = vec![Cell::default(); columns];
    for point in points(state) {
        let share = (point.time_s - from_s) / (until_s - from_s);
        let column = ((share * columns as f64) as usize).min(columns.saturating_sub(1));
        if let Some(cell) = cells.get_mut(column) {
            cell.add(&point);
        }
    }
    let mut spans = vec![Span::styled(format!("{:>7} ", "rung"), look.quiet())];
    spans.extend(cells.into_iter().map(|cell| cell.span(look)));
    frame.render_widget(Paragraph::new(Line::from(spans)), area);
}

#[derive(Debug, Clone, Default)]
struct Cell {
    rung: Option<u8>,
    clipped: bool,
    gap: bool,
    settling: bool,
    impulses: bool,
}

impl Cell {
    fn add(&mut self, point: &Point) {
        self.rung = point.rung.or(self.rung);
        self.clipped |= point.marks.clipped;
        self.gap |= point.marks.gap;
        self.settling |= point.marks.settling;
        self.impulses |= point.marks.impulses;
    }

    /// The gravest thing that happened, or else the rung.
    fn span(&self, look: Look) -> Span<'static> {
        let plain = Style::new();
        let (text, style) = match self {
            Self { clipped: true, .. } => ("C".to_owned(), look.alert()),
            Self { gap: true, .. } => ("g".to_owned(), look.alert()),
            Self { settling: true, .. } => ("s".to_owned(), plain),
            Self { impulses: true, .. } => ("i".to_owned(), plain),
            Self { rung: Some(rung @ 0..=9), .. } => (rung.to_string(), plain),
            Self { rung: Some(_), .. } => ("+".to_owned(), plain),
            Self { rung: None, .. } => (" ".to_owned(), plain),
        };
        Span::styled(text, style)
    }
}

fn time_row(frame: &mut Frame<'_>, state: &State, look: Look, area: Rect) {
    let [from_s, until_s] = span_s(state);
    let labels = [from_s, (from_s + until_s) / 2.0, until_s].map(|s| format!("{s:.0} s"));
    let axes = Axes { up: &[], along: &labels, gutter: GUTTER, style: look.quiet() };
    axes.draw(frame, Rect { height: 1, ..area });
}

fn decade_label(exponent: i32) -> String {
    match exponent {
        3.. => format!("{:.0} µT", 10f64.powi(exponent - 3)),
        0..3 => format!("{:.0} nT", 10f64.powi(exponent)),
        -3..0 => format!("{:.0} pT", 10f64.powi(exponent + 3)),
        _ => format!("{:.0} fT", 10f64.powi(exponent + 6)),
    }
}
