//! Which kind of source a walk was over.

use glam::Vec3;

use super::{Line, PAIR_UNKNOWNS, Pair, Traced, UNKNOWNS, start, traverse_pair};
use crate::depth::Measured;
use crate::field;
use crate::fit::Dipole;
use crate::fit::ring::{Look, Mergeable, Ring};
use crate::fit::traverse::{Shared, Traversed, UNKNOWNS as DIPOLE_UNKNOWNS, over};
use crate::math;

/// What is tried as the dipole's depth, over that which the nodes' ratio gives at the strongest look.
const DEPTHS: [f32; 3] = [1.0, 0.75, 1.4];
/// The lower the score, the likelier: by e for each 2.
const DECIDED: f32 = 10.0;

/// A kind of source.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A sonde.
    Dipole,
    /// A long line whose current returns far away.
    Line,
    /// Two conductors side by side, out and back.
    Pair,
}

/// All three fits of one walk.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Models {
    /// As a dipole.
    pub dipole: Option<Traversed>,
    /// As a line.
    pub line: Option<Traced<Line, UNKNOWNS>>,
    /// As a pair.
    pub pair: Option<Traced<Pair, PAIR_UNKNOWNS>>,
    looks: usize,
}

/// Which kind, and how surely.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Choice {
    /// The likeliest.
    pub kind: Kind,
    /// By how much its score is below the next one's; infinite where no other fit came to rest.
    pub margin: f32,
}

impl Choice {
    /// The lowest score of those that there are.
    pub(super) fn of(scores: [(Kind, Option<f32>); 3]) -> Option<Self> {
        let (mut best, mut next) = (None, f32::INFINITY);
        for (kind, score) in scores {
            let Some(score) = score else { continue };
            match best {
                Some((_, least)) if score >= least => next = next.min(score),
                _ => {
                    next = next.min(best.map_or(f32::INFINITY, |(_, least)| least));
                    best = Some((kind, score));
                }
            }
        }
        best.map(|(kind, score)| Self { kind, margin: next - score })
    }

    /// Whether the next one is less likely by a factor of 150 and more.
    pub fn is_decided(&self) -> bool {
        self.margin > DECIDED
    }
}

impl Models {
    /// Fit all three. `returned_per_m` is what [`super::traverse()`] believes of the soil.
    ///
    /// ```
    /// use glam::Vec3;
    /// use nullwalk_core::depth::Measured;
    /// use nullwalk_core::fit::{Look, Ring, Shared, line::{Kind, Line, Models}};
    /// let truth = Line { at_m: Vec3::new(0.0, 0.2, -1.1), along: Vec3::X, current_a: 0.01, returned_per_m: 0.0 };
    /// let upper_m = Vec3::new(0.0, 0.0, 0.4);
    /// let mut walk = Ring::<80>::default();
    /// for (x, n) in [-0.5, 0.5].into_iter().flat_map(|x| (0..40).map(move |n| (x, n))) {
    ///     let at_m = Vec3::new(x, 0.1 * n as f32 - 2.0, 0.0);
    ///     let fields_nt = [truth.field_nt(at_m), truth.field_nt(at_m + upper_m)];
    ///     let (sigma_nt, pose_sigma_m) = ([0.1; 2], Vec3::ZERO);
    ///     walk.push(Look { at_m, upper_m, fields_nt, sigma_nt, pose_sigma_m, spread_m: Vec3::ZERO });
    /// }
    /// let shared = Shared { node_ratio: 0.01, ..Shared::default() };
    /// let choice = Models::of(&walk, &shared, Measured::default()).choice().unwrap();
    /// assert!(choice.kind == Kind::Line && choice.is_decided());
    /// ```
    pub fn of<const N: usize, L: Mergeable>(
        walk: &Ring<N, L>,
        shared: &Shared,
        returned_per_m: Measured,
    ) -> Self {
        let line = start(walk).and_then(|start| super::traverse(walk, start, shared, returned_per_m).ok());
        Self {
            dipole: dipole(walk, shared),
            line,
            pair: traverse_pair(walk, shared).ok(),
            looks: walk.looks().len(),
        }
    }

    /// The likeliest of those that came to rest, by Schwarz's criterion (1978): chi-square, and for every unknown the
    /// logarithm of how many numbers were measured. `None` where no fit came to rest. It says which is the best of
    /// the three, not that it is good: for that there is chi-square.
    pub fn choice(&self) -> Option<Choice> {
        let dear = math::ln(6.0 * self.looks.max(1) as f32);
        let score = |chi_square: f32, unknowns: usize| chi_square + dear * unknowns as f32;
        Choice::of([
            (Kind::Dipole, self.dipole.map(|d| score(d.chi_square, DIPOLE_UNKNOWNS))),
            (Kind::Line, self.line.map(|l| score(l.chi_square, UNKNOWNS))),
            (Kind::Pair, self.pair.map(|p| score(p.chi_square, PAIR_UNKNOWNS))),
        ])
    }
}

/// A dipole that begins beneath the strongest look.
fn dipole<const N: usize, L: Mergeable>(walk: &Ring<N, L>, shared: &Shared) -> Option<Traversed> {
    let mut looks = heapless::Vec::<Look, N>::new();
    // There is room for all: `collect` would not know.
    walk.looks().iter().for_each(|sight| looks.push(*sight.look()).unwrap_or(()));
    let look = start::strongest(looks.iter())?;
    let [field_nt, _] = look.fields_nt;
    let mut best: Option<Traversed> = None;
    for share in DEPTHS {
        let below = Vec3::Z * (share * start::depth_below(look, 3.0));
        let field_t = (field_nt * 1e-9).to_array();
        let moment = Vec3::from_array(field::dipole_moment(field_t, below.to_array()));
        let found = over::<N>(&looks, Dipole { at_m: look.at_m - below, moment }, shared);
        if let Ok(found) = found
            && best.is_none_or(|best| found.chi_square < best.chi_square)
        {
            best = Some(found);
        }
    }
    best
}
