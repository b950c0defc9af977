//! Which kind of source a walk was over: a sonde, a line, two conductors. Prints its table
//! (`cargo test --release -p nullwalk-core --test model -- --nocapture`).

mod draws;

use glam::Vec3;
use nullwalk_core::depth::Measured;
use nullwalk_core::field;
use nullwalk_core::fit::line::{Height, Kind, Models, kind_by_heights};
use nullwalk_core::fit::{Look, Ring, Shared};

use draws::Noise;

const SPACING_M: f64 = 0.4;

fn vector(x: [f64; 3]) -> Vec3 {
    Vec3::new(x[0] as f32, x[1] as f32, x[2] as f32)
}

/// A source of a kind somewhere below the origin, by the core's forward models: of two conductors each for itself, 5 to
/// 20 cm apart.
fn source(kind: Kind, noise: &mut Noise) -> impl Fn([f64; 3]) -> [f64; 3] + use<> {
    let depth_m = 0.6 + 1.9 * noise.uniform();
    let at = [0.2 * noise.next(), 0.2 * noise.next(), -depth_m];
    let (lay, rise) = (0.3 * noise.next(), 0.02 * noise.next());
    let along = [lay.cos(), lay.sin(), rise];
    // A sonde may lie at any angle to the lanes.
    let turn = std::f64::consts::PI * noise.uniform();
    let moment = [0.2 * turn.cos(), 0.2 * turn.sin(), 0.02 * noise.next()];
    let (apart, roll) = (0.05 + 0.15 * noise.uniform(), std::f64::consts::TAU * noise.uniform());
    let beside = [-lay.sin() * apart * roll.cos(), lay.cos() * apart * roll.cos(), apart * roll.sin()];
    move |p| {
        let r = [0, 1, 2].map(|n| p[n] - at[n]);
        match kind {
            Kind::Dipole => field::dipole(moment, r),
            Kind::Line => field::long_line(0.01, along, r),
            Kind::Pair => field::long_pair(0.1, along, beside, r),
        }
        .map(|b| 1e9 * b)
    }
}

/// Three lanes of 6 m across.
fn walked(kind: Kind, snr: f64, noise: &mut Noise) -> Ring<128> {
    let field = source(kind, noise);
    let mut places = Vec::new();
    for x in [-0.5, 0.0, 0.5] {
        places.extend((0..101).map(|n| [x, 0.06 * f64::from(n) - 3.0, 0.15]));
    }
    let strongest = places.iter().map(|p| field(*p).map(|b| b * b).iter().sum::<f64>()).fold(0.0, f64::max);
    let sigma_nt = strongest.sqrt() / snr;
    let (gain, mut ring) = (1.0 + 0.003 * noise.next(), Ring::default());
    for p in places {
        let mut node = |up: f64, gain: f64| {
            vector(field([p[0], p[1], p[2] + up]).map(|b| b * gain + sigma_nt * noise.next()))
        };
        ring.push(Look {
            at_m: vector(p),
            upper_m: Vec3::Z * SPACING_M as f32,
            fields_nt: [node(0.0, 1.0), node(SPACING_M, gain)],
            sigma_nt: [sigma_nt as f32; 2],
            pose_sigma_m: Vec3::ZERO,
            spread_m: Vec3::ZERO,
        });
    }
    ring
}

#[test]
fn the_kind_of_source_is_told_by_a_walk() {
    const WALKS: u32 = 400;
    println!("strongest field over noise | right of dipoles, lines, pairs; wrong though decided");
    for snr_db in [10.0, 20.0, 40.0] {
        let mut line = format!("{snr_db} dB");
        for kind in [Kind::Dipole, Kind::Line, Kind::Pair] {
            let mut noise = Noise(1 + kind as u64);
            let (mut right, mut misled) = (0, 0);
            for _ in 0..WALKS {
                let walk = walked(kind, 10.0_f64.powf(snr_db / 20.0), &mut noise);
                let shared = Shared { node_ratio: 0.003, ..Shared::default() };
                let choice = Models::of(&walk, &shared, Measured::default()).choice();
                right += u32::from(choice.is_some_and(|choice| choice.kind == kind));
                misled +=
                    u32::from(choice.is_some_and(|choice| choice.kind != kind && choice.is_decided()));
            }
            let per_cent = |n: u32| 100.0 * f64::from(n) / f64::from(WALKS);
            line += &format!(" | {:.1} % ({:.1} %)", per_cent(right), per_cent(misled));
            assert!(snr_db < 20.0 || per_cent(right) >= 99.0, "{kind:?} at {snr_db} dB: {right}");
        }
        println!("{line}");
    }
}

/// Three heights half a metre apart straight above, both nodes, with noise of a share of the strongest reading: how often
/// the kind is right, and how often wrong though decided.
#[test]
fn three_heights_tell_the_kind_only_where_readings_are_fine() {
    const TRIALS: u32 = 500;
    println!("depth, readings: right (wrong though decided) of lines, pairs, dipoles");
    for depth_m in [0.6, 1.0, 1.5, 2.5] {
        let mut row = format!("{depth_m} m");
        for snr_db in [20.0, 40.0, 50.0, 60.0, 70.0] {
            row += &format!(" | {snr_db} dB:");
            for (power, kind) in [(1, Kind::Line), (2, Kind::Pair), (3, Kind::Dipole)] {
                let mut noise = Noise(snr_db as u64 + power as u64);
                let (mut right, mut misled) = (0, 0);
                for _ in 0..TRIALS {
                    let sigma = 10.0_f64.powf(-snr_db / 20.0);
                    let read = |up_m: f64| {
                        let value = (depth_m / (depth_m + up_m)).powi(power) + sigma * noise.next();
                        Height { up_m: up_m as f32, strength: Measured::new(value as f32, sigma as f32) }
                    };
                    let choice = kind_by_heights(&[0.0, 0.4, 0.5, 0.9, 1.0, 1.4].map(read)).unwrap();
                    right += u32::from(choice.kind == kind);
                    misled += u32::from(choice.kind != kind && choice.is_decided());
                }
                let per_cent = |n: u32| 100.0 * f64::from(n) / f64::from(TRIALS);
                row += &format!(" {:.0} % ({:.1})", per_cent(right), per_cent(misled));
                // A decision errs once in 150 at most; f32 itself errs by 130 dB.
                assert!(misled <= 4);
                assert!(snr_db < 60.0 || depth_m > 1.5 || per_cent(right) >= 99.0, "{row}");
            }
        }
        println!("{row}");
    }
}
