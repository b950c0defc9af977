//! The form that takes in a capture.

use axum::extract::{Path, State};
use axum::response::IntoResponse as _;
use maud::{Markup, html};

use super::names::{LARGEST_BYTES, LONGEST_NAME};
use crate::capture::{FIELD_FILE, MANIFEST_FILE, SAMPLES_FILE, TRACK_FILE};
use crate::serve::address::address;
use crate::serve::entrance::UPLOAD;
use crate::serve::job_page::name;
use crate::serve::page::{caution, page};
use crate::serve::shelf::Opened;
use crate::serve::{Answer, Desk, Office, forms, of_job};

pub async fn ask(State(office): Desk, Path(job): Path<String>) -> Answer {
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
