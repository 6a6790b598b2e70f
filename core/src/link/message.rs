//! What host and board say to each other.
//!
//! Decides: every message, and the order of the variants, which is their number on the wire.
//! Assumes: [`super::VERSION`] is raised with every change here.
//! Never: carries a message that could widen a compiled-in limit or move an output.

use super::frame::Counts;
use crate::acquisition::Acquisition;
use crate::alarms::ActiveAlarm;
use crate::event::{Event, Position};
use crate::flash::journal::Kept;
use crate::link::upload::UploadError;
use crate::monitor::SoFar;
use crate::record::band::BandRecord;
use crate::record::joint::JointRecord;
use crate::rule::Quantity;
use crate::sample::Sample;
use crate::trackers::arc::Phase;
use serde::{Deserialize, Serialize};

/// From the host to the board.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Request<'a> {
    /// Opens a conversation; answered by [`Report::Ready`].
    Hello,
    /// Acknowledges every active alarm and silences the horn.
    Acknowledge,
    /// Starts a bench test: from now on the samples come over the link, none from the inputs.
    /// Answered by [`Report::Ready`]; refused while the arc burns.
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
    /// Asks for every kept record from this number on; answered by [`Report::Journal`] for
    /// each and [`Report::JournalEnd`].
    ReadJournal {
        /// The first number wanted.
        from: u32,
    },
    /// Asks for the black box; answered by [`Report::BlackBox`] for each block and
    /// [`Report::BlackBoxEnd`].
    ReadBlackBox,
    /// Lets the black box record again after it was frozen.
    ReleaseBlackBox,
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
    /// What band and joint have come to so far.
    pub so_far: SoFar,
    /// What the board drives.
    pub outputs: Outputs,
    /// How the link fares, seen from the board.
    pub counts: Counts,
    /// The black box is frozen and waits to be read.
    pub black_box_frozen: bool,
}

/// Why the board did not do as asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
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
}

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
    Band(BandRecord),
    /// A joint is done.
    Joint(JointRecord),
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
    },
    /// No more records.
    JournalEnd,
    /// A block of the black box, oldest first; see [`crate::delta`].
    BlackBox(Bytes),
    /// No more blocks.
    BlackBoxEnd,
    /// The board did not do as asked.
    Refused(Refusal),
}
