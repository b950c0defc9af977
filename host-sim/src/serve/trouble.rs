//! What is answered when something cannot be done: a page with one message and the way back.

use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use maud::html;

use super::page::page;
use crate::job::JobError;

/// Why a request was not done.
#[derive(Debug)]
pub struct Trouble {
    status: StatusCode,
    what: String,
}

impl Trouble {
    /// With a status and what to do.
    pub fn new(status: StatusCode, what: impl Into<String>) -> Self {
        Self { status, what: what.into() }
    }

    /// There is no such page.
    pub fn not_found() -> Self {
        Self::new(
            StatusCode::NOT_FOUND,
            "There is no such page; it may have been withdrawn. Go on from the list of jobs.",
        )
    }

    /// What was sent cannot be taken.
    pub fn unfit(what: impl Into<String>) -> Self {
        Self::new(StatusCode::UNPROCESSABLE_ENTITY, what)
    }
}

impl From<JobError> for Trouble {
    fn from(error: JobError) -> Self {
        let status = match error {
            JobError::Missing { .. } => StatusCode::NOT_FOUND,
            JobError::Busy { .. } => StatusCode::SERVICE_UNAVAILABLE,
            JobError::ReadOnly { .. } => StatusCode::CONFLICT,
            JobError::Full { .. } => StatusCode::INSUFFICIENT_STORAGE,
            JobError::Refused { .. } => StatusCode::UNPROCESSABLE_ENTITY,
            _ => StatusCode::INTERNAL_SERVER_ERROR,
        };
        Self::new(status, error.to_string())
    }
}

impl IntoResponse for Trouble {
    fn into_response(self) -> Response {
        let words = match self.status {
            StatusCode::NOT_FOUND => "Nothing there",
            StatusCode::UNAUTHORIZED | StatusCode::FORBIDDEN | StatusCode::MISDIRECTED_REQUEST => {
                "Not let in"
            }
            status if status.is_server_error() => "This cannot be done now",
            _ => "This cannot be taken",
        };
        let content = html! {
            h1 { (words) }
            p.message role="alert" { (self.what) }
            p { a href="/" { "To the list of jobs" } }
        };
        (self.status, page(words, &[], &content)).into_response()
    }
}
