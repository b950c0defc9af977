//! The chain for passive mains, from a block of samples to what is heard of the grid and how the mast was held: what
//! [`crate::instrument`] is for a tone.

use crate::array::{Array, CommonPhase, Glimpse};
use crate::error::ConfigError;
use crate::frame::{Block, MastReading, magnitude};
use crate::gain::{Ladder, Stepper};
use crate::mains::{Hum, Mains, MainsState};
use crate::pose::{Readings, Shutter};

/// The immutable half of an instrument with `C` channels that listens for mains.
#[derive(Debug, Clone)]
pub struct Passive<const C: usize> {
    mains: Mains,
    shutter: Shutter,
    ladder: Ladder,
    array: Array,
}

/// Everything it remembers.
#[derive(Debug, Clone)]
pub struct PassiveState<const C: usize> {
    mains: MainsState<C>,
    stepper: Stepper,
    readings: Readings,
}

/// What comes out, ten times a second.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Heard<const C: usize> {
    /// The grid's harmonics on every channel.
    pub hum: Hum<C>,
    /// How the mast was held meanwhile.
    pub mast: MastReading,
}

impl<const C: usize> Heard<C> {
    /// The field of one harmonic, by its order from 1 to 9, as a glimpse like that of a tone. `None` for another order, and
    /// while no grid is known.
    pub fn glimpse(&self, order: usize, array: &Array, phase: &mut CommonPhase) -> Option<Glimpse> {
        self.hum.grid?;
        let (harmonic_hz, phasors) = self.hum.phasors(order)?;
        Some(array.glimpse(harmonic_hz, &phasors, phase, self.mast))
    }
}

impl<const C: usize> Passive<C> {
    /// An instrument from its parts. Harmonics are far from the tone that coils are calibrated at: `array` should know of
    /// its [`crate::array::AcCoupling`].
    ///
    /// # Errors
    /// When a coil of the array is wired to a channel that does not exist.
    pub fn new(mains: Mains, ladder: Ladder, array: Array) -> Result<Self, ConfigError> {
        array.wired_within(C)?;
        let shutter = Shutter::of_mains(&mains);
        Ok(Self { mains, shutter, ladder, array })
    }

    /// The array.
    pub fn array(&self) -> &Array {
        &self.array
    }

    /// State for a recording that begins now.
    pub fn start(&self) -> PassiveState<C> {
        PassiveState {
            mains: self.mains.start(),
            stepper: Stepper::default(),
            readings: Readings::default(),
        }
    }

    /// Take a block in, with the mast reading of its first sample; call `heard` for every hop that ends in it.
    pub fn push(
        &self,
        state: &mut PassiveState<C>,
        block: &Block<'_, C>,
        mast: Option<MastReading>,
        mut heard: impl FnMut(&Heard<C>),
    ) {
        let PassiveState { mains, stepper, readings } = state;
        if let Some(reading) = mast {
            readings.push(block.start, reading);
        }
        self.mains.push(mains, &self.ladder, block, |hum| {
            heard(&Heard { hum: *hum, mast: self.shutter.mean(readings, hum.centre) });
        });
        let largest = block.frames.iter().flatten().copied().map(magnitude).max();
        let elapsed_s = block.frames.len() as f32 / self.mains.rate_hz();
        stepper.push(&self.ladder, largest.unwrap_or(0), block.rung, mains.is_settling(), elapsed_s);
    }
}

impl<const C: usize> PassiveState<C> {
    /// The gain stepper, to read the wanted rung or to hold one by hand.
    pub fn stepper(&mut self) -> &mut Stepper {
        &mut self.stepper
    }
}
