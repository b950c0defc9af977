//! Signs that the field is not that of one sonde alone, each a number that says how strong the sign is.

use super::Reason;

/// A sign of a field that no single sonde makes, or of an instrument that is not what it is taken for.
///
/// None of them is proof of a clean field: a neighbour in step and of one's own strength shows in few of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Clue {
    /// Depths by different methods do not go together: chi-square of all of them.
    MethodsApart,
    /// The peak and the nulls of the lanes point elsewhere than the fit of the whole walk.
    PeakOffNull,
    /// The fit of the walk leaves more over than noise and known errors explain.
    Residuals,
    /// Much of the walk is not explained by the dipole that explains the rest.
    Outliers,
    /// The hold does not see the field that the dipole of the walk makes there: it fades, or is none.
    HoldOff,
    /// Part of the field is out of step.
    OutOfStep,
    /// The field does not weaken upwards with the inverse cube of the distance.
    Exponent,
    /// The two extrema of the vertical field are not as different as the sonde's pitch makes them.
    Asymmetry,
    /// The sonde is not as strong as on the bench.
    Strength,
}

impl Clue {
    /// All clues, in the order of [`Clues`].
    pub const ALL: [Self; 9] = [
        Self::MethodsApart,
        Self::PeakOffNull,
        Self::Residuals,
        Self::Outliers,
        Self::HoldOff,
        Self::OutOfStep,
        Self::Exponent,
        Self::Asymmetry,
        Self::Strength,
    ];

    /// Machine code, stable between versions.
    pub const fn code(self) -> &'static str {
        match self {
            Self::MethodsApart => "methods-apart",
            Self::PeakOffNull => "peak-off-null",
            Self::Residuals => "residuals",
            Self::Outliers => "outliers",
            Self::HoldOff => "hold-off",
            Self::OutOfStep => "out-of-step",
            Self::Exponent => "exponent",
            Self::Asymmetry => "asymmetry",
            Self::Strength => "strength",
        }
    }

    /// The doubt that a clue raises when it is above its limit.
    pub const fn reason(self) -> Reason {
        match self {
            Self::MethodsApart => Reason::MethodsDisagree,
            Self::OutOfStep => Reason::Elliptical,
            Self::Strength => Reason::StrengthDiffers,
            _ => Reason::BentField,
        }
    }
}

/// Every clue's statistic over its limit, in the order of [`Clue::ALL`]: above 1 it raises a doubt. `None` where there
/// was nothing to judge by.
pub type Clues = [Option<f32>; 9];
