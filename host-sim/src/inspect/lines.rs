//! Lines that stand out of the noise: the tone, the comb of the power grid, and whatever else.

use std::f64::consts::PI;

use serde::Serialize;

use super::power_db;
use super::spectrum::Spectrum;
use crate::stats::median;

/// The noise floor is the median over this many bins either side.
const FLOOR_BINS: usize = 25;
/// Power over the floor that makes a line. A bin of plain noise exceeds twenty medians once in 2^20
/// even in a single segment, where its power is exponentially distributed.
const LINE_RATIO: f64 = 20.0;
/// Lines lower than this are drift and handling, hertz.
const LOWEST_HZ: f64 = 10.0;
/// How far the tone may be from its nominal frequency, hertz.
const TONE_REACH_HZ: f64 = 3.0;
/// How far a line may be from a multiple of the grid's frequency to belong to it, hertz.
const COMB_REACH_HZ: f64 = 0.2;
/// Higher harmonics than this are smeared by the grid's wandering.
const TOP_HARMONIC: u32 = 60;
/// Up to this one a harmonic tells something of its fundamental.
const TELLING_HARMONIC: u32 = 13;
/// A harmonic this near can leak into the tone's filter while it settles, hertz.
const BESIDE_TONE_HZ: f64 = 15.0;
/// How many lines are listed.
const LISTED: usize = 20;

/// A narrow line in the spectrum of all channels together.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Line {
    /// Frequency, between bins.
    pub hz: f64,
    /// Peak amplitude, in the spectrum's unit.
    pub level: f64,
    /// Height above the noise around it, in one bin.
    pub above_floor_db: f64,
    /// What it is.
    pub kind: LineKind,
}

/// What a line is taken for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum LineKind {
    /// The tone that is listened for.
    Tone,
    /// This harmonic of the power grid.
    Mains(u32),
    /// Anything else.
    Other,
}

/// The tone as it was found.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Tone {
    /// Frequency.
    pub hz: f64,
    /// The same, less the nominal one.
    pub offset_hz: f64,
    /// Height above the noise around it, in one bin.
    pub above_floor_db: f64,
    /// Root mean square over time of its peak amplitude, for each trace of the spectrum.
    pub levels: Vec<f64>,
}

/// The power grid's comb.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Mains {
    /// 50 or 60.
    pub nominal_hz: u32,
    /// The fundamental, from all harmonics seen.
    pub hz: f64,
    /// Harmonics that are seen.
    pub harmonics: Vec<u32>,
    /// The harmonic that lies beside the tone, within 15 Hz of it, seen or not.
    pub beside_tone: Option<u32>,
}

/// Everything found.
#[derive(Default)]
pub(super) struct Found {
    pub tone: Option<Tone>,
    pub mains: Option<Mains>,
    pub lines: Vec<Line>,
}

/// Finds the lines of a spectrum in which a tone is expected.
pub(super) fn find(spectrum: &Spectrum, tone_hz: f64) -> Found {
    let total = spectrum.total();
    let mut lines = all_lines(&total, &floor(&total), spectrum.bin_hz);
    let tone = lines
        .iter_mut()
        .filter(|line| (line.hz - tone_hz).abs() <= TONE_REACH_HZ)
        .max_by(|a, b| a.level.total_cmp(&b.level))
        .map(|line| {
            line.kind = LineKind::Tone;
            tone_at(line, spectrum, tone_hz)
        });
    let mains = mains(&mut lines, tone_hz);
    lines.sort_by(|a, b| b.level.total_cmp(&a.level));
    lines.truncate(LISTED);
    Found { tone, mains, lines }
}

/// The noise around each bin.
pub(super) fn floor(total: &[f64]) -> Vec<f64> {
    let around = |bin: usize| {
        let last = total.len().min(bin + FLOOR_BINS + 1);
        total.get(bin.saturating_sub(FLOOR_BINS).max(1)..last).unwrap_or(&[])
    };
    (0..total.len()).map(|bin| median(&mut around(bin).to_vec())).collect()
}

fn all_lines(total: &[f64], floor: &[f64], bin_hz: f64) -> Vec<Line> {
    let triples = total.windows(3).zip(floor.iter().skip(1)).zip(1..);
    triples
        .filter_map(|((triple, &floor), bin)| {
            let &[before, here, after] = triple else {
                return None;
            };
            let peak = here > before && here >= after && before > 0.0 && after > 0.0;
            if !peak || here <= LINE_RATIO * floor || bin as f64 * bin_hz < LOWEST_HZ {
                return None;
            }
            let (shift, gain) = between_bins(before.sqrt(), here.sqrt(), after.sqrt());
            let power = here * gain * gain;
            Some(Line {
                hz: (f64::from(bin) + shift) * bin_hz,
                level: power.sqrt(),
                above_floor_db: power_db(power / floor),
                kind: LineKind::Other,
            })
        })
        .collect()
}

/// Where a line lies between its bins, and how much higher it is than its bin shows. Exact for a sine: the
/// transform of a Hann window is sin(pi x) / (pi x (1 - x^2)), so that two neighbouring bins have the
/// ratio r = (1 + d) / (2 - d) when the line is d from the larger one.
fn between_bins(before: f64, here: f64, after: f64) -> (f64, f64) {
    let ratio = before.max(after) / here;
    // A neighbour of less than half is noise: no line between the bins looks like that.
    let d = ((2.0 * ratio - 1.0) / (ratio + 1.0)).max(0.0);
    let turn = PI * d;
    let gain = if d > 1e-6 { turn * (1.0 - d * d) / turn.sin() } else { 1.0 };
    (d.copysign(after - before), gain)
}

fn tone_at(line: &Line, spectrum: &Spectrum, nominal_hz: f64) -> Tone {
    let bin = (line.hz / spectrum.bin_hz).round() as usize;
    let total: f64 = spectrum.power.iter().filter_map(|power| power.get(bin)).sum();
    let share = |power: &Vec<f64>| power.get(bin).map_or(0.0, |p| (p / total).sqrt());
    Tone {
        hz: line.hz,
        offset_hz: line.hz - nominal_hz,
        above_floor_db: line.above_floor_db,
        levels: spectrum.traces.iter().map(|trace| line.level * share(&trace.power)).collect(),
    }
}

/// Finds the grid: the fundamental near 50 or 60 Hz whose multiples meet the most lines, and marks them.
fn mains(lines: &mut [Line], tone_hz: f64) -> Option<Mains> {
    // Tries fundamentals 5 mHz apart, out to 1 % of nominal (EN 50160 limit for 99.5 % of a year, from memory).
    let tries = [50_u32, 60].into_iter().flat_map(|nominal_hz| {
        (-100..=100).map(move |step| (nominal_hz, f64::from(nominal_hz) * (1.0 + 1e-4 * f64::from(step))))
    });
    let score = |hz: f64| -> f64 {
        // Above 40 dB a line says no more: one strong one is not to outvote a comb.
        members(lines, hz).map(|(_, line)| line.above_floor_db.min(40.0)).sum()
    };
    let (nominal_hz, first_hz) = tries
        .map(|(nominal_hz, hz)| (nominal_hz, hz, score(hz)))
        .max_by(|a, b| a.2.total_cmp(&b.2))
        .map(|(nominal_hz, hz, _)| (nominal_hz, hz))?;
    let harmonics: Vec<u32> = members(lines, first_hz).map(|(k, _)| k).collect();
    // A line or two may be anything, except where a grid shows first: at 1, 2 or 3 times its frequency.
    // Far up any line is near some multiple.
    let low = harmonics.iter().filter(|&&k| k <= TELLING_HARMONIC).count();
    if low < 3 && !harmonics.iter().any(|&k| k <= 3) {
        return None;
    }
    // Least squares of k hz to the lines seen, all equally sure.
    let (moment, weight) = members(lines, first_hz)
        .map(|(k, line)| (f64::from(k) * line.hz, f64::from(k).powi(2)))
        .fold((0.0, 0.0), |sum, one| (sum.0 + one.0, sum.1 + one.1));
    let hz = moment / weight;
    for line in lines.iter_mut() {
        if let Some(k) = harmonic(line, first_hz) {
            line.kind = LineKind::Mains(k);
        }
    }
    let nearest = (tone_hz / hz).round();
    let beside_tone = ((nearest * hz - tone_hz).abs() <= BESIDE_TONE_HZ).then_some(nearest as u32);
    Some(Mains { nominal_hz, hz, harmonics, beside_tone })
}

/// The lines that are harmonics of `hz`, with their numbers.
fn members(lines: &[Line], hz: f64) -> impl Iterator<Item = (u32, &Line)> {
    lines.iter().filter_map(move |line| Some((harmonic(line, hz)?, line)))
}

fn harmonic(line: &Line, hz: f64) -> Option<u32> {
    let k = (line.hz / hz).round();
    let belongs = line.kind == LineKind::Other && (line.hz - k * hz).abs() <= COMB_REACH_HZ;
    (belongs && (1.0..=f64::from(TOP_HARMONIC)).contains(&k)).then_some(k as u32)
}
