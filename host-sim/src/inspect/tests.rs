//! Captures of known content, looked into.

use std::f64::consts::TAU;

use nullwalk_core::frame::BlockInfo;
use rand::{SeedableRng, rngs::StdRng};
use rand_distr::{Distribution, StandardNormal};

use super::*;
use crate::capture::{CaptureWriter, Made};
use crate::equipment::{ArrayFile, Signal};

const RATE_HZ: f64 = 8000.0;
const SECONDS: usize = 8;
const TONE_HZ: f64 = 511.37;
const TONE_T: f64 = 1e-9;
const GRID_HZ: f64 = 59.97;
/// Harmonics of the grid and their fields: a line far away, the same at both nodes.
const HUM: [(u32, f64); 5] = [(1, 20e-9), (3, 6e-9), (5, 3e-9), (7, 1e-9), (9, 0.7e-9)];
/// How the hum of each harmonic lies, so that several sources fill all of space.
const HUM_AXES: [[f64; 3]; 5] =
    [[0.8, 0.6, 0.0], [0.0, 0.6, 0.8], [0.5, -0.5, 0.7], [0.0, 1.0, 0.0], [0.6, 0.0, -0.8]];
/// Noise of a coil in one sample, counts at the rung used.
const NOISE_COUNTS: f64 = 30.0;
const RUNG: u8 = 2;
const GAIN: f64 = 16.0;

/// Counts of a coil of the default kind for a field amplitude, at [`RUNG`].
fn counts(field_t: f64, hz: f64) -> f64 {
    let volts = TAU * hz * 20.0 * field_t;
    volts * GAIN / 2.5 * f64::from(1 << 23)
}

fn noise() -> impl FnMut() -> f64 {
    let mut random = StdRng::seed_from_u64(512);
    move || {
        let unit: f64 = StandardNormal.sample(&mut random);
        NOISE_COUNTS * unit
    }
}

/// Six channels of the default array: hum at both nodes, the tone on both x coils, weaker above.
fn six_channels() -> Vec<[i32; 6]> {
    let mut noise = noise();
    (0..SECONDS * RATE_HZ as usize)
        .map(|n| {
            let time_s = n as f64 / RATE_HZ;
            let tone = counts(TONE_T, TONE_HZ) * (TAU * TONE_HZ * time_s).sin();
            let mut hum = [0.0; 3];
            for ((k, field_t), axis) in HUM.iter().zip(HUM_AXES) {
                let hz = f64::from(*k) * GRID_HZ;
                let wave = counts(*field_t, hz) * (TAU * hz * time_s + f64::from(*k)).sin();
                hum.iter_mut().zip(axis).for_each(|(h, a)| *h += a * wave);
            }
            let [x, y, z] = hum;
            [x + tone, y, z, x + 0.4 * tone, y, z].map(|v| (v + noise()).round() as i32)
        })
        .collect()
}

/// Writes frames into a capture and looks into it.
fn look<const C: usize>(frames: &[[i32; C]], blocks: &[BlockInfo], array: ArrayFile) -> SamplesReport {
    let shelf = tempfile::tempdir().unwrap();
    let target = shelf.path().join("walk");
    let description = Description {
        made: Made { by: "a test".into(), note: String::new() },
        signal: Signal { sample_rate_hz: RATE_HZ, channels: C, ..Signal::default() },
        array,
        ..Description::default()
    };
    let mut writer = CaptureWriter::<C>::create(&target, &description).unwrap();
    let mut at = 0;
    for block in blocks {
        writer.append(block, &frames[at..at + block.frames], false).unwrap();
        at += block.frames;
    }
    writer.finish().unwrap();
    let Report::Samples(report) = inspect(&Capture::open(&target).unwrap()).unwrap() else {
        panic!("samples went in")
    };
    *report
}

fn look_at_whole<const C: usize>(frames: &[[i32; C]]) -> SamplesReport {
    let block = BlockInfo { frames: frames.len(), start: 0, rung: RUNG, mast: None };
    let array =
        if C == 6 { ArrayFile::default() } else { ArrayFile { node: Vec::new(), ..ArrayFile::default() } };
    look(frames, &[block], array)
}

#[test]
fn the_tone_is_measured_in_tesla_at_its_own_frequency() {
    let report = look_at_whole(&six_channels());
    let tone = report.tone.unwrap();
    assert!((tone.hz - TONE_HZ).abs() < 0.005, "{}", tone.hz);
    for (level, expected_t) in tone.levels.iter().zip([TONE_T, 0.4 * TONE_T]) {
        let ratio = level / (1e12 * expected_t);
        assert!((ratio - 1.0).abs() < 0.005, "{ratio}");
    }
    assert_eq!(report.lines.iter().filter(|l| l.kind == LineKind::Tone).count(), 1);
}

#[test]
fn the_comb_is_found_numbered_and_refined() {
    let report = look_at_whole(&six_channels());
    let mains = report.mains.unwrap();
    assert_eq!(mains.nominal_hz, 60);
    assert_eq!(mains.harmonics, [1, 3, 5, 7, 9]);
    assert!((mains.hz - GRID_HZ).abs() < 0.003, "{}", mains.hz);
    // 8 x 59.97 = 479.8 and 9 x 59.97 = 539.7 are both far from 512.
    assert_eq!(mains.beside_tone, None);
    assert!(report.lines.iter().all(|line| line.kind != LineKind::Other), "{:?}", report.lines);
}

/// What is found in a comb of odd harmonics.
fn comb(grid_hz: f64) -> Option<Mains> {
    let wave = |hz: f64, n: usize| 1e5 * (TAU * hz * n as f64 / RATE_HZ).sin();
    let mut noise = noise();
    let frames: Vec<[i32; 1]> = (0..16_000)
        .map(|n| [1.0, 3.0, 5.0].iter().map(|k| wave(k * grid_hz, n)).sum::<f64>() + noise())
        .map(|sum| [sum.round() as i32])
        .collect();
    look_at_whole(&frames).mains
}

#[test]
fn a_grid_of_50_hz_has_a_harmonic_beside_512() {
    let mains = comb(50.2).unwrap();
    assert_eq!((mains.nominal_hz, mains.harmonics), (50, vec![1, 3, 5]));
    assert!((mains.hz - 50.2).abs() < 1e-3, "{}", mains.hz);
    assert_eq!(mains.beside_tone, Some(10));
}

#[test]
fn a_comb_of_another_frequency_is_no_mains() {
    for hz in [25.3, 47.0, 54.0, 66.0, 400.0] {
        assert_eq!(comb(hz), None, "{hz}");
    }
}

#[test]
fn plain_noise_has_neither_tone_nor_comb_nor_suspicion() {
    for seed in 0..20 {
        let mut random = StdRng::seed_from_u64(seed);
        let frames: Vec<[i32; 6]> = (0..3 * RATE_HZ as usize)
            .map(|_| {
                std::array::from_fn(|_| {
                    let unit: f64 = StandardNormal.sample(&mut random);
                    (1000.0 * unit) as i32
                })
            })
            .collect();
        let report = look_at_whole(&frames);
        assert_eq!((report.tone, report.mains), (None, None), "seed {seed}");
        assert_eq!((report.lines, report.suspicions), (vec![], vec![]), "seed {seed}");
    }
}

#[test]
fn good_wiring_raises_no_suspicion() {
    assert_eq!(look_at_whole(&six_channels()).suspicions, []);
}

/// What is said when the channels of a good capture are changed.
fn suspicions(change: impl Fn([i32; 6]) -> [i32; 6]) -> Vec<Suspicion> {
    let frames: Vec<_> = six_channels().into_iter().map(change).collect();
    look_at_whole(&frames).suspicions
}

#[test]
fn crossed_and_inverted_coils_are_named() {
    let swapped = suspicions(|[a, b, c, d, e, f]| [a, b, c, e, d, f]);
    assert_eq!(swapped, [Suspicion::Crossed { pairs: vec![(0, 4, false), (1, 3, false)] }]);
    let inverted = suspicions(|[a, b, c, d, e, f]| [a, b, c, d, -e, f]);
    assert_eq!(inverted, [Suspicion::Crossed { pairs: vec![(1, 4, true)] }]);
    let both = suspicions(|[a, b, c, d, e, f]| [a, b, c, -e, d, f]);
    assert_eq!(both, [Suspicion::Crossed { pairs: vec![(0, 4, false), (1, 3, true)] }]);
}

#[test]
fn one_coil_on_two_channels_is_named() {
    let twice = suspicions(|[a, b, c, _, e, f]| [a, b, c, b, e, f]);
    assert!(twice.contains(&Suspicion::Same { a: 1, b: 3, inverted: false }), "{twice:?}");
    let inverted = suspicions(|[a, b, c, d, e, _]| [a, b, c, d, e, -c]);
    assert!(inverted.contains(&Suspicion::Same { a: 2, b: 5, inverted: true }), "{inverted:?}");
    let all = suspicions(|[a, ..]| [a; 6]);
    assert_eq!(all, [Suspicion::AllAlike]);
}

#[test]
fn dead_channels_are_named() {
    let flat = suspicions(|[a, b, c, d, e, _]| [a, b, c, d, e, 17]);
    assert_eq!(flat, [Suspicion::Flat { channel: 5 }]);
    let weak = suspicions(|[a, b, c, d, e, f]| [a, b, c, d, e / 300, f]);
    let [Suspicion::Weak { channel: 4, among_siblings_db }] = weak[..] else { panic!("{weak:?}") };
    assert!(among_siblings_db < -40.0);
}

#[test]
fn levels_are_those_of_a_known_wave() {
    // A sine of 2^22 counts on an offset of 1000: -6.02 dB of full scale, rms 3.01 dB lower.
    let frames: Vec<[i32; 1]> =
        (0..8000).map(|n| [(4_194_304.0 * (TAU * n as f64 / 80.0).sin()).round() as i32 + 1000]).collect();
    let [channel] = &look_at_whole(&frames).channels[..] else { panic!("one channel went in") };
    assert!((channel.offset_counts - 1000.0).abs() < 1e-6);
    assert!((channel.rms_dbfs + 9.031).abs() < 0.001, "{}", channel.rms_dbfs);
    assert_eq!(channel.peak_counts, 4_194_304 + 1000);
    assert!((channel.peak_dbfs + 6.019).abs() < 0.001, "{}", channel.peak_dbfs);
    assert!((channel.headroom_db - 6.019).abs() < 0.001);
    assert_eq!((channel.clipped, channel.dead), (0, false));
}

#[test]
fn clipping_is_counted_at_the_rail_and_suspected_below_it() {
    let limited = |limit: i32| -> SamplesReport {
        let frames: Vec<[i32; 1]> = (0..8000)
            .map(|n| [(1e7 * (TAU * n as f64 / 80.0).sin()) as i32])
            .map(|[v]| [v.clamp(-limit, limit)])
            .collect();
        look_at_whole(&frames)
    };
    let full = limited((1 << 23) - 1);
    // |sin| >= 0.83886 in 15 of 40 samples of each half wave.
    assert_eq!(full.channels[0].clipped, 8000 * 15 / 40);
    assert_eq!(full.rungs[0].clipped, 8000 * 15 / 40);
    assert_eq!(full.suspicions, []);
    let early = limited(7_801_405);
    assert_eq!(early.channels[0].clipped, 0);
    let [Suspicion::RailLower { channel: 0, fraction, samples }] = early.suspicions[..] else {
        panic!("{:?}", early.suspicions)
    };
    assert!((fraction - 0.93).abs() < 1e-6);
    assert_eq!(samples, early.channels[0].stuck_at_peak);
}

#[test]
fn rungs_and_gaps_are_told_over_time() {
    let wave = |n: usize, gain: f64| [(gain * 1000.0 * (TAU * TONE_HZ * n as f64 / RATE_HZ).sin()) as i32];
    let low = (0..16_000).map(|n| wave(n, 1.0));
    let high = (16_800..40_800).map(|n| wave(n, 16.0));
    let frames: Vec<[i32; 1]> = low.chain(high).collect();
    let blocks = [
        BlockInfo { frames: 16_000, start: 0, rung: 0, mast: None },
        BlockInfo { frames: 24_000, start: 16_800, rung: RUNG, mast: None },
    ];
    let report = look(&frames, &blocks, ArrayFile { node: Vec::new(), ..ArrayFile::default() });
    assert_eq!(report.gaps, [Gap { at_s: 2.0, frames: 800 }]);
    assert_eq!((report.duration_s, report.frames), (5.1, 40_000));
    let spans = [(0.0, 2.0, 0), (2.1, 5.1, RUNG)];
    let told: Vec<_> = report.rung_spans.iter().map(|s| (s.from_s, s.to_s, s.rung)).collect();
    assert_eq!(told, spans);
    let times: Vec<_> = report.rungs.iter().map(|r| (r.rung, r.time_s)).collect();
    assert_eq!(times, [(0, 2.0), (RUNG, 3.0)]);
    // The level refers to a gain of 1, whatever the rung: both stretches agree.
    let level = report.tone.unwrap().levels[0];
    assert!((level / 1000.0 - 1.0).abs() < 0.005, "{level}");
}

#[test]
fn the_text_fits_in_100_columns_and_names_what_was_found() {
    let swapped: Vec<_> = six_channels().into_iter().map(|[a, b, c, d, e, f]| [a, b, c, e, d, f]).collect();
    let text = Report::Samples(Box::new(look_at_whole(&swapped))).to_string();
    let widest = text.lines().skip(1).map(|line| line.chars().count()).max();
    assert!(widest <= Some(100), "{widest:?}\n{text}");
    for words in [
        "511.37 Hz (-0.63)",
        "59.970 Hz, harmonics 1 3 5 7 9",
        "no samples lost",
        "upper z",
        "suspicious: the nodes look wired differently",
    ] {
        assert!(text.contains(words), "{words} is missing in\n{text}");
    }
}

#[test]
fn a_capture_too_short_for_a_spectrum_still_has_levels() {
    let report = look_at_whole(&[[5, -7], [6, 8]]);
    assert_eq!(report.channels[1].peak_counts, 8);
    assert!(report.spectrum.is_none() && spectrum_svg(&report).is_none());
    assert!(Report::Samples(Box::new(report)).to_string().contains("no spectrum"));
}

#[test]
fn phasors_are_summed_up() {
    let shelf = tempfile::tempdir().unwrap();
    let head = "time_s,n0x_re_t,n0x_im_t,n0y_re_t,n0y_im_t,n0z_re_t,n0z_im_t,sigma_t,pitch_deg\n";
    let rows = "0.0,3e-9,0,0,4e-9,0,0,1e-12,\n0.1,0,0,0,0,1e-9,0,1e-12,2\n";
    std::fs::write(shelf.path().join("field.csv"), format!("{head}{rows}")).unwrap();
    let manifest = "format = \"nullwalk-capture\"\nversion = 1\n";
    std::fs::write(shelf.path().join("capture.toml"), manifest).unwrap();
    let report = inspect(&Capture::open(shelf.path()).unwrap()).unwrap();
    let text = report.to_string();
    let Report::Field(report) = report else { panic!("phasors went in") };
    assert_eq!((report.rows, report.mast_readings, report.peak_t.len()), (2, 1, 1));
    assert!((report.peak_t[0] / 5e-9 - 1.0).abs() < 1e-6);
    assert!(text.contains("lower node: at most 5.00 nT"), "{text}");
}

#[test]
fn the_report_serialises_and_draws() {
    let report = look_at_whole(&six_channels());
    let svg = spectrum_svg(&report).unwrap();
    assert_eq!(svg.matches("<polyline").count(), 4);
    assert!(svg.contains("tone 511.4 Hz") && !svg.contains("NaN"));
    let json = serde_json::to_value(Report::Samples(Box::new(report))).unwrap();
    assert_eq!(json["kind"], "samples");
    assert_eq!(json["mains"]["nominal_hz"], 60);
}
