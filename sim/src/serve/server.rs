//! The server of the live page, on a thread of its own.
//!
//! Decides: how many may be connected, and when a reader that takes nothing is dropped.
//! Assumes: whoever watches publishes some times a second.
//! Never: makes whoever publishes wait: the newest state takes the place of the last one.

use super::access::Tokens;
use super::act::AskedAct;
use super::answer::{Desk, answer};
use super::feed::Progress;
use super::limits::sender;
use super::published::Published;
use crate::threads;
use anyhow::Context as _;
use hyper::body::Bytes;
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use serde_json::Value;
use std::collections::HashMap;
use std::convert::Infallible;
use std::net::{IpAddr, SocketAddr, TcpListener};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::{Receiver, sync_channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};
use tokio::net::TcpStream;
use tokio::sync::{oneshot, watch};

/// Where the page is served where no address is given: for this machine alone.
pub const DEFAULT_ADDRESS: &str = "127.0.0.1:8427";
/// Connections at one time, and from one address.
const MOST_CONNECTIONS: usize = 128;
const MOST_OF_ONE: usize = 48;
/// Acts that wait to be looked at.
const MOST_WAITING: usize = 8;
/// A head of a request has to be here after so long, and fit into so much.
const HEAD_TIME: Duration = Duration::from_secs(10);
const MOST_HEADS: usize = 64;
const BUFFER: usize = 16 * 1024;
/// A reader that takes nothing for so long is gone.
const GONE_MS: u64 = 15_000;
const LOOK: Duration = Duration::from_secs(2);
/// After an error of the listener, such as too many open files.
const BREATH: Duration = Duration::from_millis(200);
/// Readers are told of the end, and that takes no longer.
const LAST_WORDS: Duration = Duration::from_millis(300);

/// A server that runs until it is dropped.
pub struct PageServer {
    address: SocketAddr,
    tokens: Tokens,
    started: Instant,
    count: u64,
    states: Option<watch::Sender<Published>>,
    acts: Receiver<AskedAct>,
    readers: Arc<AtomicUsize>,
    stop: Option<oneshot::Sender<()>>,
    thread: Option<JoinHandle<()>>,
}

impl PageServer {
    /// Starts to serve at `address`.
    ///
    /// # Errors
    /// The address is not of this machine or taken, or there are no random numbers for the tokens.
    pub fn start(address: SocketAddr) -> anyhow::Result<Self> {
        let serving = || format!("cannot serve a page at {address}");
        let listener = TcpListener::bind(address).with_context(serving)?;
        listener.set_nonblocking(true).with_context(serving)?;
        let address = listener.local_addr().with_context(serving)?;
        let (tokens, started) = (Tokens::random()?, Instant::now());
        let nothing = Published {
            state: Bytes::from_static(b"{}"),
            event: Bytes::from_static(b": nothing yet\n\n"),
            metrics: Bytes::new(),
            at: started,
        };
        let (states, seen) = watch::channel(nothing);
        let (to_acts, acts) = sync_channel(MOST_WAITING);
        let readers = Arc::new(AtomicUsize::new(0));
        let desk = Arc::new(Desk::new(tokens.clone(), seen, to_acts, readers.clone()));
        let (stop, stopped) = oneshot::channel();
        let runtime = tokio::runtime::Builder::new_current_thread().enable_io().enable_time().build()?;
        let thread = threads::start(move || {
            runtime.block_on(serve(listener, desk, stopped));
        })?;
        let (states, stop, thread) = (Some(states), Some(stop), Some(thread));
        Ok(Self { address, tokens, started, count: 0, states, acts, readers, stop, thread })
    }
    /// Where it is served.
    pub const fn address(&self) -> SocketAddr {
        self.address
    }
    /// The tokens of this run.
    pub const fn tokens(&self) -> &Tokens {
        &self.tokens
    }
    /// How many look on.
    pub fn readers(&self) -> usize {
        self.readers.load(Ordering::Relaxed)
    }
    /// Hands a state on to whoever looks on. It is numbered, and has the time since the server was started.
    pub fn publish(&mut self, mut state: Value, metrics: String) {
        self.count += 1;
        state["number"] = self.count.into();
        state["sent_ms"] = (self.started.elapsed().as_millis() as u64).into();
        let state = state.to_string();
        let event = Bytes::from(format!("data: {state}\n\n"));
        let published = Published { state: state.into(), event, metrics: metrics.into(), at: Instant::now() };
        if let Some(states) = &self.states {
            states.send_replace(published);
        }
    }
    /// The next act that somebody asks for.
    pub fn asked(&self) -> Option<AskedAct> {
        self.acts.try_recv().ok()
    }
}

impl Drop for PageServer {
    fn drop(&mut self) {
        // Ends what readers are sent, with a word that it was on purpose.
        self.states = None;
        drop(self.stop.take());
        if let Some(thread) = self.thread.take() {
            // A thread that has failed has no more to say.
            let _ = thread.join();
        }
    }
}

/// How many are connected, by address.
type Connected = Arc<Mutex<HashMap<IpAddr, usize>>>;

struct Place {
    connected: Connected,
    from: IpAddr,
}

impl Place {
    /// A place for one more; none where there are too many.
    fn take(connected: &Connected, from: IpAddr) -> Option<Self> {
        let from = sender(from);
        let mut counts = connected.lock().unwrap_or_else(PoisonError::into_inner);
        let all: usize = counts.values().sum();
        let own = counts.get(&from).copied().unwrap_or(0);
        if all >= MOST_CONNECTIONS || own >= MOST_OF_ONE {
            return None;
        }
        counts.insert(from, own + 1);
        Some(Self { connected: connected.clone(), from })
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        let mut counts = self.connected.lock().unwrap_or_else(PoisonError::into_inner);
        let left = counts.get(&self.from).copied().unwrap_or(0).saturating_sub(1);
        if left == 0 {
            counts.remove(&self.from);
        } else {
            counts.insert(self.from, left);
        }
    }
}

async fn serve(listener: TcpListener, desk: Arc<Desk>, mut stopped: oneshot::Receiver<()>) {
    // Only fails outside a runtime.
    let Ok(listener) = tokio::net::TcpListener::from_std(listener) else { return };
    let connected = Connected::default();
    loop {
        let accepted = tokio::select! {
            accepted = listener.accept() => accepted,
            _ = &mut stopped => break,
        };
        match accepted {
            Ok((stream, peer)) => {
                // Whoever finds no place is hung up on.
                if let Some(place) = Place::take(&connected, peer.ip()) {
                    tokio::spawn(connection(stream, peer.ip(), desk.clone(), place));
                }
            }
            Err(_) => tokio::time::sleep(BREATH).await,
        }
    }
    tokio::time::sleep(LAST_WORDS).await;
}

async fn connection(stream: TcpStream, peer: IpAddr, desk: Arc<Desk>, place: Place) {
    // Small and at once: a state must not wait for the next one.
    let _ = stream.set_nodelay(true);
    let progress = Progress::new();
    let service = service_fn(|request| {
        let (desk, progress) = (desk.clone(), progress.clone());
        async move { Ok::<_, Infallible>(answer(request, &desk, peer, progress).await) }
    });
    let mut http = http1::Builder::new();
    http.timer(TokioTimer::new()).header_read_timeout(HEAD_TIME).max_headers(MOST_HEADS).max_buf_size(BUFFER);
    let connection = http.serve_connection(TokioIo::new(stream), service);
    tokio::select! {
        // However it ended, it is over.
        _ = connection => {}
        () = gone(&progress) => {}
    }
    drop(place);
}

/// Comes back once a reader has taken nothing for too long.
async fn gone(progress: &Progress) {
    while progress.idle_ms().is_none_or(|idle_ms| idle_ms < GONE_MS) {
        tokio::time::sleep(LOOK).await;
    }
}
