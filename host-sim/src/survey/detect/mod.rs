//! Is there a line at all? Every line that could lie there is compared with the fields, and the best is a find only if
//! noise alone would be so good as rarely as was asked.

mod climb;
mod grid;
mod heard;
mod held;
mod stretch;
mod template;
mod threshold;

use std::ops::Range;

use glam::DVec2;
use num_complex::Complex64;
use rayon::prelude::*;

pub use held::Held;
pub use template::{Template, whitened};

use super::tails::Powers;
use super::walk::{Phase, Walk};
use super::wire::Wire;
use held::{PRODUCTS, White, products, sums};
use stretch::{Stretch, groups, stretch};

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
    groups: Vec<Range<usize>>,
    stretches: Vec<Stretch>,
    grid: Vec<T>,
}

impl Detector {
    /// For a walk whose looks have these noises (lower and upper node, nanotesla), and every line that passes the places.
    pub fn new(walk: &Walk, noise_nt: &[[f64; 2]], corners_m: &[DVec2]) -> Self {
        Self::of(walk, noise_nt, grid::lines(walk, corners_m))
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
        (held.sum(&row), powers)
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
                    better(best, Peak { wire: *wire, surprise: powers.surprise(held.sum(&row)) });
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
}
