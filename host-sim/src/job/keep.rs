//! What was located just now, kept in a job.

use std::path::Path;

use super::content::{Content, Origin, RunCard, Source, StationEntry};
use super::draft::Draft;
use super::error::JobError;
use super::fingerprint::{fingerprint, of_station};
use super::state::State;
use super::{EntryId, Job};
use crate::book::{Run, Station};

/// Keep a run that was located just now, under its own name or, if there is one of that name, under the next free one.
/// `from` is the file or capture that it was located from. Gives the name.
///
/// # Errors
/// When the job cannot take it.
pub fn keep_run(job: &mut Job, run: &Run, from: Option<&Path>) -> Result<String, JobError> {
    let source = from.map(recording).transpose()?;
    let mut kept = String::new();
    job.append_with(|state, first| {
        let mut drafts = Vec::new();
        let from = source.map(|source| known_or_new(state, first, source, &mut drafts));
        let card = RunCard::of(run);
        let base = if card.name.trim().is_empty() { "run" } else { &card.name };
        let mut names = (1..).map(|n| if n == 1 { base.to_owned() } else { format!("{base} ({n})") });
        kept = names.find(|name| state.run_named(name).is_none()).unwrap_or_default();
        let id = first + drafts.len() as EntryId;
        drafts.push(Draft::New(Content::Run(RunCard { name: kept.clone(), ..card })));
        for station in &run.stations {
            drafts.push(located(id, from, station.clone()));
        }
        Ok::<_, JobError>(drafts)
    })?;
    Ok(kept)
}

/// Keep a station that was located just now from the capture `from`, in a run that is there, under the next number of
/// that run. Gives its entry.
///
/// # Errors
/// When the job cannot take it.
pub fn keep_station(
    job: &mut Job,
    run: EntryId,
    mut station: Station,
    from: &Path,
) -> Result<EntryId, JobError> {
    let source = recording(from)?;
    let entered = job.append_with(|state, first| {
        station.number = next_number(state, run);
        let mut drafts = Vec::new();
        let source = known_or_new(state, first, source, &mut drafts);
        drafts.push(located(run, Some(source), station));
        Ok::<_, JobError>(drafts)
    })?;
    Ok(entered.end - 1)
}

/// Keep a station that was marked just now in the run that has the title of `run`, which is begun if it is not there,
/// under the next number there. `source` is what it was located from. Gives the number.
///
/// # Errors
/// When the job cannot take it.
pub fn keep_marked(
    job: &mut Job,
    run: &Run,
    mut station: Station,
    source: Option<&Source>,
) -> Result<u32, JobError> {
    job.append_with(|state, first| {
        let mut drafts = Vec::new();
        let from = source.map(|source| known_or_new(state, first, source.clone(), &mut drafts));
        let id = state.run_named(&run.title).unwrap_or_else(|| {
            drafts.push(Draft::New(Content::Run(RunCard::of(run))));
            first + drafts.len() as EntryId - 1
        });
        station.number = next_number(state, id);
        drafts.push(located(id, from, station.clone()));
        Ok::<_, JobError>(drafts)
    })?;
    Ok(station.number)
}

/// A file or capture that is located from.
///
/// # Errors
/// When it cannot be read.
pub fn recording(path: &Path) -> Result<Source, JobError> {
    let (sha256, bytes) = fingerprint(path)?;
    let what = if path.is_dir() { "capture" } else { "recording" }.to_owned();
    Ok(Source { path: path.to_string_lossy().into_owned(), what, sha256, bytes, ..Source::default() })
}

/// The entry of a file: the one that it has already, or the `first` of these drafts.
fn known_or_new(state: &State, first: EntryId, source: Source, drafts: &mut Vec<Draft>) -> EntryId {
    let known = state.sources().find(|(_, s)| s.sha256 == source.sha256).map(|(id, _)| id);
    known.unwrap_or_else(|| {
        drafts.push(Draft::New(Content::Source(source)));
        first
    })
}

/// One more than the highest number in a run.
fn next_number(state: &State, run: EntryId) -> u32 {
    let numbers = state.stations().filter(|(_, s)| s.run == run).map(|(_, s)| s.found.number);
    numbers.max().unwrap_or_default().saturating_add(1)
}

fn located(run: EntryId, from: Option<EntryId>, found: Station) -> Draft {
    let origin = from.map(|source| Origin { source, sha256: of_station(&found), ..Origin::default() });
    Draft::New(Content::Station(Box::new(StationEntry { run, found, origin, ..StationEntry::default() })))
}
