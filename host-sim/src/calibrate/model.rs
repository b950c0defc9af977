//! What the coils must read, given their errors, the fields in the slots, and how the mast lay.
//!
//! ```text
//! reading of coil c in attitude k = s_k · g_c · a_c · ( (R_k E_k)^T B_slot )
//! ```
//!
//! with the complex gain `g_c`, the direction `a_c`, the attitude `R_k` as planned and its small error `E_k`,
//! the real field `B` in the slot, and the strength and phase `s_k` of the source in that recording.
//!
//! Everything is an unknown; what is known beforehand about it enters as one more residual, so that what
//! the recordings leave open stays where it was, with the uncertainty it had.

use glam::{DMat3, DQuat, DVec3};
use num_complex::Complex64;

use super::plan::Plan;
use super::reading::Reading;
use crate::equipment::ArrayFile;

/// Unknowns of each coil: log gain, phase, and two small angles.
pub(super) const PER_COIL: usize = 4;
/// Unknowns of each slot: its field.
const PER_SLOT: usize = 3;
/// Unknowns of each attitude: phase and log strength of the source, three small angles.
const PER_ATTITUDE: usize = 5;
/// A field that no recording shows is this uncertain, in units of the strongest. It only keeps the
/// equations solvable.
const UNSEEN_FIELD: f64 = 1000.0;

/// A coil as it is described, before calibration.
#[derive(Debug, Clone, Copy)]
pub(super) struct Coil {
    pub node: usize,
    pub axis: DVec3,
    /// Two directions across the axis, into which it may lean.
    pub across: [DVec3; 2],
}

/// One recording.
#[derive(Debug, Clone)]
struct Attitude {
    rotation: DMat3,
    /// The slot of each node.
    slots: Vec<usize>,
    reading: Reading,
}

/// Everything that is known before the fit.
#[derive(Debug, Clone)]
pub(super) struct Model {
    pub coils: Vec<Coil>,
    slots: usize,
    attitudes: Vec<Attitude>,
    /// Tesla of one unit of field.
    unit_t: f64,
    prior: Prior,
}

/// Standard deviations of the unknowns before the recordings.
#[derive(Debug, Clone, Copy)]
pub(super) struct Prior {
    pub gain: f64,
    pub phase_rad: f64,
    pub axis_rad: f64,
    angle_rad: f64,
    strength: f64,
    place: f64,
}

impl Model {
    /// The model of a plan's recordings. There must be one reading for each attitude, one value for each coil, and
    /// a slot for each node.
    pub fn new(plan: &Plan, array: &ArrayFile, readings: &[Reading]) -> Self {
        let coils: Vec<Coil> = array
            .node
            .iter()
            .enumerate()
            .flat_map(|(node, described)| described.coil.iter().map(move |coil| (node, coil)))
            .map(|(node, coil)| {
                let axis = DVec3::from_array(coil.axis).normalize_or(DVec3::Z);
                let (p, q) = axis.any_orthonormal_pair();
                Coil { node, axis, across: [p, q] }
            })
            .collect();
        let names = plan.slot_names();
        let number = |name: &String| names.iter().position(|n| n == name).unwrap_or(0);
        let attitudes = plan
            .attitude
            .iter()
            .zip(readings)
            .map(|(attitude, reading)| Attitude {
                rotation: attitude.rotation(),
                slots: attitude.slots.iter().map(number).collect(),
                reading: reading.clone(),
            })
            .collect();
        let largest = |reading: &Reading| reading.iter().map(|r| r.field_t.norm()).fold(0.0, f64::max);
        Self {
            coils,
            slots: names.len(),
            attitudes,
            unit_t: readings.iter().map(largest).fold(f64::MIN_POSITIVE, f64::max),
            prior: Prior {
                gain: plan.expected.gain,
                phase_rad: plan.expected.phase_deg.to_radians(),
                axis_rad: plan.expected.axis_deg.to_radians(),
                angle_rad: plan.angle_sigma_deg.to_radians(),
                strength: plan.strength_sigma,
                place: plan.place_sigma,
            },
        }
    }

    /// The same without one attitude.
    pub fn without(&self, attitude: usize) -> Self {
        let mut rest = self.clone();
        rest.attitudes.remove(attitude);
        rest
    }

    /// The same with the readings of one coil reversed.
    pub fn with_reversed(&self, coil: usize) -> Self {
        let mut other = self.clone();
        for reading in other.attitudes.iter_mut().filter_map(|a| a.reading.get_mut(coil)) {
            reading.field_t = -reading.field_t;
        }
        other
    }

    pub fn attitudes(&self) -> usize {
        self.attitudes.len()
    }

    pub fn prior(&self) -> Prior {
        self.prior
    }

    /// Where the unknowns of a coil begin: log gain, phase, lean into each direction across.
    pub fn coil_at(&self, coil: usize) -> usize {
        coil * PER_COIL
    }

    fn slot_at(&self, slot: usize) -> usize {
        self.coils.len() * PER_COIL + slot * PER_SLOT
    }

    fn attitude_at(&self, attitude: usize) -> usize {
        self.slot_at(self.slots) + attitude * PER_ATTITUDE
    }

    /// Number of unknowns.
    pub fn unknowns(&self) -> usize {
        self.attitude_at(self.attitudes.len())
    }

    /// Residuals that belong to the recordings: two for each coil and one for each thing known of how the
    /// attitude was laid, attitude by attitude.
    pub fn residuals_per_attitude(&self) -> usize {
        2 * self.coils.len() + 4
    }

    /// The log of how far the field found in a slot exceeds `stated_t`, how that plus the mean log gain depends on the
    /// unknowns, and the angle between the two fields.
    pub fn against(&self, stated_t: DVec3, slot: usize, x: &[f64]) -> (f64, Vec<f64>, f64) {
        let found = vector(x, self.slot_at(slot));
        let mut slope = vec![0.0; self.unknowns()];
        for coil in 0..self.coils.len() {
            slope[self.coil_at(coil)] = 1.0 / self.coils.len() as f64;
        }
        slope[self.slot_at(slot)..][..3].copy_from_slice(&(found / found.length_squared()).to_array());
        let angle = found.angle_between(stated_t);
        let excess = (found.length() * self.unit_t / stated_t.length()).ln();
        (excess, slope, angle.min(std::f64::consts::PI - angle))
    }

    /// A start: coils as described, fields and phases as these coils show them.
    pub fn start(&self) -> Vec<f64> {
        let mut x = vec![0.0; self.unknowns()];
        let mut sums = vec![(DVec3::ZERO, 0.0); self.slots];
        let mut waiting: Vec<usize> = (0..self.attitudes.len()).collect();
        // Attitudes whose slots have been seen before come first: they get their phase from them.
        while !waiting.is_empty() {
            let seen = |&k: &usize| {
                self.attitudes.get(k).is_some_and(|a| a.slots.iter().any(|&s| sums[s].1 > 0.0))
            };
            let next = waiting.iter().position(seen).unwrap_or(0);
            let k = waiting.remove(next);
            let fields = self.fields_of(k);
            let in_step: Complex64 = fields
                .iter()
                .map(|(s, re, im)| sums[*s].0.dot(*re) + Complex64::i() * sums[*s].0.dot(*im))
                .sum();
            let squares: Complex64 = fields
                .iter()
                .map(|(_, re, im)| {
                    Complex64::new(re.length_squared() - im.length_squared(), 2.0 * re.dot(*im))
                })
                .sum();
            let phase = if in_step.norm() > 0.0 { in_step.arg() } else { 0.5 * squares.arg() };
            x[self.attitude_at(k)] = phase;
            for (slot, re, im) in fields {
                sums[slot].0 += re * phase.cos() + im * phase.sin();
                sums[slot].1 += 1.0;
            }
        }
        for (slot, (sum, count)) in sums.into_iter().enumerate() {
            let mean = if count > 0.0 { sum / count } else { sum };
            x[self.slot_at(slot)..][..3].copy_from_slice(&mean.to_array());
        }
        x
    }

    /// The complex field in each slot of an attitude, in the room, as the described coils see it.
    fn fields_of(&self, k: usize) -> Vec<(usize, DVec3, DVec3)> {
        let attitude = &self.attitudes[k];
        let node = |(node, &slot): (usize, &usize)| {
            let of_node = || self.coils.iter().zip(&attitude.reading).filter(move |(c, _)| c.node == node);
            let axes: Vec<DVec3> = of_node().map(|(c, _)| c.axis).collect();
            let [a, b, c] = axes.as_slice() else { return (slot, DVec3::ZERO, DVec3::ZERO) };
            let back = attitude.rotation * DMat3::from_cols(*a, *b, *c).transpose().inverse();
            let part = |take: fn(Complex64) -> f64| {
                let values: Vec<f64> = of_node().map(|(_, r)| take(r.field_t) / self.unit_t).collect();
                back * vector(&values, 0)
            };
            (slot, part(|z| z.re), part(|z| z.im))
        };
        attitude.slots.iter().enumerate().map(node).collect()
    }

    /// Everything that should be zero, each in units of its own uncertainty: first attitude by attitude,
    /// then what is known of coils and fields. The weights belong to the fields in `weigh_by`.
    pub fn residuals(&self, x: &[f64], weigh_by: &[f64]) -> Vec<f64> {
        let mut residuals =
            Vec::with_capacity(self.attitudes.len() * self.residuals_per_attitude() + x.len());
        for (k, attitude) in self.attitudes.iter().enumerate() {
            let own = &x[self.attitude_at(k)..][..PER_ATTITUDE];
            for ((coil, reading), off) in self.coils.iter().zip(&attitude.reading).zip(self.off(k, x)) {
                let field = vector(weigh_by, self.slot_at(attitude.slots[coil.node])).length();
                let sigma = (reading.sigma_t / self.unit_t).hypot(self.prior.place * field);
                residuals.extend([off.re / sigma, off.im / sigma]);
            }
            residuals.push(own[1] / self.prior.strength);
            residuals.extend(own[2..].iter().map(|angle| angle / self.prior.angle_rad));
        }
        for c in 0..self.coils.len() {
            let own = &x[self.coil_at(c)..][..PER_COIL];
            let Prior { gain, phase_rad, axis_rad, .. } = self.prior;
            residuals.extend(own.iter().zip([gain, phase_rad, axis_rad, axis_rad]).map(|(x, s)| x / s));
        }
        residuals.extend(x[self.slot_at(0)..self.attitude_at(0)].iter().map(|b| b / UNSEEN_FIELD));
        residuals
    }

    /// How far each coil's reading in an attitude is from what it should be, in units of field.
    fn off(&self, k: usize, x: &[f64]) -> Vec<Complex64> {
        let attitude = &self.attitudes[k];
        let own = &x[self.attitude_at(k)..][..PER_ATTITUDE];
        let source = Complex64::from_polar(own[1].exp(), own[0]);
        let turn = DMat3::from_quat(DQuat::from_scaled_axis(vector(own, 2)));
        let to_mast = (attitude.rotation * turn).transpose();
        let off = |(c, coil): (usize, &Coil)| {
            let field = to_mast * vector(x, self.slot_at(attitude.slots[coil.node]));
            let expected = source * self.gain(c, x) * self.direction(c, x).dot(field);
            attitude.reading[c].field_t / self.unit_t - expected
        };
        self.coils.iter().enumerate().map(off).collect()
    }

    /// Root mean square of what the fit leaves of the readings, relative to the field at their node.
    pub fn relative_residual(&self, x: &[f64]) -> f64 {
        let mut squares = 0.0;
        for (k, attitude) in self.attitudes.iter().enumerate() {
            for (coil, off) in self.coils.iter().zip(self.off(k, x)) {
                let field = vector(x, self.slot_at(attitude.slots[coil.node]));
                squares += off.norm_sqr() / field.length_squared();
            }
        }
        (squares / (self.attitudes.len() * self.coils.len()) as f64).sqrt()
    }

    /// The directions in the room that a coil pointed to.
    pub fn pointings(&self, coil: usize) -> Vec<DVec3> {
        self.attitudes.iter().map(|a| a.rotation * self.coils[coil].axis).collect()
    }

    /// The largest reading of a coil in units of the largest of all.
    pub fn largest(&self, coil: usize) -> f64 {
        let reading = |a: &Attitude| a.reading[coil].field_t.norm() / self.unit_t;
        self.attitudes.iter().map(reading).fold(0.0, f64::max)
    }

    /// Whether some slot has held every node.
    pub fn nodes_swapped(&self) -> bool {
        let held = |slot, node| self.attitudes.iter().any(|a| a.slots[node] == slot);
        let nodes = self.attitudes.iter().map(|a| a.slots.len()).max().unwrap_or(0);
        (0..self.slots).any(|slot| (0..nodes).all(|node| held(slot, node)))
    }

    /// Ratio of the signal of an attitude, all coils together, to its noise.
    pub fn signal_to_noise(&self, k: usize) -> f64 {
        let reading = &self.attitudes[k].reading;
        let signal: f64 = reading.iter().map(|r| r.field_t.norm_sqr()).sum();
        let noise: f64 = reading.iter().map(|r| 2.0 * r.sigma_t * r.sigma_t).sum();
        (signal / noise.max(f64::MIN_POSITIVE)).sqrt()
    }

    fn gain(&self, coil: usize, x: &[f64]) -> Complex64 {
        let at = self.coil_at(coil);
        Complex64::from_polar(x[at].exp(), x[at + 1])
    }

    /// The direction of a coil, of length 1.
    pub fn direction(&self, coil: usize, x: &[f64]) -> DVec3 {
        let at = self.coil_at(coil);
        let Coil { axis, across: [p, q], .. } = self.coils[coil];
        (axis + p * x[at + 2] + q * x[at + 3]).normalize()
    }

    /// How `ln |B_1| - ln |B_0|` as the array gives it for a field along `u` at both nodes depends on the errors of the coils:
    /// one number for each unknown. Empty unless there are two nodes.
    pub fn node_ratio_slope(&self, u: DVec3) -> Vec<f64> {
        let mut slope = vec![0.0; self.slot_at(0)];
        for node in 0..2 {
            let own: Vec<usize> = (0..self.coils.len()).filter(|&c| self.coils[c].node == node).collect();
            let [a, b, c] = own.as_slice() else { return Vec::new() };
            let axes = [a, b, c].map(|&c| self.coils[c].axis);
            let unmix = DMat3::from_cols(axes[0], axes[1], axes[2]).transpose().inverse();
            // The field along u is u . unmix . readings.
            let share = (unmix.transpose() * u).to_array();
            let sign = if node == 0 { -1.0 } else { 1.0 };
            for (&coil, share) in own.iter().zip(share) {
                let (at, Coil { axis, across: [p, q], .. }) = (self.coil_at(coil), self.coils[coil]);
                slope[at] = sign * share * axis.dot(u);
                slope[at + 2] = sign * share * p.dot(u);
                slope[at + 3] = sign * share * q.dot(u);
            }
        }
        slope
    }
}

fn vector(x: &[f64], at: usize) -> DVec3 {
    x.get(at..at + 3).map_or(DVec3::ZERO, DVec3::from_slice)
}
