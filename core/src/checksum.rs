//! The checksum of frames, uploads and entries in flash.
//!
//! Decides: CRC-32/ISO-HDLC for all of them.
//! Never: keeps anything between calls.

use crc::{CRC_32_ISO_HDLC, Crc};

const CRC: Crc<u32> = Crc::<u32>::new(&CRC_32_ISO_HDLC);

/// CRC-32/ISO-HDLC.
pub fn crc(bytes: &[u8]) -> u32 {
    CRC.checksum(bytes)
}
