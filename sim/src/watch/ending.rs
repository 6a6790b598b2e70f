//! Being asked to end: by a signal from outside, or by a key.
//!
//! Decides: which signals ask; one that comes some time after ends the program at once. Those that come with the first
//! are one asking: a terminal that closes, `timeout` and a supervisor send two within some milliseconds.
//! Assumes: whoever runs looks at it some times a second.
//! Never: ends anything by itself: files are finished and the terminal is put back first.

use crate::threads;
use signal_hook::consts::{SIGINT, SIGTERM};
use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

/// A signal that comes so long after the program was asked to end does not wait for it.
const PATIENCE: Duration = Duration::from_millis(500);
/// Time between two looks at whether it was asked.
const LOOK: Duration = Duration::from_millis(50);

/// Is it asked for?
#[derive(Clone, Debug, Default)]
pub struct Ending {
    asked: Arc<AtomicBool>,
    /// The signals are caught.
    caught: Arc<AtomicBool>,
}

impl Ending {
    /// Catches the signals from now on; once is enough.
    ///
    /// # Errors
    /// The system does not let it, or refuses another thread.
    pub fn catch(&self) -> io::Result<()> {
        // Caught twice, a signal would be seen twice.
        if self.caught.swap(true, Ordering::Relaxed) {
            return Ok(());
        }
        let (asked, is_overdue) = (&self.asked, Arc::new(AtomicBool::new(false)));
        self.watch_patience(is_overdue.clone())?;
        #[cfg(unix)]
        let signals = [SIGINT, SIGTERM, signal_hook::consts::SIGHUP];
        #[cfg(not(unix))]
        let signals = [SIGINT, SIGTERM];
        for signal in signals {
            // 128 and the number of the signal is what a shell calls a program ended by it.
            signal_hook::flag::register_conditional_shutdown(signal, 128 + signal, is_overdue.clone())?;
            signal_hook::flag::register(signal, asked.clone())?;
        }
        Ok(())
    }
    /// Sets `is_overdue` once the patience is over. On a thread of its own: whoever is stuck looks at nothing.
    fn watch_patience(&self, is_overdue: Arc<AtomicBool>) -> io::Result<()> {
        let asked = self.asked.clone();
        threads::start(move || {
            while !asked.load(Ordering::Relaxed) {
                std::thread::sleep(LOOK);
            }
            std::thread::sleep(PATIENCE);
            is_overdue.store(true, Ordering::Relaxed);
        })?;
        Ok(())
    }
    /// Asks for it.
    pub fn ask(&self) {
        self.asked.store(true, Ordering::Relaxed);
    }
    /// What is set once it is asked for.
    pub fn flag(&self) -> Arc<AtomicBool> {
        self.asked.clone()
    }
    /// Is it asked for?
    pub fn is_asked(&self) -> bool {
        self.asked.load(Ordering::Relaxed)
    }
}
