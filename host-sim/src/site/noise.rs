//! What is around besides the sonde, and what the instrument does not know of itself.

use serde::{Deserialize, Serialize};

/// Everything that is not the sonde.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Noise {
    /// Noise of coil and amplifier, as the field at the tone that would give the same voltage, pT per
    /// root hertz. White in volts. Default 5.
    pub field_pt_per_root_hz: f64,
    /// Corner of the first-order high-pass of the AC-coupled amplifier, hertz. The coils' calibrated gain
    /// and phase hold at the tone, so they contain it: the simulated filter is 1 at the tone. Default 20.
    pub high_pass_hz: f64,
    /// Draw the errors that the calibration's sigmas (`[array.calibration]`) speak of, once for each seed.
    /// Default true.
    pub calibration_error: bool,
    /// The errors drawn are so many times what the calibration claims. Default 1: it claims the truth.
    pub calibration_scale: f64,
    /// Fraction of full scale at which the chain really clips. Default: the one that the instrument knows,
    /// `front_end.rail_fraction`.
    pub true_rail_fraction: Option<f64>,
    /// The power grid. Default: none; an empty `[noise.mains]` gives the defaults at [`Mains`].
    pub mains: Option<Mains>,
    /// Impulses, as in towns. Default: none; an empty `[noise.impulses]` gives the defaults at [`Impulses`].
    pub impulses: Option<Impulses>,
    /// How the hand sways.
    pub sway: Sway,
    /// The Earth's field, in which swaying coils make slow voltages.
    pub earth: Earth,
    /// The errors of position, compass and tilt sensor.
    pub track: Track,
}

impl Default for Noise {
    fn default() -> Self {
        Self {
            field_pt_per_root_hz: 5.0,
            high_pass_hz: 20.0,
            calibration_error: true,
            calibration_scale: 1.0,
            true_rail_fraction: None,
            mains: None,
            impulses: None,
            sway: Sway::default(),
            earth: Earth::default(),
            track: Track::default(),
        }
    }
}

/// Hum of the power grid: a comb of harmonics of one slowly wandering frequency.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Mains {
    /// Frequency of the grid, hertz. Default 50.
    pub frequency_hz: f64,
    /// Standard deviation of its wandering, hertz. Default 0.02; EN 50160 allows 0.5 (from memory).
    pub wander_hz: f64,
    /// Time over which it wanders, seconds. Default 20.
    pub wander_s: f64,
    /// Steady drift besides, hertz per second. Default 0.
    pub drift_hz_per_s: f64,
    /// Peak field of the first, second, third ... harmonic, tesla, the same everywhere on the site. Those
    /// above 0.95 of the Nyquist frequency are left out, as the converter's filter would. Default: 40 nT
    /// falling to 4 pT at the 40th, odd harmonics well above even ones. Invented, but of the usual kind. Empty where
    /// nothing hums but the lines with `mains_a`.
    pub harmonics_t: Vec<f64>,
    /// Bearing of this field, degrees clockwise from north. Default 35.
    pub bearing_deg: f64,
    /// Elevation of this field above the horizon, degrees. Default 40.
    pub elevation_deg: f64,
    /// A long straight cable near by. Default: none.
    pub line: Option<HumLine>,
}

impl Default for Mains {
    fn default() -> Self {
        // Odd harmonics fall with the 1.7th power of their order, even ones are 30 dB lower. Currents of
        // real appliances differ hugely; this is a plausible shape, not a measurement.
        let harmonic = |n: i32| {
            let falling = 40e-9 * f64::from(n).powf(-1.7);
            if n % 2 == 1 { falling } else { falling * 0.03 }
        };
        Self {
            frequency_hz: 50.0,
            wander_hz: 0.02,
            wander_s: 20.0,
            drift_hz_per_s: 0.0,
            harmonics_t: (1..=40).map(harmonic).collect(),
            bearing_deg: 35.0,
            elevation_deg: 40.0,
            line: None,
        }
    }
}

/// A long straight cable on the same grid, with a field that falls with distance.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct HumLine {
    /// East coordinate of any point on the cable, metres. Default 3.
    pub east_m: f64,
    /// North coordinate of that point, metres. Default 0.
    pub north_m: f64,
    /// Depth below ground, metres; negative: overhead. Default 0.6.
    pub depth_m: f64,
    /// Bearing of the cable, degrees clockwise from north. Default 0.
    pub bearing_deg: f64,
    /// Peak current of the first harmonic that does not return near by, amperes. The other harmonics
    /// stand to it as in `harmonics_t`. Default 0.2.
    pub current_a: f64,
}

impl Default for HumLine {
    fn default() -> Self {
        Self { east_m: 3.0, north_m: 0.0, depth_m: 0.6, bearing_deg: 0.0, current_a: 0.2 }
    }
}

/// Impulses: ringing bursts that arrive at random, the same field everywhere on the site.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Impulses {
    /// Mean number in a second. Default 1.
    pub rate_per_s: f64,
    /// Median peak, as the field at the tone that would give the same voltage, tesla. Default 2e-9.
    pub median_t: f64,
    /// Spread of the peaks about the median, decibels (log-normal standard deviation). Default 8.
    pub spread_db: f64,
    /// Time until an impulse has rung down by 40 dB, seconds. Default 0.005.
    pub length_s: f64,
}

impl Default for Impulses {
    fn default() -> Self {
        Self { rate_per_s: 1.0, median_t: 2e-9, spread_db: 8.0, length_s: 0.005 }
    }
}

/// How the mast sways in the hand.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Sway {
    /// Standard deviation of pitch and of roll, degrees. Default 1.5.
    pub rms_deg: f64,
    /// Rate of swaying, hertz. Default 0.6.
    pub rate_hz: f64,
    /// Jolt of every footfall: peak pitch, degrees. Default 0.2.
    pub footfall_deg: f64,
}

impl Default for Sway {
    fn default() -> Self {
        Self { rms_deg: 1.5, rate_hz: 0.6, footfall_deg: 0.2 }
    }
}

/// The Earth's static field, in which swaying coils make slow voltages.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Earth {
    /// Strength, tesla. Default 50e-6.
    pub field_t: f64,
    /// Dip below the horizon towards north, degrees. Default 65.
    pub dip_deg: f64,
}

impl Default for Earth {
    fn default() -> Self {
        Self { field_t: 50e-6, dip_deg: 65.0 }
    }
}

/// The errors of position, compass and tilt sensor.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Track {
    /// Whether there is a position sensor. Default true.
    pub position: bool,
    /// Whether there is a compass. Default true.
    pub heading: bool,
    /// Whether there is a tilt sensor. Default true.
    pub tilt: bool,
    /// White noise of each coordinate, metres. Default 0.005.
    pub white_m: f64,
    /// Standard deviation of each coordinate's slow wandering, metres (an Ornstein-Uhlenbeck process).
    /// Default 0.02.
    pub wander_m: f64,
    /// Time over which it wanders, seconds. Default 20.
    pub wander_s: f64,
    /// White noise of the height, metres. Default 0.005. Height wanders not at all: it is meant to come
    /// from the way the mast is carried, not from a satellite.
    pub up_m: f64,
    /// Standard deviation of the compass error, drawn once for each seed, degrees. Default 1.
    pub heading_deg: f64,
    /// White noise of pitch and roll, degrees. Default 0.2.
    pub tilt_deg: f64,
    /// The standard uncertainty that the position sensor claims, metres. Default: the true one, white and
    /// wandering parts together, but at least 0.001.
    pub claimed_sigma_m: Option<f64>,
}

impl Default for Track {
    fn default() -> Self {
        Self {
            position: true,
            heading: true,
            tilt: true,
            white_m: 0.005,
            wander_m: 0.02,
            wander_s: 20.0,
            up_m: 0.005,
            heading_deg: 1.0,
            tilt_deg: 0.2,
            claimed_sigma_m: None,
        }
    }
}

impl Track {
    /// The standard uncertainty that readings of the position carry, metres.
    pub fn sigma_m(&self) -> f64 {
        self.claimed_sigma_m.unwrap_or_else(|| self.white_m.hypot(self.wander_m).max(0.001))
    }
}
