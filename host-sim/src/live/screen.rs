//! The terminal and the clock: keys and time go in, pictures come out.

use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{self, Receiver, RecvTimeoutError};
use std::thread;
use std::time::{Duration, Instant};

use ratatui::DefaultTerminal;
use ratatui::crossterm::event::{self, Event};

use super::feed::Feed;
use super::input::{Action, action};
use super::state::{Page, State, pump};
use super::view::draw;
use crate::book::Station;

/// Pictures come as often as hops.
const FRAME: Duration = Duration::from_millis(100);
/// Of that, what may be spent on samples, so that keys are always answered.
const WORK: Duration = Duration::from_millis(70);

/// The terminal, taken over. It is given back when this goes, whatever the reason: an error, a panic, a signal.
pub struct Screen {
    terminal: DefaultTerminal,
    /// Set by a signal that asks to leave.
    leave: Arc<AtomicBool>,
    colour: bool,
}

impl Screen {
    /// Take the terminal over.
    ///
    /// # Errors
    /// When it cannot be.
    pub fn open() -> io::Result<Self> {
        let leave = Arc::new(AtomicBool::new(false));
        #[cfg(unix)]
        {
            use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
            for signal in [SIGHUP, SIGINT, SIGTERM] {
                signal_hook::flag::register(signal, leave.clone())?;
            }
        }
        // See no-color.org: set to anything but nothing.
        let colour = std::env::var_os("NO_COLOR").is_none_or(|set| set.is_empty());
        let opened = ratatui::try_init();
        if opened.is_err() {
            // It may have been taken over in part.
            ratatui::restore();
        }
        Ok(Self { terminal: opened?, leave, colour })
    }
}

impl Drop for Screen {
    fn drop(&mut self) {
        ratatui::restore();
    }
}

/// Keys and changes of size, as they come. They are waited for on a thread of their own, since `crossterm` never comes back
/// from a terminal that was hung up.
fn events() -> Receiver<io::Result<Event>> {
    let (sender, events) = mpsc::channel();
    thread::spawn(move || while sender.send(event::read()).is_ok() {});
    events
}

/// Show a feed until whoever looks on leaves. `keep` keeps a station, gives its number and says where, or says why not.
///
/// # Errors
/// When the terminal fails.
pub fn watch(
    screen: &mut Screen,
    state: &mut State,
    feed: &mut dyn Feed,
    mut keep: impl FnMut(Station) -> Result<(u32, String), String>,
) -> io::Result<()> {
    let events = events();
    let mut last = Instant::now();
    loop {
        if !state.help && matches!(state.page, Page::Overview | Page::Spectrum) {
            state.spectrum = feed.spectrum();
        }
        screen.terminal.draw(|frame| draw(frame, state, screen.colour))?;
        let next = last + FRAME;
        // Every key that waits, then a picture at once; a key that is held down does not keep the picture away.
        let mut patience = next.saturating_duration_since(Instant::now());
        loop {
            let asked = match events.recv_timeout(patience) {
                Ok(event) => event?.as_key_event().as_ref().and_then(action),
                Err(RecvTimeoutError::Timeout) => break,
                Err(RecvTimeoutError::Disconnected) => return Err(io::ErrorKind::BrokenPipe.into()),
            };
            match asked {
                Some(Action::Quit) => return Ok(()),
                Some(Action::Mark) => state.mark(feed.refusal(), &mut keep),
                Some(action) => {
                    state.act(action);
                    if action == Action::Step {
                        state.step(feed);
                    }
                }
                None => {}
            }
            patience = Duration::ZERO;
            if Instant::now() >= next {
                break;
            }
        }
        if screen.leave.load(Ordering::Relaxed) {
            return Ok(());
        }
        let now = Instant::now();
        let elapsed_s = now.duration_since(last).as_secs_f64();
        last = now;
        pump(state, feed, elapsed_s, || now.elapsed() < WORK);
    }
}
