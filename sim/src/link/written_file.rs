//! A file that was written here, for as long as it has to be there.
//!
//! Decides: what counts as gone: no file of its name, another one, or another length than was written.
//! Assumes: nobody else writes to it for a good reason.
//! Never: mends it, nor looks for it elsewhere.

use crate::output::{cannot_write, is_same_file, named, reason};
use anyhow::{anyhow, bail};
use std::fs::File;
use std::io::{self, ErrorKind, Write as _};
use std::path::{Path, PathBuf};

/// A file, its name, and how many bytes of it were written.
pub struct WrittenFile {
    path: PathBuf,
    file: File,
    bytes: u64,
}

impl WrittenFile {
    /// Starts one that was not there.
    ///
    /// # Errors
    /// It is there, or cannot be made.
    pub fn create(path: PathBuf) -> Result<Self, (PathBuf, io::Error)> {
        match File::create_new(&path) {
            Ok(file) => Ok(Self { path, file, bytes: 0 }),
            Err(error) => Err((path, error)),
        }
    }
    /// One that was written whole.
    ///
    /// # Errors
    /// It is not there any more.
    pub fn whole(path: PathBuf) -> anyhow::Result<Self> {
        let opened = File::open(&path).and_then(|file| Ok((file.metadata()?.len(), file)));
        let (bytes, file) = opened.map_err(|error| gone(&path, &error))?;
        Ok(Self { path, file, bytes })
    }
    /// Writes more; half of it is taken back.
    ///
    /// # Errors
    /// The disk is full, or the file is gone; what was written before can be read in the first case.
    pub fn append(&mut self, bytes: &[u8]) -> anyhow::Result<()> {
        self.check()?;
        if let Err(error) = self.file.write_all(bytes) {
            // The error is what is told; a disk that is gone cannot be tidied up.
            let _ = self.file.set_len(self.bytes);
            return Err(cannot_write(&self.path, &error));
        }
        self.bytes += bytes.len() as u64;
        self.check()
    }
    /// Has all of it reach the disk.
    ///
    /// # Errors
    /// The disk is full, or the file is gone.
    pub fn keep(&self) -> anyhow::Result<()> {
        self.file.sync_all().map_err(|error| cannot_write(&self.path, &error))?;
        self.check()
    }
    /// Is it still there, as it was written?
    ///
    /// # Errors
    /// It is not, and what became of it.
    pub fn check(&self) -> anyhow::Result<()> {
        let found = self.path.metadata().map_err(|error| gone(&self.path, &error))?;
        let own = self.file.metadata().map_err(|error| gone(&self.path, &error))?;
        if !is_same_file(&found, &own) {
            bail!("{} is another file now: the name of the recording was given to it", named(&self.path));
        }
        if found.len() != self.bytes {
            bail!(
                "{} was cut or written to by somebody else: it has {} bytes, and {} were written",
                named(&self.path),
                found.len(),
                self.bytes
            );
        }
        Ok(())
    }
    /// Its name.
    pub fn path(&self) -> &Path {
        &self.path
    }
}

fn gone(path: &Path, error: &io::Error) -> anyhow::Error {
    let name = named(path);
    match error.kind() {
        ErrorKind::NotFound | ErrorKind::NotADirectory => {
            anyhow!("{name} is there no more: it, or its folder, was deleted or renamed")
        }
        _ => anyhow!("{name} can be looked at no more: {}", reason(error)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    type Change = fn(&Path);

    #[test]
    fn what_becomes_of_its_name_or_its_bytes_is_told() {
        let folder = std::env::temp_dir().join(format!("bandward-written-{}", std::process::id()));
        let (inner, path) = (folder.join("rec"), folder.join("rec/r.csv"));
        let changes: [(&str, Change); 6] = [
            ("is there no more", |path| fs::remove_file(path).expect("there")),
            ("is there no more", |path| {
                fs::remove_dir_all(path.parent().expect("a folder")).expect("there");
            }),
            ("is there no more", |path| fs::rename(path, path.with_extension("old")).expect("there")),
            ("is another file", |path| {
                // Of the same length.
                fs::write(path.with_extension("new"), "rows\n").expect("written");
                fs::rename(path.with_extension("new"), path).expect("there");
            }),
            ("it has 0 bytes, and 5 were written", |path| {
                File::options().write(true).open(path).and_then(|file| file.set_len(0)).expect("there");
            }),
            ("it has 6 bytes, and 5 were written", |path| {
                let file = File::options().append(true).open(path);
                file.and_then(|mut file| file.write_all(b"x")).expect("there");
            }),
        ];
        for (told, change) in changes {
            fs::create_dir_all(&inner).expect("a folder");
            let Ok(mut written) = WrittenFile::create(path.clone()) else { panic!("it was there") };
            written.append(b"rows\n").expect("written");
            change(&path);
            for failed in [written.check(), written.keep(), written.append(b"more\n")] {
                let words = failed.expect_err(told).to_string();
                assert!(words.contains(told) && words.contains("r.csv"), "{told}: {words}");
            }
            fs::remove_dir_all(&folder).expect("it was made here");
        }
    }
}
