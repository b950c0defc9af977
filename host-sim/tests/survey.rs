//! Sweeps of an area: false alarms, limits of detection, lines found.

mod yard;

use glam::DVec2;
use nullwalk::survey::{Detector, DigBox, Phase, Question, least_of, sweep};
use nullwalk_core::depth::soil::Soil;
use num_complex::Complex64;
use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;
use rayon::prelude::*;
use yard::{NOISE_NT, lanes, seen, wire};

const SIZE_M: f64 = 4.0;

/// A box of 4 m with five lanes; the detector, and the threshold for so many false alarms.
fn small(phase: Phase, false_alarm: f64) -> (nullwalk::survey::Walk, Detector, f64) {
    let walk = lanes(DVec2::ZERO, SIZE_M, SIZE_M, 1.0, 0.2, phase);
    let noise = vec![[NOISE_NT; 2]; walk.sights.len()];
    let corners = [DVec2::ZERO, DVec2::splat(SIZE_M)];
    let detector = Detector::new(&walk, &noise, &corners);
    let threshold = detector.threshold(false_alarm);
    (walk, detector, threshold)
}

fn fields(walk: &nullwalk::survey::Walk) -> Vec<[[Complex64; 3]; 2]> {
    walk.sights.iter().map(|sight| sight.field_nt).collect()
}

/// Share of `count` sweeps in which the best line is beyond the threshold.
fn alarms(detector: &Detector, threshold: f64, count: u64, sweep: impl Fn(u64) -> nullwalk::survey::Walk + Sync) -> f64 {
    let alarmed = (0..count).into_par_iter().filter(|&seed| {
        let held = detector.hold(&fields(&sweep(seed)));
        detector.best(std::slice::from_ref(&held), |_| true)[0].is_some_and(|peak| peak.surprise > threshold)
    });
    alarmed.count() as f64 / count as f64
}

#[test]
fn sweeps_over_nothing_alarm_as_rarely_as_stated() {
    for phase in [Phase::Free, Phase::Common] {
        for false_alarm in [0.01, 0.05] {
            let (walk, detector, threshold) = small(phase, false_alarm);
            let share = alarms(&detector, threshold, 2000, |seed| seen(&walk, &[], 100_000 + seed));
            eprintln!("{phase:?} {false_alarm}: threshold {threshold:.2}, {share}, grid {}", detector.grid().len());
            assert!(share > 0.5 * false_alarm && share < 1.8 * false_alarm, "{phase:?}: {share} of {false_alarm}");
        }
    }
}

#[test]
fn lines_at_the_limit_are_noticed_in_95_of_100() {
    for phase in [Phase::Free, Phase::Common] {
        let (walk, detector, threshold) = small(phase, 0.01);
        let share = alarms(&detector, threshold, 2000, |seed| {
            let mut random = Xoshiro256PlusPlus::seed_from_u64(seed);
            let place_m = DVec2::new(random.random_range(0.3..3.7), random.random_range(0.3..3.7));
            let line = wire(place_m, random.random_range(0.4..2.5), random.random_range(0.0..180.0));
            let least_a = least_of(&detector, threshold, &line);
            seen(&walk, &[(line, Complex64::from(least_a))], seed)
        });
        eprintln!("{phase:?}: {share}");
        assert!((0.93..0.975).contains(&share), "{phase:?}: {share}");
    }
}

fn question() -> Question {
    Question { false_alarm: 0.01, current_ma: 10.0, depth_m: 1.0, soil: Soil::Dry }
}

#[test]
fn two_lines_of_a_yard_are_found_with_place_depth_and_current() {
    for phase in [Phase::Free, Phase::Common] {
        let walk = lanes(DVec2::ZERO, 8.0, 6.0, 1.0, 0.1, phase);
        let truth = [
            (wire(DVec2::new(4.0, 2.0), 0.9, 10.0), Complex64::from(0.05)),
            (wire(DVec2::new(2.0, 3.0), 1.3, 80.0), Complex64::from_polar(0.012, 2.0)),
        ];
        let dig = DigBox::new(DVec2::ZERO, 8.0, 6.0).unwrap();
        let sweep = sweep(&seen(&walk, &truth, 5), &dig, &question()).unwrap();
        eprintln!("{sweep}");
        assert_eq!(sweep.lines.len(), 2);
        for (found, (wire, current)) in sweep.lines.iter().zip(&truth) {
            let off_m = found.wire.nearest(wire.at_m.truncate()).at_m - wire.at_m;
            assert!(off_m.truncate().length() < 0.05, "{found:?}");
            let depth = found.depth_m.unwrap();
            assert!((depth.low95..depth.high95).contains(&-wire.at_m.z), "{found:?}");
            assert!((found.current_ma.value / 1e3 / current.norm() - 1.0).abs() < 0.1, "{found:?}");
        }
        let phase_deg = sweep.lines[1].phase_deg.unwrap();
        assert!((phase_deg - 2_f64.to_degrees()).abs() < 5.0 , "{phase_deg}");
    }
}
