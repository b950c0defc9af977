//! Marks and lines with what they mean.

use maud::{Markup, html};

use super::style::{INK, Line, PAPER};
use super::words::{decimal, words};

impl Line {
    /// A sample of the line with its name, from `x` to the right.
    pub fn key(self, x: f64, y: f64, name: &str) -> Markup {
        html! {
            line x1=(decimal(x)) x2=(decimal(x + 28.0)) y1=(decimal(y)) y2=(decimal(y)) stroke=(self.stroke)
                stroke-width=(self.width) stroke-dasharray=[self.dash_array()] {}
            text x=(decimal(x + 34.0)) y=(decimal(y + 4.0)) { (name) }
        }
    }
}

/// What a mark looks like.
#[derive(Debug, Clone, Copy)]
pub enum Mark {
    Ring,
    Square,
    Triangle,
    Diamond,
    Cross,
}

impl Mark {
    pub fn at(self, x: f64, y: f64) -> Markup {
        let start = |dx: f64, dy: f64| format!("M{} {}", decimal(x + dx), decimal(y + dy));
        let outline = match self {
            Self::Ring => {
                return html! {
                    circle cx=(decimal(x)) cy=(decimal(y)) r="4" fill=(PAPER) stroke=(INK) stroke-width="1.2" {}
                };
            }
            Self::Square => format!("{}h7v7h-7z", start(-3.5, -3.5)),
            Self::Triangle => format!("{}l4.5 8h-9z", start(0.0, -5.0)),
            Self::Diamond => format!("{}l5 5l-5 5l-5 -5z", start(0.0, -5.0)),
            Self::Cross => format!("{}l9 9{}l9 -9", start(-4.5, -4.5), start(-4.5, 4.5)),
        };
        html! { path d=(outline) fill=(PAPER) stroke=(INK) stroke-width="1.2" {} }
    }

    /// The mark with its meaning.
    pub fn key(self, x: f64, y: f64, name: &str) -> Markup {
        html! { (self.at(x + 6.0, y)) (words("start", x + 16.0, y + 4.0, name)) }
    }
}
