//! What stands on a page, and where: letters, rules, frames and drawings, piled from the top down.

use crate::sheet::block::Drawing;

/// Something that is drawn, from its top to its bottom, in millimetres.
pub struct Item {
    pub top: f64,
    pub bottom: f64,
    pub ink: Ink,
}

pub enum Ink {
    Words { x: f64, base: f64, points: f64, spans: Vec<Span>, end: bool },
    Rule { x: f64, width: f64, stroke: f64, faint: bool },
    Frame { x: f64, width: f64, stroke: f64, broken: bool },
    Drawing { x: f64, content: String },
}

#[derive(Clone, PartialEq)]
pub struct Span {
    pub words: String,
    pub bold: bool,
    pub soft: bool,
}

/// Items that belong together, counted from a top of their own.
#[derive(Default)]
pub struct Piled {
    pub items: Vec<Item>,
    pub height: f64,
}

/// What a page is filled with in turn.
pub struct Part {
    pub piled: Piled,
    /// Room above it, unless it begins a page.
    pub above: f64,
    /// What stands above it again where it begins a page.
    pub head: Option<usize>,
    /// It must not end a page.
    pub leads: bool,
    pub new_page: bool,
}

impl Piled {
    pub fn add(&mut self, other: Self, y: f64) {
        for mut item in other.items {
            item.top += y;
            item.bottom += y;
            self.items.push(item);
        }
        self.height = self.height.max(y + other.height);
    }

    pub fn shift(&mut self, by: f64) {
        for item in &mut self.items {
            match &mut item.ink {
                Ink::Words { x, .. }
                | Ink::Rule { x, .. }
                | Ink::Frame { x, .. }
                | Ink::Drawing { x, .. } => *x += by,
            }
        }
    }
}

/// A drawing with its left upper corner there.
pub fn drawing(drawing: &Drawing, x: f64, y: f64) -> Piled {
    let content = drawing.content.0.clone();
    let item = Item { top: y, bottom: y + drawing.height_mm, ink: Ink::Drawing { x, content } };
    Piled { items: vec![item], height: y + drawing.height_mm }
}
