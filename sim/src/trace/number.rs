//! Numbers out of text cells.
//!
//! Decides: what counts as a number and as a missing reading, and how a time in seconds becomes
//! whole microseconds.
//! Assumes: cells as a logger writes them: plain decimals nearly always, exponents now and then.
//! Never: allocates on the way of a plain decimal; takes garbage for a missing reading.

/// The cell is not a number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NotANumber;

/// Powers of ten that a double holds exactly.
pub(super) const TENS: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18,
    1e19, 1e20, 1e21, 1e22,
];
/// Up to here every whole number is a double.
pub(super) const EXACT: u64 = 1 << 53;
/// More digits than this might not fit the 64 bits they are collected in.
const MOST_DIGITS: usize = 19;

/// A decimal without exponent: `digits / 10^decimals`.
#[derive(Clone, Copy)]
struct Plain {
    digits: u64,
    decimals: u32,
    negative: bool,
}

/// A cell without the blanks around it.
#[inline]
pub fn trim(cell: &[u8]) -> &[u8] {
    match cell {
        [first, .., last] if !first.is_ascii_whitespace() && !last.is_ascii_whitespace() => cell,
        _ => cell.trim_ascii(),
    }
}

/// The number in a cell; `None` where the reading is missing (an empty cell, or NaN).
///
/// `decimal` is the decimal mark, a point or a comma. The result is the double nearest to what is
/// written: a whole number below 2^53 divided by a power of ten up to 10^22 is one correctly
/// rounded operation (Clinger, *How to read floating point numbers accurately*, 1990); everything
/// else goes to the standard library.
///
/// # Errors
/// [`NotANumber`] where the cell holds something else.
pub fn reading(cell: &[u8], decimal: u8) -> Result<Option<f64>, NotANumber> {
    let cell = trim(cell);
    if cell.is_empty() {
        return Ok(None);
    }
    if let Some(plain) = plain(cell, decimal).filter(|plain| plain.digits <= EXACT) {
        let size = plain.digits as f64 / TENS[plain.decimals as usize];
        return Ok(Some(if plain.negative { -size } else { size }));
    }
    let value = any(cell, decimal)?;
    Ok(if value.is_nan() { None } else { Some(value) })
}

/// The number at the beginning of a cell and the text behind it, both trimmed.
pub fn split_unit(cell: &[u8]) -> (&[u8], &[u8]) {
    let cell = trim(cell);
    let is_number = |byte: &u8| byte.is_ascii_digit() || matches!(byte, b'.' | b',' | b'+' | b'-');
    let end = cell.iter().position(|byte| !is_number(byte)).unwrap_or(cell.len());
    (&cell[..end], trim(&cell[end..]))
}

/// Digits behind the decimal mark of a plain number; `None` of one with an exponent, and of what is none.
pub fn decimals(cell: &[u8], decimal: u8) -> Option<u32> {
    plain(trim(cell), decimal).map(|plain| plain.decimals)
}

/// A time in seconds as whole microseconds, rounded to nearest; `None` where the cell is empty or
/// NaN.
///
/// # Errors
/// [`NotANumber`] where the cell holds something else, or more than 2^63 microseconds.
pub fn micros(cell: &[u8], decimal: u8) -> Result<Option<i64>, NotANumber> {
    let cell = trim(cell);
    if cell.is_empty() {
        return Ok(None);
    }
    if let Some(size) = plain(cell, decimal) {
        let micros = if size.decimals <= 6 {
            u128::from(size.digits) * 10_u128.pow(6 - size.decimals)
        } else {
            let divisor = 10_u128.pow(size.decimals - 6);
            (u128::from(size.digits) + divisor / 2) / divisor
        };
        let micros = i64::try_from(micros).map_err(|_| NotANumber)?;
        return Ok(Some(if size.negative { -micros } else { micros }));
    }
    let seconds = any(cell, decimal)?;
    if seconds.is_nan() {
        return Ok(None);
    }
    whole(seconds * 1e6).map(Some)
}

/// Rounded to the nearest whole number.
///
/// # Errors
/// [`NotANumber`] beyond 2^63, and for NaN.
pub fn whole(value: f64) -> Result<i64, NotANumber> {
    let rounded = value.round();
    // 2^63 as a double: the first value that does not fit.
    if rounded.abs() < 9_223_372_036_854_775_808.0 { Ok(rounded as i64) } else { Err(NotANumber) }
}

/// Sign, digits and at most one decimal mark, nothing else.
#[inline]
fn plain(cell: &[u8], decimal: u8) -> Option<Plain> {
    let (negative, unsigned) = match cell {
        [b'-', rest @ ..] => (true, rest),
        [b'+', rest @ ..] | rest => (false, rest),
    };
    if unsigned.len() > MOST_DIGITS {
        return None;
    }
    let (whole, rest) = leading_digits(0, unsigned);
    let (digits, decimals) = match rest {
        [] if !unsigned.is_empty() => (whole, 0),
        [mark, fraction @ ..] if *mark == decimal && unsigned.len() > 1 => {
            let (digits, rest) = leading_digits(whole, fraction);
            if !rest.is_empty() {
                return None;
            }
            (digits, fraction.len() as u32)
        }
        _ => return None,
    };
    Some(Plain { digits, decimals, negative })
}

/// The digits at the start of a cell, put behind those of `number`, and what comes after them.
#[inline]
fn leading_digits(mut number: u64, mut cell: &[u8]) -> (u64, &[u8]) {
    while let [byte @ b'0'..=b'9', rest @ ..] = cell {
        number = number.wrapping_mul(10).wrapping_add(u64::from(byte - b'0'));
        cell = rest;
    }
    (number, cell)
}

/// Whatever the standard library takes for a number: exponents, many digits, infinity, NaN.
fn any(cell: &[u8], decimal: u8) -> Result<f64, NotANumber> {
    let text = std::str::from_utf8(cell).map_err(|_| NotANumber)?;
    if decimal == b'.' {
        return text.parse().map_err(|_| NotANumber);
    }
    if text.contains('.') {
        return Err(NotANumber);
    }
    text.replacen(char::from(decimal), ".", 1).parse().map_err(|_| NotANumber)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn plain_decimals_equal_the_standard_library() {
        for text in [
            "0",
            "-0",
            "1",
            "-1",
            "+7.5",
            "24.70",
            "0.1",
            ".5",
            "5.",
            "007.250",
            "8191.99975586",
            "9007199254740992",
            "9007199254740993",
            "123456789012345678",
            "1234567890123456789",
            "0.000000000000000001",
            "1e3",
            "-2.5E-4",
            "3.4028236e38",
            "inf",
            "-Infinity",
        ] {
            let expected: f64 = text.parse().unwrap();
            let got = reading(text.as_bytes(), b'.').unwrap().unwrap();
            assert_eq!(got.to_bits(), expected.to_bits(), "{text}");
            let comma = text.replace('.', ",");
            let got = reading(comma.as_bytes(), b',').unwrap().unwrap();
            assert_eq!(got.to_bits(), expected.to_bits(), "{comma}");
        }
    }

    #[test]
    fn missing_is_not_garbage() {
        for text in ["", " ", "\t", "NaN", "nan", "-nan", " NAN "] {
            assert_eq!(reading(text.as_bytes(), b'.'), Ok(None), "{text:?}");
            assert_eq!(micros(text.as_bytes(), b'.'), Ok(None), "{text:?}");
        }
        for text in ["abc", "1,5", "1.2.3", "-", "+", ".", "--1", "1 2", "12A", "0x10", "1e", "\u{b1}3"] {
            assert_eq!(reading(text.as_bytes(), b'.'), Err(NotANumber), "{text:?}");
            assert_eq!(micros(text.as_bytes(), b'.'), Err(NotANumber), "{text:?}");
        }
        assert_eq!(reading(b"1.5", b','), Err(NotANumber));
        assert_eq!(reading(b"1.5e3", b','), Err(NotANumber));
        assert_eq!(reading(b" 1,5 ", b','), Ok(Some(1.5)));
    }

    #[test]
    fn times_are_exact_to_the_microsecond() {
        for (text, expected) in [
            ("0", 0),
            ("0.02", 20_000),
            ("1.000001", 1_000_001),
            ("1.0000004999", 1_000_000),
            ("1.0000005", 1_000_001),
            ("1700000000.123456", 1_700_000_000_123_456),
            ("-0.5", -500_000),
            ("1e-6", 1),
            ("922337203685.477581", 922_337_203_685_477_581),
        ] {
            assert_eq!(micros(text.as_bytes(), b'.'), Ok(Some(expected)), "{text}");
        }
        for text in ["9223372036854.775808", "1e300", "inf", "-inf"] {
            assert_eq!(micros(text.as_bytes(), b'.'), Err(NotANumber), "{text}");
        }
    }
}
