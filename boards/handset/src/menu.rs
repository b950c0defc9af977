//! Buttons and the menu: three buttons do everything, two more save time.

use core::fmt::Write as _;

use heapless::{String, Vec};
use nullwalk_core::gain::Ladder;
use nullwalk_core::tone::{CANDIDATES_HZ, NYQUIST_MARGIN_HZ};

/// A button, by what it is for. Their order is that of the pins; the last two may be left out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Key {
    /// One line up, or the page before.
    Up,
    /// One line down, or the next page.
    Down,
    /// Choose. Held: mark a station, or leave the menu.
    Enter,
    /// Mark a station.
    Mark,
    /// Sound on and off.
    Mute,
}

impl Key {
    /// All of them, in the order of the pins.
    pub const ALL: [Self; 5] = [Self::Up, Self::Down, Self::Enter, Self::Mark, Self::Mute];
}

/// Notes that are ready to be chosen: nobody types with gloves.
pub const NOTES: [&str; 8] = [
    "look here again",
    "metal near",
    "cable or fence near",
    "manhole",
    "bend seen",
    "pipe ends here",
    "could not walk on",
    "see paper notes",
];

/// What the person with the mast asks for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Wish {
    /// Keep a station.
    Mark,
    /// Keep a note.
    Note(&'static str),
    /// Listen for another tone, hertz.
    Tone(f32),
    /// Hold a rung, or let the ladder step by itself.
    Gain(Option<u8>),
    /// Exchange dark and light.
    Light,
    /// Sound on or off.
    Sound,
    /// Begin a new locate.
    Anew,
    /// Close the field book.
    Close,
}

/// The most lines of a list.
pub const MAX_LINES: usize = 18;

/// What a list is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum List {
    /// Everything.
    Main,
    /// Notes.
    Notes,
    /// Tones.
    Tones,
    /// Rungs.
    Gains,
    /// Whether to close the book.
    Close,
    /// Whether to begin anew.
    Anew,
}

/// A line of a list.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// What it is.
    pub name: String<24>,
    /// How it is set now.
    pub value: String<12>,
    does: Does,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Does {
    Open(List),
    Ask(Wish),
    Back,
}

/// What the menu needs to know.
#[derive(Debug, Clone, Copy)]
pub struct Settings<'a> {
    /// The gain ladder.
    pub ladder: &'a Ladder,
    /// Samples a second.
    pub rate_hz: f32,
    /// The tone that is set.
    pub tone_hz: f32,
    /// The rung that is held.
    pub held: Option<u8>,
    /// Whether sound is on.
    pub sound: bool,
    /// Whether the screen is dark.
    pub night: bool,
}

/// An open menu.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Menu {
    /// The list that is open.
    pub list: List,
    /// The line that is chosen.
    pub at: usize,
}

impl Menu {
    /// The main list.
    pub const MAIN: Self = Self { list: List::Main, at: 0 };

    /// One line up; from the first to the last.
    pub fn up(&mut self, settings: Settings<'_>) {
        self.at = self.at.checked_sub(1).unwrap_or(self.lines(settings).len().saturating_sub(1));
    }

    /// One line down; from the last to the first.
    pub fn down(&mut self, settings: Settings<'_>) {
        self.at = if self.at + 1 < self.lines(settings).len() { self.at + 1 } else { 0 };
    }

    /// Do what the line says: the list that is open then, and what is asked for.
    pub fn enter(self, settings: Settings<'_>) -> (Option<Self>, Option<Wish>) {
        match self.lines(settings).get(self.at).map(|line| line.does) {
            Some(Does::Open(list)) => (Some(Self { list, at: 0 }), None),
            Some(Does::Ask(wish)) => (None, Some(wish)),
            Some(Does::Back) | None => (Some(Self::MAIN), None),
        }
    }

    /// The heading.
    pub const fn title(self) -> &'static str {
        match self.list {
            List::Main => "MENU",
            List::Notes => "NOTE",
            List::Tones => "TONE",
            List::Gains => "GAIN",
            List::Close => "CLOSE THE BOOK?",
            List::Anew => "BEGIN ANEW?",
        }
    }

    /// The lines.
    pub fn lines(self, settings: Settings<'_>) -> Vec<Line, MAX_LINES> {
        let mut lines = Lines(Vec::new());
        match self.list {
            List::Main => {
                lines.add("mark station", "", Does::Ask(Wish::Mark));
                lines.add("note", "", Does::Open(List::Notes));
                lines.add("tone", &hertz(settings.tone_hz), Does::Open(List::Tones));
                let gain = settings.held.map_or(String::new(), |rung| times(settings.ladder, rung));
                lines.add(
                    "gain",
                    if gain.is_empty() { "by itself" } else { &gain },
                    Does::Open(List::Gains),
                );
                let light = if settings.night { "night" } else { "sun" };
                lines.add("screen", light, Does::Ask(Wish::Light));
                lines.add("sound", if settings.sound { "on" } else { "off" }, Does::Ask(Wish::Sound));
                lines.add("new locate", "", Does::Open(List::Anew));
                lines.add("close the book", "", Does::Open(List::Close));
            }
            List::Notes => NOTES.iter().for_each(|note| lines.add(note, "", Does::Ask(Wish::Note(note)))),
            List::Tones => {
                let fit = |hz: &f32| *hz + NYQUIST_MARGIN_HZ < 0.5 * settings.rate_hz;
                for hz in CANDIDATES_HZ.into_iter().filter(fit) {
                    let set = if hz == settings.tone_hz { "set" } else { "" };
                    lines.add(&hertz(hz), set, Does::Ask(Wish::Tone(hz)));
                }
            }
            List::Gains => {
                let set = |rung| if settings.held == rung { "set" } else { "" };
                lines.add("by itself", set(None), Does::Ask(Wish::Gain(None)));
                for rung in 0..=settings.ladder.top() {
                    let name = times(settings.ladder, rung);
                    lines.add(&name, set(Some(rung)), Does::Ask(Wish::Gain(Some(rung))));
                }
            }
            List::Close => lines.ask("no, go on", "yes, close it", Wish::Close),
            List::Anew => lines.ask("no, go on", "yes, forget this", Wish::Anew),
        }
        if !matches!(self.list, List::Main | List::Close | List::Anew) {
            lines.add("back", "", Does::Back);
        }
        lines.0
    }
}

struct Lines(Vec<Line, MAX_LINES>);

impl Lines {
    fn add(&mut self, name: &str, value: &str, does: Does) {
        let line = Line {
            name: nullwalk_core::record::clipped(name),
            value: nullwalk_core::record::clipped(value),
            does,
        };
        // The longest list, all rungs and two lines more, has room.
        let _ = self.0.push(line);
    }

    /// The harmless answer comes first.
    fn ask(&mut self, no: &str, yes: &str, wish: Wish) {
        self.add(no, "", Does::Back);
        self.add(yes, "", Does::Ask(wish));
    }
}

/// A frequency in whole hertz.
pub fn hertz(hz: f32) -> String<12> {
    let mut text = String::new();
    let _ = write!(text, "{} Hz", nullwalk_core::math::round(hz) as i32);
    text
}

/// A rung by its gain.
fn times(ladder: &Ladder, rung: u8) -> String<12> {
    let mut text = String::new();
    let _ = write!(text, "x {}", nullwalk_core::math::round(ladder.rung(rung).gain) as i32);
    text
}

#[cfg(test)]
mod tests {
    use nullwalk_core::gain::Rung;

    use super::*;

    fn ladder(rungs: usize) -> Ladder {
        let gains: std::vec::Vec<Rung> =
            (0..rungs).map(|n| Rung { gain: (1 << n) as f32, settle_s: 0.01 }).collect();
        Ladder::new(&gains, 2.5, 1 << 23, 1.0).unwrap()
    }

    fn settings(ladder: &Ladder) -> Settings<'_> {
        Settings { ladder, rate_hz: 8000.0, tone_hz: 512.0, held: None, sound: true, night: false }
    }

    #[test]
    fn every_list_has_room_for_all_its_lines() {
        let ladder = ladder(16);
        let settings = settings(&ladder);
        let lines = |list| Menu { list, at: 0 }.lines(settings).len();
        assert_eq!(lines(List::Main), 8);
        assert_eq!(lines(List::Notes), NOTES.len() + 1);
        assert_eq!(lines(List::Gains), 18);
        // 8192 Hz cannot be sampled 8000 times a second.
        assert_eq!(lines(List::Tones), 3);
    }

    #[test]
    fn lines_go_round() {
        let ladder = ladder(4);
        let mut menu = Menu::MAIN;
        menu.up(settings(&ladder));
        assert_eq!(menu.at, 7);
        menu.down(settings(&ladder));
        assert_eq!(menu, Menu::MAIN);
    }

    #[test]
    fn what_cannot_be_undone_is_asked_for_twice_and_no_comes_first() {
        let ladder = ladder(4);
        let settings = settings(&ladder);
        for at in 0..8 {
            let (_, wish) = Menu { list: List::Main, at }.enter(settings);
            assert!(!matches!(wish, Some(Wish::Close | Wish::Anew)));
        }
        for (list, wish) in [(List::Close, Wish::Close), (List::Anew, Wish::Anew)] {
            assert_eq!(Menu { list, at: 0 }.enter(settings), (Some(Menu::MAIN), None));
            assert_eq!(Menu { list, at: 1 }.enter(settings), (None, Some(wish)));
        }
    }
}
