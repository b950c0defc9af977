//! How fast the grid turns: from the phase that its harmonics gain from one window to the next.
//!
//! Of an nth harmonic the phase advances n times as fast, so it counts n squared. Advances of a hop steer the oscillator;
//! those of two seconds, weighted as a parabola, give the frequency (Kay 1989, IEEE ASSP-37:1987, from memory): nearly
//! the least error that there can be.

use core::f32::consts::TAU;

use num_complex::Complex32;

use super::comb::ORDERS;
use crate::grid::{Grid, STRAY};
use crate::math;

/// Hops that a frequency is measured over: 2 s with the windows' own length.
pub const HOPS: usize = 19;
/// Shares of a surprise that go into frequency and drift.
const TO_FREQUENCY: f32 = 0.5;
const TO_DRIFT: f32 = 0.15;
/// Frequencies tried either side of nominal while the grid is sought.
const TRIES: i16 = 24;
/// Noise in windows of a hop that overlap by half: the variance of long means over that of independent ones, as
/// the Hann window's overlap is 1/6 (Harris 1978, table 1).
pub const OVERLAP: f32 = 4.0 / 3.0;

/// A frequency measured over the last hops.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Frequency {
    /// The grid's frequency in the middle of those hops, hertz.
    pub hz: f32,
    /// Standard uncertainty from the noise, hertz.
    pub sigma_hz: f32,
    /// How long that middle was ago when the newest window was centred, seconds.
    pub ago_s: f32,
}

/// What one hop told.
#[derive(Debug, Clone, Copy, Default)]
struct Told {
    offset_hz: f32,
    /// Information on the phase of the grid, per square radian.
    information: f32,
}

/// Frequency and drift as they are followed.
#[derive(Debug, Clone)]
pub struct Pace {
    told: [Told; HOPS],
    next: usize,
    count: usize,
    offset_hz: f32,
    drift_hz_per_hop: f32,
    /// What the oscillator was set to in the last hops, newest first: a measurement is about the hop before the last.
    set_hz: [f32; 2],
    /// By how much the grid's phase ran ahead of the oscillator since the lock, radians.
    pub ahead_rad: f32,
}

impl Default for Pace {
    fn default() -> Self {
        Self {
            told: [Told::default(); HOPS],
            next: 0,
            count: 0,
            offset_hz: 0.0,
            drift_hz_per_hop: 0.0,
            set_hz: [0.0; 2],
            ahead_rad: 0.0,
        }
    }
}

/// What a harmonic's phase did within a hop: sum over channels of now times the conjugate of before, over the noise.
pub type Advances = [Complex32; ORDERS];

impl Pace {
    /// The phase that the grid gained on the oscillator, radians; found without knowing anything.
    pub fn sought(advances: &Advances, grid: Grid, hop_s: f32) -> f32 {
        let most_rad = 1.05 * STRAY * grid.nominal_hz() * TAU * hop_s;
        let agreement = |rad: f32| -> f32 {
            let parts = (1_u16..).zip(advances);
            parts
                .map(|(order, z)| {
                    let (s, c) = math::sin_cos(f32::from(order) * rad);
                    z.re * c + z.im * s
                })
                .sum()
        };
        let tries = (-TRIES..=TRIES).map(|n| most_rad * f32::from(n) / f32::from(TRIES));
        let best = tries
            .map(|rad| (rad, agreement(rad)))
            .reduce(|best, new| if new.1 > best.1 { new } else { best });
        let near = best.map_or(0.0, |(rad, _)| rad);
        near + Self::near(advances, near, math::wrap_pi)
    }

    /// The same, once it is known nearly: half a turn is a field that changed its sign.
    pub fn followed(advances: &Advances) -> f32 {
        Self::near(advances, 0.0, math::wrap_half_pi)
    }

    fn near(advances: &Advances, near: f32, wrap: impl Fn(f32) -> f32) -> f32 {
        let (mut sum, mut weights) = (0.0, 0.0);
        for (order, z) in (1_u16..).zip(advances) {
            let order = f32::from(order);
            let size = math::sqrt(z.norm_sqr());
            if size > 0.0 {
                sum += order * size * wrap(math::atan2(z.im, z.re) - order * near);
                weights += order * order * size;
            }
        }
        if weights > 0.0 { sum / weights } else { 0.0 }
    }

    /// Take in what a hop gained, with the information on the grid's phase in each window; what to set the oscillator to.
    pub fn push(&mut self, gained_rad: f32, information: f32, hop_s: f32) -> f32 {
        let [_, set_hz] = self.set_hz;
        let offset_hz = set_hz + gained_rad / (TAU * hop_s);
        if let Some(slot) = self.told.get_mut(self.next) {
            *slot = Told { offset_hz, information };
        }
        self.next = (self.next + 1) % HOPS;
        self.count = (self.count + 1).min(HOPS);
        self.ahead_rad = math::wrap_pi(self.ahead_rad + gained_rad);
        if self.count == 1 {
            self.offset_hz = offset_hz;
        } else {
            let foreseen_hz = self.offset_hz + self.drift_hz_per_hop;
            let surprise_hz = offset_hz - foreseen_hz;
            self.offset_hz = foreseen_hz + TO_FREQUENCY * surprise_hz;
            self.drift_hz_per_hop += TO_DRIFT * surprise_hz;
        }
        // The measurement is about the hop before the last; the oscillator is set for the next.
        self.offset_hz + 2.0 * self.drift_hz_per_hop
    }

    /// Note what the oscillator is set to for the next hop.
    pub fn set(&mut self, offset_hz: f32) {
        let [newest, _] = self.set_hz;
        self.set_hz = [offset_hz, newest];
    }

    /// How far the grid was from the oscillator in the newest window, hertz: what it gained is about its first hop, and from
    /// there to its second both of them moved.
    pub fn off_hz(&self, gained_rad: f32, hop_s: f32) -> f32 {
        let [second_hz, first_hz] = self.set_hz;
        gained_rad / (TAU * hop_s) + 0.5 * (self.drift_hz_per_hop - (second_hz - first_hz))
    }

    /// The grid in the middle of the newest window, as an offset from nominal, hertz.
    pub fn offset_hz(&self) -> f32 {
        self.offset_hz + 0.5 * self.drift_hz_per_hop
    }

    /// Forget the measurements, not the frequency, as after a gap.
    pub fn interrupt(&mut self) {
        self.count = 0;
        self.next = 0;
        let [newest, _] = self.set_hz;
        self.set_hz = [newest; 2];
    }

    /// The frequency over the last hops, at most 2 s; `None` before there are three.
    pub fn frequency(&self, nominal_hz: f32, hop_s: f32) -> Option<Frequency> {
        if self.count < 3 {
            return None;
        }
        let count = self.count;
        let windows = count as f32 + 1.0;
        let (mut sum, mut weights, mut information) = (0.0, 0.0, 0.0);
        for age in 0..count {
            let told = self.told.get((self.next + HOPS - 1 - age) % HOPS)?;
            let from_middle = (2.0 * age as f32 - (count as f32 - 1.0)) / windows;
            let weight = 1.0 - from_middle * from_middle;
            sum += weight * told.offset_hz;
            weights += weight;
            information += told.information / count as f32;
        }
        // Variance of the slope of a line through so many phases.
        let slope =
            12.0 * OVERLAP / (windows * (windows * windows - 1.0) * information.max(f32::MIN_POSITIVE));
        Some(Frequency {
            hz: nominal_hz + sum / weights,
            sigma_hz: math::sqrt(slope) / (TAU * hop_s),
            ago_s: 0.5 * count as f32 * hop_s,
        })
    }
}
