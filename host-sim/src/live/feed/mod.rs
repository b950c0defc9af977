//! Where updates come from.

mod link;
mod replay;
mod samples;

pub use link::Link;
pub use replay::Replay;
pub use samples::Samples;

use std::error::Error;

use nullwalk_core::record::Header;
use nullwalk_core::verdict::Reasons;

use super::spectrum::Spectrum;
use super::update::Update;

/// What comes next.
#[derive(Debug, Clone, PartialEq)]
pub enum Next {
    /// A hop.
    Update(Box<Update>),
    /// A recording began that was made so.
    Began(Box<Header>),
    /// Something to be said beside it.
    News(String),
    /// Nothing has come yet.
    Wait,
    /// That was all; with what there is to say of it.
    End(String),
}

/// Gives updates, one after the other.
pub trait Feed {
    /// What comes next.
    ///
    /// # Errors
    /// What the recording gives.
    fn next(&mut self) -> Result<Next, Box<dyn Error>>;

    /// The spectrum of the last samples, where there are any.
    fn spectrum(&self) -> Option<Spectrum> {
        None
    }

    /// Why there is no fix, if it ends here without one.
    fn refusal(&self) -> Reasons;
}
