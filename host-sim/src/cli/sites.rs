//! The built-in sites.

use super::{Done, Failure, report};
use crate::site::builtin;

#[derive(clap::Args)]
pub struct Options {
    /// Show the site file of this one, with its explanations; a start for one of your own
    name: Option<String>,
}

pub fn run(options: &Options) -> Result<Done, Failure> {
    let all: Vec<_> = builtin().iter().map(|site| [site.name, site.summary, site.toml]).collect();
    report::builtin(&all, options.name.as_deref(), "no such site; `nullwalk sites` lists them")
}
