//! Text in UTF-16, as spreadsheets and some loggers save it, read as UTF-8.
//!
//! Decides: whether text without a byte order mark is in UTF-16, and in which order: nearly every second byte of a
//! table is zero then.
//! Assumes: tables are mostly in ASCII.
//! Never: holds more than two blocks of fixed size.

use encoding_rs::{CoderResult, Decoder};
use std::io::{ErrorKind, Read, Result};

const BLOCK: usize = 1 << 14;

/// Which byte of a word comes first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WordOrder {
    /// The low one.
    LowFirst,
    /// The high one.
    HighFirst,
}

impl WordOrder {
    /// The order of text without a mark; `None` of anything else.
    pub fn of(head: &[u8]) -> Option<Self> {
        let is_letter = |byte: u8| byte >= b' ' || byte.is_ascii_whitespace();
        let is_mostly = |low: usize, high: usize| {
            let words = head.chunks_exact(2);
            let count = words.len();
            let ascii = words.filter(|word| word[high] == 0 && is_letter(word[low])).count();
            count >= LEAST_WORDS && 4 * ascii >= 3 * count
        };
        let low_first = is_mostly(0, 1).then_some(Self::LowFirst);
        low_first.or_else(|| is_mostly(1, 0).then_some(Self::HighFirst))
    }
}

/// Fewer words tell no order.
const LEAST_WORDS: usize = 4;

/// A stream in UTF-16, read as UTF-8; what is no character becomes the replacement character.
pub struct WideText<R> {
    input: R,
    decoder: Decoder,
    wide: Block,
    text: Block,
    at_end: bool,
    is_done: bool,
}

/// Bytes, of which `start..end` are not taken yet.
struct Block {
    bytes: Vec<u8>,
    start: usize,
    end: usize,
}

impl Block {
    fn new() -> Self {
        Self { bytes: vec![0; BLOCK], start: 0, end: 0 }
    }
    const fn is_empty(&self) -> bool {
        self.start == self.end
    }
}

impl<R: Read> WideText<R> {
    /// In an order, or one whose first bytes are the mark that tells it.
    pub fn new(input: R, order: Option<WordOrder>) -> Self {
        // A decoder takes the order from the mark, whichever it is, and takes the mark off.
        let decoder = match order {
            Some(WordOrder::HighFirst) => encoding_rs::UTF_16BE.new_decoder(),
            Some(WordOrder::LowFirst) | None => encoding_rs::UTF_16LE.new_decoder(),
        };
        Self { input, decoder, wide: Block::new(), text: Block::new(), at_end: false, is_done: false }
    }
    fn decode(&mut self) -> Result<()> {
        if self.wide.is_empty() && !self.at_end {
            let count = self.input.read(&mut self.wide.bytes)?;
            (self.wide.start, self.wide.end, self.at_end) = (0, count, count == 0);
        }
        let source = &self.wide.bytes[self.wide.start..self.wide.end];
        let (result, read, written, _) =
            self.decoder.decode_to_utf8(source, &mut self.text.bytes, self.at_end);
        self.wide.start += read;
        (self.text.start, self.text.end) = (0, written);
        self.is_done = self.at_end && result == CoderResult::InputEmpty;
        Ok(())
    }
}

impl<R: Read> Read for WideText<R> {
    fn read(&mut self, out: &mut [u8]) -> Result<usize> {
        while self.text.is_empty() && !self.is_done {
            match self.decode() {
                Err(error) if error.kind() == ErrorKind::Interrupted => {}
                other => other?,
            }
        }
        let count = out.len().min(self.text.end - self.text.start);
        out[..count].copy_from_slice(&self.text.bytes[self.text.start..self.text.start + count]);
        self.text.start += count;
        Ok(count)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Both orders, a character of two words (U+1F321), and a length that is no multiple of a block.
    #[test]
    fn both_orders_are_the_same_text() {
        let text = "Zeit;Temp °C;\u{1f321}\r\n".repeat(3000);
        for order in [u16::to_le_bytes, u16::to_be_bytes] {
            for mark in [Some(0xfeff), None] {
                let words = mark.into_iter().chain(text.encode_utf16());
                let wide: Vec<u8> = words.flat_map(order).collect();
                let told = mark.map_or_else(|| WordOrder::of(&wide), |_| None);
                let mut read = String::new();
                WideText::new(wide.as_slice(), told).read_to_string(&mut read).expect("it is in memory");
                assert!(read == text);
            }
        }
    }
}
