//! The gain ladder and the stepper that climbs it.

use heapless::Vec;

use crate::error::ConfigError;

/// The most rungs a ladder may have.
pub const MAX_RUNGS: usize = 16;

/// One gain setting of the front end.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rung {
    /// Voltage gain from coil to converter.
    pub gain: f32,
    /// Time after switching to this rung until the samples can be trusted, seconds.
    pub settle_s: f32,
}

/// The front end's ordered gain settings, lowest first, and the scale of its converter.
#[derive(Debug, Clone, PartialEq)]
pub struct Ladder {
    rungs: Vec<Rung, MAX_RUNGS>,
    volts_per_count: f32,
    rail_counts: i32,
}

impl Ladder {
    /// A ladder of `rungs` before a converter where `full_scale_counts` counts stand for `full_scale_v`
    /// volts at its input, and which clips at `rail_fraction` of full scale (the amplifier before it may
    /// clip first).
    ///
    /// # Errors
    /// Names the parameter when there are no rungs or too many, gains do not rise, or a scale is not positive.
    pub fn new(
        rungs: &[Rung],
        full_scale_v: f32,
        full_scale_counts: i32,
        rail_fraction: f32,
    ) -> Result<Self, ConfigError> {
        let rising = rungs.windows(2).all(|w| matches!(w, [a, b] if b.gain > a.gain));
        let sane = |r: &Rung| r.gain > 0.0 && r.gain.is_finite() && (0.0..=5.0).contains(&r.settle_s);
        ConfigError::unless(!rungs.is_empty(), "front_end.rungs", "must hold at least one rung")?;
        ConfigError::unless(
            rising && rungs.iter().all(sane),
            "front_end.rungs",
            "must have positive, rising gains and settling times of 0 to 5 s",
        )?;
        ConfigError::unless(
            full_scale_v > 0.0 && full_scale_v.is_finite(),
            "front_end.full_scale_v",
            "must be positive",
        )?;
        ConfigError::unless(
            full_scale_counts >= 128,
            "front_end.full_scale_counts",
            "must be at least 128",
        )?;
        ConfigError::unless(
            (0.1..=1.0).contains(&rail_fraction),
            "front_end.rail_fraction",
            "must be 0.1 to 1",
        )?;
        let rungs = Vec::from_slice(rungs)
            .map_err(|_| ConfigError::new("front_end.rungs", "must hold at most 16 rungs"))?;
        Ok(Self {
            rungs,
            volts_per_count: full_scale_v / full_scale_counts as f32,
            // The last count below the rail is already suspect: converters saturate one count short of
            // full scale on the positive side.
            rail_counts: (rail_fraction * full_scale_counts as f32) as i32 - 2,
        })
    }

    /// The rungs, lowest gain first.
    pub fn rungs(&self) -> &[Rung] {
        &self.rungs
    }

    /// Highest rung number.
    pub fn top(&self) -> u8 {
        self.rungs.len().saturating_sub(1) as u8
    }

    /// A rung by number; numbers above the ladder mean its top.
    pub fn rung(&self, number: u8) -> Rung {
        let fallback = Rung { gain: 1.0, settle_s: 0.0 };
        self.rungs.get(usize::from(number)).or(self.rungs.last()).copied().unwrap_or(fallback)
    }

    /// Coil volts for one count at a rung.
    pub fn coil_volts_per_count(&self, rung: u8) -> f32 {
        self.volts_per_count / self.rung(rung).gain
    }

    /// Magnitude in counts from which a sample counts as clipped.
    pub fn rail_counts(&self) -> i32 {
        self.rail_counts
    }
}
