//! Panels: rectangles with scales, and curves in them.

use maud::{Markup, html};

use super::axis::{Axis, figure};
use super::style::{GRID, INK, Line, PAPER};
use super::words::decimal;

/// From the middle of a line of letters to its base, pixels.
const MIDDLE_PX: f64 = 4.0;

/// A rectangle with a scale along two sides. Places are in pixels from the drawing's upper left corner.
#[derive(Debug, Clone, Copy)]
pub struct Panel {
    /// Left edge.
    pub left: f64,
    /// Upper edge.
    pub top: f64,
    /// Width.
    pub width: f64,
    /// Height.
    pub height: f64,
    /// Scale along the lower edge.
    pub x: Axis,
    /// Scale along the left edge.
    pub y: Axis,
}

impl Panel {
    /// Right edge.
    pub fn right(self) -> f64 {
        self.left + self.width
    }

    /// Lower edge.
    pub fn bottom(self) -> f64 {
        self.top + self.height
    }

    /// Where a value of the lower scale stands.
    pub fn x(self, value: f64) -> f64 {
        self.left + self.x.share(value) * self.width
    }

    /// Where a value of the left scale stands.
    pub fn y(self, value: f64) -> f64 {
        self.top + (1.0 - self.y.share(value)) * self.height
    }

    /// Both scales with their lines, figures and names; below all curves.
    pub fn scales(self) -> Markup {
        let (top, bottom) = (decimal(self.top), decimal(self.bottom()));
        let (left, right) = (decimal(self.left), decimal(self.right()));
        html! {
            @for value in self.y.figures() {
                @let y = decimal(self.y(value));
                line x1=(left) x2=(right) y1=(y) y2=(y) stroke=(GRID) {}
            }
            @for value in self.x.figures() {
                @let x = decimal(self.x(value));
                line x1=(x) x2=(x) y1=(top) y2=(bottom) stroke=(GRID) {}
            }
            (self.lettering())
        }
    }

    /// Figures and names of both scales alone, for a panel that is filled.
    pub fn lettering(self) -> Markup {
        let bottom = self.bottom();
        let (middle, beside) = (self.top + self.height / 2.0, self.left - 48.0);
        html! {
            @for value in self.y.figures().into_iter().filter(|_| !self.y.label.is_empty()) {
                text x=(decimal(self.left - 6.0)) y=(decimal(self.y(value) + MIDDLE_PX)) text-anchor="end" {
                    (figure(value))
                }
            }
            @for value in self.x.figures().into_iter().filter(|_| !self.x.label.is_empty()) {
                text x=(decimal(self.x(value))) y=(decimal(bottom + 16.0)) text-anchor="middle" { (figure(value)) }
            }
            text x=(decimal(self.left + self.width / 2.0)) y=(decimal(bottom + 34.0)) text-anchor="middle" {
                (self.x.label)
            }
            text x=(decimal(beside)) y=(decimal(middle)) text-anchor="middle"
                transform={ "rotate(-90 " (decimal(beside)) " " (decimal(middle)) ")" } { (self.y.label) }
        }
    }

    /// A curve through those points that the lower scale shows.
    pub fn curve(self, points: impl IntoIterator<Item = (f64, f64)>, line: Line) -> Markup {
        let shown: Vec<String> = points
            .into_iter()
            .filter(|(x, y)| self.x.shows(*x) && y.is_finite())
            .map(|(x, y)| format!("{} {}", decimal(self.x(x)), decimal(self.y(y))))
            .collect();
        html! {
            polyline points=(shown.join(" ")) fill="none" stroke=(line.stroke) stroke-width=(line.width)
                stroke-dasharray=[line.dash_array()] stroke-linejoin="round" {}
        }
    }

    /// A column from the lower edge up to a value.
    pub fn column(self, from: f64, to: f64, value: f64, fill: &str) -> Markup {
        let (left, right, top) = (self.x(from), self.x(to), self.y(value));
        html! {
            rect x=(decimal(left)) y=(decimal(top)) width=(decimal(right - left))
                height=(decimal(self.bottom() - top)) fill=(fill) fill-opacity="0.35" stroke=(fill)
                stroke-width="0.8" {}
        }
    }

    /// A cloud of points.
    pub fn dots(self, points: impl IntoIterator<Item = (f64, f64)>, colour: &str) -> Markup {
        // Lines of no length with round ends: a tenth of the text that circles would take.
        let dot = |(x, y)| format!("M{} {}h0", decimal(self.x(x)), decimal(self.y(y)));
        let path: String = points.into_iter().filter(|(x, _)| self.x.shows(*x)).map(dot).collect();
        html! {
            path d=(path) fill="none" stroke=(colour) stroke-width="3" stroke-linecap="round"
                stroke-opacity="0.4" {}
        }
    }

    /// A value with the interval it lies in.
    pub fn whisker(self, x: f64, value: f64, (low, high): (f64, f64), line: Line) -> Markup {
        let (x, low, high) = (self.x(x), decimal(self.y(low)), decimal(self.y(high)));
        let (left, right, middle) = (decimal(x - 4.0), decimal(x + 4.0), decimal(x));
        html! {
            path d={ "M" (left) " " (low) "H" (right) "M" (left) " " (high) "H" (right) "M" (middle) " " (low) "V" (high) }
                fill="none" stroke=(line.stroke) stroke-width="1.2" stroke-dasharray=[line.dash_array()] {}
            circle cx=(middle) cy=(decimal(self.y(value))) r="3.5" fill=(PAPER) stroke=(line.stroke)
                stroke-width="1.6" {}
        }
    }

    /// The outline; above all curves.
    pub fn outline(self) -> Markup {
        html! {
            rect x=(decimal(self.left)) y=(decimal(self.top)) width=(decimal(self.width))
                height=(decimal(self.height)) fill="none" stroke=(INK) {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_find_their_place_and_never_leave_the_panel() {
        let (x, y) = (Axis::log("", 1.0, 100.0), Axis::linear("", 0.0, 10.0, 5.0));
        let panel = Panel { left: 10.0, top: 20.0, width: 200.0, height: 100.0, x, y };
        assert_eq!((panel.x(10.0), panel.y(10.0), panel.y(2.5)), (110.0, 20.0, 95.0));
        assert_eq!((panel.y(-5.0), panel.y(99.0)), (120.0, 20.0));
    }
}
