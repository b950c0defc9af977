//! Long lines, pairs, grounded wires, ends, elbows and tees against general-purpose libraries. `reference/make_wires.py`
//! says what was computed.

use nullwalk_core::field::{grounded, long_line, long_line_phasor, long_pair, segment};
use nullwalk_tests::reference_data::rows as table;
use num_complex::Complex;

fn magnitude(b: [f64; 3]) -> f64 {
    b.iter().map(|x| x * x).sum::<f64>().sqrt()
}

/// Length of the difference over the length of the reference.
fn relative_error(b: [f64; 3], reference: [f64; 3]) -> f64 {
    magnitude([0, 1, 2].map(|k| b[k] - reference[k])) / magnitude(reference)
}

/// Kind, current, direction, separation, point, field by magpylib 6.3.0 and by geoana 0.8.1.
type WireRow = (String, f64, [f64; 3], [f64; 3], [f64; 3], [f64; 3], [f64; 3]);

#[test]
fn long_lines_and_pairs_agree_with_magpylib_and_geoana() {
    let rows: Vec<WireRow> = table("wires.csv");
    assert!(rows.len() >= 160);
    let (mut worst_f64, mut worst_f32) = (0.0_f64, 0.0_f64);
    for (kind, current, along, apart, point, magpylib, geoana) in rows {
        let single = |v: [f64; 3]| v.map(|x| x as f32);
        let (double, single) = match kind.as_str() {
            "line" => {
                (long_line(current, along, point), long_line(current as f32, single(along), single(point)))
            }
            "pair" => (
                long_pair(current, along, apart, point),
                long_pair(current as f32, single(along), single(apart), single(point)),
            ),
            other => panic!("{other}?"),
        };
        for reference in [magpylib, geoana] {
            worst_f64 = worst_f64.max(relative_error(double, reference));
            worst_f32 = worst_f32.max(relative_error(single.map(f64::from), reference));
        }
        // A phase turns the field as a whole.
        let turned = long_line_phasor(Complex::from_polar(current.abs(), 0.7), along, point);
        let plain = long_line(current.abs(), along, point);
        for (z, b) in turned.into_iter().zip(plain) {
            assert!((z - Complex::from_polar(1.0, 0.7) * b).norm() <= 1e-12 * magnitude(plain));
        }
    }
    println!("worst relative error: f64 {worst_f64:.2e}, f32 {worst_f32:.2e}");
    // What is left of it in 64 bits is the libraries' own: they subtract the wires of a pair.
    assert!(worst_f64 < 1e-6, "f64: {worst_f64:e}");
    assert!(worst_f32 < 3e-5, "f32: {worst_f32:e}");
}

/// Ground, current, the point as seen from the wire's start and from its end, field by empymod 2.6.1.
type GroundedRow = (String, f64, [f64; 3], [f64; 3], [f64; 3]);

#[test]
fn a_grounded_wire_agrees_with_a_solver_of_layered_ground() {
    let rows: Vec<GroundedRow> = table("grounded.csv");
    let (mut worst, mut plain) = (0.0_f64, 0.0_f64);
    for (ground, current, from_start, from_end, reference) in &rows {
        let error = relative_error(grounded(*current, *from_start, *from_end), *reference);
        println!("{ground}: {:.3} %", 100.0 * error);
        worst = worst.max(error);
        plain = plain.max(relative_error(segment(*current, *from_start, *from_end), *reference));
    }
    println!("worst relative error: {worst:.2e}; without the current in the ground {plain:.2e}");
    assert!(rows.len() >= 20 && worst < 3e-3 && plain > 0.3);
}

/// Corners of the wires about a point straight above, each with its current.
fn wires(kind: &str, x: f64) -> Vec<(f64, Vec<[f64; 3]>)> {
    const FAR_M: f64 = 2e5;
    let (back, at) = ([-FAR_M, 0.0, -0.8], [x, 0.0, -0.8]);
    match kind {
        "end" => vec![(1.0, vec![back, at])],
        "elbow" => vec![(1.0, vec![back, at, [x, FAR_M, -0.8]])],
        "tee ahead" | "tee behind" => {
            let at = if kind == "tee ahead" { at } else { [-x, 0.0, -0.8] };
            let [branch, on] = [[at[0], FAR_M, -0.8], [FAR_M, 0.0, -0.8]];
            vec![(1.0, vec![back, at]), (0.7, vec![at, on]), (0.3, vec![at, branch])]
        }
        other => panic!("{other}?"),
    }
}

#[test]
fn ends_elbows_and_tees_do_to_a_depth_what_the_libraries_say() {
    let rows: Vec<(String, f64, f64, f64)> = table("wire_depths.csv");
    assert!(rows.len() >= 16);
    let found = |kind: &str, x: f64| {
        let at = |up: f64| {
            let mut sum = [0.0; 3];
            for (current, corners) in wires(kind, x) {
                for ends in corners.windows(2) {
                    let [r1, r2] = [ends[0], ends[1]].map(|c| [-c[0], -c[1], up - c[2]]);
                    let b = segment(current, r1, r2);
                    sum = [0, 1, 2].map(|k| sum[k] + b[k]);
                }
            }
            sum
        };
        let (low, high) = (at(0.0), at(0.4));
        let depth = |ratio: f64| 0.4 / (ratio - 1.0) / 0.8 - 1.0;
        [depth(magnitude(low) / magnitude(high)), depth(low[1] / high[1])]
    };
    for (kind, distance, total, across) in rows {
        let [own_total, own_across] = found(&kind, distance);
        println!(
            "{kind} at {distance} m: {:+.1} %, across {:+.1} %",
            100.0 * own_total,
            100.0 * own_across
        );
        assert!(
            (own_total - total).abs() < 1e-4 && (own_across - across).abs() < 1e-4,
            "{kind} {distance}"
        );
    }
}
