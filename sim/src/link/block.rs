//! A block of samples of a bench test.
//!
//! Decides: how many samples go into one: as many as fit a frame.
//! Never: takes half of a sample.

use bandward::Sample;
use bandward::delta::Encoder;
use bandward::link::LONGEST_PIECE;

/// Samples one after the other, as they are sent.
pub(super) struct Block {
    encoder: Encoder,
    bytes: [u8; LONGEST_PIECE],
    used: usize,
}

impl Default for Block {
    fn default() -> Self {
        Self { encoder: Encoder::new(), bytes: [0; LONGEST_PIECE], used: 0 }
    }
}

impl Block {
    /// Adds a sample; false where it does not fit.
    pub(super) fn push(&mut self, sample: &Sample) -> bool {
        match self.encoder.push(sample, &mut self.bytes[self.used..]) {
            Some(taken) => {
                self.used += taken;
                true
            }
            None => false,
        }
    }
    /// What is to be sent.
    pub(super) fn bytes(&self) -> &[u8] {
        &self.bytes[..self.used]
    }
}
