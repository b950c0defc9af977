//! Captures that our simulator did not make, located and compared with what their generator put in.
//!
//! Source of the recordings: `reference/captures`, written by an independent generator in Python (magpylib
//! 6.3.0 for the field, soundfile for the WAV) from the format's description and textbook physics. `truth.toml`
//! beside each says what was put in.

use std::path::{Path, PathBuf};

use nullwalk::capture::{Capture, Content};
use nullwalk::run::{self, CoilFeatures, Outcome, TimedFeature};
use nullwalk::site::Truth;
use nullwalk_core::verdict::Verdict;
use nullwalk_tests::{Compared, codes};
use serde::Deserialize;

#[derive(Deserialize)]
struct TruthFile {
    present: bool,
    sonde: Option<Sonde>,
    crossing: Option<Crossing>,
}

#[derive(Deserialize)]
struct Sonde {
    east_m: f64,
    north_m: f64,
    depth_to_source_m: f64,
    lay_deg: f64,
    pitch_deg: f64,
    moment_a_m2: f64,
    tone_offset_hz: f64,
}

#[derive(Deserialize)]
struct Crossing {
    null_s: [f64; 2],
    peak_s: f64,
    pace_m_s: f64,
    coil_above_sonde_m: f64,
}

fn folder(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("reference/captures").join(name)
}

fn truth_file(name: &str) -> TruthFile {
    let text = std::fs::read_to_string(folder(name).join("truth.toml")).unwrap();
    toml::from_str(&text).unwrap()
}

/// What was put in, and how far the carrier was off, hertz.
fn truth(name: &str) -> (Truth, f64) {
    let sonde = truth_file(name).sonde.expect("a sonde");
    let truth = Truth {
        east_m: sonde.east_m,
        north_m: sonde.north_m,
        depth_m: sonde.depth_to_source_m,
        lay_rad: sonde.lay_deg.to_radians(),
        pitch_rad: sonde.pitch_deg.to_radians(),
        moment_a_m2: sonde.moment_a_m2,
        tone_hz: 512.0 + sonde.tone_offset_hz,
    };
    (truth, sonde.tone_offset_hz)
}

fn open(name: &str) -> Capture {
    let capture = Capture::open(&folder(name)).unwrap();
    assert_eq!(capture.notices, [], "{name}");
    capture
}

/// As `nullwalk replay` does it.
fn replay(name: &str) -> Outcome {
    let capture = open(name);
    let array = capture.array.clone().expect("nodes");
    if let Content::Field(recording) = &capture.content {
        return run::locate_phasors(array, recording).unwrap();
    }
    let signal = &capture.description.signal;
    let instrument = run::instrument::<6>(signal, capture.ladder.clone(), array).unwrap();
    let mut reader = capture.reader::<6>().unwrap();
    let outcome = run::locate(&instrument, &mut reader, None, |_| ()).unwrap();
    assert_eq!(reader.notices(), [], "{name}");
    outcome
}

/// Everything that is stated of a located sonde, against the truth.
fn assert_located(name: &str, outcome: &Outcome, truth: &Truth) -> Compared {
    let judgement = &outcome.judgement;
    let found = Compared::new(outcome, truth).unwrap_or_else(|| panic!("{name}: {judgement:?}"));
    println!("{name}: {:?} [{}] {found}", judgement.verdict, codes(outcome));
    assert_eq!(judgement.verdict, Verdict::Agree, "{name}: {}", codes(outcome));
    assert!(found.holds_truth(1.0), "{name}: {found}");
    assert!(found.error_m().abs() <= 3.0 * found.sigma_m, "{name}: {found}");
    assert!(found.error_m().abs() <= 0.02 + 0.02 * truth.depth_m, "{name}: {found}");
    assert!(found.off_m.is_some_and(|off| off <= found.place_tolerance_m()), "{name}: {found}");
    assert!(found.lay_off_deg.is_some_and(|off| off <= 2.0), "{name}: {found}");
    found
}

fn assert_carrier(name: &str, outcome: &Outcome, offset_hz: f64) {
    let found_hz = f64::from(outcome.carrier_offset_hz);
    println!("{name}: carrier off by {found_hz:+.3} Hz, truth {offset_hz:+.3} Hz");
    assert!((found_hz - offset_hz).abs() < 0.1, "{name}: {found_hz} Hz");
}

#[test]
fn a_level_sonde_at_1_m_is_located() {
    let (truth, offset_hz) = truth("level-1m");
    let outcome = replay("level-1m");
    assert_located("level-1m", &outcome, &truth);
    assert_carrier("level-1m", &outcome, offset_hz);
}

#[test]
fn a_tilted_sonde_at_1_6_m_is_located_and_its_pitch_found() {
    let (truth, offset_hz) = truth("tilted-1_6m");
    let outcome = replay("tilted-1_6m");
    let found = assert_located("tilted-1_6m", &outcome, &truth);
    assert_carrier("tilted-1_6m", &outcome, offset_hz);
    assert!(found.pitch_off_deg.is_some_and(|off| off.abs() < 2.0), "{found}");
}

#[test]
fn demodulated_phasors_over_2_m_are_located() {
    let (truth, _) = truth("field-2m");
    assert_located("field-2m", &replay("field-2m"), &truth);
}

#[test]
fn an_empty_site_is_refused_for_want_of_a_tone() {
    assert!(!truth_file("empty").present);
    let outcome = replay("empty");
    println!("empty: {:?} [{}]", outcome.judgement.verdict, codes(&outcome));
    assert_eq!(outcome.judgement.verdict, Verdict::Refuse);
    assert_eq!((outcome.judgement.depth, outcome.judgement.range), (None, None));
    assert_eq!((&outcome.fix, outcome.fixes), (&None, 0));
    assert!(codes(&outcome).split(' ').any(|code| code == "no-tone"), "{}", codes(&outcome));
}

/// The strongest peak of a coil, and the nulls next to it on both sides.
fn bracket(coil: &CoilFeatures) -> (&TimedFeature, [&TimedFeature; 2]) {
    let features = &coil.features;
    let top = (0..features.len())
        .filter(|&n| features[n].kind != "null")
        .max_by(|&a, &b| features[a].value_v.abs().total_cmp(&features[b].value_v.abs()))
        .expect("a peak");
    let is_null = |f: &&TimedFeature| f.kind == "null";
    let before = features[..top].iter().rfind(is_null).expect("a null before the peak");
    let after = features[top..].iter().find(is_null).expect("a null after the peak");
    (&features[top], [before, after])
}

#[test]
fn one_coil_on_a_sound_card_shows_peak_and_nulls_and_their_spacing_the_depth() {
    let truth = truth_file("one-coil");
    let (sonde, crossing) = (truth.sonde.unwrap(), truth.crossing.unwrap());
    // A folder with nothing but a WAV: all else is at its default, and that is said.
    let capture = Capture::open(&folder("one-coil")).unwrap();
    assert!(capture.array.is_none());
    let mut reader = capture.reader::<1>().unwrap();
    let signal = &capture.description.signal;
    let coils = run::listen_to_coils::<1, _>(signal, &capture.ladder, &mut reader).unwrap().unwrap();
    let coil = &coils[0];
    let (peak, nulls) = bracket(coil);
    println!("one-coil: peak {:.3} s, truth {:.3} s", peak.time_s, crossing.peak_s);
    assert!((peak.time_s - crossing.peak_s).abs() < 0.05);
    for (null, truth_s) in nulls.iter().zip(crossing.null_s) {
        println!("one-coil: null {:.3} s, truth {truth_s:.3} s", null.time_s);
        assert!((null.time_s - truth_s).abs() < 0.05);
    }
    let between_s = nulls[1].time_s - nulls[0].time_s;
    let depth_m = between_s * crossing.pace_m_s * std::f64::consts::FRAC_1_SQRT_2;
    let truth_m = crossing.coil_above_sonde_m;
    println!("one-coil: depth below the coil {depth_m:.3} m, truth {truth_m:.3} m");
    assert!((depth_m / truth_m - 1.0).abs() < 0.03);
    assert!((f64::from(coil.carrier_offset_hz) - sonde.tone_offset_hz).abs() < 0.1);
}
