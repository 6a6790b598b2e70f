//! The last seconds before a stop, sample by sample.
//!
//! Decides: what is kept: whole blocks of [`crate::delta`], the oldest block given up first.
//! Assumes: it is shown every sample, and told when the first stop alarm is raised.
//! Never: changes what it holds once frozen, until released.

use crate::delta::{Encoder, LONGEST_SAMPLE};
use crate::sample::Sample;

/// Keeps samples in `BLOCKS` blocks of `BYTES` bytes each. How far back that reaches depends on how
/// much the readings move: two electrical channels at full noise take about six bytes a sample.
///
/// ```
/// use bandward::{Sample, blackbox::BlackBox, delta::{Decoder, LONGEST_SAMPLE}, units::Current};
///
/// let mut black_box = BlackBox::<4, { 4 * LONGEST_SAMPLE }>::new();
/// let samples: Vec<_> = (0..8).map(|number| Sample::at(number * 100).current(Current::amps(320))).collect();
/// samples.iter().for_each(|sample| black_box.record(sample));
/// black_box.freeze();
/// black_box.record(&Sample::at(800)); // frozen: not taken
/// let kept = black_box.blocks().flat_map(Decoder::new).collect::<Result<Vec<_>, _>>();
/// assert_eq!(kept.as_deref(), Ok(&samples[..]));
/// ```
pub struct BlackBox<const BLOCKS: usize, const BYTES: usize> {
    blocks: [Block<BYTES>; BLOCKS],
    encoder: Encoder,
    /// The block being written; the one after it is the oldest once all are in use.
    newest: usize,
    /// The number of the newest block.
    newest_number: u32,
    /// Blocks that hold samples, up to the newest.
    held: usize,
    frozen: bool,
}

#[derive(Clone, Copy)]
struct Block<const BYTES: usize> {
    used: usize,
    bytes: [u8; BYTES],
}

impl<const BYTES: usize> Block<BYTES> {
    const EMPTY: Self = Self { used: 0, bytes: [0; BYTES] };
}

impl<const BLOCKS: usize, const BYTES: usize> Default for BlackBox<BLOCKS, BYTES> {
    fn default() -> Self {
        Self::new()
    }
}

impl<const BLOCKS: usize, const BYTES: usize> BlackBox<BLOCKS, BYTES> {
    /// Empty. A block too small for one sample, or fewer than two blocks, does not build.
    pub const fn new() -> Self {
        const { assert!(BLOCKS >= 2 && BYTES >= LONGEST_SAMPLE) };
        Self {
            blocks: [Block::EMPTY; BLOCKS],
            encoder: Encoder::new(),
            newest: 0,
            newest_number: 0,
            held: 0,
            frozen: false,
        }
    }
    /// Keeps a sample; nothing happens once frozen.
    #[inline]
    pub fn record(&mut self, sample: &Sample) {
        if self.frozen {
            return;
        }
        if self.held > 0 {
            if self.write(sample) {
                return;
            }
            self.begin_block();
        }
        self.held = self.held.saturating_add(1).min(BLOCKS);
        self.write(sample);
    }
    #[inline(never)]
    fn begin_block(&mut self) {
        self.newest = if self.newest.saturating_add(1) < BLOCKS { self.newest.saturating_add(1) } else { 0 };
        if let Some(block) = self.blocks.get_mut(self.newest) {
            block.used = 0;
        }
        self.newest_number = self.newest_number.wrapping_add(1);
        self.encoder = Encoder::new();
    }
    #[inline]
    fn write(&mut self, sample: &Sample) -> bool {
        let Some(block) = self.blocks.get_mut(self.newest) else { return false };
        let Some(free) = block.bytes.get_mut(block.used..) else { return false };
        let Some(taken) = self.encoder.push(sample, free) else { return false };
        block.used = block.used.saturating_add(taken);
        true
    }
    /// Keeps what it holds from now on.
    pub fn freeze(&mut self) {
        self.frozen = true;
    }
    /// Is it frozen?
    pub const fn is_frozen(&self) -> bool {
        self.frozen
    }
    /// Forgets what it holds and records again.
    pub fn release(&mut self) {
        self.frozen = false;
        self.held = 0;
        self.begin_block();
    }
    /// The oldest block with this number or a later one, and its number. Numbers count on and are not given
    /// twice, so that a reader sees what was given up between two calls.
    pub fn block_from(&self, from: u32) -> Option<(u32, &[u8])> {
        let held = u32::try_from(self.held).unwrap_or(u32::MAX);
        let oldest = self.newest_number.wrapping_add(1).wrapping_sub(held);
        let number = from.max(oldest);
        let skipped = usize::try_from(number.wrapping_sub(oldest)).ok()?;
        self.block(skipped).map(|block| (number, block))
    }
    /// The blocks that hold samples, oldest first.
    pub fn blocks(&self) -> impl Iterator<Item = &[u8]> {
        (0..self.held).filter_map(|number| self.block(number))
    }
    /// The block after so many older ones.
    fn block(&self, skipped: usize) -> Option<&[u8]> {
        let back = self.held.checked_sub(skipped.saturating_add(1))?;
        let place = match self.newest.checked_sub(back) {
            Some(place) => place,
            None => self.newest.saturating_add(BLOCKS).saturating_sub(back),
        };
        self.blocks.get(place).and_then(|block| block.bytes.get(..block.used))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::delta::Decoder;
    use crate::sample::Channel;
    use std::vec::Vec;

    fn sample(i: u64) -> Sample {
        let noise = (i.wrapping_mul(2_654_435_761) >> 7) as i32 % 4000;
        Sample::at(i * 100)
            .with_raw(Channel::Current, 70_000 + noise)
            .with_raw(Channel::Voltage, 110_000 - noise)
    }

    fn held<const BLOCKS: usize, const BYTES: usize>(black_box: &BlackBox<BLOCKS, BYTES>) -> Vec<Sample> {
        black_box.blocks().flat_map(|block| Decoder::new(block).map(Result::unwrap)).collect()
    }

    #[test]
    fn holds_an_unbroken_run_up_to_the_newest_sample_at_every_step() {
        let mut black_box = BlackBox::<4, 64>::new();
        for i in 0..500 {
            black_box.record(&sample(i));
            let held = held(&black_box);
            let first = i + 1 - held.len() as u64;
            assert_eq!(held, (first..=i).map(sample).collect::<Vec<_>>());
        }
        assert!(held(&black_box).len() >= 3 * 64 / 10);
    }

    #[test]
    fn blocks_have_numbers_that_are_not_given_twice() {
        let mut black_box = BlackBox::<4, 64>::new();
        assert_eq!(black_box.block_from(0), None);
        (0..500).for_each(|i| black_box.record(&sample(i)));
        let mut numbers = Vec::new();
        let mut bytes = Vec::new();
        while let Some((number, block)) = black_box.block_from(numbers.last().map_or(0, |last| last + 1)) {
            numbers.push(number);
            bytes.push(block);
        }
        assert_eq!(bytes, black_box.blocks().collect::<Vec<_>>());
        assert_eq!(numbers.len(), 4);
        assert!(numbers.windows(2).all(|pair| pair[1] == pair[0] + 1));
        let newest = numbers[3];
        black_box.release();
        black_box.record(&sample(501));
        assert_eq!(black_box.block_from(0).map(|(number, _)| number), Some(newest + 1));
    }

    #[test]
    fn frozen_it_keeps_released_it_forgets() {
        let mut black_box = BlackBox::<2, 64>::new();
        black_box.record(&sample(1));
        black_box.freeze();
        black_box.record(&sample(2));
        assert!(black_box.is_frozen());
        assert_eq!(held(&black_box), [sample(1)]);
        black_box.release();
        assert_eq!(held(&black_box), []);
        black_box.record(&sample(3));
        assert_eq!(held(&black_box), [sample(3)]);
    }
}
