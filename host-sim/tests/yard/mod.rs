//! Walks over invented yards: fields with their places, from long lines.

use glam::{DVec2, DVec3};
use nullwalk::survey::{Phase, Sight, Walk, Wire};
use num_complex::Complex64;
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
