//! From the conversions of a channel to one count a sample.
//!
//! Decides: the filter between the converter and the samples: a cascaded integrator and comb of second order, which is
//! the same as two moving means of [`OVERSAMPLING`] conversions one after the other. The count is the sum, not the
//! mean, so that no bit is lost: [`GAIN`] times that of one conversion.
//! Assumes: conversions evenly spaced, [`OVERSAMPLING`] of them a sample.
//! Never: gives a count before the filter is full.

/// Conversions of every channel in a sample.
pub const OVERSAMPLING: usize = 8;

/// What a steady input is multiplied with: 64.
pub const GAIN: i32 = (OVERSAMPLING * OVERSAMPLING) as i32;

/// Samples that fill it: 15 conversions count.
const FULL: u8 = 2;

/// The filter of one channel.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Decimator {
    /// Sum of the conversions, and the sum of those sums. Both wrap, which the two differences undo.
    sums: [u32; 2],
    /// What the two differences are taken from.
    before: [u32; 2],
    /// Samples that went in, up to those that fill it.
    filled: u8,
}

impl Decimator {
    /// Empty.
    pub const EMPTY: Self = Self { sums: [0; 2], before: [0; 2], filled: 0 };

    /// The conversions of one sample go in; a count comes out once there were enough of them.
    pub fn take(&mut self, conversions: impl Iterator<Item = u16>) -> Option<i32> {
        let [mut first, mut second] = self.sums;
        for conversion in conversions {
            first = first.wrapping_add(u32::from(conversion));
            second = second.wrapping_add(first);
        }
        self.sums = [first, second];
        let [sum_before, difference_before] = self.before;
        let difference = second.wrapping_sub(sum_before);
        let count = difference.wrapping_sub(difference_before);
        self.before = [second, difference];
        self.filled = self.filled.saturating_add(1).min(FULL);
        (self.filled == FULL).then(|| count.cast_signed())
    }
}
