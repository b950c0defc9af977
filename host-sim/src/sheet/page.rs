//! A sheet set on pages of paper: where every line of letters, rule and drawing stands.

use maud::{Markup, PreEscaped, html};

use super::block::{Block, Content, Drawing, Face, Look, Para, Piece, Role, Table};
use super::draw::mm;
use super::html::DRAWING_STYLE;
use super::options::Options;
use crate::book::Verdict;
use crate::letters;

const MM_PER_POINT: f64 = 25.4 / 72.0;
/// Width of everything: it fits A4 and Letter.
const WIDTH_MM: f64 = super::draw::WIDTH_MM;
const TOP_MM: f64 = 11.0;
const BOTTOM_MM: f64 = 15.0;
/// The foot stands so far above the paper's edge.
const FOOT_MM: f64 = 8.0;
const FRAME_MM: f64 = 2.4;
const CELL_GAP_MM: f64 = 2.0;
const HEADING_POINTS: f64 = 11.0;
const SMALL_POINTS: f64 = 7.6;
const COLUMN_GAP_MM: f64 = 7.0;
/// Part of the leading that stands above the base line.
const ABOVE_BASE: f64 = 0.8;

/// Something that is drawn, from its top to its bottom, in millimetres.
struct Item {
    top: f64,
    bottom: f64,
    ink: Ink,
}

enum Ink {
    Words { x: f64, base: f64, points: f64, spans: Vec<Span>, end: bool },
    Rule { x: f64, width: f64, stroke: f64, faint: bool },
    Frame { x: f64, width: f64, stroke: f64, broken: bool },
    Drawing { x: f64, content: String },
}

#[derive(Clone, PartialEq)]
struct Span {
    words: String,
    bold: bool,
    soft: bool,
}

/// Items that belong together, counted from a top of their own.
#[derive(Default)]
struct Piled {
    items: Vec<Item>,
    height: f64,
}

/// What a page is filled with in turn.
struct Part {
    piled: Piled,
    /// Room above it, unless it begins a page.
    above: f64,
    /// What stands above it again where it begins a page.
    head: Option<usize>,
    /// It must not end a page.
    leads: bool,
    new_page: bool,
}

/// The pages as SVG documents, in millimetres, and whether any letter could not be drawn.
pub fn pages(content: &Content, options: &Options) -> (Vec<String>, bool) {
    let mut setter = Setter { lacked: false, heads: Vec::new() };
    let mut parts = setter.parts(content);
    if setter.lacked {
        let words = "Letters that this file has no shapes for are drawn as □; the HTML sheet has them all.";
        let piled = setter.para(&Para::new(Role::Note, words), WIDTH_MM);
        parts.push(Part { piled, above: 2.0, head: None, leads: false, new_page: false });
    }
    let (width, height) = options.paper.size_mm();
    let filled = fill(parts, &mut setter, height - TOP_MM - BOTTOM_MM);
    let (left, count) = ((width - WIDTH_MM) / 2.0, filled.len());
    let draw = |(k, items): (usize, Vec<Item>)| {
        let foot = Foot { words: &content.foot, page: k + 1, of: count };
        page(&items, (width, height), left, &foot)
    };
    (filled.into_iter().enumerate().map(draw).collect(), setter.lacked)
}

/// Fill pages of this height.
fn fill(parts: Vec<Part>, setter: &mut Setter, high: f64) -> Vec<Vec<Item>> {
    let mut pages: Vec<Vec<Item>> = vec![Vec::new()];
    let mut y = 0.0;
    let needs: Vec<f64> = parts.iter().map(|p| p.above + p.piled.height).collect();
    let leads: Vec<bool> = parts.iter().map(|p| p.leads).collect();
    for (k, part) in parts.into_iter().enumerate() {
        // With all that it must not be parted from.
        let mut need = 0.0;
        for n in k..needs.len() {
            need += needs.get(n).copied().unwrap_or(0.0);
            if !leads.get(n).copied().unwrap_or(false) {
                break;
            }
        }
        let fresh = pages.last().is_none_or(Vec::is_empty);
        if !fresh && (part.new_page || y + need > high) {
            pages.push(Vec::new());
            y = 0.0;
        }
        let fresh = pages.last().is_none_or(Vec::is_empty);
        if fresh {
            if let Some(head) = part.head {
                y = put(&mut pages, setter.head(head), 0.0, high);
            }
        } else {
            y += part.above;
        }
        y = put(&mut pages, part.piled, y, high);
    }
    pages
}

/// Put items on the last page from `y` down, and on as many more as they take. Gives where they end.
fn put(pages: &mut Vec<Vec<Item>>, mut piled: Piled, mut y: f64, high: f64) -> f64 {
    // What fits stays in the order in which it is read.
    let fits = y + piled.height <= high + 1e-6;
    if !fits {
        piled.items.sort_by(|a, b| a.top.total_cmp(&b.top));
    }
    let (mut gone, height) = (0.0, piled.height);
    for mut item in piled.items {
        // What is higher than a page is parted between its lines.
        if !fits && y + item.bottom - gone > high + 1e-6 && (y > 0.0 || item.top > gone) {
            gone = item.top;
            y = 0.0;
            pages.push(Vec::new());
        }
        item.top += y - gone;
        item.bottom += y - gone;
        if let Some(page) = pages.last_mut() {
            page.push(item);
        }
    }
    y + height - gone
}

struct Setter {
    lacked: bool,
    /// Heading rows of tables, to be set again on later pages.
    heads: Vec<Vec<(f64, &'static str)>>,
}

impl Setter {
    fn parts(&mut self, content: &Content) -> Vec<Part> {
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
                    parts.push(Part { piled, above: 3.4, head: None, leads: true, new_page: false });
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
        let mut piled = self.set(&Para::new(Role::Body, words), &look, 0.0, WIDTH_MM);
        piled.height += 0.8;
        piled
    }

    fn para(&mut self, para: &Para, width: f64) -> Piled {
        self.set(para, &para.role.look(), 0.0, width)
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
            let set = self.set(para, &look, x + indent, width - 2.0 * indent);
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
            let set = self.set(para, &para.role.look(), FRAME_MM, WIDTH_MM - 2.0 * FRAME_MM);
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
                let set = self.set(&Para::new(Role::Also, words), &look, text_x, x + width - 3.0 - text_x);
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
            column.add(self.set(&Para::new(Role::Fine, &number), &look, 0.0, NUMBER_MM), y);
            column.add(self.set(it, &look, NUMBER_MM, width - NUMBER_MM), y);
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
    fn head(&mut self, which: usize) -> Piled {
        let columns = self.heads.get(which).cloned().unwrap_or_default();
        let mut piled = Piled::default();
        let mut x = 0.0;
        for (width, words) in columns {
            let look = Look { bold: true, ..Role::Also.look() };
            piled.add(self.set(&Para::new(Role::Also, words), &look, x, width - CELL_GAP_MM), 0.0);
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
                piled.add(set, 0.9);
                x += width;
            }
            piled.height += 0.7;
            if !row.detail.is_empty() {
                let indent = widths.first().copied().unwrap_or(0.0);
                let y = piled.height + 0.2;
                let set = self.column(&row.detail, indent, WIDTH_MM - indent);
                piled.add(set, y);
                piled.height += 1.2;
            }
            let y = piled.height;
            let ink = Ink::Rule { x: 0.0, width: WIDTH_MM, stroke: 0.2, faint: true };
            piled.items.push(Item { top: y, bottom: y + 0.2, ink });
            piled.height = y + 0.2;
            parts.push(Part { piled, above: 0.0, head: Some(head), leads: false, new_page: false });
        }
    }

    /// A paragraph in lines of this width.
    fn set(&mut self, para: &Para, look: &Look, x: f64, width: f64) -> Piled {
        let size = look.points * MM_PER_POINT;
        let step = size * look.leading;
        let chunks = self.chunks(para, look, size, width);
        let lines = textwrap::wrap_algorithms::wrap_first_fit(&chunks, &[width]);
        let mut piled = Piled::default();
        for line in lines {
            let top = piled.height;
            let base = ABOVE_BASE * step;
            let mut at = x;
            let mut run: (f64, Vec<Span>) = (at, Vec::new());
            let mut runs = Vec::new();
            for (k, chunk) in line.iter().enumerate() {
                for bit in &chunk.bits {
                    match bit {
                        Bit::Words(span, wide) => {
                            push(&mut run.1, span);
                            at += wide;
                        }
                        Bit::Blank(wide) => {
                            let ink = Ink::Rule { x: at, width: *wide, stroke: 0.25, faint: false };
                            let y = top + base + 0.4;
                            piled.items.push(Item { top: y, bottom: y + 0.25, ink });
                            at += wide;
                            runs.push(std::mem::replace(&mut run, (at, Vec::new())));
                        }
                    }
                }
                if k + 1 < line.len() && chunk.space > 0.0 {
                    if run.1.is_empty() {
                        run.0 += chunk.space;
                    } else if let Some(last) = run.1.last_mut() {
                        last.words.push(' ');
                    }
                    at += chunk.space;
                }
            }
            runs.push(run);
            for (x, spans) in runs.into_iter().filter(|(_, spans)| !spans.is_empty()) {
                let ink = Ink::Words { x, base, points: look.points, spans, end: false };
                piled.items.push(Item { top, bottom: top + step, ink });
            }
            piled.height = top + step;
        }
        piled
    }

    /// A paragraph in pieces that no line end parts.
    fn chunks(&mut self, para: &Para, look: &Look, size: f64, most: f64) -> Vec<Chunk> {
        let mut chunks: Vec<Chunk> = Vec::new();
        let mut chunk = Chunk::default();
        for piece in &para.pieces {
            let (words, bold, soft) = match piece {
                Piece::Blank(wide) => {
                    chunk.add(Bit::Blank(*wide));
                    continue;
                }
                Piece::Words(words, face) => {
                    (words, look.bold || *face == Face::Bold, look.soft || *face == Face::Soft)
                }
            };
            let (words, lacked) = letters::drawable(words);
            self.lacked |= lacked;
            for (k, word) in words.split(' ').enumerate() {
                if k > 0 {
                    chunk.space = letters::width(" ", bold) * size;
                    chunks.push(std::mem::take(&mut chunk));
                }
                let mut rest = String::new();
                for c in word.chars() {
                    rest.push(c);
                    // A word that fills a line is parted anywhere.
                    if chunk.width + letters::width(&rest, bold) * size > most {
                        let overhang = rest.pop();
                        if !rest.is_empty() {
                            let wide = letters::width(&rest, bold) * size;
                            chunk.add(Bit::Words(
                                Span { words: std::mem::take(&mut rest), bold, soft },
                                wide,
                            ));
                        }
                        chunks.push(std::mem::take(&mut chunk));
                        rest.extend(overhang);
                    }
                }
                if !rest.is_empty() {
                    let wide = letters::width(&rest, bold) * size;
                    chunk.add(Bit::Words(Span { words: rest, bold, soft }, wide));
                }
            }
        }
        chunks.push(chunk);
        chunks
    }
}

/// Spans of one look are one.
fn push(spans: &mut Vec<Span>, span: &Span) {
    match spans.last_mut() {
        Some(last) if last.bold == span.bold && last.soft == span.soft => last.words.push_str(&span.words),
        _ => spans.push(span.clone()),
    }
}

#[derive(Default)]
struct Chunk {
    bits: Vec<Bit>,
    width: f64,
    space: f64,
}

enum Bit {
    Words(Span, f64),
    Blank(f64),
}

impl Chunk {
    fn add(&mut self, bit: Bit) {
        self.width += match &bit {
            Bit::Words(_, wide) | Bit::Blank(wide) => *wide,
        };
        self.bits.push(bit);
    }
}

impl std::fmt::Debug for Chunk {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} mm", self.width)
    }
}

impl textwrap::core::Fragment for Chunk {
    fn width(&self) -> f64 {
        self.width
    }

    fn whitespace_width(&self) -> f64 {
        self.space
    }

    fn penalty_width(&self) -> f64 {
        0.0
    }
}

impl Piled {
    fn add(&mut self, other: Self, y: f64) {
        for mut item in other.items {
            item.top += y;
            item.bottom += y;
            self.items.push(item);
        }
        self.height = self.height.max(y + other.height);
    }

    fn shift(&mut self, by: f64) {
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

fn drawing(drawing: &Drawing, x: f64, y: f64) -> Piled {
    let content = drawing.content.0.clone();
    let item = Item { top: y, bottom: y + drawing.height_mm, ink: Ink::Drawing { x, content } };
    Piled { items: vec![item], height: y + drawing.height_mm }
}

struct Foot<'a> {
    words: &'a str,
    page: usize,
    of: usize,
}

fn page(items: &[Item], (width, height): (f64, f64), left: f64, foot: &Foot<'_>) -> String {
    let base = height - FOOT_MM;
    let plain = |words: &str| vec![Span { words: words.to_owned(), bold: false, soft: false }];
    let number = format!("page {} of {}", foot.page, foot.of);
    let words =
        Ink::Words { x: 0.0, base: 0.0, points: SMALL_POINTS, spans: plain(foot.words), end: false };
    let number =
        Ink::Words { x: WIDTH_MM, base: 0.0, points: SMALL_POINTS, spans: plain(&number), end: true };
    // The legend may stand on another page than the plan whose hatch it shows.
    let hatched = items
        .iter()
        .any(|i| matches!(&i.ink, Ink::Drawing { content, .. } if content.contains("id=\"zone\"")));
    let document = html! {
        svg xmlns="http://www.w3.org/2000/svg" viewBox={ "0 0 " (mm(width)) " " (mm(height)) }
            width={ (mm(width)) "mm" } height={ (mm(height)) "mm" } {
            style { (PreEscaped(DRAWING_STYLE)) }
            @if !hatched { g.drawing { defs { (super::plan::zone_hatch()) } } }
            @for item in items { (ink(&item.ink, left, TOP_MM + item.top, item.bottom - item.top)) }
            (ink(&words, left, base, 0.0))
            (ink(&number, left, base, 0.0))
        }
    };
    document.into_string()
}

fn ink(ink: &Ink, left: f64, top: f64, high: f64) -> Markup {
    let colour = |faint: bool| if faint { "#a9afb6" } else { "#16191d" };
    html! {
        @match ink {
            Ink::Words { x, base, points, spans, end } => {
                text x=(mm(left + x)) y=(mm(top + base)) font-family=(letters::FAMILY)
                    font-size=(format!("{:.3}", points * MM_PER_POINT)) xml:space="preserve"
                    text-anchor=[end.then_some("end")] {
                    @for span in spans {
                        tspan font-weight=[span.bold.then_some("bold")]
                            fill=(if span.soft { "#4a5058" } else { "#16191d" }) { (span.words) }
                    }
                }
            }
            Ink::Rule { x, width, stroke, faint } => {
                rect x=(mm(left + x)) y=(mm(top)) width=(mm(*width)) height=(mm(*stroke)) fill=(colour(*faint)) {}
            }
            Ink::Frame { x, width, stroke, broken } => {
                rect x=(mm(left + x)) y=(mm(top)) width=(mm(*width)) height=(mm(high)) fill="none" stroke="#16191d"
                    stroke-width=(mm(*stroke)) stroke-dasharray=[broken.then(|| format!("{} {}", mm(4.0 * stroke), mm(2.4 * stroke)))] {}
            }
            Ink::Drawing { x, content } => {
                g.drawing transform={ "translate(" (mm(left + x)) " " (mm(top)) ")" } { (PreEscaped(content)) }
            }
        }
    }
}
