//! The controller of a cell, on the Modbus port of the board on the host.
//!
//! Decides: how long it waits. Its frames are made and read by `rmodbus`, not by the board's own code.
//! Assumes: the line of the bench takes all there is to say.
//! Never: takes an answer with a wrong CRC, address or length.

use crate::host_board::{Bench, MODBUS_ADDRESS};
use rmodbus::ModbusProto::Rtu;
use rmodbus::client::ModbusRequest;

/// A silence that ends a frame, µs.
const SILENCE_US: u32 = 2000;
/// The echo of the answer to a press would be over by then, µs: 8 characters of 11 bits at 115,200 baud are 764.
const ECHO_US: u32 = 5_000;

/// The frame of these bytes: their CRC behind them, as the appendix of "MODBUS over Serial Line" makes it (from
/// memory): of the polynomial 0xA001, from 0xFFFF, the low byte first.
pub fn framed(body: &[u8]) -> Vec<u8> {
    let crc = body.iter().fold(0xffff_u16, |crc, byte| {
        (0..8).fold(crc ^ u16::from(*byte), |crc, _| if crc & 1 == 1 { crc >> 1 ^ 0xa001 } else { crc >> 1 })
    });
    [body, &crc.to_le_bytes()].concat()
}

impl Bench {
    /// Lets time pass on the clock beside that of the samples.
    pub fn wait(&self, us: u32) {
        self.clock.0.set(self.clock.0.get().wrapping_add(us));
    }
    /// What has come from the board on the Modbus port since the last time.
    pub fn answered(&self) -> Vec<u8> {
        self.modbus.to_host.take()
    }
    /// Puts bytes on the Modbus line, lets a silence follow, and returns what is answered.
    pub fn over_modbus(&mut self, bytes: &[u8]) -> Vec<u8> {
        self.modbus.to_board.borrow_mut().extend(bytes);
        for wait_us in [0, SILENCE_US, ECHO_US] {
            self.wait(wait_us);
            self.board.poll();
        }
        self.answered()
    }
    /// Reads input registers.
    ///
    /// # Panics
    /// The answer is not what a client understands.
    pub fn inputs(&mut self, first: u16, count: u16) -> Vec<u16> {
        let (mut request, mut frame, mut found) = (client(), Vec::new(), Vec::new());
        request.generate_get_inputs(first, count, &mut frame).expect("a request");
        let answer = self.over_modbus(&frame);
        request.parse_u16(&answer, &mut found).unwrap_or_else(|error| panic!("{error}: {answer:02x?}"));
        assert_eq!(found.len(), usize::from(count), "{answer:02x?}");
        found
    }
    /// Reads one input register.
    ///
    /// # Panics
    /// As [`Self::inputs`].
    pub fn input(&mut self, register: u16) -> u16 {
        self.inputs(register, 1)[0]
    }
    /// Reads discrete inputs.
    ///
    /// # Panics
    /// As [`Self::inputs`].
    pub fn discretes(&mut self, first: u16, count: u16) -> Vec<bool> {
        let (mut request, mut frame, mut found) = (client(), Vec::new(), Vec::new());
        request.generate_get_discretes(first, count, &mut frame).expect("a request");
        let answer = self.over_modbus(&frame);
        request.parse_bool(&answer, &mut found).unwrap_or_else(|error| panic!("{error}: {answer:02x?}"));
        found
    }
    /// Sets a coil; an error where that is refused.
    ///
    /// # Errors
    /// What was answered, in the words of the client.
    ///
    /// # Panics
    /// No request can be made of it.
    pub fn set_coil(&mut self, coil: u16, is_on: bool) -> Result<(), String> {
        let (mut request, mut frame) = (client(), Vec::new());
        request.generate_set_coil(coil, is_on, &mut frame).expect("a request");
        let answer = self.over_modbus(&frame);
        request.parse_ok(&answer).map_err(|error| error.to_string())
    }
}

fn client() -> ModbusRequest {
    ModbusRequest::new(MODBUS_ADDRESS, Rtu)
}
