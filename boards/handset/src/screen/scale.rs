//! Linear scales: the bearing strip and the offset bar.

use embedded_graphics::draw_target::DrawTarget;
use embedded_graphics::pixelcolor::BinaryColor;

use super::pen::Pen;

/// Steps from the middle of a scale to either end.
const STEPS: i32 = 6;
/// What the offset bar may reach to, metres.
const FULL_M: [f32; 6] = [0.5, 1.0, 2.0, 5.0, 10.0, 20.0];

/// A horizontal scale from -1 to 1 across the screen, and where on it something is.
pub struct Scale {
    pub y: i32,
    pub height: i32,
    pub share: f32,
}

/// The reach of the offset bar for something this far aside.
pub fn full_m(aside_m: f32) -> f32 {
    FULL_M.into_iter().find(|full| aside_m.abs() <= *full).unwrap_or(20.0)
}

/// The reach in words.
pub fn end_label(full_m: f32) -> &'static str {
    match full_m {
        f if f <= 0.5 => "0.5",
        f if f <= 1.0 => "1",
        f if f <= 2.0 => "2",
        f if f <= 5.0 => "5",
        f if f <= 10.0 => "10",
        _ => "20",
    }
}

impl Scale {
    /// A block on the strip of degrees.
    pub fn draw_bearing<D: DrawTarget<Color = BinaryColor>>(
        &self,
        pen: &mut Pen<'_, D>,
    ) -> Result<(), D::Error> {
        self.ticks(pen)?;
        let half = 3 * pen.thick();
        let x = self.x(pen).min(pen.width - half - 1).max(half);
        pen.fill(x - half, self.y + pen.thick(), 2 * half + 1, self.height - 3 * pen.thick())
    }

    /// A bar from the middle.
    pub fn draw_offset<D: DrawTarget<Color = BinaryColor>>(
        &self,
        pen: &mut Pen<'_, D>,
    ) -> Result<(), D::Error> {
        self.ticks(pen)?;
        let (middle, x) = (pen.width / 2, self.x(pen));
        let (from, to) = if x < middle { (x, middle) } else { (middle, x) };
        pen.fill(from, self.y, to - from + 1, self.height - 2 * pen.thick())
    }

    fn ticks<D: DrawTarget<Color = BinaryColor>>(&self, pen: &mut Pen<'_, D>) -> Result<(), D::Error> {
        let (middle, half, thick) = (pen.width / 2, pen.width / 2 - 1, pen.thick());
        let base = self.y + self.height;
        pen.fill(0, base - thick, pen.width, thick)?;
        for step in -STEPS..=STEPS {
            let x = middle + half * step / STEPS;
            let height = if step % 3 == 0 { self.height } else { self.height / 2 };
            let width = if step == 0 { 1 + 2 * (thick - 1) } else { thick };
            pen.fill(x - width / 2, base - height, width, height)?;
        }
        Ok(())
    }

    fn x<D: DrawTarget<Color = BinaryColor>>(&self, pen: &Pen<'_, D>) -> i32 {
        let half = (pen.width / 2 - 1) as f32;
        pen.width / 2 + (half * self.share.clamp(-1.0, 1.0)) as i32
    }
}
