//! The way in: what is let through, what is asked for, and what every answer carries.

use std::time::Duration;

use axum::extract::{Form, Request, State};
use axum::http::{HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Redirect, Response};
use maud::html;
use serde::Deserialize;

use super::door::{COOKIE, host_is_ours, sender_is_ours};
use super::page::page;
use super::seats::Working;
use super::{Answer, Desk, Office, Trouble};

/// How long anything may take but an upload.
const ANSWER_WITHIN: Duration = Duration::from_secs(60);
/// How long an upload may take, and its locate.
const UPLOAD_WITHIN: Duration = Duration::from_secs(600);
/// A form without files.
const LARGEST_FORM_BYTES: usize = 64 << 10;

pub const ENTER: &str = "/enter";
pub const STYLE: &str = "/style.css";
pub const ICON: &str = "/icon.svg";
/// How the address ends that files are sent to.
pub const UPLOAD: &str = "/upload/files";
/// What a browser may load and do: our styles and our pictures, and send forms to us.
const POLICY: &str = "default-src 'none'; style-src 'self'; img-src 'self'; form-action 'self'; base-uri 'none'; \
                      frame-ancestors 'none'";

/// Everything goes through here, and what comes out carries what browsers need to know.
pub async fn door(State(office): Desk, request: Request, next: Next) -> Response {
    let is_upload = request.uri().path().ends_with(UPLOAD);
    let within = if is_upload { UPLOAD_WITHIN } else { ANSWER_WITHIN };
    let working = request.extensions().get::<Working>().cloned();
    let work = |on| working.iter().for_each(|working| working.set(on));
    let answer = async {
        office.admit(&request)?;
        let request = if is_upload { request } else { whole(request).await? };
        work(true);
        Ok(next.run(request).await)
    };
    let mut response = match tokio::time::timeout(within, answer).await {
        Ok(Ok(response)) => response,
        Ok(Err(Stopped::There(to))) => Redirect::to(to).into_response(),
        Ok(Err(Stopped::Trouble(trouble))) => trouble.into_response(),
        Err(_) => {
            Trouble::new(StatusCode::REQUEST_TIMEOUT, "This took too long and was given up. Try it again.")
                .into_response()
        }
    };
    work(false);
    let headers = response.headers_mut();
    for (name, value) in [
        (header::CONTENT_SECURITY_POLICY, POLICY),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::X_FRAME_OPTIONS, "DENY"),
        // With `no-referrer` browsers would not say where a form comes from.
        (header::REFERRER_POLICY, "same-origin"),
        (header::CACHE_CONTROL, "no-store"),
    ] {
        headers.entry(name).or_insert(HeaderValue::from_static(value));
    }
    headers.insert("cross-origin-resource-policy", HeaderValue::from_static("same-origin"));
    response
}

/// Why a request goes no farther than the door.
enum Stopped {
    There(&'static str),
    Trouble(Trouble),
}

impl From<Trouble> for Stopped {
    fn from(trouble: Trouble) -> Self {
        Self::Trouble(trouble)
    }
}

/// A request with all of its form.
async fn whole(request: Request) -> Result<Request, Trouble> {
    let (head, body) = request.into_parts();
    let too_much = |_| {
        let what =
            "What was sent is more than a form holds, or broke off. Make it shorter, and send it again.";
        Trouble::new(StatusCode::PAYLOAD_TOO_LARGE, what)
    };
    let body = axum::body::to_bytes(body, LARGEST_FORM_BYTES).await.map_err(too_much)?;
    Ok(Request::from_parts(head, body.into()))
}

impl Office {
    /// Whether a request is answered at all.
    fn admit(&self, request: &Request) -> Result<(), Stopped> {
        let refuse = |status, what: &str| Err(Trouble::new(status, what).into());
        let host = request.headers().get(header::HOST).and_then(|h| h.to_str().ok()).unwrap_or_default();
        if !host_is_ours(host, self.port, self.open) {
            return refuse(
                StatusCode::MISDIRECTED_REQUEST,
                "This page answers to the address that was printed when it was started, and to no other name.",
            );
        }
        if !sender_is_ours(request.method(), request.headers()) {
            return refuse(
                StatusCode::FORBIDDEN,
                "This form was sent from another page. Send it from here.",
            );
        }
        let free = [ENTER, STYLE, ICON].contains(&request.uri().path());
        if free || self.keys.admits(request.headers()) {
            return Ok(());
        }
        match *request.method() {
            Method::GET | Method::HEAD => Err(Stopped::There(ENTER)),
            _ => refuse(StatusCode::UNAUTHORIZED, "Give the token first, at /enter."),
        }
    }
}

#[derive(Deserialize)]
pub struct Given {
    #[serde(default)]
    token: String,
}

/// The page that asks for the token.
pub async fn ask_for_token(State(office): Desk) -> Response {
    if office.keys.token.is_none() {
        return Redirect::to("/").into_response();
    }
    let content = html! {
        h1 { "Token" }
        p { "This page is open to other machines. It asks for the token that was printed where it was started." }
        form method="post" action=(ENTER) {
            label for="token" { "Token" }
            input #token name="token" type="password" autocomplete="off" autocapitalize="none" spellcheck="false" required maxlength="64";
            button { "Enter" }
        }
    };
    page("Token", &[], &content).into_response()
}

/// The token as it was sent.
pub async fn enter(State(office): Desk, Form(given): Form<Given>) -> Answer {
    if !office.keys.is_token(&given.token) {
        return Err(Trouble::new(
            StatusCode::UNAUTHORIZED,
            "That is not the token. It was printed where the page was started.",
        ));
    }
    let cookie = format!("{}={}; HttpOnly; SameSite=Strict; Path=/", COOKIE, office.keys.session);
    Ok(([(header::SET_COOKIE, cookie)], Redirect::to("/")).into_response())
}
