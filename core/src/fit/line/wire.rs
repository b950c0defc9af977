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
        own(axes, self.by_place, self.by_turns)
    }
}

/// The second order of what returns through the soil, over the square of the first: `(pi/16) k^2` over `2/9 k^2`.
const SECOND_ORDER: f32 = 9.0 * core::f32::consts::PI / 32.0;

/// With it, what counts as the first is more than the first, by so much a unit of it over the height above the wire: found by
/// quadrature, within 4 % for `k d` up to 2 (`tests/reference/make_earth_return.py`).
const COUNTED_TWICE: f32 = 1.6;

/// What one ampere's return through the soil adds at a point in step with it.
///
/// Over a half-space the field is `1/z - (2/3) a - a^2 (z - 2 d) (ln(a z/2)/4 + ...)` with `z` the way from the wire, up and
/// aside, `a = sqrt(i) k` and `d` the depth (the Struve and Neumann functions of the known integral, expanded). In step with the
/// current that is a level field, and one that grows evenly with height and way aside. What of the latter is the same
/// everywhere counts as the former.
#[derive(Clone, Copy)]
pub struct Returned {
    pub field_nt: Vec3,
    pub by_place: Symmetric,
    /// With what is taken off at the wire's own height.
    pub by_returned: Vec3,
    by_turns: [Vec3; 2],
    /// With the wire's height, as far as the height is in [`Self::share`]: too little to matter for the observer's place.
    by_share: Vec3,
}

impl Returned {
    pub fn seen(axes: &Axes, wire_m: Vec3, at_m: Vec3, returned_per_m: f32) -> Self {
        let from_m = at_m - wire_m;
        let (growing, growth) = Self::growing(axes, from_m, returned_per_m);
        let (aside_m, above_m) = (axes.left.dot(from_m), axes.up.dot(from_m));
        let share = Self::share(above_m, returned_per_m);
        let level_nt = axes.left * (SCALE_NT * returned_per_m);
        let growing_nt = growing * (growth * returned_per_m);
        let by_share = growing_nt * (COUNTED_TWICE * returned_per_m.abs() * share);
        let by_place = Symmetric::products_of(axes.left, axes.up) * (growth * returned_per_m);
        let [lay, slope] = axes.by_turns(growing_nt, by_place, axes.along.dot(from_m));
        // The level field lies athwart, so it turns with the lay; and where the wire slopes, what is aside of it stays level,
        // so the other turns about the wire too.
        let turning = axes.left.cross(Vec3::Z) * (-SCALE_NT * returned_per_m)
            + (axes.up * above_m - axes.left * aside_m) * (2.0 * axes.along.z * growth * returned_per_m);
        Self {
            field_nt: level_nt + growing_nt,
            by_place,
            by_returned: axes.left * SCALE_NT + growing * (growth * (1.0 + share)),
            by_share: by_share * axes.up.z,
            by_turns: [lay + turning, slope + by_share * axes.along.dot(from_m)],
        }
    }

    /// The field alone.
    pub fn field_nt(axes: &Axes, wire_m: Vec3, at_m: Vec3, returned_per_m: f32) -> Vec3 {
        let (growing, growth) = Self::growing(axes, at_m - wire_m, returned_per_m);
        axes.left * (SCALE_NT * returned_per_m) + growing * (growth * returned_per_m)
    }

    /// The field that grows with height and way aside, and by how much for each unit returned.
    fn growing(axes: &Axes, from_m: Vec3, returned_per_m: f32) -> (Vec3, f32) {
        let (aside_m, above_m) = (axes.left.dot(from_m), axes.up.dot(from_m));
        let growth = -SCALE_NT * SECOND_ORDER * returned_per_m * Self::share(above_m, returned_per_m);
        (axes.left * above_m + axes.up * aside_m, growth)
    }

    /// How much of what counts as the first order is.
    fn share(above_m: f32, returned_per_m: f32) -> f32 {
        1.0 / (1.0 + COUNTED_TWICE * (returned_per_m * above_m).abs())
    }

    /// As [`Wire::by_own`].
    pub fn by_own(&self, axes: &Axes) -> [Vec3; 4] {
        let [left, up, lay, slope] = own(axes, self.by_place, self.by_turns);
        [left, up + self.by_share, lay, slope]
    }
}

/// How a field changes that moves with its wire.
fn own(axes: &Axes, by_place: Symmetric, [lay, slope]: [Vec3; 2]) -> [Vec3; 4] {
    [by_place * -axes.left, by_place * -Vec3::Z, lay, slope]
}
