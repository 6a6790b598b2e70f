//! Names of files: what comes before the ending, and numbers that make a name new.
//!
//! Decides: what counts as the ending: `.csv.gz` is one.
//! Never: changes a byte of a name, whether it is text or not.

use std::ffi::{OsStr, OsString};
use std::path::{Path, PathBuf};

/// The name of a file without its ending, and the ending with its points.
pub fn split(path: &Path) -> (OsString, OsString) {
    let mut stem = path.file_stem().unwrap_or_default().to_owned();
    let mut ending = with_point(path.extension());
    let is_packed = [".gz", ".zst"].iter().any(|packed| ending.eq_ignore_ascii_case(packed));
    let inner = Path::new(&stem).extension().map(OsStr::to_owned);
    if let Some(inner) = inner.filter(|inner| is_packed && inner.eq_ignore_ascii_case("csv")) {
        stem = Path::new(&stem).file_stem().unwrap_or_default().to_owned();
        let mut whole = with_point(Some(&inner));
        whole.push(ending);
        ending = whole;
    }
    (stem, ending)
}

fn with_point(ending: Option<&OsStr>) -> OsString {
    let mut whole = OsString::new();
    if let Some(ending) = ending {
        whole.push(".");
        whole.push(ending);
    }
    whole
}

/// `NAME.csv` as `NAME-2.csv`; the first has no number.
fn numbered(path: &Path, number: u32) -> PathBuf {
    if number <= 1 {
        return path.to_owned();
    }
    let (mut name, ending) = split(path);
    name.push(format!("-{number}"));
    name.push(ending);
    path.with_file_name(name)
}

/// The first of `NAME.csv`, `NAME-2.csv`, ... that does not exist, nor is a link to nowhere.
pub fn unused(path: &Path) -> PathBuf {
    let is_free = |path: &PathBuf| path.symlink_metadata().is_err();
    let free = (1..u32::MAX).map(|number| numbered(path, number)).find(is_free);
    free.unwrap_or_else(|| path.to_owned())
}

/// The name that stands for standard input and standard output.
pub const STANDARD_STREAM: &str = "-";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_stands_before_the_ending() {
        for (name, second) in [
            ("a/live.csv", "a/live-2.csv"),
            ("live.CSV.gz", "live-2.CSV.gz"),
            ("bay.2.left.csv.zst", "bay.2.left-2.csv.zst"),
            ("bands.json", "bands-2.json"),
            ("bare", "bare-2"),
        ] {
            assert_eq!(numbered(Path::new(name), 2), Path::new(second));
            assert_eq!(numbered(Path::new(name), 1), Path::new(name));
        }
    }
    #[cfg(unix)]
    #[test]
    fn a_name_that_is_no_text_stays_as_it_is() {
        use std::os::unix::ffi::OsStrExt as _;
        let name = |bytes| Path::new(OsStr::from_bytes(bytes));
        assert_eq!(numbered(name(b"\xff\xfe.csv.gz"), 3), name(b"\xff\xfe-3.csv.gz"));
    }
}
