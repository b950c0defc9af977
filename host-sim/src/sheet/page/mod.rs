//! A sheet set on pages of paper: where every line of letters, rule and drawing stands.

mod fill;
mod lines;
mod piled;
mod setter;
mod svg;

use self::fill::fill;
use self::piled::{Item, Part};
use self::setter::Setter;
use self::svg::{Foot, TOP_MM, page};
use super::block::{Content, Para, Role};
use super::draw::WIDTH_MM;
use super::options::Options;

const BOTTOM_MM: f64 = 15.0;

/// How many pages it takes up to the first break.
pub fn front(content: &Content, options: &Options) -> usize {
    let mut setter = Setter::default();
    let parts = setter.parts(content).into_iter().take_while(|part| !part.new_page).collect();
    let (_, height) = options.paper.size_mm();
    fill(parts, |which| setter.head(which), height - TOP_MM - BOTTOM_MM).len()
}

/// The pages as SVG documents, in millimetres, and whether any letter could not be drawn.
pub fn pages(content: &Content, options: &Options) -> (Vec<String>, bool) {
    let mut setter = Setter::default();
    let mut parts = setter.parts(content);
    if setter.has_lacked() {
        let words = "Letters that this file has no shapes for are drawn as □; the HTML sheet has them all.";
        let piled = setter.para(&Para::new(Role::Note, words), WIDTH_MM);
        parts.push(Part { piled, above: 2.0, head: None, leads: false, new_page: false });
    }
    let (width, height) = options.paper.size_mm();
    let filled = fill(parts, |which| setter.head(which), height - TOP_MM - BOTTOM_MM);
    let (left, count) = ((width - WIDTH_MM) / 2.0, filled.len());
    let draw = |(k, items): (usize, Vec<Item>)| {
        let foot = Foot { words: &content.foot, page: k + 1, of: count };
        page(&items, (width, height), left, &foot)
    };
    (filled.into_iter().enumerate().map(draw).collect(), setter.has_lacked())
}
