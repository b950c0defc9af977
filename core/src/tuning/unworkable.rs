//! Why a plan cannot work.

use super::{Image, Neighbour};
use crate::error::ConfigError;

/// Why a plan cannot work.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Unworkable {
    /// A parameter is not within its range.
    Parameter(ConfigError),
    /// The tone is above half the sampling rate, and nothing is meant to fold it down.
    Folds {
        /// Where it would land, hertz.
        lands_hz: f32,
    },
    /// The tone lands too near to zero.
    NearZero {
        /// Where it lands, hertz.
        lands_hz: f32,
    },
    /// The tone lands too near to half the sampling rate, where its mirror image cannot be told from it.
    NearNyquist {
        /// Where it lands, hertz.
        lands_hz: f32,
    },
    /// What the mixer makes is above half the sampling rate.
    MixedTooHigh {
        /// The difference frequency, hertz.
        difference_hz: f32,
    },
    /// A filter takes off the tone itself.
    OutsideBand {
        /// How much, decibels.
        loss_db: f32,
    },
    /// Too little is taken off something else that lands on the same place.
    Image(Image),
    /// A harmonic of the mains stands within the window.
    Harmonic(Neighbour),
}

impl From<ConfigError> for Unworkable {
    fn from(error: ConfigError) -> Self {
        Self::Parameter(error)
    }
}

impl Unworkable {
    /// What is wrong and what to do, without the numbers: those need room and a formatter that a handset has not.
    ///
    /// ```
    /// use nullwalk_core::tuning::Unworkable;
    /// let told = Unworkable::NearNyquist { lands_hz: 8192.0 }.sentence();
    /// assert!(told.starts_with("The tone lands within 10 Hz of half the sampling rate"));
    /// ```
    pub const fn sentence(&self) -> &'static str {
        match self {
            Self::Parameter(_) => "A setting is out of its range.",
            Self::Folds { .. } => {
                "The tone is above half the sampling rate. Sample faster, or undersample behind a band-pass."
            }
            Self::NearZero { .. } => {
                "The tone lands below 50 Hz in the samples. Choose another sampling rate or oscillator."
            }
            Self::NearNyquist { .. } => {
                "The tone lands within 10 Hz of half the sampling rate, where its mirror image cannot be told from it. \
                 Choose another sampling rate or oscillator."
            }
            Self::MixedTooHigh { .. } => {
                "The mixer's difference frequency is above half the sampling rate. Move the oscillator nearer to the tone."
            }
            Self::OutsideBand { .. } => "The filters take off the tone itself. Move their corners.",
            Self::Image(_) => {
                "Another frequency lands on the same place and too little is taken off it. Filter more sharply."
            }
            Self::Harmonic(_) => {
                "A harmonic of the mains stands on what is listened to. Choose another tone or sampling rate."
            }
        }
    }
}
