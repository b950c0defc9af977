//! Where the mast was, as cells of a table, without losing a bit of it.

use glam::Vec3;
use nullwalk_core::frame::{MastReading, Position, Tilt};

use super::error::CaptureError;
use super::table::Row;

/// The columns of a pose, in the order of [`cells`].
pub(super) const COLUMNS: [&str; 7] =
    ["east_m", "north_m", "up_m", "heading_deg", "pitch_deg", "roll_deg", "sigma_m"];

/// What a position without `sigma_m` is taken to be worth, metres.
const DEFAULT_SIGMA_M: f32 = 0.05;

/// Beyond this an `f32` cannot tell a centimetre, and the site frame is not local.
pub(super) const FARTHEST_M: f32 = 100_000.0;

/// The pose in a row; `None` where the row tells nothing. `foot_m` is the height to assume without `up_m`.
pub(super) fn read(row: &Row<'_>, foot_m: f32) -> Result<Option<MastReading>, CaptureError> {
    let position = position(row, foot_m)?;
    let heading_rad = angle(row, "heading_deg")?;
    let tilt = match (angle(row, "pitch_deg")?, angle(row, "roll_deg")?) {
        (None, None) => None,
        (pitch, roll) => {
            Some(Tilt { pitch_rad: pitch.unwrap_or_default(), roll_rad: roll.unwrap_or_default() })
        }
    };
    Ok(told(MastReading { position, heading_rad, tilt }))
}

/// The reading, unless it tells nothing: that is the same as no reading at all.
pub(super) fn told(mast: MastReading) -> Option<MastReading> {
    (mast != MastReading::default()).then_some(mast)
}

fn position(row: &Row<'_>, foot_m: f32) -> Result<Option<Position>, CaptureError> {
    let (east, north) = match (row.number("east_m")?, row.number("north_m")?) {
        (None, None) => return Ok(None),
        (Some(east), Some(north)) => (east, north),
        (Some(_), None) => return Err(alone(row, "north_m")),
        (None, Some(_)) => return Err(alone(row, "east_m")),
    };
    let enu_m = Vec3::new(east, north, row.number("up_m")?.unwrap_or(foot_m));
    for (column, value) in ["east_m", "north_m", "up_m"].into_iter().zip(enu_m.to_array()) {
        if value.abs() > FARTHEST_M {
            return Err(row.wrong(
                column,
                format!("{value} m is too far from the site's origin"),
                "the site frame is local: subtract an origin near the walk from all positions",
            ));
        }
    }
    let sigma_m = row.number("sigma_m")?.unwrap_or(DEFAULT_SIGMA_M);
    if sigma_m < 0.0 {
        return Err(row.wrong(
            "sigma_m",
            format!("{sigma_m} m is negative"),
            "a standard uncertainty is 0 or more",
        ));
    }
    Ok(Some(Position { enu_m, sigma_m }))
}

fn alone(row: &Row<'_>, missing: &str) -> CaptureError {
    row.wrong(missing, "the cell is empty", "give east_m and north_m, or neither")
}

fn angle(row: &Row<'_>, column: &str) -> Result<Option<f32>, CaptureError> {
    Ok(row.number::<f64>(column)?.map(radians))
}

fn radians(degrees: f64) -> f32 {
    degrees.to_radians() as f32
}

/// The cells of a reading, such that [`read`] gives back its very bits.
pub(super) fn cells(mast: Option<&MastReading>) -> [String; 7] {
    let cell = |value: Option<f32>| value.map_or_else(String::new, |v| v.to_string());
    let degrees = |value: Option<f32>| value.map_or_else(String::new, degrees);
    let position = mast.and_then(|m| m.position);
    let tilt = mast.and_then(|m| m.tilt);
    [
        cell(position.map(|p| p.enu_m.x)),
        cell(position.map(|p| p.enu_m.y)),
        cell(position.map(|p| p.enu_m.z)),
        degrees(mast.and_then(|m| m.heading_rad)),
        degrees(tilt.map(|t| t.pitch_rad)),
        degrees(tilt.map(|t| t.roll_rad)),
        cell(position.map(|p| p.sigma_m)),
    ]
}

/// An angle in degrees with the fewest decimals that still read back as the same bits.
fn degrees(rad: f32) -> String {
    let exact = f64::from(rad).to_degrees();
    let same_bits =
        |text: &String| text.parse().is_ok_and(|degrees| radians(degrees).to_bits() == rad.to_bits());
    (0..=12)
        .map(|decimals| format!("{exact:.decimals$}"))
        .find(same_bits)
        // Angles near zero need more decimals than that; all the digits of an f64 always do.
        .unwrap_or_else(|| exact.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn an_angle_in_degrees_reads_back_as_the_same_bits(bits: u32) {
            let rad = f32::from_bits(bits);
            prop_assume!(rad.is_finite());
            let back: f64 = degrees(rad).parse().unwrap();
            prop_assert_eq!(radians(back).to_bits(), bits);
        }

        #[test]
        fn walking_angles_read_back_too(rad in -10.0_f32..10.0) {
            let back: f64 = degrees(rad).parse().unwrap();
            prop_assert_eq!(radians(back).to_bits(), rad.to_bits());
        }
    }

    #[test]
    fn angles_are_written_short() {
        assert_eq!(degrees(std::f32::consts::FRAC_PI_2), "90");
        assert_eq!(degrees(12.5_f64.to_radians() as f32), "12.5");
        assert_eq!(degrees(-0.0), "-0");
    }
}
