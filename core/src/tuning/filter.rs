//! What a filter in front of the converter takes off.

use core::f32::consts::LN_10;

use crate::error::ConfigError;
use crate::math;

/// Decibels of a power ratio from its natural logarithm.
const DB: f32 = 10.0 / LN_10;
/// No filter is believed to take off more, decibels: around it, signals find another way.
const MOST_DB: f32 = 120.0;

/// A filter by its textbook shape.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Filter {
    /// None: everything passes.
    None,
    /// Butterworth low-pass.
    LowPass {
        /// Frequency at which 3 dB are taken off, hertz.
        corner_hz: f32,
        /// Number of poles, 1 to 12.
        order: u8,
    },
    /// Butterworth band-pass.
    BandPass {
        /// Lower frequency at which 3 dB are taken off, hertz.
        low_hz: f32,
        /// Upper one.
        high_hz: f32,
        /// Number of poles of the low-pass that it is made from, 1 to 12: each edge falls by 6 dB per octave for each.
        order: u8,
    },
    /// The decimation filter of a delta-sigma converter: zeros at all multiples of the sampling rate.
    Sinc {
        /// How many boxcars stand one behind the other, 1 to 5; three in most parts.
        order: u8,
    },
}

impl Filter {
    /// Complain of what cannot be.
    pub(super) fn check(self) -> Result<(), ConfigError> {
        let (order, most, sound) = match self {
            Self::None => return Ok(()),
            Self::LowPass { corner_hz, order } => (order, 12, corner_hz > 0.0 && corner_hz.is_finite()),
            Self::BandPass { low_hz, high_hz, order } => {
                (order, 12, low_hz > 0.0 && high_hz > low_hz && high_hz.is_finite())
            }
            Self::Sinc { order } => (order, 5, true),
        };
        let remedy = "must be 1 to 12, of a sinc 1 to 5";
        ConfigError::unless((1..=most).contains(&order), "front_end.order", remedy)?;
        ConfigError::unless(sound, "front_end.corners", "must be above 0 Hz, the lower below the upper")
    }

    /// What the filter takes off, decibels: 3.01 at the corners, at most 120.
    ///
    /// Butterworth: 10 lg(1 + x^2n) with x = f / corner, or (f^2 - low high) / (f (high - low)) for the band-pass
    /// (Butterworth 1930; Zverev, *Handbook of Filter Synthesis*; both from memory). Sinc: Hogenauer 1981, IEEE ASSP-29:155.
    ///
    /// ```
    /// use nullwalk_core::tuning::Filter;
    /// let filter = Filter::BandPass { low_hz: 30_000.0, high_hz: 36_000.0, order: 2 };
    /// assert!((filter.loss_db(30_000.0, 48_000.0) - 3.01).abs() < 0.01);
    /// assert!(filter.loss_db(32_768.0, 48_000.0) < 0.01 && filter.loss_db(15_232.0, 48_000.0) > 35.0);
    /// assert!((Filter::Sinc { order: 3 }.loss_db(7488.0, 8000.0) - 70.1).abs() < 0.1);
    /// ```
    pub fn loss_db(self, hz: f32, rate_hz: f32) -> f32 {
        let butterworth = |x: f32, order: u8| {
            let exponent = 2.0 * f32::from(order) * math::ln(x.abs());
            // Beyond this the one does not matter.
            if exponent > 20.0 { DB * exponent } else { DB * math::ln(1.0 + math::exp(exponent)) }
        };
        let loss_db = match self {
            Self::None => 0.0,
            Self::LowPass { corner_hz, order } => butterworth(hz / corner_hz, order),
            Self::BandPass { low_hz, high_hz, order } => {
                butterworth((hz * hz - low_hz * high_hz) / (hz * (high_hz - low_hz)), order)
            }
            Self::Sinc { order } => {
                let x = core::f32::consts::PI * hz / rate_hz;
                let sine = math::sin_cos(math::wrap_half_pi(x)).0;
                if x.abs() < 1e-3 { 0.0 } else { -f32::from(order) * math::db((sine / x).abs()) }
            }
        };
        if loss_db < MOST_DB { loss_db } else { MOST_DB }
    }
}
