//! Which boxcars were hit by an impulse.
//!
//! Every boxcar is foretold from the one a hop (0.1 s) earlier: a whole number of periods of both 50 and
//! 60 Hz, so the mains repeat, and the tone is known from the last output. An impulse is a boxcar that
//! departs from this far more than boxcars usually do. Longer disturbances are no impulses but signal:
//! after [`LONGEST`] boxcars in a row the change is believed.

/// An impulse departs this many times further, in power, than the usual.
const OUTSTANDING: f32 = 25.0;
/// Departures below this share of the tone's power do no harm and are left alone.
const HARMLESS: f32 = 0.01;
/// Impulses last at most this many boxcars of 5 ms.
const LONGEST: u8 = 3;
/// How fast the notion of the usual follows, per boxcar: a factor e in 0.25 s.
const PACE: f32 = 0.02;

/// The usual departure from the forecast, and how long the unusual has lasted.
#[derive(Debug, Clone, Copy, Default)]
pub struct Bridge {
    /// Median of the departures' power, followed by small steps so that outliers cannot drag it.
    usual: f32,
    in_a_row: u8,
}

impl Bridge {
    /// Whether a boxcar that departs by `surprise` from its forecast was hit by an impulse.
    pub fn is_impulse(&mut self, surprise: f32, tone_power: f32) -> bool {
        if self.usual <= 0.0 {
            self.usual = surprise;
            return false;
        }
        let outstanding = surprise > OUTSTANDING * self.usual + HARMLESS * tone_power;
        self.usual *= if surprise > self.usual { 1.0 + PACE } else { 1.0 - PACE };
        self.usual = self.usual.max(f32::MIN_POSITIVE);
        self.in_a_row = if outstanding { self.in_a_row.saturating_add(1) } else { 0 };
        outstanding && self.in_a_row <= LONGEST
    }
}
