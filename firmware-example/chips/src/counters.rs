//! Counters of hardware, and counting in software from the levels of pins.
//!
//! Decides: how a counter of 16 bits becomes one of 32, and what a run of pin levels counts.
//! Assumes: a counter of 16 bits moves less than half a wrap between two readings; a pin holds each level for one look
//! at least.
//! Never: guesses which way an encoder went when both its channels changed between two looks: it counts neither,
//! and gives no count for [`DOUBT`] samples.

/// Looks at the pins in a sample.
pub const LOOKS: u32 = 8;
/// Pins in a look: the two channels of the encoder, then two pulse inputs.
pub const PINS: u32 = 4;
/// For so many samples after a step that could not be told there is no count of the encoder: longer than the slowest
/// reading of it, so that it is seen.
pub const DOUBT: u16 = 500;

/// A counter of 32 bits made of one of 16.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Unwrapped {
    last: Option<u16>,
    count: i32,
}

impl Unwrapped {
    /// Nothing read yet.
    pub const NEW: Self = Self { last: None, count: 0 };
    /// The count at this reading of the hardware, from the first one on; either way.
    pub fn take(&mut self, hardware: u16) -> i32 {
        let moved = hardware.wrapping_sub(self.last.unwrap_or(hardware)).cast_signed();
        self.last = Some(hardware);
        self.count = self.count.wrapping_add(i32::from(moved));
        self.count
    }
}

/// What is counted from the levels of four pins: encoder A and B, wire, coolant, from the lowest bit on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PinCounters {
    last: Option<u8>,
    spindle: i32,
    pulses: [u32; 2],
    /// Samples until the encoder is believed again.
    doubt: u16,
    untold: u32,
}

/// What they come to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Of the encoder, four a line; absent where a step could not be told.
    pub spindle: Option<i32>,
    /// Rising edges of the wire pulses; absent where they were not read.
    pub wire: Option<u32>,
    /// Rising edges of the coolant pulses; absent where they were not read.
    pub coolant: Option<u32>,
}

impl PinCounters {
    /// Nothing seen yet.
    pub const NEW: Self = Self { last: None, spindle: 0, pulses: [0; 2], doubt: 0, untold: 0 };

    /// The looks of one sample, the oldest in the highest bits.
    pub fn take(&mut self, looks: u32) -> Counts {
        let last = self.last.unwrap_or((looks >> (PINS * (LOOKS - 1))) as u8 & 0xf);
        self.doubt = self.doubt.saturating_sub(1);
        // Most samples: nothing moved since the one before.
        if looks == u32::from(last) * 0x1111_1111 {
            self.last = Some(last);
            return self.counts();
        }
        let mut before = last;
        for look in (0..LOOKS).rev() {
            let now = (looks >> (PINS * look)) as u8 & 0xf;
            self.step(before, now);
            before = now;
        }
        self.last = Some(before);
        self.counts()
    }
    fn step(&mut self, before: u8, now: u8) {
        // The two channels one after the other in Gray code: 00, 01, 11, 10, and a step is one place.
        let place = |pins: u8| (pins & 0b11) ^ ((pins >> 1) & 1);
        match place(now).wrapping_sub(place(before)) & 0b11 {
            1 => self.spindle = self.spindle.wrapping_add(1),
            3 => self.spindle = self.spindle.wrapping_sub(1),
            2 => {
                self.doubt = DOUBT;
                self.untold = self.untold.saturating_add(1);
            }
            _ => {}
        }
        let risen = now & !before;
        for (pulses, pin) in self.pulses.iter_mut().zip([2, 3]) {
            *pulses = pulses.wrapping_add(u32::from(risen >> pin & 1));
        }
    }
    fn counts(&self) -> Counts {
        let [wire, coolant] = self.pulses;
        let spindle = (self.doubt == 0).then_some(self.spindle);
        Counts { spindle, wire: Some(wire), coolant: Some(coolant) }
    }
    /// Looks were lost: what comes next is not held against what was before, and the encoder is doubted.
    pub fn lose(&mut self) {
        self.last = None;
        self.doubt = DOUBT;
    }
    /// Steps that could not be told.
    pub const fn untold(&self) -> u32 {
        self.untold
    }
}
