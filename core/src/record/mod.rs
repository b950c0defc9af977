//! The field book's records: what a handset keeps, and streams, of a locate.
//!
//! A record is the same bytes in flash, in a file and on a wire: an [`Envelope`] that never changes its layout, with
//! a checksum over all of it, around a payload in postcard's wire format. So whoever reads can tell a whole record
//! from a damaged one, and step over one of a kind or version that he does not know. Files and wires carry records
//! [framed](frame), so that a reader finds his place again after damage.
//!
//! Floats come back with the very same bits: a locate can be run again from its [`Hop`]s, and gives the same fix.

mod coded;
mod deframer;
mod envelope;
mod fault;
mod guidance;
mod header;
mod hop;
mod judged;
mod losses;
mod note;
mod plain;
mod station;

use heapless::String;

use crate::locate::Guidance;
use crate::verdict::Fix;

pub use deframer::{Deframer, MAX_FRAME_BYTES, frame};
pub use envelope::{Damage, Envelope, MAX_RECORD_BYTES, NoRoom, VERSION, encode};
pub use fault::{Fault, FaultKind};
pub use header::{Header, Reset};
pub use hop::Hop;
pub use losses::Losses;
pub use note::Note;
pub use station::Station;

/// One entry of a field book.
#[derive(Debug, Clone, PartialEq)]
#[allow(clippy::large_enum_variant, reason = "there is no heap to put the large ones on")]
pub enum Record {
    /// How a recording was made: it comes first.
    Header(Header),
    /// What one hop gave: phasors, pose and marks.
    Hop(Hop),
    /// A fix.
    Fix(Fix),
    /// A station: marked on the ground, or tried and refused.
    Station(Station),
    /// Words of the person with the mast.
    Note(Note),
    /// Something that went wrong in the instrument.
    Fault(Fault),
    /// What the person with the mast was told. Streamed, never kept: it follows from the hops.
    Guidance(Guidance),
}

/// What kind of record it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[repr(u8)]
pub enum Kind {
    /// [`Record::Header`].
    Header = 1,
    /// [`Record::Hop`].
    Hop = 2,
    /// [`Record::Fix`].
    Fix = 3,
    /// [`Record::Station`].
    Station = 4,
    /// [`Record::Note`].
    Note = 5,
    /// [`Record::Fault`].
    Fault = 6,
    /// [`Record::Guidance`].
    Guidance = 7,
}

impl Kind {
    /// All kinds.
    pub const ALL: [Self; 7] =
        [Self::Header, Self::Hop, Self::Fix, Self::Station, Self::Note, Self::Fault, Self::Guidance];

    /// Its number in the envelope.
    pub const fn code(self) -> u8 {
        self as u8
    }

    /// The kind with this number.
    pub fn of(code: u8) -> Option<Self> {
        coded::find(&Self::ALL, Self::code, code)
    }

    /// Its name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Header => "header",
            Self::Hop => "hop",
            Self::Fix => "fix",
            Self::Station => "station",
            Self::Note => "note",
            Self::Fault => "fault",
            Self::Guidance => "guidance",
        }
    }

    /// For how long storage keeps it.
    pub const fn keeping(self) -> Keeping {
        match self {
            Self::Hop => Keeping::WhileThereIsRoom,
            Self::Guidance => Keeping::Never,
            _ => Keeping::Always,
        }
    }
}

/// For how long storage keeps a record.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Keeping {
    /// Never overwritten.
    Always,
    /// The oldest make room for the newest.
    WhileThereIsRoom,
    /// Streamed only.
    Never,
}

impl Record {
    /// What kind of record it is.
    pub const fn kind(&self) -> Kind {
        match self {
            Self::Header(_) => Kind::Header,
            Self::Hop(_) => Kind::Hop,
            Self::Fix(_) => Kind::Fix,
            Self::Station(_) => Kind::Station,
            Self::Note(_) => Kind::Note,
            Self::Fault(_) => Kind::Fault,
            Self::Guidance(_) => Kind::Guidance,
        }
    }
}

/// Why a whole record cannot be read. It is stepped over, and kept as it is by whoever copies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unreadable {
    /// A later version of the format.
    Version(u8),
    /// A kind that is not known.
    Kind(u8),
    /// A payload that is not that of its kind, or holds a value that is not known.
    Payload(Kind),
}

/// As much of a text as fits.
///
/// ```
/// assert_eq!(nullwalk_core::record::clipped::<6>("no 3 °C"), "no 3 ");
/// ```
pub fn clipped<const N: usize>(text: &str) -> String<N> {
    let mut kept = String::new();
    for letter in text.chars() {
        if kept.push(letter).is_err() {
            break;
        }
    }
    kept
}
