//! The tone path's published response against scipy.signal. `reference/make_window.py` says what was computed.

use nullwalk_core::tone::Tone;
use nullwalk_tests::reference_data;

/// Series, abscissa (none for single figures), value.
type Row = (String, Option<f64>, f64);

fn series<'a>(rows: &'a [Row], name: &'a str) -> impl Iterator<Item = (f64, f64)> + 'a {
    rows.iter().filter(move |row| row.0 == name).map(|row| (row.1.unwrap_or(0.0), row.2))
}

#[test]
fn response_agrees_with_scipy() {
    let rows: Vec<Row> = reference_data::rows("window.csv");

    let tone = Tone::new(512.0, 8000.0).expect("512 Hz at 8 kHz is a valid tone");
    let response = tone.response();

    let (_, enbw_hz) = series(&rows, "enbw_hz").next().expect("enbw_hz is in the table");
    let own_hz = f64::from(response.noise_bandwidth_hz());
    assert!((own_hz / enbw_hz - 1.0).abs() < 1e-5, "noise bandwidth {own_hz} against {enbw_hz}");

    // The core works in f32: sums of 120 weights keep about six digits of full gain, which is -120 dB.
    let mut worst = (0.0_f64, 0.0_f64);
    for (offset_hz, gain) in series(&rows, "response") {
        for offset in [offset_hz, -offset_hz] {
            let off = (f64::from(response.gain(offset as f32)) - gain.abs()).abs();
            worst.0 = worst.0.max(off);
        }
    }
    // Half a boxcar late, so that rounding cannot decide how many boxcars have passed.
    for (boxcars, output) in series(&rows, "step") {
        let after_s = (boxcars + 0.5) * f64::from(tone.boxcar_samples()) / 8000.0;
        let off = (f64::from(response.step(after_s as f32)) - output).abs();
        worst.1 = worst.1.max(off);
    }
    println!("worst error: gain {:.1e}, step {:.1e}", worst.0, worst.1);
    assert!(series(&rows, "response").count() > 200 && series(&rows, "step").count() == 120);
    assert!(worst.0 < 2e-6, "gain off by {:e}", worst.0);
    assert!(worst.1 < 2e-6, "step off by {:e}", worst.1);
}
