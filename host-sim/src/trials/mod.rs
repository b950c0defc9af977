//! Bench trials: many seeded simulated locates with random variation of a site, summarised.
//!
//! A *plan* says which site, which of its keys vary and how, and how many trials there are. Everything a trial
//! draws depends on the plan's seed, the kind, the trial's number and the key alone, so trial 17 is the same on
//! any machine, in any shard and in any order. Each trial is one row in a file; the summary is made of rows.

mod bound;
mod builtin;
mod draw;
mod folder;
mod one;
mod pictures;
mod plan;
mod roc;
mod rows;
mod runner;
mod summary;
mod tree;

pub use bound::Stay;
pub use builtin::{BuiltinPlan, builtin};
pub use folder::{FolderError, Merged, merge, read};
pub use one::{Located, locate};
pub use pictures::{Picture, pictures};
pub use plan::{Kind, Plan, PlanError, Scene};
pub use rows::{MethodDepth, Row, RowError, Truth, Word};
pub use runner::{RunError, Shard, Task, run};
pub use summary::summary;
