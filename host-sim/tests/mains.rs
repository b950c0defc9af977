//! Mains and the frequency plan from the outside: WAV files as anyone's recorder makes them, and what the command says.

use std::f64::consts::TAU;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use hound::{SampleFormat, WavSpec, WavWriter};
use nullwalk::capture::Capture;
use nullwalk::mains::{self, MainsError};
use tempfile::TempDir;

/// A 16-bit WAV of so many seconds, full scale 1, with a little noise of rounding dithered by one count.
fn wav(
    folder: &TempDir,
    name: &str,
    rate_hz: u32,
    seconds: f64,
    channels: &[&dyn Fn(f64) -> f64],
) -> PathBuf {
    let path = folder.path().join(name);
    let spec = WavSpec {
        channels: channels.len() as u16,
        sample_rate: rate_hz,
        bits_per_sample: 16,
        sample_format: SampleFormat::Int,
    };
    let mut writer = WavWriter::create(&path, spec).unwrap();
    let mut seed = 1_u64;
    for n in 0..(seconds * f64::from(rate_hz)) as u32 {
        let t = f64::from(n) / f64::from(rate_hz);
        for signal in channels {
            // SplitMix64's multiplier as a congruential generator; the upper bits are even enough for a dither.
            seed = seed.wrapping_mul(0x5851_f42d_4c95_7f2d).wrapping_add(1);
            let dither = (seed >> 33) as f64 / (1_u64 << 31) as f64 - 0.5;
            writer.write_sample((32_000.0 * signal(t) + 2.0 * dither).round() as i16).unwrap();
        }
    }
    writer.finalize().unwrap();
    path
}

/// The voltage of an outlet as a recorder hears it: flat-topped, on a grid that wanders up and down by 30 mHz.
fn outlet(t: f64) -> f64 {
    let phase = TAU * 50.0 * t + TAU * 0.03 * (10.0 / TAU) * (1.0 - (TAU * t / 10.0).cos());
    0.5 * phase.cos() - 0.02 * (3.0 * phase).cos() + 0.01 * (5.0 * phase + 0.3).cos()
}

/// Its frequency: the phase's derivative.
fn outlet_hz(t: f64) -> f64 {
    50.0 + 0.03 * (TAU * t / 10.0).sin()
}

#[test]
fn a_plain_wav_of_mains_is_followed() {
    let folder = TempDir::new().unwrap();
    for rate_hz in [8000, 44_100, 48_000] {
        let path = wav(&folder, "outlet.wav", rate_hz, 20.0, &[&outlet]);
        let (report, _) = mains::look(&Capture::open(&path).unwrap()).unwrap();
        assert_eq!((report.grid_hz, report.strongest), (Some(50.0), Some(1)));
        assert!(report.known_share > 0.95 && !report.clipped);
        // A parabola over two seconds takes off a sine of 10 s the share that its transform takes off: 3 %.
        let worst =
            report.track.iter().skip(20).map(|p| (p.hz - outlet_hz(p.time_s)).abs()).fold(0.0, f64::max);
        assert!(worst < 0.002, "{rate_hz}: {worst}");
        let level =
            |order: usize| report.harmonics[order - 1].amplitude_v[0] / report.harmonics[0].amplitude_v[0];
        assert!((level(3) - 0.04).abs() < 4e-4 && (level(5) - 0.02).abs() < 4e-4, "{:?}", report.harmonics);
        assert!(report.harmonics[1].heard_share < 0.05);
        let svg = mains::frequency_svg(&report).unwrap();
        assert!(
            roxmltree::Document::parse(&svg).unwrap().descendants().any(|n| n.has_tag_name("polyline"))
        );
    }
}

#[test]
fn silence_is_told_as_no_proof() {
    let folder = TempDir::new().unwrap();
    let path = wav(&folder, "quiet.wav", 8000, 6.0, &[&|_| 0.0]);
    let (report, _) = mains::look(&Capture::open(&path).unwrap()).unwrap();
    assert_eq!((report.grid_hz, report.strongest), (None, None));
    let told = report.to_string();
    assert!(told.contains("Nothing detected is not proof") && told.contains("large load"), "{told}");
    assert!(mains::frequency_svg(&report).is_none());
}

/// Two cables by three coils: the first hums all the time, the second when its load is on.
fn coils(load_a: f64, turn: f64) -> [impl Fn(f64) -> f64; 3] {
    [(0.3, 0.1), (0.2, -0.3), (-0.1, 0.2)].map(|(first, second)| {
        move |t: f64| {
            let phase = TAU * 59.97 * t + turn;
            first * phase.cos() + 0.1 * first * (3.0 * phase).cos() + load_a * second * (phase + 0.8).cos()
        }
    })
}

#[test]
fn a_load_that_is_switched_on_is_told_from_one_that_is_not() {
    let folder = TempDir::new().unwrap();
    let record = |name, load_a, turn| {
        let [a, b, c] = coils(load_a, turn);
        Capture::open(&wav(&folder, name, 8000, 6.0, &[&a, &b, &c])).unwrap()
    };
    let (off, still_off, on) =
        (record("off.wav", 0.0, 0.0), record("again.wav", 0.0, 2.0), record("on.wav", 0.05, 4.0));
    let test = mains::load_test(&off, &still_off).unwrap();
    assert_eq!(test.changed, None, "{test}");
    assert!(test.to_string().contains("does not prove"));
    let test = mains::load_test(&off, &on).unwrap();
    assert_eq!(test.changed, Some(1));
    // The change is the second cable's pattern: 0.1, -0.3, 0.2.
    let size = |n: usize| f64::from(test.changes[0].change_v[n][0].hypot(test.changes[0].change_v[n][1]));
    assert!(
        (size(1) / size(0) / 3.0 - 1.0).abs() < 0.15 && (size(2) / size(0) / 2.0 - 1.0).abs() < 0.15,
        "{test}"
    );
}

#[test]
fn recordings_that_cannot_be_compared_are_named_with_the_remedy() {
    let folder = TempDir::new().unwrap();
    let open = |path: &Path| Capture::open(path).unwrap();
    let one = open(&wav(&folder, "one.wav", 8000, 6.0, &[&outlet]));
    let two = open(&wav(&folder, "two.wav", 8000, 6.0, &[&outlet, &outlet]));
    let short = open(&wav(&folder, "short.wav", 8000, 1.5, &[&outlet]));
    let fast = open(&wav(&folder, "fast.wav", 96_000, 1.0, &[&outlet]));
    assert!(matches!(mains::load_test(&one, &two), Err(MainsError::Channels { found: 2, wanted: 1, .. })));
    assert!(
        matches!(mains::load_test(&one, &short), Err(MainsError::TooShort { path }) if path.ends_with("short.wav"))
    );
    let told = mains::look(&fast).unwrap_err().to_string();
    assert!(
        told.contains("fast.wav") && told.contains("must be 4000 to 48000") && told.contains("convert"),
        "{told}"
    );
}

fn nullwalk(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_nullwalk")).args(arguments).output().unwrap()
}

#[test]
fn the_frequency_plan_is_told_and_refused_with_numbers() {
    let output = nullwalk(&["tones", "--grid", "60"]);
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(output.status.success());
    assert!(text.contains("1020 Hz, harmonic 17 of 60 Hz, stands 4.0 Hz from the tone"), "{text}");
    assert!(text.contains("folds to 192 Hz"), "{text}");

    let output = nullwalk(&["tones", "--json", "--tone", "512"]);
    let json: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(json["tones"][0]["usable"]["neighbours"][0]["hz"], 500.0);

    for (arguments, told) in [
        (&["tones", "--front", "undersampled"][..], "--band"),
        (&["tones", "--front", "mixed", "--band", "8000", "9000"], "--oscillator"),
        (&["tones", "--oscillator", "9000"], "--oscillator"),
        (&["tones", "--tone", "8192", "--rate", "16384"], "no tone can be used"),
    ] {
        let output = nullwalk(arguments);
        let error = String::from_utf8(output.stderr).unwrap();
        assert!(output.status.code() == Some(1) && error.contains(told), "{error}");
    }
}

#[test]
fn the_lowest_tone_comes_from_the_noise_of_a_capture() {
    let empty = Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/reference/captures/empty");
    let lowest = |signal_nt: &str| {
        let empty = empty.to_str().unwrap();
        let tones = ["--tone", "512", "--tone", "640", "--rate", "4000", "--grid", "50", "--json"];
        let output = nullwalk(&[&["tones", "--noise", empty, "--signal", signal_nt][..], &tones].concat());
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        serde_json::from_slice::<serde_json::Value>(&output.stdout).unwrap()["noise"].clone()
    };
    let noise = lowest("1000");
    assert_eq!(noise["lowest_hz"], 512.0, "{noise}");
    let noise = lowest("0.000001");
    assert!(noise["lowest_hz"].is_null() && noise["best_hz"].is_number(), "{noise}");
    // What the louder of the two needs for 20 dB, the quieter one has and more: then that is the answer, and the lower one
    // else.
    let snr_db = |n: usize| noise["tones"][n]["snr_db"].as_f64().unwrap();
    let signal_nt = |short_db: f64| (1e-6 * 10_f64.powf(short_db / 20.0)).to_string();
    let between = lowest(&signal_nt(20.0 - 0.5 * (snr_db(0) + snr_db(1))));
    let expected = if snr_db(0) > snr_db(1) { 512.0 } else { 640.0 };
    assert_eq!(between["lowest_hz"], expected, "{between}");
}
