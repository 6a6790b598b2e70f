//! A line of plain numbers, read eight bytes at a time.
//!
//! Decides: whether a line is so plain that there is one way only to read it: as many cells as the header has, in each
//! column that counts a decimal of at most sixteen characters and a minus, or nothing; no quote, no blank.
//! Assumes: whoever asks reads a line that is not plain the long way.
//! Never: reads a line otherwise than the long way does, or beyond its end.

use super::number::{EXACT, TENS};

/// What the columns of such a line are.
#[derive(Clone, Debug)]
pub struct PlainLine {
    delimiter: u8,
    decimal: u8,
    /// What each column holds, from the first to the last.
    cells: Vec<Holds>,
}

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Holds {
    /// The time.
    Time,
    /// The reading of this number.
    Reading(usize),
    /// What nobody asked for.
    Nothing,
}

/// The most readings a line has.
pub const MOST: usize = bandward::Channel::COUNT;
/// A header with more cells has no plain lines.
const MOST_CELLS: usize = 32;

/// What stands in a line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Numbers {
    /// The time.
    pub time: Decimal,
    /// The readings; NaN where a cell is empty.
    pub readings: [f64; MOST],
}

impl Numbers {
    /// Nothing.
    pub const NONE: Self = Self { time: Decimal::NOTHING, readings: [f64::NAN; MOST] };
}

/// A decimal: `digits / 10^decimals`; or an empty cell.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Decimal {
    /// At most [`EXACT`].
    digits: u64,
    decimals: u32,
    is_negative: bool,
    is_there: bool,
}

impl Decimal {
    const NOTHING: Self = Self { digits: 0, decimals: 0, is_negative: false, is_there: false };

    /// Numerator and denominator, of which the quotient is the nearest double; see [`super::number::reading`].
    #[inline]
    fn fraction(self) -> (f64, f64) {
        // As signed, which is one instruction.
        let size = self.digits as i64 as f64;
        let size = f64::from_bits(size.to_bits() | u64::from(self.is_negative) << 63);
        (if self.is_there { size } else { f64::NAN }, TENS[self.decimals as usize])
    }
    /// The nearest double.
    pub fn value(self) -> f64 {
        let (numerator, denominator) = self.fraction();
        numerator / denominator
    }
    /// Of seconds the microseconds, where they are whole.
    #[inline]
    pub fn micros(self) -> Option<i64> {
        const MICRO: [u64; 7] = [1_000_000, 100_000, 10_000, 1000, 100, 10, 1];
        let micros = self.digits.checked_mul(*MICRO.get(self.decimals as usize)?)?;
        let micros = i64::try_from(micros).ok()?;
        Some(if self.is_negative { -micros } else { micros })
    }
}

/// The top bit of each byte.
const TOPS: u64 = u64::from_le_bytes([0x80; 8]);
const ZEROS: u64 = u64::from_le_bytes([b'0'; 8]);

impl PlainLine {
    /// Of these columns; `None` where such a line may be read in two ways.
    pub fn new(delimiter: u8, decimal: u8, cells: Vec<Holds>) -> Option<Self> {
        let is_of_a_number =
            |byte: u8| byte.is_ascii_digit() || matches!(byte, b'+' | b'-' | b'"' | b'\r' | b'\n');
        let is_clear = delimiter != decimal && !is_of_a_number(delimiter) && !is_of_a_number(decimal);
        let has_a_time = cells.iter().filter(|&&cell| cell == Holds::Time).count() == 1;
        (is_clear && has_a_time && cells.len() <= MOST_CELLS).then_some(Self { delimiter, decimal, cells })
    }
    /// Reads the line at the beginning of `text`: its length with its end; `None` where it is not plain, or where the
    /// text does not go on for some bytes behind it.
    #[inline]
    pub fn read(&self, text: &[u8], into: &mut Numbers) -> Option<usize> {
        let mut ends = [0; MOST_CELLS];
        let count = self.ends(text, &mut ends)?;
        if count != self.cells.len() {
            return None;
        }
        let line = *ends.get(count - 1)?;
        if let Some(last) = line.checked_sub(1).filter(|&last| text.get(last) == Some(&b'\r')) {
            *ends.get_mut(count - 1)? = last;
        }
        let (mut numerators, mut denominators) = ([f64::NAN; MOST], [1.0; MOST]);
        let mut start = 0;
        for (&cell, &end) in self.cells.iter().zip(&ends) {
            let from = std::mem::replace(&mut start, end + 1);
            if cell == Holds::Nothing {
                if text.get(from..end)?.contains(&b'"') {
                    return None;
                }
                continue;
            }
            let decimal = self.decimal(text, from, end)?;
            if let Holds::Reading(number) = cell {
                (*numerators.get_mut(number)?, *denominators.get_mut(number)?) = decimal.fraction();
            } else {
                into.time = decimal;
            }
        }
        // Together, since several are divided at once.
        into.readings = std::array::from_fn(|at| numerators[at] / denominators[at]);
        into.time.is_there.then_some(line + 1)
    }

    /// Where each cell of the line ends; how many there are.
    #[inline]
    fn ends(&self, text: &[u8], ends: &mut [usize; MOST_CELLS]) -> Option<usize> {
        let mut count = 0;
        for (number, block) in text.as_chunks::<64>().0.iter().enumerate() {
            let line_end = marked(block, b'\n');
            // Those before the end of the line.
            let mut marks = marked(block, self.delimiter) & !line_end & line_end.wrapping_sub(1);
            while marks != 0 {
                *ends.get_mut(count)? = 64 * number + marks.trailing_zeros() as usize;
                count += 1;
                marks &= marks - 1;
            }
            if line_end != 0 {
                *ends.get_mut(count)? = 64 * number + line_end.trailing_zeros() as usize;
                return Some(count + 1);
            }
        }
        None
    }
    /// Reads the cell from `start` to `end`. Where the point lies, and whether there is a minus, changes from row to row:
    /// no branch depends on it.
    #[inline]
    fn decimal(&self, text: &[u8], start: usize, end: usize) -> Option<Decimal> {
        let bytes = u64::from_le_bytes(*text.get(start..)?.first_chunk()?);
        let is_negative = bytes as u8 == b'-';
        let minus = u32::from(is_negative);
        let length = (end - start) as u32;
        if length > 8 {
            return self.long(text, start, end);
        }
        if length == 0 {
            return Some(Decimal::NOTHING);
        }
        let length = length - minus;
        let bytes = bytes >> (8 * minus);
        let within = u64::MAX.checked_shr(64 - 8 * length).unwrap_or(0);
        let digits = (bytes ^ ZEROS) & within;
        let others = others(digits) & within;
        let first = others.trailing_zeros() & !7;
        let point = u32::from(others != 0);
        let is_point = bytes.checked_shr(first).unwrap_or(0) as u8 == self.decimal;
        let count = length - point;
        if others & others.wrapping_sub(1) != 0 || others != 0 && !is_point || count == 0 {
            return None;
        }
        // The place of the point is closed up.
        let below = 1_u64.checked_shl(first).unwrap_or(0).wrapping_sub(1);
        let digits = digits & below | digits >> (8 * point) & !below;
        let decimals = point * (count - (first / 8).min(count));
        Some(Decimal { digits: eight(digits, count), decimals, is_negative, is_there: true })
    }
    /// A cell of more than eight bytes.
    fn long(&self, text: &[u8], start: usize, end: usize) -> Option<Decimal> {
        let is_negative = text.get(start) == Some(&b'-');
        let cell = text.get(start + usize::from(is_negative)..end).filter(|cell| cell.len() <= 16)?;
        let (mut digits, mut point) = (0, None);
        for (place, &byte) in cell.iter().enumerate() {
            match byte {
                b'0'..=b'9' => digits = 10 * digits + u64::from(byte - b'0'),
                _ if byte == self.decimal && point.is_none() => point = Some(place),
                _ => return None,
            }
        }
        let decimals = point.map_or(0, |point| cell.len() - 1 - point) as u32;
        (digits <= EXACT).then_some(Decimal { digits, decimals, is_negative, is_there: true })
    }
}

/// A bit for each byte of a block that is this one, the lowest for the first.
#[inline]
fn marked(block: &[u8; 64], wanted: u8) -> u64 {
    // The top bits of eight bytes, one beside the other.
    const GATHER: u64 = 0x0102_0408_1020_4080;
    let marks = block.map(|byte| u8::from(byte == wanted));
    let (words, _) = marks.as_chunks::<8>();
    words.iter().enumerate().fold(0, |all, (number, &word)| {
        let bits = u64::from_le_bytes(word).wrapping_mul(GATHER) >> 56;
        all | bits << (8 * number)
    })
}

/// The top bit of each byte that is no digit, of bytes from which `0` was taken.
#[inline]
const fn others(digits: u64) -> u64 {
    // 10 and 0x76 are 0x80; what is beyond 0x7f is no digit anyway.
    (((digits & !TOPS) + u64::from_le_bytes([0x76; 8])) | digits) & TOPS
}

/// The number that the first `count` digits of a word are, at least one.
#[inline]
fn eight(digits: u64, count: u32) -> u64 {
    const PAIR: u64 = 0x0000_00ff_0000_00ff;
    // Noughts before it.
    let digits = digits << ((64 - 8 * count) & 63);
    // Pairs, then fours, then all: every product stays within its place.
    let pairs = digits.wrapping_mul(10).wrapping_add(digits >> 8);
    let low = (pairs & PAIR).wrapping_mul(100 + (1_000_000 << 32));
    let high = (pairs >> 16 & PAIR).wrapping_mul(1 + (10_000 << 32));
    low.wrapping_add(high) >> 32
}

#[cfg(test)]
mod tests {
    use super::super::number;
    use super::*;
    use Holds::{Nothing, Reading, Time};

    /// What follows a line, so that there are bytes to look at.
    const MORE: &str =
        "\n1,2,3,4,5,6,7,8,9,10,11,12,13,14,15,16,17,18,19,20,21,22,23,24,25,26,27,28,29,30,31,32,33";

    fn read(line: &str, decimal: u8, cells: &[Holds]) -> Option<(usize, Option<i64>, Vec<f64>)> {
        let delimiter = if decimal == b',' { b';' } else { b',' };
        let mut numbers = Numbers::NONE;
        let plain = PlainLine::new(delimiter, decimal, cells.to_vec()).expect("two ways are none");
        let length = plain.read(format!("{line}{MORE}{MORE}").as_bytes(), &mut numbers)?;
        let count = cells.iter().filter(|cell| matches!(cell, Reading(_))).count();
        Some((length, numbers.time.micros(), numbers.readings[..count].to_vec()))
    }

    #[test]
    fn a_number_is_what_the_long_way_says_it_is() {
        let texts = [
            "0",
            "-0",
            "7",
            "-7",
            "31.5",
            "-31.5",
            "0.0001",
            "12345678",
            "-1234567",
            "1234567.8",
            "-123456.7",
            "5.",
            ".5",
            "-.5",
            "007.250",
            "123456789",
            "310.1234",
            "1310.1234",
            "0.00000001",
            "8191.99975586",
            "-8191.99975586",
            "9007199254740992",
            "99999.9999999999",
        ];
        for text in texts {
            let expected = number::reading(text.as_bytes(), b'.').unwrap().unwrap();
            for (line, decimal) in
                [(format!("1.5,{text},"), b'.'), (format!("1.5;{text};").replace('.', ","), b',')]
            {
                let (length, time_us, got) =
                    read(&line, decimal, &[Time, Reading(0), Reading(1)]).expect(text);
                assert_eq!((length, time_us), (line.len() + 1, Some(1_500_000)), "{text}");
                assert_eq!(got[0].to_bits(), expected.to_bits(), "{text}");
                assert!(got[1].is_nan(), "an empty cell");
            }
            // Not every number is a time that fits.
            let time_us = number::micros(text.as_bytes(), b'.').ok().flatten();
            let line = format!("{text},1\r");
            let (length, got_us, _) = read(&line, b'.', &[Time, Reading(0)]).expect(text);
            assert_eq!(length, line.len() + 1);
            assert!(got_us.is_none() || got_us == time_us, "{text}: {got_us:?}");
        }
    }

    /// Every number of up to three digits on either side of the point.
    #[test]
    fn all_short_numbers_equal_the_long_way() {
        for whole in 0..1000_u32 {
            for (fraction, width) in [(0, 0), (0, 1), (7, 1), (5, 2), (99, 2), (10, 3), (999, 3)] {
                let point = if width == 0 { String::new() } else { format!(".{fraction:0width$}") };
                for sign in ["", "-"] {
                    let text = format!("{sign}{whole}{point}");
                    let (_, _, got) = read(&format!("{text},2"), b'.', &[Reading(0), Time]).expect(&text);
                    assert_eq!(Ok(Some(got[0])), number::reading(text.as_bytes(), b'.'), "{text}");
                }
            }
        }
    }

    #[test]
    fn what_has_to_be_looked_at_is_not_plain() {
        let cells = [Time, Reading(0), Nothing];
        assert!(read("1,2,any words, of a person", b'.', &[Time, Reading(0), Nothing, Nothing]).is_some());
        for line in [
            "",
            "1",
            "1,2",
            "1,2,3,4",
            ",2,3",
            "-,2,3",
            "1,-,3",
            "1,.,3",
            "1,-.,3",
            "1,1.2.3,3",
            "1, 2,3",
            "1,2 ,3",
            "1,+2,3",
            "1,1e3,3",
            "1,NaN,3",
            "1,2,\"3\"",
            "\"1\",2,3",
            "1,2\r,3",
            "1,--2,3",
            "1,2-,3",
            "1,2A,3",
            "1,\u{b1}3,4",
            "1,12345678901234567,3",
            "1,9007199254740993,3",
            "1,123456789.123456789,3",
        ] {
            assert_eq!(read(line, b'.', &cells), None, "{line}");
        }
        // Cut off, and with nothing behind it.
        let plain = PlainLine::new(b',', b'.', cells.to_vec()).expect("plain");
        for text in ["1,2,3", "1,2,3\n", ""] {
            assert_eq!(plain.read(text.as_bytes(), &mut Numbers::NONE.clone()), None);
        }
    }

    #[test]
    fn columns_that_may_be_read_in_two_ways_have_no_plain_lines() {
        assert!(PlainLine::new(b',', b',', vec![Time]).is_none());
        assert!(PlainLine::new(b'-', b'.', vec![Time]).is_none());
        assert!(PlainLine::new(b',', b'.', vec![Reading(0)]).is_none());
        assert!(PlainLine::new(b',', b'.', [vec![Time], vec![Nothing; MOST_CELLS]].concat()).is_none());
    }
}
