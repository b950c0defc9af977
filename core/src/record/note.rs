//! Notes.

use heapless::String;
use serde::{Deserialize, Serialize};

use super::plain;
use crate::frame::SampleIndex;

/// Words of the person with the mast.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Note {
    /// The instant.
    pub at: SampleIndex,
    /// The words.
    pub text: String<128>,
}

pub fn write(note: &Note, out: &mut [u8]) -> Option<usize> {
    plain::write(note, out)
}

pub fn read(bytes: &[u8]) -> Option<Note> {
    plain::read(bytes)
}
