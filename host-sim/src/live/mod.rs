//! The live view in a terminal: a recording, a simulated walk or a handset's link, as it goes on.
//!
//! A [`Feed`] gives an [`Update`] for every hop; the [`State`] is all that there is to see, and moves on by updates,
//! [`Action`]s and the time that has passed; [`draw`] is a function of the state alone. Only [`Screen`] knows the
//! terminal and the clock.

mod axes;
mod feed;
mod input;
mod player;
mod screen;
mod spectrum;
mod state;
mod trail;
mod update;
mod verdict;
mod view;

pub use feed::{Feed, Link, Next, Replay, Samples};
pub use input::{Action, KEYS, action};
pub use player::Player;
pub use screen::{Screen, watch};
pub use spectrum::{Listener, Spectrum};
pub use state::{Ending, Page, State, WINDOWS_S, pump};
pub use trail::{History, Point, Trail};
pub use update::{About, Ellipse, Update};
pub use view::{SMALLEST, draw};
