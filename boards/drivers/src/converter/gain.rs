//! The part's own amplifiers as the gain ladder.

use heapless::Vec;
use nullwalk_core::error::ConfigError;
use nullwalk_core::gain::{Ladder, Rung};

use super::Rate;

/// Volts at a channel's input that are full scale at a gain of 1: the part's own reference.
pub const FULL_SCALE_V: f32 = 1.2;
/// Counts at full scale.
pub const FULL_SCALE_COUNTS: i32 = 1 << 23;
/// Samples after a change of gain until the filter has forgotten the old one. It spans three samples, and the change
/// falls into the one that is being taken.
pub const SETTLE_SAMPLES: u32 = 4;

/// The gains a part can be set to, each twice the one before.
const GAINS: usize = 8;

/// One setting of the amplifiers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Gain(u8);

impl Gain {
    /// The gain as a factor, where the part has it: 1, 2, 4 ... 128.
    ///
    /// ```
    /// use nullwalk_drivers::converter::Gain;
    /// assert_eq!(Gain::of(16).unwrap().factor(), 16);
    /// assert!(Gain::of(10).is_none());
    /// ```
    pub const fn of(factor: u8) -> Option<Self> {
        if factor.is_power_of_two() { Some(Self(factor.trailing_zeros() as u8)) } else { None }
    }

    /// The factor.
    pub const fn factor(self) -> u8 {
        1 << (self.0 & 7)
    }

    /// The registers GAIN1 and GAIN2: four bits a channel, the same for all, so that they stay alike.
    pub(super) const fn registers(self) -> u16 {
        self.0 as u16 * 0x1111
    }
}

/// The gains that are used, lowest first: the rungs of the ladder.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Gains(Vec<Gain, GAINS>);

impl Gains {
    /// A ladder of these factors.
    ///
    /// # Errors
    /// When there are none, when they do not rise, or when the part does not have one of them.
    ///
    /// ```
    /// use nullwalk_drivers::converter::Gains;
    /// assert!(Gains::new(&[1, 4, 16, 64]).is_ok());
    /// assert!(Gains::new(&[1, 4, 10]).is_err());
    /// ```
    pub fn new(factors: &[u8]) -> Result<Self, ConfigError> {
        const WRONG: ConfigError =
            ConfigError::new("converter.gains", "must be rising powers of two from 1 to 128");
        let mut gains = Vec::new();
        for factor in factors {
            let gain = Gain::of(*factor).ok_or(WRONG)?;
            if gains.last().is_some_and(|last| *last >= gain) {
                return Err(WRONG);
            }
            gains.push(gain).map_err(|_| WRONG)?;
        }
        if gains.is_empty() { Err(WRONG) } else { Ok(Self(gains)) }
    }

    /// The gain of a rung; numbers above the ladder mean its top.
    pub fn rung(&self, rung: u8) -> Gain {
        self.0.get(usize::from(rung)).or(self.0.last()).copied().unwrap_or(Gain(0))
    }

    /// Highest rung number.
    pub fn top(&self) -> u8 {
        self.0.len().saturating_sub(1) as u8
    }

    /// The ladder as the core wants it: `before` is the gain of an amplifier in front of the part (1 for none), and
    /// `rail_fraction` the share of full scale at which that amplifier clips.
    ///
    /// # Errors
    /// As [`Ladder::new`].
    pub fn ladder(&self, rate: Rate, before: f32, rail_fraction: f32) -> Result<Ladder, ConfigError> {
        let settle_s = SETTLE_SAMPLES as f32 / rate.hz() as f32;
        let mut rungs = Vec::<Rung, GAINS>::new();
        for gain in &self.0 {
            // As many rungs as gains fit.
            let _ = rungs.push(Rung { gain: before * f32::from(gain.factor()), settle_s });
        }
        Ladder::new(&rungs, FULL_SCALE_V, FULL_SCALE_COUNTS, rail_fraction)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_gain_of_the_part_and_no_other() {
        let has: std::vec::Vec<u8> = (0..=255).filter_map(|f| Gain::of(f).map(Gain::factor)).collect();
        assert_eq!(has, [1, 2, 4, 8, 16, 32, 64, 128]);
        assert_eq!(Gain::of(64).unwrap().registers(), 0x6666);
    }

    #[test]
    fn ladders_that_cannot_be_are_refused() {
        for wrong in [&[][..], &[0], &[4, 4], &[4, 2], &[1, 2, 3], &[1, 2, 4, 8, 16, 32, 64, 128, 128]] {
            assert_eq!(Gains::new(wrong).unwrap_err().parameter, "converter.gains", "{wrong:?}");
        }
    }

    #[test]
    fn one_count_is_what_the_data_sheet_says() {
        // 2.4 V / gain / 2^24: 143 nV at a gain of 1, 2.24 nV at 64.
        let ladder = Gains::new(&[1, 64]).unwrap().ladder(Rate::Hz8000, 1.0, 1.0).unwrap();
        assert!((ladder.coil_volts_per_count(0) - 143.05e-9).abs() < 1e-11);
        assert!((ladder.coil_volts_per_count(1) - 2.235e-9).abs() < 1e-12);
        assert_eq!(ladder.rung(1).settle_s, 0.0005);
    }
}
