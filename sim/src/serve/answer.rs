//! What each address of the server answers.
//!
//! Decides: the six addresses there are, and the heads that go with every answer.
//! Assumes: no more than one request of a connection at a time.
//! Never: makes a path of the disk from what is asked; nor puts what is asked into an answer.

use super::access::{Denial, Right, Tokens, check_host, right};
use super::act::{Act, AskedAct};
use super::feed::{Feed, Progress};
use super::limits::Limit;
use super::published::Published;
use http_body_util::{BodyExt as _, Full, Limited};
use hyper::body::{Body, Bytes, Frame, Incoming};
use hyper::header::{CONTENT_TYPE, HeaderValue};
use hyper::{HeaderMap, Method, Request, Response, StatusCode};
use serde_json::json;
use std::convert::Infallible;
use std::net::IpAddr;
use std::pin::Pin;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::SyncSender;
use std::sync::{Arc, Mutex, PoisonError};
use std::task::{Context, Poll};
use std::time::{Duration, Instant};
use tokio::sync::{oneshot, watch};

/// Requests, wrong tokens and acts of one address in a minute.
const MOST_REQUESTS: u32 = 1200;
const MOST_WRONG: u32 = 10;
const MOST_ACTS: u32 = 60;
/// The longest body of an act, and how long it may take to come.
const LONGEST_BODY: usize = 512;
const BODY_TIME: Duration = Duration::from_secs(5);
/// How long an act may take.
const ACT_TIME: Duration = Duration::from_secs(15);
/// A state older than this says nothing of now.
const OLD: Duration = Duration::from_secs(2);

const PAGE: &str = include_str!("page/index.html");
const STYLE: &str = include_str!("page/style.css");
const SCRIPT: &str = include_str!("page/script.js");
const SHAPES: &str = include_str!("page/shapes.js");

const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src data:; \
base-uri 'none'; form-action 'none'; frame-ancestors 'none'";
const HEADS: [(&str, &str); 6] = [
    ("content-security-policy", POLICY),
    ("x-content-type-options", "nosniff"),
    ("referrer-policy", "no-referrer"),
    ("cache-control", "no-store"),
    ("cross-origin-resource-policy", "same-origin"),
    ("cross-origin-opener-policy", "same-origin"),
];

struct Limits {
    requests: Limit,
    wrong: Limit,
    acts: Limit,
}

/// What answers are made of.
pub(super) struct Desk {
    tokens: Tokens,
    states: watch::Receiver<Published>,
    acts: SyncSender<AskedAct>,
    readers: Arc<AtomicUsize>,
    limits: Mutex<Limits>,
}

impl Desk {
    pub(super) fn new(
        tokens: Tokens,
        states: watch::Receiver<Published>,
        acts: SyncSender<AskedAct>,
        readers: Arc<AtomicUsize>,
    ) -> Self {
        let limits = Limits {
            requests: Limit::a_minute(MOST_REQUESTS),
            wrong: Limit::a_minute(MOST_WRONG),
            acts: Limit::a_minute(MOST_ACTS),
        };
        Self { tokens, states, acts, readers, limits: Mutex::new(limits) }
    }
    fn limited<T>(&self, of: impl FnOnce(&mut Limits) -> T) -> T {
        of(&mut self.limits.lock().unwrap_or_else(PoisonError::into_inner))
    }
    /// What the sender may do; a wrong token counts, and after too many no token is looked at.
    fn right(&self, head: &HeaderMap, peer: IpAddr) -> Result<Right, StatusCode> {
        let now = Instant::now();
        if self.limited(|limits| limits.wrong.is_spent(peer, now)) && head.contains_key("authorization") {
            return Err(StatusCode::TOO_MANY_REQUESTS);
        }
        right(head, peer, &self.tokens).map_err(|denial| match denial {
            Denial::Host | Denial::Origin => StatusCode::FORBIDDEN,
            Denial::NoToken => StatusCode::UNAUTHORIZED,
            Denial::WrongToken => {
                self.limited(|limits| limits.wrong.count(peer, now));
                StatusCode::UNAUTHORIZED
            }
        })
    }
}

/// Counts a reader for as long as it is there.
pub(super) struct Reader(Arc<AtomicUsize>);

impl Reader {
    fn new(count: &Arc<AtomicUsize>) -> Self {
        count.fetch_add(1, Ordering::Relaxed);
        Self(count.clone())
    }
}

impl Drop for Reader {
    fn drop(&mut self) {
        self.0.fetch_sub(1, Ordering::Relaxed);
    }
}

/// The body of an answer.
pub(super) enum Reply {
    Whole(Full<Bytes>),
    Feed(Feed, #[expect(dead_code, reason = "counts until it is dropped")] Reader),
}

impl Body for Reply {
    type Data = Bytes;
    type Error = Infallible;

    fn poll_frame(
        self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, Infallible>>> {
        match self.get_mut() {
            Self::Whole(bytes) => Pin::new(bytes).poll_frame(context),
            Self::Feed(feed, _) => Pin::new(feed).poll_frame(context),
        }
    }
    fn is_end_stream(&self) -> bool {
        matches!(self, Self::Whole(bytes) if bytes.is_end_stream())
    }
    fn size_hint(&self) -> hyper::body::SizeHint {
        match self {
            Self::Whole(bytes) => bytes.size_hint(),
            Self::Feed(..) => hyper::body::SizeHint::default(),
        }
    }
}

fn response(status: StatusCode, kind: &'static str, body: Reply) -> Response<Reply> {
    let mut response = Response::new(body);
    *response.status_mut() = status;
    let heads = response.headers_mut();
    heads.insert(CONTENT_TYPE, HeaderValue::from_static(kind));
    for (name, value) in HEADS {
        heads.insert(name, HeaderValue::from_static(value));
    }
    response
}

fn whole(status: StatusCode, kind: &'static str, bytes: impl Into<Bytes>) -> Response<Reply> {
    response(status, kind, Reply::Whole(Full::new(bytes.into())))
}

fn refused(status: StatusCode) -> Response<Reply> {
    whole(status, "text/plain; charset=utf-8", status.canonical_reason().unwrap_or_default())
}

/// Answers a request.
pub(super) async fn answer(
    request: Request<Incoming>,
    desk: &Desk,
    peer: IpAddr,
    progress: Progress,
) -> Response<Reply> {
    if !desk.limited(|limits| limits.requests.count(peer, Instant::now())) {
        return refused(StatusCode::TOO_MANY_REQUESTS);
    }
    if check_host(request.headers()).is_err() {
        return refused(StatusCode::FORBIDDEN);
    }
    match (request.method(), request.uri().path()) {
        // There is nothing in these that anybody could not read in the source.
        (&Method::GET, "/") => whole(StatusCode::OK, "text/html; charset=utf-8", PAGE),
        (&Method::GET, "/style.css") => whole(StatusCode::OK, "text/css; charset=utf-8", STYLE),
        (&Method::GET, "/script.js") => whole(StatusCode::OK, "text/javascript; charset=utf-8", SCRIPT),
        (&Method::GET, "/shapes.js") => whole(StatusCode::OK, "text/javascript; charset=utf-8", SHAPES),
        (&Method::GET, "/live") => look(request.headers(), desk, peer, |right| {
            let (feed, reader) = (Feed::of(desk.states.clone(), progress), Reader::new(&desk.readers));
            let mut live = response(StatusCode::OK, "text/event-stream", Reply::Feed(feed, reader));
            let may_act = if right == Right::Act { "yes" } else { "no" };
            live.headers_mut().insert("bandward-may-act", HeaderValue::from_static(may_act));
            live
        }),
        (&Method::GET, "/state.json") => look(request.headers(), desk, peer, |_| {
            whole(StatusCode::OK, "application/json", desk.states.borrow().state.clone())
        }),
        (&Method::GET, "/metrics") => look(request.headers(), desk, peer, |_| metrics(desk)),
        (&Method::POST, "/act") => act(request, desk, peer).await,
        (
            _,
            "/" | "/style.css" | "/script.js" | "/shapes.js" | "/live" | "/state.json" | "/metrics" | "/act",
        ) => refused(StatusCode::METHOD_NOT_ALLOWED),
        _ => refused(StatusCode::NOT_FOUND),
    }
}

fn look(
    head: &HeaderMap,
    desk: &Desk,
    peer: IpAddr,
    shown: impl FnOnce(Right) -> Response<Reply>,
) -> Response<Reply> {
    desk.right(head, peer).map_or_else(refused, shown)
}

/// Where nothing was published for a time, nothing is known.
fn metrics(desk: &Desk) -> Response<Reply> {
    let published = desk.states.borrow().clone();
    let is_old = published.at.elapsed() > OLD;
    let told = if is_old { Bytes::new() } else { published.metrics };
    let mut text = super::metrics::of_server(!is_old, desk.readers.load(Ordering::Relaxed)).into_bytes();
    text.extend_from_slice(&told);
    whole(StatusCode::OK, "text/plain; version=0.0.4; charset=utf-8", text)
}

async fn act(request: Request<Incoming>, desk: &Desk, peer: IpAddr) -> Response<Reply> {
    match desk.right(request.headers(), peer) {
        Ok(Right::Act) => {}
        Ok(Right::Look) => return refused(StatusCode::UNAUTHORIZED),
        Err(status) => return refused(status),
    }
    if !desk.limited(|limits| limits.acts.count(peer, Instant::now())) {
        return refused(StatusCode::TOO_MANY_REQUESTS);
    }
    if request.headers().get(CONTENT_TYPE).is_none_or(|kind| kind != "application/json") {
        return refused(StatusCode::UNSUPPORTED_MEDIA_TYPE);
    }
    let body = Limited::new(request.into_body(), LONGEST_BODY).collect();
    let Ok(Ok(body)) = tokio::time::timeout(BODY_TIME, body).await else {
        return refused(StatusCode::PAYLOAD_TOO_LARGE);
    };
    let Some(act) = Act::read(&body.to_bytes()) else { return refused(StatusCode::BAD_REQUEST) };
    let (answer, told) = oneshot::channel();
    let from = super::access::plain_address(peer);
    if desk.acts.try_send(AskedAct { act, from, answer }).is_err() {
        return refused(StatusCode::SERVICE_UNAVAILABLE);
    }
    let (status, words) = match tokio::time::timeout(ACT_TIME, told).await {
        Ok(Ok(Ok(words))) => (StatusCode::OK, words),
        Ok(Ok(Err(why))) => (StatusCode::CONFLICT, why),
        Ok(Err(_)) | Err(_) => (StatusCode::GATEWAY_TIMEOUT, "there is no answer".to_owned()),
    };
    whole(status, "application/json", json!({ "words": words }).to_string())
}
