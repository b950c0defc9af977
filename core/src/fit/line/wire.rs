//! The field of a long wire of one ampere, and how it changes: what every fit of lines is made of.

use glam::Vec3;

use crate::fit::NEAREST_M2;
use crate::fit::symmetric::Symmetric;

/// The field of 1 A at 1 m, in nanotesla.
pub const SCALE_NT: f32 = 200.0;

/// A direction that is never upright, with the two across it.
#[derive(Clone, Copy)]
pub struct Axes {
    pub along: Vec3,
    pub left: Vec3,
    pub up: Vec3,
}

impl Axes {
    pub fn of(along: Vec3) -> Self {
        let left = Vec3::new(-along.y, along.x, 0.0).normalize_or(Vec3::Y);
        Self { along, left, up: along.cross(left) }
    }

    /// Turned to the left about the vertical, and raised at its far end, radians.
    pub fn turned(&self, lay: f32, slope: f32) -> Vec3 {
        let level = self.along.truncate().length();
        (self.along + self.left * (lay * level) + self.up * slope).normalize_or(self.along)
    }

    /// How a field that is the same all along changes with lay and slope, seen so far `on` along its axis from where it
    /// turns: what it does beside the axis, and with the axis.
    pub fn by_turns(&self, field_nt: Vec3, by_place: Symmetric, on_m: f32) -> [Vec3; 2] {
        let level = self.along.truncate().length();
        [self.left * level, self.up].map(|turn| by_place * (turn * -on_m) - self.along * field_nt.dot(turn))
    }
}

/// The field per ampere at a point.
#[derive(Clone, Copy)]
pub struct Wire {
    pub field_nt: Vec3,
    pub by_place: Symmetric,
    /// With lay and slope, about the wire's own point.
    pub by_turns: [Vec3; 2],
}

impl Wire {
    /// Of a wire through `wire_m`, seen from `at_m`.
    pub fn seen(axes: &Axes, wire_m: Vec3, at_m: Vec3) -> Self {
        let r = at_m - wire_m;
        let on_m = axes.along.dot(r);
        let aside = r - axes.along * on_m;
        let closeness2 = 1.0 / (aside.length_squared() + NEAREST_M2);
        let around = axes.along.cross(aside);
        let field_nt = around * (SCALE_NT * closeness2);
        // -(t n + n t) G/p^2, with n away from the wire and t around it.
        let by_place = Symmetric::products_of(around, aside) * (-SCALE_NT * closeness2 * closeness2);
        Self { field_nt, by_place, by_turns: axes.by_turns(field_nt, by_place, on_m) }
    }

    /// The field alone.
    pub fn field_nt(axes: &Axes, wire_m: Vec3, at_m: Vec3) -> Vec3 {
        let r = at_m - wire_m;
        let aside = r - axes.along * axes.along.dot(r);
        axes.along.cross(aside) * (SCALE_NT / (aside.length_squared() + NEAREST_M2))
    }

    /// With its own unknowns, for one ampere: how far left it lies, how high, lay, slope.
    pub fn by_own(&self, axes: &Axes) -> [Vec3; 4] {
        let [lay, slope] = self.by_turns;
        [self.by_place * -axes.left, self.by_place * -Vec3::Z, lay, slope]
    }
}
