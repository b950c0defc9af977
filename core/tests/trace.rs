//! The locate of a line from end to end at the level of looks: whether its ranges hold, and whether it notices what would make
//! it wrong. Each test prints its figures (`cargo test --release -p nullwalk-core --test trace -- --nocapture`); the full runs
//! are those that are ignored (`-- --ignored --nocapture`).

mod draws;
mod yard;

use std::collections::BTreeMap;
use std::f64::consts::TAU;

use nullwalk_core::depth::soil::Soil;
use nullwalk_core::trace::{Settings, Sight, TraceFix, Tracer};
use nullwalk_core::verdict::Verdict;
use num_complex::Complex64;

use draws::Noise;
use yard::{FIELD_SIGMA, FOOT_M, POSE_M, RATIO_SIGMA, SPACING_M, Wire, lanes, looks};

fn tracer(tone_hz: f64, soil: Soil) -> Tracer {
    Tracer::new(Settings {
        tone_hz: tone_hz as f32,
        soil,
        spacing_m: SPACING_M as f32,
        node_ratio_sigma: RATIO_SIGMA as f32,
        field_sigma: FIELD_SIGMA as f32,
        tilt_sigma_rad: 0.005,
        node_height_m: FOOT_M as f32,
    })
    .unwrap()
}

fn traced(tracer: &Tracer, field_nt: &dyn Fn([f64; 3]) -> [Complex64; 3], noise: &mut Noise) -> TraceFix {
    let mut state = tracer.start();
    for (n, look) in looks(field_nt, &lanes(6.0), POSE_M, noise).into_iter().enumerate() {
        tracer.push(
            &mut state,
            Sight { at: 1000 * n as u64, look, wander_m: 0.0, phase_rad: None, saturated: false },
        );
    }
    tracer.judge(&state)
}

fn sum(wires: &[Wire], at: [f64; 3]) -> [Complex64; 3] {
    let mut all = [Complex64::default(); 3];
    for wire in wires {
        all.iter_mut().zip(wire.field_nt(at)).for_each(|(b, more)| *b += more);
    }
    all
}

/// How often each reason came.
#[derive(Default)]
struct Counts(BTreeMap<&'static str, u32>);

impl Counts {
    fn add(&mut self, fix: &TraceFix) {
        fix.judgement
            .reasons
            .as_slice()
            .iter()
            .for_each(|reason| *self.0.entry(reason.code()).or_default() += 1);
    }
}

const SOILS: [Soil; 3] = [Soil::Dry, Soil::Loam, Soil::Clay];
const TONES_HZ: [f64; 4] = [512.0, 1024.0, 8192.0, 32768.0];

/// A line 0.5 to 4 m down that carries 5 to 50 mA, within 30 degrees of straight across, falling by a few in a hundred.
fn mixed(noise: &mut Noise) -> Wire {
    Wire {
        left_m: 0.3 * noise.next(),
        up_m: -(0.5 + 3.5 * noise.uniform()),
        lay: noise.uniform() - 0.5,
        slope: 0.02 * noise.next(),
        current_a: Complex64::new(0.005 * 10.0_f64.powf(noise.uniform()), 0.0),
        k_per_m: 0.0,
    }
}

fn nominal(sites: u32, soil_told: bool, high: bool) {
    let mut noise = Noise::from(17 + u64::from(soil_told));
    let (mut agreed, mut refused, mut reasons) = (0, 0, Counts::default());
    let (mut fits, mut within, mut within_twice, mut places, mut shallow, mut sigmas) =
        (0, 0, 0, 0, 0, Vec::new());
    let (mut offs, mut own_within) = (Vec::new(), 0);
    for n in 0..sites {
        let mut wire = mixed(&mut noise);
        let soil = SOILS[n as usize % 3];
        let tone_hz = TONES_HZ[(n as usize / 3) % if high { 4 } else { 3 }];
        let [least, most] = soil.conductivity_s_per_m().map(f64::from);
        let conductivity = least * (most / least).powf(noise.uniform());
        wire.k_per_m = (TAU * tone_hz * 4e-7 * std::f64::consts::PI * conductivity).sqrt();
        let tracer = tracer(tone_hz, if soil_told { soil } else { Soil::Unknown });
        let fix = traced(&tracer, &|at| sum(&[wire], at), &mut noise);
        reasons.add(&fix);
        match fix.judgement.verdict {
            Verdict::Agree => agreed += 1,
            Verdict::Refuse => refused += 1,
            Verdict::Doubt => {}
        }
        let (Some(depth), Some(place)) = (fix.judgement.depth, fix.place) else { continue };
        fits += 1;
        let at = [f64::from(place.east_m), f64::from(place.north_m)];
        let truth = wire.depth_abreast_m(at);
        let range = fix.judgement.range.unwrap();
        let off = (f64::from(depth.depth_m) - truth) / f64::from(depth.sigma_m);
        offs.push(off);
        within += u32::from((f64::from(range.low_m)..f64::from(range.high_m)).contains(&truth));
        if let Ok(own) = fix.depths[5] {
            own_within += u32::from((f64::from(own.depth_m) - truth).abs() < 1.96 * f64::from(own.sigma_m));
        }
        within_twice += u32::from(off.abs() < 2.0 * 1.96);
        places += u32::from(wire.left_of_m(at).abs() < 1.96 * f64::from(place.sigma_m));
        shallow += u32::from(f64::from(fix.judgement.shallow_m.unwrap()) <= truth);
        sigmas.push(f64::from(depth.sigma_m) / truth);
    }
    let share = |n: u32| 100.0 * f64::from(n) / f64::from(fits);
    sigmas.sort_by(f64::total_cmp);
    offs.sort_by(f64::total_cmp);
    println!(
        "{sites} sites, soil told {soil_told}: Agree {:.1} %, Refuse {:.1} %; of {fits} the 95 % range holds {:.1} % (the fit's own {:.1} %), twice {:.1} %; place {:.1} %; shallow bound {:.1} %; sigma median {:.3}, 90 % {:.3} of the depth; median off {:.2}",
        100.0 * f64::from(agreed) / f64::from(sites),
        100.0 * f64::from(refused) / f64::from(sites),
        share(within),
        share(own_within),
        share(within_twice),
        share(places),
        share(shallow),
        sigmas[sigmas.len() / 2],
        sigmas[sigmas.len() * 9 / 10],
        offs[offs.len() / 2],
    );
    println!("{:?}", reasons.0);
}

#[test]
fn nominal_sites() {
    nominal(120, false, false);
    nominal(120, true, false);
}

fn two(sites: u32) {
    let mut noise = Noise::from(99);
    let (mut agreed, mut refused, mut wrong, mut wrong_silent, mut shallow, mut counted) =
        (0, 0, 0, 0, 0, 0);
    let mut reasons = Counts::default();
    let mut worst = 0.0_f64;
    for _ in 0..sites {
        let depth_m = 0.6 + 1.2 * noise.uniform();
        let side = if noise.uniform() < 0.5 { -1.0 } else { 1.0 };
        let left_m = 0.2 * depth_m * (noise.uniform() - 0.5);
        let current = Complex64::new(0.01, 0.0);
        let share = noise.uniform() - 0.5;
        let phase = TAU * noise.uniform();
        let (lay, slope) = (0.4 * (noise.uniform() - 0.5), 0.01 * noise.next());
        let spacing = 0.5 + 2.5 * noise.uniform();
        let first = Wire { left_m, up_m: -depth_m, lay, slope, current_a: current, k_per_m: 0.0 };
        let second = Wire {
            left_m: left_m + side * spacing * depth_m,
            up_m: -depth_m * (0.8 + 0.4 * noise.uniform()),
            current_a: Complex64::from_polar(share, phase) * current,
            ..first
        };
        let fix = traced(&tracer(8192.0, Soil::Unknown), &|at| sum(&[first, second], at), &mut noise);
        reasons.add(&fix);
        match fix.judgement.verdict {
            Verdict::Agree => agreed += 1,
            Verdict::Refuse => refused += 1,
            Verdict::Doubt => {}
        }
        let (Some(depth), Some(place)) = (fix.judgement.depth, fix.place) else { continue };
        counted += 1;
        let truth = first.depth_abreast_m([f64::from(place.east_m), f64::from(place.north_m)]);
        let off = (f64::from(depth.depth_m) - truth).abs();
        let is_wrong = off > 2.0 * 1.96 * f64::from(depth.sigma_m);
        wrong += u32::from(is_wrong);
        if fix.judgement.verdict == Verdict::Agree {
            wrong_silent += u32::from(is_wrong);
            worst = worst.max(off / truth);
            if is_wrong {
                println!(
                    "silent: depth {truth:.2} off {off:.3} sigma {:.3}, share {share:.2}, phase {:.0}, spacing {spacing:.2}",
                    depth.sigma_m,
                    phase.to_degrees()
                );
            }
        }
        shallow += u32::from(f64::from(fix.judgement.shallow_m.unwrap()) <= truth);
    }
    println!(
        "{sites} sites of two lines: Agree {agreed}, Refuse {refused}; off by over twice the range {wrong}, and Agree {wrong_silent}; worst Agree {:.1} % of the depth; shallow bound holds {shallow} of {counted}",
        100.0 * worst
    );
    println!("{:?}", reasons.0);
}

#[test]
fn two_lines() {
    two(120);
}

fn broken(sites: u32) {
    let mut noise = Noise::from(23);
    for kind in ["end", "elbow", "tee"] {
        for (least, most) in [(-3.0, -1.5), (-1.5, -0.5), (-0.5, 0.5), (0.5, 1.5), (1.5, 3.0), (5.0, 8.0)] {
            let (mut flagged, mut refused, mut worst, mut reasons) = (0, 0, 0.0_f64, Counts::default());
            for _ in 0..sites {
                let depth_m = 0.5 + 1.5 * noise.uniform();
                let away_m = depth_m * (least + (most - least) * noise.uniform());
                let fix = traced(
                    &tracer(8192.0, Soil::Unknown),
                    &|at| yard::broken(kind, away_m, depth_m, at),
                    &mut noise,
                );
                reasons.add(&fix);
                flagged += u32::from(fix.judgement.verdict != Verdict::Agree);
                refused += u32::from(fix.judgement.verdict == Verdict::Refuse);
                if let Some(depth) = fix.judgement.depth {
                    worst = worst.max(f64::from(depth.depth_m) / depth_m - 1.0);
                }
            }
            println!(
                "{kind} {least} to {most} depths ahead: flagged {flagged} of {sites}, refused {refused}; given and too deep by {:.0} % at worst; {:?}",
                100.0 * worst,
                reasons.0
            );
        }
    }
}

#[test]
fn bends_ends_and_tees() {
    broken(20);
}

#[test]
#[ignore]
fn diagnosis() {
    let mut noise = Noise::from(17);
    for n in 0..400 {
        let mut wire = mixed(&mut noise);
        let soil = SOILS[n as usize % 3];
        let tone_hz = TONES_HZ[(n as usize / 3) % 3];
        let [least, most] = soil.conductivity_s_per_m().map(f64::from);
        let conductivity = least * (most / least).powf(noise.uniform());
        wire.k_per_m = (TAU * tone_hz * 4e-7 * std::f64::consts::PI * conductivity).sqrt();
        let fix = traced(&tracer(tone_hz, Soil::Unknown), &|at| sum(&[wire], at), &mut noise);
        if !fix.judgement.reasons.as_slice().is_empty() {
            println!(
                "{n} {soil:?} {tone_hz} depth {:.2} I {:.4} lay {:.2} {:?} kind {:?} two {:?} {:?}",
                -wire.up_m,
                wire.current_a.re,
                wire.lay,
                fix.judgement.reasons.as_slice(),
                fix.kind,
                fix.two.map(|t| (t.first.depth, t.second.depth, t.second.current_a)),
                fix.depths.map(|d| d.map(|d| (d.depth_m, d.sigma_m)).unwrap_or((0.0, 0.0)))
            );
        }
    }
}
