//! What a frame asks for.
//!
//! Decides: which functions there are, and which requests are refused: "MODBUS Application Protocol" V1.1b3, an open
//! standard, from memory.
//! Assumes: the CRC was right.
//! Never: takes a frame that is not as long as its function is.

use super::registers::{DISCRETES, PARTS, is_within};

/// Most bits that are read at once.
pub const MOST_BITS: u16 = 2000;
/// Most registers that are read at once.
pub const MOST_REGISTERS: u16 = 125;

/// Told to all; nobody answers.
pub(super) const BROADCAST: u8 = 0;

/// Why a request is not done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub(super) enum Exception {
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
pub(super) enum Table {
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
    pub(super) function: u8,
    pub(super) asked: Asked,
    pub(super) is_answered: bool,
}

/// It is no frame.
pub(super) struct Ignored;

/// What it asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Asked {
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
    /// By a frame without its CRC; [`None`] where it is for another board.
    pub(super) fn of(frame: &[u8], own: u8) -> Option<Result<Self, Ignored>> {
        let (&address, pdu) = frame.split_first()?;
        if address != own && address != BROADCAST {
            return None;
        }
        let Some(&function) = pdu.first() else { return Some(Err(Ignored)) };
        let asked = match *pdu {
            [1..=4, a, b, c, d] => {
                let (first, count) = (u16::from_be_bytes([a, b]), u16::from_be_bytes([c, d]));
                Asked::read(function, first, count)
            }
            [5, a, b, c, d] => Asked::coil(u16::from_be_bytes([a, b]), u16::from_be_bytes([c, d])),
            [0 | 6..=127, ..] => Asked::Nothing(Exception::Function),
            // Those above are answers.
            _ => return Some(Err(Ignored)),
        };
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
            Table::Coils => is_within(&(0..Press::ALL.len() as u16), first, count),
            Table::Discretes => is_within(&(0..DISCRETES), first, count),
            Table::Inputs => PARTS.iter().any(|part| is_within(part, first, count)),
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
