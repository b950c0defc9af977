//! Two parallel lines on one tone: how well the fit of two separates them, and what a fit of one makes of them. Fields are
//! worked out here in 64-bit floats from Ampere's law. Prints its tables
//! (`cargo test --release -p nullwalk-core --test two_lines -- --nocapture`).

mod draws;

use glam::Vec3;
use nullwalk_core::chi_square::{Level, upper_point};
use nullwalk_core::depth::Measured;
use nullwalk_core::depth::soil::{Soil, returned_per_m};
use nullwalk_core::fit::line::{self, PhasorLook};
use nullwalk_core::fit::{Look, Ring, Shared};
use num_complex::Complex64;

use draws::Noise;

/// 5 pT per root hertz, ten looks a second.
const SIGMA_NT: f64 = 5e-3 * 3.162_277_66;
const SPACING_M: f64 = 0.4;

/// A line: to the left and up at x = 0, and its current.
#[derive(Clone, Copy)]
struct Wire {
    left_m: f64,
    up_m: f64,
    current_a: Complex64,
}

struct Site {
    wires: [Wire; 2],
    lay: f64,
    slope: f64,
    gain: f64,
}

/// Field at a point, nanotesla: Ampere's law, Griffiths, ch. 5.
fn field(site: &Site, at: [f64; 3]) -> [Complex64; 3] {
    let axis = [site.lay.cos() * site.slope.cos(), site.lay.sin() * site.slope.cos(), site.slope.sin()];
    let mut sum = [Complex64::default(); 3];
    for wire in site.wires {
        let r = [at[0], at[1] - wire.left_m, at[2] - wire.up_m];
        let on: f64 = r.iter().zip(axis).map(|(r, a)| r * a).sum();
        let p = [0, 1, 2].map(|n| r[n] - on * axis[n]);
        let p2: f64 = p.iter().map(|p| p * p).sum();
        let around = [
            axis[1] * p[2] - axis[2] * p[1],
            axis[2] * p[0] - axis[0] * p[2],
            axis[0] * p[1] - axis[1] * p[0],
        ];
        sum.iter_mut().zip(around).for_each(|(b, c)| *b += wire.current_a * (200.0 * c / p2));
    }
    sum
}

fn vector(x: &[f64]) -> Vec3 {
    Vec3::new(x[0] as f32, x[1] as f32, x[2] as f32)
}

/// Half a lane of 6 m.
const HALF_M: f64 = 3.0;

/// Three lanes across, half a metre apart, each instant turned by its common phase as the instrument does.
fn walked(site: &Site, half_m: f64, noise: &mut Noise) -> Ring<128, PhasorLook> {
    let mut ring = Ring::default();
    let mut last = 0.0;
    let steps = (half_m / 0.03).round() as u32;
    for (x, n) in [-0.5, 0.0, 0.5].into_iter().flat_map(|x| (0..=steps).map(move |n| (x, n))) {
        let at = [x, 0.06 * f64::from(n) - half_m, 0.15];
        let lower = field(site, at);
        let upper = field(site, [at[0], at[1], at[2] + SPACING_M]).map(|b| b * (1.0 + site.gain));
        // The transmitter's own phase turns slowly.
        let turn = Complex64::from_polar(1.0, 0.01 * f64::from(n));
        let mut z: Vec<Complex64> = lower.into_iter().chain(upper).map(|b| b * turn).collect();
        z.iter_mut().for_each(|z| *z += Complex64::new(noise.next(), noise.next()) * SIGMA_NT);
        let half = 0.5 * z.iter().map(|z| z * z).sum::<Complex64>().arg();
        let phase =
            last + (half - last) - std::f64::consts::PI * ((half - last) / std::f64::consts::PI).round();
        last = phase;
        z.iter_mut().for_each(|z| *z *= Complex64::from_polar(1.0, -phase));
        let [re, im]: [Vec<f64>; 2] = [z.iter().map(|z| z.re).collect(), z.iter().map(|z| z.im).collect()];
        ring.push(PhasorLook {
            look: Look {
                at_m: vector(&at),
                upper_m: Vec3::Z * SPACING_M as f32,
                fields_nt: [vector(&re), vector(&re[3..])],
                sigma_nt: [SIGMA_NT as f32; 2],
                pose_sigma_m: Vec3::ZERO,
                spread_m: Vec3::ZERO,
            },
            quadrature_nt: [vector(&im), vector(&im[3..])],
        });
    }
    ring
}

fn site(spacing: f64, share: f64, phase_deg: f64, noise: &mut Noise) -> (Site, f64) {
    let depth_m = 0.6 + 1.2 * noise.uniform();
    let side = if noise.uniform() < 0.5 { -1.0 } else { 1.0 };
    let left_m = 0.2 * depth_m * (noise.uniform() - 0.5);
    let current = Complex64::new(0.01, 0.0);
    let first = Wire { left_m, up_m: -depth_m, current_a: current };
    let second = Wire {
        left_m: left_m + side * spacing * depth_m,
        up_m: -depth_m * (0.8 + 0.4 * noise.uniform()),
        current_a: Complex64::from_polar(share, phase_deg.to_radians()) * current,
    };
    let (lay, slope) = (0.4 * (noise.uniform() - 0.5), 0.01 * noise.next());
    (Site { wires: [first, second], lay, slope, gain: 0.003 * noise.next() }, depth_m)
}

const SHARED: Shared = Shared { node_ratio: 0.003, field: 0.0, place_m: Vec3::ZERO };

/// Worst error of either line: of its place across and of its depth, over the first one's depth, and its own.
fn errors(site: &Site, depth_m: f64, found: &line::Two) -> [[f64; 2]; 2] {
    let at_x0 = |line: &line::Line| {
        let along = line.along * line.along.x.signum();
        let at_m = line.at_m - along * (line.at_m.x / along.x);
        [f64::from(at_m.y), f64::from(at_m.z)]
    };
    let lines = [at_x0(&found.first), at_x0(&found.second)];
    std::array::from_fn(|n| {
        let (wire, [left, up]) = (site.wires[n], lines[n]);
        [(left - wire.left_m).abs() / depth_m, (up / wire.up_m - 1.0).abs()]
    })
}

#[test]
fn two_lines_are_told_apart_where_they_are_a_depth_apart() {
    println!(
        "share apart by less than 0.15 d across and 15 % of the depth: the stronger line, both (worst error of both)"
    );
    let (mut scores, mut worst_score) = (Vec::new(), 0.0_f64);
    let (mut total, mut beside, mut unexplained) = ([0; 3], 0, 0);
    println!("share  phase | spacing 0.5 d | 0.75 d | 1.1 d | 1.5 d | 2 d | 3 d | 3 d, lanes over both");
    for share in [0.1, 0.3, 0.5] {
        for phase_deg in [0.0, 45.0, 90.0, 135.0, 180.0] {
            let mut line = format!("{share:4}  {phase_deg:5}");
            let spacings = [0.5, 0.75, 1.1, 1.5, 2.0, 3.0].map(|spacing| (spacing, HALF_M));
            for (spacing, half_m) in spacings.into_iter().chain([(3.0, 2.5 * HALF_M)]) {
                const SITES: u32 = 12;
                let mut noise =
                    Noise::from((1000.0 * share + 10.0 * phase_deg + 100.0 * spacing) as u64 + 7_000_000);
                let (mut stronger, mut both, mut worst) = (0, 0, 0.0_f64);
                for _ in 0..SITES {
                    let (site, depth_m) = site(spacing, share, phase_deg, &mut noise);
                    let walk = walked(&site, half_m, &mut noise);
                    let Ok(found) = line::traverse_two(&walk, &SHARED) else {
                        unexplained += u32::from(spacing > 1.0 && share > 0.2);
                        continue;
                    };
                    let errors = errors(&site, depth_m, &found.source);
                    // A search that ended elsewhere leaves over what noise does not explain.
                    let explained =
                        found.chi_square < upper_point(found.freedom as usize, Level::OnePerMille);
                    unexplained += u32::from(spacing > 1.0 && share > 0.2 && !explained);
                    if spacing > 1.0 && share > 0.2 && explained {
                        let off = f64::from(found.source.first.at_m.z) - site.wires[0].up_m;
                        scores.push(off / f64::from(found.sigma(1)));
                    }
                    if spacing > 1.0 && share > 0.2 {
                        // Of each line's place across and depth, in their own sigmas.
                        let sigmas =
                            [[0, 1], [2, 3]].map(|[left, up]| [found.sigma(left), found.sigma(up)]);
                        let scaled =
                            errors.iter().zip(site.wires).zip(sigmas).flat_map(|((error, wire), sigma)| {
                                let [across, depth] = *error;
                                [
                                    across * depth_m / f64::from(sigma[0]),
                                    depth * -wire.up_m / f64::from(sigma[1]),
                                ]
                            });
                        worst_score = scaled.fold(worst_score, f64::max);
                    }
                    let right = errors.map(|[across, depth]| across < 0.15 && depth < 0.15);
                    stronger += u32::from(right[0]);
                    both += u32::from(right[0] && right[1]);
                    worst = errors.iter().flatten().fold(worst, |worst, e| worst.max(*e));
                }
                let per_cent = |n: u32| 100 * n / SITES;
                line += &format!(" | {:3} {:3} ({worst:.2})", per_cent(stronger), per_cent(both));
                if spacing > 1.0 && share > 0.2 {
                    let beyond = if half_m < spacing * 1.8 { SITES - both } else { 0 };
                    total = [total[0] + stronger, total[1] + both, total[2] + SITES];
                    beside += beyond;
                }
            }
            println!("{line}");
        }
    }
    let rms = (scores.iter().map(|z| z * z).sum::<f64>() / scores.len() as f64).sqrt();
    println!(
        "more than a depth apart, 30 % and more: depth of the stronger off by {rms:.2} stated sigmas, rms"
    );
    // What misses is the weak one three depths off, beyond the lanes' ends, by no more than its sigma says.
    let [stronger, both, sites] = total;
    println!(
        "of {sites}: the stronger right in {stronger}, both in {both}; of those missed beyond the lanes' ends {beside}; at rest nowhere or not explained by noise, {unexplained}"
    );
    println!("the worst place or depth of any line is off by {worst_score:.1} of its sigmas");
    assert!(stronger == sites && sites - both == beside && 1000 * both >= 995 * sites);
    // By chance one in a thousand is not explained, and of 2400 numbers one is 4 sigmas off in seven such tests.
    assert!(unexplained <= 3 && worst_score < 5.0);
    // 560 draws; the line slopes by a hundredth, and its middle is not quite at x = 0.
    assert!((0.85..1.15).contains(&rms));
}

/// What a fit of one line makes of two, any share up to a half and any phase, half to three depths apart; and what gives
/// them away: chi-square of the fit, and of what is in quadrature, each beyond its upper 1 per mille point.
#[test]
fn one_line_that_is_two_gives_itself_away() {
    assert!(silent("free space", Measured::default()) < 0.5);
}

/// The fit that asks for what soil returns has one unknown more to hide a neighbour in.
#[test]
fn one_line_in_unknown_soil_that_is_two_gives_itself_away() {
    assert!(silent("unknown soil", returned_per_m(8192.0, Soil::Unknown)) < 0.5);
}

/// Per cent of sites that are wrong by the depth stated and not noticed, all shares alike.
fn silent(what: &str, returned_per_m: Measured) -> f64 {
    const SITES: u32 = 300;
    println!(
        "share      | noticed by the fit, in quadrature, by either | depth off by over twice its range, and not noticed | \
              worst not noticed"
    );
    let mut noise = Noise::from(99);
    let (mut silent, mut floored) = (0.0, 0.0);
    for (least, most) in [(0.0, 0.0), (0.0, 0.02), (0.02, 0.05), (0.05, 0.1), (0.1, 0.2), (0.2, 0.5)] {
        let (mut by_fit, mut by_quadrature, mut by_either) = (0, 0, 0);
        let (mut wrong, mut missed, mut stated) = (0, 0, 0);
        let mut worst = 0.0_f64;
        for _ in 0..SITES {
            let (spacing, phase_deg) = (0.5 + 2.5 * noise.uniform(), 360.0 * noise.uniform());
            let (site, depth_m) =
                site(spacing, least + (most - least) * noise.uniform(), phase_deg, &mut noise);
            let walk = walked(&site, HALF_M, &mut noise);
            let mut plain: Ring<128> = Ring::default();
            walk.looks().iter().for_each(|look| plain.push(look.look));
            let beyond = |chi: f32, freedom: u32| chi > upper_point(freedom as usize, Level::OnePerMille);
            let found = line::start(&plain)
                .and_then(|start| line::traverse(&plain, start, &SHARED, returned_per_m).ok());
            let fit = found.is_none_or(|found| beyond(found.chi_square, found.freedom));
            let (left, freedom) = line::quadrature(&walk, 0.0);
            let quadrature = beyond(left, freedom);
            by_fit += u32::from(fit);
            by_quadrature += u32::from(quadrature);
            by_either += u32::from(fit || quadrature);
            let Some(found) = found else { continue };
            let place_m = Vec3::new(0.0, site.wires[0].left_m as f32, 0.0);
            let depth = found.depth_below_m(place_m);
            let off_m = (f64::from(depth.value) - depth_m).abs();
            let is_wrong = |sigma_m: f32| off_m > 2.0 * 1.96 * f64::from(sigma_m);
            wrong += u32::from(is_wrong(depth.sigma));
            if !(fit || quadrature) {
                missed += u32::from(is_wrong(depth.sigma));
                stated += u32::from(is_wrong(found.stated_depth_m(place_m).sigma));
                worst = worst.max(off_m / depth_m);
            }
        }
        let per_cent = |n: u32| 100.0 * f64::from(n) / f64::from(SITES);
        println!(
            "{what}: {least:4} - {most:4} | {:5.1} % {:5.1} % {:5.1} % | {:5.1} % {:5.1} % | {:.1} %",
            per_cent(by_fit),
            per_cent(by_quadrature),
            per_cent(by_either),
            per_cent(wrong),
            per_cent(missed),
            100.0 * worst
        );
        assert!(most > 0.0 || (by_either <= 4 && wrong <= 1));
        assert!(least < 0.1 || per_cent(by_either) >= 99.0);
        // As many sites of each share as if all shares up to a half were equally frequent.
        let weight = (most - least) / 0.5;
        silent += weight * per_cent(missed);
        floored += weight * per_cent(stated);
    }
    println!(
        "{what}: wrong and not noticed, all shares alike: {silent:.2} %; {floored:.2} % by the depth that is stated"
    );
    floored
}
