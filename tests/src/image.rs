//! Looks into the program a board would carry.
//!
//! Decides: what counts as a panic path: any function of `core::panicking`, or the handler itself,
//! left in the linked program.
//! Assumes: an ELF file with its symbols.
//! Never: runs it.

use object::{Object, ObjectSection, ObjectSymbol, SectionKind};
use std::path::Path;

/// A linked program.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Image {
    /// Bytes of machine code.
    pub text: u64,
    /// Bytes of constants; the table of vectors, which is the chip's, is not among them.
    pub constants: u64,
    /// Names of what a panic would go through: none in a program that cannot panic.
    pub panics: Vec<String>,
    /// The largest functions: bytes and name, the largest first.
    pub largest: Vec<(u64, String)>,
}

impl Image {
    /// Reads a program.
    ///
    /// # Panics
    /// Where the file is not there or is no ELF file.
    pub fn read(path: &Path) -> Self {
        let bytes = std::fs::read(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
        let file = object::File::parse(&*bytes).expect("an ELF file");
        let size = |kind| {
            let of_kind = file.sections().filter(|section| section.kind() == kind);
            of_kind
                .filter(|section| section.name() != Ok(".vector_table"))
                .map(|section| section.size())
                .sum()
        };
        let mut panics = Vec::new();
        let mut largest = Vec::new();
        for symbol in file.symbols().filter(|symbol| symbol.is_definition() && symbol.size() > 0) {
            let name = format!("{:#}", rustc_demangle::demangle(symbol.name().unwrap_or_default()));
            if name.contains("core::panicking") || name.contains("rust_begin_unwind") {
                panics.push(name.clone());
            }
            largest.push((symbol.size(), name));
        }
        largest.sort_by(|a, b| b.cmp(a));
        largest.dedup();
        Self { text: size(SectionKind::Text), constants: size(SectionKind::ReadOnlyData), panics, largest }
    }
}
