//! What arrived, located, kept beside the job and entered in it.

use std::fs;

use axum::http::StatusCode;

use super::arrive::Sent;
use super::place::{not_kept, not_there_yet, shelf_of};
use crate::capture::Capture;
use crate::job::{EntryId, JobError, fingerprint, keep_run, keep_station};
use crate::run;
use crate::serve::{Office, Trouble, Volume};

/// Locate what was sent, keep it, and give the entry of its station.
pub fn enter(office: &Office, volume: &Volume, sent: Sent) -> Result<EntryId, Trouble> {
    let Sent { name, run, by, files, _place } = sent;
    // Messages go by the folder's name: where it lies for the moment is nobody's concern.
    let plain = |text: String| text.replace(&files.path().display().to_string(), &name);
    let unfit =
        |text: String| Trouble::unfit(format!("{}. Nothing was kept.", plain(text).trim_end_matches('.')));
    let (sha256, _) = fingerprint(files.path())?;
    let known = office.shelf.with(volume, |opened| {
        let state = opened.job.state();
        let source = state.sources().find(|(_, s)| s.sha256 == sha256).map(|(id, _)| id)?;
        state
            .stations()
            .find(|(_, s)| s.origin.as_ref().is_some_and(|o| o.source == source))
            .map(|(_, s)| s.found.number)
    })?;
    if let Some(number) = known {
        let what = format!("This capture is in the job already, as station {number}. Nothing was kept.");
        return Err(Trouble::new(StatusCode::CONFLICT, what));
    }
    let capture = Capture::open(files.path()).map_err(|e| unfit(e.to_string()))?;
    let (outcome, _) =
        run::locate_capture(&capture, Default::default()).map_err(|e| unfit(e.to_string()))?;
    let located = run::of_capture(&capture, &name, &outcome);
    let kept = shelf_of(volume).join(&name);
    not_there_yet(&kept)?;
    // From here on the folder stays, unless the job cannot take it.
    let arrived = files.keep();
    if let Err(error) = fs::rename(&arrived, &kept) {
        let _ = fs::remove_dir_all(&arrived);
        return Err(not_kept(&kept)(error));
    }
    let entered = office.shelf.with(volume, |opened| {
        opened.job.by = by;
        match run {
            Some(run) => {
                let station = located.stations.first().cloned().unwrap_or_default();
                keep_station(&mut opened.job, run, station, &kept)
            }
            None => keep_run(&mut opened.job, &located, Some(&kept)).map(|_| opened.job.last()),
        }
    });
    entered.and_then(|done| done).map_err(|error: JobError| {
        let _ = fs::remove_dir_all(&kept);
        error.into()
    })
}
