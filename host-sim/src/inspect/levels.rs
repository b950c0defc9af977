//! Levels of the channels over time, against the rail.

use nullwalk_core::frame::Block;
use nullwalk_core::gain::Ladder;
use serde::Serialize;

use super::amplitude_db;
use crate::capture::Capture;
use crate::stats::median;

/// A converter that gives the same extreme value this many times in a row has hit something.
const STUCK_RUN: u32 = 3;
/// Levels as low as this below their siblings' are those of a dead channel.
const DEAD_DB: f64 = -40.0;
/// What no level at all is called.
const SILENCE_DB: f64 = -200.0;

/// One channel's levels. Decibels are relative to full scale, counts those of the converter.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Channel {
    /// Number, counted from 0.
    pub channel: usize,
    /// The coil on it, as in `lower x`; empty where none is described.
    pub coil: String,
    /// Mean.
    pub offset_counts: f64,
    /// Root mean square about the mean.
    pub rms_counts: f64,
    /// The same, dB relative to full scale.
    pub rms_dbfs: f64,
    /// Largest magnitude.
    pub peak_counts: i32,
    /// The same, dB relative to full scale.
    pub peak_dbfs: f64,
    /// From the peak up to the rail, dB; not positive when it clips.
    pub headroom_db: f64,
    /// Samples at the rail.
    pub clipped: u64,
    /// Samples in runs of at least three at the channel's own extreme: the chain clips there.
    pub stuck_at_peak: u64,
    /// Level relative to the median of the other channels, dB.
    pub among_siblings_db: f64,
    /// Never changes, or lies at least 40 dB below its siblings.
    pub dead: bool,
}

/// How one rung was used.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct RungUse {
    /// Number, counted from 0.
    pub rung: u8,
    /// Its gain.
    pub gain: f64,
    /// Time on it, seconds.
    pub time_s: f64,
    /// Largest magnitude of any channel on it.
    pub peak_counts: i32,
    /// From the peak up to the rail, dB.
    pub headroom_db: f64,
    /// Samples at the rail on it, all channels.
    pub clipped: u64,
}

/// A time during which one rung was in force.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct RungSpan {
    /// Beginning, seconds.
    pub from_s: f64,
    /// End, seconds.
    pub to_s: f64,
    /// Number of the rung.
    pub rung: u8,
}

/// A place where samples were lost.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Gap {
    /// Time of the first lost sample, seconds.
    pub at_s: f64,
    /// Frames lost.
    pub frames: u64,
}

/// What the levels say in the end.
pub(super) struct Found {
    pub frames: u64,
    pub duration_s: f64,
    pub mast_readings: usize,
    pub channels: Vec<Channel>,
    pub rungs: Vec<RungUse>,
    pub rung_spans: Vec<RungSpan>,
    pub gaps: Vec<Gap>,
    /// Frames in the longest stretch without a gap or a change of gain.
    pub longest_stretch: u64,
}

/// Sums over the samples, in integers, so that nothing is lost however long the capture.
#[derive(Clone, Copy)]
struct Sums {
    sum: i64,
    squares: u128,
    low: Extreme,
    high: Extreme,
    clipped: u64,
}

/// The smallest or largest count so far, and how often it stood still there.
#[derive(Clone, Copy, Default)]
struct Extreme {
    count: Option<i32>,
    run: u32,
    stuck: u64,
}

impl Extreme {
    /// `beyond` tells whether the first count lies further out than the second.
    fn add(&mut self, count: i32, beyond: impl Fn(&i32, &i32) -> bool) {
        match self.count {
            Some(extreme) if extreme == count => {
                self.run += 1;
                match self.run {
                    STUCK_RUN => self.stuck += u64::from(STUCK_RUN),
                    run if run > STUCK_RUN => self.stuck += 1,
                    _ => {}
                }
            }
            Some(extreme) if !beyond(&count, &extreme) => self.run = 0,
            _ => *self = Self { count: Some(count), run: 1, stuck: 0 },
        }
    }
}

/// Gathers the levels of a capture block by block.
pub(super) struct Levels<'c, const C: usize> {
    capture: &'c Capture,
    sums: [Sums; C],
    rungs: Vec<(u64, i32, u64)>,
    spans: Vec<(u64, u64, u8)>,
    gaps: Vec<(u64, u64)>,
    frames: u64,
    next: u64,
    mast_readings: usize,
}

impl<'c, const C: usize> Levels<'c, C> {
    pub fn new(capture: &'c Capture) -> Self {
        let none =
            Sums { sum: 0, squares: 0, low: Extreme::default(), high: Extreme::default(), clipped: 0 };
        Self {
            capture,
            sums: [none; C],
            rungs: vec![(0, 0, 0); capture.ladder.rungs().len()],
            spans: Vec::new(),
            gaps: Vec::new(),
            frames: 0,
            next: 0,
            mast_readings: 0,
        }
    }

    pub fn add(&mut self, block: &Block<'_, C>, has_mast: bool) {
        let length = block.frames.len() as u64;
        let end = block.start + length;
        let gap = block.start - self.next;
        if gap > 0 {
            self.gaps.push((self.next, gap));
        }
        match self.spans.last_mut() {
            Some((_, until, rung)) if gap == 0 && *rung == block.rung => *until = end,
            _ => self.spans.push((block.start, end, block.rung)),
        }
        let rail = self.capture.ladder.rail_counts();
        let mut peak = 0;
        let mut clipped = 0;
        for frame in block.frames {
            for (&count, sums) in frame.iter().zip(&mut self.sums) {
                sums.sum += i64::from(count);
                sums.squares += u128::from(count.unsigned_abs()).pow(2);
                sums.low.add(count, |a, b| a < b);
                sums.high.add(count, |a, b| a > b);
                let magnitude = count.abs();
                peak = peak.max(magnitude);
                if magnitude >= rail {
                    sums.clipped += 1;
                    clipped += 1;
                }
            }
        }
        if let Some((frames, highest, at_rail)) = self.rungs.get_mut(usize::from(block.rung)) {
            *frames += length;
            *highest = peak.max(*highest);
            *at_rail += clipped;
        }
        self.frames += length;
        self.next = end;
        self.mast_readings += usize::from(has_mast);
    }

    pub fn finish(self) -> Found {
        let Self { capture, sums, .. } = self;
        let rate_hz = capture.description.signal.sample_rate_hz;
        let time_s = |sample: u64| sample as f64 / rate_hz;
        let mut channels: Vec<Channel> =
            sums.iter().enumerate().map(|(k, s)| channel(k, s, self.frames, capture)).collect();
        find_dead(&mut channels);
        let first = self.spans.first().map_or(0, |span| span.0);
        Found {
            frames: self.frames,
            duration_s: time_s(self.next - first),
            mast_readings: self.mast_readings,
            channels,
            rungs: (0_u8..)
                .zip(&self.rungs)
                .filter(|(_, (frames, _, _))| *frames > 0)
                .map(|(rung, &(frames, peak_counts, clipped))| RungUse {
                    rung,
                    gain: f64::from(capture.ladder.rung(rung).gain),
                    time_s: time_s(frames),
                    peak_counts,
                    headroom_db: headroom_db(peak_counts, &capture.ladder),
                    clipped,
                })
                .collect(),
            rung_spans: merged(&self.spans)
                .map(|(from, to, rung)| RungSpan { from_s: time_s(from), to_s: time_s(to), rung })
                .collect(),
            gaps: self.gaps.iter().map(|&(at, frames)| Gap { at_s: time_s(at), frames }).collect(),
            longest_stretch: self.spans.iter().map(|(from, to, _)| to - from).max().unwrap_or(0),
        }
    }
}

/// The spans without the cuts that gaps make.
fn merged(spans: &[(u64, u64, u8)]) -> impl Iterator<Item = (u64, u64, u8)> {
    spans
        .chunk_by(|a, b| a.2 == b.2)
        .filter_map(|same| Some((same.first()?.0, same.last()?.1, same.first()?.2)))
}

fn channel(number: usize, sums: &Sums, frames: u64, capture: &Capture) -> Channel {
    let n = frames.max(1) as f64;
    let offset_counts = sums.sum as f64 / n;
    let rms_counts = (sums.squares as f64 / n - offset_counts.powi(2)).max(0.0).sqrt();
    let [low, high] = [sums.low, sums.high].map(|extreme| extreme.count.unwrap_or(0));
    let peak_counts = low.abs().max(high.abs());
    let full_scale = f64::from(capture.description.front_end.full_scale_counts);
    Channel {
        channel: number,
        coil: coil_name(number, capture),
        offset_counts,
        rms_counts,
        rms_dbfs: db_or_silence(rms_counts / full_scale),
        peak_counts,
        peak_dbfs: db_or_silence(f64::from(peak_counts) / full_scale),
        headroom_db: headroom_db(peak_counts, &capture.ladder),
        clipped: sums.clipped,
        stuck_at_peak: if low == high { 0 } else { sums.low.stuck + sums.high.stuck },
        among_siblings_db: 0.0,
        dead: low == high,
    }
}

/// What is on a channel: node and the axis it is nearest to.
fn coil_name(channel: usize, capture: &Capture) -> String {
    let nodes = &capture.description.array.node;
    let mut coils = ["lower", "upper"]
        .into_iter()
        .zip(nodes)
        .flat_map(|(name, node)| node.coil.iter().map(move |coil| (name, coil)));
    let Some((node, coil)) = coils.find(|(_, coil)| usize::from(coil.channel) == channel) else {
        return String::new();
    };
    let along = ["x", "y", "z"].into_iter().zip(coil.axis.map(f64::abs));
    let axis = along.max_by(|a, b| a.1.total_cmp(&b.1)).map_or("", |(axis, _)| axis);
    format!("{node} {axis}")
}

fn find_dead(channels: &mut [Channel]) {
    let rms: Vec<f64> = channels.iter().map(|c| c.rms_counts).collect();
    for (at, channel) in channels.iter_mut().enumerate() {
        let mut others: Vec<f64> =
            rms.iter().enumerate().filter(|(k, _)| *k != at).map(|(_, &rms)| rms).collect();
        let usual = median(&mut others);
        if usual > 0.0 {
            channel.among_siblings_db = db_or_silence(channel.rms_counts / usual);
            channel.dead |= channel.among_siblings_db <= DEAD_DB;
        }
    }
}

fn headroom_db(peak_counts: i32, ladder: &Ladder) -> f64 {
    // Nothing is less than one count, as far as the room above it goes.
    amplitude_db(f64::from(ladder.rail_counts()) / f64::from(peak_counts.max(1)))
}

fn db_or_silence(ratio: f64) -> f64 {
    amplitude_db(ratio).max(SILENCE_DB)
}
