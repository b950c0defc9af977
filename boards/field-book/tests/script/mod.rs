//! An hour with the mast, as records.

#![allow(dead_code, reason = "not every test uses all of it")]

use glam::Vec3;
use nullwalk_core::array::{Array, CalibrationSigma, Coil, Node};
use nullwalk_core::depth::{Depth, Measured, Unusable};
use nullwalk_core::frame::{MAX_CHANNELS, MastReading, Position, Tilt};
use nullwalk_core::gain::Rung;
use nullwalk_core::locate::{GainState, Settings};
use nullwalk_core::record::{Fault, FaultKind, Header, Hop, Note, Record, Reset, Station, clipped};
use nullwalk_core::tone::{Marks, Phasors};
use nullwalk_core::verdict::{Clues, Fix, Judgement, Place, Range95, Reason, Reasons, Verdict};
use num_complex::Complex32;

/// Hops a minute.
const HOPS: u32 = 600;
const HOP_SAMPLES: u64 = 800;

/// A header at the start and at every power-on, ten hops a second, a station every minute, now and then a fix, a note
/// or a fault.
pub fn hour() -> Vec<Record> {
    let mut records = Vec::new();
    for minute in 0..60 {
        let at = u64::from(minute * HOPS) * HOP_SAMPLES;
        if minute % 20 == 0 {
            records.push(header());
        }
        records.extend((0..HOPS).map(|n| hop(minute * HOPS + n)));
        if minute % 3 == 2 {
            records.push(Record::Fix(fix(minute)));
        }
        records.push(station(minute as u16));
        if minute % 4 == 1 {
            records
                .push(Record::Note(Note { at, text: clipped("manhole cover to the left, lorry parked") }));
        }
        if minute % 7 == 3 {
            records.push(Record::Fault(Fault {
                at,
                kind: FaultKind::Overrun,
                channel: None,
                count: minute,
            }));
        }
    }
    records
}

pub fn hop(n: u32) -> Record {
    let wave = (n as f32 * 0.01).sin();
    let mut phasors = Phasors {
        centre: u64::from(n) * HOP_SAMPLES,
        value_v: [Complex32::ZERO; MAX_CHANNELS],
        sigma_v: [0.0; MAX_CHANNELS],
        carrier_offset_hz: 0.01 * wave,
        bridged: 0.0,
        marks: Marks::default(),
    };
    for (channel, (value, sigma)) in
        phasors.value_v.iter_mut().zip(&mut phasors.sigma_v).take(6).enumerate()
    {
        *value = Complex32::new(wave / (channel + 1) as f32, 1e-7 * n as f32);
        *sigma = 1e-8;
    }
    let position = Position { enu_m: Vec3::new(0.06 * n as f32, wave, 0.05), sigma_m: 0.02 };
    Record::Hop(Hop {
        phasors,
        channels: 6,
        rung: 3,
        gain: GainState::default(),
        stray: None,
        mast: MastReading {
            position: Some(position),
            heading_rad: Some(wave),
            tilt: Some(Tilt { pitch_rad: 0.01, roll_rad: 0.02 }),
        },
    })
}

pub fn fix(n: u32) -> Fix {
    let metre = 0.5 + 0.05 * n as f32;
    let depth = Depth { depth_m: metre, sigma_m: 0.02 };
    let mut reasons = Reasons::default();
    reasons.add_if(n.is_multiple_of(3), Reason::NotCrossed);
    Fix {
        at: u64::from(n * HOPS) * HOP_SAMPLES,
        place: Some(Place { east_m: metre, north_m: -metre, sigma_m: 0.01 }),
        lay_rad: Some(Measured::new(0.3, 0.01)),
        depths: [Ok(depth), Ok(depth), Err(Unusable::NotMeasured), Err(Unusable::NotMeasured), Ok(depth)],
        pitch_rad: Some(Measured::new(0.02, 0.01)),
        moment_a_m2: Some(Measured::new(0.2, 0.01)),
        clues: Clues::default().map(|_: Option<f32>| Some(0.5)),
        judgement: Judgement {
            verdict: reasons.severity(),
            depth: Some(depth),
            range: Some(Range95 { low_m: metre - 0.04, high_m: metre + 0.04 }),
            shallow_m: Some(metre - 0.1),
            reasons,
        },
    }
}

pub fn station(number: u16) -> Record {
    let mut refused = Reasons::default();
    refused.add(Reason::NoTone);
    let found = if number % 11 == 5 { Err(refused) } else { Ok(fix(u32::from(number))) };
    assert!(found.as_ref().is_ok_and(|fix| fix.judgement.verdict != Verdict::Refuse) || found.is_err());
    Record::Station(Station {
        at: u64::from(number) * 60 * 8000,
        utc_s: Some(1_700_000_000 + u64::from(number) * 60),
        number,
        name: clipped("yard"),
        snr_db: 31.5,
        carrier_offset_hz: -0.02,
        found,
    })
}

pub fn header() -> Record {
    let node =
        |height_m: f32, first: u8| Node {
            position_m: Vec3::Z * height_m,
            coils: [(Vec3::X, first), (Vec3::Y, first + 1), (Vec3::Z, first + 2)].map(|(axis, channel)| {
                Coil { channel, axis, turns_area_m2: 20.0, gain: 1.0, phase_rad: 0.0 }
            }),
        };
    let sigma = CalibrationSigma { node_ratio: 0.003, scale: 0.05, tilt_rad: 0.003 };
    Record::Header(Header {
        build: clipped("nullwalk-handset 0.1.0"),
        reset: Reset::BrownOut,
        last_words: clipped(""),
        utc_s: None,
        rate_hz: 8000.0,
        tone_hz: 512.0,
        channels: 6,
        rungs: [1.0, 4.0, 16.0, 64.0, 256.0].iter().map(|&gain| Rung { gain, settle_s: 0.03 }).collect(),
        count_v: 2.5 / 8_388_608.0,
        rail_counts: 8_388_606,
        array: Array::new(&[node(0.0, 0), node(0.4, 3)], sigma, 0.05).expect("an array"),
        calibration: clipped("turn-over"),
        settings: Settings::default(),
    })
}
