//! Hashes of files, so that a result can be traced to what it was made from.
//!
//! Decides: nothing.
//! Assumes: nothing.
//! Never: proves who wrote a file.

use sha2::{Digest as _, Sha256};
use std::fmt::Write as _;

/// SHA-256 of `bytes` in hexadecimal, as `sha256sum` prints it.
pub fn sha256_hex(bytes: &[u8]) -> String {
    hexadecimal(&Sha256::digest(bytes))
}

/// A hash that is taken piece by piece, in memory that does not grow.
#[derive(Clone, Default)]
pub struct Hash {
    digest: Sha256,
    bytes: u64,
}

impl Hash {
    /// Takes the next piece.
    pub fn update(&mut self, piece: &[u8]) {
        self.digest.update(piece);
        self.bytes += piece.len() as u64;
    }
    /// Takes everything a reader still gives.
    ///
    /// # Errors
    /// The reader's own.
    pub fn read(&mut self, mut reader: impl std::io::Read) -> std::io::Result<()> {
        let mut piece = vec![0; 1 << 16];
        loop {
            match reader.read(&mut piece)? {
                0 => return Ok(()),
                length => self.update(&piece[..length]),
            }
        }
    }
    /// How many bytes were taken.
    pub fn bytes(&self) -> u64 {
        self.bytes
    }
    /// The hash in hexadecimal, as `sha256sum` prints it.
    pub fn hexadecimal(self) -> String {
        hexadecimal(&self.digest.finalize())
    }
}

fn hexadecimal(digest: &[u8]) -> String {
    digest.iter().fold(String::with_capacity(64), |mut hex, byte| {
        // Writing to a string cannot fail.
        let _ = write!(hex, "{byte:02x}");
        hex
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// FIPS 180-2, appendix B.1 (from memory).
    #[test]
    fn the_hash_of_abc_is_the_published_one() {
        assert_eq!(sha256_hex(b"abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
        let mut hash = Hash::default();
        hash.update(b"a");
        hash.read(&b"bc"[..]).expect("bytes can be read");
        assert_eq!((hash.bytes(), hash.hexadecimal()), (3, sha256_hex(b"abc")));
    }
}
