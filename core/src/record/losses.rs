//! What is missing from a stream, by the numbers of what is there.

/// Counts records that are missing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Losses {
    next: Option<u32>,
    lost: u32,
    restarts: u32,
}

/// A number this far ahead is not that of the same stream.
const FARTHEST: u32 = 1 << 31;

impl Losses {
    /// Take in the number of a record that is there.
    pub fn note(&mut self, sequence: u32) {
        let missing = self.next.map_or(0, |next| sequence.wrapping_sub(next));
        if missing < FARTHEST {
            self.lost = self.lost.saturating_add(missing);
        } else {
            self.restarts = self.restarts.saturating_add(1);
        }
        self.next = Some(sequence.wrapping_add(1));
    }

    /// Records missing between those that are there.
    pub fn lost(&self) -> u32 {
        self.lost
    }

    /// How often the numbers went back: the sender began anew.
    pub fn restarts(&self) -> u32 {
        self.restarts
    }
}
