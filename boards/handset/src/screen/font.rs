//! Letters: the fonts of u8g2, read without a way to panic.

use core::cmp::min;

use embedded_graphics::draw_target::DrawTarget;
use embedded_graphics::geometry::{Point, Size};
use embedded_graphics::primitives::Rectangle;
use u8g2_fonts::Font;

/// Bytes before the first glyph.
const HEAD: usize = 23;
/// More glyphs than any of these fonts has: a search ends there.
const MOST_GLYPHS: usize = 256;

/// A font. The layout of its bytes is that of u8g2 (its wiki, page "u8g2fontformat"; from memory, and every letter is
/// in the pictures of the screens).
#[derive(Debug, Clone, Copy)]
pub struct Face(&'static [u8]);

impl Face {
    pub const fn of<F: Font>() -> Self {
        Self(F::DATA)
    }

    fn byte(self, at: usize) -> u8 {
        self.0.get(at).copied().unwrap_or(0)
    }

    fn word(self, at: usize) -> usize {
        usize::from(u16::from_be_bytes([self.byte(at), self.byte(at + 1)]))
    }

    /// Height of a capital above the base line, pixels.
    pub fn capital(self) -> i32 {
        i32::from(self.byte(13) as i8)
    }

    /// From one base line to the next.
    pub fn line(self) -> i32 {
        let below = i32::from(self.byte(14) as i8);
        self.capital() - below
    }

    /// Width of a text, pixels.
    pub fn width(self, text: &str) -> i32 {
        text.chars().filter_map(|letter| self.glyph(letter)).map(|glyph| glyph.advance).sum()
    }

    /// How many bytes of a text fit a width, broken between words. At least one word.
    pub fn fits(self, text: &str, width: i32) -> usize {
        let mut fitting = 0;
        let mut used = 0;
        for (at, letter) in text.char_indices() {
            if letter == ' ' {
                fitting = at;
            }
            used += self.glyph(letter).map_or(0, |glyph| glyph.advance);
            if used > width && fitting > 0 {
                return fitting;
            }
        }
        text.len()
    }

    /// Draw a text from a point on its base line.
    pub fn draw<D: DrawTarget>(
        self,
        text: &str,
        mut at: Point,
        ink: D::Color,
        target: &mut D,
    ) -> Result<(), D::Error> {
        for glyph in text.chars().filter_map(|letter| self.glyph(letter)) {
            let advance = glyph.advance;
            glyph.draw(at, ink, target)?;
            at.x += advance;
        }
        Ok(())
    }

    fn glyph(self, letter: char) -> Option<Glyph> {
        let code = u8::try_from(u32::from(letter)).ok()?;
        let mut at = HEAD
            + match code {
                b'a'.. => self.word(19),
                b'A'.. => self.word(17),
                _ => 0,
            };
        for _ in 0..MOST_GLYPHS {
            let length = usize::from(self.byte(at + 1));
            if length == 0 {
                return None;
            }
            if self.byte(at) == code {
                return Some(self.open(at + 2));
            }
            at += length;
        }
        None
    }

    fn open(self, at: usize) -> Glyph {
        let mut bits = Bits { face: self, at: 8 * at };
        let (width, height) = (i32::from(bits.take(self.byte(4))), i32::from(bits.take(self.byte(5))));
        let left = bits.take_signed(self.byte(6));
        let bottom = bits.take_signed(self.byte(7));
        let advance = bits.take_signed(self.byte(8));
        Glyph { bits, width, height, left, bottom, advance }
    }
}

/// Numbers of a few bits each, the lowest bit first.
#[derive(Clone, Copy)]
struct Bits {
    face: Face,
    at: usize,
}

impl Bits {
    fn take(&mut self, bits: u8) -> u8 {
        let bits = min(bits, 8);
        let (byte, shift) = (self.at / 8, self.at % 8);
        let pair = u16::from_le_bytes([self.face.byte(byte), self.face.byte(byte + 1)]);
        self.at += usize::from(bits);
        (pair >> shift) as u8 & ((1_u16 << bits) - 1) as u8
    }

    fn take_signed(&mut self, bits: u8) -> i32 {
        i32::from(self.take(bits)) - (1 << (min(bits, 8).max(1) - 1))
    }
}

/// One letter: runs of paper and ink, row by row.
struct Glyph {
    bits: Bits,
    width: i32,
    height: i32,
    left: i32,
    bottom: i32,
    advance: i32,
}

impl Glyph {
    fn draw<D: DrawTarget>(mut self, at: Point, ink: D::Color, target: &mut D) -> Result<(), D::Error> {
        let top_left = Point::new(at.x + self.left, at.y - self.height - self.bottom);
        let (mut x, mut y) = (0, 0);
        while y < self.height && self.width > 0 {
            let paper = i32::from(self.bits.take(self.bits.face.byte(2)));
            let inked = i32::from(self.bits.take(self.bits.face.byte(3)));
            // No run is longer than the letter; an empty pair would go on for ever.
            if paper + inked == 0 {
                break;
            }
            loop {
                (x, y) = self.step(x, y, paper);
                let mut left = inked;
                while left > 0 && y < self.height {
                    let run = min(left, self.width - x);
                    let area = Rectangle::new(top_left + Point::new(x, y), Size::new(run as u32, 1));
                    target.fill_solid(&area, ink)?;
                    left -= run;
                    (x, y) = self.step(x, y, run);
                }
                if y >= self.height || self.bits.take(1) == 0 {
                    break;
                }
            }
        }
        Ok(())
    }

    /// So many pixels on, in rows as wide as the letter.
    fn step(&self, x: i32, y: i32, by: i32) -> (i32, i32) {
        let (mut x, mut y) = (x + by, y);
        while x >= self.width {
            (x, y) = (x - self.width, y + 1);
        }
        (x, y)
    }
}
