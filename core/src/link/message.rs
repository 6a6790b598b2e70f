//! What host and board say to each other.
//!
//! Decides: every message, and the order of the variants, which is their number on the wire.
//! Assumes: [`super::VERSION`] is raised with every change here.
//! Never: carries a message that could widen a compiled-in limit or move an output.

use super::frame::{Counts, Message};
use crate::acquisition::Acquisition;
use crate::alarms::ActiveAlarm;
use crate::event::{Event, Position};
use crate::link::upload::UploadError;
use crate::monitor::SoFar;
use crate::record::band::BandRecord;
use crate::record::joint::JointRecord;
use crate::record::kept::Kept;
use crate::record::stamp::Stamp;
use crate::rule::{Quantity, Rule, RuleSet};
use crate::sample::{ChannelSet, Sample};
use crate::trackers::arc::Phase;
use core::fmt;
use serde::{Deserialize, Serialize};

/// From the host to the board.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Request<'a> {
    /// Opens a session, with sequence number 0; asks later whether the board is still there. Answered by
    /// [`Report::Ready`]. A board takes no other request before it.
    Hello,
    /// Acknowledges every alarm, those that are over and the board's own faults too, and silences the horn.
    /// Answered by [`Report::Acknowledged`].
    Acknowledge,
    /// Starts a bench test: from now on the samples come over the link, and the relay is released. The inputs
    /// still tell whether an arc burns: a real arc ends the test. Answered by [`Report::Ready`]; refused while
    /// the arc burns.
    BenchStart(Acquisition),
    /// Samples of a bench test, a block of [`crate::delta`] of up to
    /// [`super::LONGEST_PIECE`] bytes. Answered by [`Report::Taken`] once all are judged.
    BenchSamples(#[serde(borrow)] &'a [u8]),
    /// Ends a bench test; answered by [`Report::BenchDone`] after the last band record.
    BenchEnd,
    /// Announces a procedure: its length and the CRC-32/ISO-HDLC of its postcard form.
    UploadStart {
        /// Bytes to come.
        length: u16,
        /// CRC over them.
        crc: u32,
    },
    /// The next piece of it.
    UploadPiece {
        /// Bytes before this piece.
        offset: u16,
        /// The piece.
        bytes: &'a [u8],
    },
    /// Checks the whole and puts it in force; answered by [`Report::UploadInForce`].
    UploadCommit,
    /// A new joint begins, as soon as no band is open. Answered by [`Report::Ready`].
    MarkJoint,
    /// Asks for the first kept record with this number or a later one; answered by [`Report::Journal`], or
    /// by [`Report::JournalEnd`] where there is none. Asked with the number after each answer it gives all.
    ReadJournal {
        /// The least number wanted.
        from: u32,
    },
    /// Asks for the oldest block of the black box with this number or a later one; answered by
    /// [`Report::BlackBox`], or by [`Report::BlackBoxEnd`] where there is none.
    ReadBlackBox {
        /// The least number wanted.
        from: u32,
    },
    /// Lets the black box record again after it was frozen. Answered by [`Report::BlackBoxReleased`].
    ReleaseBlackBox,
    /// Puts a rule away for a time, or takes it back; answered by [`Report::Ready`].
    Shelve {
        /// The rule.
        rule: Rule,
        /// For so long, µs; 0 takes it back.
        for_us: u32,
    },
    /// Tells the date and the time; answered by [`Report::Ready`]. It is counted on by the time of the samples: of the
    /// inputs until the board is started anew or their time leaps, in a bench test of its samples until it is over.
    SetDate {
        /// UTC, seconds since the beginning of 1970.
        utc_s: u32,
    },
    /// Tells the serial of the joint that is being welded, or comes next; answered by [`Report::Ready`]. It is gone with
    /// the end of that joint, and when another watch begins.
    NameJoint {
        /// 1 to [`crate::record::stamp::LONGEST_SERIAL`] printable characters of ASCII; none takes it away.
        serial: &'a [u8],
    },
}

impl Message for Request<'_> {
    fn opens_session(&self) -> bool {
        matches!(self, Self::Hello)
    }
    fn begins_anew(&self) -> bool {
        self.opens_session()
    }
}

/// What the lamp shows: the worse of the alarms and of the verdict so far.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Lamp {
    /// Nothing is wrong: nothing broken, and nothing that could not be judged.
    #[default]
    Off,
    /// Blinks slowly: nothing is broken, but the joint under way, or the last one until the next begins, is not
    /// proven.
    Slow,
    /// Steady: an alarm of warn or worse is active, the board has a fault of its own, or a limit was broken on
    /// the joint.
    On,
}

impl Lamp {
    /// `off`, `slow` or `on`.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Off => "off",
            Self::Slow => "slow",
            Self::On => "on",
        }
    }
}

/// What the board drives.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Outputs {
    /// The hold relay is energised: welding is permitted. The verdict does not move it, alarms do.
    pub relay_energised: bool,
    /// What the lamp shows.
    pub lamp: Lamp,
    /// An alarm of warn or worse is active and not acknowledged.
    pub horn: bool,
}

/// What is wrong with the board itself, now or since the last time somebody acknowledged.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[allow(clippy::struct_excessive_bools)] // each is a fault of its own
pub struct BoardFaults {
    /// The procedure in force does not make sense, or could not be read; stays until another is uploaded.
    pub bad_configuration: bool,
    /// A sample came too late to be judged in time.
    pub missed_deadline: bool,
    /// The watchdog started the board.
    pub watchdog_reset: bool,
    /// The time of the samples stood still, leapt or ran back.
    pub bad_clock: bool,
    /// Samples do not come as often as declared.
    pub wrong_rate: bool,
    /// Channels that are wired and give no reading within their sensor's range, between bands too.
    pub silent: ChannelSet,
    /// An arc burned during a bench test.
    pub unwatched_arc: bool,
    /// The journal could not be opened, lost its records, or did not take one.
    pub journal: bool,
    /// The pin of the relay did not move as it should.
    pub relay: bool,
    /// The board was started, by whatever: power that comes back must not let the weld go on by itself.
    pub started: bool,
}

impl BoardFaults {
    /// Is anything wrong for which the relay is released? A journal that fails is told, and holds no weld.
    pub fn hold_relay(&self) -> bool {
        Self { journal: false, ..*self } != Self::default()
    }
    /// Is anything wrong?
    pub fn any(&self) -> bool {
        *self != Self::default()
    }
    /// What is wrong in either.
    #[must_use]
    pub const fn union(self, other: Self) -> Self {
        Self {
            bad_configuration: self.bad_configuration || other.bad_configuration,
            missed_deadline: self.missed_deadline || other.missed_deadline,
            watchdog_reset: self.watchdog_reset || other.watchdog_reset,
            bad_clock: self.bad_clock || other.bad_clock,
            wrong_rate: self.wrong_rate || other.wrong_rate,
            silent: self.silent.union(other.silent),
            unwatched_arc: self.unwatched_arc || other.unwatched_arc,
            journal: self.journal || other.journal,
            relay: self.relay || other.relay,
            started: self.started || other.started,
        }
    }
    /// What is wrong here and not there.
    #[must_use]
    pub const fn minus(self, other: Self) -> Self {
        Self {
            bad_configuration: self.bad_configuration && !other.bad_configuration,
            missed_deadline: self.missed_deadline && !other.missed_deadline,
            watchdog_reset: self.watchdog_reset && !other.watchdog_reset,
            bad_clock: self.bad_clock && !other.bad_clock,
            wrong_rate: self.wrong_rate && !other.wrong_rate,
            silent: self.silent.minus(other.silent),
            unwatched_arc: self.unwatched_arc && !other.unwatched_arc,
            journal: self.journal && !other.journal,
            relay: self.relay && !other.relay,
            started: self.started && !other.started,
        }
    }
}

/// Most active alarms told at one time: all that there are, but for sides of one quantity that exclude each
/// other.
pub const MOST_ALARMS: usize = 32;

/// The state of the board, told some times a second: a host that connects late, or lost a frame, knows
/// it all from the next one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Telemetry {
    /// The newest reading of every channel, however old. The alarms say which cannot be believed.
    pub readings: Sample,
    /// Every quantity as it is held against its range, raw, in the order of [`Quantity::ALL`]; absent
    /// while it is not judged.
    pub judged: [Option<i32>; Quantity::COUNT],
    /// The arc phase.
    pub phase: Phase,
    /// Where on the joint.
    pub position: Position,
    /// The alarms that are active; first all that are, then nothing.
    pub alarms: [Option<ActiveAlarm>; MOST_ALARMS],
    /// Alarms that released the relay, are over, and were not acknowledged.
    pub returned: RuleSet,
    /// What is wrong with the board itself.
    pub faults: BoardFaults,
    /// A bench test is under way: readings and alarms are those of its samples.
    pub is_bench: bool,
    /// What band and joint have come to so far.
    pub so_far: SoFar,
    /// What the board drives.
    pub outputs: Outputs,
    /// How the link fares, seen from the board.
    pub counts: Counts,
    /// Reports that the board could not send: the line was too slow.
    pub dropped: u32,
    /// The black box is frozen and waits to be read.
    pub black_box_frozen: bool,
}

/// Why the board did not do as asked; in words by its `Display`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Refusal {
    /// Not while the arc burns: wait for the end of the band.
    ArcBurning,
    /// There is no bench test: start one.
    NoBenchTest,
    /// The block of samples is malformed; those before the fault were taken.
    Malformed,
    /// The upload did not succeed; the procedure in force is as before.
    Upload(UploadError),
    /// The flash store failed.
    Storage,
    /// No session is open: send [`Request::Hello`] first.
    NoSession,
    /// No sample was judged that a date could be counted from.
    NoSample,
    /// It is no serial: see [`crate::record::stamp::Serial`].
    NoSerial,
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::ArcBurning => "the board refuses while the arc burns: wait for the end of the band",
            Self::NoBenchTest => "the board has no bench test under way",
            Self::Malformed => "the board could not read a block of samples",
            Self::Storage => "the board's flash failed; the active procedure is unchanged",
            Self::NoSession => "the board was started anew: open the link again",
            Self::NoSample => "the board has judged no sample yet from which it could count the date on",
            Self::NoSerial => "the board takes a serial of 1 to 24 printable characters of ASCII",
            Self::Upload(error) => {
                let words = "the board refuses the procedure, the previous one stays active";
                return write!(f, "{words}: {error}");
            }
        })
    }
}

impl core::error::Error for Refusal {}

/// From the board to the host. `Bytes` is how a run of raw bytes is held: a slice on the board,
/// something that owns them on a host.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Report<Bytes> {
    /// The board is there and took the request.
    Ready {
        /// CRC-32/ISO-HDLC of the postcard form of the procedure in force.
        procedure_crc: u32,
    },
    /// The state of the board.
    Telemetry(Telemetry),
    /// Something happened.
    Event(Event),
    /// A band is finished.
    Band {
        /// What was judged.
        record: BandRecord,
        /// When it began, and of which piece it is.
        stamp: Stamp,
    },
    /// A joint is done.
    Joint {
        /// What was judged.
        record: JointRecord,
        /// When it began, and of which piece it is.
        stamp: Stamp,
    },
    /// Samples of the bench test judged so far.
    Taken {
        /// Since its start.
        samples: u32,
    },
    /// The bench test is over.
    BenchDone {
        /// Samples judged.
        samples: u32,
    },
    /// The uploaded procedure is in force, and will be after a power cut.
    UploadInForce {
        /// CRC of its postcard form.
        crc: u32,
    },
    /// A kept record of a band or a joint.
    Journal {
        /// Counts on over power cuts and joints.
        number: u32,
        /// The record.
        record: Kept,
        /// When it began, and of which piece it is.
        stamp: Stamp,
    },
    /// No more records.
    JournalEnd,
    /// A block of the black box; see [`crate::delta`].
    BlackBox {
        /// Counts on; a number that is left out was given up for newer samples.
        number: u32,
        /// The block.
        bytes: Bytes,
    },
    /// No more blocks.
    BlackBoxEnd,
    /// The board did not do as asked.
    Refused(Refusal),
    /// The faults of the board itself changed.
    Faults(BoardFaults),
    /// Every alarm there was is acknowledged.
    Acknowledged,
    /// The black box records again.
    BlackBoxReleased,
    /// A band or a joint of a bench test is finished.
    Bench {
        /// The record.
        record: Kept,
        /// When it began by the date that was told in the test, and of which piece it is by what was.
        stamp: Stamp,
    },
    /// The record with this number was damaged in the flash, and is lost.
    JournalDamaged {
        /// Its number.
        number: u32,
    },
}

impl<Bytes> Message for Report<Bytes> {
    fn opens_session(&self) -> bool {
        false
    }
    fn begins_anew(&self) -> bool {
        true
    }
}
