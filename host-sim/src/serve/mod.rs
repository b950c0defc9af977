//! The local page: jobs in a browser on the same machine.
//!
//! Everything is made here, from the job alone: no script, nothing from the net. Only this machine is answered, unless a
//! token is asked for.

mod door;
mod draw;
mod forms;
mod hand_on;
mod history;
mod job_page;
mod list;
mod page;
mod plan;
mod profile;
mod run_page;
mod shelf;
mod station_page;
mod trouble;
mod upload;

use std::future::Future;
use std::io;
use std::net::{IpAddr, SocketAddr, TcpListener};
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use axum::extract::{DefaultBodyLimit, Request, State};
use axum::http::{HeaderValue, StatusCode, header};
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use axum::{Form, Router};
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use maud::html;
use serde::Deserialize;
use thiserror::Error;
use tokio::sync::Semaphore;
use tokio::task::JoinSet;

use door::Keys;
pub use door::host_is_ours;
use page::page;
use shelf::{Opened, Shelf, Volume};
use trouble::Trouble;
pub use upload::{is_folder_name, is_part_of_a_capture};

/// How long a visitor may take to say what they want.
const HEADER_WITHIN: Duration = Duration::from_secs(10);
/// How long anything may take but an upload.
const ANSWER_WITHIN: Duration = Duration::from_secs(60);
/// How long an upload may take, and its locate.
const UPLOAD_WITHIN: Duration = Duration::from_secs(600);
/// How long a visitor may stay connected. One connection carries one request.
const STAY_WITHIN: Duration = Duration::from_secs(900);
/// How long what is under way may take to end once the page is to close.
const LEAVE_WITHIN: Duration = Duration::from_secs(5);
/// Visitors at once.
const SEATS: usize = 256;
/// Threads that read jobs and draw.
const DESKS: usize = 16;
/// A form without files.
const LARGEST_FORM_BYTES: usize = 64 << 10;

/// What is to be shown, and to whom.
#[derive(Debug, Clone)]
pub struct Plan {
    /// Files of jobs, and folders of them.
    pub jobs: Vec<PathBuf>,
    /// Address to listen on.
    pub listen: IpAddr,
    /// Port; 0 for any that is free.
    pub port: u16,
    /// Whether a token is asked for.
    pub token: bool,
}

/// Why there is no page.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum ServeError {
    /// Others could read the jobs.
    #[error(
        "--listen {0}: other machines could read and change the jobs there; add --token, or leave --listen out for this \
         machine only"
    )]
    Open(IpAddr),
    /// Not a job or a folder.
    #[error("{}: is not there; give jobs, or folders that hold some", .0.display())]
    Missing(PathBuf),
    /// The address cannot be had.
    #[error(
        "{address}: cannot be listened on: {source}; choose another --port, or an address of this machine"
    )]
    Bind {
        /// The address.
        address: SocketAddr,
        /// What the system said.
        source: io::Error,
    },
    /// The system refused.
    #[error("the page cannot be kept up: {0}")]
    Io(#[from] io::Error),
}

/// What all pages need.
pub(crate) struct Office {
    shelf: Shelf,
    keys: Keys,
    /// One heavy piece of work at a time.
    heavy: Semaphore,
    port: u16,
    /// Whether other machines are let in.
    open: bool,
}

type Desk = State<Arc<Office>>;
type Answer = Result<Response, Trouble>;

/// A page that can be reached, and is not answering yet.
pub struct Server {
    listener: TcpListener,
    office: Arc<Office>,
}

impl Server {
    /// Take the address.
    ///
    /// # Errors
    /// When it cannot be had, or would let others in without a token.
    pub fn bind(plan: Plan) -> Result<Self, ServeError> {
        let open = !plan.listen.is_loopback();
        if open && !plan.token {
            return Err(ServeError::Open(plan.listen));
        }
        if let Some(missing) = plan.jobs.iter().find(|path| !path.exists()) {
            return Err(ServeError::Missing(missing.clone()));
        }
        let address = SocketAddr::new(plan.listen, plan.port);
        let listener = TcpListener::bind(address).map_err(|source| ServeError::Bind { address, source })?;
        listener.set_nonblocking(true)?;
        let port = listener.local_addr()?.port();
        let (shelf, keys) = (Shelf::new(plan.jobs), Keys::new(plan.token));
        let office = Office { shelf, keys, heavy: Semaphore::new(1), port, open };
        Ok(Self { listener, office: Arc::new(office) })
    }

    /// Where it is.
    ///
    /// # Errors
    /// What the system says.
    pub fn address(&self) -> io::Result<SocketAddr> {
        self.listener.local_addr()
    }

    /// The token, if one is asked for.
    pub fn token(&self) -> Option<&str> {
        self.office.keys.token.as_deref()
    }

    /// Answer until told to stop, by Ctrl-C or the system.
    ///
    /// # Errors
    /// When the system gives no threads.
    pub fn run(self) -> Result<(), ServeError> {
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(2)
            .max_blocking_threads(DESKS)
            .enable_all()
            .build()?;
        let office = Arc::clone(&self.office);
        runtime.spawn_blocking(move || office.shelf.warm());
        runtime.block_on(answer(self.listener, self.office, told_to_stop()))?;
        runtime.shutdown_timeout(LEAVE_WITHIN);
        Ok(())
    }
}

#[cfg(unix)]
async fn told_to_stop() {
    use tokio::signal::unix::{SignalKind, signal};
    let Ok(mut terminate) = signal(SignalKind::terminate()) else {
        let _ = tokio::signal::ctrl_c().await;
        return;
    };
    tokio::select! {
        _ = tokio::signal::ctrl_c() => (),
        _ = terminate.recv() => (),
    }
}

#[cfg(not(unix))]
async fn told_to_stop() {
    let _ = tokio::signal::ctrl_c().await;
}

async fn answer(
    listener: TcpListener,
    office: Arc<Office>,
    stop: impl Future<Output = ()>,
) -> io::Result<()> {
    let listener = tokio::net::TcpListener::from_std(listener)?;
    let service = TowerToHyperService::new(router(office));
    let seats = Arc::new(Semaphore::new(SEATS));
    let mut visitors = JoinSet::new();
    let mut stop = std::pin::pin!(stop);
    loop {
        let stream = tokio::select! {
            () = &mut stop => break,
            accepted = listener.accept() => match accepted {
                Ok((stream, _)) => stream,
                // Most likely no file can be opened for the moment.
                Err(_) => {
                    tokio::time::sleep(Duration::from_millis(50)).await;
                    continue;
                }
            },
        };
        while visitors.try_join_next().is_some() {}
        // Where all seats are taken a visitor is sent away at once, and not left waiting.
        let Ok(seat) = Arc::clone(&seats).try_acquire_owned() else { continue };
        let service = service.clone();
        visitors.spawn(async move {
            let connection = http1::Builder::new()
                .timer(TokioTimer::new())
                .header_read_timeout(HEADER_WITHIN)
                .keep_alive(false)
                .max_buf_size(32 << 10)
                .serve_connection(TokioIo::new(stream), service);
            // A visitor who leaves early is nobody's trouble.
            let _ = tokio::time::timeout(STAY_WITHIN, connection).await;
            drop(seat);
        });
    }
    drop(listener);
    let _ =
        tokio::time::timeout(LEAVE_WITHIN, async { while visitors.join_next().await.is_some() {} }).await;
    Ok(())
}

fn router(office: Arc<Office>) -> Router {
    Router::new()
        .route("/", get(list::show))
        .route("/style.css", get(|| plain("text/css; charset=utf-8", include_str!("style.css"))))
        .route("/icon.svg", get(|| plain("image/svg+xml", include_str!("icon.svg"))))
        .route(ENTER, get(ask_for_token).post(enter))
        .route("/job/{job}", get(job_page::show))
        .route("/job/{job}/map", get(job_page::map))
        .route("/job/{job}/history", get(history::show))
        .route("/job/{job}/run/{run}", get(run_page::show))
        .route("/job/{job}/run/{run}/sheet", get(hand_on::sheet))
        .route("/job/{job}/station/{station}", get(station_page::show))
        .route("/job/{job}/export/{file}", get(hand_on::export))
        .route("/job/{job}/note", post(forms::note))
        .route("/job/{job}/station/{station}/correct", post(forms::correct))
        .route("/job/{job}/upload", get(upload::ask))
        .fallback(|| async { Trouble::not_found() })
        .layer(DefaultBodyLimit::max(LARGEST_FORM_BYTES))
        .route("/job/{job}/upload/files", post(upload::receive).layer(DefaultBodyLimit::disable()))
        .layer(middleware::from_fn_with_state(Arc::clone(&office), door))
        .with_state(office)
}

async fn plain(kind: &'static str, text: &'static str) -> Response {
    ([(header::CONTENT_TYPE, kind)], text).into_response()
}

const ENTER: &str = "/enter";
/// What a browser may load and do: our styles and our pictures, and send forms to us.
const POLICY: &str = "default-src 'none'; style-src 'self'; img-src 'self'; form-action 'self'; base-uri 'none'; \
                      frame-ancestors 'none'";

/// Everything goes through here, and what comes out carries what browsers need to know.
async fn door(State(office): Desk, request: Request, next: Next) -> Response {
    let within =
        if request.uri().path().ends_with("/upload/files") { UPLOAD_WITHIN } else { ANSWER_WITHIN };
    let mut response = match office.admit(&request) {
        Ok(()) => match tokio::time::timeout(within, next.run(request)).await {
            Ok(response) => response,
            Err(_) => Trouble::new(
                StatusCode::REQUEST_TIMEOUT,
                "This took too long and was given up. Try it again.",
            )
            .into_response(),
        },
        Err(response) => *response,
    };
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

impl Office {
    /// Whether a request is answered at all.
    fn admit(&self, request: &Request) -> Result<(), Box<Response>> {
        let refuse = |status, what: &str| Err(Box::new(Trouble::new(status, what).into_response()));
        let host = request.headers().get(header::HOST).and_then(|h| h.to_str().ok()).unwrap_or_default();
        if !host_is_ours(host, self.port, self.open) {
            return refuse(
                StatusCode::MISDIRECTED_REQUEST,
                "This page answers to the address that was printed when it was started, and to no other name.",
            );
        }
        if !door::sender_is_ours(request.method(), request.headers()) {
            return refuse(
                StatusCode::FORBIDDEN,
                "This form was sent from another page. Send it from here.",
            );
        }
        let free = [ENTER, "/style.css", "/icon.svg"].contains(&request.uri().path());
        if free || self.keys.admits(request.headers()) {
            return Ok(());
        }
        match request.method().as_str() {
            "GET" | "HEAD" => Err(Box::new(Redirect::to(ENTER).into_response())),
            _ => refuse(StatusCode::UNAUTHORIZED, "Give the token first, at /enter."),
        }
    }

    /// A form that changes something has to be ours.
    fn expect_form(&self, key: &str) -> Result<(), Trouble> {
        if self.keys.is_form(key) {
            return Ok(());
        }
        let what = "This form is from before the page was started anew. Go back, load the page again, and send it again.";
        Err(Trouble::new(StatusCode::FORBIDDEN, what))
    }

    fn find(&self, job: &str) -> Result<Arc<Volume>, Trouble> {
        self.shelf.find(job).ok_or_else(Trouble::not_found)
    }
}

/// Do what reads files or takes a while where it holds nobody up.
async fn aside<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, Trouble> + Send + 'static,
) -> Result<T, Trouble> {
    let failed = |_| {
        Trouble::new(
            StatusCode::INTERNAL_SERVER_ERROR,
            "This failed in a way nobody thought of. Try it again.",
        )
    };
    tokio::task::spawn_blocking(work).await.map_err(failed)?
}

/// The page that `draw` makes of a job.
async fn of_job(
    office: Arc<Office>,
    job: String,
    draw: impl FnOnce(&Office, &Volume, &mut Opened) -> Answer + Send + 'static,
) -> Answer {
    aside(move || {
        let volume = office.find(&job)?;
        office.shelf.with(&volume, |opened| draw(&office, &volume, opened))?
    })
    .await
}

/// The number of an entry in an address.
fn entry(text: &str) -> Result<i64, Trouble> {
    text.parse().map_err(|_| Trouble::not_found())
}

#[derive(Deserialize)]
struct Given {
    #[serde(default)]
    token: String,
}

async fn ask_for_token(State(office): Desk) -> Response {
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

async fn enter(State(office): Desk, Form(given): Form<Given>) -> Answer {
    if !office.keys.is_token(&given.token) {
        return Err(Trouble::new(
            StatusCode::UNAUTHORIZED,
            "That is not the token. It was printed where the page was started.",
        ));
    }
    let cookie = format!("{}={}; HttpOnly; SameSite=Strict; Path=/", door::COOKIE, office.keys.session);
    Ok(([(header::SET_COOKIE, cookie)], Redirect::to("/")).into_response())
}
