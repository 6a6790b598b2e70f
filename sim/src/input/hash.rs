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

/// The same of everything a reader gives, in memory that does not grow.
///
/// # Errors
/// The reader's own.
pub fn sha256_of_reader(mut reader: impl std::io::Read) -> std::io::Result<String> {
    let mut hash = Sha256::new();
    let mut piece = vec![0; 1 << 16];
    loop {
        match reader.read(&mut piece)? {
            0 => return Ok(hexadecimal(&hash.finalize())),
            length => hash.update(&piece[..length]),
        }
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
        assert_eq!(sha256_of_reader(&b"abc"[..]).expect("bytes can be read"), sha256_hex(b"abc"));
    }
}
