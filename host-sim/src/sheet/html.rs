//! A sheet as one HTML file that needs nothing from outside: no script, no font, no picture.

use maud::{Markup, PreEscaped, html};

use super::block::{Block, Content, Drawing, Face, Para, Piece, Role, Table};
use super::draw::mm;
use super::options::Options;
use crate::web_page::document;

const STYLE: &str = include_str!("style.css");
pub const DRAWING_STYLE: &str = include_str!("drawing.css");

pub fn html(content: &Content, options: &Options) -> String {
    let paper = options.paper.name();
    // Words in a style sheet are escaped as CSS asks.
    let foot: String = content.foot.chars().map(|c| format!("\\{:x} ", u32::from(c))).collect();
    let page = format!(
        "@page {{ size: {paper}; margin: 10mm 14mm 12mm; \
         @bottom-left {{ content: \"{foot}\"; font: 7.5pt sans-serif; color: #16191d; }} \
         @bottom-right {{ content: \"page \" counter(page) \" of \" counter(pages); font: 7.5pt sans-serif; color: #16191d; }} }}"
    );
    let style =
        html! { style { (PreEscaped(&page)) "\n" (PreEscaped(STYLE)) (PreEscaped(DRAWING_STYLE)) } };
    let body = html! { main { @for block in &content.blocks { (one(block)) } } };
    document(&format!("Dig sheet: {}", content.title), &style, &body)
}

fn one(block: &Block) -> Markup {
    html! {
        @match block {
            Block::Para(it) => (para(it)),
            Block::Framed { broken, paras } => {
                div class=(if *broken { "framed broken" } else { "framed" }) { @for it in paras { (para(it)) } }
            }
            Block::Heading(words) => h2 { (words) },
            Block::Drawing(it) => (drawing(it, "drawing")),
            Block::Legend(items) => ul.legend {
                @for (mark, words) in items { li { (drawing(mark, "drawing swatch")) span { (words) } } }
            },
            Block::Table(it) => (table(it)),
            Block::Numbered(items) => div.numbered {
                @for (it, n) in items.iter().zip(1..) {
                    p class=(it.role.look().class) { span.number { (n) "." } (pieces(it)) }
                }
            },
            Block::NewPage => div.new-page {},
        }
    }
}

fn para(para: &Para) -> Markup {
    html! {
        @match para.role {
            Role::Title => h1 { (pieces(para)) },
            // What is framed in a line of its own still ends the line.
            Role::Verdict(_) => div { span class=(para.role.look().class) { (pieces(para)) } },
            role => p class=(role.look().class) { (pieces(para)) },
        }
    }
}

fn pieces(para: &Para) -> Markup {
    html! {
        @for piece in &para.pieces {
            @match piece {
                Piece::Words(words, Face::Plain) => (words),
                Piece::Words(words, Face::Bold) => b { (words) },
                Piece::Words(words, Face::Soft) => span.soft { (words) },
                Piece::Blank(width_mm) => span.blank style={ "width:" (mm(*width_mm)) "mm" } {},
            }
        }
    }
}

fn drawing(drawing: &Drawing, class: &str) -> Markup {
    let [width, height] = [drawing.width_mm, drawing.height_mm].map(mm);
    html! {
        svg class=(class) xmlns="http://www.w3.org/2000/svg" role=[(!drawing.label.is_empty()).then_some("img")]
            aria-label=[(!drawing.label.is_empty()).then_some(&drawing.label)]
            aria-hidden=[drawing.label.is_empty().then_some("true")]
            viewBox={ "0 0 " (width) " " (height) } width={ (width) "mm" } height={ (height) "mm" } {
            (drawing.content)
        }
    }
}

fn table(table: &Table) -> Markup {
    let total: f64 = table.columns.iter().map(|c| c.width_mm).sum();
    html! {
        div.wide {
            table {
                thead {
                    tr {
                        @for column in &table.columns {
                            th scope="col" style={ "width:" (mm(100.0 * column.width_mm / total)) "%" } { (column.head) }
                        }
                    }
                }
                @for row in &table.rows {
                    tbody {
                        tr { @for cell in &row.cells { td { @for it in cell { (para(it)) } } } }
                        @if !row.detail.is_empty() {
                            tr.detail { td colspan=(table.columns.len()) { @for it in &row.detail { (para(it)) } } }
                        }
                    }
                }
            }
        }
    }
}
