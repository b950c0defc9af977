//! Passive mains against estimation bounds and stated rates of false alarm. Each test prints its figure
//! (`cargo test --release -p nullwalk-core --test mains -- --nocapture`).

mod noise;

use std::f64::consts::TAU;

use noise::Noise;
use nullwalk_core::frame::Block;
use nullwalk_core::gain::{Ladder, Rung};
use nullwalk_core::grid::Grid;
use nullwalk_core::mains::{HEARD, Hum, Mains, ORDERS};
use proptest::prelude::*;

const RATE_HZ: f64 = 8000.0;
/// Counts of a volt.
const VOLT: f64 = (1 << 20) as f64;

fn ladder() -> Ladder {
    let rung = |gain| Rung { gain, settle_s: 0.03 };
    Ladder::new(&[rung(1.0), rung(4.0)], 8.0, 1 << 23, 1.0).unwrap()
}

/// A grid whose frequency may drift, and its harmonics' amplitudes and phases.
#[derive(Clone)]
struct Source {
    grid_hz: f64,
    drift_hz_per_s: f64,
    harmonics: Vec<(u32, f64, f64)>,
}

impl Source {
    fn new(grid_hz: f64, harmonics: &[(u32, f64)]) -> Self {
        let harmonics = harmonics.iter().map(|&(n, a)| (n, a, 0.9 * f64::from(n))).collect();
        Self { grid_hz, drift_hz_per_s: 0.0, harmonics }
    }

    fn phase(&self, t: f64) -> f64 {
        TAU * (self.grid_hz * t + 0.5 * self.drift_hz_per_s * t * t)
    }

    fn volts(&self, t: f64) -> f64 {
        let phase = self.phase(t);
        self.harmonics.iter().map(|&(n, a, p)| a * (f64::from(n) * phase + p).cos()).sum()
    }
}

fn sampled(rate_hz: f64, seconds: f64, mut volts: impl FnMut(f64) -> f64) -> Vec<[i32; 1]> {
    (0..(rate_hz * seconds) as usize).map(|n| [(volts(n as f64 / rate_hz) * VOLT).round() as i32]).collect()
}

fn hums<const C: usize>(rate_hz: f64, samples: &[[i32; C]], block: usize) -> Vec<Hum<C>> {
    let (mains, ladder) = (Mains::new(rate_hz as f32).unwrap(), ladder());
    let mut state = mains.start();
    let mut out = Vec::new();
    let mut start = 0;
    for frames in samples.chunks(block) {
        mains.push(&mut state, &ladder, &Block { frames, start, rung: 0 }, |hum| out.push(*hum));
        start += frames.len() as u64;
    }
    out
}

#[test]
fn every_grid_is_found_by_any_one_of_its_harmonics() {
    for rate_hz in [4000.0, 8000.0, 44_100.0] {
        for (grid, nominal_hz) in [(Grid::Fifty, 50.0), (Grid::Sixty, 60.0)] {
            for strays in [-0.0099, -0.002, 0.0, 0.005, 0.0099] {
                for order in (1..=7).filter(|n| f64::from(*n) * nominal_hz != 300.0) {
                    let grid_hz = nominal_hz * (1.0 + strays);
                    let source = Source::new(grid_hz, &[(order, 0.01)]);
                    let mut noise = Noise(u64::from(order));
                    let out = hums(
                        rate_hz,
                        &sampled(rate_hz, 3.0, |t| source.volts(t) + 1e-3 * noise.gaussian()),
                        400,
                    );
                    let last = out.last().unwrap();
                    assert_eq!(last.grid, Some(grid), "{rate_hz} {grid_hz} {order}");
                    assert_eq!(last.strongest(), Some(order as usize), "{rate_hz} {grid_hz} {order}");
                    let found_hz = f64::from(last.frequency.unwrap().hz);
                    assert!(
                        (found_hz - grid_hz).abs() < 0.01,
                        "{rate_hz} {order}: {found_hz} for {grid_hz}"
                    );
                    let amplitude = f64::from(last.harmonics[order as usize - 1].value_v[0].norm());
                    // 1 mV of noise per sample leaves a sigma of sqrt(2/1600 * 1.5) mV at 8 kHz: four of these, and 0.1 %.
                    let sigma = 1e-3 * (3.0 / (0.2 * rate_hz)).sqrt();
                    assert!((amplitude - 0.01).abs() < 4.0 * sigma + 1e-5, "{rate_hz} {order} {amplitude}");
                }
            }
        }
    }
}

/// Rife and Boorstyn 1974: no estimate from `samples` real samples of a sine with this ratio of powers has a smaller error.
fn bound_hz(snr: f64, samples: f64, rate_hz: f64) -> f64 {
    (12.0 / (snr * samples * (samples * samples - 1.0))).sqrt() * rate_hz / TAU
}

#[test]
fn the_frequency_after_two_seconds_is_near_its_bound() {
    // Ratio of signal to noise in 0 to 1 kHz, and in the phasor of one hop.
    let bandwidth_hz = f64::from(Mains::new(8000.0).unwrap().noise_bandwidth_hz());
    for (name, snr_in_hop, seconds) in [
        ("20 dB in 1 kHz", 100.0 * 1000.0 / bandwidth_hz, 2.0),
        ("20 dB in a hop", 100.0, 2.0),
        ("20 dB in a hop", 100.0, 4.0),
    ] {
        let amplitude = 0.02;
        // A^2 / 2 over the noise: of density n per root hertz, n^2 times the bandwidth is the variance of each part, and the
        // ratio is A^2 over twice that.
        let density = amplitude / (2.0 * snr_in_hop * bandwidth_hz).sqrt();
        let per_sample = density * (RATE_HZ / 2.0).sqrt();
        let (mut square, mut claimed, mut within) = (0.0, 0.0, 0);
        const TRIALS: u64 = 200;
        for seed in 0..TRIALS {
            let mut noise = Noise(seed);
            let grid_hz = 49.5 + noise.uniform();
            let source = Source::new(grid_hz, &[(1, amplitude)]);
            let out = hums(
                8000.0,
                &sampled(RATE_HZ, seconds + 0.001, |t| source.volts(t) + per_sample * noise.gaussian()),
                800,
            );
            let frequency = out.last().unwrap().frequency.unwrap();
            let error = f64::from(frequency.hz) - grid_hz;
            square += error * error / TRIALS as f64;
            claimed += f64::from(frequency.sigma_hz).powi(2) / TRIALS as f64;
            within += u32::from(error.abs() <= 0.005);
        }
        let bound =
            bound_hz(amplitude * amplitude / 2.0 / (per_sample * per_sample), 2.0 * RATE_HZ, RATE_HZ);
        println!(
            "{name}, {seconds} s after the start: rms error {:.2} mHz, claimed {:.2} mHz, bound for 2 s {:.2} mHz, ratio {:.2}; \
             within 5 mHz in {:.0} %",
            1e3 * square.sqrt(),
            1e3 * claimed.sqrt(),
            1e3 * bound,
            square.sqrt() / bound,
            100.0 * f64::from(within) / TRIALS as f64,
        );
        if seconds > 3.0 {
            // 200 squares: three standard deviations are 30 %, 15 % of the root.
            assert!((0.85..1.3).contains(&(square.sqrt() / bound)));
            assert!((0.8..1.2).contains(&(claimed / square).sqrt()));
        }
        if snr_in_hop > 1000.0 {
            assert_eq!(within, TRIALS as u32, "within 5 mHz in 2 s at 20 dB");
        }
    }
}

#[test]
fn phasors_hold_within_one_per_cent_while_the_grid_drifts() {
    for drift_hz_per_s in [0.5, -0.5] {
        let harmonics: Vec<(u32, f64)> = (1..=9).map(|n| (n, 0.3 / f64::from(n))).collect();
        let mut source = Source::new(60.0 - 1.2 * drift_hz_per_s, &harmonics);
        // At rest a full per cent off, then 2.4 s of drift to the other end.
        let still_s = 2.0;
        let steady = source.clone();
        source.drift_hz_per_s = drift_hz_per_s;
        let samples = sampled(RATE_HZ, still_s + 2.4, |t| {
            if t < still_s {
                return steady.volts(t - still_s);
            }
            source.volts(t - still_s)
        });
        let out = hums(8000.0, &samples, 400);
        // At the onset nothing has foretold the drift; after half a second it is known.
        let mut worst = [[0.0_f64; ORDERS]; 2];
        let mut worst_hz = 0.0_f64;
        for hum in out.iter().filter(|hum| hum.centre as f64 / RATE_HZ > still_s) {
            let known = usize::from(hum.centre as f64 / RATE_HZ > still_s + 0.5);
            for (worst, (harmonic, (_, amplitude))) in
                worst[known].iter_mut().zip(hum.harmonics.iter().zip(&harmonics))
            {
                *worst = worst.max((f64::from(harmonic.value_v[0].norm()) / amplitude - 1.0).abs());
            }
            let frequency = hum.frequency.unwrap();
            let then_s = hum.centre as f64 / RATE_HZ - f64::from(frequency.ago_s) - still_s;
            let true_hz = source.grid_hz + drift_hz_per_s * then_s.max(0.0);
            if then_s > 1.0 {
                worst_hz = worst_hz.max((f64::from(frequency.hz) - true_hz).abs());
            }
        }
        for (name, worst) in ["in its first half second", "after it"].iter().zip(&worst) {
            let per_cent: Vec<String> = worst.iter().map(|w| format!("{:.2}", 100.0 * w)).collect();
            println!(
                "drift {drift_hz_per_s} Hz/s, {name}: worst amplitude error of harmonics 1 to 9, %: {}; frequency {:.1} mHz",
                per_cent.join(" "),
                1e3 * worst_hz
            );
        }
        let [onset, known] = worst;
        assert!(known.iter().all(|w| *w < 0.01), "{known:?}");
        assert!(onset.iter().all(|w| *w < 0.01), "{onset:?}");
        assert!(worst_hz > 0.0 && worst_hz < 0.005);
    }
}

#[test]
fn a_strong_fundamental_does_not_leak_into_its_harmonics() {
    for grid_hz in [49.5, 50.0, 50.37, 59.4, 60.6] {
        let source = Source::new(grid_hz, &[(1, 1.0), (3, 1e-2), (8, 1e-3)]);
        let out = hums(8000.0, &sampled(RATE_HZ, 4.0, |t| source.volts(t)), 400);
        for hum in out.iter().skip(20) {
            let level = hum.harmonics.map(|h| f64::from(h.value_v[0].norm()));
            assert!(
                (level[2] / 1e-2 - 1.0).abs() < 0.02 && (level[7] / 1e-3 - 1.0).abs() < 0.1,
                "{grid_hz} {level:?}"
            );
            assert!([1, 3, 4, 5, 6, 8].iter().all(|&n| level[n] < 1.5e-4), "{grid_hz} {level:?}");
        }
    }
}

#[test]
fn silence_is_heard_as_silence_at_the_stated_rate() {
    const C: usize = 3;
    let mut noise = Noise(5);
    let samples: Vec<[i32; C]> = (0..(RATE_HZ * 2000.0) as usize)
        .map(|_| [0; C].map(|_| (1000.0 * noise.gaussian()) as i32))
        .collect();
    let out = hums(8000.0, &samples, 8000);
    let tests = (out.len() * ORDERS) as f64;
    let alarms = out.iter().flat_map(|hum| &hum.harmonics).filter(|h| h.is_heard()).count() as f64;
    let at_one_per_cent =
        out.iter().flat_map(|hum| &hum.harmonics).filter(|h| h.chance < 0.01).count() as f64 / tests;
    let known = out.iter().filter(|hum| hum.grid.is_some()).count();
    println!(
        "white noise, {} hops: {alarms} false alarms in {tests} looks ({:.1e}; stated {HEARD:.0e}), {:.2} % at 1 %; a grid in {known} hops",
        out.len(),
        alarms / tests,
        100.0 * at_one_per_cent
    );
    // Expected 18 of 180000; they come in pairs, as windows overlap.
    assert!(alarms / tests < 2.0 * f64::from(HEARD));
    assert!(at_one_per_cent < 0.012);
    assert_eq!(known, 0);
}

#[test]
fn a_gap_and_a_change_of_rung_lose_a_fifth_of_a_second_and_nothing_else() {
    let source = Source::new(50.2, &[(1, 0.2), (3, 0.05)]);
    let samples = sampled(RATE_HZ, 6.0, |t| source.volts(t));
    let (mains, ladder) = (Mains::new(8000.0).unwrap(), ladder());
    let mut state = mains.start::<1>();
    let mut out: Vec<Hum<1>> = Vec::new();
    for (n, frames) in samples.chunks(400).enumerate() {
        if (60..63).contains(&n) {
            continue;
        }
        let rung = u8::from(n >= 80);
        let gain = if rung == 1 { 4 } else { 1 };
        let frames: Vec<[i32; 1]> = frames
            .iter()
            .enumerate()
            // Garbage while the amplifier settles.
            .map(|(k, f)| if n == 80 && k < 200 { [3_000_000] } else { [f[0] * gain] })
            .collect();
        mains.push(&mut state, &ladder, &Block { frames: &frames, start: n as u64 * 400, rung }, |hum| {
            out.push(*hum)
        });
    }
    for hum in &out[10..] {
        let level = hum.harmonics.map(|h| h.value_v[0].norm());
        assert!(
            (level[0] / 0.2 - 1.0).abs() < 2e-3 && (level[2] / 0.05 - 1.0).abs() < 2e-3,
            "{} {level:?}",
            hum.centre
        );
        assert_eq!(hum.grid, Some(Grid::Fifty));
        assert!((hum.grid_hz - 50.2).abs() < 0.02, "{}", hum.grid_hz);
    }
    assert!(out.iter().any(|hum| hum.marks.gap) && out.iter().any(|hum| hum.marks.settling));
    let longest = out.windows(2).map(|two| two[1].centre - two[0].centre).max().unwrap();
    // The gap of 0.15 s, and the windows that had to begin anew.
    assert!(longest <= 800 * 5, "{longest}");
}

#[test]
fn phasors_stand_still_while_the_field_does_and_a_lost_grid_is_sought_anew() {
    let source = Source::new(59.93, &[(1, 0.1), (3, 0.03)]);
    let mut noise = Noise(9);
    let samples = sampled(RATE_HZ, 20.0, |t| {
        let on = if (8.0..12.0).contains(&t) { 0.0 } else { 1.0 };
        on * source.volts(t) + 1e-4 * noise.gaussian()
    });
    let out = hums(8000.0, &samples, 500);
    let at_s = |hum: &Hum<1>| hum.centre as f64 / RATE_HZ;
    let still: Vec<_> = out.iter().filter(|hum| (3.0..7.8).contains(&at_s(hum))).collect();
    for n in [0, 2] {
        let first = still[0].harmonics[n].value_v[0];
        let worst = still
            .iter()
            .map(|hum| (hum.harmonics[n].value_v[0] - first).norm() / first.norm())
            .fold(0.0, f32::max);
        assert!(worst < 0.01, "{n}: {worst}");
    }
    let silent = out.iter().filter(|hum| (10.5..11.8).contains(&at_s(hum)));
    assert!(silent.into_iter().all(|hum| hum.grid.is_none() && hum.strongest().is_none()));
    let back = out.iter().filter(|hum| at_s(hum) > 13.0);
    assert!(back.into_iter().all(|hum| hum.grid == Some(Grid::Sixty)));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(16))]

    #[test]
    fn however_the_stream_is_cut_the_hum_is_the_same(cuts in prop::collection::vec(1_usize..900, 1..40), seed: u64) {
        let mut noise = Noise(seed);
        let source = Source::new(49.8, &[(1, 0.1), (5, 0.02)]);
        let samples = sampled(RATE_HZ, 1.5, |t| source.volts(t) + 0.01 * noise.gaussian());
        let (mains, ladder) = (Mains::new(8000.0).unwrap(), ladder());
        let mut state = mains.start::<1>();
        let mut out = Vec::new();
        let (mut rest, mut start) = (&samples[..], 0);
        for cut in cuts.iter().cycle() {
            if rest.is_empty() {
                break;
            }
            let (frames, later) = rest.split_at((*cut).min(rest.len()));
            mains.push(&mut state, &ladder, &Block { frames, start, rung: 0 }, |hum| out.push(*hum));
            start += frames.len() as u64;
            rest = later;
        }
        prop_assert_eq!(out, hums(8000.0, &samples, samples.len()));
    }
}
