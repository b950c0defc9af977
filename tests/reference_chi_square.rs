//! Upper points of chi-square against scipy.stats. `reference/make_chi_square.py` says what was computed.

use nullwalk_core::chi_square::{Level, TABLED, upper_point};
use nullwalk_tests::reference_data;

#[test]
fn upper_points_of_chi_square_agree_with_scipy() {
    let rows: Vec<(usize, [f64; 3])> = reference_data::rows("chi_square.csv");
    assert!(rows.len() >= 20);
    let mut worst = [0.0_f64; 2];
    for (freedom, points) in rows {
        let levels = [Level::FivePerCent, Level::OnePerCent, Level::OnePerMille];
        for (level, point) in levels.into_iter().zip(points) {
            let off = (f64::from(upper_point(freedom, level)) / point - 1.0).abs();
            let beyond = usize::from(freedom > TABLED);
            worst[beyond] = worst[beyond].max(off);
            // Half a unit of the sixth digit in the table; beyond it the approximation is right to half a per cent.
            assert!(off < [5e-6, 5e-3][beyond], "{freedom} degrees, {level:?}: off by {off:e}");
        }
    }
    println!("off by {:.1e} within the table, {:.2} % beyond", worst[0], 100.0 * worst[1]);
}

#[test]
fn without_freedom_nothing_can_deviate() {
    assert_eq!(upper_point(0, Level::FivePerCent), 0.0);
}
