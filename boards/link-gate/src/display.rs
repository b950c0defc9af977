//! Drawing on a display of which nothing is known.

use core::hint::black_box;

use embedded_graphics::Pixel;
use embedded_graphics::draw_target::DrawTarget;
use embedded_graphics::geometry::{OriginDimensions, Size};
use embedded_graphics::pixelcolor::BinaryColor;
use embedded_graphics::primitives::Rectangle;
use nullwalk_handset::screen;
use nullwalk_handset::view::View;

/// On a display that may be of any size, and fail.
pub fn draw(view: &View<'_>, display: &mut Unknown) {
    black_box(screen::draw(view, display).is_ok());
}

/// A display that may do anything.
pub struct Unknown;

/// The display's bus failed.
#[derive(Debug)]
pub struct Failure;

impl OriginDimensions for Unknown {
    fn size(&self) -> Size {
        black_box(Size::new(128, 64))
    }
}

impl DrawTarget for Unknown {
    type Color = BinaryColor;
    type Error = Failure;

    fn draw_iter<I: IntoIterator<Item = Pixel<BinaryColor>>>(&mut self, pixels: I) -> Result<(), Failure> {
        pixels.into_iter().for_each(|pixel| {
            black_box(pixel);
        });
        black_box(Ok(()))
    }

    fn fill_solid(&mut self, area: &Rectangle, colour: BinaryColor) -> Result<(), Failure> {
        black_box((area, colour));
        black_box(Ok(()))
    }
}
