//! Being asked to end from outside: a signal.
//!
//! Decides: which signals ask; a second one ends the program at once.
//! Assumes: whoever runs looks at it some times a second.
//! Never: ends anything by itself: files are finished and the terminal is put back first.

use signal_hook::consts::{SIGINT, SIGTERM};
use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// Was a signal to end caught?
#[derive(Clone, Debug)]
pub struct Ending(Arc<AtomicBool>);

impl Ending {
    /// Catches the signals from now on.
    ///
    /// # Errors
    /// The system does not let it.
    pub fn catch() -> io::Result<Self> {
        let asked = Arc::new(AtomicBool::new(false));
        #[cfg(unix)]
        let signals = [SIGINT, SIGTERM, signal_hook::consts::SIGHUP];
        #[cfg(not(unix))]
        let signals = [SIGINT, SIGTERM];
        for signal in signals {
            // 128 and the number of the signal is what a shell calls a program ended by it.
            signal_hook::flag::register_conditional_shutdown(signal, 128 + signal, asked.clone())?;
            signal_hook::flag::register(signal, asked.clone())?;
        }
        Ok(Self(asked))
    }
    /// Was one caught?
    pub fn is_asked(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }
}
