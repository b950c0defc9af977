//! The fields of a dipole and of a piece of wire against general-purpose libraries, and the landmarks of a
//! sonde's field against tables found by searching one library's fields. `reference/README.md` says how the
//! data was made.

use nullwalk_core::field::{dipole, segment};
use nullwalk_tests::reference_data::rows as table;

fn magnitude(b: [f64; 3]) -> f64 {
    b.iter().map(|x| x * x).sum::<f64>().sqrt()
}

/// Length of the difference over the length of the reference.
fn relative_error(b: [f64; 3], reference: [f64; 3]) -> f64 {
    let difference = [0, 1, 2].map(|k| b[k] - reference[k]);
    magnitude(difference) / magnitude(reference)
}

/// Moment, point, and the field by magpylib 6.3.0 and by geoana 0.8.1.
type DipoleRow = ([f64; 3], [f64; 3], [f64; 3], [f64; 3]);

#[test]
fn dipole_agrees_with_magpylib_and_geoana() {
    let rows: Vec<DipoleRow> = table("dipole.csv");
    assert!(rows.len() >= 200);
    let (mut worst_f64, mut worst_f32) = (0.0_f64, 0.0_f64);
    for (moment, point, magpylib, geoana) in rows {
        let double = dipole(moment, point);
        let single = dipole(moment.map(|x| x as f32), point.map(|x| x as f32)).map(f64::from);
        for reference in [magpylib, geoana] {
            worst_f64 = worst_f64.max(relative_error(double, reference));
            worst_f32 = worst_f32.max(relative_error(single, reference));
        }
    }
    println!("worst relative error: f64 {worst_f64:.2e}, f32 {worst_f32:.2e}");
    assert!(worst_f64 < 1e-6, "f64: {worst_f64:e}");
    assert!(worst_f32 < 1e-5, "f32: {worst_f32:e}");
}

/// Current, the point as seen from the wire's start and from its end, and the field by magpylib 6.3.0 and by
/// quadrature of the law of Biot and Savart.
type SegmentRow = (f64, [f64; 3], [f64; 3], [f64; 3], [f64; 3]);

#[test]
fn segment_agrees_with_magpylib_and_quadrature() {
    let rows: Vec<SegmentRow> = table("segment.csv");
    assert!(rows.len() >= 200);
    let (mut worst_f64, mut worst_f32) = (0.0_f64, 0.0_f64);
    for (current, from_start, from_end, magpylib, quadrature) in rows {
        let double = segment(current, from_start, from_end);
        let single = segment(current as f32, from_start.map(|x| x as f32), from_end.map(|x| x as f32));
        for reference in [magpylib, quadrature] {
            worst_f64 = worst_f64.max(relative_error(double, reference));
            worst_f32 = worst_f32.max(relative_error(single.map(f64::from), reference));
        }
    }
    println!("worst relative error: f64 {worst_f64:.2e}, f32 {worst_f32:.2e}");
    assert!(worst_f64 < 1e-8, "f64: {worst_f64:e}");
    // A point 0.1 m beside a wire of 1 km is known to f32 with an error of up to 3e-5 m.
    assert!(worst_f32 < 3e-4, "f32: {worst_f32:e}");
}

/// Field of a sonde of 1 A m2 with its positive end raised by the pitch, 1 m below the origin of `x`.
fn sonde(pitch_deg: f64, x: f64) -> [f64; 3] {
    let (s, c) = pitch_deg.to_radians().sin_cos();
    dipole([c, 0.0, s], [x, 0.0, 1.0])
}

/// Whether |f| has a local maximum within 5e-7 of `x`; the tables' maxima are exact to about 1e-8.
fn peaks_at(f: impl Fn(f64) -> f64, x: f64) -> bool {
    let step = 1e-4;
    let top = f(x).abs();
    // For a parabola lean/drop is twice the misplacement over the step.
    let lean = f(x + step).abs() - f(x - step).abs();
    let drop = 2.0 * top - f(x + step).abs() - f(x - step).abs();
    drop > 0.0 && lean.abs() < 1e-2 * drop
}

#[test]
fn level_and_upright_sonde_have_their_landmarks_where_the_table_says() {
    let rows: Vec<(String, f64)> = table("level_sonde.csv");
    let value = |name: &str| {
        let row = rows.iter().find(|(quantity, _)| quantity == name);
        row.unwrap_or_else(|| panic!("no {name} in the table")).1
    };
    let overhead = sonde(0.0, 0.0)[0].abs();
    let axial = |x: f64| sonde(0.0, x)[0] / overhead;
    let vertical = |x: f64| sonde(0.0, x)[2] / overhead;

    assert!((overhead / value("overhead_t") - 1.0).abs() < 1e-8);
    for side in [-1.0, 1.0] {
        assert!(axial(side * value("axial_null_x")).abs() < 1e-9);
        assert!(peaks_at(axial, side * value("axial_side_peak_x")));
        assert!(peaks_at(vertical, side * value("vertical_peak_x")));
    }
    let side_peak = axial(value("axial_side_peak_x")).abs();
    assert!((side_peak - value("axial_side_peak_ratio")).abs() < 1e-9);
    let vertical_peak = vertical(value("vertical_peak_x")).abs();
    assert!((vertical_peak - value("vertical_peak_ratio")).abs() < 1e-9);
    assert!(vertical(0.0).abs() < 1e-12);

    for x in [0.1, 0.25, 0.5, 1.0, 2.0] {
        let total = magnitude(sonde(0.0, x)) / overhead;
        assert!((total - value(&format!("total_ratio_at_{x}"))).abs() < 1e-9, "total at {x}");
    }

    assert!(sonde(90.0, value("upright_vertical_null_radius"))[2].abs() < 1e-9 * overhead);
    assert!(peaks_at(|x| sonde(90.0, x)[0], value("upright_horizontal_peak_radius")));
}

/// Pitch, null behind and ahead, null-spacing depth, vertical null, axial peak, peak of the total field,
/// twice the axial peak less the vertical null, ratio depth of the totals at the axial peak.
type TiltRow = (f64, f64, f64, f64, f64, f64, f64, f64, f64);

#[test]
fn tilted_sonde_has_its_landmarks_where_the_table_says() {
    let rows: Vec<TiltRow> = table("tilted_sonde.csv");
    assert!(rows.len() >= 6);
    for (pitch, back, ahead, null_depth, zero, peak, total_peak, overhead, ratio_depth) in rows {
        let axial = |x: f64| sonde(pitch, x)[0];
        let reference = axial(0.0).abs();
        assert!(axial(back).abs() < 1e-9 * reference && axial(ahead).abs() < 1e-9 * reference);
        assert!((null_depth - (ahead - back) / 2.0_f64.sqrt()).abs() < 1e-9);
        assert!(sonde(pitch, zero)[2].abs() < 1e-9 * reference);
        assert!(peaks_at(axial, peak), "axial peak at {pitch} degrees");
        assert!((overhead - (2.0 * peak - zero)).abs() < 1e-9);
        // Level, the total field's top is too flat (quartic) for the place to be tested.
        if pitch > 0.0 {
            let total = |x: f64| magnitude(sonde(pitch, x));
            assert!(peaks_at(total, total_peak), "peak of the total at {pitch} degrees");
        }
        let spacing = 0.4;
        let (s, c) = pitch.to_radians().sin_cos();
        let upper = magnitude(dipole([c, 0.0, s], [peak, 0.0, 1.0 + spacing]));
        let depth = spacing / ((magnitude(sonde(pitch, peak)) / upper).cbrt() - 1.0);
        assert!((depth - ratio_depth).abs() < 1e-8, "ratio depth at {pitch} degrees");
    }
}
