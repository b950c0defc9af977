//! The watchdog is fed for work done, not for being alive.

/// The hardware that restarts the handset when it is not fed.
pub trait Watchdog {
    /// Start its time anew.
    fn feed(&mut self);
}

/// What the slow side has to do again and again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Duty {
    /// A block went through the core, or it was said that none comes.
    Samples,
    /// The screen was drawn.
    Screen,
    /// The buttons were looked at.
    Buttons,
}

const ALL: u8 = 0b111;

/// Feeds the watchdog each time that every duty was done at least once since it was last fed. One that hangs, or is
/// left out, starves it.
///
/// ```
/// use nullwalk_handset::duties::{Duties, Duty, Watchdog};
/// struct Meals(u32);
/// impl Watchdog for Meals {
///     fn feed(&mut self) {
///         self.0 += 1;
///     }
/// }
/// let (mut duties, mut meals) = (Duties::default(), Meals(0));
/// duties.done(Duty::Screen, &mut meals);
/// duties.done(Duty::Screen, &mut meals);
/// duties.done(Duty::Buttons, &mut meals);
/// assert_eq!(meals.0, 0);
/// duties.done(Duty::Samples, &mut meals);
/// assert_eq!(meals.0, 1);
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Duties(pub(crate) u8);

impl Duties {
    /// A duty was done.
    pub fn done(&mut self, duty: Duty, watchdog: &mut impl Watchdog) {
        self.0 |= 1 << duty as u8;
        if self.0 == ALL {
            self.0 = 0;
            watchdog.feed();
        }
    }
}
