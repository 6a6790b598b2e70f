//! Frames: whole messages out of a stream of bytes, and back.
//!
//! Decides: what counts as a frame, and which frames are taken. The body of a frame is one byte of
//! version, four bytes of sequence number (least significant first), the message, and four bytes of
//! CRC-32/ISO-HDLC (likewise) over all before them. A session begins with a frame of sequence number 0;
//! every later frame must have a newer one than the last that was taken. A message that may open a session
//! (see [`Message::opens_session`]) is taken with number 0 whenever it comes, and one that may come from whoever was
//! started anew (see [`Message::begins_anew`]) after any other number: whoever starts anew is heard.
//! Assumes: frames are not forged: the sequence number guards against a line or a buffer that
//! repeats itself, not against malice.
//! Never: takes a frame twice, or one with a fault in it.

use super::{LONGEST_MESSAGE, VERSION};
pub use crate::checksum::crc;
use cobs::{DecodeResult, DecoderState};
use serde::{Deserialize, Serialize};

const HEAD: usize = 1 + 4;
const TAIL: usize = 4;
/// Longest body of a frame in bytes.
pub const LONGEST_BODY: usize = HEAD + LONGEST_MESSAGE + TAIL;
/// Longest frame in bytes with both delimiters: COBS adds at most one byte in 254.
pub const LONGEST_FRAME: usize = LONGEST_BODY + LONGEST_BODY.div_ceil(254) + 2;

/// How a receiver fared. Every count holds at its end.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Counts {
    /// Frames taken.
    pub taken: u32,
    /// Frames whose CRC does not fit.
    pub garbage: u32,
    /// Frames that ended too soon.
    pub truncated: u32,
    /// Frames longer than the longest there is.
    pub oversized: u32,
    /// Whole frames not newer than the last one taken.
    pub replayed: u32,
    /// Whole frames of another version, or with a message nobody knows.
    pub unknown: u32,
    /// Sequence numbers that never came.
    pub missed: u32,
}

/// What a receiver must know of a message.
pub trait Message {
    /// Does it open a session, and does no harm when it comes twice?
    fn opens_session(&self) -> bool;
    /// May its sender have been started anew, where it comes with number 0 after others?
    fn begins_anew(&self) -> bool;
}

fn count(counter: &mut u32) {
    *counter = counter.saturating_add(1);
}

/// Makes frames.
#[derive(Clone, Debug, Default)]
pub struct Sender {
    sequence: u32,
}

impl Sender {
    /// The first frame opens a conversation.
    pub const fn new() -> Self {
        Self { sequence: 0 }
    }
    /// Writes `message` as one frame into `frame` and returns the part that was written; `None`
    /// where the message is longer than [`LONGEST_MESSAGE`].
    pub fn frame<'a>(
        &mut self,
        message: &impl Serialize,
        frame: &'a mut [u8; LONGEST_FRAME],
    ) -> Option<&'a [u8]> {
        let mut body = [0; LONGEST_BODY];
        let (version, rest) = body.split_first_mut()?;
        let (sequence, rest) = rest.split_first_chunk_mut::<4>()?;
        *version = VERSION;
        *sequence = self.sequence.to_le_bytes();
        let room = rest.get_mut(..LONGEST_MESSAGE)?;
        let length = postcard::to_slice(message, room).ok()?.len().saturating_add(HEAD);
        let (covered, tail) = body.split_at_mut_checked(length)?;
        *tail.first_chunk_mut()? = crc(covered).to_le_bytes();
        let used = body.get(..length.saturating_add(TAIL))?;

        let (first, rest) = frame.split_first_mut()?;
        *first = 0;
        let end = cobs::try_encode(used, rest).ok()?.saturating_add(1);
        *frame.get_mut(end)? = 0;
        // After the last number comes 1, not 0, which would open a conversation anew.
        self.sequence = self.sequence.checked_add(1).unwrap_or(1);
        frame.get(..=end)
    }
}

/// Finds frames.
///
/// ```
/// use bandward::link::{Receiver, Request, Sender, frame::LONGEST_FRAME};
///
/// let mut line = [0; LONGEST_FRAME];
/// let frame = Sender::new().frame(&Request::Hello, &mut line).unwrap();
/// let mut receiver = Receiver::new();
/// let mut heard = 0;
/// for &byte in frame {
///     if let Some(request) = receiver.push::<Request<'_>>(byte) {
///         assert_eq!(request, Request::Hello);
///         heard += 1;
///     }
/// }
/// assert_eq!((heard, receiver.counts().taken, receiver.counts().garbage), (1, 1, 0));
/// ```
#[derive(Debug)]
pub struct Receiver {
    state: DecoderState,
    body: [u8; LONGEST_BODY],
    length: usize,
    /// Waiting for the end of an oversized frame.
    skipping: bool,
    last: Option<u32>,
    counts: Counts,
}

impl Default for Receiver {
    fn default() -> Self {
        Self::new()
    }
}

impl Receiver {
    /// Waits for a frame; the first is taken whatever its number.
    pub const fn new() -> Self {
        Self {
            state: DecoderState::Idle,
            body: [0; LONGEST_BODY],
            length: 0,
            skipping: false,
            last: None,
            counts: Counts {
                taken: 0,
                garbage: 0,
                truncated: 0,
                oversized: 0,
                replayed: 0,
                unknown: 0,
                missed: 0,
            },
        }
    }
    /// How it fared.
    pub const fn counts(&self) -> Counts {
        self.counts
    }
    /// The number of the newest message taken: 0 is the first since the other end was started.
    pub const fn last(&self) -> Option<u32> {
        self.last
    }
    /// Takes one byte; returns the message when the byte completes one.
    pub fn push<'a, M: Deserialize<'a> + Message>(&'a mut self, byte: u8) -> Option<M> {
        if !self.completes(byte) {
            return None;
        }
        let number = self.check()?;
        let message = self.body.get(HEAD..self.length.checked_sub(TAIL)?)?;
        // The whole of it, or it is not the message it claims to be.
        let Ok((message, [])) = postcard::take_from_bytes::<M>(message) else {
            count(&mut self.counts.unknown);
            return None;
        };
        let is_newer = self.last.is_none_or(|last| match number {
            0 => message.opens_session() || last != 0 && message.begins_anew(),
            _ => matches!(number.wrapping_sub(last), 1..0x8000_0000),
        });
        if !is_newer {
            count(&mut self.counts.replayed);
            return None;
        }
        if number != 0
            && let Some(last) = self.last
        {
            let missing = number.wrapping_sub(last).saturating_sub(1);
            self.counts.missed = self.counts.missed.saturating_add(missing);
        }
        self.last = Some(number);
        count(&mut self.counts.taken);
        Some(message)
    }
    /// Does this byte complete a frame?
    fn completes(&mut self, byte: u8) -> bool {
        if self.skipping {
            self.skipping = byte != 0;
            return false;
        }
        match self.state.feed(byte) {
            Ok(DecodeResult::NoData) => false,
            Ok(DecodeResult::DataStart) => {
                self.length = 0;
                false
            }
            Ok(DecodeResult::DataContinue(decoded)) => {
                if let Some(slot) = self.body.get_mut(self.length) {
                    *slot = decoded;
                    self.length = self.length.saturating_add(1);
                } else {
                    count(&mut self.counts.oversized);
                    self.state = DecoderState::Idle;
                    self.skipping = true;
                }
                false
            }
            Ok(DecodeResult::DataComplete) => true,
            Err(_) => {
                count(&mut self.counts.truncated);
                false
            }
        }
    }
    /// The number of a whole frame that is sound.
    fn check(&mut self) -> Option<u32> {
        let body = self.body.get(..self.length)?;
        let Some((covered, tail)) = body.split_last_chunk::<TAIL>() else {
            count(&mut self.counts.truncated);
            return None;
        };
        let Some((&[version, a, b, c, d], _)) = covered.split_first_chunk::<HEAD>() else {
            count(&mut self.counts.truncated);
            return None;
        };
        if crc(covered) != u32::from_le_bytes(*tail) {
            count(&mut self.counts.garbage);
            return None;
        }
        if version != VERSION {
            count(&mut self.counts.unknown);
            return None;
        }
        Some(u32::from_le_bytes([a, b, c, d]))
    }
}
