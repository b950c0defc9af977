//! The sigmas that the fit of a walk states against Cramer-Rao bounds, and the bounds in the book against the same
//! table. `reference/make_bounds.py` says what was computed.

use std::fs;
use std::path::Path;

use glam::Vec3;
use nullwalk_core::field;
use nullwalk_core::fit::{Dipole, Look, Ring, Shared, TRAVERSE_UNKNOWNS, traverse};
use nullwalk_tests::reference_data;

/// Walk, depth, sigma of the poses, bound on the depth with gains known, bounds on the fit's unknowns.
type Row = (String, f64, f32, f64, [Option<f64>; TRAVERSE_UNKNOWNS]);

fn rows() -> Vec<Row> {
    reference_data::rows("walk_bounds.csv")
}

/// 5 pT per root hertz, ten readings a second.
const SIGMA_NT: f32 = 5e-3 * 3.162_277_7;
const SPACING_M: f64 = 0.4;

/// A walk without noise, straight over a sonde of 0.2 A m2, every look kept.
fn walked(aside_m: &[f64], depth_m: f64, pose_sigma_m: f32) -> Ring<384> {
    let seen = |x: f64, y: f64| {
        let fields_nt = [depth_m, depth_m + SPACING_M]
            .map(|z| Vec3::from_array(field::dipole([0.2, 0.0, 0.0], [x, y, z]).map(|b| (b * 1e9) as f32)));
        Look {
            at_m: Vec3::new(x as f32, y as f32, 0.0),
            upper_m: Vec3::Z * SPACING_M as f32,
            fields_nt,
            sigma_nt: [SIGMA_NT; 2],
            pose_sigma_m: Vec3::splat(pose_sigma_m),
            spread_m: Vec3::ZERO,
        }
    };
    let lane = |&y: &f64| (0..120).map(move |n| seen(0.05 * f64::from(n) - 2.975, y));
    let mut walk = Ring::default();
    aside_m.iter().flat_map(lane).for_each(|look| walk.push(look));
    walk
}

#[test]
fn the_fit_states_the_sigmas_that_the_information_in_the_walk_allows() {
    let mut checked = 0;
    for (walk, depth_m, pose_sigma_m, _, bounds) in rows() {
        let aside_m: &[f64] = match walk.as_str() {
            "three lanes" => &[-0.5, 0.0, 0.5],
            "one lane" => &[0.0],
            _ => continue,
        };
        let at_m = Vec3::new(0.02, -0.03, -0.98 * depth_m as f32);
        let start = Dipole { at_m, moment: Vec3::new(0.19, 0.01, -0.01) };
        let found = traverse(
            &walked(aside_m, depth_m, pose_sigma_m),
            start,
            &Shared { node_ratio: 0.003, ..Shared::default() },
        )
        .unwrap();
        let off = bounds.iter().enumerate().map(|(unknown, bound)| {
            (f64::from(found.sigma(unknown)) / bound.expect("a bound on every unknown") - 1.0).abs()
        });
        let worst = off.fold(0.0, f64::max);
        println!(
            "{walk}, {depth_m} m, poses {pose_sigma_m} m: depth sigma {:.4} mm, sigmas within {:.3} %",
            1e3 * found.sigma(2),
            100.0 * worst
        );
        assert!(worst < 0.01);
        checked += 1;
    }
    assert!(checked >= 20);
}

/// A length as the book writes it.
fn metres(cell: &str) -> Option<f64> {
    let (value, unit) = cell.trim().split_once(' ')?;
    let scale = match unit {
        "mm" => 1e-3,
        "m" => 1.0,
        _ => return None,
    };
    value.parse::<f64>().ok().map(|value| value * scale)
}

#[test]
fn the_bounds_in_the_book_are_those_of_the_table() {
    let chapter = Path::new(env!("CARGO_MANIFEST_DIR")).join("../docs/src/theory/noise.md");
    let text = fs::read_to_string(chapter).unwrap();
    let table =
        text.lines().skip_while(|line| !line.contains("one overhead reading | one 6 m lane")).skip(2);
    let rows = rows();
    let bound_m = |walk: &str, depth_m: f64| {
        let found = rows.iter().find(|(w, d, pose, ..)| w == walk && *d == depth_m && *pose == 0.0);
        found.map(|(_, _, _, bound_m, _)| *bound_m)
    };
    let mut checked = 0;
    for line in table.take_while(|line| line.starts_with('|')) {
        let mut cells = line.trim_matches('|').split('|');
        let depth_m = cells.next().and_then(metres).expect("a depth in metres");
        for (walk, cell) in ["one reading", "one lane", "three lanes"].into_iter().zip(cells) {
            let Some(stated_m) = metres(cell) else {
                assert_eq!((cell.trim(), bound_m(walk, depth_m)), ("none", None));
                continue;
            };
            let bound_m = bound_m(walk, depth_m).expect("a bound behind every figure");
            // Two digits or more are written.
            assert!((stated_m / bound_m - 1.0).abs() < 0.02, "{walk} at {depth_m} m: {cell}, {bound_m} m");
            checked += 1;
        }
    }
    assert!(checked >= 13, "only {checked} figures were found in the book");
}
