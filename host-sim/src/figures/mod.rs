//! The book's figures, made by the core and the simulator.
//!
//! What a curve shows was computed by the code that the book describes, so a figure cannot go stale in silence:
//! a test draws them anew and compares.

mod depth;
mod lane;
mod locate;
mod response;
mod sweep;
mod yard;

use std::error::Error;

use maud::{Markup, html};

use crate::chart::{FIRST, FOURTH, GUIDE, SECOND, THIRD, decimal, heading, note, words};

/// A figure of the book.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// Name of its file.
    pub file: &'static str,
    /// The drawing, an SVG document.
    pub svg: String,
}

/// Draws all figures of the book.
///
/// # Errors
/// When the simulation behind a figure cannot be set up.
pub fn figures() -> Result<Vec<Figure>, Box<dyn Error>> {
    Ok(vec![
        Figure { file: "lane.svg", svg: lane::draw() },
        Figure { file: "locate.svg", svg: locate::draw()? },
        Figure { file: "tone-response.svg", svg: response::draw()? },
        Figure { file: "sweep.svg", svg: sweep::draw()? },
        Figure { file: "depth-uncertainty.svg", svg: depth::draw() },
        Figure { file: "yard.svg", svg: yard::draw()? },
    ])
}

/// Width of all figures, pixels: a column of the book.
const WIDTH: f64 = 760.0;
/// Left edge of the panels, and their distance from the right.
const LEFT: f64 = 64.0;
const RIGHT: f64 = 16.0;

/// What a mark looks like.
#[derive(Debug, Clone, Copy)]
enum Mark {
    Ring,
    Square,
    Triangle,
    Diamond,
    Cross,
}

impl Mark {
    fn at(self, x: f64, y: f64) -> Markup {
        let start = |dx: f64, dy: f64| format!("M{} {}", decimal(x + dx), decimal(y + dy));
        let outline = match self {
            Self::Ring => {
                return html! {
                    circle cx=(decimal(x)) cy=(decimal(y)) r="4" fill="#fff" stroke="#000" stroke-width="1.2" {}
                };
            }
            Self::Square => format!("{}h7v7h-7z", start(-3.5, -3.5)),
            Self::Triangle => format!("{}l4.5 8h-9z", start(0.0, -5.0)),
            Self::Diamond => format!("{}l5 5l-5 5l-5 -5z", start(0.0, -5.0)),
            Self::Cross => format!("{}l9 9{}l9 -9", start(-4.5, -4.5), start(-4.5, 4.5)),
        };
        html! { path d=(outline) fill="#fff" stroke="#000" stroke-width="1.2" {} }
    }

    /// The mark with its meaning.
    fn key(self, x: f64, y: f64, name: &str) -> Markup {
        html! { (self.at(x + 6.0, y)) (words("start", x + 16.0, y + 4.0, name)) }
    }
}
