//! Faults of the instrument: each is told at once, and its repeats are counted, so that a fault that goes on does not
//! fill the book.

use heapless::Vec;
use nullwalk_core::frame::SampleIndex;
use nullwalk_core::record::{Fault, FaultKind};

/// Repeats of a fault are told together after so long, seconds.
const TOGETHER_S: u64 = 10;
/// A fault is shown for so long after it was last noticed, seconds.
const SHOWN_S: u64 = 3;
/// Different faults that are told apart: each kind, and each channel that can be stuck.
const DIFFERENT: usize = FaultKind::ALL.len() + nullwalk_core::frame::MAX_CHANNELS;

/// What was noticed so far.
#[derive(Debug, Clone, Default)]
pub struct FaultLog {
    entries: Vec<Entry, DIFFERENT>,
    second: u64,
}

#[derive(Debug, Clone, Copy)]
struct Entry {
    kind: FaultKind,
    channel: Option<u8>,
    told: SampleIndex,
    noticed: SampleIndex,
    /// What was noticed since it was told.
    untold: u32,
    total: u32,
}

impl Entry {
    fn tell(&mut self, at: SampleIndex) -> Option<Fault> {
        let count = core::mem::take(&mut self.untold);
        self.told = at;
        (count > 0).then_some(Fault { at, kind: self.kind, channel: self.channel, count })
    }
}

impl FaultLog {
    /// For samples at `rate_hz`.
    pub fn new(rate_hz: f32) -> Self {
        Self { entries: Vec::new(), second: rate_hz as u64 }
    }

    /// A fault was noticed. The record to keep, if it is told now.
    pub fn notice(
        &mut self,
        at: SampleIndex,
        kind: FaultKind,
        channel: Option<u8>,
        count: u32,
    ) -> Option<Fault> {
        let known = self.entries.iter_mut().find(|entry| (entry.kind, entry.channel) == (kind, channel));
        if let Some(entry) = known {
            entry.untold = entry.untold.saturating_add(count);
            entry.total = entry.total.saturating_add(count);
            entry.noticed = at;
            return if self.second.wrapping_mul(TOGETHER_S) <= at.wrapping_sub(entry.told) {
                entry.tell(at)
            } else {
                None
            };
        }
        // There is room for every kind and channel; one too many would be told each time.
        let _ = self.entries.push(Entry { kind, channel, told: at, noticed: at, untold: 0, total: count });
        Some(Fault { at, kind, channel, count })
    }

    /// What was to be told of a kind could not be: it is told later.
    pub fn untell(&mut self, kind: FaultKind) {
        for entry in self.entries.iter_mut().filter(|entry| entry.kind == kind && entry.untold == 0) {
            entry.untold = 1;
        }
    }

    /// What is still untold: all of it at the end, else what has waited for long enough.
    pub fn due(&mut self, at: SampleIndex, is_end: bool, mut tell: impl FnMut(Fault)) {
        let wait = self.second.wrapping_mul(TOGETHER_S);
        for entry in &mut self.entries {
            if is_end || at.wrapping_sub(entry.told) >= wait {
                entry.tell(at).into_iter().for_each(&mut tell);
            }
        }
    }

    /// The fault of these kinds that was noticed last, if that was just now.
    pub fn current(
        &self,
        now: SampleIndex,
        is_of_these: impl Fn(FaultKind) -> bool,
    ) -> Option<(FaultKind, Option<u8>)> {
        let shown = self.second.wrapping_mul(SHOWN_S);
        let recent = self
            .entries
            .iter()
            .filter(|entry| is_of_these(entry.kind) && now.wrapping_sub(entry.noticed) < shown);
        recent.max_by_key(|entry| entry.noticed).map(|entry| (entry.kind, entry.channel))
    }

    /// How often a kind was noticed, or how much was lost by it.
    pub fn total(&self, kind: FaultKind) -> u32 {
        let same = self.entries.iter().filter(|entry| entry.kind == kind);
        same.fold(0, |sum, entry| sum.saturating_add(entry.total))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_is_told_at_once_and_the_rest_together() {
        let mut log = FaultLog::new(8000.0);
        let told: std::vec::Vec<_> = (0..25)
            .filter_map(|second| log.notice(second * 8000, FaultKind::Overrun, None, 2))
            .map(|fault| (fault.at / 8000, fault.count))
            .collect();
        assert_eq!(told, [(0, 2), (10, 20), (20, 20)]);
        let mut rest = std::vec::Vec::new();
        log.due(25 * 8000, false, |fault| rest.push(fault.count));
        assert_eq!(rest, []);
        log.due(25 * 8000, true, |fault| rest.push(fault.count));
        log.due(25 * 8000, true, |fault| rest.push(fault.count));
        assert_eq!(rest, [8]);
        assert_eq!(log.total(FaultKind::Overrun), 50);
    }

    #[test]
    fn channels_are_told_apart_and_the_last_is_shown_for_a_while() {
        let mut log = FaultLog::new(8000.0);
        for channel in 0..8 {
            assert!(log.notice(u64::from(channel), FaultKind::ChannelStuck, Some(channel), 1).is_some());
        }
        FaultKind::ALL.iter().for_each(|kind| assert!(log.notice(9, *kind, None, 1).is_some()));
        assert!(log.notice(10, FaultKind::ClockOff, None, 1).is_none());
        assert_eq!(log.current(100, |_| true), Some((FaultKind::ClockOff, None)));
        assert_eq!(log.current(10 + 24_000, |_| true), None);
    }
}
