//! What soil does to a line's ratio depth, put right by the core, against quadrature that was checked with empymod.
//! `reference/make_earth_return.py` says what was computed. Prints its figures.

use glam::Vec3;
use nullwalk_core::depth::soil::{Soil, corrected, lengthening, returned_per_m};
use nullwalk_core::depth::{Depth, Measured, Unusable};
use nullwalk_core::fit::{Shared, line};
use nullwalk_tests::reference_data;
use serde::Deserialize;

/// Conductivity, frequency, height of the lower node, spacing, distance, distance read.
type Row = (f64, f64, f64, f64, f64, f64);

fn factor_of(row: &Row) -> Option<f64> {
    let (conductivity, frequency, _, spacing, _, read) = *row;
    lengthening(read as f32, spacing as f32, frequency as f32, conductivity as f32).map(f64::from)
}

#[test]
fn the_factor_puts_the_distance_right() {
    let rows: Vec<Row> = reference_data::rows("earth_return.csv");
    let (mut worst, mut worst_usual, mut refused, mut gross) = (0.0_f64, 0.0_f64, 0, 0.0_f64);
    for row in &rows {
        let (_, _, height, _, distance, read) = *row;
        let Some(factor) = factor_of(row) else {
            refused += 1;
            assert!(distance / read > 1.5 || row.3 > read, "refused {row:?}");
            continue;
        };
        let off = (factor * read / distance - 1.0).abs();
        gross = gross.max(distance / read);
        worst = worst.max(off);
        if (0.05..0.15).contains(&(height / distance)) {
            worst_usual = worst_usual.max(off);
        }
    }
    println!(
        "{} distances, {refused} refused, factors up to {gross:.2}: off by {:.2} % at most, {:.2} % with the node about \
         a tenth of the way up",
        rows.len(),
        100.0 * worst,
        100.0 * worst_usual
    );
    assert!(rows.len() > 150 && refused < 25 && worst < 0.02 && worst_usual < 0.005);
}

/// The table that goes with the formula: s = 0.4 m, the lower node on the ground; per cent.
#[test]
fn readings_are_short_by_what_the_table_says() {
    let rows: Vec<Row> = reference_data::rows("earth_return.csv");
    let table: [(f64, f64, [f64; 4]); 7] = [
        (0.01, 512.0, [-0.4, -0.7, -1.0, -1.6]),
        (0.01, 8192.0, [-1.7, -2.8, -4.0, -6.1]),
        (0.01, 32768.0, [-3.3, -5.5, -7.6, -11.0]),
        (0.1, 512.0, [-1.4, -2.3, -3.2, -4.9]),
        (0.1, 8192.0, [-5.2, -8.4, -11.0, -17.0]),
        (0.1, 32768.0, [-9.7, -15.0, -20.0, -27.0]),
        (1.0, 8192.0, [-14.0, -22.0, -28.0, -36.0]),
    ];
    for (conductivity, frequency, shares) in table {
        for (distance, share) in [1.0, 2.0, 3.0, 5.0].into_iter().zip(shares) {
            let is = |row: &&Row| {
                (row.0, row.1, row.2, row.3, row.4) == (conductivity, frequency, 0.0, 0.4, distance)
            };
            let row = rows.iter().find(is).expect("a row of the table");
            let short = 100.0 * (row.5 / distance - 1.0);
            println!("{conductivity} S/m, {frequency} Hz, {distance} m: {short:+.2} %, table {share:+} %");
            // The table was made from the sizes of the fields, and the instrument takes what is in phase.
            assert!((short - share).abs() < 0.05 * share.abs() + 0.1);
        }
    }
}

/// Over the conductivities within a class, the truth is within what is stated about as often as it should be.
#[test]
fn a_class_of_soil_states_what_it_does_not_know() {
    let rows: Vec<Row> = reference_data::rows("earth_return.csv");
    for soil in [Soil::Dry, Soil::Loam, Soil::Clay, Soil::Unknown] {
        let [least, most] = soil.conductivity_s_per_m().map(f64::from);
        let (mut inside, mut count, mut plain) = (0, 0, 0);
        for &(conductivity, frequency, _, spacing, distance, read) in &rows {
            if !(1.001 * least..0.999 * most).contains(&conductivity) {
                continue;
            }
            let given = Depth { depth_m: read as f32, sigma_m: 0.01 * read as f32 };
            let Ok(found) = corrected(given, spacing as f32, frequency as f32, soil) else { continue };
            count += 1;
            inside +=
                i32::from((f64::from(found.depth_m) - distance).abs() < 2.0 * f64::from(found.sigma_m));
            plain += i32::from((read - distance).abs() < 0.02 * distance);
        }
        println!("{soil:?}: {inside} of {count} within two sigmas, uncorrected {plain}");
        assert!(count > 20 && f64::from(inside) >= 0.9 * f64::from(count) && plain < inside);
    }
}

#[test]
fn where_soil_takes_too_much_there_is_no_depth() {
    let read = Depth { depth_m: 3.0, sigma_m: 0.05 };
    assert_eq!(corrected(read, 0.4, 65_536.0, Soil::Clay), Err(Unusable::TooUncertain));
    assert_eq!(lengthening(0.3, 0.4, 512.0, 0.01), None);
    assert_eq!(lengthening(f32::NAN, 0.4, 512.0, 0.01), None);
}

/// A walk across a line in conducting ground, and what scipy fitted to it.
#[derive(Deserialize)]
struct Walk {
    conductivity_s_per_m: f64,
    frequency_hz: f32,
    distance_m: f64,
    free_space_m: f64,
    free_space_sigma_m: f64,
    fitted_m: f64,
    fitted_sigma_m: f64,
    returned_per_m: f64,
}

#[test]
fn a_walk_tells_what_soil_returns() {
    let walks: Vec<Walk> = reference_data::document("earth_return_walks.json");
    let rings = reference_data::walks("earth_return_looks.csv");
    assert!(walks.len() >= 15 && rings.len() == walks.len());
    for (w, ring) in walks.iter().zip(&rings) {
        let shared = Shared { node_ratio: 0.003, ..Shared::default() };
        let fitted = |returned: Measured| {
            let start = line::start(ring).expect("a line to begin with");
            line::traverse(ring, start, &shared, returned).expect("scipy found it")
        };
        let below =
            |found: &line::Traced<_, { line::UNKNOWNS }>| f64::from(found.depth_below_m(Vec3::ZERO).value);
        // In free space, and with anything believed.
        let (plain, open) = (fitted(Measured::default()), fitted(Measured::new(0.0, 10.0)));
        let plain_off = (below(&plain) - w.free_space_m).abs() / w.free_space_sigma_m;
        let open_off = (below(&open) - w.fitted_m).abs() / w.fitted_sigma_m;
        let returned = f64::from(open.source.returned_per_m);
        assert!(plain_off < 0.05 && open_off < 0.05 && (returned / w.returned_per_m - 1.0).abs() < 0.02);
        // What an instrument would do.
        let told = fitted(returned_per_m(w.frequency_hz, Soil::Unknown));
        let stated = told.stated_depth_m(Vec3::ZERO);
        let per_cent = |depth_m: f64| 100.0 * (depth_m / w.distance_m - 1.0);
        println!(
            "{} S/m, {} Hz, {} m: free space {:+.1} %, unknown soil {:+.2} % (stated sigma {:.1} %); {plain_off:.4} and \
             {open_off:.4} sigma from scipy's",
            w.conductivity_s_per_m,
            w.frequency_hz,
            w.distance_m,
            per_cent(below(&plain)),
            per_cent(f64::from(stated.value)),
            100.0 * f64::from(stated.sigma) / w.distance_m,
        );
        assert!((f64::from(stated.value) - w.distance_m).abs() < 1.96 * f64::from(stated.sigma));
        assert!(per_cent(f64::from(stated.value)).abs() < 0.6 * per_cent(below(&plain)).abs());
    }
}

/// The table in the core is that of the generator.
#[test]
fn the_cores_table_is_the_one_that_was_made() {
    #[derive(Deserialize)]
    struct Table {
        table: Vec<[f64; 4]>,
    }
    let Table { table } = reference_data::document("earth_return_table.json");
    let source = include_str!("../core/src/depth/soil.rs");
    for row in table.iter().skip(1) {
        let [a, b, c, d] = row;
        assert!(source.contains(&format!("[{a:.4}, {b:.4}, {c:.4}, {d:.4}]")), "{row:?}");
    }
    assert_eq!(table.len(), 7);
}
