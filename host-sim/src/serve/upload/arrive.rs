//! What is sent, received within bounds.

use std::fs;
use std::io::Write as _;
use std::path::Path;
use std::sync::Arc;

use axum::extract::Multipart;
use axum::extract::multipart::{Field, MultipartError};
use axum::http::StatusCode;
use tempfile::TempDir;
use tokio::sync::OwnedSemaphorePermit;

use super::names::{LARGEST_BYTES, PARTS, is_folder_name, last_part};
use super::place::{begin, not_kept};
use crate::job::EntryId;
use crate::serve::{Office, Trouble, Volume, entry, forms};

/// Words in a form.
const LONGEST_WORDS: usize = 200;

/// What was sent.
pub struct Sent {
    pub name: String,
    pub run: Option<EntryId>,
    pub by: String,
    /// The files, in a folder beside the job that goes unless it is kept.
    pub files: TempDir,
    pub _place: OwnedSemaphorePermit,
}

/// Everything that is sent, its files in a folder of their own.
pub async fn arrive(office: &Office, volume: &Volume, form: &mut Multipart) -> Result<Sent, Trouble> {
    let (mut key_seen, mut all_bytes) = (false, 0);
    let (mut name, mut run, mut by) = (String::new(), None, String::new());
    let mut files: Option<(TempDir, OwnedSemaphorePermit)> = None;
    let unread = |why: MultipartError| {
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
                "run" => run = Some(entry(&text)?),
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

/// A browser shows an answer only once all that it sends was taken; within bounds, it is.
pub async fn hear_out(form: &mut Multipart) {
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
    let unread = |why: MultipartError| {
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
