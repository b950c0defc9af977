//! What everything on the screen is drawn with.

use embedded_graphics::draw_target::DrawTarget;
use embedded_graphics::geometry::{Point, Size};
use embedded_graphics::pixelcolor::BinaryColor;
use embedded_graphics::primitives::Rectangle;
use u8g2_fonts::fonts;

use super::font::Face;

/// Letters for one size of screen.
#[derive(Debug, Clone, Copy)]
pub struct Letters {
    /// What is done, in the bar at the top.
    pub bar: Face,
    /// The one figure to read at arm's length,
    pub figure: Face,
    /// and its unit.
    pub unit: Face,
    /// A heading in words.
    pub heading: Face,
    /// Lines of a list.
    pub list: Face,
    /// Sentences.
    pub text: Face,
}

pub const SMALL: Letters = Letters {
    bar: Face::of::<fonts::u8g2_font_helvB08_tr>(),
    figure: Face::of::<fonts::u8g2_font_helvB18_tf>(),
    unit: Face::of::<fonts::u8g2_font_helvB12_tf>(),
    heading: Face::of::<fonts::u8g2_font_helvB12_tf>(),
    list: Face::of::<fonts::u8g2_font_helvB08_tr>(),
    text: Face::of::<fonts::u8g2_font_helvR08_tf>(),
};

pub const LARGE: Letters = Letters {
    bar: Face::of::<fonts::u8g2_font_helvB14_tr>(),
    figure: Face::of::<fonts::u8g2_font_logisoso38_tn>(),
    unit: Face::of::<fonts::u8g2_font_helvB18_tf>(),
    heading: Face::of::<fonts::u8g2_font_helvB24_tr>(),
    list: Face::of::<fonts::u8g2_font_helvB14_tr>(),
    text: Face::of::<fonts::u8g2_font_helvB12_tf>(),
};

/// From this width on letters are large.
const LARGE_FROM: u32 = 200;

/// Where a text stands on its line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    Left,
    Middle,
    Right,
}

/// Draws on a target, in one ink on one paper.
pub struct Pen<'a, D> {
    pub target: &'a mut D,
    pub letters: &'static Letters,
    pub width: i32,
    pub height: i32,
    ink: BinaryColor,
    paper: BinaryColor,
}

impl<'a, D: DrawTarget<Color = BinaryColor>> Pen<'a, D> {
    /// By night ink is light on dark paper; under the sun it is dark on light.
    pub fn new(target: &'a mut D, night: bool) -> Self {
        let size = target.bounding_box().size;
        let letters = if size.width >= LARGE_FROM { &LARGE } else { &SMALL };
        let (ink, paper) =
            if night { (BinaryColor::On, BinaryColor::Off) } else { (BinaryColor::Off, BinaryColor::On) };
        Self { target, letters, width: size.width as i32, height: size.height as i32, ink, paper }
    }

    pub fn clear(&mut self) -> Result<(), D::Error> {
        self.paint(0, 0, self.width, self.height, self.paper)
    }

    /// Whether letters are large.
    pub fn is_large(&self) -> bool {
        self.width >= LARGE_FROM as i32
    }

    /// Gaps, and the thickness of what must be seen: one pixel on a small screen, two on a large one.
    pub fn thick(&self) -> i32 {
        if self.is_large() { 2 } else { 1 }
    }

    /// Between words and the screen's edge.
    pub fn margin(&self) -> i32 {
        self.thick()
    }

    /// Exchange ink and paper, until it is done again.
    pub fn invert(&mut self) {
        (self.ink, self.paper) = (self.paper, self.ink);
    }

    fn paint(
        &mut self,
        x: i32,
        y: i32,
        width: i32,
        height: i32,
        colour: BinaryColor,
    ) -> Result<(), D::Error> {
        let size = Size::new(width.max(0) as u32, height.max(0) as u32);
        self.target.fill_solid(&Rectangle::new(Point::new(x, y), size), colour)
    }

    /// A filled area.
    pub fn fill(&mut self, x: i32, y: i32, width: i32, height: i32) -> Result<(), D::Error> {
        self.paint(x, y, width, height, self.ink)
    }

    /// An area's edge.
    pub fn frame(&mut self, x: i32, y: i32, width: i32, height: i32) -> Result<(), D::Error> {
        self.fill(x, y, width, 1)?;
        self.fill(x, y + height - 1, width, 1)?;
        self.fill(x, y, 1, height)?;
        self.fill(x + width - 1, y, 1, height)
    }

    /// A text on the base line `y`: from `x`, about it, or up to it.
    pub fn text(&mut self, face: Face, text: &str, x: i32, y: i32, side: Side) -> Result<(), D::Error> {
        let width = if side == Side::Left { 0 } else { face.width(text) };
        let from = match side {
            Side::Left => x,
            Side::Middle => x - width / 2,
            Side::Right => x - width,
        };
        face.draw(text, Point::new(from, y), self.ink, self.target)
    }

    /// A text over as many lines as it needs, the first on the base line `y`. Where the next would stand.
    pub fn wrapped(&mut self, face: Face, text: &str, y: i32) -> Result<i32, D::Error> {
        let mut y = y;
        let mut rest = text;
        while !rest.is_empty() {
            let (line, more) = rest
                .split_at_checked(face.fits(rest, self.width - 2 * self.margin()))
                .unwrap_or((rest, ""));
            self.text(face, line, self.margin(), y, Side::Left)?;
            y += face.line();
            rest = more.trim_start();
        }
        Ok(y)
    }
}
