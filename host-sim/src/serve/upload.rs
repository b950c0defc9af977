//! A capture taken in: its files received within bounds, located by the core, kept beside the job and entered in it.

use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use axum::Extension;
use axum::extract::multipart::{Field, MultipartRejection};
use axum::extract::{self, Multipart, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse as _, Redirect};
use maud::{Markup, html};
use tempfile::TempDir;
use tokio::sync::OwnedSemaphorePermit;

use super::entrance::UPLOAD;
use super::job_page::{address, name};
use super::page::{caution, page};
use super::seats::Working;
use super::shelf::Opened;
use super::{Answer, Desk, Office, Trouble, Volume, aside, forms, of_job};
use crate::capture::{Capture, FIELD_FILE, MANIFEST_FILE, SAMPLES_FILE, TRACK_FILE};
use crate::job::{EntryId, JobError, fingerprint, keep_run, keep_station};
use crate::run;

/// Files of a capture, and the most that each may hold.
const PARTS: [(&str, u64); 4] =
    [(MANIFEST_FILE, 1 << 20), (SAMPLES_FILE, 256 << 20), (TRACK_FILE, 64 << 20), (FIELD_FILE, 64 << 20)];
/// All of them together.
const LARGEST_BYTES: u64 = 256 << 20;
/// Words in a form.
const LONGEST_WORDS: usize = 200;
const LONGEST_NAME: usize = 60;
/// How long all files may take to arrive.
const ARRIVE_WITHIN: Duration = Duration::from_secs(180);

/// Whether a file of this name belongs to a capture.
pub fn is_part_of_a_capture(name: &str) -> bool {
    PARTS.iter().any(|(part, _)| *part == name)
}

/// Whether a capture's folder may have this name: one that is a name on every system and leads nowhere else.
pub fn is_folder_name(name: &str) -> bool {
    let plain = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '.');
    (1..=LONGEST_NAME).contains(&name.len())
        && name.chars().all(plain)
        && name.starts_with(|c: char| c.is_ascii_alphanumeric())
        && !name.ends_with('.')
}

/// The last part of a name that may come with the folders before it.
fn last_part(name: &str) -> &str {
    name.rsplit(['/', '\\']).next().unwrap_or_default()
}

pub async fn ask(State(office): Desk, extract::Path(job): extract::Path<String>) -> Answer {
    of_job(office, job, |office, volume, opened| {
        let home = address(volume);
        let trail = [(&*name(volume, opened), home.clone())];
        Ok(page("Take in a capture", &trail, &form(office, opened, &home)).into_response())
    })
    .await
}

fn form(office: &Office, opened: &Opened, home: &str) -> Markup {
    let megabytes = LARGEST_BYTES >> 20;
    html! {
        h1 { "Take in a capture" }
        p { "Its samples are located here, by the same core as in a handset; the result becomes a station of this job, and the capture is kept beside it." }
        (caution())
        form method="post" action={ (home) (UPLOAD) } enctype="multipart/form-data" {
            (forms::key_field(office))
            label for="name" { "Name of the capture " span.also { "letters, digits, - _ ." } }
            input #name name="name" required maxlength=(LONGEST_NAME) pattern="[A-Za-z0-9][A-Za-z0-9._\\-]*";
            label for="run" { "Run that the station belongs to" }
            select #run name="run" {
                option value="" { "A new run, named after the capture" }
                @for (id, run) in opened.job.state().runs() { option value=(id) { (run.name) } }
            }
            (forms::by_field())
            label for="files" { "Files of the capture" }
            input #files name="files" type="file" multiple required accept=".toml,.wav,.csv" aria-describedby="which";
            p #which .also {
                "All files of its folder at once: " code { (MANIFEST_FILE) } " with " code { (SAMPLES_FILE) } " and " code { (TRACK_FILE) }
                ", or with " code { (FIELD_FILE) } ". Up to " (megabytes) " MB. Larger ones: " code { "nullwalk replay --job" } "."
            }
            button { "Take in and locate" }
        }
    }
}

/// What was sent.
struct Sent {
    name: String,
    run: Option<EntryId>,
    by: String,
    /// The files, in a folder beside the job that goes unless it is kept.
    files: TempDir,
    _place: OwnedSemaphorePermit,
}

pub async fn receive(
    State(office): Desk,
    extract::Path(job): extract::Path<String>,
    working: Option<Extension<Working>>,
    multipart: Result<Multipart, MultipartRejection>,
) -> Answer {
    let mut multipart = multipart.map_err(|why| {
        Trouble::new(
            StatusCode::UNSUPPORTED_MEDIA_TYPE,
            format!("This takes the form with the files: {}.", why.body_text()),
        )
    })?;
    let volume = office.find(&job)?;
    let sent = tokio::time::timeout(ARRIVE_WITHIN, async {
        let sent = arrive(&office, &volume, &mut multipart).await;
        if sent.is_err() {
            hear_out(&mut multipart).await;
        }
        sent
    })
    .await;
    let late =
        |_| Trouble::new(StatusCode::REQUEST_TIMEOUT, "The files did not arrive in time. Send them again.");
    let sent = sent.map_err(late)??;
    let _permit = office.heavy.acquire().await.map_err(|_| Trouble::not_found())?;
    if let Some(Extension(working)) = working {
        working.set(true);
    }
    let desk = Arc::clone(&office);
    let station = aside(move || {
        let (home, station) = (address(&volume), enter(&desk, &volume, sent)?);
        Ok(format!("{home}/station/{station}"))
    })
    .await?;
    Ok(Redirect::to(&station).into_response())
}

/// A browser shows an answer only once all that it sends was taken; within bounds, it is.
async fn hear_out(form: &mut Multipart) {
    let mut bytes = 0;
    while let Ok(Some(mut field)) = form.next_field().await {
        while let Ok(Some(chunk)) = field.chunk().await {
            bytes += chunk.len() as u64;
            if bytes > LARGEST_BYTES {
                return;
            }
        }
    }
}

/// Where the captures of a job are kept.
pub fn shelf_of(volume: &Volume) -> PathBuf {
    let mut name = volume.path.file_stem().unwrap_or_default().to_owned();
    name.push("-captures");
    volume.path.with_file_name(name)
}

fn not_kept(path: &Path) -> impl Fn(std::io::Error) -> Trouble + use<> {
    let path = path.to_owned();
    move |error| {
        let status = match error.kind() {
            std::io::ErrorKind::PermissionDenied | std::io::ErrorKind::ReadOnlyFilesystem => {
                StatusCode::FORBIDDEN
            }
            _ => StatusCode::INSUFFICIENT_STORAGE,
        };
        let what = format!(
            "{}: cannot be written: {error}. Check its permissions and the room on the disk.",
            path.display()
        );
        Trouble::new(status, what)
    }
}

async fn arrive(office: &Office, volume: &Volume, form: &mut Multipart) -> Result<Sent, Trouble> {
    let (mut key_seen, mut all_bytes) = (false, 0);
    let (mut name, mut run, mut by) = (String::new(), None, String::new());
    let mut files: Option<(TempDir, OwnedSemaphorePermit)> = None;
    let unread = |why: extract::multipart::MultipartError| {
        Trouble::new(
            why.status(),
            format!("What was sent broke off or cannot be read: {}. Send it again.", why.body_text()),
        )
    };
    while let Some(field) = form.next_field().await.map_err(unread)? {
        let what = field.name().unwrap_or_default().to_owned();
        if what != "files" {
            let text = text(field, &what).await?;
            match &*what {
                "key" => {
                    office.expect_form(&text)?;
                    key_seen = true;
                }
                "name" => name = text,
                "run" if text.is_empty() => run = None,
                "run" => run = Some(super::entry(&text)?),
                "by" => by = forms::by(&text)?,
                _ => return Err(Trouble::unfit(format!("There is no field {what:?} in this form."))),
            }
            continue;
        }
        // Nothing is written for a form that is not ours.
        if !key_seen {
            office.expect_form("")?;
        }
        if !is_folder_name(&name) {
            return Err(Trouble::unfit(
                "Name of the capture: takes 1 to 60 letters without accents, digits, - _ and ., and begins with a letter or digit.",
            ));
        }
        let part = last_part(field.file_name().unwrap_or_default()).to_owned();
        let Some((part, most)) = PARTS.iter().find(|(known, _)| *known == part) else {
            let known = PARTS.map(|(known, _)| known).join(", ");
            let what = format!("{part:?} is no file of a capture; these are: {known}. Nothing was kept.");
            return Err(Trouble::new(StatusCode::UNSUPPORTED_MEDIA_TYPE, what));
        };
        let folder = match &files {
            Some((files, _)) => files.path().to_owned(),
            None => {
                let place = Arc::clone(&office.arriving).try_acquire_owned().map_err(|_| {
                    let what = "Other captures are arriving. Send this again in a moment.";
                    Trouble::new(StatusCode::SERVICE_UNAVAILABLE, what)
                })?;
                let made = begin(volume, &name)?;
                let path = made.path().to_owned();
                files = Some((made, place));
                path
            }
        };
        store(field, &folder.join(part), (*most).min(LARGEST_BYTES - all_bytes), &mut all_bytes).await?;
    }
    let (files, place) = files
        .ok_or_else(|| Trouble::unfit("There are no files in this form. Choose those of a capture."))?;
    Ok(Sent { name, run, by, files, _place: place })
}

fn not_there_yet(capture: &Path) -> Result<(), Trouble> {
    if !capture.exists() {
        return Ok(());
    }
    let name = capture.file_name().unwrap_or_default().display();
    let what = format!("There is a capture {name} of this job already. Choose another name.");
    Err(Trouble::new(StatusCode::CONFLICT, what))
}

/// A folder beside the job for the files of a capture, hidden until they are all there.
fn begin(volume: &Volume, name: &str) -> Result<TempDir, Trouble> {
    let shelf = shelf_of(volume);
    not_there_yet(&shelf.join(name))?;
    fs::create_dir_all(&shelf).map_err(not_kept(&shelf))?;
    tempfile::Builder::new().prefix(".arriving-").tempdir_in(&shelf).map_err(not_kept(&shelf))
}

async fn text(mut field: Field<'_>, what: &str) -> Result<String, Trouble> {
    let mut bytes = Vec::new();
    while let Some(chunk) = field.chunk().await.map_err(|why| Trouble::unfit(why.body_text()))? {
        bytes.extend_from_slice(&chunk);
        if bytes.len() > 4 * LONGEST_WORDS {
            return Err(Trouble::unfit(format!(
                "{what}: longer than {LONGEST_WORDS} letters. Make it shorter."
            )));
        }
    }
    String::from_utf8(bytes).map_err(|_| Trouble::unfit(format!("{what}: is no text in UTF-8.")))
}

async fn store(mut field: Field<'_>, path: &Path, most: u64, all_bytes: &mut u64) -> Result<(), Trouble> {
    let mut file =
        fs::File::options().write(true).create_new(true).open(path).map_err(|error| {
            match error.kind() {
                std::io::ErrorKind::AlreadyExists => {
                    Trouble::unfit("Two files of one name were sent. Choose those of one capture.")
                }
                _ => not_kept(path)(error),
            }
        })?;
    let mut bytes = 0;
    let unread = |why: extract::multipart::MultipartError| {
        Trouble::new(why.status(), format!("What was sent broke off: {}. Send it again.", why.body_text()))
    };
    while let Some(chunk) = field.chunk().await.map_err(unread)? {
        bytes += chunk.len() as u64;
        if bytes > most {
            let name = path.file_name().unwrap_or_default().display().to_string();
            let what = format!(
                "{name} is larger than {} MB, or all files together than {} MB. Use `nullwalk replay --job` for it. Nothing \
                 was kept.",
                PARTS.iter().find(|(part, _)| *part == name).map_or(0, |(_, most)| most >> 20),
                LARGEST_BYTES >> 20
            );
            return Err(Trouble::new(StatusCode::PAYLOAD_TOO_LARGE, what));
        }
        // Chunks are small, and the disk is local.
        file.write_all(&chunk).map_err(not_kept(path))?;
    }
    *all_bytes += bytes;
    Ok(())
}

/// Locate what was sent, keep it, and give the entry of its station.
fn enter(office: &Office, volume: &Volume, sent: Sent) -> Result<EntryId, Trouble> {
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_lead_nowhere_else() {
        for name in ["walk-1", "a", "2026.05_x"] {
            assert!(is_folder_name(name), "{name}");
        }
        for name in
            ["", ".", "..", ".hidden", "a/b", "a\\b", "-rf", "a b", "ä", "a.", "a\0", &"x".repeat(61)]
        {
            assert!(!is_folder_name(name), "{name}");
        }
        assert_eq!(last_part("walk/../capture.toml"), "capture.toml");
        assert_eq!(last_part("C:\\walk\\samples.wav"), "samples.wav");
        assert!(!is_part_of_a_capture("../capture.toml") && !is_part_of_a_capture(""));
    }
}
