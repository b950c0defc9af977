//! A capture taken in: its files received within bounds, located by the core, kept beside the job and entered in it.

mod arrive;
mod enter;
mod form;
mod names;
mod place;

use std::sync::Arc;
use std::time::Duration;

use axum::Extension;
use axum::extract::multipart::MultipartRejection;
use axum::extract::{Multipart, Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse as _, Redirect};

pub use form::ask;
pub use names::{is_folder_name, is_part_of_a_capture};
pub use place::shelf_of;

use self::arrive::{arrive, hear_out};
use self::enter::enter;
use super::address::address;
use super::seats::Working;
use super::{Answer, Desk, Trouble, aside};

/// How long all files may take to arrive.
const ARRIVE_WITHIN: Duration = Duration::from_secs(180);

pub async fn receive(
    State(office): Desk,
    Path(job): Path<String>,
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
