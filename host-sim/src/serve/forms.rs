//! What visitors may enter: words, and corrections with their reason.

use axum::Form;
use axum::extract::rejection::FormRejection;
use axum::extract::{Path, State};
use axum::response::{IntoResponse as _, Redirect};
use maud::{Markup, html};
use serde::Deserialize;
use serde_json::json;

use super::address::address;
use super::shelf::Opened;
use super::{Answer, Desk, Office, Trouble, entry, of_job};
use crate::job::{Content, Draft, EntryId, Note, StationEntry};

const LONGEST_NOTE: usize = 4000;
const LONGEST_WORDS: usize = 200;

/// A form as it was sent, or why it cannot be read.
pub fn sent<T>(form: Result<Form<T>, FormRejection>) -> Result<T, Trouble> {
    form.map(|Form(sent)| sent)
        .map_err(|why| Trouble::new(why.status(), format!("The form cannot be read: {why}.")))
}

/// Words of at most this length, without what browsers and hands put around them.
pub fn words(what: &str, text: &str, most: usize) -> Result<String, Trouble> {
    let text = text.trim().replace("\r\n", "\n");
    if text.chars().count() > most {
        return Err(Trouble::unfit(format!("{what}: longer than {most} letters. Make it shorter.")));
    }
    Ok(text)
}

/// Who enters something.
pub fn by(text: &str) -> Result<String, Trouble> {
    words("Name", text, LONGEST_WORDS)
}

/// The field in which a visitor says who they are.
pub fn by_field() -> Markup {
    html! {
        label for="by" { "Your name, for the history " span.also { "(may be left out)" } }
        input #by name="by" autocomplete="name" maxlength=(LONGEST_WORDS);
    }
}

/// The field that shows that a form is ours.
pub fn key_field(office: &Office) -> Markup {
    html! { input type="hidden" name="key" value=(office.keys.form); }
}

/// The notes about an entry or the whole job, and the form for another.
pub fn notes(office: &Office, opened: &Opened, about: Option<EntryId>, home: &str) -> Markup {
    let state = opened.job.state();
    let notes = state.notes().filter(|(_, note)| note.about == about);
    let photos = state.photos().filter(|(_, photo)| photo.about == about);
    html! {
        section #notes {
            h2 { "Notes" }
            ul.notes {
                @for (id, note) in notes { li { p.words { (note.text) } p.also { "Entry " (id) } } }
                @for (id, photo) in photos { li { p.words { "Photo " code { (photo.path) } @if !photo.text.is_empty() { ": " (photo.text) } } p.also { "Entry " (id) } } }
            }
            form method="post" action={ (home) "/note" } {
                (key_field(office))
                @if let Some(about) = about { input type="hidden" name="about" value=(about); }
                label for="note" { "Another note" }
                textarea #note name="text" rows="3" required maxlength=(LONGEST_NOTE) {}
                (by_field())
                button { "Enter the note" }
            }
        }
    }
}

#[derive(Deserialize)]
pub struct SentNote {
    key: String,
    text: String,
    #[serde(default)]
    by: String,
    about: Option<EntryId>,
}

pub async fn note(
    State(office): Desk,
    Path(job): Path<String>,
    form: Result<Form<SentNote>, FormRejection>,
) -> Answer {
    let sent = sent(form)?;
    office.expect_form(&sent.key)?;
    let (text, by) = (words("Note", &sent.text, LONGEST_NOTE)?, by(&sent.by)?);
    if text.is_empty() {
        return Err(Trouble::unfit("Note: there is nothing in it. Write something."));
    }
    of_job(office, job, move |_, volume, opened| {
        let about = sent.about;
        opened.job.by = by;
        opened.job.append(&[Draft::New(Content::Note(Note { text, about }))])?;
        let home = address(volume);
        let back = match about.and_then(|id| Some((id, opened.job.state().get(id)?))) {
            Some((id, Content::Run(_))) => format!("{home}/run/{id}#notes"),
            Some((id, Content::Station(_))) => format!("{home}/station/{id}#notes"),
            _ => format!("{home}#notes"),
        };
        Ok(Redirect::to(&back).into_response())
    })
    .await
}

/// The form that corrects a station.
pub fn correction(office: &Office, address: &str, station: &StationEntry) -> Markup {
    html! {
        section #correct {
            h2 { "Correct" }
            form method="post" action={ (address) "/correct" } {
                (key_field(office))
                label for="name" { "Name of the station" }
                input #name name="name" value=(station.found.name) maxlength=(LONGEST_WORDS);
                label.check { input type="checkbox" name="trouble" value="yes" checked[station.found.trouble_spot]; " The trouble spot is here" }
                label for="reason" { "Why it is corrected" }
                input #reason name="reason" required maxlength=(LONGEST_WORDS);
                label for="who" { "Your name, for the history " span.also { "(may be left out)" } }
                input #who name="by" autocomplete="name" maxlength=(LONGEST_WORDS);
                button { "Enter the correction" }
            }
            p.also { "What stood there before stays in the history. Figures and places are corrected with " code { "nullwalk job correct" } "." }
        }
    }
}

#[derive(Deserialize)]
pub struct SentCorrection {
    key: String,
    name: String,
    #[serde(default)]
    trouble: String,
    reason: String,
    #[serde(default)]
    by: String,
}

pub async fn correct(
    State(office): Desk,
    Path((job, station)): Path<(String, String)>,
    form: Result<Form<SentCorrection>, FormRejection>,
) -> Answer {
    let sent = sent(form)?;
    office.expect_form(&sent.key)?;
    let of = entry(&station)?;
    let name = words("Name of the station", &sent.name, LONGEST_WORDS)?;
    let (reason, by) = (words("Why", &sent.reason, LONGEST_WORDS)?, by(&sent.by)?);
    let trouble = sent.trouble == "yes";
    of_job(office, job, move |_, volume, opened| {
        let Some(Content::Station(before)) = opened.job.state().get(of) else {
            return Err(Trouble::not_found());
        };
        let mut patch = json!({});
        if before.found.name != name {
            patch["name"] = json!(name);
        }
        if before.found.trouble_spot != trouble {
            patch["trouble_spot"] = json!(trouble);
        }
        if patch == json!({}) {
            return Err(Trouble::unfit("Nothing was changed, so nothing was entered."));
        }
        opened.job.by = by;
        opened.job.append(&[Draft::Correction { of, reason, patch }])?;
        Ok(Redirect::to(&format!("{}/station/{of}#history", address(volume))).into_response())
    })
    .await
}
