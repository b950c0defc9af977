//! Sweeps of an area: false alarms, limits of detection, lines found.

mod yard;

use glam::{DVec2, DVec3};
use nullwalk::run::Listen;
use nullwalk::survey::{
    Around, Caution, Detector, DigBox, Phase, Question, Role, Walk, circle, circle_svg, currents, least_of,
    svg, sweep,
};
use nullwalk_core::depth::soil::Soil;
use num_complex::Complex64;
use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;
use rayon::prelude::*;
use yard::{NOISE_NT, around, circle_of_the_book, lanes, round, seen, wire};

const SIZE_M: f64 = 4.0;

/// A box of 4 m with five lanes; the detector, and the threshold for so many false alarms.
fn small(phase: Phase, false_alarm: f64) -> (Walk, Detector, f64) {
    let walk = lanes(DVec2::ZERO, SIZE_M, SIZE_M, 1.0, 0.2, phase);
    let noise = vec![[NOISE_NT; 2]; walk.sights.len()];
    let corners = [DVec2::ZERO, DVec2::splat(SIZE_M)];
    let detector = Detector::new(&walk, &noise, &corners);
    let threshold = detector.threshold(false_alarm);
    (walk, detector, threshold)
}

fn fields(walk: &Walk) -> Vec<[[Complex64; 3]; 2]> {
    walk.sights.iter().map(|sight| sight.field_nt).collect()
}

/// Share of `count` sweeps in which the best line is beyond the threshold.
fn alarms(detector: &Detector, threshold: f64, count: u64, sweep: impl Fn(u64) -> Walk + Sync) -> f64 {
    let alarmed = (0..count).into_par_iter().filter(|&seed| {
        let heard = detector.heard(&fields(&sweep(seed)), |_| true);
        heard.is_some_and(|heard| heard.peak.surprise > threshold)
    });
    alarmed.count() as f64 / count as f64
}

/// Of 2000 sweeps 40 are expected, give or take 6; the threshold's own error adds a fifth.
#[test]
fn sweeps_over_nothing_alarm_as_rarely_as_stated() {
    for phase in [Phase::Free, Phase::Common] {
        let (walk, detector, threshold) = small(phase, 0.02);
        let share = alarms(&detector, threshold, 2000, |seed| seen(&walk, &[], 100_000 + seed));
        eprintln!("{phase:?}: threshold {threshold:.2} over {} lines, {share}", detector.grid().len());
        assert!((0.01..0.034).contains(&share), "{phase:?}: {share}");
    }
}

#[test]
fn lines_at_the_limit_are_noticed_in_95_of_100() {
    for phase in [Phase::Free, Phase::Common] {
        let (walk, detector, threshold) = small(phase, 0.01);
        let share = alarms(&detector, threshold, 1500, |seed| {
            let mut random = Xoshiro256PlusPlus::seed_from_u64(seed);
            let place_m = DVec2::new(random.random_range(0.3..3.7), random.random_range(0.3..3.7));
            let line = wire(place_m, random.random_range(0.4..2.5), random.random_range(0.0..180.0));
            let least_a = least_of(&detector, threshold, &line);
            seen(&walk, &[(line, Complex64::from(least_a))], seed)
        });
        eprintln!("{phase:?}: {share}");
        assert!((0.93..0.97).contains(&share), "{phase:?}: {share}");
    }
}

fn message(error: &dyn std::fmt::Display, parts: &[&str]) {
    let text = error.to_string();
    assert!(parts.iter().all(|part| text.contains(part)), "{text}");
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
        assert!((phase_deg - 2_f64.to_degrees()).abs() < 5.0, "{phase_deg}");
    }
}

/// A mast that is carried above the ground, and one whose positions are nobody's height above it.
#[test]
fn depths_count_from_the_ground_however_high_the_mast_was_carried() {
    const HIGHER_M: f64 = 0.1;
    let dig = DigBox::new(DVec2::ZERO, 6.0, 6.0).unwrap();
    let line = (wire(DVec2::new(3.0, 3.0), 0.9, 10.0), Complex64::from(0.05));
    let folder = tempfile::tempdir().unwrap();
    let swept = |name: &str, recorded_above_m: f64, said_m: Option<f64>| {
        let mut walk = lanes(DVec2::ZERO, 6.0, 6.0, 1.0, 0.1, Phase::Free);
        walk.sights.iter_mut().for_each(|sight| sight.at_m.z += HIGHER_M);
        let mut walk = seen(&walk, &[line], 5);
        walk.sights.iter_mut().for_each(|sight| sight.at_m.z += recorded_above_m);
        let path = folder.path().join(name);
        yard::write(&walk, &path);
        let (walk, _) = Walk::open(&[path], Listen::Tone, Phase::Free, said_m)?;
        sweep(&walk, &dig, &question())
    };
    let carried_m = yard::FOOT_M + HIGHER_M;
    let sea = swept("sea-unsaid", 431.0, None).unwrap_err();
    message(&sea, &["--carried", "recorded heights", "say how high"]);
    message(&swept("too-high", 0.0, Some(2.5)).unwrap_err(), &["--carried", "0 to 2 m"]);
    // The same as recorded, and as said.
    for sweep in [swept("recorded", 0.0, None), swept("sea", 431.0, Some(carried_m))].map(Result::unwrap) {
        let depth = sweep.lines[0].depth_m.unwrap();
        assert!((depth.value - 0.9).abs() < 0.01, "{depth:?}");
    }
}

/// All fields turned by two sigmas of a compass, over a line that the lanes cross 40 degrees aslant.
#[test]
fn a_compass_that_errs_is_in_the_range() {
    let (sin, cos) = (2.0 * f64::from(nullwalk_core::frame::HEADING_SIGMA_RAD)).sin_cos();
    let mut offs_m = Vec::new();
    for (wide_m, sin) in [(2.0, -sin), (2.0, sin), (8.0, -sin), (8.0, sin)] {
        let dig = DigBox::new(DVec2::ZERO, wide_m, 6.0).unwrap();
        let line = (wire(DVec2::new(0.5 * wide_m, 3.0), 0.9, 40.0), Complex64::from(0.2));
        let mut walk = seen(&lanes(DVec2::ZERO, wide_m, 6.0, 1.0, 0.1, Phase::Free), &[line], 5);
        for sight in &mut walk.sights {
            sight.field_nt = sight.field_nt.map(|[x, y, up]| [x * cos - y * sin, x * sin + y * cos, up]);
        }
        let sweep = sweep(&walk, &dig, &question()).unwrap();
        let found = &sweep.lines[0];
        let depth = found.depth_m.unwrap();
        println!("{wide_m} m, {depth:?}, lay {:.1} ± {:.1}", found.lay_deg, found.lay_sigma_deg);
        assert!((depth.value - 0.9).abs() < 2.3 * depth.sigma, "{depth:?}");
        assert!((found.lay_deg - 50.0).abs() < 2.3 * found.lay_sigma_deg, "{found:?}");
        offs_m.push(depth.value - 0.9);
    }
    // It does matter, and one way round it reads too deep.
    assert!(offs_m[0] * offs_m[1] < 0.0 && offs_m[0].abs() > 0.01, "{offs_m:?}");
}

#[test]
fn a_corner_that_was_not_walked_is_named() {
    let mut walk = lanes(DVec2::ZERO, 8.0, 6.0, 1.0, 0.1, Phase::Free);
    walk.sights.retain(|sight| !(sight.at_m.x > 4.5 && sight.at_m.y > 2.5));
    walk.mark_passes();
    let dig = DigBox::new(DVec2::ZERO, 8.0, 6.0).unwrap();
    let asked = |current_ma: f64| Question { current_ma, ..question() };
    let first = sweep(&seen(&walk, &[], 5), &dig, &asked(10.0)).unwrap();
    let least = first.limits.at_depth(1.0);
    let (walked, corner) = (least[0], least[least.len() - 1]);
    assert!(corner > 1.5 * walked, "{corner} mA in the corner, {walked} mA where it was walked");
    // A current that shows where it was walked, and not in the corner.
    let sweep = sweep(&seen(&walk, &[], 5), &dig, &asked((walked * corner).sqrt())).unwrap();
    eprintln!("{sweep}");
    assert!(sweep.lines.is_empty() && !sweep.is_clear());
    assert_eq!(sweep.unswept[0].place, "the north-east corner");
    let text = sweep.to_string();
    assert!(text.contains("no proof of nothing there") && text.contains("the north-east corner, "));
}

#[test]
fn noise_that_is_louder_than_said_raises_the_limits_and_no_alarm() {
    let walk = lanes(DVec2::ZERO, 5.0, 4.0, 1.0, 0.1, Phase::Free);
    let mut louder = walk.clone();
    louder.sights.iter_mut().for_each(|sight| sight.sigma_nt = [2.0 * NOISE_NT; 2]);
    let mut heard = seen(&louder, &[], 8);
    heard.sights.iter_mut().for_each(|sight| sight.sigma_nt = [NOISE_NT; 2]);
    let dig = DigBox::new(DVec2::ZERO, 5.0, 4.0).unwrap();
    let [quiet, loud] = [&seen(&walk, &[], 8), &heard].map(|walk| sweep(walk, &dig, &question()).unwrap());
    assert!(loud.lines.is_empty(), "{loud}");
    assert!((loud.loudness - 2.0).abs() < 0.1, "{}", loud.loudness);
    let middle = loud.limits.least_ma[1].len() / 2;
    let ratio = loud.limits.least_ma[1][middle] / quiet.limits.least_ma[1][middle];
    assert!((ratio - 2.0).abs() < 0.2, "{ratio}");
}

#[test]
fn a_line_that_ends_in_the_box_is_told_to() {
    // Two halves of a walk, of which one alone has the line under it.
    let whole = lanes(DVec2::ZERO, 8.0, 5.0, 1.0, 0.1, Phase::Free);
    let line = (wire(DVec2::new(4.0, 2.5), 1.0, 0.0), Complex64::from(0.05));
    let (with, without) = (seen(&whole, &[line], 4), seen(&whole, &[], 4));
    let mut walk = whole;
    for (n, sight) in walk.sights.iter_mut().enumerate() {
        *sight = if sight.at_m.x < 3.6 { with.sights[n] } else { without.sights[n] };
    }
    let dig = DigBox::new(DVec2::ZERO, 8.0, 5.0).unwrap();
    let sweep = sweep(&walk, &dig, &question()).unwrap();
    eprintln!("{sweep}");
    assert!(sweep.lines.iter().any(|line| line.cautions.contains(&Caution::Ends)), "{sweep}");
}

fn asked() -> Around {
    Around { centre_m: DVec2::ZERO, target_deg: None, sent_ma: Some(60.0), false_alarm: 0.01 }
}

#[test]
fn a_circle_tells_bearings_currents_and_what_each_line_is() {
    let circle = circle(&circle_of_the_book(), &asked()).unwrap();
    eprintln!("{circle}");
    let truth = [
        (62.0, 50.0, 0.0, Role::Target),
        (195.0, 18.0, 180.0, Role::Returns),
        (310.0, 9.0, 97.4, Role::Coupled),
    ];
    assert_eq!(circle.lines.len(), truth.len(), "{circle}");
    for (line, (bearing_deg, current_ma, phase_deg, role)) in circle.lines.iter().zip(truth) {
        assert!((line.bearing_deg.value - bearing_deg).abs() < 1.0, "{line:?}");
        assert!((line.current_ma.value / current_ma - 1.0).abs() < 0.1, "{line:?}");
        assert!(
            ((line.phase_deg - phase_deg + 180.0_f64).rem_euclid(360.0) - 180.0).abs() < 8.0,
            "{line:?}"
        );
        assert_eq!(line.role, role);
    }
    assert!(circle.coil_a_m2.is_none() && !circle.is_too_near());
    // The bearing that was given makes another line the target.
    let other =
        nullwalk::survey::circle(&circle_of_the_book(), &Around { target_deg: Some(190.0), ..asked() });
    assert_eq!(other.unwrap().lines[1].role, Role::Target);
}

#[test]
fn too_near_an_induction_transmitter_is_noticed() {
    let lines = [(40.0, 1.0, Complex64::from(0.02)), (220.0, 1.0, Complex64::from(-0.02))];
    for (radius_m, near) in [(3.0, true), (15.0, false)] {
        let walk = around(&round(radius_m, 0.1, Phase::Free), &lines, DVec3::X * 12.0, 9);
        let circle = circle(&walk, &asked()).unwrap();
        eprintln!("{circle}");
        assert_eq!(circle.is_too_near(), near, "{radius_m} m: {circle}");
    }
    // The coil alone, and no line at all.
    let circle = circle(&around(&round(5.0, 0.1, Phase::Free), &[], DVec3::X * 12.0, 9), &asked()).unwrap();
    assert!(circle.lines.is_empty() && circle.is_too_near(), "{circle}");
    assert!((circle.coil_a_m2.unwrap() - 12.0).abs() < 0.5);
}

#[test]
fn the_books_run_is_taken_apart() {
    let folder = tempfile::tempdir().unwrap();
    let table = folder.path().join("currents.csv");
    std::fs::write(&table, yard::CURRENTS_OF_THE_BOOK).unwrap();
    let books = currents::open(&table).unwrap();
    eprintln!("{books}");
    let flags: Vec<_> = books.runs[0].steps.iter().map(|step| (step.from_m, &step.flag)).collect();
    use currents::Flag;
    assert_eq!(flags, [(20.0, &Flag::Down), (40.0, &Flag::Up { deeper: true }), (60.0, &Flag::End)]);
    let loss = books.runs[0].loss_per_m.unwrap();
    assert!((loss - 0.0098).abs() < 0.002, "{loss}");
}

#[test]
fn what_cannot_be_surveyed_is_told_with_place_and_remedy() {
    let walk = lanes(DVec2::ZERO, 4.0, 4.0, 1.0, 0.2, Phase::Free);
    let far = DigBox::new(DVec2::new(50.0, 0.0), 4.0, 4.0).unwrap();
    message(&sweep(&walk, &far, &question()).unwrap_err(), &["--box 50,0,4,4", "none of the", "walk it"]);
    message(&DigBox::new(DVec2::ZERO, 0.0, 4.0).unwrap_err(), &["--box", "0 m and 4 m", "width"]);
    message(&circle(&walk, &asked()).unwrap_err(), &["--centre", "full circle"]);
    let mut half = round(7.6, 0.1, Phase::Free);
    half.sights.retain(|sight| sight.at_m.x > 0.0);
    message(&circle(&half, &asked()).unwrap_err(), &["nothing was walked between 180° and"]);
    let folder = tempfile::tempdir().unwrap();
    let [first, second, third] = ["first", "second", "third"].map(|name| folder.path().join(name));
    yard::write(&walk, &first);
    yard::write(&Walk { tone_hz: 512.0, ..walk.clone() }, &second);
    let open =
        |paths: &[std::path::PathBuf], listen| Walk::open(paths, listen, Phase::Free, None).unwrap_err();
    message(&open(&[first.clone(), second], Listen::Tone), &["second", "512 Hz", "8192 Hz", "on its own"]);
    message(&open(&[first], Listen::Mains(None)), &["first", "leave --mains out"]);
    let mut lost = walk.clone();
    lost.sights.truncate(5);
    yard::write(&lost, &third);
    message(&open(&[third], Listen::Tone), &["third", "5 of 5 looks", "12 are needed"]);
    let table = folder.path().join("table.csv");
    for (text, parts) in [
        ("at_m,current_ma\n0,10\n5,ten\n10,8\n", &["table.csv, line 3", "columns"][..]),
        ("at_m,current_ma\n0,10\n5,-3\n10,8\n", &["line 3, current_ma", "-3 cannot be"]),
        ("at_m,current_ma\n0,10\n5,9\n", &["2 fixes", "three on a run"]),
        ("at_m,current_ma\n0,10\n5,NaN\n10,8\n", &["line 3, current_ma"]),
        ("where,what\n0,10\n5,9\n", &["line 2", "at_m"]),
        ("at_m,current_ma\n0,10\n5\n", &["line 3", "has 1 columns where the heading has 2"]),
    ] {
        std::fs::write(&table, text).unwrap();
        message(&currents::open(&table).unwrap_err(), parts);
    }
    std::fs::write(&table, b"at_m,current_ma\n0,\xff\n").unwrap();
    message(&currents::open(&table).unwrap_err(), &["table.csv, line 2", "is no text", "columns"]);
    message(&currents::open(folder.path()).unwrap_err(), &["is a folder", "give a job or a CSV table"]);
}

/// Whoever runs a survey meets the cautions in its words and in its pictures.
#[test]
fn whatever_a_survey_shows_defers_to_local_codes() {
    let walk = lanes(DVec2::ZERO, 4.0, 4.0, 1.0, 0.2, Phase::Free);
    let dig = DigBox::new(DVec2::ZERO, 4.0, 4.0).unwrap();
    let swept = sweep(&walk, &dig, &question()).unwrap();
    let circled = circle(&round(7.6, 0.1, Phase::Free), &asked()).unwrap();
    let fixes = "at_m,current_ma\n0,10\n5,9\n10,8\n15,7\n";
    let folder = tempfile::tempdir().unwrap();
    let table = folder.path().join("table.csv");
    std::fs::write(&table, fixes).unwrap();
    let books = currents::open(&table).unwrap();
    for shown in [
        swept.to_string(),
        svg(&swept, &walk),
        circled.to_string(),
        circle_svg(&circled),
        books.to_string(),
        currents::svg(&books),
    ] {
        for words in ["permission to dig", "ollow local codes and licensed practice"] {
            assert!(shown.contains(words), "no {words:?} in {shown}");
        }
    }
}

/// The command, on what a hurried user gives it: one message that names the option, and no panic.
#[test]
fn options_that_cannot_be_are_named_with_what_they_may_be() {
    let folder = tempfile::tempdir().unwrap();
    let [lane, ring] = ["lane", "ring"].map(|name| folder.path().join(name));
    yard::write(&lanes(DVec2::ZERO, 4.0, 4.0, 1.0, 0.2, Phase::Free), &lane);
    yard::write(&round(7.6, 0.1, Phase::Free), &ring);
    let (lane, ring) = (lane.to_str().unwrap(), ring.to_str().unwrap());
    let boxed = ["sweep", lane, "--box", "0,0,4,4"];
    let round = ["circle", ring, "--centre", "0,0"];
    for (command, option, status, words) in [
        (&["sweep", lane][..], &[][..], 2, &["--box"][..]),
        (&["sweep", lane], &["--box", "nan,0,1,1"], 1, &["--box nan,0,1,1", "4 numbers"]),
        (&boxed, &["--carried", "-1m"], 2, &["--carried", "-1m"]),
        (&boxed, &["--carried", "nan"], 2, &["--carried", "not a length"]),
        (&boxed, &["--carried", "5"], 1, &["--carried must be 0 to 2 m"]),
        (&boxed, &["--current", "nan"], 1, &["--current", "0.01 to 100000 mA"]),
        (&boxed, &["--depth", "99"], 1, &["--depth: 99", "0.5 to 4.5 m"]),
        (&boxed, &["--false-alarm", "2"], 1, &["--false-alarm: 2", "0.0001 to 0.2"]),
        (&["circle", ring], &["--centre", "100,100"], 1, &["--centre", "full circle"]),
        (&round, &["--target", "nan"], 1, &["--target: NaN", "-360 to 360 degrees"]),
        (&round, &["--sent", "-5"], 1, &["--sent", "above 0 mA"]),
    ] {
        let run = std::process::Command::new(env!("CARGO_BIN_EXE_nullwalk"))
            .args(command.iter().chain(option))
            .output()
            .unwrap();
        let told = String::from_utf8(run.stderr).unwrap();
        assert_eq!(run.status.code(), Some(status), "{command:?} {option:?}: {told}");
        assert!(words.iter().all(|word| told.contains(word)), "{option:?}: {told}");
    }
}
