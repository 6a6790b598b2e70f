//! Standard output and standard error each on a thread of its own, so that work with a clock of its own waits for nobody
//! who reads.
//!
//! Decides: how much waits to be read, and what becomes of the rest.
//! Assumes: it is asked for once, before the first line.
//! Never: leaves a line of standard output out without an error at the end, nor waits at the end once somebody ends the
//! program.

use std::io::{self, ErrorKind, Write};
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
/// And so long for the remarks, which come after that.
const LAST_REMARKS: Duration = Duration::from_millis(200);

/// What is done with a line for which there is no room.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Full {
    /// It waits: there is no hurry, until somebody ends the program.
    Waits,
    /// It is left out.
    LeftOut,
}

/// Of the two streams one.
struct Stream {
    lines: Mutex<Option<Sender<Vec<u8>>>>,
    state: Arc<State>,
    is_left_out: AtomicBool,
}

#[derive(Default)]
struct State {
    waiting: AtomicUsize,
    failed: Mutex<Option<io::Error>>,
    is_done: AtomicBool,
}

struct Apart {
    told: Stream,
    remarks: Stream,
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
    if let (Ok(told), Ok(remarks)) = (Stream::of(io::stdout), Stream::of(io::stderr)) {
        APART.get_or_init(|| Apart { told, remarks, full, is_ending });
    }
}

/// Takes a line where lines are written apart; none where they are not.
pub(super) fn take(line: &str) -> Option<io::Result<()>> {
    let apart = APART.get()?;
    Some(apart.told.take(line, apart.full, &apart.is_ending))
}

/// Takes a remark where they are written apart: did it? One for which there is no room is left out: there is nowhere left
/// to tell it.
pub(super) fn take_remark(line: &str) -> bool {
    APART.get().is_some_and(|apart| {
        let _ = apart.remarks.take(line, Full::LeftOut, &apart.is_ending);
        true
    })
}

/// Waits until all that was told is written.
///
/// # Errors
/// Standard output is full or closed, or nobody reads it.
pub(super) fn finish() -> io::Result<()> {
    APART.get().map_or(Ok(()), |apart| apart.told.finish(&apart.is_ending, LAST_WORDS))
}

/// Waits until all remarks are written, or nobody reads them.
pub(super) fn finish_remarks() {
    if let Some(apart) = APART.get() {
        // There is nowhere left to tell that this failed.
        let _ = apart.remarks.finish(&apart.is_ending, LAST_REMARKS);
    }
}

impl Stream {
    fn of<W: Write + 'static>(open: fn() -> W) -> io::Result<Self> {
        let (to, lines) = channel();
        let state = Arc::<State>::default();
        let shared = state.clone();
        Builder::new().spawn(move || {
            if let Err(error) = write(&mut open(), &lines, &shared.waiting) {
                *own(&shared.failed) = Some(error);
            }
            shared.is_done.store(true, Ordering::Release);
        })?;
        Ok(Self { lines: Mutex::new(Some(to)), state, is_left_out: AtomicBool::new(false) })
    }
    fn take(&self, line: &str, full: Full, is_ending: &AtomicBool) -> io::Result<()> {
        self.failure()?;
        let waiting = &self.state.waiting;
        while waiting.load(Ordering::Relaxed) + line.len() > MOST_WAITING {
            if full == Full::LeftOut || is_ending.load(Ordering::Relaxed) {
                self.is_left_out.store(true, Ordering::Relaxed);
                return Ok(());
            }
            std::thread::sleep(LOOK);
            self.failure()?;
        }
        waiting.fetch_add(line.len(), Ordering::Relaxed);
        if let Some(lines) = &*own(&self.lines) {
            // A thread that has ended has said why.
            let _ = lines.send(line.as_bytes().to_vec());
        }
        Ok(())
    }
    fn failure(&self) -> io::Result<()> {
        own(&self.state.failed)
            .as_ref()
            .map_or(Ok(()), |error| Err(io::Error::new(error.kind(), error.to_string())))
    }
    fn finish(&self, is_ending: &AtomicBool, patience: Duration) -> io::Result<()> {
        drop(own(&self.lines).take());
        let mut ended: Option<Instant> = None;
        while !self.state.is_done.load(Ordering::Acquire) {
            let is_ending = is_ending.load(Ordering::Relaxed);
            if is_ending && ended.get_or_insert_with(Instant::now).elapsed() > patience {
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

fn write(output: &mut impl Write, lines: &Receiver<Vec<u8>>, waiting: &AtomicUsize) -> io::Result<()> {
    for line in lines {
        output.write_all(&line).and_then(|()| output.flush())?;
        waiting.fetch_sub(line.len(), Ordering::Relaxed);
    }
    Ok(())
}

fn nobody_reads() -> io::Error {
    io::Error::new(ErrorKind::TimedOut, "nobody reads it")
}
