//! Which part of a ring that the hardware fills is to be read next.
//!
//! Decides: when a frame (the conversions of one sample) is whole, what its time is, and when frames were lost: the
//! hardware came round before they were read. The time is counted in frames, which come from a crystal; a clock
//! beside it tells only how many were lost.
//! Assumes: the hardware fills the ring evenly, a frame every [`PERIOD_US`].
//! Never: takes a frame that is being filled, or one of the last round for a new one.

/// Time between two samples, µs.
pub const PERIOD_US: u32 = 100;

/// Frames that the hardware may fill while one is read.
const GUARD: u64 = 8;

/// A frame that is whole.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Frame {
    /// Its place in the ring.
    pub slot: usize,
    /// Its time, µs.
    pub time_us: u64,
    /// Whole frames after it: how old it is.
    pub newer: u64,
    /// Frames before it were lost.
    pub is_after_loss: bool,
}

/// Reads a ring of so many frames.
#[derive(Clone, Copy, Debug)]
pub struct Reader {
    frames: u64,
    /// Frames filled and frames read, since the start; those that were lost count as both.
    filled: u64,
    read: u64,
    /// Where the hardware was when it was looked at last, and when that was.
    looked: Option<(u64, u32)>,
    is_after_loss: bool,
}

impl Reader {
    /// Of a ring of so many frames, which the hardware begins to fill at its start.
    pub const fn new(frames: usize) -> Self {
        Self { frames: frames as u64, filled: 0, read: 0, looked: None, is_after_loss: false }
    }
    /// The hardware is in this frame of the ring now; `now_us` wraps at 32 bits.
    pub fn look(&mut self, position: usize, now_us: u32) {
        let position = position as u64;
        let (was, was_us) = self.looked.unwrap_or((0, now_us));
        self.looked = Some((position, now_us));
        let went = (position + self.frames).saturating_sub(was) % self.frames.max(1);
        let passed = u64::from(now_us.wrapping_sub(was_us) / PERIOD_US);
        // The number of rounds that brings the place in the ring nearest to what the clock says: none where it is
        // looked at often enough.
        let rounds = (passed + self.frames / 2).saturating_sub(went) / self.frames.max(1);
        self.filled = self.filled.saturating_add(went + rounds * self.frames);
        if self.filled.saturating_sub(self.read) + GUARD >= self.frames {
            self.read = self.filled;
            self.is_after_loss = true;
        }
    }
    /// The oldest frame that was not read.
    pub fn take(&mut self) -> Option<Frame> {
        if self.read >= self.filled {
            return None;
        }
        let index = self.read;
        self.read = self.read.saturating_add(1);
        Some(Frame {
            slot: (index % self.frames.max(1)) as usize,
            time_us: index.saturating_mul(u64::from(PERIOD_US)),
            newer: self.filled.saturating_sub(self.read),
            is_after_loss: core::mem::take(&mut self.is_after_loss),
        })
    }
}
