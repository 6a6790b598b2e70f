//! The bytes of a trace.
//!
//! Decides: where they come from and how they are packed; the first bytes tell, not the name.
//! Assumes: nothing.
//! Never: unpacks more than the reader asks for.

use super::fault::Fault;
use flate2::read::MultiGzDecoder;
use std::fs::File;
use std::io::{self, Cursor, Read, Seek};
use std::path::Path;

/// The name that stands for standard input and standard output.
pub const STANDARD_STREAM: &str = "-";

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
    Utf16,
    Binary,
}

/// How many first bytes are looked at.
const LOOKED_AT: usize = 512;

/// Opens a trace, or standard input where the path is `-`.
///
/// # Errors
/// There is no such file, it is a directory or may not be read, or it is no trace at all.
pub fn open(path: &Path) -> Result<Source, Fault> {
    if path.as_os_str() == STANDARD_STREAM {
        return unpack(io::stdin(), None);
    }
    let cannot_open = |error: io::Error| Fault::new("cannot be opened", reason(&error));
    let file = File::open(path).map_err(cannot_open)?;
    if file.metadata().map_err(cannot_open)?.is_dir() {
        return Err(Fault::new("this is a directory", "name a trace file"));
    }
    let again = file.try_clone().map_err(cannot_open)?;
    unpack(file, Some(again))
}

fn unpack(mut input: impl Read + Send + 'static, file: Option<File>) -> Result<Source, Fault> {
    let head = first_bytes(&mut input).map_err(|error| Fault::new("cannot be read", reason(&error)))?;
    let kind = kind(&head);
    let whole = Cursor::new(head).chain(input);
    let (mut text, packing): (Box<dyn Read + Send>, _) = match kind {
        Kind::Gzip => (Box::new(MultiGzDecoder::new(io::BufReader::new(whole))), "gzip"),
        Kind::Zstandard => match zstd::stream::read::Decoder::new(whole) {
            Ok(decoder) => (Box::new(decoder), "Zstandard"),
            Err(error) => return Err(Fault::new("cannot be unpacked", reason(&error))),
        },
        Kind::Parquet => return parquet(file),
        Kind::Text => return Ok(Source::Text(Box::new(whole))),
        Kind::ZipArchive => {
            return Err(Fault::new(
                "this is a ZIP archive or a spreadsheet, not a trace",
                "save it as CSV and name that file",
            ));
        }
        Kind::Utf16 => return Err(Fault::new("the text is in UTF-16", "save it as CSV in UTF-8")),
        Kind::Binary => return Err(Fault::new("this is neither text nor Parquet", ALLOWED)),
    };
    let head = first_bytes(&mut text)
        .map_err(|error| Fault::new(format!("cannot be unpacked as {packing}"), reason(&error)))?;
    match self::kind(&head) {
        Kind::Text => Ok(Source::Text(Box::new(Cursor::new(head).chain(text)))),
        _ => Err(Fault::new(format!("what is packed in it as {packing} is not text"), ALLOWED)),
    }
}

const ALLOWED: &str = "a trace is CSV (plain, .gz or .zst) or Parquet";

fn parquet(file: Option<File>) -> Result<Source, Fault> {
    let mut file = file.ok_or_else(|| {
        Fault::new("Parquet cannot be read from standard input", "name the file, or send CSV")
    })?;
    file.rewind().map_err(|error| Fault::new("Parquet needs a file, not a pipe", reason(&error)))?;
    Ok(Source::Parquet(file))
}

fn first_bytes(input: &mut impl Read) -> io::Result<Vec<u8>> {
    let mut head = Vec::with_capacity(LOOKED_AT);
    input.by_ref().take(LOOKED_AT as u64).read_to_end(&mut head)?;
    Ok(head)
}

fn kind(head: &[u8]) -> Kind {
    match head {
        [0x1f, 0x8b, ..] => Kind::Gzip,
        [0x28, 0xb5, 0x2f, 0xfd, ..] => Kind::Zstandard,
        [b'P', b'A', b'R', b'1', ..] => Kind::Parquet,
        [b'P', b'K', 3, 4, ..] => Kind::ZipArchive,
        [0xff, 0xfe, ..] | [0xfe, 0xff, ..] => Kind::Utf16,
        _ if head.iter().any(|&byte| byte < b' ' && !byte.is_ascii_whitespace()) => Kind::Binary,
        _ => Kind::Text,
    }
}

/// The reason of a failed read or write in plain words, without the number of the operating system.
pub fn reason(error: &io::Error) -> String {
    match error.kind() {
        io::ErrorKind::NotFound => "there is no such file or directory".into(),
        io::ErrorKind::PermissionDenied => "you may not read or write it".into(),
        io::ErrorKind::UnexpectedEof => "the data end too soon: the file is cut off".into(),
        _ => error.to_string(),
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
            (b"\xff\xfet\0", Kind::Utf16),
            (b"\x7fELF\x02\x01", Kind::Binary),
        ] {
            assert_eq!(kind(head), expected, "{head:?}");
        }
    }
}
