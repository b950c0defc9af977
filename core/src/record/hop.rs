//! What one hop gave.

use heapless::Vec;
use num_complex::Complex32;
use serde::{Deserialize, Serialize};

use super::plain::{self, Mast, Pair};
use crate::frame::{MAX_CHANNELS, MastReading};
use crate::instrument::Update;
use crate::locate::GainState;
use crate::tone::{Phasors, StrayTone};

/// What one hop gave, ten times a second: everything the locate is fed, so that it can be run again.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hop {
    /// The tone on every channel; zero on those that are not there.
    pub phasors: Phasors<MAX_CHANNELS>,
    /// Channels that are there.
    pub channels: u8,
    /// Rung in force.
    pub rung: u8,
    /// What the gain ladder said about the signal.
    pub gain: GainState,
    /// Another tone than the one set, if one was found just now.
    pub stray: Option<StrayTone>,
    /// How the mast was held.
    pub mast: MastReading,
}

impl Hop {
    /// What `update` says, taken on `rung`. Channels above [`MAX_CHANNELS`] are left out.
    pub fn new<const C: usize>(update: &Update<C>, rung: u8) -> Self {
        let from = &update.phasors;
        let mut phasors = Phasors {
            centre: from.centre,
            value_v: [Complex32::ZERO; MAX_CHANNELS],
            sigma_v: [0.0; MAX_CHANNELS],
            carrier_offset_hz: from.carrier_offset_hz,
            bridged: from.bridged,
            marks: from.marks,
        };
        for (to, from) in phasors.value_v.iter_mut().zip(&from.value_v) {
            *to = *from;
        }
        for (to, from) in phasors.sigma_v.iter_mut().zip(&from.sigma_v) {
            *to = *from;
        }
        Self {
            phasors,
            channels: C.min(MAX_CHANNELS) as u8,
            rung,
            gain: update.gain,
            stray: update.stray,
            mast: update.glimpse.mast,
        }
    }
}

/// Bits of the flags above the marks.
const EXHAUSTED: u8 = 1 << 4;
const HELD_TOO_HIGH: u8 = 1 << 5;

#[derive(Serialize, Deserialize)]
struct Payload {
    centre: u64,
    /// Real part, imaginary part and sigma of each channel.
    channels: Vec<(f32, f32, f32), MAX_CHANNELS>,
    carrier_offset_hz: f32,
    bridged: f32,
    flags: u8,
    rung: u8,
    /// Frequency and ratio to the noise.
    stray: Option<Pair>,
    mast: Mast,
}

pub fn write(hop: &Hop, out: &mut [u8]) -> Option<usize> {
    let Phasors { centre, value_v, sigma_v, carrier_offset_hz, bridged, marks } = hop.phasors;
    let channels = value_v.iter().zip(sigma_v).take(usize::from(hop.channels));
    let gain = hop.gain;
    let flags = plain::bits_of(marks)
        | if gain.exhausted { EXHAUSTED } else { 0 }
        | if gain.held_too_high { HELD_TOO_HIGH } else { 0 };
    let payload = Payload {
        centre,
        channels: plain::list(channels.map(|(z, sigma)| (z.re, z.im, sigma))),
        carrier_offset_hz,
        bridged,
        flags,
        rung: hop.rung,
        stray: hop.stray.map(|stray| (stray.tone_hz, stray.snr_db)),
        mast: hop.mast.into(),
    };
    plain::write(&payload, out)
}

pub fn read(bytes: &[u8]) -> Option<Hop> {
    let payload: Payload = plain::read(bytes)?;
    let mut phasors = Phasors {
        centre: payload.centre,
        value_v: [Complex32::ZERO; MAX_CHANNELS],
        sigma_v: [0.0; MAX_CHANNELS],
        carrier_offset_hz: payload.carrier_offset_hz,
        bridged: payload.bridged,
        marks: plain::marks(payload.flags),
    };
    let places = phasors.value_v.iter_mut().zip(&mut phasors.sigma_v);
    for ((value_v, sigma_v), &(re, im, sigma)) in places.zip(&payload.channels) {
        *value_v = Complex32::new(re, im);
        *sigma_v = sigma;
    }
    Some(Hop {
        phasors,
        channels: payload.channels.len() as u8,
        rung: payload.rung,
        gain: GainState {
            exhausted: payload.flags & EXHAUSTED != 0,
            held_too_high: payload.flags & HELD_TOO_HIGH != 0,
        },
        stray: payload.stray.map(|(tone_hz, snr_db)| StrayTone { tone_hz, snr_db }),
        mast: payload.mast.reading(),
    })
}
