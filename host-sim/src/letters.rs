//! The letters of everything that is drawn: an open font that travels with the program, so that a file looks the same
//! wherever it was made.

use std::sync::{Arc, LazyLock};

use resvg::usvg::fontdb::{Database, Source};
use ttf_parser::Face;

/// The font's family.
pub const FAMILY: &str = "Liberation Sans";

/// Under the SIL Open Font License, which stands beside them.
pub static REGULAR: &[u8] = include_bytes!("../fonts/LiberationSans-Regular.ttf");
pub static BOLD: &[u8] = include_bytes!("../fonts/LiberationSans-Bold.ttf");

/// Stands for a letter that the font lacks.
const LACKING: char = '\u{25a1}';

struct Measure {
    regular: Option<Face<'static>>,
    bold: Option<Face<'static>>,
}

static MEASURE: LazyLock<Measure> =
    LazyLock::new(|| Measure { regular: Face::parse(REGULAR, 0).ok(), bold: Face::parse(BOLD, 0).ok() });

static DATABASE: LazyLock<Arc<Database>> = LazyLock::new(|| {
    let mut database = Database::new();
    for data in [REGULAR, BOLD] {
        database.load_font_source(Source::Binary(Arc::new(data)));
    }
    database.set_sans_serif_family(FAMILY);
    Arc::new(database)
});

/// The fonts as SVG is drawn with.
pub fn database() -> Arc<Database> {
    Arc::clone(&DATABASE)
}

/// Width of words, in heights of their letters. Kerning is left out, which makes them a little narrower.
pub fn width(words: &str, bold: bool) -> f64 {
    let face = if bold { &MEASURE.bold } else { &MEASURE.regular };
    let Some(face) = face else { return 0.6 * words.chars().count() as f64 };
    let per_em = f64::from(face.units_per_em());
    let advance = |c: char| {
        let glyph = face.glyph_index(c).or_else(|| face.glyph_index(LACKING));
        glyph.and_then(|g| face.glyph_hor_advance(g)).map_or(0.6, |a| f64::from(a) / per_em)
    };
    words.chars().map(advance).sum()
}

/// Words in letters that the font has, and whether any had to be replaced.
pub fn drawable(words: &str) -> (String, bool) {
    let has = |c: char| MEASURE.regular.as_ref().is_some_and(|face| face.glyph_index(c).is_some());
    let mut lacked = false;
    let drawn = words.chars().map(|c| {
        if has(c) {
            c
        } else {
            lacked = true;
            LACKING
        }
    });
    (drawn.collect(), lacked)
}

/// Words that every format can carry: without control characters, what XML cannot write, and marks that would turn the
/// order of what follows them.
pub fn plain(words: &str) -> String {
    let turns =
        |c: char| matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    words.chars().filter(|c| !turns(*c)).map(in_xml).collect()
}

/// A blank for a character that XML 1.0 has no way to write, as it has for most control characters.
pub fn in_xml(c: char) -> char {
    if c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}') { ' ' } else { c }
}

/// Words of so many characters at most; what is cut is told by dots.
pub fn shortened(words: &str, most: usize) -> String {
    let words = plain(words);
    if words.chars().count() <= most {
        return words;
    }
    let kept: String = words.chars().take(most.saturating_sub(1)).collect();
    format!("{}\u{2026}", kept.trim_end())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn letters_are_as_wide_as_the_font_says() {
        // Liberation Sans has the widths of Helvetica: digits 556 and a space 278 of 1000 (Adobe Core 14 AFM, from memory).
        assert!((width("00", false) - 1.112).abs() < 0.001);
        assert!((width(" ", true) - 0.278).abs() < 0.001);
        assert!(width("W", true) > width("W", false) - 1e-9);
    }

    #[test]
    fn what_cannot_be_drawn_is_replaced_and_said() {
        assert_eq!(
            drawable("Hof 3, \u{440}\u{443}\u{431} ±"),
            ("Hof 3, \u{440}\u{443}\u{431} ±".to_owned(), false)
        );
        assert_eq!(drawable("井 1"), ("□ 1".to_owned(), true));
        assert_eq!(plain("a\u{0}b\u{202e}c\n"), "a bc ");
        assert_eq!(shortened("abcdef", 4), "abc…");
    }
}
