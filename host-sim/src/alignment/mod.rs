//! Stations joined to a run: its line in plan and profile, its slopes, where the trouble is, and what to stake out.

mod flags;
mod join;
mod joined;
mod plan;
mod profile;
mod segments;
mod stakes;
mod system;
mod trouble;
mod used;
mod way;

pub use join::{Unjoined, join};
pub use joined::{Flag, Joined, JoinedStation, Segment, Stake, Trouble};
pub use plan::{LEAST_APART_M, Plan, PlanStation, plan};
pub use profile::{Level, Profile, profile};
