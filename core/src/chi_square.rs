//! Upper points of the chi-square distribution: what a sum of squared deviations, each in sigmas, rarely exceeds by
//! chance.

use crate::math;

/// How rarely chance alone goes beyond.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Level {
    /// Once in twenty times.
    FivePerCent,
    /// Once in a hundred times.
    OnePerCent,
    /// Once in a thousand times.
    OnePerMille,
}

/// Degrees of freedom up to which the points are tabled.
pub const TABLED: usize = 12;

impl Level {
    /// The points for 1 to 12 degrees of freedom (Abramowitz and Stegun, table 26.8).
    ///
    /// ```
    /// use nullwalk_core::chi_square::Level;
    /// const SIX: f32 = Level::OnePerMille.tabled()[6 - 1];
    /// assert_eq!(SIX, 22.4577);
    /// ```
    pub const fn tabled(self) -> [f32; TABLED] {
        match self {
            Self::FivePerCent => [
                3.84146, 5.99146, 7.81473, 9.48773, 11.0705, 12.5916, 14.0671, 15.5073, 16.919, 18.307,
                19.6751, 21.0261,
            ],
            Self::OnePerCent => [
                6.6349, 9.21034, 11.3449, 13.2767, 15.0863, 16.8119, 18.4753, 20.0902, 21.666, 23.2093,
                24.725, 26.217,
            ],
            Self::OnePerMille => [
                10.8276, 13.8155, 16.2662, 18.4668, 20.515, 22.4577, 24.3219, 26.1245, 27.8772, 29.5883,
                31.2641, 32.9095,
            ],
        }
    }

    /// The upper point of the standard normal distribution.
    const fn normal(self) -> f32 {
        match self {
            Self::FivePerCent => 1.644_854,
            Self::OnePerCent => 2.326_348,
            Self::OnePerMille => 3.090_232,
        }
    }
}

/// The upper point for so many degrees of freedom; 0 for none, where nothing can deviate.
///
/// Beyond the table it is the cube of a normal value (Wilson and Hilferty 1931), right to 0.5 %, which is a thirtieth of
/// the distribution's own width at 13 degrees of freedom and less further on.
///
/// ```
/// use nullwalk_core::chi_square::{Level, upper_point};
/// assert_eq!(upper_point(2, Level::OnePerCent), 9.21034);
/// assert!((upper_point(30, Level::FivePerCent) - 43.773).abs() < 0.02);
/// ```
pub fn upper_point(freedom: usize, level: Level) -> f32 {
    let Some(row) = freedom.checked_sub(1) else { return 0.0 };
    level.tabled().get(row).copied().unwrap_or_else(|| {
        let count = freedom as f32;
        let variance = 2.0 / (9.0 * count);
        let root = 1.0 - variance + level.normal() * math::sqrt(variance);
        count * root * root * root
    })
}
