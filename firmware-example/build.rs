//! Puts the memory map of the target's emulated board where the linker finds it.

use std::path::PathBuf;
use std::{env, fs};

fn main() {
    println!("cargo:rerun-if-changed=build.rs");
    let target = env::var("TARGET").unwrap_or_default();
    let map = match target.as_str() {
        "thumbv7em-none-eabihf" => "MEMORY { FLASH : ORIGIN = 0x00000000, LENGTH = 4M\nRAM : ORIGIN = 0x20000000, LENGTH = 4M }",
        "thumbv6m-none-eabi" => "MEMORY { FLASH : ORIGIN = 0x00000000, LENGTH = 256K\nRAM : ORIGIN = 0x20000000, LENGTH = 16K }",
        // The library alone, for a host: nothing to link.
        _ => return,
    };
    let out = PathBuf::from(env::var_os("OUT_DIR").expect("cargo sets OUT_DIR"));
    fs::write(out.join("memory.x"), map).expect("OUT_DIR can be written");
    println!("cargo:rustc-link-search={}", out.display());
}
