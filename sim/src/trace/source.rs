//! The bytes of a trace.
//!
//! Decides: where they come from and how they are packed; the first bytes tell, not the name.
//! Assumes: nothing.
//! Never: unpacks more than the reader asks for.

use super::provenance::{Standing, Witness};
use super::wide_text::{WideText, WordOrder};
use crate::input::diagnostic::{InputError, InputErrors};
use crate::output::{STANDARD_STREAM, reason};
use flate2::read::MultiGzDecoder;
use std::fs::File;
use std::io::{self, Cursor, Read, Seek};
use std::path::Path;

/// What a trace file is.
pub enum Source {
    /// Delimited text, unpacked.
    Text(Box<dyn Read + Send>),
    /// A Parquet file, at its beginning.
    Parquet(File),
}

/// What the first bytes say.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    Text,
    Gzip,
    Zstandard,
    Parquet,
    ZipArchive,
    Utf16(Option<WordOrder>),
    Binary,
}

/// How many first bytes are looked at.
const LOOKED_AT: usize = 512;

/// Opens a trace, or standard input where the path is `-`; `shown` is its name in messages. With how the file
/// stands, if it is one.
///
/// # Errors
/// There is no such file, it is a directory or may not be read, or it is no trace at all.
pub fn open(path: &Path, shown: &str) -> Result<(Source, Option<Standing>), InputErrors> {
    let cannot_open = |error: io::Error| refusal(shown, CANNOT_OPEN, &error);
    if path.as_os_str() == STANDARD_STREAM {
        let standing = Standing::of_standard_input();
        return Ok((unpack(io::stdin(), None, shown)?, standing));
    }
    let file = open_file(path, shown)?;
    let standing = Standing::of(&file, Some(path)).map_err(cannot_open)?;
    let again = file.try_clone().map_err(cannot_open)?;
    Ok((unpack(file, Some(again), shown)?, standing))
}

/// As [`open`], with somebody who hashes what is read.
///
/// # Errors
/// As [`open`].
pub fn open_witnessed(path: &Path, shown: &str) -> Result<(Source, Option<Standing>, Witness), InputErrors> {
    let cannot_open = |error: io::Error| refusal(shown, CANNOT_OPEN, &error);
    if path.as_os_str() == STANDARD_STREAM {
        let standing = Standing::of_standard_input();
        let (input, witness) = Witness::of(io::stdin(), None);
        return Ok((unpack(input, None, shown)?, standing, witness));
    }
    let file = open_file(path, shown)?;
    let standing = Standing::of(&file, Some(path)).map_err(cannot_open)?;
    let again = file.try_clone().map_err(cannot_open)?;
    let (input, witness) = Witness::of(file, standing.clone());
    Ok((unpack(input, Some(again), shown)?, standing, witness))
}

const CANNOT_OPEN: &str = "cannot be opened";

fn open_file(path: &Path, shown: &str) -> Result<File, InputErrors> {
    let cannot_open = |error: io::Error| refusal(shown, CANNOT_OPEN, &error);
    let file = File::open(path).map_err(cannot_open)?;
    if file.metadata().map_err(cannot_open)?.is_dir() {
        let fault = InputError::in_file(shown, "").problem("this is a directory");
        return Err(fault.allowed("a trace file").into());
    }
    Ok(file)
}

pub(super) fn unpack(
    mut input: impl Read + Send + 'static,
    file: Option<File>,
    shown: &str,
) -> Result<Source, InputErrors> {
    let head = first_bytes(&mut input).map_err(|error| refusal(shown, "cannot be read", &error))?;
    let kind = Kind::of(&head);
    let whole = Cursor::new(head).chain(input);
    let mut text: Box<dyn Read + Send> = match kind {
        Kind::Text => return Ok(Source::Text(Box::new(whole))),
        Kind::Utf16(order) => return Ok(Source::Text(Box::new(WideText::new(whole, order)))),
        Kind::Parquet => return parquet(file, shown),
        Kind::Gzip => Box::new(MultiGzDecoder::new(io::BufReader::new(whole))),
        Kind::Zstandard => {
            let decoder = zstd::stream::read::Decoder::new(whole);
            Box::new(decoder.map_err(|error| refusal(shown, "cannot be unpacked", &error))?)
        }
        Kind::ZipArchive | Kind::Binary => return Err(stranger(kind, shown)),
    };
    let head = first_bytes(&mut text).map_err(|error| refusal(shown, "cannot be unpacked", &error))?;
    match Kind::of(&head) {
        Kind::Text => Ok(Source::Text(Box::new(Cursor::new(head).chain(text)))),
        Kind::Utf16(order) => Ok(Source::Text(Box::new(WideText::new(Cursor::new(head).chain(text), order)))),
        kind => Err(stranger(kind, shown)),
    }
}

/// What is said of a file that is no trace.
fn stranger(kind: Kind, shown: &str) -> InputErrors {
    let (problem, allowed) = match kind {
        Kind::ZipArchive => {
            ("this is a ZIP archive or a spreadsheet", "a trace; save the table as CSV and name that file")
        }
        _ => ("this is neither text nor Parquet", "a trace as CSV (plain, .gz or .zst) or Parquet"),
    };
    InputError::in_file(shown, "").problem(problem).allowed(allowed).into()
}

fn parquet(file: Option<File>, shown: &str) -> Result<Source, InputErrors> {
    let fault = InputError::in_file(shown, "").problem("Parquet cannot be read from a pipe");
    let fault = InputErrors::from(fault.allowed("the name of the file, or CSV"));
    let mut file = file.ok_or_else(|| fault.clone())?;
    file.rewind().map_err(|_| fault)?;
    Ok(Source::Parquet(file))
}

/// What is said where the operating system, or a packer, refuses.
pub fn refusal(shown: &str, problem: &str, error: &io::Error) -> InputErrors {
    InputError::in_file(shown, "").problem(format!("{problem}: {}", reason(error))).into()
}

fn first_bytes(input: &mut impl Read) -> io::Result<Vec<u8>> {
    let mut head = Vec::with_capacity(LOOKED_AT);
    input.by_ref().take(LOOKED_AT as u64).read_to_end(&mut head)?;
    Ok(head)
}

impl Kind {
    fn of(head: &[u8]) -> Self {
        match head {
            [0x1f, 0x8b, ..] => Self::Gzip,
            [0x28, 0xb5, 0x2f, 0xfd, ..] => Self::Zstandard,
            [b'P', b'A', b'R', b'1', ..] => Self::Parquet,
            [b'P', b'K', 3, 4, ..] => Self::ZipArchive,
            [0xff, 0xfe, ..] | [0xfe, 0xff, ..] => Self::Utf16(None),
            _ if WordOrder::of(head).is_some() => Self::Utf16(WordOrder::of(head)),
            _ if head.iter().any(|&byte| byte < b' ' && !byte.is_ascii_whitespace()) => Self::Binary,
            _ => Self::Text,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_bytes_tell_what_it_is() {
        for (head, expected) in [
            (b"time_s,current_a\r\n".as_slice(), Kind::Text),
            (b"", Kind::Text),
            ("Temp\u{e9}rature \u{b0}C\t1\n".as_bytes(), Kind::Text),
            (b"\x1f\x8b\x08", Kind::Gzip),
            (b"\x28\xb5\x2f\xfd\x04", Kind::Zstandard),
            (b"PAR1\x15", Kind::Parquet),
            (b"PK\x03\x04", Kind::ZipArchive),
            (b"\xff\xfet\0", Kind::Utf16(None)),
            (b"t\0i\0m\0e\0\xb0\0", Kind::Utf16(Some(WordOrder::LowFirst))),
            (b"\0t\0i\0m\0e\0\xb0", Kind::Utf16(Some(WordOrder::HighFirst))),
            (b"\0\0\0\0\0\0\0\0", Kind::Binary),
            (b"\x01\0\x02\0\x03\0\x04\0", Kind::Binary),
            (b"\x7fELF\x02\x01", Kind::Binary),
        ] {
            assert_eq!(Kind::of(head), expected, "{head:?}");
        }
    }
}
