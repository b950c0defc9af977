//! The pictures of a folder of trials.

mod depths;
mod detection;
mod histogram;

use super::rows::Row;
pub use crate::pictures::Picture;

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
