//! Buttons for gloves: slow, large and few.

use embedded_hal::digital::InputPin;

/// A contact must rest so long to be believed, milliseconds. Contacts bounce for some milliseconds (common practice,
/// no source), and a glove brushes a button for longer than that.
pub const DEBOUNCE_MS: u32 = 30;
/// Held so long, a press is a long one, milliseconds.
pub const LONG_MS: u32 = 800;

/// What a button was used for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Press {
    /// Pressed and let go.
    Short,
    /// Held; told while it is still down, so that the hand knows when to let go.
    Long,
}

/// One button, in time. A button that is down when the instrument starts says nothing until it was let go.
///
/// ```
/// use nullwalk_drivers::buttons::{Button, Press};
/// let mut button = Button::default();
/// button.push(false, 0);
/// button.push(false, 40);
/// assert_eq!(button.push(true, 100), None);
/// assert_eq!(button.push(true, 200), None);
/// assert_eq!(button.push(false, 300), None); // perhaps it only bounces
/// assert_eq!(button.push(false, 340), Some(Press::Short));
/// ```
#[derive(Debug, Clone, Copy, Default)]
pub struct Button {
    state: State,
    /// The contact as last seen, and since when.
    contact: Option<(bool, u32)>,
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
enum State {
    /// Down already, or told of: to be let go before anything counts.
    #[default]
    Spent,
    Up,
    Down {
        since_ms: u32,
    },
}

impl Button {
    /// Take in the contact at `now_ms` (wrapping), at least every [`DEBOUNCE_MS`].
    pub fn push(&mut self, is_down: bool, now_ms: u32) -> Option<Press> {
        let (seen, since_ms) = *self.contact.get_or_insert((is_down, now_ms));
        if seen != is_down {
            self.contact = Some((is_down, now_ms));
            return None;
        }
        if now_ms.wrapping_sub(since_ms) < DEBOUNCE_MS {
            return None;
        }
        match (self.state, is_down) {
            (State::Up, true) => self.state = State::Down { since_ms },
            (State::Spent, false) => self.state = State::Up,
            (State::Down { .. }, false) => {
                self.state = State::Up;
                return Some(Press::Short);
            }
            (State::Down { since_ms }, true) if now_ms.wrapping_sub(since_ms) >= LONG_MS => {
                self.state = State::Spent;
                return Some(Press::Long);
            }
            _ => {}
        }
        None
    }
}

/// Buttons on pins that are pulled up and go low when pressed.
#[derive(Debug)]
pub struct Buttons<P, const N: usize> {
    pins: [P; N],
    buttons: [Button; N],
}

impl<P: InputPin, const N: usize> Buttons<P, N> {
    /// Three to five is what a gloved hand can tell apart.
    pub fn new(pins: [P; N]) -> Self {
        Self { pins, buttons: [Button::default(); N] }
    }

    /// Look at all pins at `now_ms` (wrapping). One event for each button; a pin that cannot be read is not pressed.
    pub fn poll(&mut self, now_ms: u32) -> [Option<Press>; N] {
        let mut presses = [None; N];
        for ((press, pin), button) in presses.iter_mut().zip(&mut self.pins).zip(&mut self.buttons) {
            *press = button.push(pin.is_low().unwrap_or(false), now_ms);
        }
        presses
    }

    /// The pins back.
    pub fn release(self) -> [P; N] {
        self.pins
    }
}

#[cfg(test)]
mod tests {
    use std::vec::Vec;

    use embedded_hal_mock::eh1::digital::{Mock, State as Level, Transaction};
    use proptest::prelude::*;

    use super::*;

    /// Presses of a contact that is down during these times, looked at every 5 ms, the clock starting before a wrap.
    fn presses(down: &[[u32; 2]], until_ms: u32) -> Vec<(u32, Press)> {
        let mut button = Button::default();
        let at = |ms: u32| {
            let is_down = down.iter().any(|range| (range[0]..range[1]).contains(&ms));
            button.push(is_down, ms.wrapping_sub(500)).map(|press| (ms, press))
        };
        (0..until_ms).step_by(5).filter_map(at).collect()
    }

    #[test]
    fn a_short_press_counts_when_it_ends() {
        assert_eq!(presses(&[[100, 300]], 1000), [(330, Press::Short)]);
        assert_eq!(presses(&[[100, 300], [400, 600]], 1000), [(330, Press::Short), (630, Press::Short)]);
    }

    #[test]
    fn bouncing_is_one_press() {
        let bouncing = [[100, 110], [115, 120], [130, 300], [310, 315], [320, 325]];
        assert_eq!(presses(&bouncing, 1000), [(355, Press::Short)]);
        assert_eq!(presses(&[[100, 110], [120, 125], [140, 165]], 1000), []);
    }

    #[test]
    fn a_long_press_counts_while_it_lasts_and_once() {
        assert_eq!(presses(&[[100, 5000]], 6000), [(900, Press::Long)]);
        assert_eq!(presses(&[[100, 885]], 6000), [(915, Press::Short)]);
    }

    #[test]
    fn held_at_the_start_is_no_press() {
        assert_eq!(presses(&[[0, 2000]], 3000), []);
        assert_eq!(presses(&[[0, 2000], [2200, 2400]], 3000), [(2430, Press::Short)]);
    }

    #[test]
    fn pins_are_low_when_pressed() {
        // Up, then the second of three pressed and let go, looked at every 40 ms.
        let pin = |levels: [Level; 5]| Mock::new(&levels.map(Transaction::get));
        let up = [Level::High; 5];
        let pressed = [Level::High, Level::High, Level::Low, Level::Low, Level::High];
        let mut buttons = Buttons::new([pin(up), pin(pressed), pin(up)]);
        for look in 0..5 {
            assert_eq!(buttons.poll(look * 40), [None; 3]);
        }
        buttons.release().iter_mut().for_each(Mock::done);
    }

    proptest! {
        /// Whatever a contact does, it never presses faster than it can be believed.
        #[test]
        fn presses_are_rare(contact in prop::collection::vec(any::<bool>(), 0..2000), start: u32) {
            let mut button = Button::default();
            let mut last = None;
            for (n, is_down) in contact.into_iter().enumerate() {
                let ms = n as u32 * 5;
                if button.push(is_down, start.wrapping_add(ms)).is_some() {
                    prop_assert!(last.is_none_or(|last| ms - last >= 2 * DEBOUNCE_MS));
                    last = Some(ms);
                }
            }
        }
    }
}
