//! How a sheet is to look: paper and units.

use crate::units;

/// What it is printed on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, clap::ValueEnum)]
pub enum Paper {
    /// 210 x 297 mm, ISO 216.
    #[default]
    A4,
    /// 8.5 x 11 in, ANSI Y14.1.
    Letter,
}

impl Paper {
    /// Width and height, millimetres.
    pub const fn size_mm(self) -> (f64, f64) {
        match self {
            Self::A4 => (210.0, 297.0),
            Self::Letter => (215.9, 279.4),
        }
    }

    /// Its name in style sheets.
    pub(super) const fn name(self) -> &'static str {
        match self {
            Self::A4 => "A4",
            Self::Letter => "letter",
        }
    }
}

/// Which units come first; the others stand beside them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, clap::ValueEnum)]
pub enum Units {
    /// Metres, then feet and inches.
    #[default]
    Metric,
    /// Feet and inches, then metres.
    Feet,
}

/// How a sheet is to look.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Options {
    /// What it is printed on.
    pub paper: Paper,
    /// Which units come first.
    pub units: Units,
}

impl Units {
    /// What stands first, and what beside it.
    fn order(self, metres: String, feet: String) -> [String; 2] {
        match self {
            Self::Metric => [metres, feet],
            Self::Feet => [feet, metres],
        }
    }

    /// A length, to the nearest.
    pub fn length(self, m: f64) -> [String; 2] {
        self.order(units::metres(m), units::feet_inches(m))
    }

    /// A clearance, which may only grow.
    pub fn up(self, m: f64) -> [String; 2] {
        self.order(units::metres_up(m), units::feet_inches_up(m))
    }

    /// A range, widened.
    pub fn range(self, low_m: f64, high_m: f64) -> [String; 2] {
        self.order(units::metres_range(low_m, high_m), units::feet_inches_range(low_m, high_m))
    }
}

/// Both in a line.
pub fn both([first, second]: &[String; 2]) -> String {
    format!("{first} / {second}")
}
