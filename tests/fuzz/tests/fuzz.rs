//! The program that libFuzzer drives; the target is named by `BANDWARD_FUZZ_TARGET`.
//!
//! Decides: that a panic which somebody catches is none: the decoder of Parquet files panics on some damaged ones.

#![no_main]

use bandward_fuzz::TARGETS;
use std::sync::OnceLock;

static TARGET: OnceLock<fn(&[u8])> = OnceLock::new();

fn choose() {
    let name = std::env::var("BANDWARD_FUZZ_TARGET").unwrap_or_default();
    let names = TARGETS.map(|(name, _)| name).join(", ");
    let (_, target) = TARGETS
        .into_iter()
        .find(|(one, _)| *one == name)
        .unwrap_or_else(|| panic!("BANDWARD_FUZZ_TARGET: {names}"));
    TARGET.get_or_init(|| target);
    // Instead of the one that ends the program.
    drop(std::panic::take_hook());
}

libfuzzer_sys::fuzz_target!(init: choose(), |bytes: &[u8]| {
    if let Some(target) = TARGET.get() {
        target(bytes);
    }
});
