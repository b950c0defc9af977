//! Lengths and directions in words for people: the one place where figures are rounded.
//!
//! Rounding never makes a result look better than it is: the lower end of a range is rounded down and the
//! upper end up, so the printed range always holds the computed one.

/// Metres in one international foot, exactly.
pub const METRES_PER_FOOT: f64 = 0.3048;

const METRES_PER_CENTIMETRE: f64 = 0.01;
const METRES_PER_INCH: f64 = METRES_PER_FOOT / 12.0;

/// Slack, in printed units, for figures that only binary fractions keep from being whole: 1.37 m is
/// 137.00000000000003 cm and must not be printed as 138. It is far below anything measurable.
const BINARY_SLACK: f64 = 1e-6;

/// To the nearest centimetre.
///
/// ```
/// assert_eq!(nullwalk::units::metres(1.3249), "1.32 m");
/// ```
pub fn metres(length_m: f64) -> String {
    format!("{} m", decimal_metres(nearest(length_m, METRES_PER_CENTIMETRE)))
}

/// To the nearest inch.
///
/// ```
/// assert_eq!(nullwalk::units::feet_inches(1.3249), "4 ft 4 in");
/// ```
pub fn feet_inches(length_m: f64) -> String {
    whole_inches(nearest(length_m, METRES_PER_INCH))
}

/// Rounded to hundredths, so that what is next to nothing has no sign of its own.
///
/// ```
/// assert_eq!(format!("{:+.2}", nullwalk::units::hundredths(-0.001)), "+0.00");
/// ```
pub fn hundredths(value: f64) -> f64 {
    (100.0 * value).round() / 100.0 + 0.0
}

/// Up to the next centimetre: for clearances, which may only grow.
pub fn metres_up(length_m: f64) -> String {
    format!("{} m", decimal_metres(up(length_m, METRES_PER_CENTIMETRE)))
}

/// Up to the next inch: for clearances, which may only grow.
pub fn feet_inches_up(length_m: f64) -> String {
    whole_inches(up(length_m, METRES_PER_INCH))
}

/// A range widened to whole centimetres.
///
/// ```
/// assert_eq!(nullwalk::units::metres_range(1.2799, 1.3701), "1.27 to 1.38 m");
/// ```
pub fn metres_range(low_m: f64, high_m: f64) -> String {
    format!(
        "{} to {} m",
        decimal_metres(down(low_m, METRES_PER_CENTIMETRE)),
        decimal_metres(up(high_m, METRES_PER_CENTIMETRE))
    )
}

/// A range widened to whole inches.
///
/// ```
/// assert_eq!(nullwalk::units::feet_inches_range(1.2799, 1.3701), "4 ft 2 in to 4 ft 6 in");
/// ```
pub fn feet_inches_range(low_m: f64, high_m: f64) -> String {
    format!(
        "{} to {}",
        whole_inches(down(low_m, METRES_PER_INCH)),
        whole_inches(up(high_m, METRES_PER_INCH))
    )
}

/// A figure and its range, metric and imperial, in one line.
///
/// ```
/// assert_eq!(
///     nullwalk::units::with_range(1.32, 1.27, 1.37),
///     "1.32 m (1.27 to 1.37 m) / 4 ft 4 in (4 ft 2 in to 4 ft 6 in)"
/// );
/// ```
pub fn with_range(value_m: f64, low_m: f64, high_m: f64) -> String {
    format!(
        "{} ({}) / {} ({})",
        metres(value_m),
        metres_range(low_m, high_m),
        feet_inches(value_m),
        feet_inches_range(low_m, high_m)
    )
}

/// A compass bearing in whole degrees, always three figures.
///
/// ```
/// assert_eq!(nullwalk::units::bearing(-0.6), "359°");
/// ```
pub fn bearing(degrees: f64) -> String {
    format!("{:03}°", degrees.rem_euclid(360.0).round() % 360.0)
}

/// The direction of a line, which has no forward end, as a quadrant bearing.
///
/// ```
/// use nullwalk::units::lay;
/// assert_eq!(lay(35.2), "N 35° E");
/// assert_eq!(lay(215.2), "N 35° E");
/// assert_eq!(lay(160.0), "N 20° W");
/// ```
pub fn lay(degrees: f64) -> String {
    let half_turn = degrees.rem_euclid(180.0).round() % 180.0;
    match half_turn {
        east if east <= 90.0 => format!("N {east}° E"),
        west => format!("N {}° W", 180.0 - west),
    }
}

fn nearest(length_m: f64, unit_m: f64) -> i64 {
    (length_m / unit_m).round() as i64
}

fn down(length_m: f64, unit_m: f64) -> i64 {
    (length_m / unit_m + BINARY_SLACK).floor() as i64
}

fn up(length_m: f64, unit_m: f64) -> i64 {
    (length_m / unit_m - BINARY_SLACK).ceil() as i64
}

fn decimal_metres(centimetres: i64) -> String {
    let size = centimetres.unsigned_abs();
    format!("{}{}.{:02}", sign(centimetres), size / 100, size % 100)
}

fn whole_inches(inches: i64) -> String {
    let (feet, rest) = (inches.unsigned_abs() / 12, inches.unsigned_abs() % 12);
    match feet {
        0 => format!("{}{rest} in", sign(inches)),
        _ => format!("{}{feet} ft {rest} in", sign(inches)),
    }
}

/// A true minus sign: a hyphen before a figure is too easily read as a dash between two.
fn sign(figure: i64) -> &'static str {
    if figure < 0 { "\u{2212}" } else { "" }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn read_metres(text: &str) -> f64 {
        text.trim_end_matches(" m").replace('\u{2212}', "-").parse().unwrap()
    }

    fn read_feet_inches(text: &str) -> f64 {
        let factor = if text.starts_with('\u{2212}') { -METRES_PER_FOOT } else { METRES_PER_FOOT };
        let text = text.trim_start_matches('\u{2212}');
        let (feet, inches) = text.split_once(" ft ").unwrap_or(("0", text));
        let inches: f64 = inches.trim_end_matches(" in").parse().unwrap();
        assert!(inches < 12.0, "twelve inches are a foot: {text}");
        factor * (feet.parse::<f64>().unwrap() + inches / 12.0)
    }

    proptest! {
        #[test]
        fn text_reads_back_within_half_a_unit(length_m in -1e4_f64..1e4) {
            prop_assert!((read_metres(&metres(length_m)) - length_m).abs() < 0.005 + 1e-9);
            prop_assert!((read_feet_inches(&feet_inches(length_m)) - length_m).abs() < 0.0127 + 1e-9);
        }

        #[test]
        fn printed_ranges_hold_the_computed_ones(low in -20.0_f64..20.0, width in 0.0_f64..5.0) {
            let high = low + width;
            let metric = metres_range(low, high);
            let imperial = feet_inches_range(low, high);
            let (a, b) = metric.split_once(" to ").unwrap();
            let (c, d) = imperial.split_once(" to ").unwrap();
            let slack = 1e-7;
            prop_assert!(read_metres(a) <= low + slack && read_metres(b) >= high - slack);
            prop_assert!(read_feet_inches(c) <= low + slack && read_feet_inches(d) >= high - slack);
            prop_assert!(read_metres(a) > low - 0.01 - slack && read_metres(b) < high + 0.01 + slack);
            prop_assert!(read_feet_inches(c) > low - 0.0254 - slack);
            prop_assert!(read_feet_inches(d) < high + 0.0254 + slack);
        }

        #[test]
        fn clearances_only_grow(length_m in 0.0_f64..100.0) {
            prop_assert!(read_metres(&metres_up(length_m)) >= length_m - 1e-7);
            prop_assert!(read_feet_inches(&feet_inches_up(length_m)) >= length_m - 1e-7);
        }

        #[test]
        fn a_line_reads_the_same_from_either_end(degrees in -720.0_f64..720.0) {
            // Whole tenths away from the rounding edge, where half a turn more may round the other way.
            let degrees = (degrees * 10.0).floor() / 10.0 + 0.05;
            prop_assert_eq!(lay(degrees), lay(degrees + 180.0));
        }
    }

    #[test]
    fn edges_of_the_quadrants() {
        assert_eq!(lay(0.0), "N 0° E");
        assert_eq!(lay(90.0), "N 90° E");
        assert_eq!(lay(91.0), "N 89° W");
        assert_eq!(lay(179.7), "N 0° E");
        assert_eq!(bearing(359.6), "000°");
    }

    #[test]
    fn whole_figures_stay_whole_and_zero_has_no_sign() {
        assert_eq!(metres_range(1.37, 1.37), "1.37 to 1.37 m");
        assert_eq!(feet_inches_range(0.6096, 0.6096), "2 ft 0 in to 2 ft 0 in");
        assert_eq!(metres(-0.001), "0.00 m");
        assert_eq!(feet_inches(-0.001), "0 in");
        assert_eq!(feet_inches_range(0.01, 0.3), "0 in to 1 ft 0 in");
        assert_eq!(feet_inches(-0.3048), "\u{2212}1 ft 0 in");
    }
}
