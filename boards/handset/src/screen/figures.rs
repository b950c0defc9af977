//! Numbers in words: whole numbers only, since what formats floats takes a tenth of the flash.

use core::f32::consts::PI;
use core::fmt::Write as _;

use heapless::String;
use nullwalk_core::math;

/// Stands for what is no number, or larger than anything here is.
const UNKNOWN: &str = "--";
const MOST: f32 = 10_000.0;

/// Metres, to a centimetre below ten metres, to ten of them below a hundred, and whole above; no sign.
pub fn metres(value_m: f32) -> String<12> {
    let mut text = String::new();
    let value_m = value_m.abs();
    let centimetres = math::round(value_m * 100.0);
    // What does not fit ends early; all of it fits.
    let _ = if value_m.is_nan() || value_m >= MOST {
        text.write_str(UNKNOWN)
    } else if centimetres < 1000.0 {
        let whole = centimetres as u32;
        write!(text, "{}.{}{}", whole / 100, whole / 10 % 10, whole % 10)
    } else if centimetres < 9995.0 {
        let tenths = math::round(centimetres / 10.0) as u32;
        write!(text, "{}.{}", tenths / 10, tenths % 10)
    } else {
        write!(text, "{}", math::round(value_m) as u32)
    };
    text
}

/// A whole number.
pub fn whole(value: f32) -> String<12> {
    let mut text = String::new();
    let _ = if value.is_nan() || value.abs() >= MOST {
        text.write_str(UNKNOWN)
    } else {
        write!(text, "{}", math::round(value) as i32)
    };
    text
}

/// Degrees of an angle in radians.
pub fn degrees(angle_rad: f32) -> f32 {
    math::round(angle_rad * (180.0 / PI))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_are_rounded_and_keep_three_digits() {
        let told = [0.0, 0.004, 0.005, -1.234, 9.994, 9.995, 12.34, 99.96, f32::NAN, f32::INFINITY];
        let texts = told.map(metres);
        assert_eq!(texts, ["0.00", "0.00", "0.01", "1.23", "9.99", "10.0", "12.3", "100", "--", "--"]);
        assert_eq!([99.94, 9999.9, 10_000.0].map(metres), ["99.9", "10000", "--"]);
    }

    #[test]
    fn whole_numbers_and_degrees() {
        assert_eq!([2.5, -0.4, f32::NAN].map(whole), ["3", "0", "--"]);
        assert_eq!(degrees(-PI / 2.0), -90.0);
    }
}
