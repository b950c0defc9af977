//! Several lines at once: their fields, what is left without them, and how badly the rest is known beside them.

use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;

use super::detect::Template as _;
use super::walk::{Phase, Sight, Walk};
use super::wire::Wire;

/// What every field errs by besides its calibration: a mast that nods as it is walked.
const GAIT: f64 = 0.005;
/// Looks whose modelled field is weaker than so many times its noise tell nothing of a line whose phase is free.
const CLEAR: f64 = 3.0;
/// A line takes part in the common fit when it is so clear in all its looks together, in sigmas.
const KNOWN: f64 = 30.0;
const ROUNDS: usize = 30;
/// Unknowns of a line: left, up, lay, and both parts of its current.
const EACH: usize = 5;

/// The field at both nodes.
pub type Fields = [[Complex64; 3]; 2];

/// A line with its current.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Carrying {
    /// Where it lies.
    pub wire: Wire,
    /// Peak current with its phase, amperes.
    pub current_a: Complex64,
}

impl Carrying {
    /// Its field as a look would see it.
    pub fn field_nt(&self, sight: &Sight) -> Fields {
        let nodes = self.wire.per_ampere_nt(sight.at_m, sight.upper_m);
        nodes.map(|g| g.to_array().map(|x| self.current_a * x))
    }
}

/// The fields of several lines.
pub fn field_nt(lines: &[Carrying], sight: &Sight) -> Fields {
    lines
        .iter()
        .fold([[Complex64::ZERO; 3]; 2], |sum, line| plus(sum, line.field_nt(sight), Complex64::ONE))
}

/// A field and another so many times.
pub fn plus(a: Fields, b: Fields, times: Complex64) -> Fields {
    [0, 1].map(|node| [0, 1, 2].map(|k| a[node][k] + b[node][k] * times))
}

/// The phase by which a look is ahead of the model, as a number of size one.
pub fn turn(phase: Phase, model: &Fields, sight: &Sight, noise_nt: [f64; 2]) -> Complex64 {
    if phase == Phase::Common {
        return Complex64::ONE;
    }
    let mut sum = Complex64::ZERO;
    for ((m, z), sigma_nt) in model.iter().zip(&sight.field_nt).zip(noise_nt) {
        let both: Complex64 = m.iter().zip(z).map(|(m, z)| m.conj() * z).sum();
        sum += both / (sigma_nt * sigma_nt);
    }
    let size = sum.norm();
    if size > 0.0 { sum / size } else { Complex64::ONE }
}

/// Size of a field at a node, squared.
fn power(field: &[Complex64; 3]) -> f64 {
    field.iter().map(Complex64::norm_sqr).sum()
}

/// All that a look saw, squared, over its noise.
pub fn over_noise(fields: &Fields, noise_nt: &[f64; 2]) -> f64 {
    fields.iter().zip(noise_nt).map(|(field, sigma)| power(field) / (sigma * sigma)).sum()
}

/// What is left of a look without a model, turned by the look's own phase.
pub fn without(phase: Phase, model: Fields, sight: &Sight, noise_nt: [f64; 2]) -> Fields {
    plus(sight.field_nt, model, -turn(phase, &model, sight, noise_nt))
}

/// What is left of the walk without the lines.
pub fn rest_nt(walk: &Walk, lines: &[Carrying], noise_nt: &[[f64; 2]]) -> Vec<Fields> {
    let looks = walk.sights.iter().zip(noise_nt);
    looks.map(|(sight, noise)| without(walk.phase, field_nt(lines, sight), sight, *noise)).collect()
}

/// How badly each look's fields are known, beside the fields of lines that were found.
///
/// A place that is uncertain makes the field uncertain by its gradient, from look to look. Calibration and tilt err the
/// same way in all looks of a line; where `shared`, that is made as much larger as there are looks, so that together
/// they are worth no more than one. Then what a strong line leaves behind never passes for another line.
pub fn noise_nt(walk: &Walk, lines: &[Carrying], shared: bool) -> Vec<[f64; 2]> {
    let models: Vec<Fields> = walk.sights.iter().map(|sight| field_nt(lines, sight)).collect();
    let gradient2 = |sight: &Sight| {
        let own = lines.iter().map(|line| {
            let [lower, _] = line.field_nt(sight);
            power(&lower) / line.wire.distance_m(sight).powi(2)
        });
        own.sum()
    };
    let gradients2: Vec<f64> = walk.sights.iter().map(gradient2).collect();
    beside_nt(walk, &models, &gradients2, shared)
}

/// The same beside any fields, with the squares of their gradients.
pub fn beside_nt(walk: &Walk, models: &[Fields], gradients2: &[f64], shared: bool) -> Vec<[f64; 2]> {
    let relative2 = walk.relative * walk.relative + GAIT * GAIT;
    let (squares, fourths) = models.iter().fold((0.0, 0.0), |(squares, fourths), [lower, _]| {
        let square = power(lower);
        (squares + square, fourths + square * square)
    });
    let looks = if shared && fourths > 0.0 { (squares * squares / fourths).max(1.0) } else { 1.0 };
    let each = walk.sights.iter().zip(models).zip(gradients2).map(|((sight, model), gradient2)| {
        let placed2 = gradient2 * sight.place_sigma_m * sight.place_sigma_m / 2.0;
        [0, 1].map(|node| {
            let own = sight.sigma_nt[node];
            (own * own + looks * relative2 * power(&model[node]) / 2.0 + placed2).sqrt()
        })
    });
    each.collect()
}

/// All lines fitted together.
pub struct Together {
    /// Those that were given.
    pub lines: Vec<Carrying>,
    /// Which of them were clear enough to be moved.
    pub moved: Vec<bool>,
    /// Standard deviation of each current, relative, and of its phase, radians; none where it was not moved.
    pub current_sigma: Vec<Option<f64>>,
}

/// Fit all lines at once by the method of Levenberg and Marquardt, with each look's own phase taken out where it is free.
pub fn together(walk: &Walk, lines: &[Carrying]) -> Together {
    let mut lines = lines.to_vec();
    let moved = clear(walk, &lines);
    let count = moved.iter().filter(|moved| **moved).count();
    let mut current_sigma = vec![None; lines.len()];
    if count == 0 {
        return Together { lines, moved, current_sigma };
    }
    // A common turn of all currents is nothing where each look has its own.
    let fixed = (walk.phase == Phase::Free).then_some(EACH - 1);
    let mut noise = noise_nt(walk, &lines, false);
    let mut normal = Normal::of(walk, &lines, &moved, &noise);
    let mut damping = 1e-3;
    for round in 0..ROUNDS {
        let Some(step) = normal.step(damping, fixed) else { break };
        let tried = stepped(&lines, &moved, step.as_slice());
        let sound = tried.iter().all(|line| line.current_a.is_finite() && line.wire.at_m.is_finite());
        let next = Normal::of(walk, &tried, &moved, &noise);
        if sound && next.cost < normal.cost {
            let gain = normal.cost - next.cost;
            (lines, normal, damping) = (tried, next, 0.3 * damping);
            if gain < 1e-3 {
                break;
            }
        } else {
            damping *= 8.0;
            if damping > 1e8 {
                break;
            }
        }
        if round == 4 {
            noise = noise_nt(walk, &lines, false);
            normal = Normal::of(walk, &lines, &moved, &noise);
        }
    }
    if let Some(covariance) = normal.covariance(fixed) {
        let places = moved.iter().enumerate().filter(|(_, moved)| **moved).map(|(n, _)| n);
        for (k, n) in places.enumerate() {
            let at = |i: usize| covariance.get((EACH * k + i, EACH * k + i)).copied().unwrap_or(0.0);
            let size2 = lines.get(n).map_or(1.0, |line| line.current_a.norm_sqr());
            if let Some(sigma) = current_sigma.get_mut(n) {
                *sigma = Some(((at(3) + at(4)) / size2).sqrt());
            }
        }
    }
    Together { lines, moved, current_sigma }
}

/// Which lines are clear enough to be moved.
fn clear(walk: &Walk, lines: &[Carrying]) -> Vec<bool> {
    let noise = noise_nt(walk, lines, false);
    let counts: Vec<bool> = walk
        .sights
        .iter()
        .zip(&noise)
        .map(|(sight, noise)| {
            walk.phase == Phase::Common || over_noise(&field_nt(lines, sight), noise) > CLEAR * CLEAR
        })
        .collect();
    let own = |line: &Carrying| {
        let looks = walk.sights.iter().zip(&noise).zip(&counts).filter(|(_, counts)| **counts);
        looks.map(|((sight, noise), _)| over_noise(&line.field_nt(sight), noise)).sum::<f64>()
    };
    lines.iter().map(|line| own(line) > KNOWN * KNOWN).collect()
}

fn stepped(lines: &[Carrying], moved: &[bool], step: &[f64]) -> Vec<Carrying> {
    let mut steps = step.chunks_exact(EACH);
    let each = lines.iter().zip(moved).map(|(line, moved)| {
        let Some(&[left, up, turn, re, im]) = steps.next_if_moved(*moved) else { return *line };
        Carrying {
            wire: line.wire.moved(left, up, turn),
            current_a: line.current_a + Complex64::new(re, im),
        }
    });
    each.collect()
}

/// Steps are there for those lines only that are moved.
trait NextIfMoved<'a> {
    fn next_if_moved(&mut self, moved: bool) -> Option<&'a [f64; EACH]>;
}

impl<'a> NextIfMoved<'a> for std::slice::ChunksExact<'a, f64> {
    fn next_if_moved(&mut self, moved: bool) -> Option<&'a [f64; EACH]> {
        moved.then(|| self.next()).flatten().and_then(|step| step.try_into().ok())
    }
}

/// Normal equations.
struct Normal {
    matrix: DMatrix<f64>,
    right: DVector<f64>,
    cost: f64,
}

impl Normal {
    fn of(walk: &Walk, lines: &[Carrying], moved: &[bool], noise_nt: &[[f64; 2]]) -> Self {
        let movers: Vec<&Carrying> = lines.iter().zip(moved).filter(|(_, m)| **m).map(|(l, _)| l).collect();
        let size = EACH * movers.len();
        let mut normal =
            Self { matrix: DMatrix::zeros(size, size), right: DVector::zeros(size), cost: 0.0 };
        for (sight, noise) in walk.sights.iter().zip(noise_nt) {
            let inverse = noise.map(|sigma| 1.0 / sigma);
            let white = |fields: &Fields| {
                let mut white = [Complex64::ZERO; 6];
                let cells =
                    fields.iter().zip(inverse).flat_map(|(field, w)| field.iter().map(move |z| z * w));
                white.iter_mut().zip(cells).for_each(|(cell, z)| *cell = z);
                white
            };
            let all = field_nt(lines, sight);
            let model = white(&all);
            let size2: f64 = model.iter().map(Complex64::norm_sqr).sum();
            let free = walk.phase == Phase::Free;
            if free && size2 < CLEAR * CLEAR {
                continue;
            }
            let back = turn(walk.phase, &all, sight, *noise).conj();
            let seen = white(&sight.field_nt);
            let rest = [0, 1, 2, 3, 4, 5].map(|k| seen[k] * back - model[k]);
            let mut rows = Vec::with_capacity(size);
            for line in &movers {
                let per_ampere = |wire: &Wire| wire.whitened(sight.at_m, sight.upper_m, inverse);
                let by = |step: [f64; 3]| {
                    let [left, up, turn] = step;
                    let (more, less) = (
                        per_ampere(&line.wire.moved(left, up, turn)),
                        per_ampere(&line.wire.moved(-left, -up, -turn)),
                    );
                    let h = 2.0 * (left + up + turn);
                    [0, 1, 2, 3, 4, 5].map(|k| line.current_a * ((more[k] - less[k]) / h))
                };
                rows.extend([[1e-4, 0.0, 0.0], [0.0, 1e-4, 0.0], [0.0, 0.0, 1e-5]].map(by));
                let own = per_ampere(&line.wire);
                rows.push(own.map(|g| Complex64::new(g, 0.0)));
                rows.push(own.map(|g| Complex64::new(0.0, g)));
            }
            // What turns the whole look is its own phase, and tells nothing of the lines.
            if free {
                let size = size2.sqrt();
                let around = model.map(|z| Complex64::I * z / size);
                for row in &mut rows {
                    let along: f64 = row.iter().zip(around).map(|(a, b)| (a * b.conj()).re).sum();
                    row.iter_mut().zip(around).for_each(|(a, b)| *a -= b * along);
                }
            }
            normal.cost += rest.iter().map(Complex64::norm_sqr).sum::<f64>();
            let product = |a: &[Complex64; 6], b: &[Complex64; 6]| {
                a.iter().zip(b).map(|(a, b)| (a * b.conj()).re).sum::<f64>()
            };
            for (i, a) in rows.iter().enumerate() {
                normal.right[i] += product(a, &rest);
                for (j, b) in rows.iter().enumerate().take(i + 1) {
                    normal.matrix[(i, j)] += product(a, b);
                }
            }
        }
        normal.matrix.fill_upper_triangle_with_lower_triangle();
        normal
    }

    fn held(&self, fixed: Option<usize>) -> DMatrix<f64> {
        let mut matrix = self.matrix.clone();
        if let Some(fixed) = fixed {
            // As good as known.
            matrix[(fixed, fixed)] += 1e12 * (1.0 + matrix[(fixed, fixed)]);
        }
        matrix
    }

    fn step(&self, damping: f64, fixed: Option<usize>) -> Option<DVector<f64>> {
        let mut matrix = self.held(fixed);
        for i in 0..matrix.nrows() {
            matrix[(i, i)] *= 1.0 + damping;
        }
        matrix.cholesky().map(|decomposed| decomposed.solve(&self.right))
    }

    fn covariance(&self, fixed: Option<usize>) -> Option<DMatrix<f64>> {
        self.held(fixed).cholesky().map(|decomposed| decomposed.inverse())
    }
}
