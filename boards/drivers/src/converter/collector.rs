//! Samples into blocks.

use heapless::Vec;
use nullwalk_core::frame::{Block, SampleIndex};

use super::{FULL_SCALE_COUNTS, Fault, Faults, Sample};

/// A block needs this many frames to tell a stuck channel. The part's own noise is tens of counts at a gain of 1
/// and more above, so that many equal counts do not happen.
const STUCK_FRAMES: usize = 8;

/// Frames of one block, with what is to be said of them.
#[derive(Debug, Clone, Default)]
pub struct Filled<const C: usize, const N: usize> {
    frames: Vec<[i32; C], N>,
    start: SampleIndex,
    rung: u8,
    faults: Faults,
    stuck: u8,
}

impl<const C: usize, const N: usize> Filled<C, N> {
    /// An empty buffer.
    pub const fn new() -> Self {
        Self { frames: Vec::new(), start: 0, rung: 0, faults: Faults(0), stuck: 0 }
    }

    /// The block, as the core takes it.
    pub fn block(&self) -> Block<'_, C> {
        Block { frames: &self.frames, start: self.start, rung: self.rung }
    }

    /// What went wrong in it or before it.
    pub const fn faults(&self) -> Faults {
        self.faults
    }

    /// Channels that did not move in it, a bit each.
    pub const fn stuck(&self) -> u8 {
        self.stuck
    }

    /// Whether a sample goes on where this ends.
    fn takes(&self, sample: &Sample<C>) -> bool {
        let next = self.start.wrapping_add(self.frames.len() as u64);
        self.frames.is_empty()
            || (!self.frames.is_full() && sample.index == next && sample.rung == self.rung)
    }

    fn push(&mut self, sample: &Sample<C>) {
        if self.frames.is_empty() {
            (self.start, self.rung) = (sample.index, sample.rung);
        }
        self.faults = self.faults.and(sample.faults);
        // There is room: `takes` has said so.
        let _ = self.frames.push(sample.counts);
    }

    fn clear(&mut self) {
        self.frames.clear();
        (self.faults, self.stuck) = (Faults::default(), 0);
    }

    /// Look for channels that did not move. At the rail a signal does not move either, and that is clipping.
    fn find_stuck(&mut self) {
        let Some((first, later)) = self.frames.split_first().filter(|_| self.frames.len() >= STUCK_FRAMES)
        else {
            return;
        };
        for (channel, count) in first.iter().enumerate() {
            let at_rail = *count >= FULL_SCALE_COUNTS - 1 || *count <= -FULL_SCALE_COUNTS;
            if !at_rail && later.iter().all(|frame| frame.get(channel) == Some(count)) {
                self.stuck |= 1 << (channel & 7);
            }
        }
        if self.stuck != 0 {
            self.faults = self.faults.with(Fault::Stuck);
        }
    }
}

/// Makes blocks of up to `N` frames, each on one rung and without a gap.
///
/// ```
/// use nullwalk_drivers::converter::{Collector, Faults, Filled, Sample};
/// let (mut collector, mut block) = (Collector::<6, 40>::new(), Filled::new());
/// let sample = |index, rung| Sample { index, rung, counts: [0; 6], faults: Faults::default() };
/// assert!(!collector.push(&sample(7, 0), &mut block));
/// assert!(collector.push(&sample(8, 1), &mut block)); // another rung: the block before is finished
/// assert_eq!((block.block().start, block.block().frames.len()), (7, 1));
/// ```
#[derive(Debug, Clone, Default)]
pub struct Collector<const C: usize, const N: usize> {
    filling: Filled<C, N>,
}

impl<const C: usize, const N: usize> Collector<C, N> {
    /// One that holds nothing yet.
    pub const fn new() -> Self {
        const { assert!(N > 0, "a block holds at least one frame") };
        Self { filling: Filled::new() }
    }

    /// Take in a sample. `true` when it does not fit the block that is being filled: that block is then in `finished`,
    /// in exchange for what was there.
    pub fn push(&mut self, sample: &Sample<C>, finished: &mut Filled<C, N>) -> bool {
        let is_finished = !self.filling.takes(sample);
        if is_finished {
            self.filling.find_stuck();
            core::mem::swap(&mut self.filling, finished);
            self.filling.clear();
        }
        self.filling.push(sample);
        is_finished
    }
}
