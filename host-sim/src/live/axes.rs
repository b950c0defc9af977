//! Axes for a plot of characters: labels at the side and below, and the room that is left between them.

use ratatui::Frame;
use ratatui::layout::{Alignment, Rect};
use ratatui::style::Style;
use ratatui::text::Line;
use ratatui::widgets::Paragraph;

/// Labels of a plot: upwards, and from left to right, each evenly spaced from end to end.
pub struct Axes<'a> {
    pub up: &'a [String],
    pub along: &'a [String],
    /// Columns that the labels at the side take.
    pub gutter: u16,
    pub style: Style,
}

impl Axes<'_> {
    /// Draw the labels, and give the room between them.
    pub fn draw(&self, frame: &mut Frame<'_>, area: Rect) -> Rect {
        let below = u16::from(!self.along.is_empty());
        let gutter = self.gutter.min(area.width);
        let room = Rect {
            x: area.x + gutter,
            width: area.width - gutter,
            height: area.height.saturating_sub(below),
            ..area
        };
        for (label, row) in self.up.iter().zip(places(self.up.len(), room.height)) {
            let place = Rect { x: area.x, y: room.bottom() - 1 - row, width: gutter, height: 1 };
            let text = Paragraph::new(format!("{label} ")).alignment(Alignment::Right).style(self.style);
            frame.render_widget(text, place.intersection(area));
        }
        for (n, (label, column)) in self.along.iter().zip(places(self.along.len(), room.width)).enumerate()
        {
            let width = Line::from(label.as_str()).width() as u16;
            // The first begins where its place is, the last ends there, others have it in their middle.
            let before = match n {
                0 => 0,
                n if n + 1 == self.along.len() => width.saturating_sub(1),
                _ => width / 2,
            };
            let x = (room.x + column).saturating_sub(before);
            let place = Rect { x, y: room.bottom(), width, height: below };
            frame.render_widget(Paragraph::new(label.as_str()).style(self.style), place.intersection(area));
        }
        room
    }
}

/// So many places from the first cell to the last.
fn places(count: usize, cells: u16) -> impl Iterator<Item = u16> {
    let last = cells.saturating_sub(1) as usize;
    (0..count).filter(move |_| cells > 0).map(move |n| match count {
        1 => 0,
        _ => (n * last / (count - 1)) as u16,
    })
}

/// Columns that labels take, with the gap beside them.
pub fn gutter(labels: &[String]) -> u16 {
    labels.iter().map(|label| Line::from(label.as_str()).width() as u16 + 1).max().unwrap_or(0)
}
