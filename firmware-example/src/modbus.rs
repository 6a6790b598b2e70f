//! A Modbus RTU server on a second serial port, for the controller of a cell: `MODBUS.md`.
//!
//! Decides: where a frame ends, which frames are for this board, and what is answered: "MODBUS over Serial Line"
//! V1.02 and "MODBUS Application Protocol" V1.1b3, both open, their values from memory.
//! Assumes: [`Port::take`] is called often, in the time between samples; a wait of over an hour is none.
//! Never: waits for the line; answers what was told to all, is for another one, or came with a wrong CRC or length;
//! lets a request do more than [`Press`] says.

pub mod registers;

use core::ops::DerefMut;
use crc::{CRC_16_MODBUS, Crc};
use embedded_io::{Read, ReadReady, Write, WriteReady};
use registers::State;

/// A frame is never longer: address, at most 253 bytes, CRC.
pub const LONGEST_FRAME: usize = 256;
/// Most bits that are read at once.
pub const MOST_BITS: u16 = 2000;
/// Most registers that are read at once.
pub const MOST_REGISTERS: u16 = 125;

/// Told to all; nobody answers.
const BROADCAST: u8 = 0;
/// A character on the line: start, eight bits, parity or a second stop, stop.
const BITS_A_CHARACTER: u64 = 11;
/// Above this the silence between frames no longer shrinks with the characters.
const FAST_BAUD: u32 = 19_200;
const FAST_SILENCE_US: u32 = 1750;

const CRC: Crc<u16> = Crc::<u16>::new(&CRC_16_MODBUS);

/// A clock that runs whether samples come or not.
pub trait Clock {
    /// Microseconds; wraps at 32 bits.
    fn now_us(&mut self) -> u32;
}

/// Why settings cannot be used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SettingsError {
    /// A board has an address of 1 to 247: 0 is told to all, those above are reserved.
    Address,
    /// The line has 300 to 1,000,000 baud.
    Baud,
}

/// How the board is reached.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Settings {
    address: u8,
    character_us: u32,
    silence_us: u32,
}

impl Settings {
    /// By this address, on a line of this speed.
    ///
    /// # Errors
    /// [`SettingsError`].
    pub const fn try_new(address: u8, baud: u32) -> Result<Self, SettingsError> {
        if address == BROADCAST || address > 247 {
            return Err(SettingsError::Address);
        }
        if baud < 300 || baud > 1_000_000 {
            return Err(SettingsError::Baud);
        }
        let silence_us = if baud > FAST_BAUD { FAST_SILENCE_US } else { half_characters_us(7, baud) };
        Ok(Self { address, character_us: half_characters_us(2, baud), silence_us })
    }
    /// A frame has ended once the line was silent for so long, µs.
    pub const fn silence_us(&self) -> u32 {
        self.silence_us
    }
}

/// The time of so many half characters, µs, rounded up.
const fn half_characters_us(halves: u64, baud: u32) -> u32 {
    (halves * BITS_A_CHARACTER * 1_000_000).div_ceil(2 * baud as u64) as u32
}

/// Why a request is not done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Exception {
    /// The board has no such function.
    Function = 1,
    /// Not all that was asked for is in one part of the map.
    Address = 2,
    /// Too many or none were asked for, or a coil was set to neither on nor off.
    Value = 3,
    /// Not now: ask again later.
    Busy = 6,
}

/// What is read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Table {
    Coils,
    Discretes,
    Inputs,
}

/// What a controller may have a person's press of a button do: the coils, in order. They read back as 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Press {
    /// All that is active, or over and not acknowledged, is acknowledged.
    Acknowledge,
    /// A new joint begins, as soon as no band is open.
    MarkJoint,
}

impl Press {
    /// All of them, in the order of their coils.
    pub const ALL: [Self; 2] = [Self::Acknowledge, Self::MarkJoint];
}

/// A request that is for this board.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Request {
    function: u8,
    asked: Asked,
    is_answered: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Asked {
    Read {
        table: Table,
        first: u16,
        count: u16,
    },
    /// A coil that is set to off does nothing.
    Coil {
        number: u16,
        value: u16,
        press: Option<Press>,
    },
    Nothing(Exception),
}

impl Request {
    /// By a frame whose CRC is right; [`None`] where it is for another one, or is not as long as its function is.
    fn of(frame: &[u8], own: u8) -> Option<Result<Self, Ignored>> {
        let (&address, pdu) = frame.split_first()?;
        if address != own && address != BROADCAST {
            return None;
        }
        let asked = match *pdu {
            [function @ 1..=4, a, b, c, d] => {
                let (first, count) = (u16::from_be_bytes([a, b]), u16::from_be_bytes([c, d]));
                Asked::read(function, first, count)
            }
            [5, a, b, c, d] => Asked::coil(u16::from_be_bytes([a, b]), u16::from_be_bytes([c, d])),
            [0 | 6..=127, ..] => Asked::Nothing(Exception::Function),
            // Those above are answers.
            _ => return Some(Err(Ignored)),
        };
        let function = pdu.first().copied().unwrap_or(0);
        Some(Ok(Self { function, asked, is_answered: address == own }))
    }
    /// What it has a button do.
    pub const fn press(&self) -> Option<Press> {
        match self.asked {
            Asked::Coil { press, .. } => press,
            _ => None,
        }
    }
}

impl Asked {
    fn read(function: u8, first: u16, count: u16) -> Self {
        let (table, most) = match function {
            1 => (Table::Coils, MOST_BITS),
            2 => (Table::Discretes, MOST_BITS),
            // There is nothing to hold: 3 reads the inputs too, for a controller that has no 4.
            _ => (Table::Inputs, MOST_REGISTERS),
        };
        let is_there = match table {
            Table::Coils => registers::is_within(first, count, &[0..Press::ALL.len() as u16]),
            Table::Discretes => registers::is_within(first, count, &[0..registers::DISCRETES]),
            Table::Inputs => registers::is_within(first, count, &registers::PARTS),
        };
        match (count, is_there) {
            (0, _) => Self::Nothing(Exception::Value),
            _ if count > most => Self::Nothing(Exception::Value),
            (_, false) => Self::Nothing(Exception::Address),
            _ => Self::Read { table, first, count },
        }
    }
    fn coil(number: u16, value: u16) -> Self {
        let press = Press::ALL.get(number as usize).copied();
        match (value, press) {
            (0xff00, Some(_)) => Self::Coil { number, value, press },
            (0, Some(_)) => Self::Coil { number, value, press: None },
            (0xff00 | 0, None) => Self::Nothing(Exception::Address),
            _ => Self::Nothing(Exception::Value),
        }
    }
}

/// It is no frame.
struct Ignored;

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

/// A request and an answer: too large for a stack.
pub struct Frames {
    request: [u8; LONGEST_FRAME],
    answer: [u8; LONGEST_FRAME],
}

impl Frames {
    /// Empty.
    pub const fn new() -> Self {
        Self { request: [0; LONGEST_FRAME], answer: [0; LONGEST_FRAME] }
    }
}

impl Default for Frames {
    fn default() -> Self {
        Self::new()
    }
}

/// The board's end of the line.
pub struct Port<Serial, Time, Room> {
    /// The serial driver.
    pub serial: Serial,
    clock: Time,
    settings: Option<Settings>,
    frames: Room,
    /// Bytes of the request so far; one more than there is room for where it is too long.
    got: usize,
    got_us: u32,
    /// Bytes of the answer, and how many of them the line has taken.
    length: usize,
    sent: usize,
    /// Since when, and for how long, the answer is on the line: what comes meanwhile is its echo.
    sending: Option<(u32, u32)>,
    tally: Tally,
    age: Age,
}

impl<Serial, Time, Room> Port<Serial, Time, Room>
where
    Serial: Read + ReadReady + Write + WriteReady,
    Time: Clock,
    Room: DerefMut<Target = Frames>,
{
    /// Over this driver; without settings nothing is read or said.
    pub fn new(serial: Serial, mut clock: Time, settings: Option<Settings>, frames: Room) -> Self {
        let age = Age { at_us: clock.now_us(), ..Age::default() };
        Self {
            serial,
            clock,
            settings,
            frames,
            got: 0,
            got_us: 0,
            length: 0,
            sent: 0,
            sending: None,
            tally: Tally::default(),
            age,
        }
    }
    /// Hands the line what it takes at once, and reads what has come: a request, once a silence has followed it.
    /// `samples` counts the samples judged.
    pub fn take(&mut self, samples: u32) -> Option<Request> {
        let now_us = self.clock.now_us();
        self.age.go_on(samples, now_us);
        let settings = self.settings?;
        self.hand_over();
        if self.sent == self.length
            && self.sending.is_some_and(|(since_us, for_us)| now_us.wrapping_sub(since_us) >= for_us)
        {
            self.sending = None;
        }
        if self.read(now_us) || self.got == 0 || now_us.wrapping_sub(self.got_us) < settings.silence_us {
            return None;
        }
        let frame = self.frames.request.get(..core::mem::take(&mut self.got)).unwrap_or_default();
        // Over a whole frame, its CRC included, the CRC is 0.
        let found = match frame.split_last_chunk::<2>() {
            Some((body, _)) if CRC.checksum(frame) == 0 => Request::of(body, settings.address),
            _ => Some(Err(Ignored)),
        };
        match found? {
            Ok(request) => {
                self.tally.taken = self.tally.taken.wrapping_add(1);
                Some(request)
            }
            Err(Ignored) => {
                self.tally.ignored = self.tally.ignored.wrapping_add(1);
                None
            }
        }
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
            if self.sending.is_some() {
                continue;
            }
            if let Some(slot) = self.frames.request.get_mut(self.got) {
                [*slot] = byte;
            }
            self.got = self.got.saturating_add(1).min(LONGEST_FRAME + 1);
            self.got_us = now_us;
        }
        has_come
    }
    /// Answers a request by a state; a press that was not done is answered so.
    pub fn answer(&mut self, request: &Request, state: &State<'_>, is_done: bool) {
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
        let answer = &mut self.frames.answer;
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
        (self.length, self.sent) = (length, 0);
        self.sending = Some((self.clock.now_us(), settings.character_us.saturating_mul(length as u32 + 1)));
        self.hand_over();
    }
    fn hand_over(&mut self) {
        while self.sent < self.length && matches!(self.serial.write_ready(), Ok(true)) {
            let Some(rest) = self.frames.answer.get(self.sent..self.length) else { return };
            let Ok(taken @ 1..) = self.serial.write(rest) else { return };
            self.sent = self.sent.saturating_add(taken);
        }
    }
    /// Another watch begins: what was seen before is no state of it.
    pub const fn begin_watch(&mut self, samples: u32) {
        (self.age.samples, self.age.us) = (samples, None);
    }
    /// Time since the newest sample was judged, µs; absent before the first of a watch.
    pub const fn age_us(&self) -> Option<u32> {
        self.age.us
    }
    /// How it fared.
    pub const fn tally(&self) -> Tally {
        self.tally
    }
    /// Is there neither a part of a request, nor one of an answer?
    pub const fn is_idle(&self) -> bool {
        self.got == 0 && self.sent >= self.length && self.sending.is_none()
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
