//! The book's figures, made by the core and the simulator.
//!
//! What a curve shows was computed by the code that the book describes, so a figure cannot go stale in silence:
//! a test draws them anew and compares.

mod depth;
mod lane;
mod locate;
mod response;
mod sweep;
mod walk;
mod yard;

use std::error::Error;

use crate::chart::{FIRST, FOURTH, GUIDE, LEFT, Mark, RIGHT, SECOND, THIRD, WIDTH, heading, note, words};

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
    let mut figures = vec![
        Figure { file: "lane.svg", svg: lane::draw() },
        Figure { file: "locate.svg", svg: locate::draw()? },
        Figure { file: "tone-response.svg", svg: response::draw()? },
        Figure { file: "sweep.svg", svg: sweep::draw()? },
        Figure { file: "depth-uncertainty.svg", svg: depth::draw() },
        Figure { file: "yard.svg", svg: yard::draw()? },
    ];
    figures.extend(walk::draw()?);
    Ok(figures)
}
