//! Paragraphs broken into lines.

use super::piled::{Ink, Item, Piled, Span};
use crate::letters;
use crate::sheet::block::{Face, Look, Para, Piece};

pub const MM_PER_POINT: f64 = 25.4 / 72.0;
/// Part of the leading that stands above the base line.
const ABOVE_BASE: f64 = 0.8;

/// Breaks paragraphs into lines.
#[derive(Default)]
pub struct Breaker {
    /// Whether any letter could not be drawn.
    pub lacked: bool,
}

impl Breaker {
    /// A paragraph in lines of this width.
    pub fn set(&mut self, para: &Para, look: &Look, x: f64, width: f64) -> Piled {
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
