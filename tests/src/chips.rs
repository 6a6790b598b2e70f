//! Builds the board programs for real chips, and looks at how large they are.
//!
//! Decides: what of a program lies in the flash, and what of it in the memory.
//! Assumes: a toolchain as for the emulated board ([`crate::emulator`]).
//! Never: runs one.

use crate::emulator::{self, Missing};
use object::{Object, ObjectSection, SectionFlags, SectionKind};
use std::path::{Path, PathBuf};

/// A chip for which there is a program.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Chip {
    /// The program, and its folder.
    pub name: &'static str,
    /// The Rust target.
    pub target: &'static str,
    /// Bytes of memory.
    pub memory: u64,
    /// Where its parts lie in the flash.
    pub flash: &'static bandward_chips::flash_map::FlashMap,
}

/// All of them.
pub const ALL: [Chip; 2] = [
    Chip {
        name: "stm32l4r5",
        target: "thumbv7em-none-eabihf",
        memory: 640 * 1024,
        flash: &bandward_chips::flash_map::STM32L4R5,
    },
    Chip {
        name: "rp2350",
        target: "thumbv8m.main-none-eabihf",
        memory: 512 * 1024,
        flash: &bandward_chips::flash_map::RP2350,
    },
];

/// Where the memory of either begins; the flash lies below.
const MEMORY: u64 = 0x2000_0000;

/// How large a program is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Size {
    /// Bytes in the flash.
    pub flash: u64,
    /// Bytes of memory that are taken from the start on: all but the stack.
    pub memory: u64,
}

/// The folder of the programs.
pub fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../firmware-example/chips")
}

/// Builds the program of a chip.
///
/// # Errors
/// Where the toolchain is missing.
///
/// # Panics
/// Where it does not compile: that is a fault in the project.
pub fn build(chip: Chip) -> Result<PathBuf, Missing> {
    let mut command = emulator::cargo(chip.target)?;
    let package = format!("bandward-{}", chip.name);
    command.current_dir(folder()).args(["--quiet", "--locked", "--package", &package]);
    let output = command.output().map_err(|error| Missing(format!("cargo: {error}")))?;
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    Ok(folder().join("target").join(chip.target).join("release").join(chip.name))
}

/// Looks at a program.
///
/// # Panics
/// Where the file is not there or is no ELF file.
pub fn size(path: &Path) -> Size {
    let bytes = std::fs::read(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    let file = object::File::parse(&*bytes).expect("an ELF file");
    let is_loaded = |flags| matches!(flags, SectionFlags::Elf { sh_flags } if sh_flags & 2 != 0);
    let mut size = Size::default();
    for section in file.sections().filter(|section| is_loaded(section.flags())) {
        // What is in memory with something in it is copied there from the flash at the start.
        if section.address() >= MEMORY {
            size.memory += section.size();
        }
        if section.kind() != SectionKind::UninitializedData {
            size.flash += section.size();
        }
    }
    size
}
