//! Pictures of a station: what its capture shows. They are drawn from the capture itself, if it is still as it was.

use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use axum::extract::{self, State};
use axum::http::{StatusCode, header};
use axum::response::IntoResponse as _;
use maud::html;

use super::address::address;
use super::job_page::name;
use super::page::{caution, page, simulated};
use super::{Answer, Desk, Office, Trouble, Volume, aside, entry};
use crate::capture::Capture;
use crate::job::{Content, EntryId, Source, State as Stands, StationEntry, fingerprint};
use crate::pictures::{Picture, of_capture};

/// Pictures of so many captures are kept.
const MOST_KEPT: usize = 8;
/// A picture has its styles in itself.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'";

/// Pictures that were drawn, by the SHA-256 of their captures, the last one last.
#[derive(Default)]
pub struct Album(Mutex<Vec<(String, Arc<Vec<Picture>>)>>);

impl Album {
    fn find(&self, sha256: &str) -> Option<Arc<Vec<Picture>>> {
        let kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        kept.iter().find(|(of, _)| of == sha256).map(|(_, pictures)| Arc::clone(pictures))
    }

    fn keep(&self, sha256: String, pictures: &Arc<Vec<Picture>>) {
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if kept.len() >= MOST_KEPT {
            kept.remove(0);
        }
        kept.push((sha256, Arc::clone(pictures)));
    }
}

/// The capture that a station came from.
pub fn capture_of<'a>(state: &'a Stands, station: &StationEntry) -> Option<&'a Source> {
    match state.get(station.origin.as_ref()?.source)? {
        Content::Source(source) if source.what == "capture" => Some(source),
        _ => None,
    }
}

/// What a picture shows, by the name of its file.
fn title(file: &str) -> &str {
    match file {
        "components.svg" => "Field along the walk",
        "plan.svg" => "Walk from above",
        "residuals.svg" => "What the fit leaves over",
        "spectrum.svg" => "Spectrum",
        "waterfall.svg" => "Spectrum over time",
        "gain.svg" => "Gain and clipping",
        other => other,
    }
}

pub async fn show(
    State(office): Desk,
    extract::Path((job, station)): extract::Path<(String, String)>,
) -> Answer {
    let id = entry(&station)?;
    let pictures = drawn(&office, &job, id).await?;
    aside(move || {
        let volume = office.find(&job)?;
        office.shelf.with(&volume, |opened| {
            let state = opened.job.state();
            let Some(Content::Station(station)) = state.get(id) else { return Err(Trouble::not_found()) };
            let home = address(&volume);
            let content = html! {
                h1 { "Pictures of station " (station.found.number) }
                @if matches!(state.get(station.run), Some(Content::Run(run)) if run.simulated) { (simulated()) }
                (caution())
                p { "Drawn from the capture that the station came from, through the same core again." }
                @for picture in &*pictures {
                    section {
                        h2 { (title(picture.file)) }
                        // On a phone it can be moved under the finger, and with the arrow keys.
                        div.picture tabindex="0" role="group" aria-label=(title(picture.file)) {
                            img src={ (home) "/station/" (id) "/pictures/" (picture.file) } alt=(title(picture.file));
                        }
                    }
                }
            };
            let here = (&*format!("Station {}", station.found.number), format!("{home}/station/{id}"));
            let trail = [(&*name(&volume, opened), home.clone()), here];
            Ok(page("Pictures", &trail, &content).into_response())
        })?
    })
    .await
}

pub async fn one(
    State(office): Desk,
    extract::Path((job, station, file)): extract::Path<(String, String, String)>,
) -> Answer {
    let pictures = drawn(&office, &job, entry(&station)?).await?;
    let picture = pictures.iter().find(|picture| picture.file == file).ok_or_else(Trouble::not_found)?;
    let kind = (header::CONTENT_TYPE, "image/svg+xml");
    Ok(([kind, (header::CONTENT_SECURITY_POLICY, POLICY)], picture.svg.clone()).into_response())
}

/// The pictures of a station; one capture at a time is looked at.
async fn drawn(office: &Arc<Office>, job: &str, id: EntryId) -> Result<Arc<Vec<Picture>>, Trouble> {
    let _permit = office.heavy.acquire().await.map_err(|_| Trouble::not_found())?;
    let (office, job) = (Arc::clone(office), job.to_owned());
    aside(move || {
        let volume = office.find(&job)?;
        let source = office.shelf.with(&volume, |opened| {
            let state = opened.job.state();
            match state.get(id) {
                Some(Content::Station(station)) => capture_of(state, station).cloned(),
                _ => None,
            }
        })?;
        let source = source.ok_or_else(Trouble::not_found)?;
        if let Some(known) = office.pictures.find(&source.sha256) {
            return Ok(known);
        }
        let path = found(&volume, &source).ok_or_else(|| {
            let what = format!(
                "{}: the capture is not there under this name, or is not what it was. Put it back where it was, or beside \
                 the job.",
                source.path
            );
            Trouble::new(StatusCode::NOT_FOUND, what)
        })?;
        let capture = Capture::open(&path).map_err(|error| Trouble::unfit(error.to_string()))?;
        let pictures = Arc::new(of_capture(&capture).map_err(|error| Trouble::unfit(error.to_string()))?);
        office.pictures.keep(source.sha256, &pictures);
        Ok(pictures)
    })
    .await
}

/// The capture: under the name it was entered by, seen from here or from the job, or among those kept beside the job.
/// Nothing is opened but what is what it was.
fn found(volume: &Volume, source: &Source) -> Option<PathBuf> {
    let named = Path::new(&source.path);
    let beside = volume.path.parent().unwrap_or(Path::new(""));
    let kept = super::upload::shelf_of(volume).join(named.file_name()?);
    let places = [named.to_owned(), beside.join(named), kept];
    places.into_iter().find(|place| fingerprint(place).is_ok_and(|(sha256, _)| sha256 == source.sha256))
}
