//! What soil does to a line's depth: part of the line's current returns through it, spread wide, and what that takes off
//! the field hardly changes with height. So the field seems to weaken faster upwards than it does, and the line seems
//! nearer than it is: [`super::line::ratio`] and [`super::line::lift`] read *shallow*. A sonde's depth needs none of this.

use core::f32::consts::TAU;

use super::{Depth, Measured, Unusable, valid};
use crate::math;

/// Permeability of soil: that of the vacuum, henries per metre.
const MU0_H_PER_M: f32 = 1.256_637_1e-6;
/// What returns through the soil takes `k sqrt(2)/3` off a field of `1/r`, to first order.
const FIRST_ORDER: f32 = 0.471_404_5;
/// Of the table: steps of `k` times the distance read; spacings over the distance read.
const STEP: f32 = 0.15;
const SPACINGS: [f32; 4] = [0.05, 0.2, 0.5, 1.0];
/// What the second order does to the first: by quadrature (`tests/reference/make_earth_return.py`), the lower node a
/// tenth of the distance above the ground.
const SECOND_ORDER: [[f32; 4]; 7] = [
    [1.0, 1.0, 1.0, 1.0],
    [1.0530, 1.0518, 1.0523, 1.0576],
    [1.1034, 1.1021, 1.1054, 1.1189],
    [1.1524, 1.1517, 1.1585, 1.1807],
    [1.2002, 1.2002, 1.2106, 1.2409],
    [1.2464, 1.2472, 1.2608, 1.2979],
    [1.2910, 1.2922, 1.3084, 1.3505],
];
/// Of the correction itself, standard uncertainty: nodes held higher or lower than a tenth of the distance, and the
/// table's own.
const CORRECTION_SIGMA: f32 = 0.02;

/// What the ground is made of, as a person with a spade can tell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Soil {
    /// Dry or sandy.
    Dry,
    /// Loam: neither sand nor clay, or damp.
    Loam,
    /// Clay, or salty.
    Clay,
    /// Nobody knows.
    Unknown,
}

impl Soil {
    /// Least and greatest conductivity, siemens per metre, rounded to decades from the tables of Telford and of Reynolds
    /// (dry sandy soil 80 to 1050 ohm metres, sand and gravel 30 to 225, clay 1 to 100); nothing within is likelier, by
    /// its logarithm.
    ///
    /// ```
    /// assert_eq!(nullwalk_core::depth::soil::Soil::Clay.conductivity_s_per_m(), [0.1, 1.0]);
    /// ```
    pub const fn conductivity_s_per_m(self) -> [f32; 2] {
        match self {
            Self::Dry => [1e-3, 1e-2],
            Self::Loam => [1e-2, 0.1],
            Self::Clay => [0.1, 1.0],
            Self::Unknown => [1e-3, 1.0],
        }
    }
}

/// True distance from the lower node to a line, over that which the ratio of the nodes reads; `None` where soil takes
/// more than 60 % off, or the nodes are further apart than the distance read.
///
/// For even ground, an endless line and nodes straight above it. With `k = sqrt(w mu0 sigma)`, the field is
/// `1/r - k sqrt(2)/3` to first order, which makes the factor `1 + k sqrt(2)/3 (read + spacing)`; a table of the second
/// order makes it good to 2 % of the distance (0.5 % where the lower node is about a tenth of the way above the
/// ground; a fortieth of the correction either way), against the line source over a half-space (Wait 1951).
///
/// ```
/// use nullwalk_core::depth::soil::lengthening;
/// // 2 m to a line at 8192 Hz in 0.1 S/m read 8.2 % short.
/// let factor = lengthening(1.836, 0.4, 8192.0, 0.1).unwrap();
/// assert!((factor * 1.836 - 2.0).abs() < 0.01);
/// ```
pub fn lengthening(
    read_m: f32,
    spacing_m: f32,
    frequency_hz: f32,
    conductivity_s_per_m: f32,
) -> Option<f32> {
    let k_read = read_m * math::sqrt(TAU * frequency_hz * MU0_H_PER_M * conductivity_s_per_m);
    let share = spacing_m / read_m;
    let rows = SECOND_ORDER.iter().zip(SECOND_ORDER.iter().skip(1));
    let mut rows = rows.enumerate().map(|(n, rows)| (k_read / STEP - n as f32, rows));
    let (between, (below, above)) = rows.find(|(between, _)| (0.0..=1.0).contains(between))?;
    let mut columns = SPACINGS.iter().zip(SPACINGS.iter().skip(1)).enumerate();
    // Nearer together than the first column is as good as there.
    let share_within = share.max(0.05);
    let (n, (left, right)) = columns.find(|(_, (_, right))| share_within <= **right)?;
    let across = (share_within - left) / (right - left);
    let along = |row: &[f32; 4]| {
        let [a, b] = [n, n + 1].map(|n| row.get(n).copied().unwrap_or(1.0));
        a + (b - a) * across
    };
    let (below, above) = (along(below), along(above));
    let second = below + (above - below) * between;
    (share > 0.0).then_some(1.0 + FIRST_ORDER * k_read * (1.0 + share) * second)
}

/// What the current that returns through a class of soil is believed to take off a line's level field, over the line's
/// own field at 1 m, per metre: `k sqrt(2)/3`, for [`crate::fit::line::traverse`]. Mean and standard deviation over the
/// logarithm of the conductivity, by Simpson's rule.
///
/// ```
/// use nullwalk_core::depth::soil::{Soil, returned_per_m};
/// let clay = returned_per_m(8192.0, Soil::Clay);
/// assert!((clay.value - 0.073).abs() < 0.002 && (clay.sigma - 0.025).abs() < 0.002);
/// ```
pub fn returned_per_m(frequency_hz: f32, soil: Soil) -> Measured {
    let at = |conductivity: f32| returned(frequency_hz, conductivity);
    let [least, most] = soil.conductivity_s_per_m();
    let (mean, variance) = over([at(least), at(math::sqrt(least * most)), at(most)]);
    Measured::new(mean, math::sqrt(variance))
}

/// [`returned_per_m`] of the best conductor of a class.
pub(crate) fn most_returned_per_m(frequency_hz: f32, soil: Soil) -> f32 {
    let [_, most] = soil.conductivity_s_per_m();
    returned(frequency_hz, most)
}

fn returned(frequency_hz: f32, conductivity_s_per_m: f32) -> f32 {
    FIRST_ORDER * math::sqrt(TAU * frequency_hz * MU0_H_PER_M * conductivity_s_per_m)
}

/// Mean and variance of what is so much at the low end, in the middle and at the high end (Simpson's rule).
fn over([low, middle, high]: [f32; 3]) -> (f32, f32) {
    let mean = (low + 4.0 * middle + high) / 6.0;
    let square = |x: f32| (x - mean) * (x - mean);
    (mean, (square(low) + 4.0 * square(middle) + square(high)) / 6.0)
}

/// A depth by the ratio of two nodes, or by a lift, put right for the soil as far as it is known; what is not known of it
/// is in the uncertainty.
///
/// The mean of the class and its standard deviation are taken over the logarithm of the conductivity, by Simpson's rule.
///
/// ```
/// use nullwalk_core::depth::{Depth, soil::{Soil, corrected}};
/// let read = Depth { depth_m: 1.5, sigma_m: 0.05 };
/// let loam = corrected(read, 0.4, 8192.0, Soil::Loam).unwrap();
/// assert!(loam.depth_m > 1.53 && loam.depth_m < 1.62 && loam.sigma_m > 0.05);
/// // Unknown soil, and a high tone: the sigma says so.
/// assert!(corrected(read, 0.4, 32768.0, Soil::Unknown).unwrap().sigma_m > 2.0 * loam.sigma_m);
/// ```
///
/// # Errors
/// Where the soil may take more than half off, or the result is out of range or too uncertain.
pub fn corrected(read: Depth, spacing_m: f32, frequency_hz: f32, soil: Soil) -> Result<Depth, Unusable> {
    let [least, most] = soil.conductivity_s_per_m();
    let at = |conductivity: f32| {
        lengthening(read.depth_m, spacing_m, frequency_hz, conductivity).ok_or(Unusable::TooUncertain)
    };
    let (mean, variance) = over([at(least)?, at(math::sqrt(least * most))?, at(most)?]);
    let square = |x: f32| x * x;
    let own = CORRECTION_SIGMA * (mean - 1.0);
    // What the ratio errs by is stretched too, and its share of the way more than that: the factor grows with it.
    let stretched = 2.0 * mean - 1.0;
    let sigma_m =
        math::sqrt(square(read.sigma_m * stretched) + square(read.depth_m) * (variance + own * own));
    valid(read.depth_m * mean, sigma_m)
}
