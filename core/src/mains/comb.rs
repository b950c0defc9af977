//! One comb of a grid: an oscillator at half its frequency, and the samples multiplied by all its harmonics.
//!
//! Even teeth are the grid's harmonics, odd teeth stand half-way between, where there is only noise. The weights are a Hann
//! window over two hops. Every hop has both its rising and its falling half: the sum of the two halves is one, so a plain sum
//! and a rising one give both.

use num_complex::Complex32;

use super::decimate::Decimation;
use crate::grid::{Grid, STRAY};
use crate::math;

/// Harmonics that are followed: the fundamental and the second to the ninth.
pub const ORDERS: usize = 9;
/// Half orders from the first to the nineteenth.
pub const TEETH: usize = 2 * ORDERS + 1;
/// Samples that are multiplied at a time.
pub const BATCH: usize = 10;
/// Hops that the running mean of the noise goes back to.
const NOISE_HOPS: u32 = 10;
/// Listeners either side of a harmonic.
const SIDES: u32 = 2;

/// Decimated samples of a batch, each channel's together, and how many of them there are.
#[derive(Debug, Clone)]
pub struct Batch<const C: usize> {
    pub samples: [[f32; BATCH]; C],
    pub rising: [f32; BATCH],
    pub filled: usize,
}

/// What one window made of every tooth.
pub type Combed<const C: usize> = [[Complex32; C]; TEETH];

/// Oscillator, sums and noise of one grid.
#[derive(Debug, Clone)]
pub struct Comb<const C: usize> {
    grid: Grid,
    phase: u32,
    /// The oscillator, as an offset from the grid's nominal frequency, hertz.
    pub offset_hz: f32,
    plain: Combed<C>,
    rising: Combed<C>,
    /// The rising sum of the hop before.
    risen: Combed<C>,
    /// Mean power of each odd tooth.
    noise: [[f32; C]; ORDERS + 1],
    /// Hops in that mean.
    pub noise_hops: u32,
}

impl<const C: usize> Comb<C> {
    pub fn new(grid: Grid) -> Self {
        let nothing = [[Complex32::ZERO; C]; TEETH];
        Self {
            grid,
            phase: 0,
            offset_hz: 0.0,
            plain: nothing,
            rising: nothing,
            risen: nothing,
            noise: [[0.0; C]; ORDERS + 1],
            noise_hops: 0,
        }
    }

    pub fn grid(&self) -> Grid {
        self.grid
    }

    /// Frequency of the oscillator's grid, hertz.
    pub fn grid_hz(&self) -> f32 {
        self.grid.nominal_hz() + self.offset_hz
    }

    /// Tune the oscillator, within what a grid strays.
    pub fn tune(&mut self, offset_hz: f32) {
        let most_hz = 1.2 * STRAY * self.grid.nominal_hz();
        self.offset_hz = offset_hz.clamp(-most_hz, most_hz);
    }

    /// Half the grid's frequency as turns of 2^32 per frame of the converter.
    fn turns_per_frame(&self, rate_hz: f32) -> u32 {
        (0.5 * self.grid_hz() / rate_hz * 4_294_967_296.0) as u32
    }

    /// Let the oscillator run on over frames that are not used.
    pub fn skip(&mut self, frames: u64, rate_hz: f32) {
        self.phase = self.phase.wrapping_add(self.turns_per_frame(rate_hz).wrapping_mul(frames as u32));
    }

    /// Forget the sums, as after a gap.
    pub fn restart(&mut self) {
        let nothing = [[Complex32::ZERO; C]; TEETH];
        (self.plain, self.rising, self.risen) = (nothing, nothing, nothing);
    }

    /// Multiply a batch by all teeth and add it up.
    pub fn add(&mut self, batch: &Batch<C>, factor: usize, rate_hz: f32) {
        let turns = self.turns_per_frame(rate_hz).wrapping_mul(factor as u32);
        let mut step = [Complex32::ZERO; BATCH];
        for step in step.iter_mut().take(batch.filled) {
            let (s, c) = math::sin_cos_turn(self.phase);
            *step = Complex32::new(c, -s);
            self.phase = self.phase.wrapping_add(turns);
        }
        let mut weighted = batch.samples;
        for channel in &mut weighted {
            channel.iter_mut().zip(&batch.rising).for_each(|(x, weight)| *x *= weight);
        }
        let mut tooth = step;
        for (plain, rising) in self.plain.iter_mut().zip(&mut self.rising) {
            let channels = plain.iter_mut().zip(rising).zip(batch.samples.iter().zip(&weighted));
            for ((plain, rising), (samples, weighted)) in channels {
                let (mut a, mut b, mut c, mut d) = (0.0, 0.0, 0.0, 0.0);
                for (e, (x, weighted)) in tooth.iter().zip(samples.iter().zip(weighted)) {
                    a += e.re * x;
                    b += e.im * x;
                    c += e.re * weighted;
                    d += e.im * weighted;
                }
                *plain += Complex32::new(a, b);
                *rising += Complex32::new(c, d);
            }
            tooth.iter_mut().zip(&step).for_each(|(tooth, step)| *tooth *= step);
        }
    }

    /// End a hop. The window over it and the hop before, as amplitudes in volts.
    pub fn finish_hop(&mut self, volts: f32, decimation: &Decimation, rate_hz: f32) -> Combed<C> {
        let half_hz = 0.5 * self.grid_hz();
        let mut combed = [[Complex32::ZERO; C]; TEETH];
        let sums = self.risen.iter().zip(&self.plain).zip(&self.rising);
        for ((combed, ((risen, plain), rising)), order) in combed.iter_mut().zip(sums).zip(1_u16..) {
            let scale = volts / decimation.gain(f32::from(order) * half_hz, rate_hz);
            let channels = combed.iter_mut().zip(risen.iter().zip(plain.iter().zip(rising)));
            for (combed, (risen, (plain, rising))) in channels {
                *combed = (risen + plain - rising) * scale;
            }
        }
        self.risen = self.rising;
        let nothing = [[Complex32::ZERO; C]; TEETH];
        (self.plain, self.rising) = (nothing, nothing);
        combed
    }

    /// Take the odd teeth of a window into the noise.
    pub fn listen(&mut self, combed: &Combed<C>) {
        self.noise_hops = (self.noise_hops + 1).min(NOISE_HOPS);
        let share = 1.0 / self.noise_hops as f32;
        for (noise, tooth) in self.noise.iter_mut().zip(combed.iter().step_by(2)) {
            for (noise, z) in noise.iter_mut().zip(tooth) {
                *noise += share * (z.norm_sqr() - *noise);
            }
        }
    }

    /// Mean noise power at each harmonic: that of its two neighbours.
    pub fn noise(&self) -> [[f32; C]; ORDERS] {
        let mut between = [[0.0; C]; ORDERS];
        for (between, (below, above)) in
            between.iter_mut().zip(self.noise.iter().zip(self.noise.iter().skip(1)))
        {
            for (noise, (below, above)) in between.iter_mut().zip(below.iter().zip(above)) {
                *noise = (0.5 * (below + above)).max(f32::MIN_POSITIVE);
            }
        }
        between
    }

    /// Noise powers behind each of those means.
    pub fn noises(&self) -> u32 {
        SIDES * self.noise_hops
    }
}
