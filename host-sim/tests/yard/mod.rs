//! Walks over invented yards: fields with their places, from long lines.

#![allow(dead_code)] // Not every test uses all of it.

use std::path::Path;

use glam::{DVec2, DVec3};
use nullwalk::capture::{Description, FieldRow, Made, write_field};
use nullwalk::equipment::{ArrayFile, Signal};
use nullwalk::survey::{Phase, Sight, Walk, Wire};
use nullwalk_core::frame::{MastReading, Position};
use num_complex::{Complex32, Complex64};
use rand::{RngExt, SeedableRng};
use rand_distr::StandardNormal;
use rand_xoshiro::Xoshiro256PlusPlus;

/// Height of the lower node above the ground, metres.
pub const FOOT_M: f64 = 0.25;
/// Noise of each real number, nanotesla.
pub const NOISE_NT: f64 = 0.05;

/// A walk to and fro: lanes from south to north, `apart_m` from each other, looks `step_m` apart.
pub fn lanes(corner_m: DVec2, wide_m: f64, high_m: f64, apart_m: f64, step_m: f64, phase: Phase) -> Walk {
    let count = (wide_m / apart_m).round() as usize;
    let looks = (high_m / step_m).round() as usize;
    let mut sights = Vec::new();
    for lane in 0..=count {
        for n in 0..=looks {
            let along = if lane % 2 == 0 { n } else { looks - n } as f64 * step_m;
            sights.push(sight(corner_m + DVec2::new(lane as f64 * apart_m, along)));
        }
    }
    let mut walk = Walk { sights, phase, foot_m: FOOT_M, relative: 0.01, tone_hz: 8192.0 };
    walk.mark_passes();
    walk
}

/// A look that saw nothing, without a place sigma.
pub fn sight(place_m: DVec2) -> Sight {
    Sight {
        at_m: place_m.extend(FOOT_M),
        upper_m: DVec3::Z * 0.4,
        field_nt: [[Complex64::ZERO; 3]; 2],
        sigma_nt: [NOISE_NT; 2],
        place_sigma_m: 0.0,
        pass: 0,
    }
}

/// A line under the ground.
pub fn wire(place_m: DVec2, depth_m: f64, lay_deg: f64) -> Wire {
    Wire { at_m: place_m.extend(-depth_m), lay_rad: lay_deg.to_radians() }
}

/// The walk with lines in it, and noise; where phases are free, each look has any.
pub fn seen(walk: &Walk, lines: &[(Wire, Complex64)], seed: u64) -> Walk {
    let mut random = Xoshiro256PlusPlus::seed_from_u64(seed);
    let mut walk = walk.clone();
    for sight in &mut walk.sights {
        let turn = match walk.phase {
            Phase::Free => Complex64::from_polar(1.0, random.random_range(0.0..std::f64::consts::TAU)),
            Phase::Common => Complex64::ONE,
        };
        for node in 0..2 {
            for k in 0..3 {
                let field: Complex64 = lines
                    .iter()
                    .map(|(wire, current)| {
                        current * wire.per_ampere_nt(sight.at_m, sight.upper_m)[node][k]
                    })
                    .sum();
                let mut normal = || sight.sigma_nt[node] * random.sample::<f64, _>(StandardNormal);
                sight.field_nt[node][k] = field * turn + Complex64::new(normal(), normal());
            }
        }
    }
    walk
}

/// Write a walk as a capture of fields, ten rows a second, the mast facing north.
pub fn write(walk: &Walk, folder: &Path) {
    let mast = |[east, north, up]: [Complex64; 3]| {
        [north, -east, up].map(|z| Complex32::new((z.re * 1e-9) as f32, (z.im * 1e-9) as f32))
    };
    let row = |(n, sight): (usize, &Sight)| FieldRow {
        time_s: 0.1 * n as f64,
        lower_t: mast(sight.field_nt[0]),
        upper_t: Some(mast(sight.field_nt[1])),
        sigma_t: (sight.sigma_nt[0] * 1e-9) as f32,
        mast: Some(MastReading {
            position: Some(Position {
                enu_m: sight.at_m.as_vec3(),
                sigma_m: sight.place_sigma_m as f32,
            }),
            heading_rad: Some(0.0),
            tilt: None,
        }),
    };
    let rows: Vec<FieldRow> = walk.sights.iter().enumerate().map(row).collect();
    let description = Description {
        made: Made { by: "an invented yard".to_owned(), note: "long lines and noise".to_owned() },
        signal: Signal { tone_hz: walk.tone_hz, sample_rate_hz: 24_000.0, ..Signal::default() },
        array: ArrayFile { foot_m: FOOT_M, ..ArrayFile::default() },
        ..Description::default()
    };
    write_field(folder, &description, &rows).unwrap();
}

/// The yard of the book: a service at 1 m that was left out of the walk's north-east corner, and a cable beside it.
pub fn of_the_book() -> Walk {
    let whole = lanes(DVec2::new(-0.5, -0.5), 9.0, 7.0, 1.0, 0.06, Phase::Free);
    let mut walk = whole.clone();
    // A parked van.
    walk.sights.retain(|sight| !(sight.at_m.x > 5.7 && sight.at_m.y > 3.6));
    for sight in &mut walk.sights {
        sight.place_sigma_m = 0.02;
    }
    walk.mark_passes();
    let service = (wire(DVec2::new(2.0, 2.2), 0.9, 12.0), Complex64::from(0.06));
    let cable = (wire(DVec2::new(2.6, 3.0), 1.4, 97.0), Complex64::from_polar(0.015, 0.7));
    seen(&walk, &[service, cable], 11)
}
