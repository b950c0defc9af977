//! The load test: what changed between two records, taken while a load was off and while it was on.
//!
//! A load that is switched on adds its current to the cable that feeds it, and to no other. So the vector change of each
//! harmonic's phasors is the field of that cable alone, whatever others hum beside it. Between the records the grid's phase is
//! not known, so one turn of the whole comb is taken out first: the nth harmonic by n times it. It is the turn at which most
//! channels and harmonics are as they were, not the one that makes all changes small together: a load with few harmonics
//! leaves the others, and they show the turn.
//!
//! What counts as a change is told by the records themselves. Each is cut into pieces of half a second, and how their means
//! scatter is what the field does without anything being switched.

use core::f32::consts::TAU;

use num_complex::Complex32;

use super::comb::ORDERS;
use super::heard::chance;
use super::{Hum, Marks};
use crate::math;
use crate::tone::Phasors;

/// Hops in a piece.
const PIECE_HOPS: u32 = 5;
/// Fewest pieces of a record that is compared: two seconds.
const FEWEST_PIECES: u32 = 4;
/// Most that the window lets through of a harmonic into its neighbour, on a grid that strays by 1 %: -78 dB.
const LEAKAGE: f32 = 1.2e-4;
/// Residuals count as near up to the root of this, in standard deviations,
const NEAR: f32 = 4.0;
/// and the turn is refined so many times.
const REFINEMENTS: u32 = 8;

/// A record taken standing at one place, or at one of several: mean and scatter of every harmonic, in fixed memory.
#[derive(Debug, Clone, PartialEq)]
pub struct Standing<const C: usize> {
    mean: [[Complex32; C]; ORDERS],
    /// Sum of squared distances from the mean.
    scatter: [[f32; C]; ORDERS],
    pieces: u32,
    piece: [[Complex32; C]; ORDERS],
    hops: u32,
    grid_hz: f32,
}

impl<const C: usize> Default for Standing<C> {
    fn default() -> Self {
        Self {
            mean: [[Complex32::ZERO; C]; ORDERS],
            scatter: [[0.0; C]; ORDERS],
            pieces: 0,
            piece: [[Complex32::ZERO; C]; ORDERS],
            hops: 0,
            grid_hz: 0.0,
        }
    }
}

impl<const C: usize> Standing<C> {
    /// Take in a hop. One whose samples clipped or that follows a gap begins its piece anew.
    pub fn push(&mut self, hum: &Hum<C>) {
        if hum.grid.is_none() || hum.marks != Marks::default() {
            self.hops = 0;
            self.piece = [[Complex32::ZERO; C]; ORDERS];
            return;
        }
        for (sum, harmonic) in
            self.piece.as_flattened_mut().iter_mut().zip(hum.harmonics.iter().flat_map(|h| &h.value_v))
        {
            *sum += harmonic;
        }
        self.hops += 1;
        if self.hops < PIECE_HOPS {
            return;
        }
        self.grid_hz = hum.grid_hz;
        self.hops = 0;
        self.pieces = self.pieces.saturating_add(1);
        // Welford 1962, Technometrics 4:419.
        let count = self.pieces as f32;
        let piece = core::mem::replace(&mut self.piece, [[Complex32::ZERO; C]; ORDERS]);
        let known = self.mean.as_flattened_mut().iter_mut().zip(self.scatter.as_flattened_mut());
        for ((mean, scatter), sum) in known.zip(piece.as_flattened()) {
            let value = *sum / PIECE_HOPS as f32;
            let before = value - *mean;
            *mean += before / count;
            let after = value - *mean;
            *scatter += before.re * after.re + before.im * after.im;
        }
    }

    /// How many pieces of half a second it holds.
    pub fn pieces(&self) -> u32 {
        self.pieces
    }

    /// Whether it is long enough for [`compare`]: two seconds.
    pub fn is_comparable(&self) -> bool {
        self.pieces >= FEWEST_PIECES
    }

    fn mean_of(&self, order: usize) -> Option<&[Complex32; C]> {
        self.mean.get(order)
    }
}

/// The vector change of one harmonic.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Change<const C: usize> {
    /// Change on each channel in volts at the coil, in the phase of the first record.
    pub value_v: [Complex32; C],
    /// Standard deviation of its real (and imaginary) part, from how the records scatter.
    pub sigma_v: [f32; C],
    /// Sum over channels of its power over the power of chance.
    pub power: f32,
    /// How often it would be as large if nothing had changed.
    pub chance: f32,
}

/// Two records compared.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Comparison<const C: usize> {
    /// The grid's frequency in the second record, hertz.
    pub grid_hz: f32,
    /// The change of the fundamental and of the second to the ninth harmonic.
    pub changes: [Change<C>; ORDERS],
}

impl<const C: usize> Comparison<C> {
    /// The order of the harmonic that changed most surely, when chance explains that more rarely than `level` for all
    /// harmonics together; `None` where nothing is known to have changed, which does not mean that nothing is there.
    pub fn changed(&self, level: f32) -> Option<usize> {
        // Each of the harmonics may raise a false alarm (Bonferroni's bound).
        let sure = (1..).zip(&self.changes).filter(|(_, change)| change.chance * (ORDERS as f32) < level);
        sure.max_by(|a, b| a.1.power.total_cmp(&b.1.power)).map(|(order, _)| order)
    }

    /// The change of a harmonic, by its order from 1 to 9, as the array takes it: its frequency in hertz, and phasors at it.
    /// They are the field of what changed alone.
    pub fn phasors(&self, order: usize) -> Option<(f32, Phasors<C>)> {
        let change = self.changes.get(order.checked_sub(1)?)?;
        let phasors = Phasors {
            centre: 0,
            value_v: change.value_v,
            sigma_v: change.sigma_v,
            carrier_offset_hz: 0.0,
            bridged: 0.0,
            marks: Marks::default(),
        };
        Some((order as f32 * self.grid_hz, phasors))
    }
}

/// Compare a record with one taken before, at the same place with the mast held alike. `None` when either is shorter than two
/// seconds.
///
/// ```
/// use nullwalk_core::frame::Block;
/// use nullwalk_core::gain::{Ladder, Rung};
/// use nullwalk_core::mains::{Mains, Standing, compare};
///
/// let ladder = Ladder::new(&[Rung { gain: 1.0, settle_s: 0.03 }], 8.0, 1 << 23, 1.0).unwrap();
/// let mains = Mains::new(8000.0).unwrap();
/// // Five seconds of 50 Hz on two coils in coarse counts; a load adds to the second coil alone.
/// let record = |load: f64| {
///     let wave = |n: u32| (core::f64::consts::TAU * f64::from(n) / 160.0).cos();
///     let rough = |n: u32| (n.wrapping_mul(0x9e37_79b9) >> 22) as i32;
///     let frames: Vec<[i32; 2]> = (0..40_000)
///         .map(|n| [1e5, 2e4 + load].map(|size| (size * wave(n)) as i32 + rough(n)))
///         .collect();
///     let mut standing = Standing::default();
///     let block = Block { frames: &frames, start: 0, rung: 0 };
///     mains.push(&mut mains.start(), &ladder, &block, |hum| standing.push(hum));
///     standing
/// };
/// let (off, on) = (record(0.0), record(3e3));
/// assert_eq!(off.pieces(), 9);
/// assert_eq!(compare(&off, &off).unwrap().changed(0.01), None);
/// let comparison = compare(&off, &on).unwrap();
/// assert_eq!(comparison.changed(0.01), Some(1));
/// let (_, change) = comparison.phasors(1).unwrap();
/// // A volt is 2^20 counts here.
/// assert!((change.value_v[1].norm() - 3e3 / 1_048_576.0).abs() < 1e-5 && change.value_v[0].norm() < 1e-4);
/// assert!(compare(&Standing::<6>::default(), &Standing::default()).is_none());
/// ```
pub fn compare<const C: usize>(before: &Standing<C>, during: &Standing<C>) -> Option<Comparison<C>> {
    if !(before.is_comparable() && during.is_comparable()) {
        return None;
    }
    let freedom = before.pieces + during.pieces - 2;
    let spread = 1.0 / before.pieces as f32 + 1.0 / during.pieces as f32;
    let mut variance = [[0.0; C]; ORDERS];
    let scatters = before.scatter.as_flattened().iter().zip(during.scatter.as_flattened());
    for (variance, (before, during)) in variance.as_flattened_mut().iter_mut().zip(scatters) {
        // Of a complex difference: both its parts together.
        *variance = ((before + during) / freedom as f32 * spread).max(f32::MIN_POSITIVE);
    }
    for mean in [&before.mean, &during.mean] {
        add_leakage(&mut variance, mean);
    }
    let turned = turn(before, during, &variance);
    let mut changes =
        [Change { value_v: [Complex32::ZERO; C], sigma_v: [0.0; C], power: 0.0, chance: 1.0 }; ORDERS];
    for ((n, change), variance) in changes.iter_mut().enumerate().zip(&variance) {
        let (Some(before), Some(during)) = (before.mean_of(n), during.mean_of(n)) else { continue };
        let (s, c) = math::sin_cos((n + 1) as f32 * turned);
        let back = Complex32::new(c, -s);
        let values =
            change.value_v.iter_mut().zip(&mut change.sigma_v).zip(before.iter().zip(during).zip(variance));
        for ((value, sigma), ((before, during), variance)) in values {
            *value = during * back - before;
            *sigma = math::sqrt(0.5 * variance);
            change.power += value.norm_sqr() / variance;
        }
        change.chance = chance(change.power / C as f32, C as u32, freedom);
    }
    Some(Comparison { grid_hz: during.grid_hz, changes })
}

/// What the window lets through of one harmonic into the others depends on where in the grid's period the hops lie, which is
/// another in every record, and no scatter tells of it.
fn add_leakage<const C: usize>(variance: &mut [[f32; C]; ORDERS], mean: &[[Complex32; C]; ORDERS]) {
    for (order, variance) in (1_i16..).zip(variance) {
        for (other, mean) in (1_i16..).zip(mean).filter(|(other, _)| *other != order) {
            // A Hann window's side lobes fall with the cube of the distance (Harris 1978).
            let apart = f32::from(other - order);
            let leakage = LEAKAGE / (apart * apart * apart);
            for (variance, z) in variance.iter_mut().zip(mean) {
                *variance += leakage * leakage * z.norm_sqr();
            }
        }
    }
}

/// The turn of the grid between the records, radians: the one at which most of what was there before is there again. What
/// changed is not to pull at it, however far it stands above its noise, so a residual counts by its logarithm.
fn turn<const C: usize>(before: &Standing<C>, during: &Standing<C>, variance: &[[f32; C]; ORDERS]) -> f32 {
    let mut best = Fit { cost: f32::INFINITY, step_rad: 0.0 };
    let mut turned = 0.0;
    // Wherever one channel of one harmonic has not changed, one of the turns that agree with it is the right one.
    for (order, (first, second)) in (1_u16..).zip(before.mean.iter().zip(&during.mean)) {
        for (first, second) in first.iter().zip(second) {
            let both = second * first.conj();
            let alone_rad = math::atan2(both.im, both.re);
            for turns in 0..order {
                let rad = math::wrap_pi((alone_rad + TAU * f32::from(turns)) / f32::from(order));
                let fit = fit(before, during, variance, rad);
                if fit.cost < best.cost {
                    (best, turned) = (fit, rad);
                }
            }
        }
    }
    for _ in 0..REFINEMENTS {
        turned = math::wrap_pi(turned + best.step_rad);
        best = fit(before, during, variance, turned);
    }
    turned
}

/// How badly a turn fits, and how much further to turn.
struct Fit {
    cost: f32,
    step_rad: f32,
}

/// Residuals at a turn, by Cauchy's measure, and the step of reweighted least squares (Holland and Welsch 1977, Commun. Stat.
/// A6:813, from memory).
fn fit<const C: usize>(
    before: &Standing<C>,
    during: &Standing<C>,
    variance: &[[f32; C]; ORDERS],
    rad: f32,
) -> Fit {
    let (mut cost, mut slope, mut curvature) = (0.0, 0.0, 0.0);
    for (order, ((first, second), variance)) in
        (1_u16..).zip(before.mean.iter().zip(&during.mean).zip(variance))
    {
        let order = f32::from(order);
        let (s, c) = math::sin_cos(order * rad);
        let back = Complex32::new(c, -s);
        for ((first, second), variance) in first.iter().zip(second).zip(variance) {
            let second = second * back;
            let spread = 1.0 + (second - first).norm_sqr() / (NEAR * variance);
            let agreement = second * first.conj() / (variance * spread);
            cost += math::ln(spread);
            slope += order * agreement.im;
            curvature += order * order * agreement.re;
        }
    }
    let most_rad = 0.1;
    let step_rad = if curvature > 0.0 { (slope / curvature).clamp(-most_rad, most_rad) } else { 0.0 };
    Fit { cost, step_rad }
}
