//! Scales along the sides of panels.

use super::round::{plain, round_up};

/// A scale along one side of a panel.
#[derive(Debug, Clone, Copy)]
pub struct Axis {
    pub label: &'static str,
    from: f64,
    to: f64,
    log: bool,
    step: f64,
}

impl Axis {
    /// An even scale with a figure at every multiple of `step`.
    pub const fn linear(label: &'static str, from: f64, to: f64, step: f64) -> Self {
        Self { label, from, to, log: false, step }
    }

    /// An even scale with at most about so many round figures along it.
    pub fn rounded(label: &'static str, from: f64, to: f64, figures: f64) -> Self {
        Self::linear(label, from, to, round_up((to - from) / figures))
    }

    /// A logarithmic scale with figures at 1, 2 and 5 times the powers of ten; `from` must be above 0.
    pub const fn log(label: &'static str, from: f64, to: f64) -> Self {
        Self { label, from, to, log: true, step: 0.0 }
    }

    /// Whether a value lies on the scale.
    pub fn shows(self, value: f64) -> bool {
        (self.from..=self.to).contains(&value)
    }

    /// Where the scale begins.
    pub const fn start(self) -> f64 {
        self.from
    }

    /// Where the scale ends.
    pub const fn end(self) -> f64 {
        self.to
    }

    /// Where a value stands between the ends, 0 to 1; what is beyond an end is put there.
    pub fn share(self, value: f64) -> f64 {
        let share = if self.log {
            (value / self.from).ln() / (self.to / self.from).ln()
        } else {
            (value - self.from) / (self.to - self.from)
        };
        share.clamp(0.0, 1.0)
    }

    /// Where the scale carries figures.
    pub fn figures(self) -> Vec<f64> {
        if self.log {
            let decades = (self.from.log10().floor() as i32)..=(self.to.log10().ceil() as i32);
            let figures = decades.flat_map(|d| [1.0, 2.0, 5.0].map(|m| m * 10_f64.powi(d)));
            return figures.filter(|&f| self.shows(f)).collect();
        }
        let (first, last) = ((self.from / self.step - 1e-9).ceil(), (self.to / self.step + 1e-9).floor());
        (first as i32..=last as i32).map(|k| f64::from(k) * self.step).collect()
    }
}

/// A figure on a scale.
pub fn figure(value: f64) -> String {
    plain(value).replace('-', "−")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scales_carry_round_figures_and_hold_their_ends() {
        assert_eq!(Axis::rounded("", -0.3, 0.3, 6.0).figures().len(), 7);
        assert_eq!(
            Axis::rounded("", 482.0, 542.0, 6.0).figures(),
            [490.0, 500.0, 510.0, 520.0, 530.0, 540.0]
        );
        assert_eq!(Axis::log("", 0.3, 5.0).figures(), [0.5, 1.0, 2.0, 5.0]);
        assert_eq!(figure(0.1 + 0.2), "0.3");
        assert_eq!(figure(-20.0), "−20");
    }
}
