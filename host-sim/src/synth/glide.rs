//! A quantity that a person moves: towards a target, no faster and no more suddenly than people do.

/// Close to the target the rate falls with the distance over this time, so that the end is smooth.
const EASE_S: f64 = 0.15;

/// A value on its way somewhere.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Glide {
    pub(super) value: f64,
    pub(super) rate: f64,
}

impl Glide {
    /// At rest at a value.
    pub(super) fn at(value: f64) -> Self {
        Self { value, rate: 0.0 }
    }

    /// Move for `dt_s` towards `target` with limited rate and acceleration.
    pub(super) fn towards(&mut self, target: f64, top_rate: f64, accel: f64, dt_s: f64) {
        let rest = target - self.value;
        // A rate from which half the acceleration is enough to brake in time.
        let rate = (accel * rest.abs()).sqrt().min(rest.abs() / EASE_S).min(top_rate);
        self.pace(rate.copysign(rest), accel, dt_s);
    }

    /// Move for `dt_s` at `rate`, or as near to it as the acceleration allows.
    pub(super) fn pace(&mut self, rate: f64, accel: f64, dt_s: f64) {
        let most = accel * dt_s;
        self.rate += (rate - self.rate).clamp(-most, most);
        self.value += self.rate * dt_s;
    }

    /// Whether it has come to rest within `tolerance` of `target`.
    pub(super) fn is_at(&self, target: f64, tolerance: f64) -> bool {
        (self.value - target).abs() < tolerance && self.rate.abs() < tolerance / EASE_S
    }
}
