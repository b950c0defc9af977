//! What keys mean.

use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyEventKind, KeyModifiers};

/// What a key asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Action {
    /// Stand still, or go on.
    Pause,
    /// Stand still, and take one hop.
    Step,
    /// Twice as fast.
    Faster,
    /// Half as fast.
    Slower,
    /// Mark a station.
    Mark,
    /// Show this page, counted from 0.
    Page(usize),
    /// Show the next page, or the one before.
    Turn(bool),
    /// Further down a long page, or back up.
    Scroll(bool),
    /// Another stretch of time.
    Window,
    /// Show the keys, or no longer.
    Help,
    /// Leave the help, where it is shown.
    Back,
    /// Leave.
    Quit,
}

/// Keys and what they do, as the help page lists them.
pub const KEYS: [(&str, &str); 11] = [
    ("space", "pause, and go on"),
    ("s, right", "one step: a hop of 0.1 s"),
    ("+, up", "twice as fast, up to 32 times"),
    ("-, down", "half as fast, down to a quarter"),
    ("m", "mark a station, and keep it in the job"),
    ("1 to 5", "everything, signal, spectrum, plan, verdict"),
    ("tab", "the next page; with shift the one before"),
    ("page down", "further down a long page; page up: back"),
    ("w", "how much time is shown: 30, 60, 120 or 300 s"),
    ("?, h", "these keys"),
    ("q, ctrl-c", "leave"),
];

/// What a key asks for, if anything.
pub fn action(key: &KeyEvent) -> Option<Action> {
    if key.kind == KeyEventKind::Release {
        return None;
    }
    if key.modifiers.contains(KeyModifiers::CONTROL) {
        return matches!(key.code, KeyCode::Char('c' | 'd')).then_some(Action::Quit);
    }
    Some(match key.code {
        KeyCode::Char(' ') => Action::Pause,
        KeyCode::Char('s') | KeyCode::Right => Action::Step,
        KeyCode::Char('+' | '=') | KeyCode::Up => Action::Faster,
        KeyCode::Char('-' | '_') | KeyCode::Down => Action::Slower,
        // A key that is held down marks once.
        KeyCode::Char('m') if key.kind == KeyEventKind::Press => Action::Mark,
        KeyCode::Char(digit @ '1'..='5') => Action::Page(digit as usize - '1' as usize),
        KeyCode::Tab => Action::Turn(true),
        KeyCode::BackTab => Action::Turn(false),
        KeyCode::PageDown => Action::Scroll(true),
        KeyCode::PageUp => Action::Scroll(false),
        KeyCode::Char('w') => Action::Window,
        KeyCode::Char('?' | 'h') | KeyCode::F(1) => Action::Help,
        KeyCode::Esc => Action::Back,
        KeyCode::Char('q') => Action::Quit,
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pressed(code: KeyCode) -> Option<Action> {
        action(&KeyEvent::new(code, KeyModifiers::NONE))
    }

    #[test]
    fn keys_do_what_the_help_says() {
        let expected = [
            (KeyCode::Char(' '), Action::Pause),
            (KeyCode::Char('s'), Action::Step),
            (KeyCode::Up, Action::Faster),
            (KeyCode::Char('-'), Action::Slower),
            (KeyCode::Char('m'), Action::Mark),
            (KeyCode::Char('5'), Action::Page(4)),
            (KeyCode::Tab, Action::Turn(true)),
            (KeyCode::PageDown, Action::Scroll(true)),
            (KeyCode::Char('w'), Action::Window),
            (KeyCode::Char('?'), Action::Help),
            (KeyCode::Char('q'), Action::Quit),
        ];
        assert_eq!(expected.len(), KEYS.len());
        for (code, wanted) in expected {
            assert_eq!(pressed(code), Some(wanted));
        }
        let interrupt = KeyEvent::new(KeyCode::Char('c'), KeyModifiers::CONTROL);
        assert_eq!(action(&interrupt), Some(Action::Quit));
    }

    #[test]
    fn other_keys_and_releases_do_nothing() {
        assert_eq!(pressed(KeyCode::Char('x')), None);
        assert_eq!(pressed(KeyCode::Char('6')), None);
        let mut release = KeyEvent::new(KeyCode::Char('q'), KeyModifiers::NONE);
        release.kind = KeyEventKind::Release;
        assert_eq!(action(&release), None);
    }
}
