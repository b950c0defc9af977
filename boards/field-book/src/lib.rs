//! Keeps the field book where it outlives the battery: in NOR flash ([`FieldBook`]), in a file on a card, and on a
//! wire ([`Stream`]).
//!
//! Flash has two regions. In the one, the newest hops overwrite the oldest. In the other stands what must never go:
//! headers, fixes, stations, notes and faults. Nothing in it is ever erased but by [`FieldBook::format`]; when it is
//! full, nothing more is recorded, and that is said.
//!
//! Whatever byte the power is cut at, what was appended before is there afterwards, and what was being appended is
//! there whole or not at all.
#![cfg_attr(not(feature = "mock"), no_std)]
#![forbid(unsafe_code)]

mod book;
mod card;
mod guard;
mod layout;
#[cfg(feature = "mock")]
pub mod mock;
mod page;
mod stream;

pub use book::{BookError, FieldBook, Recovery};
pub use card::CardFile;
pub use layout::{Layout, Misfit};
pub use stream::{Stream, StreamError};
