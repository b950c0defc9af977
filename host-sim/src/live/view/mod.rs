//! The screen as a function of the state.

mod frame;
mod guidance;
mod plan;
mod signal;
mod spectrum;
mod verdict;

pub use frame::draw;

use ratatui::style::{Color, Modifier, Style};
use ratatui::widgets::{Block, BorderType};

/// Columns and rows that the view needs.
pub const SMALLEST: (u16, u16) = (80, 24);

/// How things are told apart. Nothing depends on colour.
#[derive(Debug, Clone, Copy)]
struct Look {
    colour: bool,
}

impl Look {
    fn tinted(self, colour: Color) -> Style {
        if self.colour { Style::new().fg(colour) } else { Style::new() }
    }

    /// Borders and labels.
    fn quiet(self) -> Style {
        if self.colour { Style::new().fg(Color::Gray) } else { Style::new().add_modifier(Modifier::DIM) }
    }

    /// What was measured.
    fn trace(self) -> Style {
        self.tinted(Color::Cyan)
    }

    /// What was found.
    fn found(self) -> Style {
        self.tinted(Color::Yellow)
    }

    fn strong(self) -> Style {
        Style::new().add_modifier(Modifier::BOLD)
    }

    /// What must not be overlooked.
    fn alert(self) -> Style {
        Style::new().add_modifier(Modifier::BOLD | Modifier::REVERSED)
    }

    fn panel(self, title: &str) -> Block<'_> {
        Block::bordered()
            .border_type(BorderType::Plain)
            .border_style(self.quiet())
            .title(format!(" {title} "))
            .title_style(self.strong())
    }

    /// Colour for a shape on a canvas, which knows no styles.
    fn ink(self, style: Style) -> Color {
        style.fg.unwrap_or(Color::Reset)
    }
}
