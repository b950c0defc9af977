//! Coils and sondes of real size: ratio depth and the fit of a walk on fields of discs and of a magnetised rod. They are
//! wrong by as much as the book says. `reference/make_finite.py` says what was computed.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use glam::Vec3;
use nullwalk_core::array::NodeField;
use nullwalk_core::depth::{self, Standing};
use nullwalk_core::fit::{Dipole, Shared, traverse};
use nullwalk_tests::reference_data;
use serde::Deserialize;

/// A walk over a sonde of real size, and what other libraries make of it.
#[derive(Deserialize)]
struct Case {
    coil_radius_m: f64,
    sonde_length_m: f64,
    depth_m: f64,
    overhead_nt: [f32; 2],
    ratio_depth_m: f64,
    start: [f32; 6],
    fitted_depth_m: f64,
    fitted_sigma_m: f64,
}

impl Case {
    /// As the book's table names it; `None` where it does not.
    fn source(&self) -> Option<String> {
        match (self.coil_radius_m, self.sonde_length_m) {
            (radius_m, 0.0) => Some(format!("receiver coils of {:.0} cm radius", 100.0 * radius_m)),
            (0.0, length_m) => Some(format!("sonde {length_m} m long")),
            _ => None,
        }
    }

    fn ratio_depth_m(&self) -> f64 {
        let [lower, upper] =
            self.overhead_nt.map(|b_nt| NodeField { field_t: Vec3::X * b_nt * 1e-9, sigma_t: 1e-15 });
        f64::from(depth::ratio(lower, upper, 0.4, 0.0, Standing::default()).unwrap().depth_m)
    }

    /// In per cent.
    fn error(&self, depth_m: f64) -> f64 {
        100.0 * (depth_m / self.depth_m - 1.0)
    }
}

/// Errors in per cent by source, method and column of the book's table.
fn stated() -> BTreeMap<(String, String), Vec<f64>> {
    let chapter = Path::new(env!("CARGO_MANIFEST_DIR")).join("../docs/src/theory/dipole.md");
    let text = fs::read_to_string(chapter).unwrap();
    let table = text.lines().skip_while(|line| !line.starts_with("| source | method |")).skip(2);
    let mut source = String::new();
    let mut stated = BTreeMap::new();
    for line in table.take_while(|line| line.starts_with('|')) {
        let mut cells = line.trim_matches('|').split('|').map(str::trim);
        let (name, method) = cells.next().zip(cells.next()).unwrap();
        if !name.is_empty() {
            source = name.to_owned();
        }
        let percent = |cell: &str| cell.trim_end_matches(" %").replace('−', "-").parse().unwrap();
        stated.insert((source.clone(), method.to_owned()), cells.map(percent).collect());
    }
    stated
}

#[test]
fn coils_and_sondes_of_real_size_err_as_the_book_says() {
    let cases: Vec<Case> = reference_data::document("finite.json");
    let walks = reference_data::walks("finite_looks.csv");
    assert!(cases.len() >= 20 && walks.len() == cases.len());
    let stated = stated();
    let mut checked = 0;
    for (case, walk) in cases.iter().zip(&walks) {
        let ratio_depth_m = case.ratio_depth_m();
        let [x, y, z, mx, my, mz] = case.start;
        let start = Dipole { at_m: Vec3::new(x, y, z), moment: Vec3::new(mx, my, mz) };
        let found = traverse(walk, start, &Shared { node_ratio: 0.003, ..Shared::default() }).unwrap();
        // The sonde is at the origin, and the lower node its depth above.
        let fitted_m = case.depth_m - f64::from(found.dipole.at_m.z);
        let (by_ratio, by_walk) = (case.error(ratio_depth_m), case.error(fitted_m));
        let apart = (fitted_m - case.fitted_depth_m).abs() / case.fitted_sigma_m;
        println!(
            "coils {:.2} m, sonde {:.1} m, {:.1} m deep: ratio {by_ratio:+.2} %, walk {by_walk:+.2} %, {apart:.4} sigma \
             from scipy's",
            case.coil_radius_m, case.sonde_length_m, case.depth_m
        );
        assert!((ratio_depth_m / case.ratio_depth_m - 1.0).abs() < 1e-5);
        assert!(apart < 0.05);
        let Some(source) = case.source() else { continue };
        let column = [0.5, 1.0, 1.5, 2.0, 3.0].iter().position(|depth_m| *depth_m == case.depth_m).unwrap();
        for (method, error) in [("ratio", by_ratio), ("walk", by_walk)] {
            let book = stated[&(source.clone(), method.to_owned())][column];
            assert!((error - book).abs() < 0.0075, "{source}, {method}, {} m: {book} %", case.depth_m);
            checked += 1;
        }
    }
    assert_eq!(checked, 30);
}
