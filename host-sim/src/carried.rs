//! How high above the ground the mast was carried.

use nullwalk_core::array::Array;
use nullwalk_core::error::ConfigError;

use crate::quantity;

/// A mean of recorded heights may be so far below that of a mast which stands on the ground, metres.
const SLACK_M: f64 = 0.05;

/// Height of the lower node above the ground, metres: as it was said, or else the mean of the recorded heights above a
/// ground that lies `ground_up_m` high. Of nothing recorded, that of a mast which stands on the ground.
///
/// # Errors
/// When what was said is not 0 to 2 m, or recorded heights cannot be such: above the sea, or all nought.
pub fn height_m(
    said_m: Option<f64>,
    recorded_up_m: impl Iterator<Item = f64>,
    ground_up_m: f64,
    array: &Array,
) -> Result<f64, ConfigError> {
    let refused = |what| Err(ConfigError::new("--carried", what));
    if let Some(said_m) = said_m {
        let can_be = (0.0..=2.0).contains(&said_m);
        return if can_be { Ok(said_m) } else { refused("must be 0 to 2 m above the ground") };
    }
    let (sum, count) = recorded_up_m.fold((0.0, 0), |(sum, count), up| (sum + up, count + 1));
    let foot_m = f64::from(array.foot_m());
    if count == 0 {
        return Ok(foot_m);
    }
    let mean_m = sum / f64::from(count) - ground_up_m;
    if !(foot_m - SLACK_M..=2.0).contains(&mean_m) {
        return refused(
            "is needed: the recorded heights cannot be those of the lower node above the ground, from that of a mast which \
             stands on it (array.foot_m) up to 2 m; say how high it was carried",
        );
    }
    Ok(mean_m)
}

/// A height as people write it.
///
/// # Errors
/// Says what is wrong with it.
pub fn parsed(text: &str) -> Result<f64, String> {
    quantity::length(text).map(|length| length.value)
}
