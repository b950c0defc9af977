//! How the mast is held: an accelerometer and a magnetometer in one part, the LSM303AGR, by the crate `lsm303agr`.
//!
//! The accelerometer gives pitch and roll to a degree while the mast is carried gently, and its zero is to be
//! calibrated ([`Mounting`]): as delivered it may be off by 40 thousandths of g, which is 2.3 degrees.
//!
//! **The heading is to be trusted little.** The magnetometer hears the Earth's steady field, so the tone does not disturb
//! it, but whatever is magnetic does: a ferrite rod or a steel screw on the mast (calibrated as `zero_nt`, as far as it
//! turns with the mast), a car, a manhole cover, reinforced concrete (not calibrated at all). The strength of the field
//! is checked, and a heading is withheld where it is not the Earth's. Mount the part as far from coils with rods as from
//! the battery, and check it by turning on the spot.

mod attitude;
mod sensor;

pub use attitude::{Attitude, Mounting};
pub use sensor::{Compass, StartError};
