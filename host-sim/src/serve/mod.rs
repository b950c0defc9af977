//! The local page: jobs in a browser on the same machine.
//!
//! Everything is made here, from the job alone: no script, nothing from the net. Only this machine is answered, unless a
//! token is asked for.

mod address;
mod door;
mod draw;
mod entrance;
mod forms;
mod hand_on;
mod history;
mod job_page;
mod list;
mod page;
mod pictures;
mod plan;
mod profile;
mod run_page;
mod seats;
mod shelf;
mod station_page;
mod trouble;
mod upload;

use std::io;
use std::net::{IpAddr, SocketAddr, TcpListener};
use std::path::PathBuf;
use std::sync::Arc;

use axum::Router;
use axum::extract::{DefaultBodyLimit, State};
use axum::http::{StatusCode, header};
use axum::middleware;
use axum::response::{IntoResponse as _, Response};
use axum::routing::{get, post};
use thiserror::Error;
use tokio::sync::Semaphore;

use door::Keys;
pub use door::host_is_ours;
use entrance::{ENTER, ICON, STYLE, UPLOAD};
use seats::LEAVE_WITHIN;
use shelf::{Opened, Shelf, Volume};
use trouble::Trouble;
pub use upload::{is_folder_name, is_part_of_a_capture};

/// Threads that read jobs and draw.
const DESKS: usize = 16;
/// Captures that may arrive at once.
const MOST_ARRIVING: usize = 2;

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
    /// Places for captures that arrive.
    arriving: Arc<Semaphore>,
    pictures: pictures::Album,
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
        let (heavy, arriving) = (Semaphore::new(1), Arc::new(Semaphore::new(MOST_ARRIVING)));
        let office = Office { shelf, keys, heavy, arriving, pictures: Default::default(), port, open };
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
        runtime.block_on(seats::answer(self.listener, router(self.office), seats::told_to_stop()))?;
        runtime.shutdown_timeout(LEAVE_WITHIN);
        Ok(())
    }
}

fn router(office: Arc<Office>) -> Router {
    Router::new()
        .route("/", get(list::show))
        .route(STYLE, get(|| plain("text/css; charset=utf-8", include_str!("style.css"))))
        .route(ICON, get(|| plain("image/svg+xml", include_str!("icon.svg"))))
        .route(ENTER, get(entrance::ask_for_token).post(entrance::enter))
        .route("/job/{job}", get(job_page::show))
        .route("/job/{job}/map", get(job_page::map))
        .route("/job/{job}/history", get(history::show))
        .route("/job/{job}/run/{run}", get(run_page::show))
        .route("/job/{job}/run/{run}/sheet", get(hand_on::sheet))
        .route("/job/{job}/run/{run}/{file}", get(hand_on::printed))
        .route("/job/{job}/station/{station}", get(station_page::show))
        .route("/job/{job}/station/{station}/pictures", get(pictures::show))
        .route("/job/{job}/station/{station}/pictures/{file}", get(pictures::one))
        .route("/job/{job}/export/{file}", get(hand_on::export))
        .route("/job/{job}/note", post(forms::note))
        .route("/job/{job}/station/{station}/correct", post(forms::correct))
        .route("/job/{job}/upload", get(upload::ask))
        .fallback(|| async { Trouble::not_found() })
        // Files are counted as they arrive.
        .route(&format!("/job/{{job}}{UPLOAD}"), post(upload::receive).layer(DefaultBodyLimit::disable()))
        .layer(middleware::from_fn_with_state(Arc::clone(&office), entrance::door))
        .with_state(office)
}

async fn plain(kind: &'static str, text: &'static str) -> Response {
    ([(header::CONTENT_TYPE, kind)], text).into_response()
}

impl Office {
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
