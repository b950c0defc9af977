//! A picture in memory, a bit for each pixel: for boards whose display wants whole frames, and for looking at.

use core::convert::Infallible;

use embedded_graphics::Pixel;
use embedded_graphics::draw_target::DrawTarget;
use embedded_graphics::geometry::{OriginDimensions, Point, Size};
use embedded_graphics::pixelcolor::BinaryColor;
use embedded_graphics::primitives::Rectangle;

/// A picture of `ROWS` rows with `ROW_BYTES` bytes each: the first pixel of a row is the highest bit of its first byte.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Canvas<const ROW_BYTES: usize, const ROWS: usize> {
    rows: [[u8; ROW_BYTES]; ROWS],
}

impl<const ROW_BYTES: usize, const ROWS: usize> Canvas<ROW_BYTES, ROWS> {
    /// All dark.
    pub const fn new() -> Self {
        Self { rows: [[0; ROW_BYTES]; ROWS] }
    }

    /// The rows, from the top.
    pub const fn rows(&self) -> &[[u8; ROW_BYTES]; ROWS] {
        &self.rows
    }

    /// Whether a pixel is lit.
    pub fn is_lit(&self, x: usize, y: usize) -> bool {
        let byte = self.rows.get(y).and_then(|row| row.get(x / 8));
        byte.is_some_and(|byte| byte & 0x80 >> (x % 8) != 0)
    }

    fn set(&mut self, at: Point, colour: BinaryColor) {
        let (Ok(x), Ok(y)) = (usize::try_from(at.x), usize::try_from(at.y)) else { return };
        if let Some(byte) = self.rows.get_mut(y).and_then(|row| row.get_mut(x / 8)) {
            let bit = 0x80 >> (x % 8);
            *byte = if colour.is_on() { *byte | bit } else { *byte & !bit };
        }
    }
}

impl<const ROW_BYTES: usize, const ROWS: usize> Default for Canvas<ROW_BYTES, ROWS> {
    fn default() -> Self {
        Self::new()
    }
}

impl<const ROW_BYTES: usize, const ROWS: usize> OriginDimensions for Canvas<ROW_BYTES, ROWS> {
    fn size(&self) -> Size {
        Size::new(8 * ROW_BYTES as u32, ROWS as u32)
    }
}

impl<const ROW_BYTES: usize, const ROWS: usize> DrawTarget for Canvas<ROW_BYTES, ROWS> {
    type Color = BinaryColor;
    type Error = Infallible;

    fn draw_iter<I: IntoIterator<Item = Pixel<BinaryColor>>>(
        &mut self,
        pixels: I,
    ) -> Result<(), Infallible> {
        pixels.into_iter().for_each(|Pixel(at, colour)| self.set(at, colour));
        Ok(())
    }

    /// Whole bytes at a time.
    fn fill_solid(&mut self, area: &Rectangle, colour: BinaryColor) -> Result<(), Infallible> {
        let clip = |from: i32, length: u32, most: usize| {
            let to = from.saturating_add(i32::try_from(length).unwrap_or(i32::MAX));
            (from.clamp(0, most as i32) as usize, to.clamp(0, most as i32) as usize)
        };
        let (left, right) = clip(area.top_left.x, area.size.width, 8 * ROW_BYTES);
        let (top, bottom) = clip(area.top_left.y, area.size.height, ROWS);
        let fill = if colour.is_on() { 0xFF } else { 0 };
        let (first, last) = (left / 8, right / 8);
        let (head, tail) = (0xFF_u8 >> (left % 8), !(0xFF_u8 >> (right % 8)));
        for row in self.rows.get_mut(top..bottom).unwrap_or_default() {
            let paint = |byte: &mut u8, mask: u8| *byte = *byte & !mask | fill & mask;
            if first == last {
                row.get_mut(first).into_iter().for_each(|byte| paint(byte, head & tail));
                continue;
            }
            row.get_mut(first).into_iter().for_each(|byte| paint(byte, head));
            row.get_mut(first + 1..last).unwrap_or_default().fill(fill);
            row.get_mut(last).into_iter().for_each(|byte| paint(byte, tail));
        }
        Ok(())
    }
}
