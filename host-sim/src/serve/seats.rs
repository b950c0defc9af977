//! Visitors let in and sent away: how many, for how long, and until when.

use std::future::Future;
use std::io;
use std::net::TcpListener;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use axum::Router;
use hyper::server::conn::http1;
use hyper::service::{Service as _, service_fn};
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::task::{AbortHandle, JoinSet};

/// How long a visitor may take to say what they want.
const HEADER_WITHIN: Duration = Duration::from_secs(10);
/// How long a visitor may stay connected. One connection carries one request.
const STAY_WITHIN: Duration = Duration::from_secs(900);
/// How long what is under way may take to end once the page is to close.
pub const LEAVE_WITHIN: Duration = Duration::from_secs(5);
/// Visitors at once.
const SEATS: usize = 256;

/// Until Ctrl-C is pressed, or the system says so.
#[cfg(unix)]
pub async fn told_to_stop() {
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
pub async fn told_to_stop() {
    let _ = tokio::signal::ctrl_c().await;
}

/// A visitor.
struct Seat {
    task: AbortHandle,
    /// Whether all that they ask is here and the answer is being made.
    working: Arc<AtomicBool>,
}

/// The same, as a request carries it.
#[derive(Clone)]
pub struct Working(Arc<AtomicBool>);

impl Working {
    /// Say whether it is so.
    pub fn set(&self, on: bool) {
        self.0.store(on, Ordering::Relaxed);
    }
}

/// Answer what comes in until told to stop.
pub async fn answer(
    listener: TcpListener,
    pages: Router,
    stop: impl Future<Output = ()>,
) -> io::Result<()> {
    let listener = tokio::net::TcpListener::from_std(listener)?;
    let service = TowerToHyperService::new(pages);
    let mut seats: Vec<Seat> = Vec::new();
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
        seats.retain(|seat| !seat.task.is_finished());
        // Where all seats are taken, the one longest there goes who is not being worked for: who is slow to ask or slow
        // to take away keeps nobody out.
        if seats.len() >= SEATS {
            match seats.iter().position(|seat| !seat.working.load(Ordering::Relaxed)) {
                Some(slow) => seats.remove(slow).task.abort(),
                None => continue,
            }
        }
        let (service, working) = (service.clone(), Arc::new(AtomicBool::new(false)));
        let mark = Working(Arc::clone(&working));
        let service = service_fn(move |mut request: hyper::Request<hyper::body::Incoming>| {
            request.extensions_mut().insert(mark.clone());
            service.call(request)
        });
        let task = visitors.spawn(async move {
            let connection = http1::Builder::new()
                .timer(TokioTimer::new())
                .header_read_timeout(HEADER_WITHIN)
                .keep_alive(false)
                .max_buf_size(32 << 10)
                .serve_connection(TokioIo::new(stream), service);
            // A visitor who leaves early is nobody's trouble.
            let _ = tokio::time::timeout(STAY_WITHIN, connection).await;
        });
        seats.push(Seat { task, working });
    }
    drop(listener);
    // Who is not being worked for loses nothing.
    seats.iter().filter(|seat| !seat.working.load(Ordering::Relaxed)).for_each(|seat| seat.task.abort());
    let _ =
        tokio::time::timeout(LEAVE_WITHIN, async { while visitors.join_next().await.is_some() {} }).await;
    Ok(())
}
