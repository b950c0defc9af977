//! Peaks, troughs and nulls of a signed signal, found as it streams by, in fixed memory.
//!
//! A peak counts once the signal has fallen from it by the required prominence, having risen to it by at
//! least as much; a null, once the signal has been clearly on one side of zero and then clearly on the
//! other. "Clearly" is measured against the noise. Each place is interpolated between samples and carries
//! its own sigma. One value goes in at a time, so there is no other way to cut the stream.

use crate::math;
use crate::tone::Overlap;

/// Values remembered for interpolation: at ten a second, the last twelve seconds.
const MEMORY: usize = 128;
/// A null needs this many sigmas on both sides of it.
const CLEARLY: f32 = 4.0;
/// A curve is fitted to a peak as far down as this share of its height.
const FIT_DROP: f32 = 0.2;
/// and never to more than this many samples either side.
const FIT_REACH: u32 = 40;
/// What is left over about a null between values: this share of the last term of the curve through them.
const LEFT_SHARE: f32 = 0.25;
/// From this reach on the curve is a cubic, below it a parabola.
const SKEW_REACH: u32 = 2;

/// What makes a peak count.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prominence {
    /// Least prominence in sigmas of the noise.
    pub sigmas: f32,
    /// Least prominence as a share of the peak's own height.
    pub share: f32,
}

impl Default for Prominence {
    /// Six sigmas, and a tenth of the height.
    fn default() -> Self {
        Self { sigmas: 6.0, share: 0.1 }
    }
}

/// What was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A maximum of the signed value.
    Peak,
    /// A minimum of the signed value.
    Trough,
    /// A zero crossing.
    Null,
}

impl Kind {
    /// Its name in words.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Peak => "peak",
            Self::Trough => "trough",
            Self::Null => "null",
        }
    }
}

/// A place in the stream.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Feature {
    /// What it is.
    pub kind: Kind,
    /// Number of the value at or just before it, counted from the first value pushed.
    pub index: u32,
    /// How far beyond that value, in samples; between -0.5 and 1.5 or so.
    pub fraction: f32,
    /// Standard uncertainty of the place, samples.
    pub sigma_samples: f32,
    /// The interpolated value; zero at a null.
    pub value: f32,
    /// How far the signal is known to come down on the lower side; at a null, the largest magnitude since
    /// the null before.
    pub prominence: f32,
}

/// A search in progress. Its settings are part of it because they are two numbers.
#[derive(Debug, Clone)]
pub struct Extrema {
    prominence: Prominence,
    overlap: Overlap,
    jitter: f32,
    recent: [f32; MEMORY],
    count: u32,
    sigma: f32,
    high: Candidate,
    low: Candidate,
    /// The side that must give way next; `None` until the first clear rise or fall.
    rising: Option<bool>,
    side: f32,
    side_index: u32,
    swing: f32,
    crossing: Option<Crossing>,
}

#[derive(Debug, Clone, Copy, Default)]
struct Candidate {
    value: f32,
    index: u32,
}

impl Extrema {
    /// A search in values made by windows that overlap so.
    pub fn new(prominence: Prominence, overlap: Overlap) -> Self {
        Self {
            prominence,
            overlap,
            jitter: 0.0,
            recent: [0.0; MEMORY],
            count: 0,
            sigma: 0.0,
            high: Candidate::default(),
            low: Candidate::default(),
            rising: None,
            side: 0.0,
            side_index: 0,
            swing: 0.0,
            crossing: None,
        }
    }

    /// The same search for values that also jitter by this share of themselves, besides their noise.
    pub fn with_jitter(self, share: f32) -> Self {
        Self { jitter: share, ..self }
    }

    /// Variance of a value.
    fn variance(&self, value: f32) -> f32 {
        self.sigma * self.sigma + (self.jitter * value) * (self.jitter * value)
    }

    /// Values pushed so far.
    pub fn count(&self) -> u32 {
        self.count
    }

    /// Take the next value with its noise; `found` is called for each feature that is now certain.
    ///
    /// ```
    /// use nullwalk_core::extrema::{Extrema, Kind, Prominence};
    /// use nullwalk_core::tone::Overlap;
    /// let mut search = Extrema::new(Prominence::default(), Overlap::NONE);
    /// let mut kinds = Vec::new();
    /// for n in 0..100 {
    ///     search.push((n as f32 * 0.1).sin(), 0.001, |f| kinds.push(f.kind));
    /// }
    /// assert_eq!(kinds, [Kind::Peak, Kind::Null, Kind::Trough, Kind::Null, Kind::Peak, Kind::Null]);
    /// ```
    pub fn push(&mut self, value: f32, sigma: f32, mut found: impl FnMut(Feature)) {
        let index = self.count;
        self.recent[index as usize % MEMORY] = value;
        self.count = self.count.wrapping_add(1);
        self.sigma = sigma;
        self.look_for_peak(value, index, &mut found);
        self.look_for_null(value, index, &mut found);
    }

    fn look_for_peak(&mut self, value: f32, index: u32, found: &mut impl FnMut(Feature)) {
        let here = Candidate { value, index };
        if index == 0 {
            self.high = here;
            self.low = here;
            return;
        }
        // The high before a trough and the low before a peak are settled until it is found.
        if value > self.high.value && self.rising != Some(false) {
            self.high = here;
        }
        if value < self.low.value && self.rising != Some(true) {
            self.low = here;
        }
        // In squares, because a root for every value would cost as much as all the rest.
        let least2 = self.prominence.sigmas * self.prominence.sigmas;
        let clear = |from: Candidate, change: f32| {
            change > self.prominence.share * from.value.abs()
                && change * change > least2 * self.variance(from.value)
        };
        let fallen = clear(self.high, self.high.value - value);
        let risen = clear(self.low, value - self.low.value);
        match self.rising {
            Some(true) if fallen => {
                let prominence = (self.high.value - self.low.value).min(self.high.value - value);
                found(self.extremum(Kind::Peak, self.high, prominence));
                self.rising = Some(false);
                self.low = here;
            }
            Some(false) if risen => {
                let prominence = (self.high.value - self.low.value).min(value - self.low.value);
                found(self.extremum(Kind::Trough, self.low, prominence));
                self.rising = Some(true);
                self.high = here;
            }
            None if fallen => {
                self.rising = Some(false);
                self.low = here;
            }
            None if risen => {
                self.rising = Some(true);
                self.high = here;
            }
            Some(true) | Some(false) | None => {}
        }
    }

    /// Remembered value at an index of the stream.
    fn at(&self, index: u32) -> f32 {
        self.recent[index as usize % MEMORY]
    }

    /// Least-squares cubic about a candidate, as wide as the peak's top allows on both sides.
    fn extremum(&self, kind: Kind, top: Candidate, prominence: f32) -> Feature {
        let after = self.count - 1 - top.index;
        let oldest = self.count.saturating_sub(MEMORY as u32);
        let before = top.index.saturating_sub(oldest);
        let room = after.min(before).min(FIT_REACH);
        let depth = FIT_DROP * top.value.abs().max(prominence);
        let flat = |k: u32| {
            let near = |v: f32| (v - top.value).abs() <= depth;
            near(self.at(top.index - k)) && near(self.at(top.index + k))
        };
        let mut reach = room.min(1);
        while reach < room && flat(reach + 1) {
            reach += 1;
        }
        let place = |fraction: f32, sigma_samples: f32, value: f32| Feature {
            kind,
            index: top.index,
            fraction,
            sigma_samples,
            value,
            prominence,
        };
        if reach == 0 {
            return place(0.0, 1.0, top.value);
        }
        // Least squares for c + b k + a k^2 + e k^3 over k from -reach to reach: even and odd powers part.
        let n = 2.0 * reach as f32 + 1.0;
        let (mut s2, mut s4, mut s6) = (0.0, 0.0, 0.0);
        let (mut y0, mut y1, mut y2, mut y3) = (top.value, 0.0, 0.0, 0.0);
        for step in 1..=reach {
            let k = step as f32;
            let k2 = k * k;
            let (ahead, behind) = (self.at(top.index + step), self.at(top.index - step));
            s2 += 2.0 * k2;
            s4 += 2.0 * k2 * k2;
            s6 += 2.0 * k2 * k2 * k2;
            y0 += ahead + behind;
            y1 += k * (ahead - behind);
            y2 += k2 * (ahead + behind);
            y3 += k2 * k * (ahead - behind);
        }
        let curve = (n * y2 - s2 * y0) / (n * s4 - s2 * s2);
        let level = (y0 - curve * s2) / n;
        // The cubic term takes up the skew of a one-sided peak. With three points there is none to find.
        let skewed = reach >= SKEW_REACH;
        let odd = s2 * s6 - s4 * s4;
        let (slope, skew, slope_weight) = if skewed {
            ((s6 * y1 - s4 * y3) / odd, (s2 * y3 - s4 * y1) / odd, odd / s6)
        } else {
            (y1 / s2, 0.0, s2)
        };
        if curve == 0.0 || curve.is_nan() {
            return place(0.0, reach as f32, top.value);
        }
        let limit = reach as f32;
        let mut fraction = (-0.5 * slope / curve).clamp(-limit, limit);
        for _ in 0..2 {
            fraction = (-(slope + 3.0 * skew * fraction * fraction) / (2.0 * curve)).clamp(-limit, limit);
        }
        let inflation = if reach > 1 { self.overlap.inflation } else { 1.0 };
        let slope_sigma = math::sqrt(self.variance(top.value) * inflation / slope_weight);
        let sigma_samples = (0.5 * slope_sigma / curve.abs()).min(limit);
        let value = level + fraction * (slope + fraction * (curve + fraction * skew));
        place(fraction, sigma_samples, value)
    }

    fn look_for_null(&mut self, value: f32, index: u32, found: &mut impl FnMut(Feature)) {
        if let Some(crossing) = self.crossing.filter(|c| index >= c.middle + c.reach) {
            self.crossing = None;
            found(self.null(&crossing));
            self.swing = 0.0;
        }
        self.swing = self.swing.max(value.abs());
        if value.abs() > CLEARLY * self.sigma {
            let side = if value > 0.0 { 1.0 } else { -1.0 };
            if self.side * side < 0.0 && self.crossing.is_none() {
                self.crossing = Some(Crossing::between(self.side_index, index));
            }
            self.side_index = index;
            self.side = side;
        }
    }

    fn null(&self, crossing: &Crossing) -> Feature {
        let (index, fraction, sigma_samples) =
            if crossing.is_steep { self.steep_crossing(crossing) } else { self.shallow_crossing(crossing) };
        Feature { kind: Kind::Null, index, fraction, sigma_samples, value: 0.0, prominence: self.swing }
    }

    /// Where the quintic through six neighbours crosses zero, by secant steps within the middle interval.
    fn steep_crossing(&self, crossing: &Crossing) -> (u32, f32, f32) {
        let mut i = crossing.first;
        while i + 1 < crossing.last && self.at(i) * self.at(i + 1) > 0.0 {
            i += 1;
        }
        let (c, d) = (self.at(i), self.at(i + 1));
        // Before the first value the curve is taken to be straight.
        let b = if i > 0 { self.at(i - 1) } else { 2.0 * c - d };
        let a = if i > 1 { self.at(i - 2) } else { 2.0 * b - c };
        let through = [a, b, c, d, self.at(i + 2), self.at(i + 3)];
        let quintic = Bessel::through(through, self.overlap.fourth_moment / 24.0);
        let slope = d - c;
        let mut x = if slope != 0.0 { -c / slope } else { 0.5 };
        for _ in 0..3 {
            x = (x - quintic.at(x) / slope).clamp(0.0, 1.0);
        }
        let x = if x.is_finite() { x } else { 0.5 };
        // A curve through values follows their noise: a little less between them, more for what the window took off.
        let left_over = LEFT_SHARE * quintic.last;
        let doubt = math::sqrt(self.variance(c.abs().min(d.abs())) + left_over * left_over);
        let sigma_samples = if slope == 0.0 { 1.0 } else { doubt / slope.abs() };
        (i, x, sigma_samples)
    }

    /// Where the least-squares parabola through all values about the middle crosses zero. A straight line would
    /// put the null of a curved signal aside.
    fn shallow_crossing(&self, crossing: &Crossing) -> (u32, f32, f32) {
        let oldest = self.count.saturating_sub(MEMORY as u32);
        let reach = crossing.reach.min(crossing.middle.saturating_sub(oldest)).max(1);
        let n = 2.0 * reach as f32 + 1.0;
        let (mut s2, mut s4) = (0.0, 0.0);
        let (mut y0, mut y1, mut y2) = (self.at(crossing.middle), 0.0, 0.0);
        for step in 1..=reach {
            let k = step as f32;
            let (ahead, behind) =
                (self.at(crossing.middle + step), self.at(crossing.middle.saturating_sub(step)));
            s2 += 2.0 * k * k;
            s4 += 2.0 * k * k * k * k;
            y0 += ahead + behind;
            y1 += k * (ahead - behind);
            y2 += k * k * (ahead + behind);
        }
        let slope = y1 / s2;
        let determinant = n * s4 - s2 * s2;
        let (level, curve) = if determinant > 0.0 {
            ((s4 * y0 - s2 * y2) / determinant, (n * y2 - s2 * y0) / determinant)
        } else {
            (y0 / n, 0.0)
        };
        let limit = reach as f32;
        let mut x = 0.0_f32;
        for _ in 0..4 {
            x = (-(level + curve * x * x) / slope).max(-limit).min(limit);
        }
        let x = if x.is_finite() { x } else { 0.0 };
        // A parabola's level is known 9/4 times worse than a plain mean.
        let level_sigma = self.sigma * math::sqrt(2.25 * self.overlap.inflation / n);
        let steepness = (slope + 2.0 * curve * x).abs();
        let sigma_samples = if steepness > 0.0 { (level_sigma / steepness).min(limit) } else { limit };
        let whole = libm::floorf(x);
        (crossing.middle.wrapping_add_signed(whole as i32), x - whole, sigma_samples)
    }
}

/// Bessel's interpolation between the middle two of six values in a row (Abramowitz and Stegun, 25.2.58).
struct Bessel {
    middle: f32,
    differences: [f32; 5],
    /// The fourth difference's term where it is largest, in the middle.
    last: f32,
    /// How much of the fourth difference a window has added.
    smear: f32,
}

impl Bessel {
    fn through([a, b, c, d, e, f]: [f32; 6], smear: f32) -> Self {
        let fourth = 0.5 * (a - 3.0 * b + 2.0 * c + 2.0 * d - 3.0 * e + f);
        let fifth = f - 5.0 * e + 10.0 * d - 10.0 * c + 5.0 * b - a;
        let differences = [d - c, 0.5 * (b - c - d + e), e - 3.0 * d + 3.0 * c - b, fourth, fifth];
        Self { middle: 0.5 * (c + d), differences, last: 3.0 / 128.0 * fourth, smear }
    }

    /// The value at `x`, 0 at the third of the six and 1 at the fourth.
    fn at(&self, x: f32) -> f32 {
        let u = x - 0.5;
        let (near, far) = (u * u - 0.25, u * u - 2.25);
        let [first, second, third, fourth, fifth] = self.differences;
        self.middle
            + u * first
            + near / 2.0 * (second + u * third / 3.0 + far / 12.0 * (fourth + u * fifth / 5.0))
            - self.smear * (fourth + u * fifth)
    }
}

/// A sign change between the last clear value on one side and the first on the other.
#[derive(Debug, Clone, Copy)]
struct Crossing {
    first: u32,
    last: u32,
    /// The values used, once they are all there: so many to both sides of the middle.
    middle: u32,
    reach: u32,
    is_steep: bool,
}

impl Crossing {
    fn between(first: u32, last: u32) -> Self {
        let is_steep = last - first <= 2 || last - first >= MEMORY as u32 / 2;
        let (middle, reach) =
            if is_steep { (last, 2) } else { ((first + last) / 2, (last - first).div_ceil(2) + 1) };
        Self { first, last, middle, reach, is_steep }
    }
}
