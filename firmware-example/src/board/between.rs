//! What the watcher and the service hand each other.
//!
//! Decides: what goes through, by value, and how much of it waits. Each queue has one producer and one consumer, so
//! that neither side ever waits for the other, whichever is interrupted where.
//! Assumes: the service takes what is said to it some hundred times a second, but for the time its flash takes.
//! Never: locks, or disables an interrupt.

use bandward::event::Event;
use bandward::flash::journal::Kept;
use bandward::link::{BoardFaults, LONGEST_PIECE, Refusal, Telemetry};
use bandward::monitor::Plan;
use bandward::record::stamp::{Serial, Stamp};
use bandward::{Outcome, Rule, Sample, SoundProcedure};
use core::sync::atomic::{AtomicU32, Ordering};
use heapless::spsc::{Consumer, Producer, Queue};

/// From the watcher to the service, in the order in which it came about.
pub(super) enum Word {
    Event(Event),
    /// A record is in its queue.
    Record,
    /// A snapshot is in its queue.
    Snapshot,
    Faults(BoardFaults),
    /// A bench test was ended by a real arc.
    BenchBroken,
    /// Another watch begins.
    WatchBegun,
    /// The procedure of the last change is in force.
    InForce,
    Answer(Answer),
}

/// To an order: exactly one to each that is answered.
pub(super) enum Answer {
    Ready,
    Acknowledged,
    Taken {
        samples: u32,
    },
    BenchDone {
        samples: u32,
    },
    /// A block of the black box is in its queue.
    Block,
    NoBlock,
    Released,
    Refused(Refusal),
}

/// From the service to the watcher.
pub(super) enum Order {
    /// Answered where a host asked; asked for at this time of the service's clock, as the next three are.
    Acknowledge {
        is_answered: bool,
        asked_us: u32,
    },
    MarkJoint {
        is_answered: bool,
        asked_us: u32,
    },
    SetDate {
        utc_s: u32,
        asked_us: u32,
    },
    NameJoint {
        serial: Option<Serial>,
        asked_us: u32,
    },
    Shelve {
        rule: Rule,
        for_us: u32,
    },
    BenchStart(Plan),
    BenchSample(Sample),
    /// After the last sample of a block; `is_whole` where all of it could be read.
    BenchTaken {
        is_whole: bool,
    },
    BenchEnd,
    /// Its host says nothing any more.
    BenchLost,
    ReadBlackBox {
        from: u32,
    },
    ReleaseBlackBox,
    /// The procedure in the queue of changes comes into force as soon as no arc burns.
    Change,
    /// A snapshot for the controller of the cell.
    Tell {
        asked_us: u32,
    },
    /// How the journal fares.
    Journal {
        is_failing: bool,
        has_lost: bool,
    },
}

/// A procedure that was checked and stored, and its plan on the board's own inputs.
pub(super) struct Change {
    pub(super) procedure: SoundProcedure,
    pub(super) plan: Plan,
}

/// The state of the board at one moment, but for what only the service knows.
#[derive(Clone, Copy)]
pub(super) struct Snapshot {
    pub(super) telemetry: Telemetry,
    /// The verdict that the lamp shows.
    pub(super) shown: Outcome,
    /// Samples that were judged until then; wraps.
    pub(super) samples: u32,
    /// When the controller of the cell asked, by the service's clock.
    pub(super) asked_us: u32,
}

/// A block of the black box.
pub(super) struct Block {
    pub(super) number: u32,
    pub(super) bytes: [u8; LONGEST_PIECE],
    pub(super) used: usize,
}

/// An arc burns, by the monitor, on whatever samples it is shown.
const BURNING: u32 = 1;
/// An arc may burn on the machine.
const MAY_BURN: u32 = 2;
/// A bench test is under way.
const BENCH: u32 = 4;

/// What the service may look at whenever it likes: each is one word of memory.
pub(super) struct Signs {
    /// [`BURNING`], [`MAY_BURN`] and [`BENCH`].
    flags: AtomicU32,
    /// Samples judged since the start; wraps.
    samples: AtomicU32,
    /// Words for which there was no room.
    lost: AtomicU32,
    /// The service's clock, as its last call began, µs; wraps.
    now_us: AtomicU32,
}

/// What was asked for so long ago is of another moment, and nobody waits for it any more, µs: as long as a host waits
/// before it asks again, and half of what a controller waits (1 s, common practice).
const LATE_US: u32 = 500_000;

impl Signs {
    const fn new() -> Self {
        Self {
            flags: AtomicU32::new(0),
            samples: AtomicU32::new(0),
            lost: AtomicU32::new(0),
            now_us: AtomicU32::new(0),
        }
    }
    pub(super) fn set(&self, burning: bool, may_burn: bool, bench: bool, samples: u32) {
        let flag = |is_set: bool, flag: u32| if is_set { flag } else { 0 };
        let flags = flag(burning, BURNING) | flag(may_burn, MAY_BURN) | flag(bench, BENCH);
        self.flags.store(flags, Ordering::Release);
        self.count(samples);
    }
    /// So many samples were judged, and nothing else is new.
    #[inline]
    pub(super) fn count(&self, samples: u32) {
        self.samples.store(samples, Ordering::Release);
    }
    /// Only the service calls it.
    pub(super) fn show_time(&self, now_us: u32) {
        self.now_us.store(now_us, Ordering::Release);
    }
    /// The time that was shown last: whatever is asked for is asked for then, so that nothing is of a time to come.
    pub(super) fn shown_time(&self) -> u32 {
        self.now_us.load(Ordering::Acquire)
    }
    /// Is it too late for what was asked for then? By the service's clock as it was last seen: while the service waits
    /// for its flash nothing gets late, and the watcher has done it long since.
    pub(super) fn is_late(&self, asked_us: u32) -> bool {
        self.shown_time().wrapping_sub(asked_us) >= LATE_US
    }
    /// Only the watcher calls it.
    pub(super) fn lose(&self) {
        self.lost.store(self.lost().wrapping_add(1), Ordering::Release);
    }
    pub(super) fn lost(&self) -> u32 {
        self.lost.load(Ordering::Acquire)
    }
    pub(super) fn is_bench(&self) -> bool {
        self.flags.load(Ordering::Acquire) & BENCH != 0
    }
    pub(super) fn samples(&self) -> u32 {
        self.samples.load(Ordering::Acquire)
    }
    /// An arc burns, on the machine or in a bench test.
    pub(super) fn any_arc(&self) -> bool {
        self.flags.load(Ordering::Acquire) & (BURNING | MAY_BURN) != 0
    }
    /// An arc burns on the machine, whatever a bench test shows.
    pub(super) fn arc_of_machine(&self) -> bool {
        let flags = self.flags.load(Ordering::Acquire);
        flags & MAY_BURN != 0 || flags & (BURNING | BENCH) == BURNING
    }
}

/// Words that wait: what some samples can bring, each up to two for every alarm there is, while a flash erases a page.
const WORDS: usize = 256;
/// Records that wait, and one: a service that does not come loses none of sixteen bands.
const RECORDS: usize = 17;
/// Orders that wait.
const ORDERS: usize = 16;

/// All that lies between them, in one place.
pub struct Between {
    words: Queue<Word, WORDS>,
    records: Queue<Kept, RECORDS>,
    /// One for each of them: a record is copied as seldom as can be.
    stamps: Queue<Stamp, RECORDS>,
    snapshots: Queue<Snapshot, 2>,
    /// For the controller of the cell, which does not wait for what the host waits for.
    of_cell: Queue<Snapshot, 2>,
    blocks: Queue<Block, 2>,
    orders: Queue<Order, ORDERS>,
    changes: Queue<Change, 2>,
    signs: Signs,
}

impl Between {
    /// Nothing was said yet.
    pub const fn new() -> Self {
        Self {
            words: Queue::new(),
            records: Queue::new(),
            stamps: Queue::new(),
            snapshots: Queue::new(),
            of_cell: Queue::new(),
            blocks: Queue::new(),
            orders: Queue::new(),
            changes: Queue::new(),
            signs: Signs::new(),
        }
    }
    /// The ends of the watcher and of the service.
    pub(super) fn split(&'static mut self) -> ((Mouth, Above), Below) {
        let (words_in, words) = self.words.split();
        let (records_in, records) = self.records.split();
        let (stamps_in, stamps) = self.stamps.split();
        let (snapshots_in, snapshots) = self.snapshots.split();
        let (of_cell_in, of_cell) = self.of_cell.split();
        let (blocks_in, blocks) = self.blocks.split();
        let (orders_in, orders) = self.orders.split();
        let (changes_in, changes) = self.changes.split();
        let signs = &self.signs;
        let mouth = Mouth { words: words_in, records: records_in, stamps: stamps_in, signs };
        (
            (
                mouth,
                Above { snapshots: snapshots_in, of_cell: of_cell_in, blocks: blocks_in, orders, changes },
            ),
            Below {
                words,
                records,
                stamps,
                snapshots,
                of_cell,
                blocks,
                orders: orders_in,
                changes: changes_in,
                signs,
            },
        )
    }
}

impl Default for Between {
    fn default() -> Self {
        Self::new()
    }
}

/// The watcher's end.
pub(super) struct Above {
    pub(super) snapshots: Producer<'static, Snapshot>,
    pub(super) of_cell: Producer<'static, Snapshot>,
    pub(super) blocks: Producer<'static, Block>,
    pub(super) orders: Consumer<'static, Order>,
    pub(super) changes: Consumer<'static, Change>,
}

/// The service's end.
pub(super) struct Below {
    pub(super) words: Consumer<'static, Word>,
    pub(super) records: Consumer<'static, Kept>,
    pub(super) stamps: Consumer<'static, Stamp>,
    pub(super) snapshots: Consumer<'static, Snapshot>,
    pub(super) of_cell: Consumer<'static, Snapshot>,
    pub(super) blocks: Consumer<'static, Block>,
    pub(super) orders: Producer<'static, Order>,
    pub(super) changes: Producer<'static, Change>,
    pub(super) signs: &'static Signs,
}

/// What the watcher speaks with.
pub(super) struct Mouth {
    words: Producer<'static, Word>,
    records: Producer<'static, Kept>,
    stamps: Producer<'static, Stamp>,
    pub(super) signs: &'static Signs,
}

impl Mouth {
    /// Says it, or counts it as lost where too much waits.
    pub(super) fn say(&mut self, word: Word) {
        if self.words.enqueue(word).is_err() {
            self.signs.lose();
        }
    }
    /// Hands a record over with its stamp; false where too much waits. Inlined, so that the record is copied once.
    #[inline(always)]
    #[allow(clippy::inline_always)]
    pub(super) fn hand_over(&mut self, record: &Kept, stamp: Stamp) -> bool {
        // Only this end fills them: whatever has room now has it then, and no stamp is without a record.
        let has_room = self.words.ready()
            && self.records.ready()
            && self.stamps.enqueue(stamp).is_ok()
            && self.records.enqueue(*record).is_ok();
        if has_room {
            self.say(Word::Record);
        } else {
            self.signs.lose();
        }
        has_room
    }
    /// Is there room for so many words, and for the records that an order can bring?
    pub(super) fn has_room_for(&self, words: usize, records: usize) -> bool {
        self.words.capacity() - self.words.len() >= words
            && self.records.capacity() - self.records.len() >= records
    }
}
