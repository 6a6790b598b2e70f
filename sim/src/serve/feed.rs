//! What one reader is sent: the newest state, as server-sent events.
//!
//! Decides: that a reader which is slow skips states, and how an end is told.
//! Assumes: the events of the HTML standard, "Server-sent events": a field a line, an empty line at the end.
//! Never: holds more than one state for a reader.

use super::published::Published;
use hyper::body::{Body, Bytes, Frame};
use std::convert::Infallible;
use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::task::{Context, Poll, ready};
use std::time::Instant;
use tokio::sync::watch::Receiver;
use tokio::sync::watch::error::RecvError;

type Next = Pin<Box<dyn Future<Output = (Result<(), RecvError>, Receiver<Published>)> + Send>>;

/// When a reader last took something, so that one which takes nothing can be dropped.
#[derive(Clone)]
pub(super) struct Progress {
    begun: Instant,
    /// Milliseconds after `begun`, and one more; 0 where nothing is sent on.
    last: Arc<AtomicU64>,
}

impl Progress {
    pub(super) fn new() -> Self {
        Self { begun: Instant::now(), last: Arc::default() }
    }
    fn note(&self) {
        self.last.store(self.begun.elapsed().as_millis() as u64 + 1, Ordering::Relaxed);
    }
    /// For how long a reader has taken nothing, ms; `None` where nothing is sent on.
    pub(super) fn idle_ms(&self) -> Option<u64> {
        let last = self.last.load(Ordering::Relaxed);
        (last > 0).then(|| (self.begun.elapsed().as_millis() as u64 + 1).saturating_sub(last))
    }
}

/// The body of an answer that goes on.
pub(super) struct Feed {
    next: Option<Next>,
    progress: Progress,
}

impl Feed {
    /// The state of now goes first.
    pub(super) fn of(mut states: Receiver<Published>, progress: Progress) -> Self {
        states.mark_changed();
        progress.note();
        Self { next: Some(wait(states)), progress }
    }
}

fn wait(mut states: Receiver<Published>) -> Next {
    Box::pin(async move {
        let changed = states.changed().await;
        (changed, states)
    })
}

impl Body for Feed {
    type Data = Bytes;
    type Error = Infallible;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, Infallible>>> {
        self.progress.note();
        let Some(next) = &mut self.next else { return Poll::Ready(None) };
        let (changed, mut states) = ready!(next.as_mut().poll(context));
        let event = if changed.is_ok() {
            let event = states.borrow_and_update().event.clone();
            self.next = Some(wait(states));
            event
        } else {
            self.next = None;
            Bytes::from_static(b"event: bye\ndata: {}\n\n")
        };
        Poll::Ready(Some(Ok(Frame::data(event))))
    }
}
