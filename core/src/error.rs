//! What a builder says when a configuration cannot work.

use core::fmt;

/// A configuration value that cannot work: which one, and what would.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ConfigError {
    /// Name of the parameter, as in `tone.rate_hz`.
    pub parameter: &'static str,
    /// What is asked of it, as in `must be 4000 to 48000`.
    pub remedy: &'static str,
}

impl ConfigError {
    /// An error about `parameter`, with what would be accepted.
    pub const fn new(parameter: &'static str, remedy: &'static str) -> Self {
        Self { parameter, remedy }
    }

    /// `Ok` where `holds`, else this error.
    pub(crate) const fn unless(
        holds: bool,
        parameter: &'static str,
        remedy: &'static str,
    ) -> Result<(), Self> {
        if holds { Ok(()) } else { Err(Self::new(parameter, remedy)) }
    }

    /// `Ok` at a sampling rate that filters and windows are made for.
    pub(crate) fn unless_rate(rate_hz: f32) -> Result<(), Self> {
        let fits = (4000.0..=48_000.0).contains(&rate_hz);
        Self::unless(fits, "signal.sample_rate_hz", "must be 4000 to 48000")
    }
}

impl fmt::Display for ConfigError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.parameter)?;
        f.write_str(" ")?;
        f.write_str(self.remedy)
    }
}

impl core::error::Error for ConfigError {}
