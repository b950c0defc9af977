//! What is lost when a walk is kept in 128 looks: its fit beside that of the same walk with every look kept. Prints its
//! figures (`cargo test --release -p nullwalk-tests --test merging -- --nocapture`).

use glam::{DVec3, Vec3};
use nullwalk_core::field;
use nullwalk_core::fit::{Dipole, Look, Ring, Shared, Traversed, traverse};
use rand::{RngExt, SeedableRng};
use rand_distr::StandardNormal;
use rand_xoshiro::Xoshiro256PlusPlus;

/// 5 pT per root hertz, ten looks a second.
const NOISE_NT: f64 = 5e-3 * 3.162_277_66;
const SHARED: Shared = Shared { node_ratio: 0.003, field: 0.0, place_m: Vec3::ZERO };
const SEEDS: u64 = 60;

/// The same walk in as many looks as the instrument keeps, and with every look kept.
struct Walk {
    merged: Ring<128>,
    whole: Ring<1024>,
}

impl Walk {
    /// Three lanes of 6 m over a sonde of 0.2 A m2, at so many looks a metre, places off by `pose_m` from look to look.
    fn new(truth: &Dipole, looks_per_m: u32, pose_m: f64, seed: u64) -> Self {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(seed);
        let mut normal = move || -> f64 { random.sample(StandardNormal) };
        let mut walk = Self { merged: Ring::default(), whole: Ring::default() };
        let count = 6 * looks_per_m + 1;
        for n in 0..3 * count {
            let (lane, along) = (f64::from(n / count), f64::from(n % count));
            let true_m = DVec3::new(along / f64::from(looks_per_m) - 3.0, 0.5 * lane - 0.5, 0.0);
            let upper_m = DVec3::new(0.0, 0.0, 0.4);
            let mut seen = |at_m: DVec3| {
                let r = at_m - truth.at_m.as_dvec3();
                let b_t = field::dipole(truth.moment.as_dvec3().to_array(), r.to_array());
                let noise_nt = DVec3::new(normal(), normal(), normal()) * NOISE_NT;
                (DVec3::from_array(b_t) * 1e9 + noise_nt).as_vec3()
            };
            let fields_nt = [seen(true_m), seen(true_m + upper_m)];
            let look = Look {
                at_m: (true_m + DVec3::new(normal(), normal(), 0.0) * pose_m).as_vec3(),
                upper_m: upper_m.as_vec3(),
                fields_nt,
                sigma_nt: [NOISE_NT as f32; 2],
                pose_sigma_m: Vec3::new(pose_m as f32, pose_m as f32, 0.0),
                spread_m: Vec3::ZERO,
            };
            walk.merged.push(look);
            walk.whole.push(look);
        }
        walk
    }

    fn fits(&self, start: Dipole) -> Option<(Traversed, Traversed)> {
        traverse(&self.merged, start, &SHARED).ok().zip(traverse(&self.whole, start, &SHARED).ok())
    }
}

/// Over many seeds: how far the depth moves by merging, rms in sigmas of the whole walk; by how much its sigma grows; rms
/// error in its own sigmas; reduced chi-square.
#[derive(Debug)]
struct Loss {
    moved: f64,
    wider: f64,
    error: f64,
    chi_square: f64,
}

fn loss(depth_m: f32, looks_per_m: u32, pose_m: f64) -> Loss {
    let truth = Dipole { at_m: Vec3::new(0.1, -0.08, -depth_m), moment: Vec3::new(0.17, 0.1, 0.02) };
    let off_m = Vec3::new(0.05, -0.07, 0.07) * depth_m;
    let start = Dipole { at_m: truth.at_m + off_m, moment: truth.moment * 0.85 };
    let fits = (0..SEEDS).filter_map(|seed| Walk::new(&truth, looks_per_m, pose_m, seed).fits(start));
    let rows: Vec<[f64; 4]> = fits
        .map(|(merged, whole)| {
            let moved = (merged.dipole.at_m.z - whole.dipole.at_m.z) / whole.sigma(2);
            let error = (merged.dipole.at_m.z - truth.at_m.z) / merged.sigma(2);
            [moved * moved, merged.sigma(2) / whole.sigma(2), error * error, merged.reduced_chi_square()]
                .map(f64::from)
        })
        .collect();
    assert!(rows.len() as u64 >= SEEDS * 95 / 100, "{} of {SEEDS} walks were fitted", rows.len());
    let mean = |n: usize| rows.iter().map(|row| row[n]).sum::<f64>() / rows.len() as f64;
    let loss = Loss { moved: mean(0).sqrt(), wider: mean(1), error: mean(2).sqrt(), chi_square: mean(3) };
    println!(
        "{depth_m} m, {} looks, poses {:.0} cm: depth moved by {:.2} sigma, sigma {:.3} times, error {:.2} sigma, \
         chi-square {:.2}",
        3 * (6 * looks_per_m + 1),
        100.0 * pose_m,
        loss.moved,
        loss.wider,
        loss.error,
        loss.chi_square
    );
    loss
}

const DEPTHS_M: [f32; 6] = [0.5, 1.0, 1.5, 2.0, 3.0, 6.0];

#[test]
fn with_known_places_merging_looks_hardly_moves_the_fit() {
    for looks_per_m in [16, 50] {
        for depth_m in DEPTHS_M {
            let loss = loss(depth_m, looks_per_m, 0.0);
            assert!(loss.moved < 0.2 && loss.wider < 1.1, "{loss:?}");
            // Of 60 walks the rms is known to 9 %.
            assert!(loss.error < 1.3 && loss.chi_square < 1.1, "{loss:?}");
        }
    }
}

/// Of looks merged while their places are uncertain nobody knows how far they lay apart. At a walking pace it matters
/// little. Of a walk three times as slow, seven looks are merged into one that blurs the field of a near source: that is
/// not good enough yet, and not tested. Measured with 50 looks a metre, rms error in stated sigmas: 1.6 at 1 m; at 0.5 m
/// 5 of 60 walks gave a fit, 7.6 sigmas off.
#[test]
fn with_uncertain_places_merging_looks_moves_the_fit_by_less_than_its_sigma() {
    for (looks_per_m, depths_m) in [(16, DEPTHS_M.as_slice()), (50, &DEPTHS_M[2..])] {
        for &depth_m in depths_m {
            let loss = loss(depth_m, looks_per_m, 0.02);
            assert!(loss.moved < 0.7 && loss.wider < 1.1, "{loss:?}");
            assert!(loss.error < 1.5 && loss.chi_square < 1.3, "{loss:?}");
        }
    }
}
