//! From the antenna down to the lower node.

use glam::Vec3;
use nullwalk_core::frame::{Position, Tilt, heading_rotation};
use nullwalk_core::math;

/// How far a mast leans in the hand where no sensor says so, as a share of its length: 6 degrees (our guess).
const LEAN: f32 = 0.1;

/// Position of the lower node, from that of the antenna. `arm_m` is where the antenna stands in the mast frame.
///
/// A metre of mast that leans by 5 degrees carries the antenna 9 cm aside: without tilt and heading the sigma says so.
///
/// ```
/// use glam::Vec3;
/// use nullwalk_core::frame::{Position, Tilt};
/// use nullwalk_drivers::gnss::lower_node;
/// let antenna = Position { enu_m: Vec3::new(10.0, 20.0, 1.5), sigma_m: 0.03 };
/// let upright = lower_node(antenna, Vec3::Z, Some(Tilt::default()), Some(0.0));
/// assert_eq!((upright.enu_m, upright.sigma_m), (Vec3::new(10.0, 20.0, 0.5), 0.03));
/// assert!(lower_node(antenna, Vec3::Z, None, None).sigma_m > 0.1);
/// ```
pub fn lower_node(
    antenna: Position,
    arm_m: Vec3,
    tilt: Option<Tilt>,
    heading_rad: Option<f32>,
) -> Position {
    match tilt.zip(heading_rad) {
        Some((tilt, heading_rad)) => {
            let arm_m = heading_rotation(heading_rad) * (tilt.levelling() * arm_m);
            Position { enu_m: antenna.enu_m - arm_m, ..antenna }
        }
        None => {
            let aside_m = LEAN * arm_m.length() + math::sqrt(arm_m.x * arm_m.x + arm_m.y * arm_m.y);
            let sigma_m = math::sqrt(antenna.sigma_m * antenna.sigma_m + aside_m * aside_m);
            Position { enu_m: antenna.enu_m - Vec3::Z * arm_m.z, sigma_m }
        }
    }
}
