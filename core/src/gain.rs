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

/// Step down when the peak reaches this share of the rail.
const DOWN_AT: f32 = 0.7;
/// to a rung where the same signal stays below this share.
const DOWN_TO: f32 = 0.5;
/// Step up only when the same signal would stay below this share on the next rung. It is less than half of
/// [`DOWN_AT`], so a steady signal never goes up and down by turns.
const UP_BELOW: f32 = 0.3;
/// and has done so for this long, seconds.
const DWELL_S: f32 = 0.5;

/// Chooses the rung from the wide-band peak: down at once, up after a while.
#[derive(Debug, Clone, Copy, Default)]
pub struct Stepper {
    wanted: u8,
    held: Option<u8>,
    quiet_s: f32,
    clipping: bool,
    at_bottom: bool,
}

impl Stepper {
    /// The rung to switch to.
    pub fn wanted(&self) -> u8 {
        self.wanted
    }

    /// Hold a rung by hand, or let the stepper choose again.
    pub fn hold(&mut self, rung: Option<u8>) {
        self.held = rung;
    }

    /// Whether the signal clips although the lowest rung is in force.
    pub fn is_exhausted(&self) -> bool {
        self.clipping && self.at_bottom
    }

    /// Whether the signal clips at a rung held by hand.
    pub fn is_held_too_high(&self) -> bool {
        self.clipping && self.held.is_some() && !self.at_bottom
    }

    /// Take in the largest magnitude of the last `elapsed_s` seconds, at `rung`. While the amplifier is
    /// `settling`, peaks say nothing.
    ///
    /// ```
    /// use nullwalk_core::gain::{Ladder, Rung, Stepper};
    /// let rungs = [1.0, 4.0, 16.0].map(|gain| Rung { gain, settle_s: 0.03 });
    /// let ladder = Ladder::new(&rungs, 2.5, 1 << 23, 1.0).unwrap();
    /// let mut stepper = Stepper::default();
    /// stepper.push(&ladder, 1000, 0, false, 0.6);
    /// assert_eq!(stepper.wanted(), 1); // quiet for long enough: one rung up
    /// stepper.push(&ladder, 8_000_000, 1, false, 0.05);
    /// assert_eq!(stepper.wanted(), 0); // near the rail: down at once
    /// ```
    pub fn push(&mut self, ladder: &Ladder, peak: i32, rung: u8, settling: bool, elapsed_s: f32) {
        if let Some(held) = self.held {
            self.wanted = held.min(ladder.top());
        }
        if settling || rung != self.wanted {
            // Not yet where it was sent, or not yet there for good.
            self.quiet_s = 0.0;
            return;
        }
        let share = peak as f32 / ladder.rail_counts() as f32;
        self.clipping = share >= 1.0;
        self.at_bottom = rung == 0;
        if self.held.is_some() {
            return;
        }
        let gain = ladder.rung(rung).gain;
        let on = |other: u8| share * ladder.rung(other).gain / gain;
        if share >= DOWN_AT {
            self.wanted = (0..rung).rev().find(|&r| on(r) < DOWN_TO).unwrap_or(0);
            self.quiet_s = 0.0;
        } else if rung < ladder.top() && on(rung + 1) < UP_BELOW {
            self.quiet_s += elapsed_s;
            if self.quiet_s >= DWELL_S {
                self.wanted = rung + 1;
                self.quiet_s = 0.0;
            }
        } else {
            self.quiet_s = 0.0;
        }
    }
}
