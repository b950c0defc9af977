//! Charts as SVG: panels with axes, and curves told apart by line style and words, so that they also work in
//! black and white.

mod axis;
mod mark;
mod panel;
mod round;
mod style;
mod words;

pub use axis::Axis;
pub use mark::Mark;
pub use panel::Panel;
pub use round::{plain, round_down, round_up};
pub use style::{
    BAND, BLUE, CURVES, FIRST, FOURTH, GRID, GUIDE, GUIDE_GREY, INK, LEFT, LETTERS_PX, Line, PAPER, RED,
    RIGHT, SECOND, SHADES, SKY, SMALL_PX, SOFT, SUM, THIRD, WIDTH,
};
pub use words::{decimal, document, heading, note, words};
