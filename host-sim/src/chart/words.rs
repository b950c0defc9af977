//! Words on a drawing, and the drawing around them.

use maud::{Markup, html};

use super::style::{INK, LETTERS_PX, PAPER, SMALL_PX, letters};

/// Words at a place; `anchor` is `start`, `middle` or `end`.
pub fn words(anchor: &str, x: f64, y: f64, what: &str) -> Markup {
    html! { text x=(decimal(x)) y=(decimal(y)) text-anchor=(anchor) { (what) } }
}

/// Small words at a place, on a white ground that keeps curves off them.
pub fn note(anchor: &str, x: f64, y: f64, what: &str) -> Markup {
    html! {
        text x=(decimal(x)) y=(decimal(y)) text-anchor=(anchor) font-size=(SMALL_PX) stroke=(PAPER) stroke-width="3"
            stroke-linejoin="round" paint-order="stroke" { (what) }
    }
}

/// The heading of a panel, above its left end.
pub fn heading(x: f64, y: f64, what: &str) -> Markup {
    html! { text x=(decimal(x)) y=(decimal(y)) font-weight="bold" { (what) } }
}

/// A drawing of its own, of this size in pixels.
pub fn document(width: f64, height: f64, title: &str, content: &Markup) -> String {
    let drawing = html! {
        svg xmlns="http://www.w3.org/2000/svg" viewBox={ "0 0 " (width) " " (height) } role="img"
            width=(width) height=(height) font-family=(letters()) font-size=(LETTERS_PX) fill=(INK) {
            title { (title) }
            rect width=(width) height=(height) fill=(PAPER) {}
            (content)
        }
    };
    drawing.into_string()
}

/// A tenth of a pixel is enough.
pub fn decimal(coordinate: f64) -> String {
    // Adding zero turns a negative zero into a plain one.
    format!("{}", (coordinate * 10.0).round() / 10.0 + 0.0)
}
