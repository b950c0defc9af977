//! Lengths and paces as people give them: `4 m`, `13 ft 1 in`, `0.5 m/s`, `4 m ± 2 cm`, `0.5 m/s +- 5 %`.
//!
//! Without a unit a number is in metres, or in metres per second. What stands behind the `±` is half a 95 % range, as
//! in everything that is printed.

use nullwalk_core::depth::Measured;

use crate::units::METRES_PER_FOOT;

/// What was given.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Quantity {
    /// Metres, or metres per second.
    pub value: f64,
    /// Standard uncertainty, if one was given.
    pub sigma: Option<f64>,
}

/// A kind of quantity: how it is called, its units, and between what it must lie.
struct Kind {
    name: &'static str,
    example: &'static str,
    units: &'static [(&'static str, f64)],
    /// What a number without a unit is in.
    si: &'static str,
    range: std::ops::RangeInclusive<f64>,
}

const INCH: f64 = METRES_PER_FOOT / 12.0;

const LENGTH: Kind = Kind {
    name: "a length",
    example: "`4 m`, `13 ft 1 in` or `4 m ± 2 cm`",
    units: &[
        ("", 1.0),
        ("m", 1.0),
        ("cm", 0.01),
        ("mm", 0.001),
        ("ft", METRES_PER_FOOT),
        ("'", METRES_PER_FOOT),
        ("in", INCH),
        ("\"", INCH),
    ],
    si: "m",
    range: 0.0..=100.0,
};

const PACE: Kind = Kind {
    name: "a pace",
    example: "`0.5 m/s`, `1.6 ft/s` or `0.5 m/s ± 5 %`",
    units: &[("", 1.0), ("m/s", 1.0), ("cm/s", 0.01), ("km/h", 1.0 / 3.6), ("ft/s", METRES_PER_FOOT)],
    si: "m/s",
    range: 0.05..=3.0,
};

/// Whatever is less certain than this share of itself gives no depth.
const LEAST_CERTAIN: f64 = 1.0 / 3.0;

/// Read a length.
///
/// ```
/// use nullwalk::quantity::length;
/// assert_eq!(length("400 cm").unwrap().value, 4.0);
/// assert_eq!(length("13 ft 1 in").unwrap().value, 13.0 * 0.3048 + 0.0254);
/// assert_eq!(length("4 m ± 2 cm").unwrap().sigma, Some(0.01));
/// assert!(length("4 furlongs").is_err());
/// ```
///
/// # Errors
/// What is wrong with it, and how it may look.
pub fn length(text: &str) -> Result<Quantity, String> {
    read(text, &LENGTH)
}

/// Read a pace.
///
/// ```
/// use nullwalk::quantity::pace;
/// assert_eq!(pace("1.8 km/h").unwrap().value, 0.5);
/// assert_eq!(pace("0.5 +- 10%").unwrap().sigma, Some(0.025));
/// ```
///
/// # Errors
/// What is wrong with it, and how it may look.
pub fn pace(text: &str) -> Result<Quantity, String> {
    read(text, &PACE)
}

impl Quantity {
    /// With this standard uncertainty where none was given.
    pub fn or_sigma(self, sigma: f64) -> Measured {
        Measured::new(self.value as f32, self.sigma.unwrap_or(sigma) as f32)
    }
}

fn read(text: &str, kind: &Kind) -> Result<Quantity, String> {
    let Kind { name, example, units, si, range } = kind;
    let unread = || format!("not {name}; give it as {example}");
    let plain = text.replace("+/-", "±").replace("+-", "±");
    let (value, half_range) = match plain.split_once('±') {
        Some((value, half_range)) => (value, Some(half_range)),
        None => (plain.as_str(), None),
    };
    let value = amount(value, units).ok_or_else(unread)?;
    if !range.contains(&value) {
        return Err(format!("must be {} to {} {si}; is a unit missing?", range.start(), range.end()));
    }
    let Some(half_range) = half_range else { return Ok(Quantity { value, sigma: None }) };
    let half_range = match half_range.trim().strip_suffix('%') {
        Some(percent) => 0.01 * value * amount(percent, &[("", 1.0)]).ok_or_else(unread)?,
        None => amount(half_range, units).ok_or_else(unread)?,
    };
    let sigma = 0.5 * half_range;
    if sigma > LEAST_CERTAIN * value {
        return Err("so uncertain that no depth can come of it; is a unit missing behind the ±?".to_owned());
    }
    Ok(Quantity { value, sigma: Some(sigma) })
}

/// The sum of numbers with their units, as in `13 ft 1 in`. A number without a unit stands alone.
fn amount(text: &str, units: &[(&str, f64)]) -> Option<f64> {
    let is_number = |c: char| c.is_ascii_digit() || c == '.';
    let (mut rest, mut sum, mut bare) = (text.trim(), 0.0, 0);
    let mut terms = 0;
    while !rest.is_empty() {
        let (number, tail) = rest.split_at(rest.find(|c| !is_number(c)).unwrap_or(rest.len()));
        let (unit, tail) = tail.split_at(tail.find(is_number).unwrap_or(tail.len()));
        let unit = unit.trim();
        let (_, factor) = units.iter().find(|(name, _)| *name == unit)?;
        sum += number.parse::<f64>().ok()? * factor;
        bare += usize::from(unit.is_empty());
        terms += 1;
        rest = tail;
    }
    (terms > 0 && (bare == 0 || terms == 1)).then_some(sum)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn nothing_that_is_typed_brings_it_down(text in ".*", tail in "[0-9. ftincm'\"±%/s+-]*") {
            for text in [&text, &tail] {
                if let Ok(found) = length(text) {
                    prop_assert!((0.0..=100.0).contains(&found.value), "{text}: {found:?}");
                    prop_assert!(found.sigma.is_none_or(|s| (0.0..=found.value).contains(&s)), "{text}: {found:?}");
                }
                if let Ok(found) = pace(text) {
                    prop_assert!((0.05..=3.0).contains(&found.value), "{text}: {found:?}");
                }
            }
        }

        #[test]
        fn what_is_printed_is_read(length_m in 0.0_f64..100.0) {
            let off = |text: String| (length(&text).unwrap().value - length_m).abs();
            prop_assert!(off(crate::units::metres(length_m)) < 0.005 + 1e-9);
            prop_assert!(off(crate::units::feet_inches(length_m)) < 0.0127 + 1e-9);
        }
    }

    #[test]
    fn lengths_in_all_their_forms() {
        for (text, metres) in [
            ("4", 4.0),
            ("4.0", 4.0),
            ("4m", 4.0),
            (" 4 m ", 4.0),
            ("400cm", 4.0),
            ("10ft", 3.048),
            ("10'", 3.048),
            ("10' 6\"", 3.2004),
            ("10ft 6in", 3.2004),
            ("126 in", 3.2004),
            ("4 m 20 cm", 4.2),
        ] {
            let found = length(text).unwrap_or_else(|e| panic!("{text}: {e}")).value;
            assert!((found - metres).abs() < 1e-9, "{text}: {found}");
        }
        for wrong in [
            "", "m", "four", "-4 m", "4 4", "4 5 m", "4,0 m", "1e3", "4 m ±", "4 m ± x", "4..0", "nan",
            "inf",
        ] {
            assert!(length(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn what_must_be_a_mistake_is_told() {
        assert!(length("400").unwrap_err().contains("unit missing"));
        assert!(length("400 cm ± 4").unwrap_err().contains("behind the ±"));
        assert!(pace("50").unwrap_err().contains("unit missing"));
    }
}
