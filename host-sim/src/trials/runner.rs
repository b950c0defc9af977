//! Runs the trials of a plan on all cores, each row written as it comes.

use std::path::Path;
use std::str::FromStr;
use std::sync::{Mutex, PoisonError};

use rayon::iter::{ParallelBridge, ParallelIterator};

use super::folder::{Folder, FolderError};
use super::one::trial;
use super::plan::{Kind, Plan, PlanError};

/// Which part of a plan's trials to run.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shard {
    index: u64,
    count: u64,
}

impl Shard {
    /// All of them.
    pub const WHOLE: Self = Self { index: 0, count: 1 };

    fn has(self, number: u64) -> bool {
        number % self.count == self.index
    }
}

impl FromStr for Shard {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let parts =
            text.split_once('/').and_then(|(i, n)| Some((i.parse::<u64>().ok()?, n.parse::<u64>().ok()?)));
        match parts {
            Some((i, count)) if (1..=count).contains(&i) => Ok(Self { index: i - 1, count }),
            _ => Err("give it as i/n, as in 3/8 for the third of eight parts, counted from 1".to_owned()),
        }
    }
}

/// Why a run stopped.
#[derive(Debug, thiserror::Error)]
pub enum RunError {
    /// The plan does not hold water.
    #[error(transparent)]
    Plan(#[from] PlanError),
    /// The folder cannot be used.
    #[error(transparent)]
    Folder(#[from] FolderError),
}

/// What is to be run.
#[derive(Debug)]
pub struct Task<'a> {
    /// The plan.
    pub plan: &'a Plan,
    /// The folder for its rows.
    pub out: &'a Path,
    /// Which part of its trials.
    pub shard: Shard,
    /// Only trials numbered below this, of each kind.
    pub first: u64,
}

/// Run what the folder does not hold yet. `begin` is told how many trials that is, `done` comes after each.
///
/// # Errors
/// When the folder cannot be used or a trial cannot be simulated; rows that are written stay.
pub fn run(task: &Task<'_>, begin: impl FnOnce(u64), done: impl Fn() + Sync) -> Result<(), RunError> {
    let plan = task.plan;
    let (folder, had) = Folder::open(task.out, plan)?;
    let pending: Vec<(&Kind, u64)> = plan
        .kinds
        .iter()
        .flat_map(|kind| (0..kind.trials.min(task.first)).map(move |number| (kind, number)))
        .filter(|(kind, number)| task.shard.has(*number) && !had.contains(&(kind.name.clone(), *number)))
        .collect();
    begin(pending.len() as u64);
    let varied = plan.varied();
    let folder = Mutex::new(folder);
    // Handed out one by one and in order: what is there after an interruption is the beginning.
    pending.into_iter().par_bridge().try_for_each(|(kind, number)| {
        let row = trial(plan, kind, number, &varied)?;
        folder.lock().unwrap_or_else(PoisonError::into_inner).append(&row.fields())?;
        done();
        Ok(())
    })
}
