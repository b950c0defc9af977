//! The built-in sites.

use super::{Done, Failure, report};
use crate::site::builtin;

#[derive(clap::Args)]
pub struct Options {
    /// Show the site file of this one, with its explanations; a start for one of your own
    name: Option<String>,
}

pub fn run(options: &Options) -> Result<Done, Failure> {
    match &options.name {
        None => {
            let width = builtin().iter().map(|b| b.name.len()).max().unwrap_or(0);
            let list: String =
                builtin().iter().map(|b| format!("{:width$}  {}\n", b.name, b.summary)).collect();
            report::print(&list)?;
        }
        Some(name) => {
            let found = builtin().iter().find(|b| b.name == name);
            let site = found.ok_or_else(|| format!("{name}: no such site; `nullwalk sites` lists them"))?;
            report::print(site.toml)?;
        }
    }
    Ok(Done::WORK)
}
