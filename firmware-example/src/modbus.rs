//! A Modbus RTU server on a second serial port, for the controller of a cell: `MODBUS.md`.
//!
//! Decides: where a frame ends, and how it is answered: "MODBUS over Serial Line" V1.02 and "MODBUS Application
//! Protocol" V1.1b3, both open, their values from memory.
//! Assumes: [`Port::take`] is called often, in the time between samples, and at least once an hour.
//! Never: waits for the line; answers what was told to all, is for another one, or came with a wrong CRC or length;
//! lets a request do more than [`Press`] says.

pub mod registers;
mod request;
mod settings;

use bandward::flash::journal::Kept as Record;
use core::ops::DerefMut;
use crc::{CRC_16_MODBUS, Crc};
use embedded_io::{Read, ReadReady, Write, WriteReady};
use registers::{Last, State};
use request::{Asked, Exception, Ignored, Table};
pub use request::{MOST_BITS, MOST_REGISTERS, Press, Request};
pub use settings::{Settings, SettingsError};

/// A frame is never longer: address, at most 253 bytes, CRC.
pub const LONGEST_FRAME: usize = 256;

const CRC: Crc<u16> = Crc::<u16>::new(&CRC_16_MODBUS);

/// A clock that runs whether samples come or not.
pub trait Clock {
    /// Microseconds; wraps at 32 bits.
    fn now_us(&mut self) -> u32;
}

/// How the port fared since the start; the counts wrap.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    /// Requests taken.
    pub taken: u16,
    /// Frames whose CRC or length was wrong.
    pub ignored: u16,
}

/// How old the state is.
#[derive(Clone, Copy, Debug, Default)]
struct Age {
    samples: u32,
    at_us: u32,
    /// Since the newest sample, as far as `take` saw it; absent before the first of a watch.
    us: Option<u32>,
}

/// What the port keeps: too large for a stack.
pub struct Kept {
    request: [u8; LONGEST_FRAME],
    /// Bytes of it so far; one more than there is room for where it is too long.
    got: usize,
    got_us: u32,
    answer: [u8; LONGEST_FRAME],
    /// Bytes of it, and how many of them the line has taken.
    length: usize,
    sent: usize,
    /// Since when, and for how long, its echo may come.
    echo: Option<(u32, u32)>,
    tally: Tally,
    age: Age,
    last: Last,
}

impl Kept {
    /// Nothing has come, and nothing is to be said.
    pub const fn new() -> Self {
        Self {
            request: [0; LONGEST_FRAME],
            got: 0,
            got_us: 0,
            answer: [0; LONGEST_FRAME],
            length: 0,
            sent: 0,
            echo: None,
            tally: Tally { taken: 0, ignored: 0 },
            age: Age { samples: 0, at_us: 0, us: None },
            last: Last::NONE,
        }
    }
}

impl Default for Kept {
    fn default() -> Self {
        Self::new()
    }
}

/// The board's end of the line.
pub struct Port<Serial, Time, Place> {
    /// The serial driver.
    pub serial: Serial,
    clock: Time,
    settings: Option<Settings>,
    kept: Place,
}

impl<Serial, Time, Place> Port<Serial, Time, Place>
where
    Serial: Read + ReadReady + Write + WriteReady,
    Time: Clock,
    Place: DerefMut<Target = Kept>,
{
    /// Over this driver; without settings nothing is read or said.
    pub const fn new(serial: Serial, clock: Time, settings: Option<Settings>, kept: Place) -> Self {
        Self { serial, clock, settings, kept }
    }
    /// Hands the line what it takes at once, and reads what has come: a request, once a silence has followed it.
    /// `samples` counts the samples judged.
    pub fn take(&mut self, samples: u32) -> Option<Request> {
        self.look_at_samples(samples);
        let now_us = self.clock.now_us();
        let settings = self.settings?;
        self.hand_over();
        if self.read(now_us)
            || self.kept.got == 0
            || now_us.wrapping_sub(self.kept.got_us) < settings.silence_us()
        {
            return None;
        }
        let kept = &mut *self.kept;
        let frame = kept.request.get(..core::mem::take(&mut kept.got)).unwrap_or_default();
        if kept.echo.take().is_some_and(|(since_us, for_us)| kept.got_us.wrapping_sub(since_us) < for_us)
            && kept.answer.get(..kept.length) == Some(frame)
        {
            return None;
        }
        // Over a whole frame, its CRC included, the CRC is 0.
        let found = match frame.split_last_chunk::<2>() {
            Some((body, _)) if CRC.checksum(frame) == 0 => Request::of(body, settings.address)?,
            _ => Err(Ignored),
        };
        let Tally { taken, ignored } = &mut kept.tally;
        let count = if found.is_ok() { taken } else { ignored };
        *count = count.wrapping_add(1);
        found.ok()
    }
    /// Reads at most one frame's worth of bytes; returns whether there were any.
    fn read(&mut self, now_us: u32) -> bool {
        let mut byte = [0];
        let mut has_come = false;
        for _ in 0..LONGEST_FRAME {
            if !matches!(self.serial.read_ready(), Ok(true)) || !matches!(self.serial.read(&mut byte), Ok(1))
            {
                break;
            }
            has_come = true;
            let got = self.kept.got;
            if let Some(slot) = self.kept.request.get_mut(got) {
                [*slot] = byte;
            }
            self.kept.got = got.saturating_add(1).min(LONGEST_FRAME + 1);
            self.kept.got_us = now_us;
        }
        has_come
    }
    /// Answers a request by a state; a press that was not done is answered so.
    pub fn answer(&mut self, request: Request, state: &State<'_>, is_done: bool) {
        if !request.is_answered {
            return;
        }
        let function = request.function;
        match request.asked {
            _ if !is_done => self.refuse(function, Exception::Busy),
            Asked::Nothing(exception) => self.refuse(function, exception),
            Asked::Coil { number, value, .. } => {
                self.say(function, number.to_be_bytes().into_iter().chain(value.to_be_bytes()));
            }
            Asked::Read { table: Table::Inputs, first, count } => {
                let values = (first..first.saturating_add(count)).map(|register| state.input(register));
                self.say(function, [(2 * count) as u8].into_iter().chain(values.flat_map(u16::to_be_bytes)));
            }
            Asked::Read { table, first, count } => {
                let end = first.saturating_add(count);
                let is_set =
                    |number: u16| number < end && table == Table::Discretes && state.discrete(number);
                let packed =
                    |start: u16| (0..8).fold(0_u8, |byte, bit| byte | u8::from(is_set(start + bit)) << bit);
                let bytes = (first..end).step_by(8).map(packed);
                self.say(function, [count.div_ceil(8) as u8].into_iter().chain(bytes));
            }
        }
    }
    fn refuse(&mut self, function: u8, exception: Exception) {
        self.say(function | 0x80, [exception as u8].into_iter());
    }
    fn say(&mut self, function: u8, data: impl Iterator<Item = u8>) {
        let Some(settings) = self.settings else { return };
        let answer = &mut self.kept.answer;
        let mut length = 0;
        for (slot, byte) in answer.iter_mut().zip([settings.address, function].into_iter().chain(data)) {
            *slot = byte;
            length += 1;
        }
        let crc = CRC.checksum(answer.get(..length).unwrap_or_default());
        for (slot, byte) in answer.iter_mut().skip(length).zip(crc.to_le_bytes()) {
            *slot = byte;
            length += 1;
        }
        (self.kept.length, self.kept.sent) = (length, 0);
        let on_line_us = settings.character_us.saturating_mul(length as u32);
        self.kept.echo = Some((self.clock.now_us(), on_line_us.saturating_add(2 * settings.silence_us())));
        self.hand_over();
    }
    fn hand_over(&mut self) {
        while self.kept.sent < self.kept.length && matches!(self.serial.write_ready(), Ok(true)) {
            let Some(rest) = self.kept.answer.get(self.kept.sent..self.kept.length) else { return };
            let Ok(taken @ 1..) = self.serial.write(rest) else { return };
            self.kept.sent = self.kept.sent.saturating_add(taken);
        }
    }
    /// Looks how old the newest of so many samples is.
    pub fn look_at_samples(&mut self, samples: u32) {
        let now_us = self.clock.now_us();
        self.kept.age.go_on(samples, now_us);
    }
    /// Does somebody speak on the line since the last request was taken? They have given it up.
    pub fn is_spoken_to(&mut self) -> bool {
        self.kept.got > 0 || matches!(self.serial.read_ready(), Ok(true))
    }
    /// The time of its clock, µs; wraps.
    pub fn now_us(&mut self) -> u32 {
        self.clock.now_us()
    }
    /// Another watch begins: what was seen before is no state of it.
    pub fn begin_watch(&mut self, samples: u32) {
        (self.kept.age.samples, self.kept.age.us) = (samples, None);
    }
    /// Time since the newest sample was judged, µs; absent before the first of a watch.
    pub fn age_us(&self) -> Option<u32> {
        self.kept.age.us
    }
    /// The band and the joint that ended last.
    pub fn last(&self) -> Last {
        self.kept.last
    }
    /// A record was made after them.
    pub fn note(&mut self, record: &Record) {
        self.kept.last = self.kept.last.with(record);
    }
    /// How it fared.
    pub fn tally(&self) -> Tally {
        self.kept.tally
    }
    /// Is there neither a part of a request, nor one of an answer?
    pub fn is_idle(&self) -> bool {
        self.kept.got == 0 && self.kept.sent >= self.kept.length
    }
}

impl Age {
    fn go_on(&mut self, samples: u32, now_us: u32) {
        let passed_us = now_us.wrapping_sub(self.at_us);
        self.us =
            if samples == self.samples { self.us.map(|us| us.saturating_add(passed_us)) } else { Some(0) };
        (self.samples, self.at_us) = (samples, now_us);
    }
}
