//! Passive mains: the power grid's own field, found and followed by itself.
//!
//! Samples are decimated to some 2000 a second and multiplied by a comb of the grid: the fundamental, its harmonics up to the
//! ninth, and the places half-way between, which tell the noise. A window of two hops gives a phasor of each harmonic on each
//! channel ten times a second; how their phases advance gives the grid's frequency, which steers the comb. Until a grid is
//! known, one comb for 50 and one for 60 Hz run side by side.
//!
//! Work on a Cortex-M4F: 90 instructions for each sample and channel (six channels at 8 kHz), 153 while no grid is known. Memory
//! is fixed. The figures stand in the book's chapter on mains.

mod change;
mod comb;
mod decimate;
mod follow;
mod heard;
mod pace;

use num_complex::Complex32;

use crate::error::ConfigError;
use crate::frame::{Block, SampleIndex};
use crate::gain::Ladder;
use crate::grid::Grid;
use crate::math;
use crate::tone::{Marks, Phasors};

pub use change::{Change, Comparison, Standing, compare};
pub use comb::ORDERS;
use comb::{BATCH, Batch};
use decimate::{Decimation, Decimator, NOT_YET_WHOLE};
use follow::Follower;
pub use heard::chance;
pub use pace::Frequency;

/// A harmonic is heard when noise alone would be as loud as rarely as this.
pub const HEARD: f32 = 1e-4;
/// Successive phasors share a sixth of their noise (Hann windows that overlap by half; Harris 1978, table 1). Fits over many
/// of them may treat each as independent when they multiply its variance by this.
pub const INFLATION: f32 = 4.0 / 3.0;
/// A grid is known when it was heard in so many hops running,
const LOCK_HOPS: u32 = 3;
/// and lost when it was not for so long.
const LOST_HOPS: u32 = 20;
/// Longest hop, decimated samples: 0.1 s of up to 3000 a second.
const LONGEST_HOP: usize = 300;

/// One harmonic of the grid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Harmonic<const C: usize> {
    /// Amplitude on each channel in volts at the coil (peak), turned to the phase of the grid: it stands still while the
    /// field does.
    pub value_v: [Complex32; C],
    /// Standard deviation of its real (and imaginary) part, from beside the harmonic.
    pub sigma_v: [f32; C],
    /// Sum over channels of power over noise power.
    pub power: f32,
    /// How often noise alone would be as loud.
    pub chance: f32,
}

impl<const C: usize> Harmonic<C> {
    const SILENT: Self = Self { value_v: [Complex32::ZERO; C], sigma_v: [0.0; C], power: 0.0, chance: 1.0 };

    /// Whether it is more than noise: false alarms are at most as rare as [`HEARD`] says, for each harmonic and hop, in noise
    /// that is Gaussian and even from one half order to the next.
    pub fn is_heard(&self) -> bool {
        self.chance < HEARD
    }
}

/// What is heard of the grid at one instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hum<const C: usize> {
    /// Middle of the window.
    pub centre: SampleIndex,
    /// The grid, once it is known.
    pub grid: Option<Grid>,
    /// Its frequency where the window was, as it is followed, hertz; coarse.
    pub grid_hz: f32,
    /// Its frequency over the last two seconds.
    pub frequency: Option<Frequency>,
    /// The fundamental and the second to the ninth harmonic.
    pub harmonics: [Harmonic<C>; ORDERS],
    /// What happened within the window.
    pub marks: Marks,
}

/// What a hop says about mains.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Finding {
    /// This harmonic is the one to locate on.
    Heard {
        /// Its order, from 1.
        order: usize,
    },
    /// Nothing is heard, which proves nothing.
    Silent,
}

impl Finding {
    /// What to tell the person with the mast.
    ///
    /// ```
    /// use nullwalk_core::mains::Finding;
    /// assert!(Finding::Silent.sentence().contains("not proof"));
    /// ```
    pub const fn sentence(self) -> &'static str {
        match self {
            Self::Heard { .. } => {
                "Live power is near. A field tells where, never that it is the only one: others may carry no load."
            }
            Self::Silent => {
                "No mains field is heard. Nothing detected is not proof: a live cable without load makes no field. Have a \
                 large load switched on and look again."
            }
        }
    }
}

impl<const C: usize> Hum<C> {
    /// The harmonic to locate on: of those that are heard, the one furthest above its noise. Often the third, which adds up in
    /// a neutral when all others cancel. None where a sample touched the rail: clipping makes harmonics.
    pub fn strongest(&self) -> Option<usize> {
        if self.grid.is_none() || self.marks.clipped {
            return None;
        }
        let heard = (1..).zip(&self.harmonics).filter(|(_, harmonic)| harmonic.is_heard());
        heard.max_by(|a, b| a.1.power.total_cmp(&b.1.power)).map(|(order, _)| order)
    }

    /// What this hop says.
    pub fn finding(&self) -> Finding {
        self.strongest().map_or(Finding::Silent, |order| Finding::Heard { order })
    }

    /// A harmonic, by its order from 1 to 9, as [`crate::array::Array::fields`] takes it: its frequency in hertz, and phasors in
    /// volts at the coils. `None` for another order.
    pub fn phasors(&self, order: usize) -> Option<(f32, Phasors<C>)> {
        let harmonic = self.harmonics.get(order.checked_sub(1)?)?;
        let phasors = Phasors {
            centre: self.centre,
            value_v: harmonic.value_v,
            sigma_v: harmonic.sigma_v,
            carrier_offset_hz: 0.0,
            bridged: 0.0,
            marks: self.marks,
        };
        Some((order as f32 * self.grid_hz, phasors))
    }
}

/// A listener for mains: the immutable half.
#[derive(Debug, Clone)]
pub struct Mains {
    rate_hz: f32,
    decimation: Decimation,
    /// Decimated samples in a hop, and the rising half of the window over them.
    hop: usize,
    rising: [f32; LONGEST_HOP],
}

/// What it remembers between blocks.
#[derive(Debug, Clone)]
pub struct MainsState<const C: usize> {
    decimator: Decimator<C>,
    batch: Batch<C>,
    /// Decimated samples of this hop that are in a batch or beyond it.
    filled: usize,
    followers: [Follower<C>; 2],
    /// Which of the two is the grid.
    locked: Option<usize>,
    /// Hops since the last restart, up to two.
    hops: usize,
    /// Index of the frame that comes next; `None` before the first block.
    next: Option<SampleIndex>,
    rung: u8,
    /// Frames to pass by while the amplifier settles, and outputs of the decimator that are not yet whole.
    settling: u32,
    not_yet_whole: u32,
    /// What happened in this hop and the one before.
    marks: [Marks; 2],
}

impl<const C: usize> MainsState<C> {
    /// Whether the amplifier is still settling after a change of rung.
    pub fn is_settling(&self) -> bool {
        self.settling > 0
    }
}

impl Mains {
    /// A listener in samples at `rate_hz`, of at most 24 bits.
    ///
    /// ```
    /// use nullwalk_core::frame::Block;
    /// use nullwalk_core::gain::{Ladder, Rung};
    /// use nullwalk_core::grid::Grid;
    /// use nullwalk_core::mains::{Finding, Mains};
    ///
    /// let ladder = Ladder::new(&[Rung { gain: 1.0, settle_s: 0.03 }], 1.0, 1 << 23, 1.0).unwrap();
    /// let mains = Mains::new(8000.0).unwrap();
    /// let mut state = mains.start::<1>();
    /// // The third harmonic alone, as in a neutral, on a grid at 59.9 Hz.
    /// let sample = |n: u64| (1e5 * (core::f64::consts::TAU * 179.7 * n as f64 / 8000.0).cos()) as i32;
    /// let frames: Vec<[i32; 1]> = (0..16_000).map(|n| [sample(n)]).collect();
    /// let mut last = None;
    /// mains.push(&mut state, &ladder, &Block { frames: &frames, start: 0, rung: 0 }, |hum| last = Some(*hum));
    /// let hum = last.unwrap();
    /// assert_eq!((hum.grid, hum.strongest()), (Some(Grid::Sixty), Some(3)));
    /// assert_eq!(hum.finding(), Finding::Heard { order: 3 });
    /// assert!(hum.harmonics[2].is_heard() && !hum.harmonics[0].is_heard());
    /// let (hz, phasors) = hum.phasors(3).unwrap();
    /// assert!((hz - 179.7).abs() < 0.01 && (phasors.value_v[0].norm() - 0.0119).abs() < 0.0001);
    /// assert!((hum.frequency.unwrap().hz - 59.9).abs() < 0.005);
    /// ```
    ///
    /// # Errors
    /// When the rate is not 4 to 48 kHz.
    pub fn new(rate_hz: f32) -> Result<Self, ConfigError> {
        ConfigError::unless_rate(rate_hz)?;
        let decimation = Decimation::new(rate_hz);
        let hop = (math::round(0.1 * rate_hz / decimation.factor as f32) as usize).clamp(1, LONGEST_HOP);
        let mut rising = [0.0; LONGEST_HOP];
        for (n, weight) in rising.iter_mut().take(hop).enumerate() {
            let quarter_turns = (n as f32 + 0.5) / hop as f32;
            let (s, _) = math::sin_cos(core::f32::consts::FRAC_PI_2 * quarter_turns);
            *weight = s * s;
        }
        Ok(Self { rate_hz, decimation, hop, rising })
    }

    /// Frames from one output to the next: about 0.1 s.
    pub fn hop_samples(&self) -> u32 {
        (self.hop * self.decimation.factor) as u32
    }

    /// The same in seconds.
    pub fn hop_s(&self) -> f32 {
        self.hop_samples() as f32 / self.rate_hz
    }

    /// Sampling rate, hertz.
    pub fn rate_hz(&self) -> f32 {
        self.rate_hz
    }

    /// Noise bandwidth of a phasor, hertz, two-sided: white noise of density `n` per root hertz gives each of its parts a
    /// variance of `n^2` times this. 1.5 over the length of a Hann window (Harris 1978, table 1).
    ///
    /// ```
    /// let mains = nullwalk_core::mains::Mains::new(8000.0).unwrap();
    /// assert_eq!((mains.hop_samples(), mains.hop_s(), mains.noise_bandwidth_hz()), (800, 0.1, 7.5));
    /// ```
    pub fn noise_bandwidth_hz(&self) -> f32 {
        0.75 / self.hop_s()
    }

    /// State for a recording that begins now.
    pub fn start<const C: usize>(&self) -> MainsState<C> {
        MainsState {
            decimator: Decimator::default(),
            batch: Batch { samples: [[0.0; BATCH]; C], rising: [0.0; BATCH], filled: 0 },
            filled: 0,
            followers: Grid::BOTH.map(Follower::new),
            locked: None,
            hops: 0,
            next: None,
            rung: 0,
            settling: 0,
            not_yet_whole: NOT_YET_WHOLE,
            marks: [Marks::default(); 2],
        }
    }

    /// Take a block in; call `output` for every hop that ends in it. A gap, and a change of rung with the time its amplifier
    /// settles, are passed by: outputs go on 0.2 s later, at the same frequency.
    pub fn push<const C: usize>(
        &self,
        state: &mut MainsState<C>,
        ladder: &Ladder,
        block: &Block<'_, C>,
        mut output: impl FnMut(&Hum<C>),
    ) {
        let missing = state.next.map_or(0, |next| block.start.wrapping_sub(next));
        if missing != 0 {
            self.restart(state, missing);
            state.marks[0].gap = true;
        }
        if block.rung != state.rung {
            self.restart(state, 0);
            state.rung = block.rung;
            state.settling = (ladder.rung(block.rung).settle_s * self.rate_hz) as u32;
            state.marks[0].settling = true;
        }
        state.next = Some(block.start.wrapping_add(block.frames.len() as u64));
        let mut frames = block.frames;
        let passed = frames.len().min(state.settling as usize);
        if passed > 0 {
            frames = frames.get(passed..).unwrap_or(&[]);
            state.settling -= passed as u32;
            state.followers.iter_mut().for_each(|follower| follower.comb.skip(passed as u64, self.rate_hz));
        }
        while !frames.is_empty() {
            let (later, sample) = self.decimation.take(&mut state.decimator, frames);
            frames = later;
            if let Some(sample) = sample {
                self.take(state, ladder, sample, later.len(), &mut output);
            }
        }
    }

    /// Begin the windows anew, after so many frames that never came.
    fn restart<const C: usize>(&self, state: &mut MainsState<C>, missing: u64) {
        let half_done = state.decimator.frames() + state.batch.filled * self.decimation.factor;
        for follower in &mut state.followers {
            follower.restart();
            follower.comb.skip(missing.wrapping_add(half_done as u64), self.rate_hz);
        }
        state.decimator = Decimator::default();
        state.batch.filled = 0;
        state.filled = 0;
        state.hops = 0;
        state.not_yet_whole = NOT_YET_WHOLE;
        state.marks = [Marks::default(); 2];
    }

    /// Take in a decimated sample, behind which `later` frames of the block are still to come.
    fn take<const C: usize>(
        &self,
        state: &mut MainsState<C>,
        ladder: &Ladder,
        sample: [f32; C],
        later: usize,
        output: &mut impl FnMut(&Hum<C>),
    ) {
        if state.not_yet_whole > 0 {
            state.not_yet_whole -= 1;
            let factor = self.decimation.factor as u64;
            state.followers.iter_mut().for_each(|follower| follower.comb.skip(factor, self.rate_hz));
            return;
        }
        let batch = &mut state.batch;
        for (samples, sample) in batch.samples.iter_mut().zip(sample) {
            if let Some(slot) = samples.get_mut(batch.filled) {
                *slot = sample;
            }
        }
        if let (Some(slot), Some(weight)) =
            (batch.rising.get_mut(batch.filled), self.rising.get(state.filled))
        {
            *slot = *weight;
        }
        batch.filled += 1;
        state.filled += 1;
        let ends = state.filled >= self.hop;
        if batch.filled >= BATCH || ends {
            // What is beyond the batch's end is not of this hop.
            for samples in &mut batch.samples {
                samples.iter_mut().skip(batch.filled).for_each(|x| *x = 0.0);
            }
            for follower in active(&mut state.followers, state.locked) {
                follower.comb.add(&state.batch, self.decimation.factor, self.rate_hz);
            }
            state.batch.filled = 0;
        }
        if ends {
            self.finish_hop(state, ladder, later, output);
        }
    }

    fn finish_hop<const C: usize>(
        &self,
        state: &mut MainsState<C>,
        ladder: &Ladder,
        later: usize,
        output: &mut impl FnMut(&Hum<C>),
    ) {
        state.filled = 0;
        state.marks[0].clipped |= state.decimator.take_largest() >= ladder.rail_counts();
        let whole = state.hops > 0;
        state.hops = (state.hops + 1).min(2);
        let volts = 2.0 / self.hop as f32 * ladder.coil_volts_per_count(state.rung);
        let times = (self.rate_hz, self.hop_s());
        let locked = state.locked.is_some();
        for follower in active(&mut state.followers, state.locked) {
            follower.finish_hop(volts, &self.decimation, times, (whole, locked));
        }
        let [now, before] = state.marks;
        state.marks = [Marks::default(), now];
        if !whole {
            return;
        }
        let [fifty, sixty] = &state.followers;
        let louder = usize::from(sixty.evidence > fifty.evidence);
        let told = state.locked.unwrap_or(louder);
        let Some(follower) = state.followers.get(told) else { return };
        if follower.silent_hops >= LOST_HOPS {
            state.locked = None;
        } else if state.locked.is_none() && follower.heard_hops >= LOCK_HOPS {
            state.locked = Some(told);
        }
        let grid = state.locked.map(|_| follower.comb.grid());
        let nominal_hz = follower.comb.grid().nominal_hz();
        // The decimator's own delay, too.
        let ago =
            u64::from(self.hop_samples()) + later as u64 + 3 * (self.decimation.factor as u64 - 1) / 2;
        let hum = Hum {
            centre: state.next.unwrap_or(0).wrapping_sub(ago),
            grid,
            grid_hz: nominal_hz + follower.pace.offset_hz(),
            frequency: grid.and_then(|_| follower.pace.frequency(nominal_hz, self.hop_s())),
            harmonics: follower.harmonics,
            marks: now.and(before),
        };
        output(&hum);
        if locked && state.locked.is_none() {
            state.followers = Grid::BOTH.map(Follower::new);
            state.hops = 0;
        }
    }
}

/// The followers that are at work: the one of the grid, or both while it is sought.
fn active<const C: usize>(
    followers: &mut [Follower<C>; 2],
    locked: Option<usize>,
) -> impl Iterator<Item = &mut Follower<C>> {
    followers
        .iter_mut()
        .enumerate()
        .filter(move |(n, _)| locked.is_none_or(|grid| grid == *n))
        .map(|(_, f)| f)
}
