//! The simulator: from a site to converter counts.
//!
//! ```text
//! walker -> mast pose --+
//! sonde, line, mains, impulses, Earth -> field at every coil -> EMF -> + noise -> gain, rail, converter -> counts
//! ```
//!
//! Pose and fields are worked out 500 times a second and interpolated linearly in between; a mast that
//! passes a source 0.5 m away at 1 m/s so gets its field right to 1e-5. All of it is `f64`, and the same
//! site, station and seed give the same samples on the same machine, however they are read.
//!
//! What is modelled: point dipoles and thin wires in free space (no soil, and of iron a stand-in), coils as
//! points at their node's place, EMF as the derivative of the flux, including what motion adds; hum, impulses,
//! sway in the Earth's field; white noise, high-pass, gain rungs with settling, rail and rounding. What is not:
//! the length of a sonde and the size of coils, soil and metal, the converter's anti-alias filter, microphonics.

mod coils;
mod earth;
mod emission;
mod emitter;
pub mod faults;
mod front_end;
mod glide;
mod impulses;
mod mains;
mod pose;
mod random;
mod simulation;
mod tone;
mod track;
mod walker;

pub use pose::Pose;
pub use simulation::Simulation;
pub use walker::{Cue, Guided};
