//! What the screen shows, as data.

use heapless::{String, Vec};
use nullwalk_core::locate::Guidance;
use nullwalk_core::record::FaultKind;
use nullwalk_core::verdict::{Fix, Reason};

use crate::menu::{Line, MAX_LINES};
use crate::selftest::{Finding, Report};

/// Everything that is on the screen.
#[derive(Debug, Clone, PartialEq)]
pub struct View<'a> {
    /// What there is to read.
    pub page: Page<'a>,
    /// Tone that is set, hertz.
    pub tone_hz: f32,
    /// Rung in force,
    pub rung: u8,
    /// and whether it is held by hand.
    pub held: bool,
    /// What goes on beside the locate: a fault, a low battery.
    pub notice: Option<&'static str>,
    /// Whether sound is off.
    pub mute: bool,
    /// Light on dark, or dark on light.
    pub night: bool,
}

/// What there is to read.
#[derive(Debug, Clone, PartialEq)]
pub enum Page<'a> {
    /// The self-test, as far as it has come.
    Testing(&'a Report),
    /// What the self-test found: which of how many.
    Finding(Finding, Count),
    /// A locate is on.
    Guide(&'a Guidance),
    /// No sample came yet.
    Waiting,
    /// A fix.
    Fix(&'a Fix),
    /// Why the verdict is not `Agree`,
    Why(Reason, Count),
    /// and what to do about that.
    Remedy(Reason, Count),
    /// A fault of the instrument, and the channel it is about.
    Fault(FaultKind, Option<u8>),
    /// A menu: heading, lines, the chosen one.
    Menu(&'static str, Vec<Line, MAX_LINES>, usize),
    /// Something was done: in a word, and more of it.
    Done(String<20>, &'static str),
    /// The book is closed. Why.
    Closed(&'static str),
}

/// Which of how many, from 1 on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Count {
    /// Which.
    pub number: usize,
    /// Of how many.
    pub of: usize,
}
