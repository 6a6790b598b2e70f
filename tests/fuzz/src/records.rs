//! Records of joints as `replay --json` tells them, and the courses that a recording keeps.
//!
//! Decides: that a file of records is read or refused with its name and line, that drift is looked for in whatever was
//! read, and that a course keeps the extremes of every stretch as all values kept one by one tell them.
//! Assumes: nothing of the bytes.
//! Never: says what a drift is.

use crate::bytes::Bytes;
use crate::told;
use bandward_sim::recording::envelope::Envelope;
use bandward_sim::trend::{Options, Trend, record};

const FILE: &str = "any.json";

fn text(bytes: &mut Bytes<'_>) {
    let text = String::from_utf8_lossy(bytes.rest());
    match record::read(FILE, &text) {
        Err(errors) => told::check(&errors, FILE, &text),
        Ok(read) => {
            let joints = read.records.len();
            match Trend::of(read.records, None, Options::default()) {
                Ok(trend) => {
                    assert_eq!(trend.records.len(), joints);
                    assert!(trend.flagged().all(|joint| joint < joints));
                }
                Err(problem) => assert!(!problem.trim().is_empty()),
            }
        }
    }
}

fn course(bytes: &mut Bytes<'_>) {
    let (start_us, width_us) = (u64::from(bytes.word()), u64::from(bytes.byte()));
    let capacity = usize::from(bytes.byte());
    let mut envelope = Envelope::new(start_us, width_us, capacity);
    let mut values = Vec::new();
    let mut now_us = start_us;
    while !bytes.is_empty() && values.len() < 2_000 {
        let step = u64::from(bytes.byte());
        now_us = match bytes.byte() % 8 {
            0 => now_us.saturating_sub(step),
            1 => now_us.saturating_add(step << 32),
            2 => u64::MAX - step,
            _ => now_us + step,
        }
        .min(u64::MAX >> 1);
        let value = f64::from(f32::from_bits(bytes.word()));
        envelope.push(now_us, value);
        values.push((now_us, value as f32));
    }
    values.retain(|(_, value)| value.is_finite());
    let stretches = envelope.stretches();
    assert!(stretches.len() <= capacity.max(2));
    // It is a whole number of microseconds that a double holds here, or the claim is left out.
    let width_us = (envelope.width_s() * 1e6).round() as u64;
    if width_us > 1 << 45 {
        return;
    }
    for (index, stretch) in stretches.iter().enumerate() {
        let own =
            values.iter().filter(|(at_us, _)| at_us.saturating_sub(start_us) / width_us == index as u64);
        let (low, high) = own.fold((f32::INFINITY, f32::NEG_INFINITY), |(low, high), (_, value)| {
            (low.min(*value), high.max(*value))
        });
        assert_eq!((stretch.low, stretch.high), (low, high), "stretch {index} of {width_us} us");
    }
    let beyond =
        values.iter().any(|(at_us, _)| at_us.saturating_sub(start_us) / width_us >= stretches.len() as u64);
    assert!(!beyond, "a value is in no stretch");
}

/// What it is, then the bytes.
pub fn target(bytes: &[u8]) {
    let bytes = &mut Bytes::new(bytes);
    // A brace or a bracket begins a record as it lies on a disk.
    match bytes.byte() {
        0 => course(bytes),
        _ => text(bytes),
    }
}
