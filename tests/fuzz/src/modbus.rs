//! The Modbus port of the board program against a reader of whole frames.
//!
//! Decides: which frame gets which answer, after `firmware-example/MODBUS.md`: who it is for, the CRC, the length, the
//! function, the addresses and the values; and what a press does.
//! Assumes: frames are told apart by silence.
//! Never: looks at what stands in a register; `board_modbus_map` does.

use crate::bytes::Bytes;
use bandward::link::{BoardFaults, Counts, MOST_ALARMS, Outputs, Telemetry};
use bandward::rule::RuleSet;
use bandward::{Phase, Position, Quantity, Sample, SoFar, SoundProcedure};
use bandward_firmware_seen::modbus::{Clock, Kept, LONGEST_FRAME, Port, Press, Settings};
use std::cell::{Cell, RefCell};
use std::collections::VecDeque;
use std::convert::Infallible;
use std::rc::Rc;

const OWN: u8 = 17;
/// First and number of the registers of each part, by the page.
const PARTS: [(u32, u32); 6] = [(0, 24), (100, 16), (200, 4 * 32), (1000, 8 * 18), (2000, 30), (2100, 12)];
const DISCRETES: u32 = 24;
const COILS: u32 = 2;

#[derive(Clone, Default)]
struct Line {
    to_board: Rc<RefCell<VecDeque<u8>>>,
    to_host: Rc<RefCell<Vec<u8>>>,
}

impl embedded_io::ErrorType for Line {
    type Error = Infallible;
}

impl embedded_io::ReadReady for Line {
    fn read_ready(&mut self) -> Result<bool, Infallible> {
        Ok(!self.to_board.borrow().is_empty())
    }
}

impl embedded_io::Read for Line {
    fn read(&mut self, buffer: &mut [u8]) -> Result<usize, Infallible> {
        let Some(byte) = self.to_board.borrow_mut().pop_front() else { return Ok(0) };
        buffer[0] = byte;
        Ok(1)
    }
}

impl embedded_io::WriteReady for Line {
    fn write_ready(&mut self) -> Result<bool, Infallible> {
        Ok(true)
    }
}

impl embedded_io::Write for Line {
    fn write(&mut self, buffer: &[u8]) -> Result<usize, Infallible> {
        self.to_host.borrow_mut().extend_from_slice(buffer);
        Ok(buffer.len())
    }
    fn flush(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}

#[derive(Clone, Default)]
struct Watch(Rc<Cell<u32>>);

impl Clock for Watch {
    fn now_us(&mut self) -> u32 {
        self.0.get()
    }
}

/// CRC-16/MODBUS bit by bit (polynomial 0xA001 reflected, from memory).
fn crc(bytes: &[u8]) -> u16 {
    bytes.iter().fold(0xffff, |crc, &byte| {
        (0..8).fold(crc ^ u16::from(byte), |crc, _| if crc & 1 == 1 { crc >> 1 ^ 0xa001 } else { crc >> 1 })
    })
}

/// What a frame is owed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Owed {
    Nothing,
    Exception(u8),
    /// So many bytes of values.
    Values(usize),
    /// The request itself.
    Echo,
}

fn owed(frame: &[u8]) -> (Owed, Option<Press>) {
    let nothing = (Owed::Nothing, None);
    let Some((body, sum)) = frame.split_last_chunk::<2>() else { return nothing };
    if frame.len() > LONGEST_FRAME || crc(body) != u16::from_le_bytes(*sum) {
        return nothing;
    }
    let Some((&address, pdu)) = body.split_first() else { return nothing };
    let is_answered = address == OWN;
    if !is_answered && address != 0 {
        return nothing;
    }
    let word = |at: usize| u32::from(u16::from_be_bytes([pdu[at], pdu[at + 1]]));
    let (answer, press) = match pdu.first() {
        None | Some(128..) => return nothing,
        Some(function @ 1..=4) => {
            if pdu.len() != 5 {
                return nothing;
            }
            let (first, count) = (word(1), word(3));
            let within = |(start, length): (u32, u32)| first >= start && first + count <= start + length;
            let (most, is_there) = match function {
                1 => (2000, within((0, COILS))),
                2 => (2000, within((0, DISCRETES))),
                _ => (125, PARTS.into_iter().any(within)),
            };
            let answer = if count == 0 || count > most {
                Owed::Exception(3)
            } else if !is_there {
                Owed::Exception(2)
            } else if *function <= 2 {
                Owed::Values(count.div_ceil(8) as usize)
            } else {
                Owed::Values(2 * count as usize)
            };
            (answer, None)
        }
        Some(5) => {
            if pdu.len() != 5 {
                return nothing;
            }
            match (word(1), word(3)) {
                (0, 0xff00) => (Owed::Echo, Some(Press::Acknowledge)),
                (1, 0xff00) => (Owed::Echo, Some(Press::MarkJoint)),
                (0 | 1, 0) => (Owed::Echo, None),
                (_, 0xff00 | 0) => (Owed::Exception(2), None),
                _ => (Owed::Exception(3), None),
            }
        }
        Some(_) => (Owed::Exception(1), None),
    };
    (if is_answered { answer } else { Owed::Nothing }, press)
}

/// What stands in the registers does not matter here.
fn nothing() -> Telemetry {
    Telemetry {
        readings: Sample::at(0),
        judged: [None; Quantity::COUNT],
        phase: Phase::Idle,
        position: Position { band: 0, turned: None },
        alarms: [None; MOST_ALARMS],
        returned: RuleSet::EMPTY,
        faults: BoardFaults::default(),
        is_bench: false,
        so_far: SoFar::default(),
        outputs: Outputs::default(),
        counts: Counts::default(),
        dropped: 0,
        black_box_frozen: false,
    }
}

/// One frame after another, in pieces that lie close together.
pub fn port(bytes: &mut Bytes<'_>) {
    let (line, watch) = (Line::default(), Watch::default());
    let settings = Settings::try_new(OWN, 19_200).ok();
    let silence_us = settings.map_or(0, |settings| settings.silence_us());
    let mut port = Port::new(line.clone(), watch.clone(), settings, Box::new(Kept::new()));
    let now = nothing();
    let pass = |us: u32| watch.0.set(watch.0.get().wrapping_add(us));
    pass(bytes.word());
    for samples in 1..200 {
        if bytes.is_empty() {
            return;
        }
        let (kind, length, is_done) = (bytes.byte(), bytes.byte(), bytes.byte() & 1 == 0);
        let body = bytes.run(usize::from(length) + if kind & 64 == 0 { 0 } else { 100 });
        let frame = match kind % 4 {
            0 => body.to_vec(),
            // One that is for this board.
            1 => [&[OWN], body].concat(),
            // A request of the usual length.
            2 => {
                let mut frame = [OWN, 4, 0, 0, 0, 1];
                frame.iter_mut().skip(1).zip(body).for_each(|(slot, byte)| *slot = *byte);
                frame.to_vec()
            }
            _ => [&[0], body].concat(),
        };
        let frame =
            if kind & 32 == 0 { [frame.as_slice(), &crc(&frame).to_le_bytes()].concat() } else { frame };
        for piece in frame.chunks(usize::from(kind >> 2 & 7) * 40 + 7) {
            line.to_board.borrow_mut().extend(piece);
            assert!(port.take(samples).is_none());
            pass(silence_us - 1);
        }
        while !line.to_board.borrow().is_empty() {
            assert!(port.take(samples).is_none());
        }
        pass(silence_us + 1);
        let before = port.tally();
        let request = port.take(samples);
        let (owed, press) = owed(&frame);
        assert_eq!(request.and_then(|request| request.press()), press, "{frame:?}");
        let taken = port.tally().taken.wrapping_sub(before.taken);
        assert_eq!(taken == 1, request.is_some(), "{frame:?}");
        if let Some(request) = request {
            let state = bandward_firmware_seen::modbus::registers::State {
                now: &now,
                procedure: &SoundProcedure::NONE,
                shown: bandward::Outcome::NotAsked,
                samples,
                age_us: port.age_us(),
                old_us: 2_000_000,
                last: port.last(),
                tally: port.tally(),
            };
            port.answer(request, &state, is_done || press.is_none());
        }
        let owed = match owed {
            Owed::Echo if !is_done && press.is_some() => Owed::Exception(6),
            owed => owed,
        };
        let said = line.to_host.take();
        match owed {
            Owed::Nothing => assert!(said.is_empty(), "{frame:?}: {said:?}"),
            owed => {
                let (body, sum) = said.split_last_chunk::<2>().expect("an answer");
                assert_eq!(crc(body), u16::from_le_bytes(*sum));
                assert_eq!(body[0], OWN);
                match owed {
                    Owed::Exception(code) => assert_eq!(body[1..], [frame[1] | 0x80, code], "{frame:?}"),
                    Owed::Values(count) => {
                        assert_eq!(body[1..3], [frame[1], count as u8], "{frame:?}");
                        assert_eq!(body.len(), 3 + count, "{frame:?}");
                    }
                    Owed::Echo | Owed::Nothing => assert_eq!(said, frame),
                }
            }
        }
        // No echo of it may come any more.
        pass(10_000_000);
    }
}
