//! Numbers into text cells.
//!
//! Decides: with how many digits a reading or a time is written.
//! Assumes: whoever reads it back needs the resolution of the core, no more.
//! Never: writes a number that the core would read back as another one.

use super::row::raw_from_value;
use bandward::Channel;
use std::io::Write;

/// Decimals that tell apart the finest steps of an angle: 2^-32 turn is 8.4e-8 degrees.
const SPINDLE_DECIMALS: u32 = 8;

/// Writes a reading with the fewest decimals from which the core takes the same value. A reading
/// beyond the range of the core is written as the end of the range.
pub fn push_reading(line: &mut Vec<u8>, channel: Channel, value: f64) {
    if channel == Channel::Spindle {
        return push_angle(line, value);
    }
    let raw = i64::from(raw_from_value(channel, value));
    let bits = channel.fraction_bits();
    // Ends at the latest where a decimal step is finer than one of the core.
    for decimals in 0.. {
        let tens = 10_i64.pow(decimals);
        let wanted = raw * tens;
        let number = (wanted + (1 << (bits - 1))) >> bits;
        if 2 * ((number << bits) - wanted).abs() < tens {
            return push_decimal(line, number, decimals);
        }
    }
}

/// Whole turns are kept, so that an angle that runs on does.
fn push_angle(line: &mut Vec<u8>, degrees: f64) {
    let raw = raw_from_value(Channel::Spindle, degrees);
    for decimals in 0..=SPINDLE_DECIMALS {
        let tens = 10_f64.powi(decimals as i32);
        let number = (degrees * tens).round();
        // Beyond this a double holds no fraction anyway.
        let is_whole = number.abs() < 9e15;
        if is_whole && raw_from_value(Channel::Spindle, number / tens) == raw {
            return push_decimal(line, number as i64, decimals);
        }
    }
    push(line, format_args!("{degrees}"));
}

/// Writes microseconds as seconds, without zeros at the end.
pub fn push_seconds(line: &mut Vec<u8>, time_us: u64) {
    push(line, format_args!("{}", time_us / 1_000_000));
    let mut fraction = time_us % 1_000_000;
    if fraction > 0 {
        let mut width = 6;
        while fraction.is_multiple_of(10) {
            fraction /= 10;
            width -= 1;
        }
        push(line, format_args!(".{fraction:0width$}"));
    }
}

fn push_decimal(line: &mut Vec<u8>, number: i64, decimals: u32) {
    let (whole, fraction) =
        (number.unsigned_abs() / 10_u64.pow(decimals), number.unsigned_abs() % 10_u64.pow(decimals));
    let sign = if number < 0 { "-" } else { "" };
    let width = decimals as usize;
    if decimals == 0 {
        push(line, format_args!("{sign}{whole}"));
    } else {
        push(line, format_args!("{sign}{whole}.{fraction:0width$}"));
    }
}

fn push(line: &mut Vec<u8>, text: std::fmt::Arguments<'_>) {
    line.write_fmt(text).unwrap_or_else(|_| unreachable!("a vector takes what is written to it"));
}

#[cfg(test)]
mod tests {
    use super::super::row::value_from_raw;
    use super::*;

    fn written(channel: Channel, value: f64) -> String {
        let mut line = Vec::new();
        push_reading(&mut line, channel, value);
        String::from_utf8(line).unwrap()
    }

    #[test]
    fn readings_have_no_more_digits_than_they_need() {
        for (channel, value, expected) in [
            (Channel::Voltage, 24.7, "24.7"),
            (Channel::Voltage, -0.05, "-0.05"),
            (Channel::Voltage, 1.0 / 4096.0, "0.0002"),
            (Channel::Voltage, -0.0, "0"),
            (Channel::Current, 275.125, "275.125"),
            (Channel::Voltage, 31.249_999, "31.25"),
            (Channel::Voltage, f64::INFINITY, "524287.9998"),
            (Channel::Spindle, 90.0, "90"),
            (Channel::Spindle, 725.3, "725.3"),
            (Channel::Spindle, -0.25, "-0.25"),
            (Channel::Spindle, 1e300, &format!("{}", 1e300)),
        ] {
            assert_eq!(written(channel, value), expected, "{channel:?} {value}");
        }
    }

    #[test]
    fn every_core_value_comes_back() {
        for channel in Channel::ALL {
            let raws = (-5000..5000).map(|step| step * 429_001).chain([i32::MIN, i32::MAX, -1, 0, 1]);
            for raw in raws {
                let text = written(channel, value_from_raw(channel, raw));
                assert_eq!(raw_from_value(channel, text.parse().unwrap()), raw, "{channel:?} {text}");
            }
        }
    }

    #[test]
    fn times_lose_their_trailing_zeros() {
        for (time_us, expected) in
            [(0, "0"), (20_000, "0.02"), (1_000_001, "1.000001"), (90_000_000, "90"), (1_234_500, "1.2345")]
        {
            let mut line = Vec::new();
            push_seconds(&mut line, time_us);
            assert_eq!(String::from_utf8(line).unwrap(), expected);
        }
    }
}
