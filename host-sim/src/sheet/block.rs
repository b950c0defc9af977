//! What a sheet says, block by block. Both the HTML and the PDF are made from this and from nothing else, so that
//! neither can say what the other does not.

use maud::Markup;

use crate::book::Verdict;
use crate::letters::{plain, shortened};

/// Longest that words of somebody else's may be; what is longer is cut, and dots tell it.
const MOST_LETTERS: usize = 400;

/// How a few words within a paragraph look.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Face {
    Plain,
    Bold,
    Soft,
}

#[derive(Debug, Clone, PartialEq)]
pub enum Piece {
    Words(String, Face),
    /// A line to write on, millimetres long.
    Blank(f64),
}

/// What a paragraph is for, which settles how it looks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    Kicker,
    Title,
    Lead,
    Summary,
    Body,
    Note,
    Cell,
    Main,
    Also,
    Big,
    /// A verdict in its own frame: plain, broken, or doubled.
    Verdict(Verdict),
    Fine,
}

/// How a paragraph looks.
#[derive(Debug, Clone, Copy)]
pub struct Look {
    /// Its class in the style sheet.
    pub class: &'static str,
    /// Height of its letters, points.
    pub points: f64,
    pub bold: bool,
    pub soft: bool,
    /// From line to line, in heights of letters.
    pub leading: f64,
    /// Room above it, millimetres.
    pub above_mm: f64,
}

impl Role {
    pub const fn look(self) -> Look {
        let (class, points, bold, soft, leading, above_mm) = match self {
            Self::Kicker => ("kicker", 9.5, false, true, 1.3, 0.0),
            Self::Title => ("title", 18.0, true, false, 1.15, 0.4),
            Self::Lead => ("lead", 10.5, false, false, 1.3, 0.6),
            Self::Summary => ("summary", 9.0, true, false, 1.35, 0.8),
            Self::Body => ("body", 9.0, false, false, 1.28, 0.5),
            Self::Note => ("note", 9.0, false, true, 1.35, 0.6),
            Self::Cell => ("cell", 8.2, false, false, 1.2, 0.0),
            Self::Main => ("main", 8.8, true, false, 1.2, 0.0),
            Self::Also => ("also", 7.6, false, true, 1.2, 0.2),
            Self::Big => ("big", 15.0, true, false, 1.05, 0.0),
            Self::Verdict(Verdict::Agree) => ("verdict", 7.6, true, false, 1.3, 0.8),
            Self::Verdict(Verdict::Doubt) => ("verdict doubt", 7.6, true, false, 1.3, 0.8),
            Self::Verdict(Verdict::Refuse) => ("verdict refuse", 7.6, true, false, 1.3, 0.8),
            Self::Fine => ("fine", 7.6, false, false, 1.2, 0.7),
        };
        Look { class, points, bold, soft, leading, above_mm }
    }
}

#[derive(Debug, Clone, PartialEq)]
pub struct Para {
    pub role: Role,
    pub pieces: Vec<Piece>,
}

impl Para {
    pub fn new(role: Role, words: &str) -> Self {
        Self { role, pieces: Vec::new() }.add(words)
    }

    fn with(mut self, words: &str, face: Face) -> Self {
        if !words.is_empty() {
            self.pieces.push(Piece::Words(plain(words), face));
        }
        self
    }

    pub fn add(self, words: &str) -> Self {
        self.with(words, Face::Plain)
    }

    pub fn bold(self, words: &str) -> Self {
        self.with(words, Face::Bold)
    }

    pub fn soft(self, words: &str) -> Self {
        self.with(words, Face::Soft)
    }

    /// Words of somebody else's, which may be of any length.
    pub fn said(self, words: &str) -> Self {
        let words = theirs(words);
        self.add(&words)
    }

    pub fn blank(mut self, width_mm: f64) -> Self {
        self.pieces.push(Piece::Blank(width_mm));
        self
    }

    /// Words, or a line to write them on where there are none, and that they are missing.
    pub fn known_or_blank(self, words: &str, width_mm: f64) -> Self {
        if words.trim().is_empty() {
            self.blank(width_mm).soft(" (not on record)")
        } else {
            let words = theirs(words);
            self.bold(&words)
        }
    }
}

/// Words of somebody else's at a length that a sheet can hold.
pub fn theirs(words: &str) -> String {
    shortened(words.trim(), MOST_LETTERS)
}

/// A drawing in millimetres. What it holds is SVG that the drawings' style sheet speaks of.
pub struct Drawing {
    pub label: String,
    pub width_mm: f64,
    pub height_mm: f64,
    pub content: Markup,
}

pub struct Column {
    pub head: &'static str,
    pub width_mm: f64,
}

/// A row of cells, and what stands below it across the table.
#[derive(Default)]
pub struct Row {
    pub cells: Vec<Vec<Para>>,
    pub detail: Vec<Para>,
}

pub struct Table {
    pub columns: Vec<Column>,
    pub rows: Vec<Row>,
}

pub enum Block {
    Para(Para),
    /// In a frame, whose line is broken or not.
    Framed {
        broken: bool,
        paras: Vec<Para>,
    },
    Heading(String),
    Drawing(Drawing),
    /// Marks with what they mean.
    Legend(Vec<(Drawing, String)>),
    Table(Table),
    /// Numbered paragraphs in two columns.
    Numbered(Vec<Para>),
    NewPage,
}

/// A sheet.
pub struct Content {
    pub title: String,
    /// Said at the foot of every page.
    pub foot: String,
    pub blocks: Vec<Block>,
}
