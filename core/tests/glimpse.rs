//! The glimpse fit against truths drawn from its own priors, against the Bayesian bound, and over a wide grid. Fields
//! and bounds are worked out here in 64-bit floats from a field formula of their own. Each test prints its figures
//! (`cargo test --release -p nullwalk-core --test glimpse -- --nocapture`).

mod draws;
mod matrix;

use glam::{Vec2, Vec3};
use nullwalk_core::fit::{Glimpsed, LogNormal, Look, Priors, glimpse};
use proptest::prelude::*;

use draws::Noise;
use matrix::inverse;

/// 5 pT per root hertz, ten looks a second.
const SIGMA_NT: f64 = 5e-3 * 3.162_277_66;
const SPACING_M: f64 = 0.4;

/// Forward, left, natural logarithm of the depth; lay, pitch, natural logarithm of the moment.
type Truth = [f64; 6];

fn truth(forward_m: f64, left_m: f64, depth_m: f64, moment_a_m2: f64) -> Truth {
    [forward_m, left_m, depth_m.ln(), 0.0, 0.0, moment_a_m2.ln()]
}

/// Field at both nodes, nanotesla (Jackson, Classical Electrodynamics, eq. 5.56).
fn fields(truth: &Truth) -> [f64; 6] {
    let [x, y, log_depth, lay, pitch, log_moment] = *truth;
    let moment = log_moment.exp();
    let m = [lay.cos() * pitch.cos(), lay.sin() * pitch.cos(), pitch.sin()].map(|share| share * moment);
    let node = |up: f64| {
        let r = [-x, -y, up + log_depth.exp()];
        let r2: f64 = r.iter().map(|r| r * r).sum();
        let mr: f64 = m.iter().zip(r).map(|(m, r)| m * r).sum();
        [0, 1, 2].map(|n| 100.0 * (3.0 * mr * r[n] / r2 - m[n]) / (r2 * r2.sqrt()))
    };
    let ([a, b, c], [d, e, f]) = (node(0.0), node(SPACING_M));
    [a, b, c, d, e, f]
}

/// What the nodes see, their noise and the error of the gains' ratio included.
fn look(truth: &Truth, ratio_sigma: f64, noise: &mut Noise) -> Look {
    let off = 0.5 * ratio_sigma * noise.next();
    let [a, b, c, d, e, f] = fields(truth);
    let seen = [a * (1.0 - off), b * (1.0 - off), c * (1.0 - off)];
    let above = [d * (1.0 + off), e * (1.0 + off), f * (1.0 + off)];
    exact(seen, above, |b| b + SIGMA_NT * noise.next())
}

fn exact(lower: [f64; 3], upper: [f64; 3], mut seen: impl FnMut(f64) -> f64) -> Look {
    let mut vector = |b: [f64; 3]| Vec3::from_array(b.map(|b| seen(b) as f32));
    Look {
        at_m: Vec3::ZERO,
        upper_m: Vec3::Z * SPACING_M as f32,
        fields_nt: [vector(lower), vector(upper)],
        sigma_nt: [SIGMA_NT as f32; 2],
        pose_sigma_m: Vec3::ZERO,
        spread_m: Vec3::ZERO,
    }
}

/// Whether the instrument would hear this: 9 dB above the noise of all six components, in phase and in quadrature.
fn is_heard(look: &Look) -> bool {
    let power: f32 = look.fields_nt.iter().map(|b| b.length_squared()).sum();
    f64::from(power) > 7.94 * 12.0 * SIGMA_NT * SIGMA_NT
}

fn drawn(priors: &Priors, noise: &mut Noise) -> Truth {
    let log_normal = |of: LogNormal, by: f64| f64::from(of.median).ln() + f64::from(of.log_sigma) * by;
    let aside_m = f64::from(priors.aside_sigma_m);
    [
        aside_m * noise.next(),
        aside_m * noise.next(),
        log_normal(priors.depth_m, noise.next()),
        std::f64::consts::TAU * noise.uniform(),
        f64::from(priors.level_sigma_rad) * noise.next(),
        log_normal(priors.moment_a_m2, noise.next()),
    ]
}

/// Errors forward, left and in depth, over their stated sigmas.
fn in_sigmas(truth: &Truth, seen: &Glimpsed) -> [f64; 3] {
    let [x, y, log_depth, ..] = *truth;
    let depth = seen.depth_m();
    let sigma = |n: usize| f64::from(seen.covariance[n][n]).sqrt();
    [
        (f64::from(seen.place_m.x) - x) / sigma(0),
        (f64::from(seen.place_m.y) - y) / sigma(1),
        (f64::from(depth.value) - log_depth.exp()) / f64::from(depth.sigma),
    ]
}

fn bench(log_sigma: f32) -> Priors {
    Priors { moment_a_m2: LogNormal { median: 0.2, log_sigma }, ..Priors::default() }
}

fn rms(errors: impl Iterator<Item = f64>) -> f64 {
    let (sum, count) = errors.fold((0.0, 0.0), |(sum, count), e| (sum + e * e, count + 1.0));
    (sum / count).sqrt()
}

#[test]
fn sigmas_tell_the_truth_for_sondes_drawn_from_the_priors() {
    let level =
        Priors { level_sigma_rad: 0.08, depth_m: LogNormal { median: 1.5, log_sigma: 0.5 }, ..bench(0.5) };
    for (name, priors, ratio_sigma) in [
        ("strength known to 10 %", bench(0.1), 0.003),
        ("strength unknown", Priors::default(), 0.003),
        ("level, poor calibration", level, 0.01),
    ] {
        let mut noise = Noise(7);
        let mut errors = Vec::new();
        let mut others = Vec::new();
        let mut unexplained = 0;
        while errors.len() < 6000 {
            let truth = drawn(&priors, &mut noise);
            let look = look(&truth, ratio_sigma, &mut noise);
            if !is_heard(&look) {
                continue;
            }
            let Some(seen) = glimpse(&look, &priors, ratio_sigma as f32) else {
                unexplained += 1;
                continue;
            };
            errors.push(in_sigmas(&truth, &seen));
            let bearing = seen.bearing_rad().map(|b| {
                let off = f64::from(b.value) - truth[1].atan2(truth[0]);
                (off - std::f64::consts::TAU * (off / std::f64::consts::TAU).round()) / f64::from(b.sigma)
            });
            let lay = f64::from(seen.lay_rad.value) - truth[3];
            let lay = lay - std::f64::consts::PI * (lay / std::f64::consts::PI).round();
            let moment = f64::from(seen.moment_a_m2.median).ln() - truth[5];
            let distance = f64::from(seen.distance_m.value) - truth[0].hypot(truth[1]);
            others.push([
                lay / f64::from(seen.lay_rad.sigma),
                moment / f64::from(seen.moment_a_m2.log_sigma),
                bearing.unwrap_or(f64::NAN),
                distance / f64::from(seen.distance_m.sigma),
            ]);
        }
        println!("{name}: {unexplained} of {} unexplained", errors.len());
        assert!(unexplained < 30, "one in two hundred at most");
        for (n, what) in ["lay", "strength", "bearing", "distance"].iter().enumerate() {
            let all: Vec<f64> = others.iter().map(|e| e[n]).filter(|e| e.is_finite()).collect();
            let within = all.iter().filter(|e| e.abs() < 1.96).count() as f64 / all.len() as f64;
            println!(
                "  {what}: {} times, rms {:.2}, within 1.96 sigma {:.1} %",
                all.len(),
                rms(all.iter().copied()),
                100.0 * within
            );
        }
        for (n, what) in ["forward", "left", "depth"].iter().enumerate() {
            let spread = rms(errors.iter().map(|e| e[n]));
            let within = errors.iter().filter(|e| e[n].abs() < 1.96).count() as f64 / errors.len() as f64;
            let worst = errors.iter().map(|e| e[n].abs()).fold(0.0, f64::max);
            println!(
                "  {what}: rms {spread:.2} sigma, within 1.96 sigma {:.1} %, worst {worst:.1}",
                100.0 * within
            );
            // Of 6000 the share itself is uncertain by 0.3 %.
            assert!((0.9..1.12).contains(&spread) && (0.93..0.97).contains(&within));
        }
    }
}

/// Standard deviations forward, left and in depth that no estimate of this truth beats but by luck: the Fisher
/// information, worked out from differences, with what the priors know, inverted (Kay 1993). The error of the gains'
/// ratio is a seventh unknown.
fn bound(truth: &Truth, priors: &Priors, ratio_sigma: f64) -> [f64; 3] {
    let seen = |truth: &Truth, off: f64| {
        let [a, b, c, d, e, f] = fields(truth);
        let (low, high) = (1.0 - 0.5 * off, 1.0 + 0.5 * off);
        [a * low, b * low, c * low, d * high, e * high, f * high]
    };
    let slopes: [[f64; 6]; 7] = std::array::from_fn(|n| {
        let h = 1e-5;
        let (mut up, mut down) = (*truth, *truth);
        if let (Some(up), Some(down)) = (up.get_mut(n), down.get_mut(n)) {
            (*up, *down) = (*up + h, *down - h);
        }
        let off = if n == 6 { h } else { 0.0 };
        let (up, down) = (seen(&up, off), seen(&down, -off));
        std::array::from_fn(|k| (up[k] - down[k]) / (2.0 * h))
    });
    let mut information = [[0.0; 7]; 7];
    for (i, row) in information.iter_mut().enumerate() {
        for (j, cell) in row.iter_mut().enumerate() {
            let product: f64 = slopes[i].iter().zip(&slopes[j]).map(|(a, b)| a * b).sum();
            *cell = product / (SIGMA_NT * SIGMA_NT);
        }
    }
    let aside_m = f64::from(priors.aside_sigma_m);
    let sigmas = [
        aside_m,
        aside_m,
        f64::from(priors.depth_m.log_sigma),
        f64::INFINITY,
        f64::from(priors.level_sigma_rad),
        f64::from(priors.moment_a_m2.log_sigma),
        ratio_sigma,
    ];
    for (n, sigma) in sigmas.iter().enumerate() {
        information[n][n] += 1.0 / (sigma * sigma);
    }
    let covariance = inverse(information);
    [covariance[0][0].sqrt(), covariance[1][1].sqrt(), covariance[2][2].sqrt() * truth[2].exp()]
}

#[test]
fn near_the_source_the_fit_meets_the_bayesian_bound() {
    let (priors, ratio_sigma) = (bench(0.05), 0.003);
    // Aslant of the source, where one dipole is left; straight above, or abreast, are two.
    for depth_m in [0.5_f64, 1.0, 1.5, 2.0] {
        let mut noise = Noise(11);
        let truths: Vec<Truth> = (0..1000)
            .map(|_| {
                let [.., pitch, log_moment] = drawn(&priors, &mut noise);
                [0.6 * depth_m, 0.3 * depth_m, depth_m.ln(), 0.0, pitch, log_moment]
            })
            .collect();
        let bounds: Vec<_> = truths.iter().map(|truth| bound(truth, &priors, ratio_sigma)).collect();
        let errors: Vec<[f64; 3]> = truths
            .iter()
            .filter_map(|truth| {
                let seen = glimpse(&look(truth, ratio_sigma, &mut noise), &priors, ratio_sigma as f32)?;
                Some([
                    f64::from(seen.place_m.x) - truth[0],
                    f64::from(seen.place_m.y) - truth[1],
                    f64::from(seen.depth_m().value) - depth_m,
                ])
            })
            .collect();
        assert!(errors.len() >= 995);
        for (n, what) in ["forward", "left", "depth"].iter().enumerate() {
            let bound = rms(bounds.iter().map(|b| b[n]));
            let ratio = rms(errors.iter().map(|e| e[n])) / bound;
            println!("{depth_m} m, {what}: bound {:.2} mm, error {ratio:.2} of that", 1e3 * bound);
            // Of 1000 the ratio itself is uncertain by 2 %.
            assert!((0.9..1.12).contains(&ratio));
        }
    }
}

/// Where one holds the mast at last, and where the belief is long and bent.
#[test]
fn overhead_too_hardly_ever_is_an_estimate_far_off() {
    for (name, priors) in [("strength unknown", Priors::default()), ("strength known to 10 %", bench(0.1))]
    {
        let mut noise = Noise(5);
        let mut errors = Vec::new();
        while errors.len() < 5000 {
            let mut truth = drawn(&priors, &mut noise);
            let [x, y] = [(); 2].map(|()| 0.3 * truth[2].exp() * (2.0 * noise.uniform() - 1.0));
            (truth[0], truth[1]) = (x, y);
            let look = look(&truth, 0.003, &mut noise);
            if let Some(seen) = is_heard(&look).then(|| glimpse(&look, &priors, 0.003)).flatten() {
                errors.push(in_sigmas(&truth, &seen));
            }
        }
        for (n, what) in ["forward", "left", "depth"].iter().enumerate() {
            let far = errors.iter().filter(|e| e[n].abs() > 6.0).count() as f64 / errors.len() as f64;
            let spread = rms(errors.iter().map(|e| e[n].clamp(-6.0, 6.0)));
            println!("{name}, {what}: rms {spread:.2} sigma, beyond 6 sigma {:.2} %", 100.0 * far);
            // Where it could stand in the circle's gaps, a source steeper than most is taken for another one.
            assert!(far < 3e-3 && spread < 1.2);
        }
    }
}

/// Over all places within 9 m, where plain least squares runs away along the flat directions.
#[test]
fn over_a_wide_grid_no_estimate_wanders_off() {
    let priors = Priors::default();
    let (mut worst, mut farthest_m, mut count) = (0.0_f64, 0.0_f64, 0);
    let mut noise = Noise(5);
    for depth_m in [0.7, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0] {
        for forward in -9..10 {
            for left in -6..7 {
                let mut truth = truth(f64::from(forward), f64::from(left), depth_m, 0.2);
                truth[3] = 0.3;
                let look = look(&truth, 0.003, &mut noise);
                if !is_heard(&look) {
                    continue;
                }
                let seen = glimpse(&look, &priors, 0.003).expect("a dipole makes these fields");
                let off = in_sigmas(&truth, &seen).into_iter().map(f64::abs).fold(0.0, f64::max);
                worst = worst.max(off);
                farthest_m = farthest_m.max(f64::from(seen.place_m.length()));
                count += 1;
            }
        }
    }
    println!(
        "{count} places: never more than {worst:.1} sigma off, never thought farther than {farthest_m:.1} m"
    );
    assert!(count > 600 && worst < 6.0 && farthest_m < 8.0);
}

/// The exact ambiguity: over a level sonde depth and a miss sideways make the same fields, on either side.
#[test]
fn sideways_of_a_level_sonde_both_sides_are_believed_and_the_depth_with_them() {
    let mut noise = Noise(1);
    // Two metres deep and none aside, or 1.5 m deep, 0.917 m aside, and weaker.
    // On the circle of Apollonius, where the distances to the nodes stand as 2.4 to 2.
    let squared = 1.2_f64 * 1.2 - 1.0;
    let (middle_m, radius_m) = (SPACING_M / squared, 1.2 * SPACING_M / squared);
    let aside_m = (radius_m * radius_m - (1.5 - middle_m).powi(2)).sqrt();
    assert!((aside_m - 0.917).abs() < 1e-3);
    let weaker = 0.2 * ((1.5 * 1.5 + aside_m * aside_m) / 4.0_f64).powf(1.5);
    let [a, b] = [truth(0.0, 0.0, 2.0, 0.2), truth(0.0, aside_m, 1.5, weaker)].map(|t| fields(&t));
    assert!(a.iter().zip(b).all(|(a, b)| (a - b).abs() < 1e-9), "{a:?} {b:?}");
    let seen =
        glimpse(&look(&truth(0.0, 0.0, 2.0, 0.2), 0.0, &mut noise), &Priors::default(), 0.003).unwrap();
    let [[forward, ..], [_, left, _], [_, _, deep]] = seen.covariance.map(|row| row.map(f32::sqrt));
    println!(
        "over 2 m: forward {forward:.2} m, left {left:.2} m, depth {:.2} m +- {deep:.2}",
        -seen.place_m.z
    );
    assert!(left > 4.0 * forward && left > 0.5 && deep > 0.2);
    assert!((f64::from(-seen.place_m.z) - 2.0).abs() < 2.0 * f64::from(deep));
    // With the strength from the bench the depth is known, and so is how far aside: but not to which side.
    let look = look(&truth(0.0, aside_m, 1.5, weaker), 0.0, &mut noise);
    let strength = LogNormal { median: weaker as f32, log_sigma: 0.05 };
    let seen = glimpse(&look, &Priors { moment_a_m2: strength, ..Priors::default() }, 0.003).unwrap();
    let twin = seen.twin.expect("the other side");
    println!(
        "abreast of 1.5 m: {} or {}, depth {:.2} +- {:.2} m, {:.2} +- {:.2} m away",
        seen.dipole.at_m,
        twin.at_m,
        seen.depth_m().value,
        seen.depth_m().sigma,
        seen.distance_m.value,
        seen.distance_m.sigma
    );
    assert!(seen.dipole.at_m.y * twin.at_m.y < 0.0 && seen.place_m.y.abs() < 0.3);
    assert!((seen.depth_m().value - 1.5).abs() < 0.2 && (seen.distance_m.value - 0.917).abs() < 0.2);
    assert!(seen.bearing_rad().is_none(), "it may be on either side");
}

/// Far off one field and hardly a gradient are left: a bearing, and how little it is worth.
#[test]
fn far_off_there_is_a_bearing_and_a_distance() {
    let mut noise = Noise(3);
    let truth = truth(5.0, 1.0, 2.0, 0.2);
    let seen = glimpse(&look(&truth, 0.003, &mut noise), &bench(0.1), 0.003).unwrap();
    let bearing = seen.bearing_rad().unwrap();
    println!(
        "{:.1} +- {:.1} degrees, {:.1} +- {:.1} m",
        bearing.value.to_degrees(),
        bearing.sigma.to_degrees(),
        seen.distance_m.value,
        seen.distance_m.sigma
    );
    assert!((f64::from(bearing.value) - 0.2_f64.atan()).abs() < 2.0 * f64::from(bearing.sigma));
    assert!((f64::from(seen.distance_m.value) - 5.1).abs() < 2.0 * f64::from(seen.distance_m.sigma));
}

#[test]
fn one_node_alone_and_fields_that_no_dipole_makes() {
    let mut look = look(&truth(0.5, 0.2, 1.0, 0.2), 0.0, &mut Noise(2));
    look.sigma_nt = [0.016, 1e6];
    let alone = glimpse(&look, &bench(0.1), 0.003).expect("the lower node and the priors");
    assert!((alone.depth_m().value - 1.0).abs() < 3.0 * alone.depth_m().sigma);
    look.sigma_nt = [0.016; 2];
    look.fields_nt = [look.fields_nt[0], -look.fields_nt[0]];
    assert!(glimpse(&look, &bench(0.1), 0.003).is_none());
    for strange in [Vec3::ZERO, Vec3::NAN, Vec3::INFINITY, Vec3::MAX] {
        look.fields_nt = [strange, strange];
        assert!(glimpse(&look, &bench(0.1), 0.003).is_none());
    }
}

/// A look seen through a change of the world, and what is found when the change is undone.
struct Change {
    of_vectors: fn(Vec3) -> Vec3,
    undone: fn(Vec3) -> Vec3,
    strength: f32,
}

fn turned(v: Vec3) -> Vec3 {
    Vec2::from_angle(2.1).rotate(v.truncate()).extend(v.z)
}

/// The fields' sign means nothing, turning the mast turns all that is found, its mirror image mirrors it, and a stronger
/// sonde in more noise is the same but for its strength.
const CHANGES: [Change; 4] = [
    Change { of_vectors: |v| -v, undone: |v| v, strength: 1.0 },
    Change {
        of_vectors: turned,
        undone: |v| Vec2::from_angle(-2.1).rotate(v.truncate()).extend(v.z),
        strength: 1.0,
    },
    Change {
        of_vectors: |v| Vec3::new(v.x, -v.y, v.z),
        undone: |v| Vec3::new(v.x, -v.y, v.z),
        strength: 1.0,
    },
    Change { of_vectors: |v| v, undone: |v| v, strength: 7.3 },
];

/// By how many sigmas what is found differs after a change.
fn differs(look: &Look, seen: &Glimpsed, priors: &Priors, change: &Change) -> f32 {
    let mut changed = *look;
    changed.fields_nt = look.fields_nt.map(|b| (change.of_vectors)(b) * change.strength);
    changed.sigma_nt = look.sigma_nt.map(|sigma| sigma * change.strength);
    let median = priors.moment_a_m2.median * change.strength;
    let priors = Priors { moment_a_m2: LogNormal { median, ..priors.moment_a_m2 }, ..*priors };
    let Some(other) = glimpse(&changed, &priors, 0.003) else { return f32::INFINITY };
    let strength = (other.moment_a_m2.median / (change.strength * seen.moment_a_m2.median)).ln();
    let apart_m = (change.undone)(other.place_m).distance(seen.place_m);
    let pitch = other.pitch_rad.value.abs() - seen.pitch_rad.value.abs();
    [
        apart_m / seen.depth_m().sigma.max(seen.distance_m.sigma),
        (other.depth_m().value - seen.depth_m().value) / seen.depth_m().sigma,
        (other.depth_m().sigma / seen.depth_m().sigma).ln(),
        (other.distance_m.sigma / seen.distance_m.sigma).ln(),
        (other.lay_rad.sigma / seen.lay_rad.sigma).ln(),
        strength / seen.moment_a_m2.log_sigma,
        pitch / seen.pitch_rad.sigma,
    ]
    .into_iter()
    .map(f32::abs)
    .fold(0.0, f32::max)
}

#[test]
fn what_is_found_goes_with_the_mast_wherever_it_is() {
    let priors = Priors::default();
    let mut noise = Noise(13);
    for (n, change) in CHANGES.iter().enumerate() {
        let (mut count, mut same) = (0, 0);
        while count < 2000 {
            let look = look(&drawn(&priors, &mut noise), 0.003, &mut noise);
            if let Some(seen) = is_heard(&look).then(|| glimpse(&look, &priors, 0.003)).flatten() {
                count += 1;
                same += u32::from(differs(&look, &seen, &priors, change) < 0.05);
            }
        }
        println!("change {n}: {same} of {count} the same to a twentieth of a sigma");
        // Rounding tips the scales where there are two ways to go on.
        assert!(same > 1980);
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(300) })]

    #[test]
    fn where_the_place_is_known_it_goes_with_the_mast(
        forward in 0.3..1.2,
        left in 0.1..0.6,
        depth_m in 0.7..1.5,
        seed: u64,
    ) {
        let priors = bench(0.05);
        let look = look(&truth(forward, left, depth_m, 0.2), 0.003, &mut Noise(seed));
        let seen = glimpse(&look, &priors, 0.003);
        prop_assume!(seen.is_some_and(|seen| seen.twin.is_none() && seen.depth_m().sigma < 0.05));
        for change in &CHANGES {
            prop_assert!(seen.is_some_and(|seen| differs(&look, &seen, &priors, change) < 0.2));
        }
    }
}
