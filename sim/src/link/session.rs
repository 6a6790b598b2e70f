//! Whole conversations with a board: each asks, and waits for the answer.
//!
//! Decides: the order of requests, how long to wait for an answer, and that a person who ends the program
//! does not wait for a board that has fallen silent.
//! Assumes: one conversation at a time.
//! Never: drops what the board says meanwhile: events, bands and states go to the listener.

use super::block::Block;
use super::numbered::Numbered;
use super::silence::{no_answer, nobody_there};
use super::{Link, LinkLost, Report};
use anyhow::{Result, anyhow, bail};
use bandward::flash::journal::Stamped;
use bandward::link::frame::crc;
use bandward::link::upload::crc_of;
use bandward::link::{Counts, LONGEST_PIECE, Refusal, Request};
use bandward::record::stamp::Serial;
use bandward::{Acquisition, Procedure, Rule, Sample};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// How long to wait for an answer, or for the next part of a long one.
pub const PATIENCE: Duration = Duration::from_secs(10);

/// How long a request is put again and again that a board answers at once.
const INSISTENCE: Duration = Duration::from_secs(5);

/// How long to wait for the answer to the first request before asking again.
const ASK_AGAIN: Duration = Duration::from_millis(500);

/// A board that has not taken the date by then, because no samples come, never does.
const DATE_PATIENCE: Duration = Duration::from_secs(1);

/// Time between two looks at whether somebody ends the program.
const LOOK: Duration = Duration::from_millis(50);
/// Once somebody does, a board that is silent for so long is not waited for.
const LAST_WORD: Duration = Duration::from_millis(200);

/// Blocks of samples on their way at one time: enough to keep the line busy, few enough for the
/// board's receive buffer.
const BLOCKS_UNDER_WAY: usize = 2;

/// More records than the flash of any board holds.
const MOST_RECORDS: usize = 1 << 16;
/// More blocks than the memory of any board holds.
const MOST_BLOCKS: usize = 1 << 14;

/// A link, and who listens to what the board says unasked.
pub struct Session<Listener: FnMut(&Report)> {
    link: Link,
    listener: Listener,
    is_ending: Arc<AtomicBool>,
    /// A person who ends the program does not wait for the rest of a fetch either; what came of it is told as cut.
    pub ends_fetches: bool,
}

impl<Listener: FnMut(&Report)> Session<Listener> {
    /// Opens the conversation; returns the CRC of the active procedure too.
    ///
    /// # Errors
    /// When the link is lost or the board does not answer.
    pub fn open(link: Link, listener: Listener) -> Result<(Self, u32)> {
        Self::open_within(PATIENCE, link, listener, Arc::default())
    }
    /// As [`Self::open`], with another patience, and less of it once `is_ending` is set.
    ///
    /// # Errors
    /// As [`Self::open`].
    pub fn open_within(
        patience: Duration,
        link: Link,
        listener: Listener,
        is_ending: Arc<AtomicBool>,
    ) -> Result<(Self, u32)> {
        let mut session = Self { link, listener, is_ending, ends_fetches: false };
        let until = Instant::now() + patience;
        // Asked repeatedly: the first frame may be lost in the remains of an earlier connection.
        let procedure_crc = loop {
            session.link.send(&Request::Hello)?;
            let ready = |report: &Report| match report {
                Report::Ready { procedure_crc } => Some(*procedure_crc),
                _ => None,
            };
            match session.wait_no_longer(ASK_AGAIN, ready)? {
                Some(procedure_crc) => break procedure_crc,
                None if session.is_ending() => return Err(not_waited_for()),
                None if Instant::now() > until => return Err(nobody_there(patience, session.link.counts())),
                None => {}
            }
        };
        Ok((session, procedure_crc))
    }
    /// Asks whether the board is still there; returns the CRC of the active procedure.
    ///
    /// # Errors
    /// When the link is lost or the board does not answer.
    pub fn hello(&mut self) -> Result<u32> {
        self.ask(&Request::Hello, |report| match report {
            Report::Ready { procedure_crc } => Some(*procedure_crc),
            _ => None,
        })
    }
    /// How long ago the board last said anything.
    pub fn quiet_for(&self) -> Duration {
        self.link.quiet_for()
    }
    /// How the link fares, seen from the host.
    pub fn counts(&self) -> Counts {
        self.link.counts()
    }
    /// Has the board been started anew since this was last asked? Then it knows neither date nor serial, and does
    /// nothing before another greeting.
    pub fn take_start(&mut self) -> bool {
        self.link.take_start()
    }
    fn ask<T>(&mut self, request: &Request<'_>, answer: impl FnMut(&Report) -> Option<T>) -> Result<T> {
        self.link.send(request)?;
        self.wait(answer)
    }
    fn wait<T>(&mut self, answer: impl FnMut(&Report) -> Option<T>) -> Result<T> {
        let answered = self.wait_no_longer(PATIENCE, answer)?;
        answered.ok_or_else(|| if self.is_ending() { not_waited_for() } else { no_answer(PATIENCE) })
    }
    /// Asks again and again until there is an answer: either frame may be lost on its way. The answer is one that
    /// no other request has.
    fn insist(&mut self, request: &Request<'_>, answer: fn(&Report) -> bool) -> Result<()> {
        let until = Instant::now() + INSISTENCE;
        loop {
            self.link.send(request)?;
            match self.wait_no_longer(ASK_AGAIN, |report| answer(report).then_some(()))? {
                Some(()) => return Ok(()),
                None if self.is_ending() => return Err(not_waited_for()),
                None if Instant::now() > until => return Err(no_answer(INSISTENCE)),
                None => {}
            }
        }
    }
    fn is_ending(&self) -> bool {
        self.is_ending.load(Ordering::Relaxed)
    }
    /// Waits for an answer.
    fn wait_no_longer<T>(
        &mut self,
        patience: Duration,
        mut answer: impl FnMut(&Report) -> Option<T>,
    ) -> Result<Option<T>> {
        let asked = Instant::now();
        loop {
            let left = patience.saturating_sub(asked.elapsed());
            let silent = asked.elapsed().min(self.link.quiet_for());
            if left.is_zero() || self.is_ending() && silent >= LAST_WORD {
                return Ok(None);
            }
            let Some(report) = self.link.poll(left.min(LOOK))? else { continue };
            // Its first report may not have come.
            self.link.has_started_anew |= matches!(report, Report::Refused(Refusal::NoSession));
            if let Some(value) = answer(&report) {
                return Ok(Some(value));
            }
            if let Report::Refused(refusal) = report {
                bail!(refusal);
            }
            (self.listener)(&report);
        }
    }
    /// Acknowledges every active alarm.
    ///
    /// # Errors
    /// When the link is lost or the board does not answer.
    pub fn acknowledge(&mut self) -> Result<()> {
        self.insist(&Request::Acknowledge, |report| matches!(report, Report::Acknowledged))
    }
    /// Passes what the board says to the listener for `wait`.
    ///
    /// # Errors
    /// When the link is lost.
    pub fn listen(&mut self, wait: Duration) -> Result<()> {
        let until = Instant::now() + wait;
        loop {
            let left = until.saturating_duration_since(Instant::now());
            match self.link.poll(left)? {
                Some(report) => (self.listener)(&report),
                None => return Ok(()),
            }
        }
    }
    /// Activates a procedure on the board.
    ///
    /// # Errors
    /// Says why the board refused it; the previous one stays active then.
    pub fn upload(&mut self, procedure: &Procedure) -> Result<()> {
        let bytes = postcard::to_allocvec(procedure)?;
        let length = u16::try_from(bytes.len())?;
        self.link.send(&Request::UploadStart { length, crc: crc(&bytes) })?;
        for (piece, offset) in bytes.chunks(LONGEST_PIECE).zip((0..).step_by(LONGEST_PIECE)) {
            self.link.send(&Request::UploadPiece { offset, bytes: piece })?;
        }
        let in_force = self.ask(&Request::UploadCommit, |report| match report {
            Report::UploadInForce { crc } => Some(*crc),
            _ => None,
        })?;
        if in_force != crc_of(procedure) {
            bail!("the board has activated a different procedure than the one sent");
        }
        Ok(())
    }
    /// Has the board judge `samples` in a bench test; returns how many it judged.
    ///
    /// # Errors
    /// When the board refuses, or has not judged every sample.
    pub fn bench(
        &mut self,
        acquisition: Acquisition,
        samples: impl IntoIterator<Item = Sample>,
    ) -> Result<u32> {
        self.bench_start(acquisition)?;
        let sent = self.bench_samples(samples)?;
        self.bench_end(sent)?;
        Ok(sent)
    }
    /// Starts a bench test: from now on the board judges what is sent, and none of its inputs.
    ///
    /// # Errors
    /// When the board refuses or the link is lost.
    pub fn bench_start(&mut self, acquisition: Acquisition) -> Result<()> {
        self.ask(&Request::BenchStart(acquisition), |report| {
            matches!(report, Report::Ready { .. }).then_some(())
        })
    }
    /// Sends samples of a bench test and waits until they are judged; returns how many they were. The
    /// board stays as they leave it, its alarms and its black box with it.
    ///
    /// # Errors
    /// When the board refuses or the link is lost.
    pub fn bench_samples(&mut self, samples: impl IntoIterator<Item = Sample>) -> Result<u32> {
        let mut block = Block::default();
        let (mut sent, mut under_way) = (0_u32, 0);
        for sample in samples {
            if !block.push(&sample) {
                under_way = self.send_block(&block, under_way)?;
                block = Block::default();
                block.push(&sample);
            }
            sent += 1;
        }
        if !block.bytes().is_empty() {
            under_way = self.send_block(&block, under_way)?;
        }
        for _ in 0..under_way {
            self.wait_taken()?;
        }
        Ok(sent)
    }
    /// Ends a bench test in which `sent` samples were sent: alarms and black box start anew.
    ///
    /// # Errors
    /// When the board refuses, has not judged every sample, or the link is lost.
    pub fn bench_end(&mut self, sent: u32) -> Result<()> {
        let judged = self.ask(&Request::BenchEnd, |report| match report {
            Report::BenchDone { samples } => Some(*samples),
            _ => None,
        })?;
        if judged != sent {
            bail!("{sent} samples were sent to the board and it judged {judged}");
        }
        Ok(())
    }
    fn send_block(&mut self, block: &Block, under_way: usize) -> Result<usize> {
        self.link.send(&Request::BenchSamples(block.bytes()))?;
        if under_way < BLOCKS_UNDER_WAY {
            return Ok(under_way + 1);
        }
        self.wait_taken()?;
        Ok(under_way)
    }
    fn wait_taken(&mut self) -> Result<()> {
        self.wait(|report| matches!(report, Report::Taken { .. }).then_some(()))
    }
    /// Every record of a band or a joint that the board keeps, with its number, from number `from` on; none where the
    /// record was damaged.
    ///
    /// # Errors
    /// Nothing came: the board refuses or the link is lost; or it tells more than any journal holds.
    pub fn journal(&mut self, from: u32) -> Result<Numbered<Option<Stamped>>> {
        let read = self.numbered(
            from,
            MOST_RECORDS,
            |from| Request::ReadJournal { from },
            |report| match report {
                Report::Journal { number, record, stamp } => {
                    Some(Some((*number, Some(Stamped { record: *record, stamp: *stamp }))))
                }
                Report::JournalDamaged { number } => Some(Some((*number, None))),
                Report::JournalEnd => Some(None),
                _ => None,
            },
        )?;
        read.ok_or_else(|| {
            anyhow!("the board tells more than {MOST_RECORDS} records: no journal holds so many")
        })
    }
    /// The blocks in the black box, oldest first.
    ///
    /// # Errors
    /// As [`Self::journal`].
    pub fn black_box(&mut self) -> Result<Numbered<Vec<u8>>> {
        let read = self.numbered(
            0,
            MOST_BLOCKS,
            |from| Request::ReadBlackBox { from },
            |report| match report {
                Report::BlackBox { number, bytes } => Some(Some((*number, bytes.clone()))),
                Report::BlackBoxEnd => Some(None),
                _ => None,
            },
        )?;
        read.ok_or_else(|| {
            anyhow!("the board tells more than {MOST_BLOCKS} blocks: no black box holds so many")
        })
    }
    /// Asks for one after the other, so that the board never has more to say than the line takes; none where there are
    /// more than `most`.
    fn numbered<T>(
        &mut self,
        from: u32,
        most: usize,
        request: impl Fn(u32) -> Request<'static>,
        answer: impl Fn(&Report) -> Option<Option<(u32, T)>>,
    ) -> Result<Option<Numbered<T>>> {
        let mut read = Numbered::default();
        let mut next = Some(from);
        while let Some(from) = next {
            let is_cut = self.ends_fetches && self.is_ending() && !read.kept.is_empty();
            if is_cut {
                read.cut = Some(anyhow!("it was ended before number {from}"));
                break;
            }
            let taken = self.ask(&request(from), &answer).and_then(|found| {
                let Some((number, one)) = found else { return Ok(None) };
                read.take(from, number, one)?;
                Ok(number.checked_add(1))
            });
            match taken {
                Ok(after) => next = after,
                Err(error) if read.kept.is_empty() => return Err(error),
                Err(error) => {
                    read.cut = Some(error);
                    break;
                }
            }
            if read.kept.len() > most {
                return Ok(None);
            }
        }
        Ok(Some(read))
    }
    /// Puts the alarms of a rule away for so long, µs; 0 takes them back.
    ///
    /// # Errors
    /// When the board refuses or the link is lost.
    pub fn shelve(&mut self, rule: Rule, for_us: u32) -> Result<()> {
        self.ask(&Request::Shelve { rule, for_us }, |report| {
            matches!(report, Report::Ready { .. }).then_some(())
        })
    }
    /// Has a new joint begin as soon as no band is open.
    ///
    /// # Errors
    /// When the board refuses or the link is lost.
    pub fn mark_joint(&mut self) -> Result<()> {
        self.ask(&Request::MarkJoint, |report| matches!(report, Report::Ready { .. }).then_some(()))
    }
    /// Tells the date and the time; true where the board took it. One that has no sample to count it from, or whose clock
    /// is at fault, does not, nor one that was started anew and was not greeted yet.
    ///
    /// # Errors
    /// When the link is lost, or the board refuses all.
    pub fn set_date(&mut self, utc_s: u32) -> Result<bool> {
        self.link.send(&Request::SetDate { utc_s })?;
        let taken = self.wait_no_longer(DATE_PATIENCE, |report| match report {
            Report::Ready { .. } => Some(true),
            Report::Refused(Refusal::NoSample | Refusal::NoSession) => Some(false),
            _ => None,
        })?;
        Ok(taken.unwrap_or(false))
    }
    /// Tells the serial of the joint that is being welded, or comes next.
    ///
    /// # Errors
    /// When the board refuses or the link is lost.
    pub fn name_joint(&mut self, serial: &Serial) -> Result<()> {
        let serial = serial.as_str().as_bytes();
        self.ask(&Request::NameJoint { serial }, |report| {
            matches!(report, Report::Ready { .. }).then_some(())
        })
    }
    /// Lets the black box record again.
    ///
    /// # Errors
    /// When the link is lost or the board does not answer.
    pub fn release_black_box(&mut self) -> Result<()> {
        self.insist(&Request::ReleaseBlackBox, |report| matches!(report, Report::BlackBoxReleased))
    }
}

/// Somebody ended the program, and the board is silent.
fn not_waited_for() -> anyhow::Error {
    LinkLost("the board is silent".to_owned()).into()
}
