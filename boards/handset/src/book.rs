//! Where records go.

use nullwalk_core::record::Record;

/// What keeps records, and streams them. It numbers and encodes them itself: what is kept and what is streamed have
/// sequences of their own.
///
/// It is handed every record there is. What to keep, and for how long, follows from
/// [`Kind::keeping`](nullwalk_core::record::Kind::keeping).
pub trait Book {
    /// Append a record. When this returns, the record outlives a loss of power.
    ///
    /// # Errors
    /// When it is not kept.
    fn append(&mut self, record: &Record) -> Result<(), Unkept>;

    /// Nothing more will come: finish what is being written.
    ///
    /// # Errors
    /// When that fails.
    fn close(&mut self) -> Result<(), Unkept>;
}

/// Why a record was not kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unkept {
    /// There is no room for what must be kept.
    Full,
    /// Storage does not take it.
    Failed,
}

/// How the field book is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum BookState {
    /// It takes records.
    #[default]
    Open,
    /// The last record was not kept.
    Broken(Unkept),
    /// It was closed, and takes nothing more.
    Closed,
}
