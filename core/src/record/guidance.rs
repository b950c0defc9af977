//! Guidance on its way to whoever looks on.

use glam::Vec2;
use serde::{Deserialize, Serialize};

use super::coded;
use super::plain::{self, Pair};
use crate::locate::{Guidance, Offset, Sound, Sweep};
use crate::verdict::{Place, Reason};

#[derive(Serialize, Deserialize)]
struct Payload {
    at: u64,
    phase: u8,
    turn_rad: Option<f32>,
    trend_db_per_s: f32,
    past_source: bool,
    snr_db: f32,
    carrier_offset_hz: f32,
    /// Forward and left, and their sigma.
    offset_m: Option<(f32, f32, f32)>,
    lay_rad: Option<f32>,
    /// East, north and their sigma.
    mark: Option<(f32, f32, f32)>,
    crossed: bool,
    sweep: Option<Turned>,
    /// Pitch and loudness.
    sound: Pair,
    /// Code of the reason, and the frequency of another tone.
    trouble: Option<(u8, f32)>,
}

/// A full turn. New variants come last.
#[derive(Serialize, Deserialize)]
enum Turned {
    OneBearing(f32),
    TwoBearings(f32),
    HiddenByGain,
    NoBearing,
}

impl From<Sweep> for Turned {
    fn from(sweep: Sweep) -> Self {
        match sweep {
            Sweep::OneBearing(rad) => Self::OneBearing(rad),
            Sweep::TwoBearings(rad) => Self::TwoBearings(rad),
            Sweep::HiddenByGain => Self::HiddenByGain,
            Sweep::NoBearing => Self::NoBearing,
        }
    }
}

impl Turned {
    fn sweep(self) -> Sweep {
        match self {
            Self::OneBearing(rad) => Sweep::OneBearing(rad),
            Self::TwoBearings(rad) => Sweep::TwoBearings(rad),
            Self::HiddenByGain => Sweep::HiddenByGain,
            Self::NoBearing => Sweep::NoBearing,
        }
    }
}

pub fn write(guidance: &Guidance, out: &mut [u8]) -> Option<usize> {
    let trouble = |reason| match reason {
        Reason::OtherTone(hz) => (coded::of_reason(reason), hz),
        _ => (coded::of_reason(reason), 0.0),
    };
    let payload = Payload {
        at: guidance.at,
        phase: coded::of_phase(guidance.phase),
        turn_rad: guidance.turn_rad,
        trend_db_per_s: guidance.trend_db_per_s,
        past_source: guidance.past_source,
        snr_db: guidance.snr_db,
        carrier_offset_hz: guidance.carrier_offset_hz,
        offset_m: guidance.offset.map(|Offset { way_m, sigma_m }| (way_m.x, way_m.y, sigma_m)),
        lay_rad: guidance.lay_rad,
        mark: guidance.mark.map(|mark| (mark.east_m, mark.north_m, mark.sigma_m)),
        crossed: guidance.crossed,
        sweep: guidance.sweep.map(Turned::from),
        sound: (guidance.sound.pitch_hz, guidance.sound.loudness),
        trouble: guidance.trouble.map(trouble),
    };
    plain::write(&payload, out)
}

pub fn read(bytes: &[u8]) -> Option<Guidance> {
    let payload: Payload = plain::read(bytes)?;
    let (pitch_hz, loudness) = payload.sound;
    let trouble = match payload.trouble {
        Some((code, hz)) => Some(coded::reason(code, hz)?),
        None => None,
    };
    Some(Guidance {
        at: payload.at,
        phase: coded::phase(payload.phase)?,
        turn_rad: payload.turn_rad,
        trend_db_per_s: payload.trend_db_per_s,
        past_source: payload.past_source,
        snr_db: payload.snr_db,
        carrier_offset_hz: payload.carrier_offset_hz,
        offset: payload.offset_m.map(|(x, y, sigma_m)| Offset { way_m: Vec2::new(x, y), sigma_m }),
        lay_rad: payload.lay_rad,
        mark: payload.mark.map(|(east_m, north_m, sigma_m)| Place { east_m, north_m, sigma_m }),
        crossed: payload.crossed,
        sweep: payload.sweep.map(Turned::sweep),
        sound: Sound { pitch_hz, loudness },
        trouble,
    })
}
