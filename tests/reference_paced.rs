//! Lanes at an even pace against landmarks found by root finding. `reference/make_paced.py` says how.

use std::path::Path;

use nullwalk_core::depth::Measured;
use nullwalk_core::paced::{Known, Misfit, Passed, Pattern, Walking, pattern};
use serde::Deserialize;
use serde::de::DeserializeOwned;

#[derive(Deserialize)]
struct Lane {
    pitch_deg: f64,
    depth_m: f64,
    pace_m_per_s: f64,
    overhead_s: f64,
    null_before_s: f64,
    null_after_s: f64,
    peak_s: f64,
    side_before_s: f64,
    side_after_s: f64,
    vertical_null_s: f64,
    vertical_before_s: f64,
    vertical_after_s: f64,
}

#[derive(Deserialize)]
struct Limit {
    freedom: u8,
    upper_1_percent: f32,
}

fn rows<T: DeserializeOwned>(name: &str) -> Vec<T> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("reference/data").join(name);
    let mut reader = csv::Reader::from_path(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    reader.deserialize().collect::<Result<_, _>>().unwrap()
}

/// An instant known to a hundredth of a per cent of the time for a depth.
fn at(lane: &Lane, time_s: f64) -> Measured {
    Measured::new(time_s as f32, (1e-4 * lane.depth_m / lane.pace_m_per_s) as f32)
}

impl Lane {
    /// Two marks 1.3 depths before the source and 2.1 behind it.
    fn marks(&self) -> [Measured; 2] {
        [-1.3, 2.1].map(|depths| at(self, self.overhead_s + depths * self.depth_m / self.pace_m_per_s))
    }

    fn everything(&self) -> Passed {
        let some = |time_s| Some(at(self, time_s));
        Passed {
            nulls: [some(self.null_before_s), some(self.null_after_s)],
            peak: some(self.peak_s),
            side_peaks: [some(self.side_before_s), some(self.side_after_s)],
            vertical_null: some(self.vertical_null_s),
            vertical_extrema: [some(self.vertical_before_s), some(self.vertical_after_s)],
            marks: Some(self.marks()),
        }
    }
}

/// What a lane gives back of what it was made from: relative depth by both lengths, time overhead in depths, pitch,
/// share of the way between the marks. Each off by so much.
fn off(lane: &Lane, pattern: &Pattern) -> [f64; 5] {
    let pace = Known::Pace(Measured::new(lane.pace_m_per_s as f32, 0.0));
    let apart = Known::BetweenMarks(Measured::new((3.4 * lane.depth_m) as f32, 0.0));
    let depth = |known| {
        let depth = pattern.depth(known, Measured::default()).expect("a depth");
        f64::from(depth.depth_m) / lane.depth_m - 1.0
    };
    let depth_s = lane.depth_m / lane.pace_m_per_s;
    [
        depth(pace),
        depth(apart),
        (f64::from(pattern.overhead_s.value) - lane.overhead_s) / depth_s,
        f64::from(pattern.pitch.value) - lane.pitch_deg.to_radians().tan(),
        f64::from(pattern.between_marks.expect("marks").value) - 1.3 / 3.4,
    ]
}

/// A walk without a step out of time.
fn even() -> Walking {
    Walking { unevenness: 0.0, sway: 0.0, ..Walking::default() }
}

#[test]
fn an_even_lane_gives_depth_pitch_and_overhead_back_up_to_30_degrees() {
    let lanes: Vec<Lane> = rows("paced.csv");
    assert!(lanes.len() >= 50);
    // What each choice of landmarks is good for. The pitch is held by the belief in a level sonde where little else is.
    type Choice = fn(Passed) -> Passed;
    let choices: [(&str, Choice); 5] = [
        ("everything", |all| all),
        ("one forward coil", |all| Passed { vertical_null: None, vertical_extrema: [None; 2], ..all }),
        ("nulls and peak", |all| Passed {
            side_peaks: [None; 2],
            vertical_null: None,
            vertical_extrema: [None; 2],
            ..all
        }),
        ("one vertical coil", |all| Passed { nulls: [None; 2], peak: None, side_peaks: [None; 2], ..all }),
        ("one null missed", |all| Passed { nulls: [all.nulls[0], None], side_peaks: [None; 2], ..all }),
    ];
    for (name, chosen) in choices {
        let mut worst = [0.0_f64; 5];
        for lane in &lanes {
            let passed = chosen(lane.everything());
            let pattern = pattern(&passed, even()).unwrap_or_else(|e| panic!("{name}: {}", e.sentence()));
            assert!(!pattern.misfit.is_some_and(Misfit::is_gross), "{name}: {:?}", pattern.misfit);
            worst
                .iter_mut()
                .zip(off(lane, &pattern))
                .for_each(|(worst, off)| *worst = worst.max(off.abs()));
        }
        println!("{name}: worst {worst:.6?}");
        assert!(worst.iter().all(|off| *off < 3e-4), "{name}: {worst:.6?}");
    }
}

#[test]
fn ratios_of_spacings_are_those_of_the_field() {
    for lane in rows::<Lane>("paced.csv") {
        let pattern = pattern(&lane.everything(), even()).unwrap();
        for (name, shape) in [
            ("vertical over nulls", pattern.vertical_over_nulls),
            ("side peaks over nulls", pattern.sides_over_nulls),
            ("asymmetry", pattern.asymmetry),
        ] {
            let shape = shape.unwrap();
            let off = shape.measured.value - shape.expected;
            assert!(off.abs() < 1e-3, "{name} at {} degrees: {shape:?}", lane.pitch_deg);
            assert!(shape.off_sigmas().abs() < 4.0, "{name} at {} degrees: {shape:?}", lane.pitch_deg);
        }
        if lane.pitch_deg == 0.0 {
            // Algebra: extrema half a depth off, nulls 1/sqrt 2, side peaks sqrt(3/2).
            let ratio = |shape: Option<nullwalk_core::paced::Shape>| shape.unwrap().measured.value;
            assert!((ratio(pattern.vertical_over_nulls) - core::f32::consts::FRAC_1_SQRT_2).abs() < 1e-4);
            assert!((ratio(pattern.sides_over_nulls) - 1.732_051).abs() < 1e-4);
            assert!(ratio(pattern.asymmetry).abs() < 1e-4);
        }
    }
}

#[test]
fn a_misfit_is_gross_beyond_the_upper_one_per_cent_of_chi_square() {
    let limits: Vec<Limit> = rows("misfit_limits.csv");
    assert_eq!(limits.len(), 5);
    for Limit { freedom, upper_1_percent } in limits {
        let misfit = |share: f32| Misfit { chi_square: share * upper_1_percent, freedom };
        assert!(misfit(1.001).is_gross() && !misfit(0.999).is_gross(), "{freedom} degrees of freedom");
    }
}
