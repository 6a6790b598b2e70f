//! Standard output on a thread of its own, so that work with a clock of its own waits for nobody who reads.
//!
//! Decides: how much waits to be read, and what becomes of the rest.
//! Assumes: it is asked for once, before the first line.
//! Never: leaves a line out without an error at the end, nor waits at the end once somebody ends the program.

use std::io::{self, ErrorKind, Write as _};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError};
use std::thread::Builder;
use std::time::{Duration, Instant};

/// What waits to be read, bytes: hours of what a board tells.
const MOST_WAITING: usize = 16 << 20;
/// Between two looks at whether there is room.
const LOOK: Duration = Duration::from_millis(10);
/// So long whoever reads may take for the rest, once somebody ends the program.
const LAST_WORDS: Duration = Duration::from_secs(2);

/// What is done with a line for which there is no room.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Full {
    /// It waits: there is no hurry, until somebody ends the program.
    Waits,
    /// It is left out.
    LeftOut,
}

struct Apart {
    lines: Mutex<Option<Sender<Vec<u8>>>>,
    waiting: Arc<AtomicUsize>,
    failed: Arc<Mutex<Option<io::Error>>>,
    is_done: Arc<AtomicBool>,
    is_left_out: AtomicBool,
    full: Full,
    is_ending: Arc<AtomicBool>,
}

static APART: OnceLock<Apart> = OnceLock::new();

/// Whoever panicked while it held one of these has written no further.
fn own<T>(shared: &Mutex<T>) -> MutexGuard<'_, T> {
    shared.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Begins; once `is_ending` is set nobody is waited for. Where the machine refuses a thread all stays as it was.
pub fn begin(full: Full, is_ending: Arc<AtomicBool>) {
    let (to, lines) = channel();
    let (waiting, failed, is_done) = (
        Arc::<AtomicUsize>::default(),
        Arc::<Mutex<Option<io::Error>>>::default(),
        Arc::<AtomicBool>::default(),
    );
    let shared = (waiting.clone(), failed.clone(), is_done.clone());
    let started = Builder::new().spawn(move || {
        let (waiting, failed, is_done) = shared;
        if let Err(error) = write(&lines, &waiting) {
            *own(&failed) = Some(error);
        }
        is_done.store(true, Ordering::Release);
    });
    if started.is_ok() {
        let lines = Mutex::new(Some(to));
        let is_left_out = AtomicBool::new(false);
        APART.get_or_init(|| Apart { lines, waiting, failed, is_done, is_left_out, full, is_ending });
    }
}

fn write(lines: &Receiver<Vec<u8>>, waiting: &AtomicUsize) -> io::Result<()> {
    let mut output = io::stdout();
    for line in lines {
        output.write_all(&line).and_then(|()| output.flush())?;
        waiting.fetch_sub(line.len(), Ordering::Relaxed);
    }
    Ok(())
}

/// Takes a line where lines are written apart; none where they are not.
pub(super) fn take(line: &str) -> Option<io::Result<()>> {
    let apart = APART.get()?;
    Some(apart.take(line))
}

/// Waits until all of it is written.
///
/// # Errors
/// Standard output is full or closed, or nobody reads it.
pub(super) fn finish() -> io::Result<()> {
    APART.get().map_or(Ok(()), Apart::finish)
}

impl Apart {
    fn take(&self, line: &str) -> io::Result<()> {
        self.failure()?;
        while self.waiting.load(Ordering::Relaxed) + line.len() > MOST_WAITING {
            if self.full == Full::LeftOut || self.is_ending.load(Ordering::Relaxed) {
                self.is_left_out.store(true, Ordering::Relaxed);
                return Ok(());
            }
            std::thread::sleep(LOOK);
            self.failure()?;
        }
        self.waiting.fetch_add(line.len(), Ordering::Relaxed);
        if let Some(lines) = &*own(&self.lines) {
            // A thread that has ended has said why.
            let _ = lines.send(line.as_bytes().to_vec());
        }
        Ok(())
    }
    fn failure(&self) -> io::Result<()> {
        own(&self.failed)
            .as_ref()
            .map_or(Ok(()), |error| Err(io::Error::new(error.kind(), error.to_string())))
    }
    fn finish(&self) -> io::Result<()> {
        drop(own(&self.lines).take());
        let mut ended: Option<Instant> = None;
        while !self.is_done.load(Ordering::Acquire) {
            let is_ending = self.is_ending.load(Ordering::Relaxed);
            if is_ending && ended.get_or_insert_with(Instant::now).elapsed() > LAST_WORDS {
                return Err(nobody_reads());
            }
            std::thread::sleep(LOOK);
        }
        self.failure()?;
        if self.is_left_out.load(Ordering::Relaxed) {
            return Err(nobody_reads());
        }
        Ok(())
    }
}

fn nobody_reads() -> io::Error {
    io::Error::new(ErrorKind::TimedOut, "nobody reads it")
}
