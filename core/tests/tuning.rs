//! The frequency plan against tones that are sampled, and against the detector it plans for.

use std::f64::consts::TAU;

use nullwalk_core::grid::Grid;
use nullwalk_core::tone::Tone;
use nullwalk_core::tuning::{
    Candidate, Filter, FrontEnd, IMAGE_LOSS_DB, PRESETS_HZ, REACH_HZ, Unworkable, folded, lowest_workable,
    plan,
};
use proptest::prelude::*;

const SINC3: FrontEnd = FrontEnd::Direct { guard: Filter::Sinc { order: 3 } };

/// The frequency of the strongest bin of a discrete Fourier transform, written down as its definition.
fn strongest_bin_hz(samples: &[f64], rate_hz: f64) -> f64 {
    let length = samples.len();
    let power = |bin: usize| {
        let step = TAU * bin as f64 / length as f64;
        let (re, im) = samples.iter().enumerate().fold((0.0, 0.0), |(re, im), (n, x)| {
            let (s, c) = (step * n as f64).sin_cos();
            (re + x * c, im - x * s)
        });
        re * re + im * im
    };
    let bin = (0..=length / 2).max_by(|&a, &b| power(a).total_cmp(&power(b))).unwrap();
    bin as f64 * rate_hz / length as f64
}

const LENGTH: usize = 512;

/// A cosine as the converter sees it, mixed with an oscillator before if there is one.
fn sampled(hz: f64, rate_hz: f64, oscillator_hz: Option<f64>) -> Vec<f64> {
    // The mixer's difference frequency alone: the guard takes the sum off.
    let seen_hz = oscillator_hz.map_or(hz, |oscillator_hz| hz - oscillator_hz);
    (0..LENGTH).map(|n| (TAU * seen_hz * n as f64 / rate_hz + 0.4).cos()).collect()
}

fn narrow(tone_hz: f32) -> Filter {
    Filter::BandPass { low_hz: tone_hz - 200.0, high_hz: tone_hz + 200.0, order: 3 }
}

#[test]
fn known_plans_come_out_as_known() {
    // 16384 Hz puts 8192 Hz exactly at Nyquist, 8000 Hz folds it to 192 Hz.
    let at_nyquist = plan(8192.0, 16_384.0, &SINC3, &[]);
    assert_eq!(at_nyquist, Err(Unworkable::NearNyquist { lands_hz: 8192.0 }));
    assert_eq!(plan(8192.0, 8000.0, &SINC3, &[]), Err(Unworkable::Folds { lands_hz: 192.0 }));

    // 500 and 540 beside 512; 650 and 660 beside 640 (600 is further); 8200 beside 8192; 32750 and 32760 beside 32768.
    let guard = Filter::LowPass { corner_hz: 20_000.0, order: 12 };
    let direct = FrontEnd::Direct { guard };
    let beside = |tone_hz| plan(tone_hz, 48_000.0, &direct, &[]).unwrap().neighbours;
    assert_eq!(beside(512.0).map(|n| (n.hz, n.off_hz)), [(500.0, -12.0), (540.0, 28.0)]);
    assert_eq!(beside(640.0).map(|n| n.hz), [650.0, 660.0]);
    assert_eq!(beside(8192.0).map(|n| (n.hz, n.order)), [(8200.0, 164), (8220.0, 137)]);
    let band = Filter::BandPass { low_hz: 31_000.0, high_hz: 35_000.0, order: 3 };
    let tuning = plan(32_768.0, 48_000.0, &FrontEnd::Undersampled { band }, &Grid::BOTH).unwrap();
    assert_eq!(tuning.neighbours.map(|n| n.hz), [32_750.0, 32_760.0]);
    // The 50 Hz grid has to stray by (12 - 8)/500 to reach 512 Hz.
    assert!((beside(512.0)[0].strays - 0.008).abs() < 1e-6);
    // From 504 Hz on, which is 50.4 of 50.5 Hz: a tenth of the range.
    assert!((beside(512.0)[0].share - 0.1).abs() < 0.011 && beside(512.0)[1].share == 0.0);
}

#[test]
fn an_unusable_plan_is_refused_with_its_reason() {
    let refused =
        |tone_hz, rate_hz, front: FrontEnd| plan(tone_hz, rate_hz, &front, &Grid::BOTH).unwrap_err();
    let undersampled = |band| FrontEnd::Undersampled { band };
    assert!(
        matches!(refused(1024.0, 8000.0, SINC3), Unworkable::Harmonic(n) if n.grid == Grid::Sixty && n.order == 17)
    );
    assert!(
        matches!(refused(512.0, 2000.0, SINC3), Unworkable::Parameter(e) if e.parameter == "signal.sample_rate_hz")
    );
    assert!(
        matches!(refused(f32::NAN, 8000.0, SINC3), Unworkable::Parameter(e) if e.parameter == "signal.tone_hz")
    );
    assert!(matches!(
        refused(32_030.0, 32_000.0, undersampled(narrow(32_030.0))),
        Unworkable::NearZero { .. }
    ));
    assert!(
        matches!(refused(32_768.0, 48_000.0, undersampled(narrow(33_768.0))), Unworkable::OutsideBand { loss_db } if loss_db > 20.0)
    );
    // Without a filter the mirror image passes whole.
    assert_eq!(
        refused(32_768.0, 48_000.0, undersampled(Filter::None)),
        Unworkable::Image(nullwalk_core::tuning::Image { hz: 15_232.0, loss_db: 0.0 })
    );
    // Too wide a band-pass before a mixer: what is as far on the oscillator's other side.
    let mixed = |low_hz, high_hz, oscillator_hz| FrontEnd::Mixed {
        band: Filter::BandPass { low_hz, high_hz, order: 2 },
        oscillator_hz,
        guard: Filter::LowPass { corner_hz: 3000.0, order: 4 },
    };
    assert!(
        matches!(refused(32_768.0, 8000.0, mixed(30_000.0, 36_000.0, 32_000.0)), Unworkable::Image(i) if (i.hz - 31_232.0).abs() < 0.1)
    );
    assert!(matches!(
        refused(32_768.0, 8000.0, mixed(30_000.0, 36_000.0, 25_000.0)),
        Unworkable::MixedTooHigh { .. }
    ));
    let inverted = Filter::BandPass { low_hz: 9000.0, high_hz: 8000.0, order: 2 };
    assert!(matches!(refused(8192.0, 48_000.0, undersampled(inverted)), Unworkable::Parameter(_)));
}

#[test]
fn each_preset_has_a_front_end_that_hears_it() {
    for tone_hz in PRESETS_HZ {
        let usable = [8000.0, 44_100.0, 48_000.0].into_iter().any(|rate_hz| {
            let undersampled = FrontEnd::Undersampled { band: narrow(tone_hz) };
            [SINC3, undersampled].iter().any(|front| plan(tone_hz, rate_hz, front, &[Grid::Fifty]).is_ok())
        });
        assert!(usable, "{tone_hz}");
    }
}

#[test]
fn the_lowest_workable_tone_is_not_misled_by_what_was_not_measured() {
    let candidate = |tone_hz, signal, sigma| Candidate { tone_hz, signal, sigma };
    let odd = [candidate(512.0, 1.0, 0.0), candidate(640.0, f32::NAN, 1.0), candidate(8192.0, 1.0, 0.01)];
    assert_eq!(lowest_workable(&odd, 20.0).unwrap().tone_hz, 8192.0);
    assert_eq!(lowest_workable(&odd[..2], 20.0), Err(None));
    // A ratio of 10 between amplitude and sigma is 17 dB: 10^2 / 2.
    assert!((candidate(512.0, 10.0, 1.0).snr_db() - 16.99).abs() < 0.01);
}

fn any_tone_and_rate() -> impl Strategy<Value = (f32, f32)> {
    (50.0_f32..90_000.0, 4000.0_f32..48_000.0)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    /// A sampled cosine shows in the bin that was foretold, and one a little higher moves to the side foretold.
    #[test]
    fn a_tone_lands_where_the_plan_says((tone_hz, rate_hz) in any_tone_and_rate(), oscillator_hz in 50.0_f32..90_000.0) {
        let bin_hz = f64::from(rate_hz) / LENGTH as f64;
        let (lands_hz, mirrored) = folded(tone_hz, rate_hz);
        let edge = f64::from(lands_hz.min(0.5 * rate_hz - lands_hz));
        prop_assume!(edge > 8.0 * bin_hz);
        let seen = |hz| strongest_bin_hz(&sampled(hz, f64::from(rate_hz), None), f64::from(rate_hz));
        let found_hz = seen(f64::from(tone_hz));
        prop_assert!((found_hz - f64::from(lands_hz)).abs() <= 0.55 * bin_hz, "{found_hz} {lands_hz}");
        let moved = seen(f64::from(tone_hz) + 3.0 * bin_hz) - found_hz;
        prop_assert!((moved < 0.0) == mirrored);
        // The same behind a mixer, whatever else is wrong with such a plan.
        let wide = FrontEnd::Mixed { band: Filter::None, oscillator_hz, guard: Filter::None };
        let (lands_hz, _) = folded((tone_hz - oscillator_hz).abs(), rate_hz);
        let found_hz = strongest_bin_hz(
            &sampled(f64::from(tone_hz), f64::from(rate_hz), Some(f64::from(oscillator_hz))),
            f64::from(rate_hz),
        );
        prop_assert!((found_hz - f64::from(lands_hz)).abs() <= 0.55 * bin_hz, "{found_hz} {lands_hz}");
        prop_assert!(plan(tone_hz, rate_hz, &wide, &[]).is_err());
    }

    /// What is named as an image does land on the tone, and a frequency in between does not.
    #[test]
    fn an_image_lands_on_the_tone((tone_hz, rate_hz) in any_tone_and_rate()) {
        let front = FrontEnd::Undersampled { band: narrow(tone_hz.max(300.0)) };
        if let Ok(tuning) = plan(tone_hz, rate_hz, &front, &[]) {
            let (lands_hz, _) = folded(tuning.image.hz, rate_hz);
            prop_assert!((lands_hz - tuning.lands_hz).abs() < 0.5, "{tuning:?}");
            prop_assert!((folded(tuning.image.hz + 100.0, rate_hz).0 - tuning.lands_hz).abs() > 50.0 || tuning.lands_hz < 100.0 || tuning.lands_hz > 0.5 * rate_hz - 100.0);
            prop_assert!(tuning.image.loss_db >= IMAGE_LOSS_DB && tuning.folded_noise_db >= 0.0);
        }
    }

    /// No harmonic that the plan calls clear comes through the detector it plans for, grid exact or strayed by less than the
    /// plan says, but for what the detector's own boxcars fold: that is the same for every plan.
    #[test]
    fn what_is_clear_is_clear_in_the_detector(
        tone_hz in 200.0_f32..3900.0,
        rate_hz in 8000.0_f32..16_000.0,
        strays in -1.0_f32..1.0,
    ) {
        let Ok(tuning) = plan(tone_hz, rate_hz, &SINC3, &Grid::BOTH) else { return Ok(()) };
        let tone = Tone::new(tuning.lands_hz, rate_hz).unwrap();
        let response = tone.response();
        let boxcars_hz = rate_hz / tone.boxcar_samples() as f32;
        let boxcars_fold = (-100..=100_i16).map(|n| response.gain(boxcars_hz + 0.1 * f32::from(n)));
        let worst = boxcars_fold.fold(response.gain(REACH_HZ), f32::max);
        prop_assert!(worst < 0.013);
        for n in tuning.neighbours {
            let grid_hz = n.grid.nominal_hz() * (1.0 + 0.01 * strays);
            if (0.01 * strays).abs() >= n.strays {
                continue;
            }
            for order in 1..=60_u16 {
                let hz = f32::from(order) * grid_hz;
                let taken_off = Filter::Sinc { order: 3 }.loss_db(hz, rate_hz) - tuning.loss_db;
                let (lands_hz, _) = folded(hz, rate_hz);
                let gain = [lands_hz - tuning.lands_hz, -lands_hz - tuning.lands_hz].map(|off_hz| response.gain(off_hz));
                let through_db = 20.0 * gain[0].max(gain[1]).log10() - taken_off;
                prop_assert!(through_db < 20.0 * worst.log10() + 0.1, "{order} of {grid_hz}: {through_db} dB, {tuning:?}");
            }
        }
    }
}

#[test]
fn reach_is_where_the_window_takes_forty_decibels_off() {
    let tone = Tone::new(512.0, 8000.0).unwrap();
    let taken_off_db = -20.0 * tone.response().gain(REACH_HZ).log10();
    assert!((40.0..43.0).contains(&taken_off_db), "{taken_off_db}");
}
