//! The tone path against closed forms and estimation bounds. Each test prints its figure
//! (`cargo test -p nullwalk-core --test tone -- --nocapture`).

mod noise;

use std::f64::consts::TAU;

use noise::Noise;
use nullwalk_core::frame::Block;
use nullwalk_core::gain::{Ladder, Rung};
use nullwalk_core::tone::{Phasors, Tone};
use num_complex::Complex32;
use proptest::prelude::*;

/// One volt per 2^20 counts on every rung, so that amplitudes are easy to read.
fn ladder() -> Ladder {
    let rung = |gain| Rung { gain, settle_s: 0.03 };
    Ladder::new(&[rung(1.0), rung(4.0)], 8.0, 1 << 23, 1.0).unwrap()
}

/// Samples of a signal in volts, rounded to counts.
fn sampled(rate_hz: f64, seconds: f64, mut volts: impl FnMut(f64) -> f64) -> Vec<[i32; 1]> {
    (0..(rate_hz * seconds) as usize)
        .map(|n| [(volts(n as f64 / rate_hz) * f64::from(1 << 20)).round() as i32])
        .collect()
}

fn phasors(tone: &Tone, samples: &[[i32; 1]], block: usize) -> Vec<Phasors<1>> {
    let ladder = ladder();
    let mut state = tone.start();
    let mut out = Vec::new();
    let mut start = 0;
    for frames in samples.chunks(block) {
        tone.push(&mut state, &ladder, &Block { frames, start, rung: 0 }, |p| out.push(*p));
        start += frames.len() as u64;
    }
    out
}

fn amplitude_error(z: Complex32, amplitude: f64) -> f64 {
    (f64::from(z.norm()) / amplitude - 1.0).abs()
}

#[test]
fn amplitude_and_phase_hold_beside_a_500_hz_line_40_db_up_and_mains_combs() {
    for mains_hz in [50.0, 60.0] {
        for phase in [0.0, 1.0, 2.5, 4.0] {
            let signal = |t: f64| {
                let comb: f64 = (1..=30)
                    .map(f64::from)
                    .map(|n| 0.3 / n * (TAU * mains_hz * n * t + n * phase).cos())
                    .sum();
                0.01 * (TAU * 512.0 * t + 0.7).cos() + (TAU * 500.0 * t + phase).cos() + comb
            };
            let samples = sampled(8000.0, 6.0, signal);
            let tone = Tone::new(512.0, 8000.0).unwrap();
            let out = phasors(&tone, &samples, 400);
            let (mut worst_amplitude, mut worst_phase) = (0.0_f64, 0.0_f64);
            // The carrier loop needs a second to come to rest after start-up.
            for p in out.iter().skip(15) {
                worst_amplitude = worst_amplitude.max(amplitude_error(p.value_v[0], 0.01));
                worst_phase = worst_phase.max((f64::from(p.value_v[0].arg()) - 0.7).abs().to_degrees());
            }
            println!(
                "mains {mains_hz} Hz, 500 Hz at +40 dB: amplitude error {:.3} %, phase error {worst_phase:.3} degrees",
                100.0 * worst_amplitude
            );
            assert!(worst_amplitude < 0.01, "amplitude {worst_amplitude}");
            assert!(worst_phase < 1.0, "phase {worst_phase}");
        }
    }
}

#[test]
fn a_step_is_in_the_output_within_0_6_s() {
    let step_s = 2.0313;
    let samples = sampled(8000.0, 5.0, |t| {
        let amplitude = if t < step_s { 1.0 } else { 2.0 };
        amplitude * (TAU * 512.0 * t).cos()
    });
    let tone = Tone::new(512.0, 8000.0).unwrap();
    let half_s = f64::from(tone.settling_samples()) / 16_000.0;
    // Time from the step until an output comes out of the detector and stays within 1 % of the step.
    let mut settled = f64::NAN;
    for p in phasors(&tone, &samples, 400).iter().rev() {
        let out_s = p.centre as f64 / 8000.0 + half_s;
        if out_s > step_s + 0.05 && (f64::from(p.value_v[0].norm()) - 2.0).abs() < 0.01 {
            settled = out_s - step_s;
        } else {
            break;
        }
    }
    println!("step to 99 %: {settled:.3} s");
    assert!(settled <= 0.6, "{settled}");
    let response = tone.response();
    assert!((response.step(0.6) - 1.0).abs() < 1e-5 && response.step(0.0) == 0.0);
}

#[test]
fn variance_in_white_noise_meets_the_bound_of_the_window() {
    let (sigma_v, amplitude) = (0.1, 0.05);
    let tone = Tone::new(512.0, 8000.0).unwrap();
    let mut noise = Noise(7);
    let samples =
        sampled(8000.0, 2000.0, |t| amplitude * (TAU * 512.0 * t).cos() + sigma_v * noise.gaussian());
    let out = phasors(&tone, &samples, 8000);
    let values: Vec<f64> = out.iter().skip(20).map(|p| f64::from(p.value_v[0].re)).collect();
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    let variance = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / values.len() as f64;
    // Kay 1993, example 3.4 and Rife and Boorstyn 1974: var(A) >= 2 sigma^2 / N for an unweighted window
    // of N samples; a weighted window has N = rate / its noise bandwidth.
    let bandwidth_hz = f64::from(tone.response().noise_bandwidth_hz());
    let bound = 2.0 * sigma_v * sigma_v * bandwidth_hz / 8000.0;
    println!("noise bandwidth {bandwidth_hz:.3} Hz; variance over its bound {:.3}", variance / bound);
    assert!((0.9..1.15).contains(&(variance / bound)));
    // The detector's own idea of its noise agrees.
    let claimed: f64 = out.iter().skip(100).map(|p| f64::from(p.sigma_v[0]).powi(2)).sum::<f64>()
        / (out.len() - 100) as f64;
    println!("claimed over true variance {:.3}", claimed / variance);
    assert!((0.85..1.15).contains(&(claimed / variance)));
    // Averaged over ten seconds, the window's taper hardly matters: the plain bound of all samples holds.
    let seconds = 10.0;
    let means: Vec<f64> = values.chunks_exact(100).map(|c| c.iter().sum::<f64>() / 100.0).collect();
    let spread = means.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / means.len() as f64;
    let plain = 2.0 * sigma_v * sigma_v / (8000.0 * seconds);
    println!("10 s average: variance over the plain bound {:.3}", spread / plain);
    assert!(spread / plain < 1.45, "200 averages: 3 sigma of a variance estimate is 30 %");
}

#[test]
fn the_carrier_is_found_and_tracked_within_3_hz() {
    for offset_hz in [-2.9, -1.3, 0.4, 2.0, 2.9] {
        let mut noise = Noise(3);
        let samples = sampled(8000.0, 6.0, |t| {
            0.1 * (TAU * (512.0 + offset_hz) * t).cos() + 0.003 * noise.gaussian()
        });
        let out = phasors(&Tone::new(512.0, 8000.0).unwrap(), &samples, 333);
        let last = out.last().unwrap();
        println!("offset {offset_hz}: reported {:.3} Hz", last.carrier_offset_hz);
        assert!((f64::from(last.carrier_offset_hz) - offset_hz).abs() < 0.02);
        assert!(amplitude_error(last.value_v[0], 0.1) < 0.01);
    }
}

#[test]
fn impulses_do_not_move_the_result() {
    let mut noise = Noise(11);
    let mut spike = 0.0;
    let samples = sampled(8000.0, 10.0, |t| {
        // About three spikes a second, 1 ms long, a thousand times the tone.
        if noise.uniform() < 3.0 / 8000.0 {
            spike = 6.0;
        }
        spike *= 0.6;
        0.005 * (TAU * 512.0 * t).cos() + (TAU * 60.0 * t).cos() + 0.002 * noise.gaussian() + spike
    });
    let out = phasors(&Tone::new(512.0, 8000.0).unwrap(), &samples, 400);
    let worst = out.iter().skip(15).map(|p| amplitude_error(p.value_v[0], 0.005)).fold(0.0, f64::max);
    println!("worst amplitude error under impulses: {:.2} %", 100.0 * worst);
    assert!(worst < 0.05);
    assert!(out.iter().any(|p| p.marks.impulses));
}

/// What is bridged is foretold from what was bridged: that must not feed on itself, however long it goes on.
#[test]
fn the_same_part_of_every_hop_may_be_missing_for_ever() {
    let tone = Tone::new(512.0, 8000.0).unwrap();
    for missing in [1, 2, 5] {
        let mut noise = Noise(7);
        let signal = |t: f64| {
            let mains: f64 = [50.0, 150.0, 500.0].iter().map(|hz| 0.1 * (TAU * hz * t + 1.0).cos()).sum();
            (TAU * 512.0 * t + 0.7).cos() + mains + 1e-3 * noise.gaussian()
        };
        let samples = sampled(8000.0, 120.0, signal);
        let (mut state, mut out) = (tone.start(), Vec::new());
        for (number, frames) in (0..).zip(samples.chunks(40)) {
            if number < 200 || number % 20 >= missing {
                let block = Block { frames, start: 40 * number, rung: 0 };
                tone.push(&mut state, &ladder(), &block, |p: &Phasors<1>| out.push(*p));
            }
        }
        let worst = out.iter().skip(15).map(|p| amplitude_error(p.value_v[0], 1.0)).fold(0.0, f64::max);
        println!("{missing} of 20 boxcars missing in every hop: amplitude error {:.2} %", 100.0 * worst);
        assert!(worst < 0.02 * missing as f64, "{missing} missing: {worst}");
        let last = out.last().unwrap();
        assert!(last.marks.gap && (last.bridged - missing as f32 / 20.0).abs() < 1e-3);
    }
}

#[test]
fn any_allowed_tone_and_rate_works() {
    for rate_hz in [4000.0, 8000.0, 11_025.0, 22_050.0, 44_100.0, 48_000.0] {
        for tone_hz in [50.0, 512.0, 640.0, 1000.0, 0.5 * rate_hz - 10.0] {
            let samples = sampled(rate_hz, 2.0, |t| 0.5 * (TAU * tone_hz * t + 0.3).cos());
            let tone = Tone::new(tone_hz as f32, rate_hz as f32).unwrap();
            assert!(tone.hop_s() <= 0.1 + 1e-6);
            let out = phasors(&tone, &samples, 1000);
            let last = out.last().unwrap();
            assert!(amplitude_error(last.value_v[0], 0.5) < 1e-3, "{tone_hz} at {rate_hz}: {last:?}");
            assert!((f64::from(last.value_v[0].arg()) - 0.3).abs() < 0.01, "{tone_hz} at {rate_hz}");
        }
    }
}

#[test]
fn a_change_of_rung_does_not_show() {
    let tone = Tone::new(512.0, 8000.0).unwrap();
    let ladder = ladder();
    let mut state = tone.start();
    let mut worst = 0.0_f64;
    for (n, frames) in sampled(8000.0, 6.0, |t| 0.3 * (TAU * 512.0 * t).cos()).chunks(400).enumerate() {
        let rung = u8::from(n > 60);
        let gain = if rung == 1 { 4 } else { 1 };
        // The first 25 ms after the change are garbage, as from an amplifier that settles.
        let frames: Vec<[i32; 1]> = frames
            .iter()
            .enumerate()
            .map(|(k, f)| if n == 61 && k < 200 { [4_000_000] } else { [f[0] * gain] })
            .collect();
        let block = Block { frames: &frames, start: n as u64 * 400, rung };
        tone.push(&mut state, &ladder, &block, |p| {
            if n > 20 {
                worst = worst.max(amplitude_error(p.value_v[0], 0.3));
            }
        });
    }
    println!("worst step at a change of rung: {:.3} %", 100.0 * worst);
    assert!(worst < 0.005);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]
    #[test]
    fn a_single_sample_at_the_rail_is_marked_for_as_long_as_it_is_in_the_window(
        at in 0_usize..12_000,
        block in 1_usize..700,
        channel in 0_usize..3,
        below: bool,
        negative: bool,
    ) {
        let ladder = ladder();
        let tone = Tone::new(512.0, 8000.0).unwrap();
        let mut frames = vec![[0; 3]; 16_000];
        let magnitude = ladder.rail_counts() - i32::from(below);
        frames[at][channel] = if negative { -magnitude - 1 } else { magnitude };
        let mut state = tone.start();
        let mut start = 0;
        let half = u64::from(tone.settling_samples() / 2);
        for frames in frames.chunks(block) {
            let mut wrong = None;
            tone.push(&mut state, &ladder, &Block { frames, start, rung: 0 }, |p| {
                let covered = (p.centre - half..p.centre + half).contains(&(at as u64));
                if p.marks.clipped != (covered && !below) {
                    wrong = Some(p.centre);
                }
            });
            prop_assert_eq!(wrong, None);
            start += frames.len() as u64;
        }
    }

    #[test]
    fn the_answer_does_not_depend_on_how_the_stream_is_cut(
        seed: u64,
        cuts in prop::collection::vec(1_usize..700, 60),
    ) {
        let mut noise = Noise(seed);
        let samples = sampled(8000.0, 1.5, |t| 0.2 * (TAU * 511.0 * t).cos() + 0.1 * noise.gaussian());
        let tone = Tone::new(512.0, 8000.0).unwrap();
        let whole = phasors(&tone, &samples, samples.len());
        let ladder = ladder();
        let mut state = tone.start();
        let mut pieces = Vec::new();
        let mut rest = &samples[..];
        let mut start = 0;
        for cut in cuts.into_iter().chain([usize::MAX]) {
            let (frames, later) = rest.split_at(cut.min(rest.len()));
            tone.push(&mut state, &ladder, &Block { frames, start, rung: 0 }, |p| pieces.push(*p));
            start += frames.len() as u64;
            rest = later;
        }
        prop_assert!(!whole.is_empty());
        prop_assert_eq!(whole, pieces);
    }
}
