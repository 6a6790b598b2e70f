//! Samples as differences: a few bytes an instant instead of some fifty, without any loss.
//!
//! Decides: the form of a block. One sample after another, each relative to the one before; the
//! first relative to time 0, step 0, no channel, all readings 0, so that every block stands alone.
//!
//! | part | when | form |
//! |---|---|---|
//! | flags | always | bit 0: the step in time changed; bit 1: other channels than before |
//! | change of the step | bit 0 | zigzag LEB128 of the difference of the steps, wrapping, µs |
//! | channels | bit 1 | LEB128 of [`ChannelSet::to_bits`] |
//! | a reading, for each channel present | always | zigzag LEB128 of the wrapping difference, raw |
//!
//! Assumes: the receiver has the whole block.
//! Never: writes part of a sample; trusts a block it reads.

use crate::sample::{Channel, ChannelSet, Sample};

/// No sample takes more bytes: flags, a 64-bit step, the channels and nine 32-bit readings.
pub const LONGEST_SAMPLE: usize = 1 + 10 + 2 + Channel::COUNT * 5;

/// Flags and two readings of a word each.
const LONGEST_ALIKE: usize = 1 + 2 * 4;

const NEW_STEP: u8 = 1;
const NEW_CHANNELS: u8 = 2;

/// A block does not hold what it should: it was cut short or changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Malformed;

/// What the next sample is told relative to.
#[derive(Clone, Copy, Debug)]
struct Before {
    time_us: u64,
    step_us: u64,
    channels: ChannelSet,
    readings: [i32; Channel::COUNT],
}

impl Before {
    const START: Self =
        Self { time_us: 0, step_us: 0, channels: ChannelSet::EMPTY, readings: [0; Channel::COUNT] };
}

/// Writes samples into a block.
#[derive(Clone, Debug)]
pub struct Encoder {
    before: Before,
}

impl Default for Encoder {
    fn default() -> Self {
        Self::new()
    }
}

impl Encoder {
    /// Starts a block.
    pub const fn new() -> Self {
        Self { before: Before::START }
    }
    /// Writes `sample` to the front of `free` and returns how many bytes it took; `None`, with
    /// nothing remembered, where it does not fit.
    pub fn push(&mut self, sample: &Sample, free: &mut [u8]) -> Option<usize> {
        if sample.is_just(ChannelSet::ELECTRICAL)
            && self.before.channels == ChannelSet::ELECTRICAL
            && self.before.step_us == sample.time_us.wrapping_sub(self.before.time_us)
        {
            return self.push_alike(sample, free);
        }
        self.push_unlike(sample, free)
    }
    /// Current and voltage where neither step nor channels changed, as nearly always on a board.
    #[inline]
    fn push_alike(&mut self, sample: &Sample, free: &mut [u8]) -> Option<usize> {
        let [amps, volts, ..] = &mut self.before.readings;
        let (new_amps, new_volts) = (sample.reading(Channel::Current), sample.reading(Channel::Voltage));
        let (first, second) = (change(*amps, new_amps), change(*volts, new_volts));
        let ((first_word, first_length), (second_word, second_length)) = (short(first), short(second));
        let length = first_length.wrapping_add(second_length).wrapping_add(1);
        let Some(free) = free.first_chunk_mut::<LONGEST_ALIKE>().filter(|_| first | second <= LARGEST_SHORT)
        else {
            let fits = first | second > LARGEST_SHORT || length <= free.len();
            return if fits { self.push_unlike(sample, free) } else { None };
        };
        (*amps, *volts, self.before.time_us) = (new_amps, new_volts, sample.time_us);
        let [flags, first_bytes @ .., _, _, _, _] = free;
        *flags = 0;
        *first_bytes = first_word.to_le_bytes();
        if let Some(second_bytes) =
            free.get_mut(first_length.wrapping_add(1)..).and_then(|rest| rest.first_chunk_mut())
        {
            *second_bytes = second_word.to_le_bytes();
        }
        Some(length)
    }
    /// Any sample.
    #[inline(never)]
    fn push_unlike(&mut self, sample: &Sample, free: &mut [u8]) -> Option<usize> {
        match free.first_chunk_mut::<LONGEST_SAMPLE>() {
            Some(free) => Some(self.write(sample, free)),
            None => self.push_if_it_fits(sample, free),
        }
    }
    #[inline(never)]
    fn push_if_it_fits(&mut self, sample: &Sample, free: &mut [u8]) -> Option<usize> {
        let (mut after, mut bytes) = (self.clone(), [0; LONGEST_SAMPLE]);
        let used = after.write(sample, &mut bytes);
        free.get_mut(..used)?.copy_from_slice(bytes.get(..used)?);
        *self = after;
        Some(used)
    }
    /// Writes it where there is room for the longest; returns how many bytes it took.
    #[inline(never)]
    fn write(&mut self, sample: &Sample, free: &mut [u8; LONGEST_SAMPLE]) -> usize {
        let before = &mut self.before;
        let mut writer = Writer { free: &mut free[..], written: 1 };
        let (step_us, channels) = (sample.time_us.wrapping_sub(before.time_us), sample.present());
        before.time_us = sample.time_us;
        let mut flags = 0;
        if step_us != before.step_us {
            flags |= NEW_STEP;
            writer.long(zigzag(step_us.wrapping_sub(before.step_us) as i64));
            before.step_us = step_us;
        }
        if channels != before.channels {
            flags |= NEW_CHANNELS;
            writer.number(u32::from(channels.to_bits()));
            before.channels = channels;
        }
        let mut rest = channels;
        while let Some(channel) = rest.first() {
            rest = rest.without(channel);
            if let Some(reading) = before.readings.get_mut(channel as usize) {
                writer.reading(reading, sample.reading(channel));
            }
        }
        let written = writer.written;
        free[0] = flags;
        written
    }
}

/// Reads the samples of a block, in order.
#[derive(Clone, Debug)]
pub struct Decoder<'a> {
    rest: &'a [u8],
    before: Before,
}

impl<'a> Decoder<'a> {
    /// Reads `block` from its start.
    pub fn new(block: &'a [u8]) -> Self {
        Self { rest: block, before: Before::START }
    }
    fn byte(&mut self) -> Result<u8, Malformed> {
        let (&byte, rest) = self.rest.split_first().ok_or(Malformed)?;
        self.rest = rest;
        Ok(byte)
    }
    fn number(&mut self) -> Result<u64, Malformed> {
        let mut value = 0_u64;
        for shift in (0..64).step_by(7) {
            let byte = self.byte()?;
            value |= u64::from(byte & 0x7f).wrapping_shl(shift);
            if byte & 0x80 == 0 {
                return Ok(value);
            }
        }
        Err(Malformed)
    }
    fn sample(&mut self) -> Result<Sample, Malformed> {
        let flags = self.byte()?;
        if flags > NEW_STEP | NEW_CHANNELS {
            return Err(Malformed);
        }
        if flags & NEW_STEP != 0 {
            let change = unzigzag(self.number()?);
            self.before.step_us = self.before.step_us.wrapping_add(change as u64);
        }
        if flags & NEW_CHANNELS != 0 {
            let bits = u16::try_from(self.number()?).map_err(|_| Malformed)?;
            self.before.channels = ChannelSet::from_bits(bits);
            if self.before.channels.to_bits() != bits {
                return Err(Malformed);
            }
        }
        self.before.time_us = self.before.time_us.wrapping_add(self.before.step_us);
        let mut sample = Sample::at(self.before.time_us);
        for (channel, index) in Channel::ALL.into_iter().zip(0..) {
            if self.before.channels.contains(channel) {
                let change = i32::try_from(unzigzag(self.number()?)).map_err(|_| Malformed)?;
                let reading = self.before.readings.get_mut::<usize>(index).ok_or(Malformed)?;
                *reading = reading.wrapping_add(change);
                sample = sample.with_raw(channel, *reading);
            }
        }
        Ok(sample)
    }
}

impl Iterator for Decoder<'_> {
    type Item = Result<Sample, Malformed>;

    /// The next sample; after an error there is nothing more.
    fn next(&mut self) -> Option<Self::Item> {
        if self.rest.is_empty() {
            return None;
        }
        let result = self.sample();
        if result.is_err() {
            self.rest = &[];
        }
        Some(result)
    }
}

struct Writer<'a> {
    free: &'a mut [u8],
    written: usize,
}

impl Writer<'_> {
    /// There is room for every byte of the longest sample.
    #[inline]
    fn byte(&mut self, byte: u8) {
        if let Some(slot) = self.free.get_mut(self.written) {
            *slot = byte;
            self.written = self.written.wrapping_add(1);
        }
    }
    /// How far a reading moved, and where it is now.
    #[inline]
    fn reading(&mut self, before: &mut i32, raw: i32) {
        self.number(change(*before, raw));
        *before = raw;
    }
    /// LEB128: seven bits a byte, lowest first, the top bit set on all but the last.
    #[inline]
    fn number(&mut self, value: u32) {
        let (word, length) = short(value);
        match self.free.get_mut(self.written..).and_then(|free| free.first_chunk_mut()) {
            Some(slot) if value <= LARGEST_SHORT => {
                *slot = word.to_le_bytes();
                self.written = self.written.wrapping_add(length);
            }
            _ => self.long_number(value),
        }
    }
    #[inline(never)]
    fn long_number(&mut self, mut value: u32) {
        while value > 0x7f {
            self.byte(value as u8 | 0x80);
            value >>= 7;
        }
        self.byte(value as u8);
    }
    fn long(&mut self, mut value: u64) {
        while value > 0x7f {
            self.byte(value as u8 | 0x80);
            value >>= 7;
        }
        self.byte(value as u8);
    }
}

/// How far a reading moved: small changes of either sign are small numbers.
#[inline]
const fn change(before: i32, raw: i32) -> u32 {
    let change = raw.wrapping_sub(before);
    (change.wrapping_shl(1) ^ (change >> 31)) as u32
}

/// What four bytes hold of seven bits each.
const LARGEST_SHORT: u32 = (1 << 28) - 1;

/// A number of at most so much in the bytes of one word, and how many of them it takes: without a loop, since two in
/// every sample are written so.
#[inline]
const fn short(value: u32) -> (u32, usize) {
    let spread = value & 0x7f
        | (value & 0x3f80).wrapping_shl(1)
        | (value & 0x1f_c000).wrapping_shl(2)
        | (value & 0xfe0_0000).wrapping_shl(3);
    // Where the last byte begins.
    let last = ((spread | 1).leading_zeros() ^ 31) & 0x18;
    let all_but_last = 1_u32.wrapping_shl(last).wrapping_sub(1);
    (spread | 0x80_8080 & all_but_last, (last as usize >> 3).wrapping_add(1))
}

/// Small differences of either sign become small numbers.
const fn zigzag(value: i64) -> u64 {
    (value.wrapping_shl(1) ^ (value >> 63)) as u64
}

const fn unzigzag(value: u64) -> i64 {
    (value >> 1) as i64 ^ (value as i64 & 1).wrapping_neg()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::vec::Vec;

    fn round_trip(samples: &[Sample]) -> usize {
        let mut block = [0; 4096];
        let mut encoder = Encoder::new();
        let mut used = 0;
        for sample in samples {
            used += encoder.push(sample, &mut block[used..]).unwrap();
        }
        let back: Result<Vec<_>, _> = Decoder::new(&block[..used]).collect();
        assert_eq!(back.unwrap(), samples);
        used
    }

    #[test]
    fn samples_come_back_to_the_bit() {
        let extremes = Channel::ALL.into_iter().fold(Sample::at(u64::MAX), |sample, channel| {
            sample.with_raw(channel, if (channel as u8).is_multiple_of(2) { i32::MIN } else { i32::MAX })
        });
        let opposite = Channel::ALL.into_iter().fold(Sample::at(0), |sample, channel| {
            sample.with_raw(channel, if (channel as u8).is_multiple_of(2) { i32::MAX } else { i32::MIN })
        });
        let used = round_trip(&[extremes, opposite, Sample::at(3), extremes, Sample::at(1)]);
        assert!(used <= 5 * LONGEST_SAMPLE);
    }

    #[test]
    fn a_steady_pair_takes_three_bytes() {
        let steady: Vec<_> = (0..100)
            .map(|i| {
                Sample::at(i * 100).with_raw(Channel::Current, 70_000).with_raw(Channel::Voltage, 110_000)
            })
            .collect();
        assert!(round_trip(&steady) <= 3 * 100 + 16);
    }

    #[test]
    fn what_does_not_fit_is_not_remembered() {
        let sample = Sample::at(1_000_000).with_raw(Channel::Current, 70_000);
        let mut encoder = Encoder::new();
        let whole = encoder.clone().push(&sample, &mut [0; 64]).unwrap();
        for room in 0..whole {
            assert_eq!(encoder.push(&sample, &mut [0; 64][..room]), None);
        }
        let mut block = [0; 64];
        assert_eq!(encoder.push(&sample, &mut block), Some(whole));
        assert_eq!(Decoder::new(&block[..whole]).next(), Some(Ok(sample)));
        for room in 1..whole {
            assert_eq!(Decoder::new(&block[..room]).last(), Some(Err(Malformed)));
        }
    }

    /// Changes of every length on either side, into every room from none to more than enough.
    #[test]
    fn a_pair_goes_into_as_many_bytes_as_it_takes_and_no_fewer() {
        let pair = |time_us, amps, volts| {
            Sample::at(time_us).with_raw(Channel::Current, amps).with_raw(Channel::Voltage, volts)
        };
        let reaches =
            [0, 63, -64, 64, 8191, -8193, 1 << 20, -(1 << 20) - 1, (1 << 27) - 1, 1 << 27, i32::MIN];
        for (amps, volts) in reaches.into_iter().flat_map(|amps| reaches.map(|volts| (amps, volts))) {
            let (mut block, mut encoder) = ([0; 256], Encoder::new());
            let mut used = 0;
            for time_us in [100, 200] {
                used += encoder.push(&pair(time_us, 0, 0), &mut block[used..]).unwrap();
            }
            let sample = pair(300, amps, volts);
            let length = encoder.clone().push(&sample, &mut [0; 64]).unwrap();
            for room in 0..16 {
                let (mut block, mut encoder) = (block, encoder.clone());
                let pushed = encoder.push(&sample, &mut block[used..used + room]);
                assert_eq!(pushed, (room >= length).then_some(length), "{amps} {volts} into {room}");
                if pushed.is_some() {
                    let last = Decoder::new(&block[..used + length]).last();
                    assert_eq!(last, Some(Ok(sample)), "{amps} {volts} into {room}");
                }
            }
        }
    }
}
