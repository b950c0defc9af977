//! Stations.

use heapless::String;
use serde::{Deserialize, Serialize};

use super::judged::{Fixed, Why};
use super::plain;
use crate::frame::SampleIndex;
use crate::verdict::{Fix, Reasons};

/// A numbered fix that was marked on the ground, or the place where one was tried and refused.
#[derive(Debug, Clone, PartialEq)]
pub struct Station {
    /// When it was taken.
    pub at: SampleIndex,
    /// Seconds since 1970 (UTC), where a satellite told the time.
    pub utc_s: Option<u64>,
    /// Number painted on the ground.
    pub number: u16,
    /// Name, if it has one.
    pub name: String<32>,
    /// Best signal-to-noise ratio, decibels.
    pub snr_db: f32,
    /// Offset of the tracked carrier from nominal, hertz.
    pub carrier_offset_hz: f32,
    /// The fix, or why there was none.
    pub found: Result<Fix, Reasons>,
}

#[derive(Serialize, Deserialize)]
struct Payload {
    at: u64,
    utc_s: Option<u64>,
    number: u16,
    name: String<32>,
    snr_db: f32,
    carrier_offset_hz: f32,
    found: Result<Fixed, Why>,
}

pub fn write(station: &Station, out: &mut [u8]) -> Option<usize> {
    let payload = Payload {
        at: station.at,
        utc_s: station.utc_s,
        number: station.number,
        name: station.name.clone(),
        snr_db: station.snr_db,
        carrier_offset_hz: station.carrier_offset_hz,
        found: station.found.as_ref().map(Fixed::from).map_err(Why::from),
    };
    plain::write(&payload, out)
}

pub fn read(bytes: &[u8]) -> Option<Station> {
    let payload: Payload = plain::read(bytes)?;
    let found = match &payload.found {
        Ok(fixed) => Ok(fixed.fix()?),
        Err(why) => Err(why.reasons()?),
    };
    Some(Station {
        at: payload.at,
        utc_s: payload.utc_s,
        number: payload.number,
        name: payload.name,
        snr_db: payload.snr_db,
        carrier_offset_hz: payload.carrier_offset_hz,
        found,
    })
}
