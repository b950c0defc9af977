//! The battery, by a divider and a converter of the microcontroller.

/// What lies between the battery and the count.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Divider {
    /// From the battery to the tap, ohms.
    pub upper_ohm: u32,
    /// From the tap to ground, ohms.
    pub lower_ohm: u32,
    /// The converter's reference, millivolts.
    pub reference_mv: u32,
    /// Its count at the reference, 4095 for 12 bits.
    pub full_scale_counts: u16,
}

impl Divider {
    /// Millivolts at the battery. `None` at the converter's ends: a wire is broken, or the divider is wrong.
    ///
    /// ```
    /// use nullwalk_drivers::battery::Divider;
    /// // Two equal resistors, 12 bits, 3.3 V: a cell of 3.7 V gives some 2296 counts.
    /// let divider = Divider { upper_ohm: 100_000, lower_ohm: 100_000, reference_mv: 3300, full_scale_counts: 4095 };
    /// assert_eq!(divider.millivolts(2296), Some(3701));
    /// assert_eq!(divider.millivolts(4095), None);
    /// ```
    pub fn millivolts(&self, counts: u16) -> Option<u32> {
        if counts == 0 || counts >= self.full_scale_counts {
            return None;
        }
        let ohms = u64::from(self.upper_ohm) + u64::from(self.lower_ohm);
        let above = u64::from(counts) * u64::from(self.reference_mv);
        let below = u64::from(self.full_scale_counts) * u64::from(self.lower_ohm);
        // Counts and millivolts have 48 bits together, so only absurd resistors can overflow; they give `None` too.
        let rounded = above.checked_mul(ohms)?.checked_add(below / 2)?;
        u32::try_from(rounded.checked_div(below)?).ok()
    }
}

/// What the battery is good for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Charge {
    /// Enough.
    #[default]
    Full,
    /// Time to think of the spare.
    Low,
    /// Close the field book now. It stays so until the battery was changed or charged: relieved of its load, an empty
    /// battery recovers, and would be found empty once more in the middle of a write.
    Empty,
}

/// Where one state ends and the next begins, in millivolts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Levels {
    /// Low below this,
    pub low_mv: u32,
    /// empty below this.
    pub empty_mv: u32,
    /// By so much above `low_mv` it must be to count as full again.
    pub hysteresis_mv: u32,
}

impl Levels {
    /// One lithium-ion cell: 4.2 V when full; below 3.5 V little is left, and at 3.2 V it ends steeply (common practice,
    /// no source).
    pub const LITHIUM_CELL: Self = Self { low_mv: 3500, empty_mv: 3200, hysteresis_mv: 200 };
}

/// So many readings in a row must say so: a load that is switched on makes the voltage sag for a moment.
const AGREE: u8 = 4;

/// Follows the battery.
///
/// ```
/// use nullwalk_drivers::battery::{Charge, Gauge, Levels};
/// let mut gauge = Gauge::new(Levels::LITHIUM_CELL);
/// (0..4).for_each(|_| gauge.push(3400));
/// assert_eq!(gauge.charge(), Charge::Low);
/// ```
#[derive(Debug, Clone)]
pub struct Gauge {
    levels: Levels,
    charge: Charge,
    next: Charge,
    agreed: u8,
}

impl Gauge {
    /// A gauge that takes the battery for full until it knows better.
    pub const fn new(levels: Levels) -> Self {
        Self { levels, charge: Charge::Full, next: Charge::Full, agreed: 0 }
    }

    /// What the battery is good for.
    pub const fn charge(&self) -> Charge {
        self.charge
    }

    /// Take in a reading, some of them a second.
    pub fn push(&mut self, millivolts: u32) {
        let says = self.says(millivolts);
        if says == self.charge {
            self.agreed = 0;
            return;
        }
        self.agreed = if says == self.next { self.agreed.saturating_add(1) } else { 1 };
        self.next = says;
        if self.agreed >= AGREE {
            (self.charge, self.agreed) = (says, 0);
        }
    }

    fn says(&self, millivolts: u32) -> Charge {
        let Levels { low_mv, empty_mv, hysteresis_mv } = self.levels;
        if millivolts >= low_mv.saturating_add(hysteresis_mv) {
            Charge::Full
        } else if self.charge == Charge::Empty || millivolts < empty_mv {
            Charge::Empty
        } else if self.charge == Charge::Low || millivolts < low_mv {
            Charge::Low
        } else {
            Charge::Full
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn after(gauge: &mut Gauge, millivolts: u32) -> Charge {
        (0..AGREE).for_each(|_| gauge.push(millivolts));
        gauge.charge()
    }

    #[test]
    fn down_in_steps_and_up_only_by_charging() {
        let mut gauge = Gauge::new(Levels::LITHIUM_CELL);
        let ways = [
            (3500, Charge::Full),
            (3499, Charge::Low),
            (3699, Charge::Low),
            (3700, Charge::Full),
            (3300, Charge::Low),
            (3199, Charge::Empty),
            (3600, Charge::Empty),
            (3700, Charge::Full),
            (3100, Charge::Empty),
        ];
        for (millivolts, charge) in ways {
            assert_eq!(after(&mut gauge, millivolts), charge, "{millivolts}");
        }
    }

    #[test]
    fn a_sag_changes_nothing() {
        let mut gauge = Gauge::new(Levels::LITHIUM_CELL);
        for _ in 0..10 {
            [3000, 3000, 3000, 3600].into_iter().for_each(|millivolts| gauge.push(millivolts));
        }
        assert_eq!(gauge.charge(), Charge::Full);
        // Low and empty by turns is not yet either.
        [3400, 3100, 3400, 3100, 3400].into_iter().for_each(|millivolts| gauge.push(millivolts));
        assert_eq!(gauge.charge(), Charge::Full);
    }

    proptest! {
        #[test]
        fn a_steady_voltage_settles(first in 0..5000_u32, steady in 0..5000_u32) {
            let mut gauge = Gauge::new(Levels::LITHIUM_CELL);
            after(&mut gauge, first);
            let charge = after(&mut gauge, steady);
            prop_assert_eq!(after(&mut gauge, steady), charge);
        }

        #[test]
        fn any_divider_is_survived(upper_ohm: u32, lower_ohm: u32, reference_mv: u32, full_scale_counts: u16, counts: u16) {
            let divider = Divider { upper_ohm, lower_ohm, reference_mv, full_scale_counts };
            if let Some(millivolts) = divider.millivolts(counts) {
                let exact = f64::from(counts) * f64::from(reference_mv) / f64::from(full_scale_counts)
                    * (f64::from(upper_ohm) + f64::from(lower_ohm)) / f64::from(lower_ohm);
                prop_assert!((f64::from(millivolts) - exact).abs() <= 0.5 + 1e-9 * exact);
            }
        }
    }
}
