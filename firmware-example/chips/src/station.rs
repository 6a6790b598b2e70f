//! From the ring of conversions to the board: the loop of every chip.
//!
//! Decides: which sample is handed to the board, when, and which of them came too late.
//! Assumes: [`Station::turn`] is called again and again, and nothing else takes the processor for long.
//! Never: makes up a reading: what a frame does not have is absent from its sample.

use crate::counters::Counts;
use crate::decimation::{Decimator, OVERSAMPLING};
use crate::frames::Reader;
use crate::wire::WireWheel;
use crate::wiring;
use bandward::{Channel, Sample};
use bandward_firmware::acquisition::{Acquirer, AnalogInputs, CalibrationError, Counters};
use bandward_firmware::board::{Board, Hardware};

/// Samples that one turn judges before the board does anything else.
const SAMPLES_A_TURN: usize = 64;

/// What the drivers of a chip give.
pub trait Front {
    /// The frame of the ring that is being filled. Nothing once the order of the conversions may have slipped: then
    /// none is read any more, and the watchdog starts the board anew.
    fn position(&mut self) -> Option<usize>;
    /// A conversion of a whole frame: its place in the frame, all channels of the first scan first. Absent where it
    /// failed.
    fn conversion(&self, slot: usize, place: usize) -> Option<u16>;
    /// What was counted up to a whole frame, after which there are so many newer ones; absent where counters show the
    /// present only, and the frame is of the past.
    fn counts(&mut self, slot: usize, newer: u64) -> Counts;
    /// Frames were lost.
    fn lose(&mut self);
    /// A clock beside the converter's, µs; wraps at 32 bits.
    fn now_us(&mut self) -> u32;
}

/// The inputs of a board.
pub struct Station<F, const CHANNELS: usize> {
    front: F,
    reader: Reader,
    acquirer: Acquirer,
    inputs: Inputs<CHANNELS>,
}

struct Inputs<const CHANNELS: usize> {
    channels: [Channel; CHANNELS],
    filters: [Decimator; CHANNELS],
    analog: [Option<i32>; CHANNELS],
    counts: Counts,
    wheel: WireWheel,
    time_us: u64,
}

impl<F: Front, const CHANNELS: usize> Station<F, CHANNELS> {
    /// With a ring of so many frames, and these analog inputs.
    ///
    /// # Errors
    /// What [`wiring::acquirer`] says.
    pub fn new(front: F, frames: usize, channels: [Channel; CHANNELS]) -> Result<Self, CalibrationError> {
        let (micrometres_a_pulse, window_us) = wiring::WHEEL;
        Ok(Self {
            front,
            reader: Reader::new(frames),
            acquirer: wiring::acquirer(&channels)?,
            inputs: Inputs {
                channels,
                filters: [Decimator::EMPTY; CHANNELS],
                analog: [None; CHANNELS],
                counts: Counts::default(),
                wheel: WireWheel::new(micrometres_a_pulse, window_us),
                time_us: 0,
            },
        })
    }
    /// Judges what samples there are, and lets the board do a part of the rest.
    pub fn turn<H: Hardware>(&mut self, board: &mut Board<H>) {
        self.look();
        for _ in 0..SAMPLES_A_TURN {
            let Some((sample, is_late)) = self.sample() else { break };
            board.sample(&sample, is_late);
        }
        board.poll();
    }
    /// Looks how far the converter has come.
    pub fn look(&mut self) {
        if let Some(position) = self.front.position() {
            let now_us = self.front.now_us();
            self.reader.look(position, now_us);
        }
    }
    /// The oldest sample that was not taken, and whether others before it were lost.
    pub fn sample(&mut self) -> Option<(Sample, bool)> {
        let frame = self.reader.take()?;
        let inputs = &mut self.inputs;
        if frame.is_after_loss {
            self.front.lose();
            inputs.filters = [Decimator::EMPTY; CHANNELS];
            inputs.wheel.lose();
        }
        for (place, (filter, analog)) in inputs.filters.iter_mut().zip(&mut inputs.analog).enumerate() {
            let mut conversions = [0; OVERSAMPLING];
            let mut is_whole = true;
            for (scan, conversion) in conversions.iter_mut().enumerate() {
                match self.front.conversion(frame.slot, scan * CHANNELS + place) {
                    Some(counts) => *conversion = counts,
                    None => is_whole = false,
                }
            }
            *analog = filter.take(conversions.into_iter());
            if !is_whole {
                (*filter, *analog) = (Decimator::EMPTY, None);
            }
        }
        inputs.counts = self.front.counts(frame.slot, frame.newer);
        inputs.time_us = frame.time_us;
        Some((self.acquirer.sample(frame.time_us, inputs), frame.is_after_loss))
    }
}

impl<const CHANNELS: usize> AnalogInputs for Inputs<CHANNELS> {
    fn read(&mut self, channel: Channel) -> Option<i32> {
        if channel == Channel::Wire {
            let pulses = self.counts.wire?;
            return self.wheel.speed(self.time_us, pulses).map(bandward::units::WireSpeed::to_bits);
        }
        let place = self.channels.iter().position(|&wired| wired == channel)?;
        *self.analog.get(place)?
    }
}

impl<const CHANNELS: usize> Counters for Inputs<CHANNELS> {
    fn spindle(&mut self) -> Option<i32> {
        self.counts.spindle
    }
    fn pulses(&mut self, channel: Channel) -> Option<u32> {
        self.counts.coolant.filter(|_| channel == Channel::Coolant)
    }
}
