//! Threads, as far as the machine gives them.
//!
//! Decides: how many work side by side: as many as there are processors, or as `RAYON_NUM_THREADS` says.
//! Never: takes a thread that the machine refuses for a fault of the program: what can be done on one thread goes on.

use std::io;
use std::sync::OnceLock;
use std::thread::{self, Builder, JoinHandle};

/// So many work side by side, where the machine gives them.
pub fn count() -> usize {
    let asked = std::env::var("RAYON_NUM_THREADS").ok().and_then(|count| count.parse().ok());
    let there = || thread::available_parallelism().map_or(1, usize::from);
    asked.filter(|&count| count > 0).unwrap_or_else(there)
}

/// Starts one.
///
/// # Errors
/// The machine refuses it.
pub fn start<T: Send + 'static>(work: impl FnOnce() -> T + Send + 'static) -> io::Result<JoinHandle<T>> {
    Builder::new().spawn(work).map_err(|error| {
        io::Error::other(format!(
            "the system refuses this program another thread ({}): end other programs, or raise the limit on processes",
            crate::output::reason(&error)
        ))
    })
}

/// Would the machine give one now?
pub fn may_start() -> bool {
    start(|| ()).is_ok_and(|thread| thread.join().is_ok())
}

/// Makes the pool in which iterators work side by side, once and before the first of them: of this thread alone where
/// the machine refuses others.
pub fn make_pool() {
    static MADE: OnceLock<()> = OnceLock::new();
    MADE.get_or_init(|| {
        let pool = rayon::ThreadPoolBuilder::new();
        let pool = if is_given(count()) { pool } else { pool.num_threads(1).use_current_thread() };
        // A pool that somebody made before is as good.
        let _ = pool.build_global();
    });
}

/// Are so many given at the same time?
fn is_given(count: usize) -> bool {
    thread::scope(|scope| {
        let begun: Vec<_> = (0..count).map(|_| Builder::new().spawn_scoped(scope, thread::park)).collect();
        begun.iter().flatten().for_each(|thread| thread.thread().unpark());
        begun.iter().all(Result::is_ok)
    })
}
