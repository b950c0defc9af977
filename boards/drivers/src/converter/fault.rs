//! What can go wrong between the part and us, as data.

/// A fault that was noticed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    /// A frame failed its checksum.
    Garbled,
    /// Samples went by unread.
    Missed,
    /// The same sample came twice.
    Repeated,
    /// The part says that a command came garbled.
    Refused,
    /// The part was reset without being told to.
    Reset,
    /// The part restarted its filters, or took a garbled command for a write.
    Resynced,
    /// The status is not one that our settings allow.
    WrongStatus,
    /// The gain that is read back is not the one that was written.
    GainNotTaken,
    /// So much was garbled that nothing can be believed any more.
    LostSync,
    /// A channel gave the same count again and again.
    Stuck,
}

/// How many kinds there are.
const KINDS: usize = 10;

impl Fault {
    /// All kinds.
    pub const ALL: [Self; KINDS] = [
        Self::Garbled,
        Self::Missed,
        Self::Repeated,
        Self::Refused,
        Self::Reset,
        Self::Resynced,
        Self::WrongStatus,
        Self::GainNotTaken,
        Self::LostSync,
        Self::Stuck,
    ];

    /// What to tell the operator, and what to look at.
    pub const fn sentence(self) -> &'static str {
        match self {
            Self::Garbled => "The converter's data fail their checksum: look at the SPI wires.",
            Self::Missed => "Samples were missed: the firmware is too slow or data-ready is lost.",
            Self::Repeated => "The converter gave a sample twice: data-ready is disturbed.",
            Self::Refused => "A command reached the converter garbled: look at its data input.",
            Self::Reset => "The converter was reset: look at its supply and its reset pin.",
            Self::Resynced => {
                "The converter took a disturbance for a command: look at its reset pin and data input."
            }
            Self::WrongStatus => "The converter is not set up as it was: it must be started again.",
            Self::GainNotTaken => "The converter did not take its gain: look at its data input.",
            Self::LostSync => "The converter cannot be understood: look at clock, select and supply.",
            Self::Stuck => "A channel gives one and the same value: look at that coil's input.",
        }
    }
}

/// A set of faults.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Faults(pub(super) u16);

impl Faults {
    /// The set with one more.
    #[must_use]
    pub const fn with(self, fault: Fault) -> Self {
        Self(self.0 | 1 << fault as u16)
    }

    /// What is in either set.
    #[must_use]
    pub const fn and(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// Whether a fault is in the set.
    pub const fn has(self, fault: Fault) -> bool {
        self.0 & 1 << fault as u16 != 0
    }

    /// Whether there are none.
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// Those in the set.
    pub fn iter(self) -> impl Iterator<Item = Fault> {
        Fault::ALL.into_iter().filter(move |fault| self.has(*fault))
    }
}

/// How often each fault was seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Tally([u32; KINDS]);

impl Tally {
    /// How often.
    pub fn of(&self, fault: Fault) -> u32 {
        self.0.get(fault as usize).copied().unwrap_or(0)
    }

    pub(super) fn add(&mut self, fault: Fault, times: u32) {
        if let Some(count) = self.0.get_mut(fault as usize) {
            *count = count.saturating_add(times);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_fault_has_its_own_place_and_sentence() {
        let mut tally = Tally::default();
        for (place, fault) in Fault::ALL.into_iter().enumerate() {
            assert_eq!(fault as usize, place);
            let alone = Faults::default().with(fault);
            assert!(alone.iter().eq([fault]));
            tally.add(fault, place as u32);
            let others = Fault::ALL.into_iter().filter(|other| other.sentence() == fault.sentence());
            assert_eq!(others.count(), 1);
        }
        assert!(Fault::ALL.into_iter().all(|fault| tally.of(fault) == fault as u32));
        tally.add(Fault::Stuck, u32::MAX);
        assert_eq!(tally.of(Fault::Stuck), u32::MAX);
    }
}
