//! Charts as SVG: panels with axes, and curves told apart by line style and words, so that they also work in
//! black and white.

mod round;
mod style;

use maud::{Markup, html};

pub use round::{plain, round_down, round_up};
pub use style::{
    BAND, BLUE, CURVES, FIRST, FOURTH, GRID, GUIDE, GUIDE_GREY, INK, LEFT, LETTERS_PX, Line, PAPER, RED,
    RIGHT, SECOND, SHADES, SKY, SMALL_PX, SOFT, SUM, THIRD, WIDTH,
};

/// A scale along one side of a panel.
#[derive(Debug, Clone, Copy)]
pub struct Axis {
    label: &'static str,
    from: f64,
    to: f64,
    log: bool,
    step: f64,
}

impl Axis {
    /// An even scale with a figure at every multiple of `step`.
    pub const fn linear(label: &'static str, from: f64, to: f64, step: f64) -> Self {
        Self { label, from, to, log: false, step }
    }

    /// An even scale with at most about so many round figures along it.
    pub fn rounded(label: &'static str, from: f64, to: f64, figures: f64) -> Self {
        Self::linear(label, from, to, round_up((to - from) / figures))
    }

    /// A logarithmic scale with figures at 1, 2 and 5 times the powers of ten; `from` must be above 0.
    pub const fn log(label: &'static str, from: f64, to: f64) -> Self {
        Self { label, from, to, log: true, step: 0.0 }
    }

    /// Whether a value lies on the scale.
    pub fn shows(self, value: f64) -> bool {
        (self.from..=self.to).contains(&value)
    }

    /// Where the scale begins.
    pub const fn start(self) -> f64 {
        self.from
    }

    /// Where the scale ends.
    pub const fn end(self) -> f64 {
        self.to
    }

    /// Where a value stands between the ends, 0 to 1; what is beyond an end is put there.
    fn share(self, value: f64) -> f64 {
        let share = if self.log {
            (value / self.from).ln() / (self.to / self.from).ln()
        } else {
            (value - self.from) / (self.to - self.from)
        };
        share.clamp(0.0, 1.0)
    }

    /// Where the scale carries figures.
    fn figures(self) -> Vec<f64> {
        if self.log {
            let decades = (self.from.log10().floor() as i32)..=(self.to.log10().ceil() as i32);
            let figures = decades.flat_map(|d| [1.0, 2.0, 5.0].map(|m| m * 10_f64.powi(d)));
            return figures.filter(|&f| self.shows(f)).collect();
        }
        let (first, last) = ((self.from / self.step - 1e-9).ceil(), (self.to / self.step + 1e-9).floor());
        (first as i32..=last as i32).map(|k| f64::from(k) * self.step).collect()
    }
}

impl Line {
    /// A sample of the line with its name, from `x` to the right.
    pub fn key(self, x: f64, y: f64, name: &str) -> Markup {
        html! {
            line x1=(decimal(x)) x2=(decimal(x + 28.0)) y1=(decimal(y)) y2=(decimal(y)) stroke=(self.stroke)
                stroke-width=(self.width) stroke-dasharray=[self.dash_array()] {}
            text x=(decimal(x + 34.0)) y=(decimal(y + 4.0)) { (name) }
        }
    }
}

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

/// What a mark looks like.
#[derive(Debug, Clone, Copy)]
pub enum Mark {
    Ring,
    Square,
    Triangle,
    Diamond,
    Cross,
}

impl Mark {
    pub fn at(self, x: f64, y: f64) -> Markup {
        let start = |dx: f64, dy: f64| format!("M{} {}", decimal(x + dx), decimal(y + dy));
        let outline = match self {
            Self::Ring => {
                return html! {
                    circle cx=(decimal(x)) cy=(decimal(y)) r="4" fill=(PAPER) stroke=(INK) stroke-width="1.2" {}
                };
            }
            Self::Square => format!("{}h7v7h-7z", start(-3.5, -3.5)),
            Self::Triangle => format!("{}l4.5 8h-9z", start(0.0, -5.0)),
            Self::Diamond => format!("{}l5 5l-5 5l-5 -5z", start(0.0, -5.0)),
            Self::Cross => format!("{}l9 9{}l9 -9", start(-4.5, -4.5), start(-4.5, 4.5)),
        };
        html! { path d=(outline) fill=(PAPER) stroke=(INK) stroke-width="1.2" {} }
    }

    /// The mark with its meaning.
    pub fn key(self, x: f64, y: f64, name: &str) -> Markup {
        html! { (self.at(x + 6.0, y)) (words("start", x + 16.0, y + 4.0, name)) }
    }
}

/// Words at a place; `anchor` is `start`, `middle` or `end`.
pub fn words(anchor: &str, x: f64, y: f64, what: &str) -> Markup {
    html! { text x=(decimal(x)) y=(decimal(y)) text-anchor=(anchor) { (what) } }
}

/// Small words at a place, on a white ground that keeps curves off them.
pub fn note(anchor: &str, x: f64, y: f64, what: &str) -> Markup {
    html! {
        text x=(decimal(x)) y=(decimal(y)) text-anchor=(anchor) font-size=(SMALL_PX) stroke=(PAPER) stroke-width="3"
            stroke-linejoin="round" paint-order="stroke" { (what) }
    }
}

/// The heading of a panel, above its left end.
pub fn heading(x: f64, y: f64, what: &str) -> Markup {
    html! { text x=(decimal(x)) y=(decimal(y)) font-weight="bold" { (what) } }
}

/// A drawing of its own, of this size in pixels.
pub fn document(width: f64, height: f64, title: &str, content: &Markup) -> String {
    let drawing = html! {
        svg xmlns="http://www.w3.org/2000/svg" viewBox={ "0 0 " (width) " " (height) } role="img"
            width=(width) height=(height) font-family=(style::letters()) font-size=(LETTERS_PX) fill=(INK) {
            title { (title) }
            rect width=(width) height=(height) fill=(PAPER) {}
            (content)
        }
    };
    drawing.into_string()
}

/// A tenth of a pixel is enough.
pub fn decimal(coordinate: f64) -> String {
    // Adding zero turns a negative zero into a plain one.
    format!("{}", (coordinate * 10.0).round() / 10.0 + 0.0)
}

/// A figure on a scale.
fn figure(value: f64) -> String {
    plain(value).replace('-', "−")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scales_carry_round_figures_and_hold_their_ends() {
        assert_eq!(Axis::rounded("", -0.3, 0.3, 6.0).figures().len(), 7);
        assert_eq!(
            Axis::rounded("", 482.0, 542.0, 6.0).figures(),
            [490.0, 500.0, 510.0, 520.0, 530.0, 540.0]
        );
        assert_eq!(Axis::log("", 0.3, 5.0).figures(), [0.5, 1.0, 2.0, 5.0]);
        assert_eq!(figure(0.1 + 0.2), "0.3");
        assert_eq!(figure(-20.0), "−20");
    }

    #[test]
    fn values_find_their_place_and_never_leave_the_panel() {
        let (x, y) = (Axis::log("", 1.0, 100.0), Axis::linear("", 0.0, 10.0, 5.0));
        let panel = Panel { left: 10.0, top: 20.0, width: 200.0, height: 100.0, x, y };
        assert_eq!((panel.x(10.0), panel.y(10.0), panel.y(2.5)), (110.0, 20.0, 95.0));
        assert_eq!((panel.y(-5.0), panel.y(99.0)), (120.0, 20.0));
    }
}
