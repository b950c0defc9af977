//! From the interrupt of data-ready to the slow side, through a queue that holds so much and no more.

use heapless::spsc::{Consumer, Producer, Queue};
use nullwalk_core::frame::SampleIndex;
use nullwalk_drivers::converter::{Collector, Filled, Sample};

/// A block on its way.
#[derive(Debug, Clone, Default)]
pub struct Packet<const C: usize, const N: usize> {
    /// The samples.
    pub filled: Filled<C, N>,
    /// Samples before it that were taken from the converter and found no room in the queue.
    pub lost: u32,
    /// Number of the first sample that is not in it,
    pub next: SampleIndex,
    /// and ticks of the clock of data-ready (wrapping) when that came.
    pub tick: u32,
}

/// Packets between the two sides: holds `DEPTH - 1` of them.
pub type Packets<const C: usize, const N: usize, const DEPTH: usize> = Queue<Packet<C, N>, DEPTH>;

/// The slow side's end.
pub type Outlet<'q, const C: usize, const N: usize> = Consumer<'q, Packet<C, N>>;

/// The interrupt's end. What it does is bounded, and it never waits: where there is no room, the block is counted as
/// lost, and the numbers of the samples show the gap.
///
/// ```
/// use nullwalk_drivers::converter::{Faults, Sample};
/// use nullwalk_handset::intake::{Inlet, Packets};
/// let mut packets = Packets::<6, 40, 4>::new();
/// let (producer, mut outlet) = packets.split();
/// let mut inlet = Inlet::new(producer);
/// for index in 0..41 {
///     let sample = Sample { index, rung: 0, counts: [index as i32; 6], faults: Faults::default() };
///     inlet.push(&sample, 125 * index as u32);
/// }
/// assert_eq!(outlet.dequeue().unwrap().filled.block().frames.len(), 40);
/// ```
pub struct Inlet<'q, const C: usize, const N: usize> {
    collector: Collector<C, N>,
    finished: Filled<C, N>,
    producer: Producer<'q, Packet<C, N>>,
    lost: u32,
}

impl<'q, const C: usize, const N: usize> Inlet<'q, C, N> {
    /// An end that holds nothing yet.
    pub const fn new(producer: Producer<'q, Packet<C, N>>) -> Self {
        Self { collector: Collector::new(), finished: Filled::new(), producer, lost: 0 }
    }

    /// Take in a sample, whose data-ready came at `tick`.
    pub fn push(&mut self, sample: &Sample<C>, tick: u32) {
        if !self.collector.push(sample, &mut self.finished) {
            return;
        }
        let filled = core::mem::take(&mut self.finished);
        let frames = filled.block().frames.len() as u32;
        let packet = Packet { filled, lost: self.lost, next: sample.index, tick };
        self.lost = match self.producer.enqueue(packet) {
            Ok(()) => 0,
            Err(_) => self.lost.saturating_add(frames),
        };
    }
}
