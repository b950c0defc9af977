//! The best line in the fields of a walk, and how loud the noise beside it is.

use num_complex::Complex64;

use super::{Detector, Held, Peak, Template};
use crate::stats::median;

/// Medians of chi-square with ten and with four degrees of freedom; and how much, times the root of their number, the root
/// of the median of several strays.
const MEDIAN_10: (f64, f64) = (9.341_82, 0.28);
const MEDIAN_4: (f64, f64) = (3.356_69, 0.48);
/// Rounds in which the best line and the noise without it are found in turn.
const ROUNDS: usize = 6;

/// The best line of a sweep, by the noise that is left without it.
pub struct Heard<T> {
    /// The line.
    pub peak: Peak<T>,
    /// By how much the noise exceeds what was said, 1 and above.
    pub level: f64,
    /// The fields, over that noise.
    pub held: Held,
}

impl<T: Template> Detector<T> {
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
}
