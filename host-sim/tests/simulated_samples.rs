//! What the simulator's counts must be, from closed forms.

use std::f64::consts::{PI, TAU};

use nullwalk::site::{HumLine, Impulses, Leg, Mains, Site, Sonde, Stand, Start, Station, builtin};
use nullwalk::synth::{Cue, Guided, Simulation};
use nullwalk_core::frame::SampleSource;
use num_complex::Complex64;
use proptest::prelude::*;

/// Rounding leaves 0.29 counts in a sample, and 0.29 sqrt(2/80) = 0.05 in an amplitude taken from 80
/// samples that differ: periodic signals here repeat after 80 to 160. Five times that.
const ROUNDING: f64 = 0.25;

/// Nothing but the instrument: no noise, no motion, no errors, rungs that settle at once.
fn silent_site() -> Site {
    let mut site = Site::default();
    site.noise.field_pt_per_root_hz = 0.0;
    site.noise.calibration_error = false;
    site.noise.earth.field_t = 0.0;
    site.noise.sway.rms_deg = 0.0;
    for rung in &mut site.front_end.rungs {
        rung.settle_s = 0.0;
    }
    site.walk = vec![Leg::Stand(Stand { seconds: 3600.0 })];
    site
}

/// The first `seconds` of a site's first station, on one rung.
fn record(site: &Site, seconds: f64, rung: u8, seed: u64) -> Vec<[i32; 6]> {
    let mut simulation = Simulation::<6>::new(site, 0, seed).unwrap();
    simulation.set_rung(rung);
    let mut frames = vec![[0; 6]; (seconds * site.signal.sample_rate_hz).round() as usize];
    let mut done = 0;
    while done < frames.len() {
        done += simulation.read(&mut frames[done..]).unwrap().unwrap().frames;
    }
    frames
}

/// Complex amplitude of a channel at a frequency, for records of whole periods.
fn amplitude(site: &Site, frames: &[[i32; 6]], channel: usize, frequency_hz: f64) -> Complex64 {
    let w = TAU * frequency_hz / site.signal.sample_rate_hz;
    let sum: Complex64 = (0u32..)
        .zip(frames)
        .map(|(n, frame)| f64::from(frame[channel]) * Complex64::cis(-w * f64::from(n)))
        .sum();
    sum * 2.0 / frames.len() as f64
}

fn power(frames: &[[i32; 6]], channel: usize) -> f64 {
    frames.iter().map(|f| f64::from(f[channel]).powi(2)).sum::<f64>() / frames.len() as f64
}

fn counts_per_volt(site: &Site) -> f64 {
    f64::from(site.front_end.full_scale_counts) / site.front_end.full_scale_v
}

/// The axes of a level mast in the site frame (docs, capture format): forward, left, up.
fn level_axes(heading_deg: f64) -> [[f64; 3]; 3] {
    let (s, c) = heading_deg.to_radians().sin_cos();
    [[s, c, 0.0], [-c, s, 0.0], [0.0, 0.0, 1.0]]
}

fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// V = i w NA B gain e^{i phase}: Faraday's law as the capture format states it, the field from Jackson,
/// Classical Electrodynamics, 3rd ed., eq. 5.56, written out here once more.
#[test]
fn counts_are_faradays_law() {
    let mut site = silent_site();
    site.array.node[1].coil[0].gain = 1.1;
    site.array.node[1].coil[2].phase_deg = 12.0;
    let start = Start { east_m: 0.4, north_m: -0.3, heading_deg: 30.0 };
    let sonde = Sonde { depth_m: 0.9, lay_deg: 70.0, pitch_deg: 20.0, phase_deg: 50.0, ..Sonde::default() };
    site.station = vec![Station { start, source: vec![sonde], ..Station::default() }];

    let (lay, pitch) = (70f64.to_radians(), 20f64.to_radians());
    let m = [lay.sin() * pitch.cos(), lay.cos() * pitch.cos(), pitch.sin()].map(|x| 0.2 * x);
    for rung in [0u8, 3] {
        let frames = record(&site, 1.0, rung, 1);
        for channel in 0..6 {
            let (node, axis) = (channel / 3, channel % 3);
            let r = [0.4, -0.3, 0.15 + 0.9 + 0.4 * node as f64];
            let length = dot(r, r).sqrt();
            let b: [f64; 3] = std::array::from_fn(|i| {
                1e-7 * (3.0 * r[i] * dot(m, r) / length.powi(5) - m[i] / length.powi(3))
            });
            let coil = site.array.node[node].coil[axis];
            let volts = TAU * 512.0 * 20.0 * coil.gain * dot(b, level_axes(30.0)[axis]);
            let gain = site.front_end.rungs[usize::from(rung)].gain;
            let phase = (90.0 + 50.0 + coil.phase_deg).to_radians();
            let expected = Complex64::cis(phase) * volts * gain * counts_per_volt(&site);
            let got = amplitude(&site, &frames, channel, 512.0);
            let error = (got - expected).norm();
            assert!(
                error < ROUNDING + 1e-7 * expected.norm(),
                "rung {rung}, channel {channel}: {got}, not {expected}"
            );
        }
    }
}

/// A carrier that is off and drifts turns by 2 pi (offset t + drift t^2 / 2) against the nominal one.
#[test]
fn the_carrier_is_off_and_drifts_as_stated() {
    let mut site = silent_site();
    site.source = vec![Sonde { offset_hz: 0.7, drift_hz_per_s: 0.02, ..Sonde::default() }];
    let frames = record(&site, 20.0, 4, 1);
    let phase_at = |t: usize| amplitude(&site, &frames[t * 8000..][..125], 0, 512.0).arg();
    let begin = phase_at(0);
    for t in [1, 7, 19] {
        let s = t as f64;
        // Both windows of 1/64 s have their middle equally late; the frequency between them differs.
        let middle = 0.5 * 125.0 / 8000.0;
        let turned = |t: f64| TAU * (0.7 * t + 0.01 * t * t);
        let expected = turned(s + middle) - turned(middle);
        let error = (phase_at(t) - begin - expected + PI).rem_euclid(TAU) - PI;
        assert!(error.abs() < 0.003, "after {t} s: {error}");
    }
}

/// Two things clip, and the lower one shows: the amplifier's rail, or the converter's range, which is
/// one count shorter on the positive side.
#[test]
fn clips_at_the_rail_and_at_full_scale() {
    let mut site = silent_site();
    site.source = vec![Sonde { depth_m: 0.3, moment_a_m2: 100.0, ..Sonde::default() }];
    site.station = vec![Station {
        start: Start { east_m: 0.0, north_m: 0.0, heading_deg: 0.0 },
        ..Station::default()
    }];
    for (rail_fraction, lowest, highest) in [(1.0, -8_388_608, 8_388_607), (0.93, -7_801_405, 7_801_405)] {
        site.front_end.rail_fraction = rail_fraction;
        for rung in [0, 4] {
            // The sonde lies east-west and the mast faces north: its y coil has it all.
            let y: Vec<i32> = record(&site, 0.1, rung, 1).iter().map(|f| f[1]).collect();
            assert_eq!(y.iter().min(), Some(&lowest));
            assert_eq!(y.iter().max(), Some(&highest));
        }
    }
}

/// A rail below the one that the instrument knows cuts every channel there, and leaves the rest alone.
#[test]
fn an_early_rail_clips_below_the_known_one() {
    let mut site = silent_site();
    site.source = vec![Sonde { depth_m: 0.3, moment_a_m2: 5.0, pitch_deg: 20.0, ..Sonde::default() }];
    site.station = vec![Station {
        start: Start { east_m: 0.2, north_m: 0.1, heading_deg: 30.0 },
        ..Station::default()
    }];
    let sound = record(&site, 0.1, 1, 1);
    site.front_end.rail_fraction = 0.9;
    site.noise.true_rail_fraction = Some(0.001);
    let rail = 8_389;
    let clipped: Vec<[i32; 6]> =
        sound.iter().map(|frame| frame.map(|count| count.clamp(-rail, rail))).collect();
    assert!(clipped.iter().flatten().any(|count| count.abs() < rail));
    assert!((0..6).all(|c| clipped.iter().any(|frame| frame[c].abs() == rail)), "all channels must clip");
    assert!(record(&site, 0.1, 1, 1) == clipped);
}

/// Rounding to whole counts adds a variance of 1/12: Bennett 1948, Bell Syst. Tech. J. 27:446.
#[test]
fn noise_has_the_stated_density_and_rounding_adds_a_twelfth() {
    let mut site = silent_site();
    let sigma = |pt: f64, site: &Site| {
        TAU * 512.0 * 20.0 * pt * 1e-12 * (site.signal.sample_rate_hz * 0.5).sqrt() * counts_per_volt(site)
    };
    for pt in [5.0, 0.06] {
        site.noise.field_pt_per_root_hz = pt;
        let frames = record(&site, 40.0, 0, 1);
        let expected = sigma(pt, &site).powi(2) + 1.0 / 12.0;
        let got: f64 = (0..6).map(|c| power(&frames, c)).sum::<f64>() / 6.0;
        // 1.92 million samples: a standard error of 0.1 % of the variance.
        assert!((got / expected - 1.0).abs() < 0.005, "{pt} pT: {got}, not {expected}");
    }
    assert!(sigma(0.06, &site) < 0.9, "rounding must show in the second case");
}

/// The noise is white about the tone, and independent in the channels: in windows of 0.1 s the power at
/// the tone is 4 sigma^2 / N on the average.
#[test]
fn noise_is_white_and_independent() {
    let mut site = silent_site();
    site.noise.field_pt_per_root_hz = 5.0;
    let frames = record(&site, 400.0, 0, 2);
    let windows: Vec<[Complex64; 6]> =
        frames.chunks_exact(800).map(|w| std::array::from_fn(|c| amplitude(&site, w, c, 510.0))).collect();
    let mean =
        |f: &dyn Fn(&[Complex64; 6]) -> f64| windows.iter().map(f).sum::<f64>() / windows.len() as f64;
    for c in 0..6 {
        let expected = 4.0 * power(&frames, c) / 800.0;
        let got = mean(&|w| w[c].norm_sqr());
        // 4000 windows of a chi-squared with two degrees: 1.6 %.
        assert!((got / expected - 1.0).abs() < 0.07, "channel {c}: {got}, not {expected}");
        for other in 0..c {
            let cross = mean(&|w| (w[c] * w[other].conj()).re);
            assert!(cross.abs() < 0.06 * expected, "channels {other} and {c}: {cross}");
        }
    }
}

/// The comb is there line by line, each the derivative of its field behind the high-pass, and nothing
/// is between the lines.
#[test]
fn mains_is_a_comb_of_the_stated_fields() {
    let mut site = silent_site();
    site.signal.sample_rate_hz = 4000.0;
    let mains = Mains { wander_hz: 0.0, bearing_deg: 35.0, elevation_deg: 40.0, ..Mains::default() };
    site.noise.mains = Some(mains.clone());
    let frames = record(&site, 1.0, 2, 3);
    let (bearing, up) = (35f64.to_radians(), 40f64.to_radians());
    let field = [bearing.sin() * up.cos(), bearing.cos() * up.cos(), up.sin()];
    // The amplifier's first-order high-pass of 20 Hz, relative to the tone.
    let high_pass = |f: f64| 1.0 / (1.0 + (20.0 / f).powi(2)).sqrt();
    for channel in 0..6 {
        let axis = level_axes(0.0)[channel % 3];
        let mut rest = power(&frames, channel);
        for (n, amplitude_t) in (1u32..).zip(&mains.harmonics_t) {
            let f = 50.0 * f64::from(n);
            let got = amplitude(&site, &frames, channel, f).norm();
            // 1900 Hz is 0.95 of Nyquist: from there on the converter's filter has them.
            let passed = if f < 1900.0 { high_pass(f) / high_pass(512.0) } else { 0.0 };
            let volts = TAU * f * 20.0 * amplitude_t * dot(field, axis).abs() * passed;
            let expected = volts * 16.0 * counts_per_volt(&site);
            assert!((got - expected).abs() < ROUNDING + 1e-6 * expected, "{f} Hz: {got}, not {expected}");
            rest -= 0.5 * got * got;
        }
        assert!(rest < 0.2, "{rest} square counts between the lines; rounding alone gives 0.08");
    }
}

/// The frequency wanders with the stated deviation. Means over 1 s of an Ornstein-Uhlenbeck process with
/// a correlation time of T = 1 s have 2 (e^-1 - 1 + 1) = 0.736 of its variance.
#[test]
fn the_grid_wanders() {
    let mut site = silent_site();
    site.signal.sample_rate_hz = 4000.0;
    site.noise.mains =
        Some(Mains { wander_hz: 0.05, wander_s: 1.0, harmonics_t: vec![1e-7], ..Mains::default() });
    let frames = record(&site, 600.0, 0, 4);
    let phases: Vec<f64> =
        frames.chunks_exact(4000).map(|w| amplitude(&site, &w[..160], 0, 50.0).arg()).collect();
    let off_hz: Vec<f64> =
        phases.windows(2).map(|p| ((p[1] - p[0] + PI).rem_euclid(TAU) - PI) / TAU).collect();
    let rms = (off_hz.iter().map(|x| x * x).sum::<f64>() / off_hz.len() as f64).sqrt();
    let expected = 0.05 * 0.736f64.sqrt();
    // Some 300 independent seconds: 4 %.
    assert!((rms / expected - 1.0).abs() < 0.16, "{rms}, not {expected}");
}

/// B = mu0 I / (2 pi r) about a cable: Ampere's law, Griffiths, Introduction to Electrodynamics, ch. 5.
#[test]
fn a_cable_hums_as_one_over_distance() {
    let mut site = silent_site();
    let line = HumLine { east_m: 3.0, north_m: 0.0, depth_m: 0.6, bearing_deg: 0.0, current_a: 0.5 };
    // The uniform field is a millionth of what is to be seen; only the shape of its comb counts.
    let harmonics_t = vec![1e-15, 0.0, 0.5e-15];
    site.noise.mains = Some(Mains { wander_hz: 0.0, harmonics_t, line: Some(line), ..Mains::default() });
    site.station = vec![Station {
        start: Start { east_m: 1.0, north_m: 5.0, heading_deg: 0.0 },
        ..Station::default()
    }];
    let frames = record(&site, 1.0, 0, 5);
    for (node, height) in [(0, 0.15), (1, 0.55)] {
        // North-going current at 3 m east: to the west of it the field is up and east.
        let (west, above) = (2.0, height + 0.6);
        let r = f64::hypot(west, above);
        for (n, share) in [(1.0f64, 1.0), (3.0, 0.5)] {
            let f = 50.0 * n;
            let high_pass = ((1.0 + (20.0f64 / 512.0).powi(2)) / (1.0 + (20.0 / f).powi(2))).sqrt();
            let total = TAU * f * 20.0 * 2e-7 * 0.5 / r * share * high_pass * counts_per_volt(&site);
            // Mast facing north: x is north, y west, z up. The field is (above, west)/r in (east, up).
            let expected = [0.0, total * above / r, total * west / r];
            for (axis, expected) in expected.into_iter().enumerate() {
                let got = amplitude(&site, &frames, node * 3 + axis, f).norm();
                assert!(
                    (got - expected).abs() < ROUNDING + 1e-6 * total,
                    "{node} {axis} {f}: {got}, not {expected}"
                );
            }
            let (y, z) =
                (amplitude(&site, &frames, node * 3 + 1, f), amplitude(&site, &frames, node * 3 + 2, f));
            assert!((y * z.conj()).re < 0.0, "west and up must have opposite signs");
        }
    }
}

/// Impulses change the samples they fall on and no others.
#[test]
fn impulses_come_and_go() {
    let mut site = silent_site();
    site.noise.field_pt_per_root_hz = 1.0;
    let calm = record(&site, 100.0, 0, 6);
    site.noise.impulses =
        Some(Impulses { rate_per_s: 0.5, median_t: 1e-6, spread_db: 3.0, length_s: 0.005 });
    let struck = record(&site, 100.0, 0, 6);
    let touched: Vec<usize> = (0..calm.len()).filter(|&n| calm[n] != struck[n]).collect();
    let bursts = 1 + touched.windows(2).filter(|w| w[1] - w[0] > 200).count();
    // Poisson: 50 +- 7, less the few that fall together.
    assert!((25..75).contains(&bursts), "{bursts}");
    assert!(touched.len() < bursts * 400, "{} samples for {bursts} impulses", touched.len());
}

/// Sway in the Earth's field stays below the tone: what gets through at 512 Hz is far less than 5 pT per
/// root hertz make, while the slow voltage itself is much larger than one sample's noise.
#[test]
fn the_earths_field_is_slow() {
    let mut site = silent_site();
    site.noise.earth.field_t = 50e-6;
    site.noise.sway.rms_deg = 3.0;
    let frames = record(&site, 20.0, 4, 7);
    let noise_v2_per_hz = (TAU * 512.0 * 20.0 * 5e-12 * 256.0 * counts_per_volt(&site)).powi(2);
    let mut loudest = 0.0f64;
    for c in 0..6 {
        loudest = loudest.max(power(&frames, c).sqrt());
        for w in frames.chunks_exact(8000) {
            // In a window of one second noise would give twice its density on the average.
            let at_tone = amplitude(&site, w, c, 512.0).norm_sqr();
            assert!(at_tone < 0.05 * noise_v2_per_hz, "channel {c}: {at_tone} of {noise_v2_per_hz}");
        }
    }
    assert!(loudest > (noise_v2_per_hz * 4000.0).sqrt() * 0.02, "{loudest}: too slow to see");
}

#[test]
fn a_change_of_rung_comes_with_a_block_and_settles_in_time() {
    let mut site = silent_site();
    site.source = vec![Sonde::default()];
    let mut settling = site.clone();
    for rung in &mut settling.front_end.rungs {
        rung.settle_s = 0.03;
    }
    let run = |site: &Site| {
        let mut simulation = Simulation::<6>::new(site, 0, 8).unwrap();
        let mut frames = vec![[0; 6]; 2000];
        let (mut done, mut rungs) = (0, Vec::new());
        while done < frames.len() {
            if done >= 500 {
                simulation.set_rung(3);
            }
            let info = simulation.read(&mut frames[done..done + 100]).unwrap().unwrap();
            rungs.push((done, info.rung));
            done += info.frames;
        }
        (frames, rungs)
    };
    let (ideal, rungs) = run(&site);
    let (real, _) = run(&settling);
    for (at, rung) in rungs {
        // Asked for at 500, in the middle of the block from 400 to 800.
        assert_eq!(rung, if at < 800 { 0 } else { 3 }, "at {at}");
    }
    let off = |from: usize, until: usize| {
        let pairs = real[from..until].iter().zip(&ideal[from..until]);
        pairs.flat_map(|(a, b)| a.iter().zip(b)).map(|(a, b)| (a - b).abs()).max().unwrap()
    };
    assert_eq!(off(0, 800), 0);
    assert!(off(800, 820) > 8_388_608 / 100);
    // 0.03 s are 240 frames; after them less than 1.2e-5 of full scale is left.
    assert!(off(1040, 1100) < 101, "{}", off(1040, 1100));
    assert_eq!(off(1600, 2000), 0);
}

/// Calibration errors have the deviations that the instrument is told, or so many times those.
#[test]
fn calibration_errors_are_as_large_as_stated() {
    for calibration_scale in [1.0, 4.0] {
        check_calibration_errors(calibration_scale);
    }
}

fn check_calibration_errors(calibration_scale: f64) {
    let mut site = silent_site();
    site.noise.calibration_error = true;
    site.noise.calibration_scale = calibration_scale;
    site.source = vec![Sonde::default()];
    site.station = vec![Station {
        start: Start { east_m: 0.0, north_m: 0.0, heading_deg: 45.0 },
        ..Station::default()
    }];
    let exact = {
        let mut exact = site.clone();
        exact.noise.calibration_error = false;
        let frames = record(&exact, 0.125, 3, 0);
        [0, 3].map(|c| amplitude(&exact, &frames, c, 512.0).norm())
    };
    let (mut scales, mut ratios) = (Vec::new(), Vec::new());
    for seed in 0..1000 {
        let frames = record(&site, 0.125, 3, seed);
        let [a, b] = [0, 3].map(|c| amplitude(&site, &frames, c, 512.0).norm());
        scales.push((a * b / exact[0] / exact[1]).sqrt().ln());
        ratios.push((a / b * exact[1] / exact[0]).ln());
    }
    for (drawn, sigma) in [(scales, 0.05), (ratios, 0.003)] {
        let rms = (drawn.iter().map(|x| x * x).sum::<f64>() / drawn.len() as f64).sqrt();
        // 1000 draws: 2.2 %.
        let expected = calibration_scale * sigma;
        assert!((rms / expected - 1.0).abs() < 0.09, "{rms}, not {expected}");
    }
}

/// Every reading of the pose carries errors of the stated size, and sensors that are not there are silent.
#[test]
fn sensors_err_as_much_as_they_claim() {
    let mut site = silent_site();
    let track = &mut site.noise.track;
    (track.white_m, track.wander_m, track.wander_s) = (0.03, 0.04, 1.0);
    (track.up_m, track.tilt_deg, track.heading_deg) = (0.02, 0.5, 2.0);
    let mut simulation = Simulation::<6>::new(&site, 0, 9).unwrap();
    let mut frames = [[0; 6]; 400];
    let (mut east, mut up, mut pitch, mut n) = (0.0, 0.0, 0.0, 0.0);
    let mut headings = Vec::new();
    for _ in 0..40_000 {
        let info = simulation.read(&mut frames).unwrap().unwrap();
        let mast = info.mast.unwrap();
        let position = mast.position.unwrap();
        assert!((position.sigma_m - 0.05).abs() < 1e-6);
        east += (f64::from(position.enu_m.x) + 3.0).powi(2);
        up += (f64::from(position.enu_m.z) - 0.15).powi(2);
        pitch += f64::from(mast.tilt.unwrap().pitch_rad).powi(2);
        headings.push(mast.heading_rad.unwrap());
        n += 1.0;
    }
    assert!(((east / n).sqrt() / 0.05 - 1.0).abs() < 0.08, "{}", (east / n).sqrt());
    assert!(((up / n).sqrt() / 0.02 - 1.0).abs() < 0.02);
    assert!(((pitch / n).sqrt().to_degrees() / 0.5 - 1.0).abs() < 0.02);
    assert!(headings.iter().all(|&h| h == headings[0] && h != 0.0), "a compass error stays");

    site.noise.track.position = false;
    site.noise.track.heading = false;
    site.noise.track.tilt = false;
    let mut blind = Simulation::<6>::new(&site, 0, 9).unwrap();
    let mast = blind.read(&mut frames).unwrap().unwrap().mast.unwrap();
    assert_eq!((mast.position, mast.heading_rad, mast.tilt), (None, None, None));
}

#[test]
fn a_seed_means_the_same_samples_and_another_seed_others() {
    for entry in builtin() {
        let site = entry.site().unwrap();
        let first = record(&site, 5.0, 2, 11);
        assert!(first == record(&site, 5.0, 2, 11), "{}", entry.name);
        assert!(first != record(&site, 5.0, 2, 12), "{}", entry.name);
    }
}

/// Walk a station with cues from one who knows the truth, on one rung; how high the counts go, and where
/// the walk ends.
fn guided_walk(site: &Site, station: usize, rung: u8) -> (i32, Simulation<6>) {
    let mut simulation = Simulation::<6>::new(site, station, 21).unwrap();
    let truth = simulation.truth().unwrap().clone();
    simulation.set_rung(rung);
    let mut frames = [[0; 6]; 400];
    let mut highest = 0;
    while let Some(info) = simulation.read(&mut frames).unwrap() {
        assert!(info.start < 8000 * 180, "three minutes must do");
        if info.start > 2000 {
            highest = highest.max(frames.iter().flatten().map(|x| x.abs()).max().unwrap());
        }
        let mast = info.mast.unwrap();
        let at = mast.position.unwrap().enu_m.to_array().map(f64::from);
        let way = [truth.east_m - at[0], truth.north_m - at[1]];
        let turn = way[0].atan2(way[1]) - f64::from(mast.heading_rad.unwrap());
        simulation.respond(Cue {
            turn_rad: Some(((turn + PI).rem_euclid(TAU) - PI) as f32),
            near: way[0].hypot(way[1]) < 1.0,
            lay_rad: Some(truth.lay_rad as f32),
            mark_enu_m: Some([truth.east_m, truth.north_m]),
            source_enu_m: None,
            crossed: false,
        });
    }
    (highest, simulation)
}

/// Whoever follows good cues ends on the mark, as well as position and compass allow.
#[test]
fn good_cues_lead_onto_the_sonde() {
    let run = builtin()[0].site().unwrap();
    for station in 0..run.stations().len() {
        let (_, simulation) = guided_walk(&run, station, 0);
        let (pose, truth) = (simulation.pose(), simulation.truth().unwrap());
        let off_m = (pose.enu_m.x - truth.east_m).hypot(pose.enu_m.y - truth.north_m);
        // 3 cm are left uncorrected, and the track wanders by 2 cm on each axis.
        assert!(off_m < 0.03 + 3.0 * 0.02, "station {station}: {off_m}");
        assert!((pose.enu_m.z - run.array.foot_m).abs() < 0.01);
    }
}

/// What the comments of the two strong sites say of the gain ladder.
#[test]
fn strong_sondes_need_the_gain_ladder() {
    let site = |name| builtin().iter().find(|b| b.name == name).unwrap().site().unwrap();
    let highest = |name, rung| guided_walk(&site(name), 0, rung).0;
    assert!(highest("too-close", 1) < 8_388_607);
    assert!(highest("too-close", 2) >= 8_388_607);
    assert!(highest("over-range", 0) >= 8_388_607);
}

#[test]
fn a_station_ends_with_its_walk() {
    let mut site = silent_site();
    site.walk = vec![Leg::Stand(Stand { seconds: 1.0 })];
    let mut simulation = Simulation::<6>::new(&site, 0, 1).unwrap();
    let mut frames = [[0; 6]; 400];
    let mut blocks = 0;
    while simulation.read(&mut frames).unwrap().is_some() {
        blocks += 1;
    }
    assert!((20..=21).contains(&blocks), "{blocks} blocks of 50 ms for 1 s");
    assert_eq!(simulation.read(&mut frames).unwrap(), None);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// However the samples are asked for, they are the same, and so are the readings.
    #[test]
    fn buffers_of_any_length_get_the_same_samples(
        lengths in proptest::collection::vec(1usize..1500, 1..20),
        which in 0..builtin().len(),
    ) {
        let site = builtin()[which].site().unwrap();
        let mut whole = Simulation::<6>::new(&site, 0, 13).unwrap();
        let mut parts = whole.clone();
        let (mut expected, mut readings) = (Vec::new(), Vec::new());
        let mut frames = [[0; 6]; 1500];
        // Blocks of 50 ms, all of which fit.
        let block = (0.05 * site.signal.sample_rate_hz).round() as usize;
        while expected.len() < 16_000 {
            let info = whole.read(&mut frames).unwrap().unwrap();
            prop_assert_eq!(info.frames, block);
            readings.push((info.start, info.mast.unwrap()));
            expected.extend_from_slice(&frames[..info.frames]);
        }
        let mut got: Vec<[i32; 6]> = Vec::new();
        let mut readings = readings.into_iter();
        for length in lengths.iter().cycle() {
            let info = parts.read(&mut frames[..*length]).unwrap().unwrap();
            prop_assert_eq!(info.start, got.len() as u64);
            prop_assert!(info.frames > 0 && info.frames <= *length);
            if let Some(mast) = info.mast {
                prop_assert_eq!(Some((info.start, mast)), readings.next());
            }
            got.extend_from_slice(&frames[..info.frames]);
            if got.len() >= 16_000 {
                break;
            }
        }
        prop_assert!(got[..16_000] == expected[..16_000]);
    }
}
