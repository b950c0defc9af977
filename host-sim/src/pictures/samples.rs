//! Raw samples over time, as much of them as pictures need: levels, clipping, gaps, and the spectrum of each half second.

use std::f64::consts::TAU;

use realfft::RealFftPlanner;

use crate::capture::{Capture, CaptureError};

/// Columns are added together until there are so many at most.
pub const MOST_COLUMNS: usize = 160;
/// Rows of the waterfall.
pub const ROWS: usize = 140;
/// Time steps of the levels, seconds.
const LEVEL_S: f64 = 0.1;
/// A gap is no longer in the picture than this, seconds: its length is a number that anybody may have written.
const LONGEST_GAP_S: f64 = 60.0;
/// Length of a window, seconds; windows overlap by half.
const WINDOW_S: f64 = 0.5;

/// What was seen.
#[derive(Debug, Clone, Default)]
pub struct Seen {
    /// Largest magnitude of any channel as a share of the rail, for each step of time.
    pub levels: Vec<(f64, f64)>,
    /// Times at which samples were at the rail.
    pub clipped_s: Vec<f64>,
    /// Columns in the order of time: squared amplitude of all channels by row, at a gain of 1.
    pub columns: Vec<Vec<f64>>,
    /// Time between columns, seconds.
    pub column_s: f64,
    /// Height of a row, hertz.
    pub row_hz: f64,
}

/// Read a capture once.
pub fn look<const C: usize>(capture: &Capture) -> Result<Seen, CaptureError> {
    let rate_hz = capture.description.signal.sample_rate_hz;
    let tone_hz = capture.description.signal.tone_hz;
    let rail = f64::from(capture.ladder.rail_counts());
    let length = ((WINDOW_S * rate_hz) as usize & !1).max(64);
    let top_hz = (2.0 * tone_hz).max(700.0).min(rate_hz / 2.0);
    let row_hz = top_hz / ROWS as f64;
    let mut seen = Seen { column_s: length as f64 / 2.0 / rate_hz, row_hz, ..Seen::default() };
    let fft = RealFftPlanner::<f64>::new().plan_fft_forward(length);
    let (mut input, mut output) = (fft.make_input_vec(), fft.make_output_vec());
    let hann: Vec<f64> = (0..length).map(|n| 0.5 - 0.5 * (TAU * n as f64 / length as f64).cos()).collect();
    let level_frames = ((LEVEL_S * rate_hz) as u64).max(1);
    let longest_gap = (LONGEST_GAP_S * rate_hz) as u64;
    let mut pending: Vec<[f64; C]> = Vec::new();
    let (mut next, mut level, mut level_at) = (0_u64, 0.0_f64, 0_u64);
    capture.reader::<C>()?.each_block(|block, _| {
        // What was lost is silence, so that time goes on.
        let lost = block.start.saturating_sub(next).min(longest_gap);
        pending.resize(pending.len() + usize::try_from(lost).unwrap_or(0), [0.0; C]);
        next = block.start + block.frames.len() as u64;
        let gain = capture.ladder.rungs().get(usize::from(block.rung)).map_or(1.0, |r| f64::from(r.gain));
        for (frame, at) in block.frames.iter().zip(block.start..) {
            let largest = frame.iter().map(|c| f64::from(c.unsigned_abs())).fold(0.0, f64::max);
            level = level.max(largest / rail);
            if largest >= rail {
                let time_s = at as f64 / rate_hz;
                if seen.clipped_s.last().is_none_or(|last| time_s - last > LEVEL_S) {
                    seen.clipped_s.push(time_s);
                }
            }
            if at >= level_at + level_frames {
                seen.levels.push((at as f64 / rate_hz, level));
                (level, level_at) = (0.0, at);
            }
            pending.push(frame.map(|c| f64::from(c) / gain));
        }
        while pending.len() >= length {
            let mut column = vec![0.0; ROWS];
            for channel in 0..C {
                for ((x, frame), weight) in input.iter_mut().zip(&pending).zip(&hann) {
                    *x = frame[channel] * weight;
                }
                // Lengths are the plan's own, so it cannot fail.
                let _ = fft.process(&mut input, &mut output);
                for (bin, z) in output.iter().enumerate() {
                    let row = (bin as f64 * rate_hz / length as f64 / row_hz) as usize;
                    if let Some(cell) = column.get_mut(row) {
                        *cell = f64::max(*cell, 16.0 * z.norm_sqr() / (length as f64).powi(2));
                    }
                }
            }
            seen.columns.push(column);
            pending.drain(..length / 2);
        }
    })?;
    while seen.columns.len() > MOST_COLUMNS {
        seen.columns = seen.columns.chunks(2).map(louder).collect();
        seen.column_s *= 2.0;
    }
    Ok(seen)
}

/// The louder of two columns, row by row: what was there for a moment stays to be seen.
fn louder(pair: &[Vec<f64>]) -> Vec<f64> {
    let mut louder = pair.first().cloned().unwrap_or_default();
    for column in pair.iter().skip(1) {
        for (a, b) in louder.iter_mut().zip(column) {
            *a = a.max(*b);
        }
    }
    louder
}
