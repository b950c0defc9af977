//! Is there a line at all? Every line that could lie there is compared with the fields, and the best is a find only if
//! noise alone would be so good as rarely as was asked.

use glam::{DVec2, DVec3};
use num_complex::Complex64;
use rand::{RngExt, SeedableRng};
use rand_distr::StandardNormal;
use rand_xoshiro::Xoshiro256PlusPlus;
use rayon::prelude::*;

use super::tails::Powers;
use super::walk::{Phase, Walk};
use super::wire::Wire;
use crate::stats::median;

/// Looks so near each other, metres, see the same field.
const STRETCH_M: f64 = 0.15;
/// Least and greatest distance below the lower node that is looked at, and the factor from each to the next.
const DEPTHS_M: (f64, f64) = (0.5, 5.5);
const DEPTH_STEP: f64 = 1.5;
/// From line to line sideways, and at the walk's rim by the turn, in depths.
const STEP_DEPTHS: f64 = 0.6;
/// Sweeps of noise that the threshold is taken from: so much work, within these bounds.
const WORK: f64 = 6e9;
const NOISE_SWEEPS: (usize, usize) = (100, 400);
/// Medians of chi-square with ten and with four degrees of freedom; and how much, times the root of their number, the root
/// of the median of several strays.
const MEDIAN_10: (f64, f64) = (9.341_82, 0.28);
const MEDIAN_4: (f64, f64) = (3.356_69, 0.48);
/// Rounds in which the best line and the noise without it are found in turn.
const ROUNDS: usize = 6;
const SEED: u64 = 0x5eed_0001;
/// Numbers of one stretch: products of six components, or the components.
const PRODUCTS: usize = 21;
const COMPONENTS: usize = 6;
/// Multiplications that a processor does at once.
const ABREAST: usize = 16;

/// Fields over their noise, one for each look of the walk.
pub type White = [Complex64; 6];

/// Neighbouring looks, as one place with what they saw.
#[derive(Debug, Clone, Copy)]
struct Stretch {
    at_m: DVec3,
    upper_m: DVec3,
    inverse_nt: [f64; 2],
    count: f64,
}

/// What is held of one sweep's fields: rows of numbers that a line's are multiplied with. One row, or one each for real
/// and imaginary part.
pub struct Held(Vec<Vec<f32>>);

impl Held {
    /// The same with so many times the noise.
    fn louder(&self, level: f64) -> Self {
        let times = match self.0.len() {
            1 => 1.0 / (level * level),
            _ => 1.0 / level,
        };
        Self(self.0.iter().map(|row| row.iter().map(|x| x * times as f32).collect()).collect())
    }
}

/// The best line of a sweep, by the noise that is left without it.
pub struct Heard<T> {
    /// The line.
    pub peak: Peak<T>,
    /// By how much the noise exceeds what was said, 1 and above.
    pub level: f64,
    /// The fields, over that noise.
    pub held: Held,
}

/// What may be there, with a current of one ampere.
pub trait Template: Copy + Send + Sync {
    /// Its field at both nodes, over their noise.
    fn whitened(&self, at_m: DVec3, upper_m: DVec3, inverse_nt: [f64; 2]) -> [f64; 6];
}

/// A line with how surprising it is by noise alone, minus the logarithm of the chance.
#[derive(Debug, Clone, Copy)]
pub struct Peak<T = Wire> {
    /// The line.
    pub wire: T,
    /// Its surprise.
    pub surprise: f64,
}

/// The looks of a walk with their noise, and the lines to be tried.
pub struct Detector<T = Wire> {
    phase: Phase,
    groups: Vec<std::ops::Range<usize>>,
    stretches: Vec<Stretch>,
    grid: Vec<T>,
}

impl Detector {
    /// For a walk whose looks have these noises (lower and upper node, nanotesla), and every line that passes the places.
    pub fn new(walk: &Walk, noise_nt: &[[f64; 2]], corners_m: &[DVec2]) -> Self {
        Self::of(walk, noise_nt, grid(walk, corners_m))
    }

    /// The line nearby that is the most surprising.
    pub fn refined(&self, held: &Held, peak: Peak) -> Peak {
        self.climb(held, peak, true)
    }

    /// The same, with its depth held where `deeper` is false.
    pub fn climb(&self, held: &Held, mut peak: Peak, deeper: bool) -> Peak {
        let depth = self.depth_m(&peak.wire);
        let mut steps = [0.3 * depth, if deeper { 0.2 * depth } else { 0.0 }, 0.3 * depth / self.reach_m()];
        for _ in 0..24 {
            let mut moved = false;
            for (k, step) in steps.into_iter().enumerate().filter(|(_, step)| *step > 0.0) {
                for way in [step, -step] {
                    let mut by = [0.0; 3];
                    by[k] = way;
                    let [left, up, turn] = by;
                    let wire = peak.wire.moved(left, up, turn);
                    // Not up to the nodes, where every field is strong.
                    if self.depth_m(&wire) < 0.25 {
                        continue;
                    }
                    let surprise = self.surprise(held, &wire);
                    if surprise > peak.surprise {
                        peak = Peak { wire, surprise };
                        moved = true;
                        break;
                    }
                }
            }
            if !moved {
                steps = steps.map(|step| 0.5 * step);
            }
        }
        peak
    }

    /// How far below the mean lower node a line lies.
    pub fn depth_m(&self, wire: &Wire) -> f64 {
        let total: f64 = self.stretches.iter().map(|stretch| stretch.at_m.z).sum();
        total / self.stretches.len().max(1) as f64 - wire.at_m.z
    }

    /// How far the looks reach from a line's own point, at most.
    fn reach_m(&self) -> f64 {
        let low = self.stretches.iter().map(|s| s.at_m).fold(DVec3::INFINITY, DVec3::min);
        let high = self.stretches.iter().map(|s| s.at_m).fold(DVec3::NEG_INFINITY, DVec3::max);
        (0.5 * (high - low).truncate().length()).max(1.0)
    }
}

impl<T: Template> Detector<T> {
    /// For a walk and whatever is to be tried.
    pub fn of(walk: &Walk, noise_nt: &[[f64; 2]], grid: Vec<T>) -> Self {
        let groups = groups(walk);
        let stretches = groups.iter().map(|group| stretch(walk, noise_nt, group)).collect();
        Self { phase: walk.phase, groups, stretches, grid }
    }

    /// Lines tried.
    pub fn grid(&self) -> &[T] {
        &self.grid
    }

    /// One over the noise of both nodes, for each look: that of its stretch.
    pub fn inverse_nt(&self) -> impl Iterator<Item = [f64; 2]> + '_ {
        let stretches = self.groups.iter().zip(&self.stretches);
        stretches.flat_map(|(group, stretch)| std::iter::repeat_n(stretch.inverse_nt, group.len()))
    }

    /// Take in fields, nanotesla, one for each look.
    pub fn hold(&self, fields_nt: &[[[Complex64; 3]; 2]]) -> Held {
        let white = fields_nt.iter().zip(self.inverse_nt()).map(|(nodes, inverse)| {
            let [[a, b, c], [d, e, f]] = nodes;
            let [lower, upper] = inverse;
            [a * lower, b * lower, c * lower, d * upper, e * upper, f * upper]
        });
        self.hold_white(&white.collect::<Vec<_>>())
    }

    fn hold_white(&self, white: &[White]) -> Held {
        let groups = || self.groups.iter().map(|group| white.get(group.clone()).unwrap_or_default());
        match self.phase {
            Phase::Free => Held(vec![groups().flat_map(products).collect()]),
            Phase::Common => {
                let sums = || groups().flat_map(sums);
                Held(vec![sums().map(|z| z.re as f32).collect(), sums().map(|z| z.im as f32).collect()])
            }
        }
    }

    /// Noise as the walk would have it.
    fn noise(&self, random: &mut Xoshiro256PlusPlus) -> Held {
        let looks = self.groups.last().map_or(0, |group| group.end);
        let mut normal = || random.sample::<f64, _>(StandardNormal);
        let white = (0..looks).map(|_| [(); 6].map(|()| Complex64::new(normal(), normal())));
        self.hold_white(&white.collect::<Vec<_>>())
    }

    /// What a line's fields are multiplied with, and their powers. `row` is overwritten.
    fn row(&self, wire: &T, row: &mut Vec<f32>) -> Powers {
        row.clear();
        let (mut powers, mut whole) = (Powers::default(), 0.0);
        for stretch in &self.stretches {
            let g = wire.whitened(stretch.at_m, stretch.upper_m, stretch.inverse_nt);
            let square: f64 = g.iter().map(|x| x * x).sum();
            match self.phase {
                Phase::Free => {
                    powers.add(square, stretch.count);
                    for (i, a) in g.iter().enumerate() {
                        row.extend(g.iter().skip(i).map(|b| (a * b) as f32));
                    }
                }
                Phase::Common => {
                    whole += stretch.count * square;
                    row.extend(g.map(|x| x as f32));
                }
            }
        }
        match self.phase {
            Phase::Free => powers,
            Phase::Common => Powers::of(whole),
        }
    }

    /// What is known of a line's sum beforehand.
    pub fn powers(&self, wire: &T) -> Powers {
        let (mut powers, mut whole) = (Powers::default(), 0.0);
        for stretch in &self.stretches {
            let g = wire.whitened(stretch.at_m, stretch.upper_m, stretch.inverse_nt);
            let square: f64 = g.iter().map(|x| x * x).sum();
            powers.add(square, stretch.count);
            whole += stretch.count * square;
        }
        if self.phase == Phase::Free { powers } else { Powers::of(whole) }
    }

    /// The sum of squares that a line explains, and its powers.
    pub fn sum(&self, held: &Held, wire: &T) -> (f64, Powers) {
        let mut row = Vec::with_capacity(self.stretches.len() * PRODUCTS);
        let powers = self.row(wire, &mut row);
        (sum(held, &row), powers)
    }

    /// How surprising a line is.
    pub fn surprise(&self, held: &Held, wire: &T) -> f64 {
        let (sum, powers) = self.sum(held, wire);
        powers.surprise(sum)
    }

    /// The most surprising line of the grid in each of several sweeps, among those that `open` lets pass.
    pub fn best(&self, sweeps: &[Held], open: impl Fn(&T) -> bool + Sync) -> Vec<Option<Peak<T>>> {
        let better = |best: &mut Option<Peak<T>>, peak: Peak<T>| {
            if best.is_none_or(|best| peak.surprise > best.surprise) {
                *best = Some(peak);
            }
        };
        let nothing = || vec![None; sweeps.len()];
        let found = self.grid.par_iter().filter(|wire| open(wire)).fold(
            || (nothing(), Vec::new()),
            |(mut best, mut row), wire| {
                let powers = self.row(wire, &mut row);
                for (best, held) in best.iter_mut().zip(sweeps) {
                    better(best, Peak { wire: *wire, surprise: powers.surprise(sum(held, &row)) });
                }
                (best, row)
            },
        );
        found.map(|(best, _)| best).reduce(nothing, |mut best, other| {
            best.iter_mut().zip(other).for_each(|(best, other)| {
                if let Some(peak) = other {
                    better(best, peak);
                }
            });
            best
        })
    }

    /// The best line in the fields of a walk, nanotesla, among those that `open` lets pass.
    ///
    /// How loud the noise is enters every sum, so it is taken from what is left of each look without the line: ten of twelve
    /// numbers. The middle look tells, for a second line does not reach them all. Only what is louder than said beyond
    /// chance, two sigmas, counts.
    pub fn heard(
        &self,
        fields_nt: &[[[Complex64; 3]; 2]],
        open: impl Fn(&T) -> bool + Sync,
    ) -> Option<Heard<T>> {
        let said = self.hold(fields_nt);
        let mut level = 1.0;
        for _ in 0..ROUNDS {
            let held = said.louder(level);
            let peak = self.best(std::slice::from_ref(&held), &open).pop().flatten()?;
            let next = self.level(fields_nt, &peak.wire);
            if (next / level - 1.0).abs() < 0.01 {
                return Some(Heard { peak, level, held });
            }
            level = next;
        }
        let held = said.louder(level);
        let peak = self.best(std::slice::from_ref(&held), &open).pop().flatten()?;
        Some(Heard { peak, level, held })
    }

    /// What is left without a line, over the noise that was said.
    fn level(&self, fields_nt: &[[[Complex64; 3]; 2]], wire: &T) -> f64 {
        let mut squares = Vec::with_capacity(fields_nt.len());
        let mut nodes = 1;
        for (group, stretch) in self.groups.iter().zip(&self.stretches) {
            let g = wire.whitened(stretch.at_m, stretch.upper_m, stretch.inverse_nt);
            let size: f64 = g.iter().map(|x| x * x).sum();
            // A node that is not there tells nothing.
            nodes = nodes.max(if stretch.inverse_nt[1] > 1e-6 { 2 } else { 1 });
            for fields in fields_nt.get(group.clone()).unwrap_or_default() {
                let (mut whole, mut along) = (0.0, Complex64::ZERO);
                let cells =
                    fields.iter().zip(stretch.inverse_nt).flat_map(|(f, w)| f.iter().map(move |z| z * w));
                for (z, g) in cells.zip(g) {
                    whole += z.norm_sqr();
                    along += z * g;
                }
                squares.push(whole - along.norm_sqr() / size.max(f64::MIN_POSITIVE));
            }
        }
        let (middle, spread) = if nodes == 2 { MEDIAN_10 } else { MEDIAN_4 };
        let level = (median(&mut squares) / middle).sqrt();
        if level > 1.0 + 2.0 * spread / (squares.len().max(1) as f64).sqrt() { level } else { 1.0 }
    }

    /// The surprise that the best line of noise alone goes beyond with this chance, in a whole sweep.
    ///
    /// From simulated sweeps of noise over the very walk: their greatest surprises follow Gumbel's distribution, whose
    /// two numbers are found by greatest likelihood.
    pub fn threshold(&self, false_alarm: f64) -> f64 {
        let numbers = if self.phase == Phase::Free { PRODUCTS } else { 2 * COMPONENTS };
        let one = (self.grid.len() * self.stretches.len() * numbers) as f64;
        let (fewest, most) = NOISE_SWEEPS;
        let sweeps = ((WORK / one) as usize).clamp(fewest, most);
        let mut random = Xoshiro256PlusPlus::seed_from_u64(SEED);
        let noise: Vec<Held> = (0..sweeps).map(|_| self.noise(&mut random)).collect();
        let peaks = self.best(&noise, |_| true);
        let greatest: Vec<f64> = peaks.iter().flatten().map(|peak| peak.surprise).collect();
        gumbel_quantile(&greatest, 1.0 - false_alarm)
    }
}

/// Consecutive looks of a pass that are near each other.
fn groups(walk: &Walk) -> Vec<std::ops::Range<usize>> {
    let mut groups: Vec<std::ops::Range<usize>> = Vec::new();
    for (n, sight) in walk.sights.iter().enumerate() {
        let first = groups.last().and_then(|group| walk.sights.get(group.start));
        let joins = first
            .is_some_and(|first| first.pass == sight.pass && first.at_m.distance(sight.at_m) < STRETCH_M);
        match groups.last_mut().filter(|_| joins) {
            Some(group) => group.end = n + 1,
            None => groups.push(n..n + 1),
        }
    }
    groups
}

fn stretch(walk: &Walk, noise_nt: &[[f64; 2]], group: &std::ops::Range<usize>) -> Stretch {
    let count = group.len() as f64;
    let sights = walk.sights.get(group.clone()).unwrap_or_default();
    let noises = noise_nt.get(group.clone()).unwrap_or_default();
    let inverse_nt = [0, 1].map(|node| {
        let mean2 = noises.iter().map(|noise| noise[node] * noise[node]).sum::<f64>() / count;
        1.0 / mean2.sqrt()
    });
    Stretch {
        at_m: sights.iter().map(|sight| sight.at_m).sum::<DVec3>() / count,
        upper_m: sights.iter().map(|sight| sight.upper_m).sum::<DVec3>() / count,
        inverse_nt,
        count,
    }
}

/// Lines in steps that no line falls between: a third of a depth aside from the next, 4 % of the signal is lost.
fn grid(walk: &Walk, corners_m: &[DVec2]) -> Vec<Wire> {
    let places: Vec<DVec2> =
        walk.sights.iter().map(|sight| sight.at_m.truncate()).chain(corners_m.iter().copied()).collect();
    let low = places.iter().copied().fold(DVec2::INFINITY, DVec2::min);
    let high = places.iter().copied().fold(DVec2::NEG_INFINITY, DVec2::max);
    let middle = 0.5 * (low + high);
    let reach_m = (0.5 * (high - low).length()).max(1.0);
    let node_m = walk.middle_m().z;
    let (least, most) = DEPTHS_M;
    let mut grid = Vec::new();
    let mut depth_m = least;
    while depth_m <= most {
        let turns = (std::f64::consts::PI / (STEP_DEPTHS * depth_m / reach_m)).ceil().max(6.0);
        for turn in 0..turns as usize {
            let lay_rad = std::f64::consts::PI * turn as f64 / turns;
            let wire = Wire { at_m: middle.extend(node_m - depth_m), lay_rad };
            let left = wire.left().truncate();
            // No further out than the places, seen along the line.
            let offsets = places.iter().map(|place| (place - middle).dot(left));
            let (from, to) = offsets
                .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| (low.min(x), high.max(x)));
            let steps = ((to - from) / (STEP_DEPTHS * depth_m)).ceil().max(1.0);
            let offset = |n: usize| from + (to - from) * n as f64 / steps;
            grid.extend((0..=steps as usize).map(|n| wire.moved(offset(n), 0.0, 0.0)));
        }
        depth_m *= DEPTH_STEP;
    }
    grid
}

/// Of the fields of several looks, each with a phase of its own, all that a line's sum of squares needs.
fn products(looks: &[White]) -> Vec<f32> {
    let mut products = Vec::with_capacity(PRODUCTS);
    for i in 0..COMPONENTS {
        for j in i..COMPONENTS {
            let both: f64 = looks.iter().map(|z| (z[i] * z[j].conj()).re).sum();
            products.push(if i == j { both } else { 2.0 * both } as f32);
        }
    }
    products
}

/// Of looks that share a phase: their sum.
fn sums(looks: &[White]) -> [Complex64; COMPONENTS] {
    let mut sums = [Complex64::ZERO; COMPONENTS];
    for look in looks {
        sums.iter_mut().zip(look).for_each(|(sum, z)| *sum += z);
    }
    sums
}

fn sum(held: &Held, row: &[f32]) -> f64 {
    match held.0.as_slice() {
        [free] => dot(free, row),
        parts => parts.iter().map(|part| dot(part, row).powi(2)).sum(),
    }
}

fn dot(a: &[f32], b: &[f32]) -> f64 {
    let mut sums = [0.0_f32; ABREAST];
    let (a, b) = (a.chunks_exact(ABREAST), b.chunks_exact(ABREAST));
    let rest: f32 = a.remainder().iter().zip(b.remainder()).map(|(x, y)| x * y).sum();
    for (a, b) in a.zip(b) {
        for k in 0..ABREAST {
            sums[k] += a[k] * b[k];
        }
    }
    f64::from(rest) + sums.iter().copied().map(f64::from).sum::<f64>()
}

/// The value that Gumbel's distribution stays below with this chance, fitted to the values by greatest likelihood.
fn gumbel_quantile(values: &[f64], chance: f64) -> f64 {
    let count = values.len().max(1) as f64;
    let mean = values.iter().sum::<f64>() / count;
    let mut scale = 1.0;
    // beta = mean - sum x e^(-x/beta) / sum e^(-x/beta), repeated until it stays.
    for _ in 0..200 {
        let weights = values.iter().map(|x| (-(x - mean) / scale).exp());
        let (above, below) =
            values.iter().zip(weights).fold((0.0, 0.0), |(a, b), (x, w)| (a + x * w, b + w));
        scale = (0.5 * scale + 0.5 * (mean - above / below)).max(0.05);
    }
    let weight = values.iter().map(|x| (-(x - mean) / scale).exp()).sum::<f64>() / count;
    mean - scale * weight.ln() - scale * (-chance.ln()).ln()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_gumbel_gives_back_its_quantile() {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(3);
        let draw = |u: f64| 7.0 - 1.2 * (-u.ln()).ln();
        let values: Vec<f64> = (0..20_000).map(|_| draw(random.random_range(1e-9..1.0))).collect();
        let quantile = gumbel_quantile(&values, 0.99);
        assert!((quantile - draw(0.99)).abs() < 0.1, "{quantile}");
    }
}
