//! The blocks of a sheet set in type, one below the other.

use super::lines::{Breaker, MM_PER_POINT};
use super::piled::{Ink, Item, Part, Piled, drawing};
use crate::book::Verdict;
use crate::letters;
use crate::sheet::block::{Block, Content, Drawing, Look, Para, Role, Table};
use crate::sheet::draw::WIDTH_MM;

const FRAME_MM: f64 = 2.4;
const CELL_GAP_MM: f64 = 2.0;
const HEADING_POINTS: f64 = 11.0;
const COLUMN_GAP_MM: f64 = 7.0;

/// Sets blocks, and remembers what it has to set again.
#[derive(Default)]
pub struct Setter {
    lines: Breaker,
    /// Heading rows of tables, to be set again on later pages.
    heads: Vec<Vec<(f64, &'static str)>>,
}

impl Setter {
    pub fn parts(&mut self, content: &Content) -> Vec<Part> {
        let mut parts: Vec<Part> = Vec::new();
        let mut new_page = false;
        for block in &content.blocks {
            let from = parts.len();
            match block {
                Block::NewPage => {
                    new_page = true;
                    continue;
                }
                Block::Heading(words) => {
                    let piled = self.heading(words);
                    parts.push(Part { piled, above: 3.0, head: None, leads: true, new_page: false });
                }
                Block::Table(table) => self.table(table, &mut parts),
                Block::Para(it) => {
                    let piled = self.para(it, WIDTH_MM);
                    parts.push(Part {
                        piled,
                        above: it.role.look().above_mm,
                        head: None,
                        leads: false,
                        new_page: false,
                    });
                }
                Block::Framed { broken, paras } => {
                    let piled = self.framed(paras, *broken);
                    parts.push(Part { piled, above: 2.0, head: None, leads: false, new_page: false });
                }
                Block::Drawing(it) => {
                    let piled = drawing(it, 0.0, 0.0);
                    parts.push(Part { piled, above: 0.0, head: None, leads: false, new_page: false });
                }
                Block::Legend(items) => {
                    let piled = self.legend(items);
                    parts.push(Part { piled, above: 1.6, head: None, leads: false, new_page: false });
                }
                Block::Numbered(items) => {
                    let piled = self.numbered(items);
                    parts.push(Part { piled, above: 0.0, head: None, leads: false, new_page: false });
                }
            }
            if let Some(first) = parts.get_mut(from) {
                first.new_page = std::mem::take(&mut new_page);
            }
        }
        parts
    }

    fn heading(&mut self, words: &str) -> Piled {
        let look = Look {
            points: HEADING_POINTS,
            bold: true,
            soft: false,
            leading: 1.3,
            class: "",
            above_mm: 0.0,
        };
        let mut piled = self.lines.set(&Para::new(Role::Body, words), &look, 0.0, WIDTH_MM);
        piled.height += 0.8;
        piled
    }

    pub fn para(&mut self, para: &Para, width: f64) -> Piled {
        self.lines.set(para, &para.role.look(), 0.0, width)
    }

    /// Paragraphs one below the other.
    fn column(&mut self, paras: &[Para], x: f64, width: f64) -> Piled {
        let mut column = Piled::default();
        for (k, para) in paras.iter().enumerate() {
            let look = para.role.look();
            if k > 0 {
                column.height += look.above_mm;
            }
            let verdict = if let Role::Verdict(verdict) = para.role { Some(verdict) } else { None };
            let indent = if verdict.is_some() { 1.1 } else { 0.0 };
            let set = self.lines.set(para, &look, x + indent, width - 2.0 * indent);
            if let Some(verdict) = verdict {
                let wide = letters::width(verdict.word(), true) * look.points * MM_PER_POINT + 2.0 * indent;
                let mut frame = |by: f64, stroke| {
                    let broken = verdict == Verdict::Doubt;
                    let ink = Ink::Frame { x: x - by, width: wide + 2.0 * by, stroke, broken };
                    let (top, bottom) = (column.height - by, column.height + set.height + by);
                    column.items.push(Item { top, bottom, ink });
                };
                frame(0.0, 0.3);
                if verdict == Verdict::Refuse {
                    frame(0.6, 0.3);
                }
            }
            column.add(set, column.height);
        }
        column
    }

    fn framed(&mut self, paras: &[Para], broken: bool) -> Piled {
        let mut piled = Piled::default();
        let mut y = 1.6;
        for (k, para) in paras.iter().enumerate() {
            if k > 0 {
                y += 1.8;
            }
            let set = self.lines.set(para, &para.role.look(), FRAME_MM, WIDTH_MM - 2.0 * FRAME_MM);
            let height = set.height;
            piled.add(set, y);
            y += height;
        }
        y += 1.4;
        let ink = Ink::Frame { x: 0.25, width: WIDTH_MM - 0.5, stroke: 0.5, broken };
        piled.items.push(Item { top: 0.0, bottom: y, ink });
        piled.height = y;
        piled
    }

    fn legend(&mut self, items: &[(Drawing, String)]) -> Piled {
        const COLUMNS: usize = 3;
        let width = WIDTH_MM / COLUMNS as f64;
        let mut piled = Piled::default();
        for row in items.chunks(COLUMNS) {
            let mut high: f64 = 0.0;
            let y = piled.height;
            for (k, (mark, words)) in row.iter().enumerate() {
                let x = k as f64 * width;
                let look = Look { leading: 1.2, ..Role::Also.look() };
                let text_x = x + mark.width_mm + 1.6;
                let set =
                    self.lines.set(&Para::new(Role::Also, words), &look, text_x, x + width - 3.0 - text_x);
                let tall = set.height.max(mark.height_mm);
                let height = set.height;
                piled.add(drawing(mark, x, 0.0), y + (tall - mark.height_mm) / 2.0);
                piled.add(set, y + (tall - height) / 2.0);
                high = high.max(tall);
            }
            piled.height = y + high + 0.4;
        }
        piled
    }

    fn numbered(&mut self, items: &[Para]) -> Piled {
        const NUMBER_MM: f64 = 4.5;
        let width = (WIDTH_MM - COLUMN_GAP_MM) / 2.0;
        let mut column = Piled::default();
        for (k, it) in items.iter().enumerate() {
            let look = it.role.look();
            let y = column.height + if k > 0 { look.above_mm } else { 0.0 };
            let number = format!("{}.", k + 1);
            column.add(self.lines.set(&Para::new(Role::Fine, &number), &look, 0.0, NUMBER_MM), y);
            column.add(self.lines.set(it, &look, NUMBER_MM, width - NUMBER_MM), y);
        }
        // The second column begins with the first line below the middle.
        let half = column.height / 2.0;
        let break_at =
            column.items.iter().map(|i| i.top).filter(|top| *top >= half).fold(f64::MAX, f64::min);
        let (mut left, mut right) = (Piled::default(), Piled::default());
        for mut item in column.items {
            if item.top < break_at {
                left.height = left.height.max(item.bottom);
                left.items.push(item);
            } else {
                item.top -= break_at;
                item.bottom -= break_at;
                right.height = right.height.max(item.bottom);
                right.items.push(item);
            }
        }
        right.shift(width + COLUMN_GAP_MM);
        left.add(right, 0.0);
        left
    }

    /// The heading row of a table.
    pub fn head(&mut self, which: usize) -> Piled {
        let columns = self.heads.get(which).cloned().unwrap_or_default();
        let mut piled = Piled::default();
        let mut x = 0.0;
        for (width, words) in columns {
            let look = Look { bold: true, ..Role::Also.look() };
            piled.add(self.lines.set(&Para::new(Role::Also, words), &look, x, width - CELL_GAP_MM), 0.0);
            x += width;
        }
        let y = piled.height + 0.5;
        let ink = Ink::Rule { x: 0.0, width: WIDTH_MM, stroke: 0.4, faint: false };
        piled.items.push(Item { top: y, bottom: y + 0.4, ink });
        piled.height = y + 0.8;
        piled
    }

    fn table(&mut self, table: &Table, parts: &mut Vec<Part>) {
        let total: f64 = table.columns.iter().map(|c| c.width_mm).sum();
        let widths: Vec<f64> = table.columns.iter().map(|c| c.width_mm * WIDTH_MM / total).collect();
        let head = self.heads.len();
        self.heads.push(widths.iter().copied().zip(table.columns.iter().map(|c| c.head)).collect());
        let piled = self.head(head);
        parts.push(Part { piled, above: 0.0, head: None, leads: true, new_page: false });
        for row in &table.rows {
            let mut piled = Piled::default();
            let mut x = 0.0;
            for (cell, width) in row.cells.iter().zip(&widths) {
                let set = self.column(cell, x, width - CELL_GAP_MM);
                piled.add(set, 0.7);
                x += width;
            }
            piled.height += 0.5;
            if !row.detail.is_empty() {
                let indent = widths.first().copied().unwrap_or(0.0);
                let y = piled.height + 0.2;
                let set = self.column(&row.detail, indent, WIDTH_MM - indent);
                piled.add(set, y);
                piled.height += 0.9;
            }
            let y = piled.height;
            let ink = Ink::Rule { x: 0.0, width: WIDTH_MM, stroke: 0.2, faint: true };
            piled.items.push(Item { top: y, bottom: y + 0.2, ink });
            piled.height = y + 0.2;
            parts.push(Part { piled, above: 0.0, head: Some(head), leads: false, new_page: false });
        }
    }

    /// Whether any letter could not be drawn.
    pub fn has_lacked(&self) -> bool {
        self.lines.lacked
    }
}
