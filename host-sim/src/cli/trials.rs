//! Bench trials: run a plan, merge parts of it, show what came of it.

use std::path::{Path, PathBuf};

use indicatif::{ProgressBar, ProgressStyle};

use super::{Done, Failure, report};
use crate::trials::{self, Plan, Row, Shard, Task, builtin};

#[derive(clap::Args)]
pub struct Options {
    #[command(subcommand)]
    command: Command,
}

#[derive(clap::Subcommand)]
enum Command {
    /// Run the trials of a plan that its folder does not hold yet, summarise and draw them
    Run(RunOptions),
    /// Merge the rows of several folders of one plan
    Merge(MergeOptions),
    /// Summarise the rows of a folder, and draw its pictures
    Show(ShowOptions),
    /// List the built-in plans, or explain one
    Plans(PlansOptions),
    /// Print the site file of one trial, to look at it alone with `nullwalk locate`
    Site(SiteOptions),
}

#[derive(clap::Args)]
struct RunOptions {
    /// A built-in plan (see `nullwalk trials plans`) or a plan file
    plan: String,
    /// Folder for the rows; what is in it already is not run again
    #[arg(long)]
    out: PathBuf,
    /// Only this part of the trials, as in 3/8
    #[arg(long, default_value = "1/1")]
    shard: Shard,
    /// Only the first so many trials of each kind; the rest can follow later
    #[arg(long)]
    first: Option<u64>,
}

#[derive(clap::Args)]
struct MergeOptions {
    /// Folder to make
    out: PathBuf,
    /// Folders to merge
    #[arg(required = true)]
    folders: Vec<PathBuf>,
}

#[derive(clap::Args)]
struct ShowOptions {
    /// A folder of rows
    folder: PathBuf,
    /// Another folder, whose nominal trials the distorted ones of the first are to be told from
    #[arg(long)]
    against: Option<PathBuf>,
    /// Write PNG beside SVG
    #[arg(long)]
    png: bool,
}

#[derive(clap::Args)]
struct PlansOptions {
    /// Show the plan file of this one, with its explanations; a start for one of your own
    name: Option<String>,
}

#[derive(clap::Args)]
struct SiteOptions {
    /// A built-in plan or a plan file
    plan: String,
    /// The trial's number, counted from 0
    trial: u64,
    /// Its kind; needed where the plan has several
    #[arg(long)]
    kind: Option<String>,
}

pub fn run(options: &Options) -> Result<Done, Failure> {
    match &options.command {
        Command::Run(options) => run_plan(options),
        Command::Merge(options) => merge(options),
        Command::Show(options) => show(&options.folder, options.against.as_deref(), options.png),
        Command::Plans(options) => plans(options.name.as_deref()),
        Command::Site(options) => site(options),
    }
}

fn open(name: &str) -> Result<Plan, Failure> {
    let (plan, notices) = Plan::open(name)?;
    report::notices(&notices);
    Ok(plan)
}

fn run_plan(options: &RunOptions) -> Result<Done, Failure> {
    let plan = open(&options.plan)?;
    let progress = ProgressBar::new(0).with_style(
        ProgressStyle::with_template("{bar:24} trial {pos} of {len}  {elapsed} gone, {eta} to go")
            .unwrap_or_else(|_| ProgressStyle::default_bar()),
    );
    let first = options.first.unwrap_or(u64::MAX);
    let task = Task { plan: &plan, out: &options.out, shard: options.shard, first };
    let ran = trials::run(&task, |count| progress.set_length(count), || progress.inc(1));
    progress.finish_and_clear();
    ran?;
    show(&options.out, None, false)
}

fn merge(options: &MergeOptions) -> Result<Done, Failure> {
    let merged = trials::merge(&options.out, &options.folders)?;
    eprintln!(
        "merged {} trials; {} came more than once and agree; {} are missing",
        merged.trials, merged.repeated, merged.missing
    );
    if let Some((kind, number)) = merged.at_odds.first() {
        let count = merged.at_odds.len();
        return Err(format!(
            "{}: {count} trials came more than once and differ, the first is number {number} of kind {kind}; \
             run all parts with the same program",
            options.out.display()
        )
        .into());
    }
    show(&options.out, None, false)
}

/// The kind that others are told from.
const NOMINAL: &str = "nominal";

fn show(folder: &Path, against: Option<&Path>, png: bool) -> Result<Done, Failure> {
    let (plan, rows) = trials::read(folder)?;
    report::print(&trials::summary(&plan, &rows))?;
    let others = against.map(trials::read).transpose()?.map(|(_, rows)| rows);
    // Where no kind is called so, the whole other folder is nominal: that is why it was named.
    let nominal: Vec<&Row> = match &others {
        Some(others) if others.iter().all(|r| r.kind != NOMINAL) => others.iter().collect(),
        Some(others) => others.iter().filter(|r| r.kind == NOMINAL).collect(),
        None => rows.iter().filter(|r| r.kind == NOMINAL).collect(),
    };
    let distorted: Vec<&Row> = rows.iter().filter(|r| r.kind != NOMINAL).collect();
    super::pictures::write(&trials::pictures(&rows, &nominal, &distorted), folder, png)?;
    Ok(Done::WORK)
}

fn plans(name: Option<&str>) -> Result<Done, Failure> {
    let all: Vec<_> = builtin().iter().map(|plan| [plan.name, plan.summary, plan.toml]).collect();
    report::builtin(&all, name, "no such plan; `nullwalk trials plans` lists them")
}

fn site(options: &SiteOptions) -> Result<Done, Failure> {
    let plan = open(&options.plan)?;
    let names = || plan.kinds.iter().map(|k| k.name.as_str()).collect::<Vec<_>>().join(", ");
    let kind = match &options.kind {
        Some(name) => plan.kinds.iter().find(|k| k.name == *name),
        None => plan.kinds.first().filter(|_| plan.kinds.len() == 1),
    };
    let kind = kind.ok_or_else(|| format!("--kind: must be one of {}", names()))?;
    let scene = plan.scene(kind, options.trial)?;
    let text = toml::to_string(&scene.site)?;
    report::print(&format!(
        "# Trial {} of kind {} of the plan {}.\n# nullwalk locate THIS_FILE --seed {}\n\n{text}",
        options.trial, kind.name, plan.file, scene.seed
    ))?;
    Ok(Done::WORK)
}
