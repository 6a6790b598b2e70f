//! The link to a board, kept on a thread of its own, so that a screen never waits for a line.
//!
//! Decides: when a link counts as lost, and that it is opened anew until somebody ends it: from the first answer of the
//! board on.
//! Assumes: whoever holds the keeper takes what is said.
//! Never: goes on with a bench test over a link that was lost: samples are missing then; nor re-arms at the end a black
//! box that was to be fetched first and is not whole in its file; nor holds more than `MOST_WAITING` reports: a board
//! that tells more waits until they are taken.

use super::due::{Due, DueRows, Speed};
use super::ending::Ending;
use super::order::{CompletedOrder, Order, carry_out};
use crate::link::session::PATIENCE;
use crate::link::{Link, LinkLost, Report, Session};
use crate::threads;
use anyhow::{Context as _, anyhow, bail};
use bandward::link::Counts;
use bandward::link::upload::crc_of;
use bandward::record::stamp::Serial;
use bandward::{Acquisition, Sample};
use jiff::Timestamp;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, SyncSender, TryRecvError, channel, sync_channel};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// A board is told the date so often: it takes none before its first sample, and forgets it with a fault of its clock.
const DATE_EVERY: Duration = Duration::from_secs(10);
/// Time between two looks at orders and rows.
const PAUSE: Duration = Duration::from_millis(40);
/// A board that says nothing for so long is asked whether it is there.
const QUIET: Duration = Duration::from_secs(1);
/// How long a board may take to answer when a lost link is tried anew.
const AGAIN: Duration = Duration::from_secs(3);
/// Time between two looks at whether somebody ends it.
const LOOK: Duration = Duration::from_millis(50);
/// Most rows of a bench test sent between two looks at orders.
const ROWS_AT_ONCE: usize = 512;

/// Reports that wait to be taken.
const MOST_WAITING: usize = 1024;

/// What comes from the keeper.
#[derive(Debug)]
pub enum LinkNews {
    /// There is a link.
    Linked {
        /// CRC of the active procedure.
        procedure_crc: u32,
    },
    /// There is none any more, and why; it is tried anew.
    Lost(String),
    /// The board said something.
    Report(Box<Report>),
    /// How the link fares, seen from here.
    Counts(Counts),
    /// An order was carried out.
    Done(CompletedOrder),
    /// An order was not, and why.
    Failed(String),
    /// Every row of the bench test was judged.
    BenchOver,
}

enum Command {
    CarryOut(Order),
    End,
}

/// A bench test: the board judges the rows of a trace instead of its inputs.
pub struct Bench {
    /// The rows.
    pub rows: DueRows,
    /// How they come.
    pub acquisition: Acquisition,
    /// How fast.
    pub speed: Speed,
}

/// What is to be done at the beginning and at the end.
#[derive(Default)]
pub struct LinkTasks {
    /// Before anything else.
    pub first: Vec<Order>,
    /// The serial of the joint that is being welded or comes next.
    pub serial: Option<Serial>,
    /// Then.
    pub bench: Option<Bench>,
    /// At the end, in order; the journal after the end of the bench test, which finishes its last band.
    pub finally: Vec<Order>,
    /// There is nothing to see besides: whoever ends the program ends what is under way, and what comes after it.
    pub is_alone: bool,
}

/// Holds the thread.
pub struct LinkKeeper {
    orders: Sender<Command>,
    said: Receiver<LinkNews>,
    thread: JoinHandle<anyhow::Result<()>>,
}

impl LinkKeeper {
    /// Connects, does what is to be done first, and keeps the link from then on; once `ending` is asked for it
    /// waits for no board that is silent.
    ///
    /// # Errors
    /// There is no board at `address`, or it refuses what is to be done first.
    pub fn start(address: &str, plan: LinkTasks, ending: Ending) -> anyhow::Result<Self> {
        let (to, said) = sync_channel(MOST_WAITING);
        let say = Speaker { to, is_heard: Arc::new(AtomicBool::new(false)) };
        let (orders, take) = channel();
        let mut thread = Thread {
            board: address.to_owned(),
            say,
            orders: take,
            bench: plan.bench,
            started: Instant::now(),
            sent: 0,
            is_bench_over: false,
            finally: plan.finally,
            is_alone: plan.is_alone,
            is_box_in_its_file: true,
            counts: Counts::default(),
            date_due: Instant::now(),
            is_undated: false,
            serial: plan.serial,
            ending,
        };
        let mut session = thread.connect(PATIENCE)?;
        for order in &plan.first {
            if thread.ending.is_asked() {
                return Err(LinkLost(not_done(order)).into());
            }
            thread.obey(order, &mut session).map_err(|error| match error.downcast::<LinkLost>() {
                // No link that was lost before anything was sent.
                Ok(lost) => anyhow!("{}", unanswered(order, lost)),
                Err(refused) => refused,
            })?;
        }
        let lost = match thread.begin(&mut session) {
            Err(error) if error.is::<LinkLost>() => Some(error),
            begun => begun.map(|()| None)?,
        };
        thread.started = Instant::now();
        // From here on somebody takes what is said.
        thread.say.is_heard.store(true, Ordering::Relaxed);
        let thread = threads::start(move || thread.run(session, lost))?;
        Ok(Self { orders, said, thread })
    }
    /// Gives an order; how it went is said later.
    pub fn order(&self, order: Order) {
        // A thread that has ended has said why.
        let _ = self.orders.send(Command::CarryOut(order));
    }
    /// Waits for what is said next, no longer than `wait`.
    pub fn hear(&self, wait: Duration) -> Option<LinkNews> {
        self.said.recv_timeout(wait).ok()
    }
    /// Has the thread ended by itself?
    pub fn is_over(&self) -> bool {
        self.thread.is_finished()
    }
    /// Ends it all, after what is to be done at the end; `take` is given what is said meanwhile.
    ///
    /// # Errors
    /// A bench test was cut, or something at the end could not be done.
    pub fn end(self, take: impl FnMut(LinkNews)) -> anyhow::Result<()> {
        let Self { orders, said, thread } = self;
        let _ = orders.send(Command::End);
        said.iter().for_each(take);
        thread.join().unwrap_or_else(|_| Err(anyhow!("the thread of the link has failed")))
    }
}

/// Hands on what is said.
#[derive(Clone)]
struct Speaker {
    to: SyncSender<LinkNews>,
    /// Is there anybody who takes it? Until then what does not fit is dropped.
    is_heard: Arc<AtomicBool>,
}

impl Speaker {
    fn say(&self, said: LinkNews) {
        // Nobody listens any more once the program ends.
        if self.is_heard.load(Ordering::Relaxed) {
            let _ = self.to.send(said);
        } else {
            let _ = self.to.try_send(said);
        }
    }
}

type Listener = Box<dyn FnMut(&Report) + Send>;

#[allow(clippy::struct_excessive_bools, reason = "each is a fact of its own")]
struct Thread {
    board: String,
    say: Speaker,
    orders: Receiver<Command>,
    bench: Option<Bench>,
    started: Instant,
    /// Samples of the bench test so far.
    sent: u32,
    is_bench_over: bool,
    finally: Vec<Order>,
    /// Whoever ends the program ends them too.
    is_alone: bool,
    /// Nothing that the black box holds was asked for and is not in a file.
    is_box_in_its_file: bool,
    counts: Counts,
    /// When the date is told next.
    date_due: Instant,
    /// The board did not take the date when it was last told, and that was said.
    is_undated: bool,
    /// The serial that the board was told.
    serial: Option<Serial>,
    ending: Ending,
}

impl Thread {
    fn say(&self, said: LinkNews) {
        self.say.say(said);
    }
    fn connect(&mut self, patience: Duration) -> anyhow::Result<Session<Listener>> {
        let say = self.say.clone();
        let listener = Box::new(move |report: &Report| {
            say.say(LinkNews::Report(Box::new(report.clone())));
        });
        let link = self.open()?;
        let (mut session, procedure_crc) =
            Session::open_within(patience, link, listener as Listener, self.ending.flag())?;
        session.ends_fetches = self.is_alone;
        self.say(LinkNews::Linked { procedure_crc });
        self.date_due = Instant::now();
        Ok(session)
    }
    /// Names the joint and starts the bench test, where there are any.
    fn begin(&self, session: &mut Session<Listener>) -> anyhow::Result<()> {
        if let Some(serial) = &self.serial {
            session
                .name_joint(serial)
                .with_context(|| format!("the joint is not named {serial} on the board"))?;
        }
        self.bench.as_ref().map_or(Ok(()), |bench| session.bench_start(bench.acquisition))
    }
    /// Tells the date where that is due.
    fn tell_date(&mut self, session: &mut Session<Listener>) -> anyhow::Result<()> {
        // In a bench test it would be that of its samples.
        if self.bench.is_some() || Instant::now() < self.date_due {
            return Ok(());
        }
        self.date_due = Instant::now() + DATE_EVERY;
        let nearest = Timestamp::now() + Duration::from_millis(500);
        let is_undated = !session.set_date(u32::try_from(nearest.as_second())?)?;
        if is_undated && !self.is_undated {
            self.say(LinkNews::Failed(
                "the board takes no date: it judges no samples, or its clock is at fault; it is asked again"
                    .into(),
            ));
        }
        self.is_undated = is_undated;
        Ok(())
    }
    /// Greets a board that was started anew behind the line. Its serial is not told again: which joint is under way now
    /// nobody here knows.
    fn greet_anew(&mut self, session: &mut Session<Listener>) -> anyhow::Result<()> {
        let procedure_crc = session.hello()?;
        self.say(LinkNews::Linked { procedure_crc });
        // One that was not greeted after all is not asked all the time.
        self.date_due = Instant::now() + QUIET;
        self.forget_serial("the board was started anew: it has");
        Ok(())
    }
    /// Tells that the board has no serial any more, or may have none.
    fn forget_serial(&mut self, why: &str) {
        if let Some(serial) = self.serial.take() {
            self.say(LinkNews::Failed(format!(
                "{why} forgotten the serial {serial}; give it again to this joint"
            )));
        }
    }
    /// A line that takes long to open is not waited for by somebody who ends it.
    fn open(&self) -> anyhow::Result<Link> {
        let (to, opened) = channel();
        let board = self.board.clone();
        threads::start(move || to.send(Link::open(&board)).is_ok())?;
        loop {
            match opened.recv_timeout(LOOK) {
                Ok(link) => return link,
                Err(RecvTimeoutError::Timeout) if !self.ending.is_asked() => {}
                Err(_) => return Err(LinkLost(format!("no link to {} was opened", self.board)).into()),
            }
        }
    }
    /// Keeps the link until it is ended; `lost` is why there is none any more, if there is none.
    fn run(mut self, mut session: Session<Listener>, mut lost: Option<anyhow::Error>) -> anyhow::Result<()> {
        let mut cut = Ok(());
        loop {
            let kept = lost.take().map_or_else(|| self.keep(&mut session), Err);
            let error = match kept {
                Ok(ended) => return cut.and(ended),
                Err(error) => error,
            };
            let is_bench = self.bench.take().is_some();
            if !error.is::<LinkLost>() {
                if is_bench {
                    // The error is what is told; the board ends it after a time if this fails too.
                    let _ = session.bench_end(self.sent);
                }
                self.leave_undone();
                return Err(error);
            }
            if is_bench {
                let sent = self.sent;
                cut = Err(anyhow!("{error}; the bench test ended after {sent} samples"));
            }
            self.say(LinkNews::Lost(format!("{error:#}")));
            match self.reconnect() {
                Some(again) => session = again,
                None if self.finally.is_empty() => return cut,
                None => {
                    self.leave_undone();
                    return Err(error);
                }
            }
        }
    }
    /// Tries until there is a link, or somebody ends it.
    fn reconnect(&mut self) -> Option<Session<Listener>> {
        loop {
            match self.orders.recv_timeout(QUIET) {
                Ok(Command::End) | Err(RecvTimeoutError::Disconnected) => return None,
                Ok(Command::CarryOut(_)) => {
                    self.say(LinkNews::Failed("there is no link to the board".into()));
                }
                Err(RecvTimeoutError::Timeout) => {}
            }
            if let Ok(session) = self.connect(AGAIN) {
                self.counts = Counts::default();
                self.forget_serial("the link was lost: a board that was started anew meanwhile has");
                return Some(session);
            }
        }
    }
    /// Keeps a link until it is lost, or ended: then returns how the end went.
    fn keep(&mut self, session: &mut Session<Listener>) -> anyhow::Result<anyhow::Result<()>> {
        // Here and not before: a board may take a second to say that it takes none, and what it says meanwhile is taken.
        self.tell_date(session)?;
        loop {
            match self.orders.try_recv() {
                Ok(Command::CarryOut(order)) => match self.obey(&order, session) {
                    Err(error) if error.is::<LinkLost>() => return Err(error),
                    Err(error) => self.say(LinkNews::Failed(format!("{error:#}"))),
                    Ok(()) => {}
                },
                Ok(Command::End) | Err(TryRecvError::Disconnected) => return Ok(self.finish(session)),
                Err(TryRecvError::Empty) => {}
            }
            if session.take_start() {
                self.greet_anew(session)?;
            }
            self.tell_date(session)?;
            let is_behind = self.feed(session)?;
            session.listen(if is_behind { Duration::ZERO } else { PAUSE })?;
            if session.quiet_for() > QUIET {
                let procedure_crc = session.hello()?;
                self.say(LinkNews::Linked { procedure_crc });
            }
            if session.counts() != self.counts {
                self.counts = session.counts();
                self.say(LinkNews::Counts(self.counts));
            }
        }
    }
    /// Sends the rows that are due; returns whether there may be more of them.
    fn feed(&mut self, session: &mut Session<Listener>) -> anyhow::Result<bool> {
        let Some(bench) = &mut self.bench else { return Ok(false) };
        let elapsed_us = bench.speed.micros(self.started.elapsed());
        let mut samples: Vec<Sample> = Vec::new();
        let is_behind = loop {
            if samples.len() >= ROWS_AT_ONCE {
                break true;
            }
            match bench.rows.next(elapsed_us)? {
                Due::Row(row) => samples.push(row.to_sample()),
                Due::Later | Due::End => break false,
            }
        };
        // Counted before: one that was under way when the link was lost may have been judged.
        self.sent += samples.len() as u32;
        if !samples.is_empty() {
            session.bench_samples(samples)?;
        }
        if bench.rows.is_over() && !self.is_bench_over {
            self.is_bench_over = true;
            self.say(LinkNews::BenchOver);
        }
        Ok(is_behind)
    }
    /// Tells what was to be done at the end and is not.
    fn leave_undone(&self) {
        self.finally.iter().for_each(|order| self.say(LinkNews::Failed(not_done(order))));
    }
    fn obey(&mut self, order: &Order, session: &mut Session<Listener>) -> anyhow::Result<()> {
        if matches!(order, Order::Upload(_)) && self.sent > 0 {
            bail!("not in a bench test: a new procedure would end it");
        }
        let is_fetch = matches!(order, Order::FetchBlackBox(_));
        self.is_box_in_its_file &= !is_fetch;
        let deed = carry_out(order, session, &self.board)?;
        self.is_box_in_its_file |= is_fetch && deed.is_whole;
        if let Order::Upload(file) = order {
            self.say(LinkNews::Linked { procedure_crc: crc_of(&file.procedure) });
        }
        self.say(LinkNews::Done(deed));
        Ok(())
    }
    fn finish(&mut self, session: &mut Session<Listener>) -> anyhow::Result<()> {
        let finally = std::mem::take(&mut self.finally);
        let (journal, others): (Vec<_>, Vec<_>) =
            finally.iter().partition(|order| matches!(order, Order::FetchJournal(_)));
        let mut done = Ok(());
        for order in others {
            done = self.also(done, order, session);
        }
        if self.bench.take().is_some() {
            if !done.as_ref().is_err_and(anyhow::Error::is::<LinkLost>) {
                done = done.and(session.bench_end(self.sent));
            }
            // The last record may be on its way.
            done = done.and(session.listen(PAUSE));
        }
        for order in journal {
            done = self.also(done, order, session);
        }
        done
    }
    /// Carries out another order, whatever became of those before, but over a link that is lost; what is not done after
    /// something else failed is told.
    fn also(
        &mut self,
        before: anyhow::Result<()>,
        order: &Order,
        session: &mut Session<Listener>,
    ) -> anyhow::Result<()> {
        let done = if before.as_ref().is_err_and(anyhow::Error::is::<LinkLost>) {
            Err(anyhow!(not_done(order)))
        } else if self.is_alone && self.ending.is_asked() {
            Err(anyhow!("{}: the program was ended before", not_done(order)))
        } else if matches!(order, Order::ReleaseBlackBox) && !self.is_box_in_its_file {
            Err(anyhow!(
                "the black box is NOT re-armed: what it holds is not whole in a file; --release-blackbox without \
                 --fetch-blackbox gives it up"
            ))
        } else {
            self.obey(order, session).map_err(|error| match error.downcast::<LinkLost>() {
                Ok(lost) if order.is_fetch() => lost.into(),
                Ok(lost) => unanswered(order, lost).into(),
                Err(error) => error,
            })
        };
        match (before, done) {
            (Ok(()), done) => done,
            (Err(first), Ok(())) => Err(first),
            (Err(first), Err(second)) => {
                let (told, kept) = if second.is::<LinkLost>() { (first, second) } else { (second, first) };
                self.say(LinkNews::Failed(format!("{told:#}")));
                Err(kept)
            }
        }
    }
}

fn unanswered(order: &Order, LinkLost(why): LinkLost) -> LinkLost {
    LinkLost(format!("{why}; {} was not answered: whether it was done is not known", order.name()))
}

fn not_done(order: &Order) -> String {
    format!("{} was not done", order.name())
}
