//! What tells of a job.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use serde::Serialize;

use crate::book::{Run, Station, Verdict};
use crate::cli::{Done, Failure, report};
use crate::job::{Entry, EntryId, Job, Place, Places, Settings, fingerprint};
use crate::units;

#[derive(clap::Args)]
pub struct Show {
    /// The job
    job: PathBuf,
    /// Print as JSON
    #[arg(long)]
    json: bool,
}

#[derive(clap::Args)]
pub struct History {
    /// The job
    job: PathBuf,
    /// Print as JSON
    #[arg(long)]
    json: bool,
}

#[derive(clap::Args)]
pub struct Check {
    /// The job
    job: PathBuf,
}

#[derive(clap::Args)]
pub struct Rescue {
    /// The damaged job
    job: PathBuf,
    /// The new one
    #[arg(long)]
    out: PathBuf,
}

#[derive(Serialize)]
struct Told {
    settings: Settings,
    runs: Vec<ToldRun>,
    notices: Vec<String>,
    caution: &'static str,
}

#[derive(Serialize)]
struct ToldRun {
    entry: EntryId,
    name: String,
    stations: Vec<ToldStation>,
}

#[derive(Serialize)]
struct ToldStation {
    entry: EntryId,
    by: &'static str,
    ties: Option<ToldTies>,
    #[serde(flatten)]
    found: Station,
}

#[derive(Serialize)]
struct ToldTies {
    residuals_m: Vec<f64>,
    chi_square: f64,
    spare: usize,
    agree: bool,
}

/// Where everything of a job is, or the one message that says why not.
pub fn places(job: &Job) -> Result<Places, Failure> {
    let refused = |r: crate::job::Refusal| format!("{}, {}: {}", job.path().display(), r.place, r.what);
    Ok(job.state().places().map_err(refused)?)
}

pub fn show(options: &Show) -> Result<Done, Failure> {
    let job = Job::open(&options.job)?;
    let places = places(&job)?;
    let notices = [job.notices(), places.notices.clone()].concat();
    let state = job.state();
    let runs: Vec<(ToldRun, Run)> = state
        .runs()
        .filter_map(|(entry, card)| {
            let run = state.run(entry, &places)?;
            let stations = state.stations_of(entry).into_iter().zip(&run.stations);
            let stations = stations.map(|((id, station), found)| ToldStation {
                entry: id,
                by: by(&station.place),
                ties: places.ties_of(id).map(|t| ToldTies {
                    residuals_m: t.residuals_m.clone(),
                    chi_square: t.chi_square,
                    spare: t.spare,
                    agree: t.agree,
                }),
                found: found.clone(),
            });
            Some((ToldRun { entry, name: card.name.clone(), stations: stations.collect() }, run))
        })
        .collect();
    if options.json {
        let (runs, settings) = (runs.into_iter().map(|(told, _)| told).collect(), state.settings());
        report::json(&Told { settings, runs, notices, caution: report::CAUTION })?;
        return Ok(Done::WORK);
    }
    for notice in notices {
        eprintln!("notice: {notice}");
    }
    let mut text = String::new();
    let settings = state.settings();
    writeln!(text, "{}", if settings.title.is_empty() { "(no title)" } else { &settings.title })?;
    for words in [&settings.description, &settings.site_note] {
        if !words.is_empty() {
            writeln!(text, "{words}")?;
        }
    }
    if let Some(datum) = settings.datum {
        writeln!(text, "datum {}, heights from {}", datum.name(), settings.heights.unwrap_or_default())?;
    }
    for (told, run) in &runs {
        let simulated = if run.is_simulated() { ", simulated" } else { "" };
        writeln!(text, "\nRun {:?}  entry {}{simulated}", told.name, told.entry)?;
        for station in &told.stations {
            station_line(&mut text, station)?;
        }
    }
    list(
        &mut text,
        "Points",
        state.points().map(|(id, p)| (id, format!("{:?}  {}", p.name, p.description))),
    )?;
    list(&mut text, "Notes", state.notes().map(|(id, n)| (id, about(n.text.clone(), n.about))))?;
    list(
        &mut text,
        "Photos",
        state.photos().map(|(id, p)| (id, about(format!("{}  {}", p.path, p.text), p.about))),
    )?;
    let sources = state.sources().map(|(id, s)| (id, format!("{}, {}, {} bytes", s.path, s.what, s.bytes)));
    list(&mut text, "Taken from", sources)?;
    writeln!(text, "\n{}", report::CAUTION)?;
    report::print(&text)?;
    Ok(Done::WORK)
}

fn by(place: &Place) -> &'static str {
    match place {
        Place::Locate => "locate",
        Place::Grid { .. } => "tape",
        Place::Ties { .. } => "ties",
        Place::Gnss(_) => "satellites",
    }
}

fn about(text: String, of: Option<EntryId>) -> String {
    of.map_or(text.clone(), |of| format!("{text}  (about entry {of})"))
}

fn list(
    text: &mut String,
    title: &str,
    items: impl Iterator<Item = (EntryId, String)>,
) -> std::fmt::Result {
    for (n, (id, words)) in items.enumerate() {
        if n == 0 {
            writeln!(text, "\n{title}")?;
        }
        writeln!(text, "  entry {id:<4} {words}")?;
    }
    Ok(())
}

fn station_line(text: &mut String, station: &ToldStation) -> std::fmt::Result {
    let found = &station.found;
    let depth = found.stated_depth_m().map_or("no depth stated".to_owned(), |d| {
        format!("{} to the source, 95 %", units::metres_range(d.low95, d.high95))
    });
    let place = found.position.map_or("no place".to_owned(), |p| {
        let tried = if found.is_located() { "" } else { "at " };
        format!(
            "{tried}{:.2} m east, {:.2} m north, within {} by {}",
            p.east_m,
            p.north_m,
            units::metres_up(p.radius95_m()),
            station.by
        )
    });
    let trouble = if found.trouble_spot { "  TROUBLE SPOT" } else { "" };
    let verdict = found.verdict.word();
    writeln!(
        text,
        "  {:>4} {verdict:<6} {depth}; {place}  {}{trouble}  entry {}",
        found.number, found.name, station.entry
    )
}

pub fn history(options: &History) -> Result<Done, Failure> {
    let job = Job::open(&options.job)?;
    for notice in job.notices() {
        eprintln!("notice: {notice}");
    }
    let entries = job.history()?;
    if options.json {
        let entries = entries.iter().map(as_json).collect::<Result<Vec<_>, _>>()?;
        report::json(&entries)?;
        return Ok(Done::WORK);
    }
    let mut text = String::new();
    for Entry { id, at, by, kind, of, reason, body, .. } in &entries {
        let of = of.map_or(String::new(), |of| format!(" of entry {of}"));
        let by = if by.is_empty() { String::new() } else { format!("  by {by}") };
        let why = if reason.is_empty() { String::new() } else { format!("  because {reason}") };
        // A station is long; a change is told in full.
        let what = if kind == "correction" { format!("  {body}") } else { String::new() };
        writeln!(text, "{id:>5}  {at}  {kind}{of}{by}{why}{what}")?;
    }
    report::print(&text)?;
    Ok(Done::WORK)
}

fn as_json(entry: &Entry) -> serde_json::Result<serde_json::Value> {
    let body: serde_json::Value = serde_json::from_str(&entry.body)?;
    Ok(serde_json::json!({
        "entry": entry.id, "at": entry.at, "by": entry.by, "kind": entry.kind, "of": entry.of,
        "reason": entry.reason, "body": body,
    }))
}

pub fn rescue(options: &Rescue) -> Result<Done, Failure> {
    let (saved, lost) = Job::rescue(&options.job, &options.out)?;
    let lost: Vec<String> = lost.iter().map(ToString::to_string).collect();
    if !lost.is_empty() {
        eprintln!("notice: {}: entries that are lost: {}", options.job.display(), lost.join(", "));
    }
    eprintln!("{saved} whole entries");
    report::wrote("job", &options.out);
    Ok(Done::WORK)
}

/// Files are looked for under the names that they were entered by.
pub fn check(options: &Check) -> Result<Done, Failure> {
    let job = Job::open(&options.job)?;
    for notice in job.notices() {
        eprintln!("notice: {notice}");
    }
    let state = job.state();
    let sources = state.sources().map(|(id, s)| (id, &s.path, &s.sha256));
    let photos = state.photos().map(|(id, p)| (id, &p.path, &p.sha256));
    let mut text = format!("{} entries, all as they were written\n", job.history()?.len());
    let mut verdict = Verdict::Agree;
    for (id, path, sha256) in sources.chain(photos) {
        let found = match fingerprint(Path::new(path)) {
            Ok((now, _)) if now == *sha256 => "as it was",
            Ok(_) => "CHANGED since it was entered",
            Err(_) => "NOT THERE under this name, seen from here",
        };
        if found != "as it was" {
            verdict = Verdict::Doubt;
        }
        writeln!(text, "entry {id:<4} {path}: {found}")?;
    }
    report::print(&text)?;
    Ok(Done { verdict })
}
