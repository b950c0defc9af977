//! Walks over invented yards: fields with their places, from long lines.

#![allow(dead_code)] // Not every test uses all of it.

use std::path::Path;

use glam::{DVec2, DVec3};
use nullwalk::capture::{Description, FieldRow, Made, write_field};
use nullwalk::equipment::{ArrayFile, Signal};
use nullwalk::survey::{Phase, Sight, Walk, Wire};
use nullwalk_core::field;
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
    let mut walk = Walk { sights, phase, carried_m: FOOT_M, relative: 0.01, tone_hz: 8192.0 };
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

/// The walk with lines in it, and noise.
pub fn seen(walk: &Walk, lines: &[(Wire, Complex64)], seed: u64) -> Walk {
    noisy(walk, seed, |at_m| {
        let mut sum = [Complex64::ZERO; 3];
        for (wire, current) in lines {
            let [per_ampere, _] = wire.per_ampere_nt(at_m, DVec3::ZERO);
            sum.iter_mut().zip(per_ampere.to_array()).for_each(|(sum, g)| *sum += current * g);
        }
        sum
    })
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
            position: Some(Position { enu_m: sight.at_m.as_vec3(), sigma_m: sight.place_sigma_m as f32 }),
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
        (sight.place_sigma_m, sight.sigma_nt) = (0.02, [0.4; 2]);
    }
    walk.mark_passes();
    let service = (wire(DVec2::new(2.0, 2.2), 0.9, 12.0), Complex64::from(0.06));
    let cable = (wire(DVec2::new(2.6, 3.0), 1.4, 97.0), Complex64::from_polar(0.015, 0.7));
    seen(&walk, &[service, cable], 11)
}

/// A walk around a transmitter at the origin, from the north and clockwise, looks `step_m` apart.
pub fn round(radius_m: f64, step_m: f64, phase: Phase) -> Walk {
    let count = (std::f64::consts::TAU * radius_m / step_m) as usize;
    let place_m = |n: usize| {
        let (sin, cos) = (std::f64::consts::TAU * n as f64 / count as f64).sin_cos();
        DVec2::new(sin, cos) * radius_m
    };
    let sights = (0..count).map(|n| sight(place_m(n))).collect();
    let mut walk = Walk { sights, phase, carried_m: FOOT_M, relative: 0.01, tone_hz: 8192.0 };
    walk.mark_passes();
    walk
}

/// A line that leaves the origin: bearing, depth, current.
pub type Leaving = (f64, f64, Complex64);

/// A circle with what leaves its centre: a wire straight down from the transmitter, on which all of it flows, and wires that go
/// off, half a kilometre long; and the transmitter's coil, with its moment.
pub fn around(walk: &Walk, lines: &[Leaving], coil_a_m2: DVec3, seed: u64) -> Walk {
    let field_nt = |at_m: DVec3| {
        let mut sum = [Complex64::ZERO; 3];
        let mut add = |b: [f64; 3], z: Complex64| {
            sum.iter_mut().zip(b).for_each(|(sum, b)| *sum += z * b * 1e9);
        };
        for (bearing_deg, depth_m, current) in lines {
            let (sin, cos) = bearing_deg.to_radians().sin_cos();
            let from_m = DVec3::new(0.0, 0.0, -depth_m);
            let to_m = from_m + DVec3::new(sin, cos, 0.0) * 500.0;
            let ends = [at_m - from_m, at_m - to_m].map(|r| r.to_array());
            add(field::segment(1.0, ends[0], ends[1]), *current);
            let top = [at_m, at_m - from_m].map(|r| r.to_array());
            add(field::segment(1.0, top[0], top[1]), *current);
        }
        let coil_m = DVec3::Z * 0.3;
        add(field::dipole(coil_a_m2.to_array(), (at_m - coil_m).to_array()), Complex64::ONE);
        sum
    };
    noisy(walk, seed, field_nt)
}

/// The walk with any fields, and noise; where phases are free, each look has any.
fn noisy(walk: &Walk, seed: u64, field_nt: impl Fn(DVec3) -> [Complex64; 3]) -> Walk {
    let mut random = Xoshiro256PlusPlus::seed_from_u64(seed);
    let mut walk = walk.clone();
    for sight in &mut walk.sights {
        let turn = match walk.phase {
            Phase::Free => Complex64::from_polar(1.0, random.random_range(0.0..std::f64::consts::TAU)),
            Phase::Common => Complex64::ONE,
        };
        for (node, at_m) in [sight.at_m, sight.at_m + sight.upper_m].into_iter().enumerate() {
            let mut normal = || sight.sigma_nt[node] * random.sample::<f64, _>(StandardNormal);
            sight.field_nt[node] = field_nt(at_m).map(|z| z * turn + Complex64::new(normal(), normal()));
        }
    }
    walk
}

/// The circle of the book: a service that carries most, a neighbour bonded to it that brings current back, and one that is
/// coupled.
pub fn circle_of_the_book() -> Walk {
    let lines = [
        (62.0, 0.9, Complex64::from(0.05)),
        (195.0, 1.3, Complex64::from(-0.018)),
        (310.0, 1.1, Complex64::from_polar(0.009, 1.7)),
    ];
    around(&round(7.6, 0.1, Phase::Free), &lines, DVec3::ZERO, 3)
}

/// The run of the book: a tee, a neighbour that bleeds over, and an end.
pub const CURRENTS_OF_THE_BOOK: &str = "\
name,run,at_m,current_ma,sigma_ma,phase_deg,depth_m,depth_sigma_m,leaves_at_m
valve box,service,0,48.9,1.0,12,0.92,0.02,
,service,5,47.3,1.0,11,0.91,0.02,
,service,10,44.0,0.9,13,0.93,0.02,
,service,15,42.9,0.9,12,0.92,0.02,
,service,20,40.2,0.8,14,0.95,0.02,
behind the tee,service,25,27.3,0.6,13,0.94,0.02,
,service,30,25.7,0.5,12,0.94,0.02,
,service,35,24.8,0.5,14,0.95,0.02,
,service,40,23.4,0.5,13,0.96,0.02,
beside the fence,service,45,29.0,0.6,16,1.15,0.03,
,service,50,27.9,0.6,17,1.17,0.03,
,service,55,26.1,0.6,16,1.16,0.03,
,service,60,25.2,0.5,15,1.17,0.03,
,service,65,0.4,0.3,80,,,
garden,branch,3,11.2,0.3,12,0.80,0.02,22
,branch,8,10.7,0.3,14,0.82,0.02,22
,branch,13,10.1,0.3,13,0.81,0.02,22
";
