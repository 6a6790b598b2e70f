//! Being asked to end: by a signal from outside, or by a key.
//!
//! Decides: which signals ask; a second one ends the program at once.
//! Assumes: whoever runs looks at it some times a second.
//! Never: ends anything by itself: files are finished and the terminal is put back first.

use signal_hook::consts::{SIGINT, SIGTERM};
use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

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
    /// The system does not let it.
    pub fn catch(&self) -> io::Result<()> {
        // Caught twice, the first signal would count as the second.
        if self.caught.swap(true, Ordering::Relaxed) {
            return Ok(());
        }
        let asked = &self.asked;
        #[cfg(unix)]
        let signals = [SIGINT, SIGTERM, signal_hook::consts::SIGHUP];
        #[cfg(not(unix))]
        let signals = [SIGINT, SIGTERM];
        for signal in signals {
            // 128 and the number of the signal is what a shell calls a program ended by it.
            signal_hook::flag::register_conditional_shutdown(signal, 128 + signal, asked.clone())?;
            signal_hook::flag::register(signal, asked.clone())?;
        }
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
