//! Pictures of a locate: what the instrument saw on the walk, how well the fix explains it, and what the samples hold.
//!
//! ```no_run
//! use nullwalk::capture::Capture;
//! use nullwalk::pictures;
//! let capture = Capture::open("yard-1".as_ref()).unwrap();
//! for picture in pictures::of_capture(&capture).unwrap() {
//!     std::fs::write(picture.file, &picture.svg).unwrap();
//! }
//! ```

mod components;
mod gain;
mod plan;
mod residuals;
mod samples;
mod walk;
mod waterfall;

use thiserror::Error;

use crate::capture::{Capture, CaptureError, Content};
use crate::inspect;
use crate::raster::{Undrawn, png};
use crate::with_channels;
use nullwalk_core::error::ConfigError;

pub use walk::{Gatherer, Step, Walk};

/// A picture and the name of its file.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    /// Name of its file.
    pub file: &'static str,
    /// The drawing, an SVG document.
    pub svg: String,
}

/// Pixels of a PNG for each of the drawing's own: sharp on paper too.
const PIXELS: f32 = 2.0;

impl Picture {
    /// As PNG, twice as fine as the drawing's own pixels.
    ///
    /// # Errors
    /// When the library refuses the drawing.
    pub fn png(&self) -> Result<Vec<u8>, Undrawn> {
        png(&self.svg, PIXELS)
    }
}

/// Why pictures could not be drawn.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum PictureError {
    /// The capture cannot be read.
    #[error(transparent)]
    Capture(#[from] CaptureError),
    /// What it describes cannot work.
    #[error(transparent)]
    Config(#[from] ConfigError),
}

/// All pictures of a capture that it has something for: of the walk where its coils form nodes, of the samples where it
/// holds samples.
///
/// # Errors
/// When it cannot be read, or describes what cannot be.
pub fn of_capture(capture: &Capture) -> Result<Vec<Picture>, PictureError> {
    let walk = Walk::of_capture(capture)?;
    let mut pictures = walk.as_ref().map(of_walk).unwrap_or_default();
    if let Content::Samples { .. } = &capture.content {
        let found = inspect::inspect(capture)?;
        if let inspect::Report::Samples(report) = &found {
            let channels = capture.description.signal.channels;
            let seen = with_channels!(channels, C => samples::look::<C>(capture));
            let seen = seen.transpose()?.unwrap_or_default();
            pictures.extend(inspect::spectrum_svg(report).map(|svg| Picture { file: "spectrum.svg", svg }));
            pictures
                .extend(waterfall::draw(&seen, report).map(|svg| Picture { file: "waterfall.svg", svg }));
            pictures.extend(gain::draw(&seen, report).map(|svg| Picture { file: "gain.svg", svg }));
        }
    }
    Ok(pictures)
}

/// The pictures of a walk: components, plan, residuals.
pub fn of_walk(walk: &Walk) -> Vec<Picture> {
    [
        ("components.svg", components::draw(walk)),
        ("plan.svg", plan::draw(walk)),
        ("residuals.svg", residuals::draw(walk)),
    ]
    .into_iter()
    .filter_map(|(file, svg)| Some(Picture { file, svg: svg? }))
    .collect()
}
