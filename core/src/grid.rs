//! The two power grids, and how far they stray.

/// A power grid by its nominal frequency.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Grid {
    /// 50 Hz.
    Fifty,
    /// 60 Hz.
    Sixty,
}

/// How far a grid strays from its nominal frequency, as a share of it (EN 50160, 50 Hz, 99.5 % of a year; from memory).
pub const STRAY: f32 = 0.01;

impl Grid {
    /// Both.
    pub const BOTH: [Self; 2] = [Self::Fifty, Self::Sixty];

    /// Nominal frequency, hertz.
    ///
    /// ```
    /// use nullwalk_core::grid::Grid;
    /// assert_eq!(Grid::BOTH.map(Grid::nominal_hz), [50.0, 60.0]);
    /// ```
    pub const fn nominal_hz(self) -> f32 {
        match self {
            Self::Fifty => 50.0,
            Self::Sixty => 60.0,
        }
    }
}
