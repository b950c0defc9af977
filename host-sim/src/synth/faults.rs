//! Faults: wrappers around any sample source that break it in one way. They can be nested.

use nullwalk_core::frame::{BlockInfo, SampleIndex, SampleSource};
use rand::RngExt;

use super::random::{Purpose, Random, normal, stream};
use super::walker::{Cue, Guided};

/// One way in which an instrument breaks. Channels are counted from 0; a channel that does not exist
/// has no fault.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Fault {
    /// The channel reads zero.
    Dead {
        /// The channel.
        channel: usize,
    },
    /// From a sample on, the channel repeats its last value.
    Stuck {
        /// The channel.
        channel: usize,
        /// Index of the first sample that is stuck.
        from: SampleIndex,
    },
    /// The coil is wired the wrong way round.
    Reversed {
        /// The channel.
        channel: usize,
    },
    /// Two plugs are in each other's sockets.
    Swapped {
        /// One channel.
        a: usize,
        /// The other one.
        b: usize,
    },
    /// Bursts of noise on all channels at once.
    Bursts {
        /// Mean number in a second of 8000 frames.
        rate_per_8000: f64,
        /// Standard deviation in counts.
        counts: f64,
        /// Length in frames.
        frames: u32,
        /// Seed of their random times and values.
        seed: u64,
    },
    /// Every so many blocks one is lost; the index of the next shows it.
    Drops {
        /// One block of this many is lost.
        every: u32,
    },
}

/// A sample source with a fault.
#[derive(Debug, Clone)]
pub struct Faulty<S> {
    source: S,
    fault: Fault,
    random: Random,
    stuck_at: i32,
    burst_left: u32,
    blocks: u32,
}

impl<S> Faulty<S> {
    /// `source` with a fault.
    pub fn new(source: S, fault: Fault) -> Self {
        let seed = if let Fault::Bursts { seed, .. } = fault { seed } else { 0 };
        let random = stream(seed, 0, Purpose::Impulses);
        Self { source, fault, random, stuck_at: 0, burst_left: 0, blocks: 0 }
    }

    /// The source within.
    pub fn source(&self) -> &S {
        &self.source
    }

    fn spoil<const C: usize>(&mut self, frame: &mut [i32; C], index: SampleIndex) {
        match self.fault {
            Fault::Dead { channel } => {
                if let Some(count) = frame.get_mut(channel) {
                    *count = 0;
                }
            }
            Fault::Stuck { channel, from } => {
                if let Some(count) = frame.get_mut(channel) {
                    if index < from {
                        self.stuck_at = *count;
                    } else {
                        *count = self.stuck_at;
                    }
                }
            }
            Fault::Reversed { channel } => {
                if let Some(count) = frame.get_mut(channel) {
                    *count = count.saturating_neg();
                }
            }
            Fault::Swapped { a, b } => {
                if a.max(b) < C {
                    frame.swap(a, b);
                }
            }
            Fault::Bursts { rate_per_8000, counts, frames, .. } => {
                if self.random.random_range(0.0..8000.0) < rate_per_8000 {
                    self.burst_left = frames;
                }
                if self.burst_left > 0 {
                    self.burst_left -= 1;
                    *frame =
                        frame.map(|count| count.saturating_add((counts * normal(&mut self.random)) as i32));
                }
            }
            Fault::Drops { .. } => {}
        }
    }
}

impl<const C: usize, S: SampleSource<C>> SampleSource<C> for Faulty<S> {
    type Error = S::Error;

    fn read(&mut self, frames: &mut [[i32; C]]) -> Result<Option<BlockInfo>, S::Error> {
        let mut block = self.source.read(frames)?;
        if let Fault::Drops { every } = self.fault {
            self.blocks += 1;
            if self.blocks >= every.max(2) {
                // The block that takes its place is the first of the next lot.
                self.blocks = 1;
                block = self.source.read(frames)?;
            }
        }
        if let Some(info) = &block {
            for (frame, index) in frames.iter_mut().take(info.frames).zip(info.start..) {
                self.spoil(frame, index);
            }
        }
        Ok(block)
    }

    fn set_rung(&mut self, rung: u8) {
        self.source.set_rung(rung);
    }
}

impl<S: Guided> Guided for Faulty<S> {
    fn respond(&mut self, cue: Cue) {
        self.source.respond(cue);
    }
}
