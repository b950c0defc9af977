//! One recording out of a field book: from a header to the next.

use std::path::Path;

use nullwalk_core::frame::SampleIndex;
use nullwalk_core::locate::Guidance;
use nullwalk_core::record::{Fault, Header, Hop, Note, Record, Station};
use nullwalk_core::verdict::{Fix, Judgement};

use super::{FieldBook, FieldBookError, signal};
use crate::book;
use crate::equipment::Signal;
use crate::run::{self, Outcome};

/// One recording.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Recording {
    /// Counted from 1.
    pub number: usize,
    /// How it was made; lost with the record, or not received yet.
    pub header: Option<Header>,
    /// What the hops gave.
    pub hops: Vec<Hop>,
    /// Fixes.
    pub fixes: Vec<Fix>,
    /// Stations.
    pub stations: Vec<Station>,
    /// Notes.
    pub notes: Vec<Note>,
    /// Faults.
    pub faults: Vec<Fault>,
}

/// A recording that was run again.
#[derive(Debug, Clone, PartialEq)]
pub struct Again {
    /// What it amounts to.
    pub outcome: Outcome,
    /// Fixes of the handset that came out the same, bit for bit.
    pub same: usize,
    /// and those that did not: hops before them are missing, or another build made them.
    pub different: usize,
}

impl FieldBook {
    /// The recordings, in their order. What comes before the first header has none.
    pub fn recordings(&self) -> Vec<Recording> {
        let mut recordings: Vec<Recording> = Vec::new();
        for record in self.records() {
            if recordings.is_empty() || matches!(record, Record::Header(_)) {
                recordings.push(Recording { number: recordings.len() + 1, ..Recording::default() });
            }
            if let Some(recording) = recordings.last_mut() {
                recording.take(record);
            }
        }
        recordings
    }

    /// One recording; without a number, the only one.
    ///
    /// # Errors
    /// When there is no such recording, or more than one to choose from.
    pub fn recording(&self, number: Option<usize>) -> Result<Recording, FieldBookError> {
        let mut recordings = self.recordings();
        let count = recordings.len();
        let wrong = |problem: String, remedy| {
            let file = self.file.clone();
            Err(FieldBookError::Recording { file, number: number.unwrap_or(1), problem, remedy })
        };
        match number {
            None if count > 1 => wrong(
                format!("which of {count}?"),
                "give --recording; `field-book list` tells what is in them",
            ),
            Some(n) if n == 0 || n > count => {
                wrong(format!("there are {count}"), "give --recording from 1 up to that")
            }
            _ => Ok(recordings.swap_remove(number.unwrap_or(1) - 1)),
        }
    }
}

impl Recording {
    fn take(&mut self, record: &Record) {
        match record {
            Record::Header(header) => self.header = Some(header.clone()),
            Record::Hop(hop) => self.hops.push(*hop),
            Record::Fix(fix) => self.fixes.push(fix.clone()),
            Record::Station(station) => self.stations.push(station.clone()),
            Record::Note(note) => self.notes.push(note.clone()),
            Record::Fault(fault) => self.faults.push(*fault),
            Record::Guidance(_) => {}
        }
    }

    /// Seconds from the beginning of the recording, where its header is there to tell.
    pub fn time_s(&self, at: SampleIndex) -> Option<f64> {
        self.header.as_ref().map(|header| at as f64 / f64::from(header.rate_hz))
    }

    /// How it was made, and what the hops gave, or why one cannot go on without.
    ///
    /// # Errors
    /// When its header or its hops are not there.
    pub fn playable(&self, file: &Path) -> Result<(&Header, &[Hop]), FieldBookError> {
        let wrong = |problem: &str, remedy| {
            let (file, problem) = (file.to_path_buf(), problem.to_owned());
            Err(FieldBookError::Recording { file, number: self.number, problem, remedy })
        };
        match (&self.header, self.hops.as_slice()) {
            (None, _) => {
                wrong("its header is lost", "take the book from the handset itself, or another copy")
            }
            (_, []) => wrong("it holds no hops", "they made room for newer ones; its stations are listed"),
            (Some(header), hops) => Ok((header, hops)),
        }
    }

    /// Run it again through the very same locate. `watch` sees what the handset said.
    ///
    /// # Errors
    /// As [`Recording::playable`], or when the header describes what cannot be.
    pub fn again(
        &self,
        file: &Path,
        mut watch: impl FnMut(&Guidance, Option<&Fix>),
    ) -> Result<Again, FieldBookError> {
        let (header, hops) = self.playable(file)?;
        let (mut same, mut different) = (0, 0);
        let outcome = run::locate_hops(header, hops, |guidance, fix| {
            if let Some(fix) = fix
                && let Some(theirs) = self.fixes.iter().find(|theirs| theirs.at == fix.at)
            {
                *if is_same(fix, theirs) { &mut same } else { &mut different } += 1;
            }
            watch(guidance, fix);
        });
        let outcome = outcome.map_err(|error| FieldBookError::Recording {
            file: file.to_path_buf(),
            number: self.number,
            problem: error.to_string(),
            remedy: "the handset was set to what this program cannot do; use one of its version",
        })?;
        // What was not even made again is different, too.
        different = different.max(self.fixes.len().saturating_sub(same));
        Ok(Again { outcome, same, different })
    }

    /// Its stations as those of a run.
    pub fn run_stations(&self) -> Vec<book::Station> {
        let signal = self.header.as_ref().map(signal).unwrap_or_default();
        self.stations.iter().map(|station| run_station(station, &signal)).collect()
    }
}

fn run_station(station: &Station, signal: &Signal) -> book::Station {
    let judgement = match &station.found {
        Ok(fix) => fix.judgement.clone(),
        Err(reasons) => Judgement::refused(reasons.clone()),
    };
    let outcome = Outcome {
        fix: station.found.as_ref().ok().cloned(),
        judgement,
        duration_s: 0.0,
        log: Vec::new(),
        carrier_offset_hz: station.carrier_offset_hz,
        best_snr_db: station.snr_db,
        fixes: station.found.iter().count(),
    };
    run::station(u32::from(station.number), &station.name, signal, &outcome)
}

/// Bit for bit: a not-a-number is the same as itself.
fn is_same(a: &Fix, b: &Fix) -> bool {
    let bytes = |fix: &Fix| {
        let mut room = [0; nullwalk_core::record::MAX_RECORD_BYTES];
        nullwalk_core::record::encode(&Record::Fix(fix.clone()), 0, &mut room).map(<[u8]>::to_vec)
    };
    bytes(a) == bytes(b)
}
