//! Tells the linker how to lay out a program for the emulated boards.

use std::path::PathBuf;
use std::{env, fs};

fn main() {
    println!("cargo:rerun-if-changed=build.rs");
    let target = env::var("TARGET").unwrap_or_default();
    if !target.starts_with("thumb") || env::var_os("CARGO_FEATURE_MPS2").is_none() {
        // The library alone, for a host or for another chip, which has a map of its own: nothing to link.
        return;
    }
    // The machines mps2-an385 and mps2-an386 alike; and the least one, of which no more is used than such a chip has.
    let is_least = env::var_os("CARGO_FEATURE_LEAST").is_some();
    let (flash, memory) = if is_least { ("128K", "8K") } else { ("4M", "4M") };
    let map = format!(
        "MEMORY {{ FLASH : ORIGIN = 0x00000000, LENGTH = {flash}\nRAM : ORIGIN = 0x20000000, LENGTH = {memory} }}"
    );
    let out = PathBuf::from(env::var_os("OUT_DIR").expect("cargo sets OUT_DIR"));
    fs::write(out.join("memory.x"), map).expect("OUT_DIR can be written");
    println!("cargo:rustc-link-search={}", out.display());
    println!("cargo:rustc-link-arg-bins=-Tlink.x");
    if env::var_os("CARGO_FEATURE_DEFMT").is_some() {
        println!("cargo:rustc-link-arg-bins=-Tdefmt.x");
    }
}
