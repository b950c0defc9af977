//! What comes into a job from outside: handsets' field books, captures, books of an earlier nullwalk.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{BufReader, Read as _};
use std::path::{Path, PathBuf};

use nullwalk_core::record::Record;
use sha2::{Digest as _, Sha256};

use super::content::{Content, Note, Origin, RunCard, Source, StationEntry};
use super::draft::Draft;
use super::error::JobError;
use super::fingerprint::{fingerprint, hex, of_station};
use super::state::State;
use super::{EntryId, Job};
use crate::book::{BookError, Run, Station};
use crate::fieldbook::{FieldBook, FieldBookError, Form};

/// What was taken in.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Imported {
    /// The entry that stands for the file.
    pub source: EntryId,
    /// Stations that are new.
    pub added: usize,
    /// Stations that the job had already.
    pub known: usize,
    /// What the reader should know.
    pub notices: Vec<String>,
}

/// Why a file could not be taken in.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ImportError {
    /// The job.
    #[error(transparent)]
    Job(#[from] JobError),
    /// A field book.
    #[error(transparent)]
    FieldBook(#[from] FieldBookError),
    /// A book of an earlier nullwalk.
    #[error(transparent)]
    Book(#[from] BookError),
    /// A folder that is no capture.
    #[error("{path}: holds no capture.toml; give the folder of a capture, or a field book", path = .0.display())]
    Folder(PathBuf),
}

/// A station on its way in.
struct Arrival {
    station: Station,
    sequence: Option<u32>,
    sha256: String,
    utc_s: Option<u64>,
}

/// Take in a file: a field book in any form, a book of an earlier nullwalk, or a capture, which is kept by reference.
/// Stations go to the run of the name `run`, which is made if it is not there; without a name, to the job's only run, or
/// to one named after the file. `instrument` is the serial number of the handset.
///
/// # Errors
/// When the file cannot be read or is of no known kind, or the job cannot take it. Nothing is entered then.
pub fn bring_in(
    job: &mut Job,
    file: &Path,
    run: Option<&str>,
    instrument: &str,
) -> Result<Imported, ImportError> {
    if file.is_dir() && !file.join("capture.toml").is_file() {
        return Err(ImportError::Folder(file.to_owned()));
    }
    let (sha256, bytes) = fingerprint(file)?;
    let path = file.to_string_lossy().into_owned();
    let mut source = Source { path, sha256, bytes, instrument: instrument.to_owned(), ..Source::default() };
    let (mut card, mut arrivals, mut imported) = (RunCard::default(), Vec::new(), Imported::default());
    let mut site_note = String::new();
    if file.is_dir() {
        "capture".clone_into(&mut source.what);
    } else if first_byte(file)? == Some(b'{') {
        "book of an earlier nullwalk".clone_into(&mut source.what);
        let book = Run::load(file)?;
        arrivals = book.stations.iter().map(arrival).collect();
        card = RunCard::of(&book);
        site_note = book.site_note;
    } else {
        let book = FieldBook::open(file)?;
        match book.form {
            Form::Stream => "field book",
            Form::Image => "image of a flash",
        }
        .clone_into(&mut source.what);
        source.findings = book.findings();
        imported.notices.clone_from(&source.findings);
        arrivals = from_field_book(&book);
        if arrivals.iter().any(|a| a.station.position.is_some()) {
            imported.notices.push(
                "its places count from the origin of the handset's own walk; where that is not the origin of the site's \
                 grid, place the marks anew with `nullwalk job place`"
                    .to_owned(),
            );
        }
    }
    let stem = file.file_stem().map_or_else(|| "run".to_owned(), |s| s.to_string_lossy().into_owned());
    job.append_with(|state, first| {
        imported.source = first;
        let mut drafts = vec![Draft::New(Content::Source(source))];
        if arrivals.is_empty() {
            return Ok::<_, ImportError>(drafts);
        }
        let name = match run {
            Some(name) => name.to_owned(),
            None if !card.name.is_empty() => card.name.clone(),
            None => only_run(state).unwrap_or(stem),
        };
        let run = state.run_named(&name).unwrap_or_else(|| {
            drafts.push(Draft::New(Content::Run(RunCard { name, ..card })));
            first + 1
        });
        let before = Known::of(state, instrument);
        for arrival in arrivals {
            match before.meets(&arrival) {
                Meeting::Same => imported.known += 1,
                Meeting::Other(station) => {
                    imported.notices.push(format!(
                        "record {} of instrument {instrument:?} is not the one that station {station} came from: two \
                         instruments have the same serial number, or one began a new book; both are kept",
                        arrival.sequence.unwrap_or_default()
                    ));
                    drafts.push(entered(run, first, arrival));
                }
                Meeting::New => drafts.push(entered(run, first, arrival)),
            }
        }
        if !site_note.is_empty() {
            drafts.push(Draft::New(Content::Note(Note { text: site_note, about: Some(run) })));
        }
        imported.added = drafts.iter().filter(|d| matches!(d, Draft::New(Content::Station(_)))).count();
        Ok(drafts)
    })?;
    Ok(imported)
}

fn only_run(state: &State) -> Option<String> {
    let mut runs = state.runs();
    match (runs.next(), runs.next()) {
        (Some((_, run)), None) => Some(run.name.clone()),
        _ => None,
    }
}

fn entered(run: EntryId, source: EntryId, arrival: Arrival) -> Draft {
    let Arrival { station: found, sequence, sha256, utc_s } = arrival;
    let origin = Some(Origin { source, sequence, sha256, utc_s });
    Draft::New(Content::Station(Box::new(StationEntry { run, found, origin, ..StationEntry::default() })))
}

fn arrival(station: &Station) -> Arrival {
    Arrival { station: station.clone(), sequence: None, sha256: of_station(station), utc_s: None }
}

fn from_field_book(book: &FieldBook) -> Vec<Arrival> {
    let stations = book.recordings().into_iter().flat_map(|recording| recording.run_stations());
    let records = book.entries.iter().filter_map(|entry| match &entry.record {
        Ok(Record::Station(station)) => Some((entry, station.utc_s)),
        _ => None,
    });
    let joined = records.zip(stations);
    joined
        .map(|((entry, utc_s), station)| Arrival {
            station,
            sequence: Some(entry.sequence),
            sha256: hex(&Sha256::digest(&entry.bytes)),
            utc_s,
        })
        .collect()
}

/// Records that came from an instrument before.
struct Known {
    /// By fingerprint.
    records: BTreeMap<String, u32>,
    /// By number, of this instrument if it has a serial number.
    numbers: BTreeMap<u32, u32>,
}

enum Meeting {
    New,
    Same,
    /// Another record had its number; the station that came of it.
    Other(u32),
}

impl Known {
    fn of(state: &State, instrument: &str) -> Self {
        let (mut records, mut numbers) = (BTreeMap::new(), BTreeMap::new());
        let theirs: BTreeMap<EntryId, &str> =
            state.sources().map(|(id, source)| (id, source.instrument.as_str())).collect();
        for (_, station) in state.stations() {
            let Some(origin) = &station.origin else { continue };
            records.insert(origin.sha256.clone(), station.found.number);
            if let Some(sequence) = origin.sequence
                && !instrument.is_empty()
                && theirs.get(&origin.source) == Some(&instrument)
            {
                numbers.insert(sequence, station.found.number);
            }
        }
        Self { records, numbers }
    }

    fn meets(&self, arrival: &Arrival) -> Meeting {
        if arrival.sequence.is_some() && self.records.contains_key(&arrival.sha256) {
            return Meeting::Same;
        }
        let other = arrival.sequence.and_then(|number| self.numbers.get(&number));
        other.map_or(Meeting::New, |station| Meeting::Other(*station))
    }
}

fn first_byte(file: &Path) -> Result<Option<u8>, JobError> {
    let opened = File::open(file).map_err(JobError::io(file, "be opened"))?;
    let found = BufReader::new(opened).bytes().find(|b| !matches!(b, Ok(b' ' | b'\n' | b'\r' | b'\t')));
    found.transpose().map_err(JobError::io(file, "be read"))
}
