//! The walk from above, with the mark or the fix and the stations.

use glam::Vec2;
use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::style::Color;
use ratatui::symbols::Marker;
use ratatui::text::Line;
use ratatui::widgets::canvas::{Canvas, Context, Line as Stroke};
use ratatui::widgets::{Paragraph, Wrap};

use super::Look;
use crate::live::state::State;
use crate::live::update::Ellipse;

/// So much is shown at least, metres from side to side.
const LEAST_M: f32 = 1.0;
/// Cells are about twice as high as they are wide (common practice, no source).
const CELL: f32 = 2.0;

pub fn panel(frame: &mut Frame<'_>, state: &State, look: Look, area: Rect) {
    if state.trail.places_m().is_empty() {
        let text =
            if state.now.is_some() { "Nothing says where the mast was, so there is no plan." } else { "" };
        let text = Paragraph::new(text).wrap(Wrap { trim: true }).block(look.panel("Plan"));
        return frame.render_widget(text, area);
    }
    let found = found(state);
    let inner = look.panel("").inner(area);
    let view = Window::of(state, found.as_ref().map(|(_, ellipse)| ellipse), inner);
    let scale_m = view.scale_m();
    let cells = (scale_m / view.metres_per_column()).round() as usize;
    let title = format!("Plan, north up   ├{}┤ {scale_m} m", "─".repeat(cells.saturating_sub(2)));
    frame.render_widget(look.panel(&title), area);
    let canvas = Canvas::default()
        .marker(Marker::Braille)
        .x_bounds(view.x)
        .y_bounds(view.y)
        .paint(|context| paint(context, state, found.as_ref(), look, &view));
    frame.render_widget(canvas, inner);
}

/// The fix that the verdict is about, or else the mark.
fn found(state: &State) -> Option<(&'static str, Ellipse)> {
    let fix = state.held.as_ref().and_then(|held| held.place).map(|place| ("fix", place));
    fix.or_else(|| state.now.as_ref().and_then(|now| now.mark).map(|mark| ("mark", mark)))
}

fn paint(
    context: &mut Context<'_>,
    state: &State,
    found: Option<&(&'static str, Ellipse)>,
    look: Look,
    view: &Window,
) {
    polyline(context, state.trail.places_m().iter().copied(), look.ink(look.trace()));
    if let Some((_, ellipse)) = found {
        context.layer();
        polyline(context, ellipse.outline_m(), look.ink(look.found()));
    }
    let mast = state.now.as_ref().map(|now| now.mast);
    let position_m = mast.and_then(|mast| mast.position).map(|p| p.enu_m.truncate());
    if let (Some(from), Some(heading_rad)) = (position_m, mast.and_then(|mast| mast.heading_rad)) {
        let forward = Vec2::new(heading_rad.sin(), heading_rad.cos());
        let to = from + forward * 4.0 * view.metres_per_column();
        polyline(context, [from, to].into_iter(), Color::Reset);
    }
    context.layer();
    if let Some((word, ellipse)) = found {
        // Beside the curve, so that neither hides the other.
        let reach_m = ellipse.outline_m().map(|p| p.x).fold(f32::NEG_INFINITY, f32::max);
        let place = Vec2::new(reach_m + 1.5 * view.metres_per_column(), ellipse.centre_m.y);
        print(context, place, Line::styled(*word, look.found().patch(look.strong())));
    }
    for marked in &state.marked {
        if let Some([east, north]) = marked.place_m {
            // A row above, where the mast does not hide it.
            let place = Vec2::new(east as f32, north as f32 + CELL * view.metres_per_column());
            print(context, place, Line::styled(marked.number.to_string(), look.strong()));
        }
    }
    if let Some(place) = position_m {
        print(context, place, Line::styled("o", look.strong()));
    }
}

fn print(context: &mut Context<'_>, place: Vec2, text: Line<'static>) {
    context.print(place.x.into(), place.y.into(), text);
}

fn polyline(context: &mut Context<'_>, places: impl Iterator<Item = Vec2>, color: Color) {
    let mut last: Option<Vec2> = None;
    for place in places {
        let from = last.replace(place).unwrap_or(place);
        let [x1, y1, x2, y2] = [from.x, from.y, place.x, place.y].map(f64::from);
        context.draw(&Stroke { x1, y1, x2, y2, color });
    }
}

/// What part of the site is shown, at the same scale both ways.
struct Window {
    x: [f64; 2],
    y: [f64; 2],
    columns: u16,
}

impl Window {
    fn of(state: &State, ellipse: Option<&Ellipse>, inner: Rect) -> Self {
        let around = ellipse.into_iter().flat_map(Ellipse::outline_m);
        let all = state.trail.places_m().iter().copied().chain(around).filter(|p| p.is_finite());
        let (low, high) = all.fold((Vec2::MAX, Vec2::MIN), |(low, high), p| (low.min(p), high.max(p)));
        let (middle, size) = ((low + high) / 2.0, (high - low).max(Vec2::splat(LEAST_M)) * 1.15);
        let (columns, rows) = (f32::from(inner.width.max(1)), f32::from(inner.height.max(1)));
        let per_column = (size.x / columns).max(size.y / (rows * CELL));
        let half = Vec2::new(per_column * columns, per_column * CELL * rows) / 2.0;
        let bounds = |middle: f32, half: f32| [middle - half, middle + half].map(f64::from);
        Self { x: bounds(middle.x, half.x), y: bounds(middle.y, half.y), columns: inner.width.max(1) }
    }

    fn metres_per_column(&self) -> f32 {
        ((self.x[1] - self.x[0]) / f64::from(self.columns)) as f32
    }

    /// The longest of 1, 2 and 5 of a decade that takes at most a third of the width.
    fn scale_m(&self) -> f32 {
        let most = (self.x[1] - self.x[0]) as f32 / 3.0;
        let decade = 10f32.powf(most.log10().floor());
        [5.0, 2.0, 1.0].into_iter().map(|step| step * decade).find(|m| *m <= most).unwrap_or(decade)
    }
}
