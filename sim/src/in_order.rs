//! Many pieces of work on all cores, their results in the order of the pieces.
//!
//! Decides: how far the work may run ahead of whoever takes the results: a few pieces a core. Where the machine refuses
//! every thread, all is done on this one.
//! Assumes: the pieces do not depend on one another.
//! Never: holds more results than those few, however many pieces there are.

use crate::threads;
use std::collections::BTreeMap;
use std::ops::ControlFlow;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::{self, Receiver, Sender};
use std::sync::{Condvar, Mutex, PoisonError};
use std::thread;

/// Results a core that may wait for their turn. More would not help: a core waits only behind a piece that
/// takes longer than so many others.
const AHEAD: usize = 4;

/// Does `work` on each piece, and gives the results to `take`, the first piece's first.
///
/// # Errors
/// That of `take`; no piece is begun after it.
pub fn in_order<P, R, E>(
    pieces: &[P],
    work: impl Fn(&P) -> R + Sync,
    mut take: impl FnMut(R) -> Result<(), E>,
) -> Result<(), E>
where
    P: Sync,
    R: Send,
{
    let cores = threads::count().min(pieces.len());
    let queue = Queue { next: AtomicUsize::new(0), gate: Gate::new(AHEAD * cores) };
    thread::scope(|scope| {
        // Whatever ends the taking, those who wait at the gate go home.
        let _ending = Ending(&queue.gate);
        let (done, results) = mpsc::channel();
        let begin = |_| {
            let (done, queue, work) = (done.clone(), &queue, &work);
            thread::Builder::new().spawn_scoped(scope, move || queue.work_off(pieces, work, &done)).is_ok()
        };
        let are_begun = (0..cores).take_while(|core| begin(*core)).count() > 0;
        drop(done);
        if are_begun {
            hand_over(&results, &queue.gate, &mut take)
        } else {
            pieces.iter().try_for_each(|piece| take(work(piece)))
        }
    })
}

/// Pieces not yet begun.
struct Queue {
    next: AtomicUsize,
    gate: Gate,
}

impl Queue {
    fn work_off<P, R>(&self, pieces: &[P], work: &impl Fn(&P) -> R, done: &Sender<(usize, R)>) {
        // A piece that panics ends all; the panic goes on to whoever asked for the work.
        let ending = Ending(&self.gate);
        loop {
            let place = self.next.fetch_add(1, Ordering::Relaxed);
            let Some(piece) = pieces.get(place) else { break };
            if self.gate.pass(place).is_break() || done.send((place, work(piece))).is_err() {
                break;
            }
        }
        std::mem::forget(ending);
    }
}

fn hand_over<R, E>(
    results: &Receiver<(usize, R)>,
    gate: &Gate,
    take: &mut impl FnMut(R) -> Result<(), E>,
) -> Result<(), E> {
    let mut early = BTreeMap::new();
    let mut due = 0;
    for (place, result) in results {
        early.insert(place, result);
        while let Some(result) = early.remove(&due) {
            take(result)?;
            due += 1;
            gate.open_to(due);
        }
    }
    Ok(())
}

/// Keeps the work from running too far ahead.
struct Gate {
    /// How many results have been taken; none when all is over.
    taken: Mutex<Option<usize>>,
    moved: Condvar,
    ahead: usize,
}

impl Gate {
    const fn new(ahead: usize) -> Self {
        Self { taken: Mutex::new(Some(0)), moved: Condvar::new(), ahead }
    }
    /// Waits until this piece may be begun; breaks when no more is wanted.
    fn pass(&self, place: usize) -> ControlFlow<()> {
        let is_early = |taken: &mut Option<usize>| taken.is_some_and(|taken| place >= taken + self.ahead);
        let taken = self.taken.lock().unwrap_or_else(PoisonError::into_inner);
        let taken = self.moved.wait_while(taken, is_early).unwrap_or_else(PoisonError::into_inner);
        if taken.is_some() { ControlFlow::Continue(()) } else { ControlFlow::Break(()) }
    }
    fn open_to(&self, taken: usize) {
        self.set(|before| before.map(|_| taken));
    }
    fn set(&self, change: impl FnOnce(Option<usize>) -> Option<usize>) {
        let mut taken = self.taken.lock().unwrap_or_else(PoisonError::into_inner);
        *taken = change(*taken);
        self.moved.notify_all();
    }
}

/// Ends the work when it goes out of scope.
struct Ending<'g>(&'g Gate);

impl Drop for Ending<'_> {
    fn drop(&mut self) {
        self.0.set(|_| None);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    #[test]
    fn results_come_in_order_whatever_took_longest() {
        let pieces: Vec<u64> = (0..200).collect();
        let mut taken = Vec::new();
        let work = |&piece: &u64| {
            thread::sleep(Duration::from_micros(if piece % 7 == 0 { 900 } else { 10 }));
            piece
        };
        in_order(&pieces, work, |piece| {
            taken.push(piece);
            Ok::<_, ()>(())
        })
        .expect("nothing refused");
        assert_eq!(taken, pieces);
    }

    #[test]
    fn no_more_than_a_few_wait_for_their_turn() {
        let begun = AtomicUsize::new(0);
        let mut taken = 0;
        let pieces = [(); 300];
        in_order(
            &pieces,
            |()| begun.fetch_add(1, Ordering::SeqCst),
            |_| {
                thread::sleep(Duration::from_micros(200));
                let ahead = begun.load(Ordering::SeqCst) - taken;
                assert!(ahead <= AHEAD * threads::count(), "{ahead} ahead");
                taken += 1;
                Ok::<_, ()>(())
            },
        )
        .expect("nothing refused");
        assert_eq!(taken, 300);
    }

    #[test]
    fn an_error_ends_the_work() {
        let begun = AtomicUsize::new(0);
        let pieces = [(); 10_000];
        let ended = in_order(
            &pieces,
            |()| begun.fetch_add(1, Ordering::SeqCst),
            |place| if place < 3 { Ok(()) } else { Err("the disk is full") },
        );
        assert_eq!(ended, Err("the disk is full"));
        assert!(begun.into_inner() < 1000);
    }

    #[test]
    fn a_panic_in_a_piece_is_no_hang() {
        let pieces: Vec<u32> = (0..100).collect();
        let work = |&piece: &u32| assert_ne!(piece, 0);
        let caught = std::panic::catch_unwind(|| in_order(&pieces, work, |()| Ok::<_, ()>(())));
        assert!(caught.is_err());
    }

    #[test]
    fn no_piece_is_no_work() {
        let pieces: [u8; 0] = [];
        assert_eq!(in_order(&pieces, |&piece| piece, |_| Err(())), Ok(()));
    }
}
