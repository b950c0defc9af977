//! Fields of a sentence as whole numbers.

/// A decimal number, counted in units of its `places`-th decimal; what is finer is cut off. `None` when there is
/// anything in it that is no number.
///
/// `12.3456` with two places is 1234.
pub fn decimal(field: &[u8], places: u32) -> Option<i64> {
    let (is_negative, digits) = match field {
        [b'-', digits @ ..] => (true, digits),
        digits => (false, digits),
    };
    let (mut value, mut left, mut is_fraction, mut any) = (0_i64, places, false, false);
    for byte in digits {
        match *byte {
            b'.' if !is_fraction => is_fraction = true,
            digit @ b'0'..=b'9' => {
                any = true;
                if is_fraction && left == 0 {
                    continue;
                }
                left -= u32::from(is_fraction);
                value = value.checked_mul(10)?.checked_add(i64::from(digit - b'0'))?;
            }
            _ => return None,
        }
    }
    value = value.checked_mul(10_i64.checked_pow(left)?)?;
    any.then_some(if is_negative { -value } else { value })
}

/// Billionths of a degree from degrees and minutes (`dddmm.mmmm`), with the letters of the positive and the negative
/// hemisphere.
pub fn nanodegrees(
    field: &[u8],
    hemisphere: &[u8],
    [positive, negative]: [u8; 2],
    most_degrees: i64,
) -> Option<i64> {
    const NANO: i64 = 1_000_000_000;
    let value = decimal(field, 9).filter(|value| *value >= 0)?;
    let (degrees, minutes) = (value / (100 * NANO), value % (100 * NANO));
    let angle = degrees.checked_mul(NANO)?.checked_add(minutes / 60)?;
    if minutes >= 60 * NANO || angle > most_degrees * NANO {
        return None;
    }
    match hemisphere {
        [letter] if *letter == positive => Some(angle),
        [letter] if *letter == negative => Some(-angle),
        _ => None,
    }
}

/// Milliseconds since midnight from `hhmmss.sss`.
pub fn time_ms(field: &[u8]) -> Option<u32> {
    let value = decimal(field, 3).and_then(|value| u32::try_from(value).ok())?;
    let (hours, minutes, ms) = (value / 10_000_000, value / 100_000 % 100, value % 100_000);
    // Second 60 is a leap second.
    (hours < 24 && minutes < 60 && ms < 61_000).then_some((hours * 60 + minutes) * 60_000 + ms)
}

/// Days since 1970 from `ddmmyy`, of this century.
pub fn days(field: &[u8]) -> Option<u32> {
    let value = decimal(field, 0).and_then(|value| u32::try_from(value).ok())?;
    let (day, month, year) = (value / 10_000, value / 100 % 100, 2000 + value % 100);
    let most = match month {
        2 if year.is_multiple_of(4) => 29,
        2 => 28,
        4 | 6 | 9 | 11 => 30,
        1..=12 => 31,
        _ => return None,
    };
    if field.len() != 6 || !(1..=most).contains(&day) {
        return None;
    }
    // Years that begin in March end with the day that may be missing: five months have 153 days, again and again.
    let (year, month) = if month > 2 { (year, month - 3) } else { (year - 1, month + 9) };
    let in_year = (153 * month + 2) / 5 + day - 1;
    Some(365 * year + year / 4 - year / 100 + year / 400 + in_year - DAYS_TO_1970)
}

/// Days from 1 March of the year 0 to 1 January 1970, in the Gregorian calendar.
const DAYS_TO_1970: u32 = 719_468;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_and_what_is_none() {
        assert_eq!(decimal(b"12.3456", 2), Some(1234));
        assert_eq!(decimal(b"7", 3), Some(7000));
        assert_eq!(decimal(b"-0.5", 3), Some(-500));
        assert_eq!(decimal(b".25", 2), Some(25));
        for none in ["", "-", ".", "1.2.3", "1e5", "+1", "--1", " 1", "99999999999999999999"] {
            assert_eq!(decimal(none.as_bytes(), 2), None, "{none}");
        }
    }

    #[test]
    fn degrees_and_minutes() {
        assert_eq!(nanodegrees(b"4807.038", b"N", *b"NS", 90), Some(48_117_300_000));
        assert_eq!(nanodegrees(b"01131.324", b"W", *b"EW", 180), Some(-11_522_066_666));
        assert_eq!(nanodegrees(b"9000.0", b"S", *b"NS", 90), Some(-90_000_000_000));
        for (field, letter) in
            [("9000.1", "N"), ("4860.0", "N"), ("4807.038", "E"), ("-4807.0", "N"), ("", "N")]
        {
            assert_eq!(
                nanodegrees(field.as_bytes(), letter.as_bytes(), *b"NS", 90),
                None,
                "{field}{letter}"
            );
        }
    }

    #[test]
    fn times_of_day() {
        assert_eq!(time_ms(b"123519"), Some(45_319_000));
        assert_eq!(time_ms(b"235959.999"), Some(86_399_999));
        assert!(
            ["240000", "126000", "125961", ""].into_iter().all(|field| time_ms(field.as_bytes()).is_none())
        );
    }

    #[test]
    fn days_count_on_from_1970() {
        // The turn of the century came after 946 684 800 s (`date -u -d 2000-01-01 +%s`).
        assert_eq!(days(b"010100"), Some(946_684_800 / 86_400));
        let lengths = |year: u32| {
            [31, if year.is_multiple_of(4) { 29 } else { 28 }, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]
        };
        let mut expected = 946_684_800 / 86_400;
        for year in 0..100 {
            for (month, length) in (1..).zip(lengths(year)) {
                for day in 1..=length {
                    assert_eq!(
                        days(std::format!("{day:02}{month:02}{year:02}").as_bytes()),
                        Some(expected)
                    );
                    expected += 1;
                }
                assert_eq!(days(std::format!("{:02}{month:02}{year:02}", length + 1).as_bytes()), None);
            }
        }
        for none in ["", "000100", "011300", "010000", "10100", "-10100", "0101.0"] {
            assert_eq!(days(none.as_bytes()), None, "{none}");
        }
    }
}
