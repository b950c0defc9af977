//! The handset without its board: blocks of samples in; screen, tone and field book out.
//!
//! ```text
//! interrupt of data-ready: Sample -> Inlet -> queue
//! slow side:               queue -> Handset -> Book, View -> screen, Sound
//! ```
//!
//! The interrupt never waits, and what does not fit the queue is counted. The slow side is a [`Handset`] that takes
//! packets, presses of buttons and the state of the battery in, in any order, and an [`App`](app::App) that calls it in
//! turn on a [`Board`](app::Board). Time is an input, and nothing here has a heap, waits, or can panic.
#![no_std]
#![forbid(unsafe_code)]

#[cfg(test)]
extern crate std;

pub mod app;
pub mod book;
mod clock;
mod desk;
pub mod duties;
mod faults;
mod handset;
pub mod intake;
pub mod menu;
pub mod screen;
pub mod selftest;
pub mod view;

pub use handset::{Fitting, Handset};
