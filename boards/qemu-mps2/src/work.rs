//! The work that is measured: one entry for each figure.

use nullwalk_core::{field, math};

use crate::{Meter, Plan};

/// All of it, in the order of the signal chain.
pub fn all(meter: &mut impl Meter) {
    let stateless = || ();
    meter.measure("math.sin_cos_turn", Plan::steps(256), stateless, |(), i| {
        math::sin_cos_turn(i.wrapping_mul(0x9e37_79b9))
    });
    meter.measure("math.cbrt", Plan::steps(256), stateless, |(), i| math::cbrt(0.37 + i as f32));
    meter.measure("field.dipole", Plan::steps(256), stateless, |(), i| {
        field::dipole([0.2, 0.01, -0.02], [0.1, -0.4, 0.5 + i as f32 / 64.0])
    });
}
