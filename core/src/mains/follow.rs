//! One grid as it is followed: its comb, its pace, and what is heard of it.

use core::f32::consts::{FRAC_1_SQRT_2, PI};

use num_complex::Complex32;

use super::comb::{Comb, Combed, ORDERS};
use super::decimate::Decimation;
use super::heard::chance;
use super::pace::{Advances, Pace};
use super::{HEARD, Harmonic};
use crate::grid::Grid;
use crate::math;

/// A harmonic whose power chance would explain this rarely may steer.
const STEERING: f32 = 1e-3;

/// Comb, pace and the window before.
#[derive(Debug, Clone)]
pub struct Follower<const C: usize> {
    pub comb: Comb<C>,
    pub pace: Pace,
    before: Option<[[Complex32; C]; ORDERS]>,
    /// Hops in a row in which the grid was heard, and was not.
    pub heard_hops: u32,
    pub silent_hops: u32,
    /// Power of the strongest harmonic that only this grid has, over its noise.
    pub evidence: f32,
    pub harmonics: [Harmonic<C>; ORDERS],
}

impl<const C: usize> Follower<C> {
    pub fn new(grid: Grid) -> Self {
        Self {
            comb: Comb::new(grid),
            pace: Pace::default(),
            before: None,
            heard_hops: 0,
            silent_hops: 0,
            evidence: 0.0,
            harmonics: [Harmonic::SILENT; ORDERS],
        }
    }

    /// Forget the sums, keep the frequency.
    pub fn restart(&mut self) {
        self.comb.restart();
        self.pace.interrupt();
        self.before = None;
    }

    /// End a hop; `whole` when the hop before belongs to the same window.
    pub fn finish_hop(
        &mut self,
        volts: f32,
        decimation: &Decimation,
        (rate_hz, hop_s): (f32, f32),
        (whole, locked): (bool, bool),
    ) {
        let combed = self.comb.finish_hop(volts, decimation, rate_hz);
        if !whole {
            self.pace.set(self.comb.offset_hz);
            return;
        }
        self.comb.listen(&combed);
        let noise = self.comb.noise();
        self.judge(&combed, &noise);
        let now = even(&combed);
        let mut off_hz = 0.0;
        let (advances, information) = self.advances(&now, &noise);
        if information > 0.0 {
            let gained = if locked {
                Pace::followed(&advances)
            } else {
                Pace::sought(&advances, self.comb.grid(), hop_s)
            };
            let next_hz = self.pace.push(gained, information, hop_s);
            off_hz = self.pace.off_hz(gained, hop_s);
            self.comb.tune(next_hz);
        }
        self.pace.set(self.comb.offset_hz);
        self.before = Some(now);
        self.tell(&now, &noise, off_hz, hop_s);
    }

    /// Which harmonics are heard.
    fn judge(&mut self, combed: &Combed<C>, noise: &[[f32; C]; ORDERS]) {
        let common = common(self.comb.grid());
        self.evidence = 0.0;
        let mut heard = false;
        let teeth = combed.iter().skip(1).step_by(2).zip(noise);
        for ((harmonic, (tooth, noise)), order) in self.harmonics.iter_mut().zip(teeth).zip(1..) {
            let ratio = tooth.iter().zip(noise).map(|(z, noise)| z.norm_sqr() / noise).sum::<f32>();
            harmonic.power = ratio;
            harmonic.chance = chance(ratio / C as f32, C as u32, self.comb.noises());
            if order != common {
                self.evidence = self.evidence.max(ratio);
                heard |= harmonic.chance < HEARD;
            }
        }
        self.heard_hops = if heard { self.heard_hops.saturating_add(1) } else { 0 };
        self.silent_hops = if heard { 0 } else { self.silent_hops.saturating_add(1) };
    }

    /// What the harmonics that may steer gained on the oscillator, and what they know of the grid's phase.
    fn advances(&self, now: &[[Complex32; C]; ORDERS], noise: &[[f32; C]; ORDERS]) -> (Advances, f32) {
        let mut advances = [Complex32::ZERO; ORDERS];
        let mut information = 0.0;
        let Some(before) = &self.before else { return (advances, information) };
        let harmonics = self.harmonics.iter().zip(now.iter().zip(before)).zip(noise);
        for (((advance, order), (harmonic, (now, before))), noise) in advances
            .iter_mut()
            .zip(1_u16..)
            .zip(harmonics.clone().map(|(h, _)| h))
            .zip(harmonics.map(|(_, n)| n))
        {
            if harmonic.chance > STEERING {
                continue;
            }
            for ((now, before), noise) in now.iter().zip(before).zip(noise) {
                *advance += now * before.conj() / *noise;
            }
            information += 2.0 * f32::from(order) * f32::from(order) * harmonic.power;
        }
        (advances, information)
    }

    /// The harmonics as they are given out: turned to the grid's own phase, and freed of what the window took off them
    /// because the oscillator was beside the grid.
    fn tell(
        &mut self,
        now: &[[Complex32; C]; ORDERS],
        noise: &[[f32; C]; ORDERS],
        off_hz: f32,
        hop_s: f32,
    ) {
        let ahead_rad = self.pace.ahead_rad;
        for ((harmonic, order), (now, noise)) in
            self.harmonics.iter_mut().zip(1_u16..).zip(now.iter().zip(noise))
        {
            let order = f32::from(order);
            let (s, c) = math::sin_cos(order * ahead_rad);
            let back = Complex32::new(c, -s) / hann(order * off_hz * 2.0 * hop_s);
            for ((value, z), (sigma, noise)) in
                harmonic.value_v.iter_mut().zip(now).zip(harmonic.sigma_v.iter_mut().zip(noise))
            {
                *value = z * back;
                *sigma = FRAC_1_SQRT_2 * math::sqrt(*noise);
            }
        }
    }
}

/// The harmonic that both grids have: 300 Hz.
fn common(grid: Grid) -> usize {
    match grid {
        Grid::Fifty => 6,
        Grid::Sixty => 5,
    }
}

/// The even teeth: the harmonics.
fn even<const C: usize>(combed: &Combed<C>) -> [[Complex32; C]; ORDERS] {
    let mut harmonics = [[Complex32::ZERO; C]; ORDERS];
    for (harmonic, tooth) in harmonics.iter_mut().zip(combed.iter().skip(1).step_by(2)) {
        *harmonic = *tooth;
    }
    harmonics
}

/// The transform of a Hann window, `x` over its length from the middle of its main lobe, at most 1.5 (Harris 1978).
fn hann(x: f32) -> f32 {
    let x = x.clamp(-1.5, 1.5);
    if x.abs() < 0.02 || (x.abs() - 1.0).abs() < 1e-3 {
        return if x.abs() < 0.5 { 1.0 - (PI * PI / 6.0 - 1.0) * x * x } else { 0.5 };
    }
    math::sin_cos(PI * x).0 / (PI * x * (1.0 - x * x))
}
