//! What was demodulated already: rows of fields, or the hops of a handset.

use std::error::Error;
use std::vec::IntoIter;

use nullwalk_core::array::Array;
use nullwalk_core::error::ConfigError;
use nullwalk_core::locate::Settings;
use nullwalk_core::record::{Header, Hop};
use nullwalk_core::verdict::Reasons;

use super::{Feed, Next};
use crate::capture::{FieldRecording, FieldRow};
use crate::live::update::Update;
use crate::run::{Hops, Rows};

/// A recording that is located again, hop by hop.
pub struct Replay(Kind);

enum Kind {
    Rows(Box<Rows>, IntoIter<FieldRow>),
    Hops { locate: Box<Hops>, hops: IntoIter<Hop>, rate_hz: f64, first: Option<u64> },
}

impl Replay {
    /// A field recording.
    ///
    /// # Errors
    /// When the array or the rate of the rows cannot work.
    pub fn of_rows(
        array: Array,
        recording: &FieldRecording,
        settings: Settings,
    ) -> Result<Self, ConfigError> {
        let rows = Rows::new(array, recording.rate_hz, settings)?;
        Ok(Self(Kind::Rows(Box::new(rows), recording.rows.clone().into_iter())))
    }

    /// The hops of a field book.
    ///
    /// # Errors
    /// When the header describes what cannot be.
    pub fn of_hops(header: &Header, hops: Vec<Hop>) -> Result<Self, ConfigError> {
        Ok(Self(Kind::Hops {
            locate: Box::new(Hops::new(header)?),
            rate_hz: f64::from(header.rate_hz),
            first: hops.first().map(|hop| hop.phasors.centre),
            hops: hops.into_iter(),
        }))
    }
}

impl Feed for Replay {
    fn next(&mut self) -> Result<Next, Box<dyn Error>> {
        let update = match &mut self.0 {
            Kind::Rows(locate, rows) => rows.next().map(|row| {
                let (glimpse, guidance, fix) = locate.push(&row);
                Update::new(row.time_s, &glimpse, guidance, fix, locate.so_far().mark())
            }),
            Kind::Hops { locate, hops, rate_hz, first } => hops.next().map(|hop| {
                let (glimpse, guidance, fix) = locate.push(&hop);
                // The oldest hops of a long recording made room: nobody waits for what is not there.
                let since = glimpse.at.saturating_sub(first.unwrap_or_default());
                let update =
                    Update::new(since as f64 / *rate_hz, &glimpse, guidance, fix, locate.so_far().mark());
                Update { rung: Some(hop.rung), ..update }
            }),
        };
        Ok(update.map_or(Next::End(String::new()), |update| Next::Update(Box::new(update))))
    }

    fn refusal(&self) -> Reasons {
        match &self.0 {
            Kind::Rows(locate, _) => locate.so_far().refusal(),
            Kind::Hops { locate, .. } => locate.so_far().refusal(),
        }
    }
}
