//! The pictures of a folder of trials.

mod depths;
mod detection;
mod histogram;

use super::rows::Row;

/// A picture and the name of its file.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    /// Name of its file.
    pub file: &'static str,
    /// The drawing, an SVG document.
    pub svg: String,
}

/// Width of all pictures, pixels, and the room left and right of their panels.
const WIDTH: f64 = 760.0;
const LEFT: f64 = 64.0;
const RIGHT: f64 = 16.0;

/// All pictures that the rows have something for. `nominal` are the trials that distorted ones are told from.
pub fn pictures(rows: &[Row], nominal: &[&Row], distorted: &[&Row]) -> Vec<Picture> {
    [
        ("sigmas.svg", histogram::sigmas(rows)),
        ("coverage.svg", depths::coverage(rows)),
        ("errors.svg", depths::errors(rows)),
        ("efficiency.svg", depths::efficiency(rows)),
        ("detection.svg", detection::draw(nominal, distorted)),
        ("time.svg", histogram::time(rows)),
    ]
    .into_iter()
    .filter_map(|(file, svg)| Some(Picture { file, svg: svg? }))
    .collect()
}
