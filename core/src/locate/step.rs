//! One glimpse of a lane, as far as the lane needs it.

use glam::Vec3;

use crate::frame::Position;

/// Field and place of one glimpse, the field in the lane's frame and at the lane's height.
#[derive(Debug, Clone, Copy, Default)]
pub struct Step {
    pub position: Option<Position>,
    pub field_t: Vec3,
    pub sigma_t: f32,
}
