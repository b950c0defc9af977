//! Drawings as PNG.

use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::{Options, Tree};
use thiserror::Error;

use crate::letters;

/// Why a drawing could not be made into pixels or pages.
#[derive(Debug, Error)]
#[error("the drawing cannot be made into {into}: {what}")]
pub struct Undrawn {
    /// What was wanted.
    pub into: &'static str,
    /// What the library said.
    pub what: String,
}

/// Most pixels along one side.
const MOST_PIXELS: f32 = 10_000.0;

/// An SVG as a tree that can be drawn, with the program's own letters.
pub(crate) fn tree(svg: &str) -> Result<Tree, resvg::usvg::Error> {
    let options = Options {
        fontdb: letters::database(),
        font_family: letters::FAMILY.to_owned(),
        ..Options::default()
    };
    Tree::from_str(svg, &options)
}

/// An SVG as PNG, `scale` pixels for each of its units.
///
/// # Errors
/// When it is no SVG, or would be more than 10 000 pixels wide or high.
pub fn png(svg: &str, scale: f32) -> Result<Vec<u8>, Undrawn> {
    let undrawn = |what: String| Undrawn { into: "PNG", what };
    let tree = tree(svg).map_err(|e| undrawn(e.to_string()))?;
    let [width, height] = [tree.size().width(), tree.size().height()].map(|side| (side * scale).ceil());
    if !(width <= MOST_PIXELS && height <= MOST_PIXELS) {
        return Err(undrawn(format!("{width} x {height} pixels are too many; take a smaller scale")));
    }
    let mut pixels =
        Pixmap::new(width as u32, height as u32).ok_or_else(|| undrawn("it has no size".to_owned()))?;
    resvg::render(&tree, Transform::from_scale(scale, scale), &mut pixels.as_mut());
    pixels.encode_png().map_err(|e| undrawn(e.to_string()))
}
