//! A file that was written here, for as long as it has to be there.
//!
//! Decides: what counts as gone: no file of its name, another one, another length than was written, or other bytes, which
//! are read once at the end. Its time of writing is not asked: a server of files may set its own.
//! Assumes: nobody else writes to it for a good reason.
//! Never: mends it, nor looks for it elsewhere.

use crate::input::hash::Hash;
use crate::output::{cannot_write, is_same_file, named, reason};
use anyhow::{anyhow, bail};
use std::fs::File;
use std::io::{self, ErrorKind, Read as _, Seek as _, Write as _};
use std::path::{Path, PathBuf};

/// A file, its name, and what was written to it.
pub struct WrittenFile {
    path: PathBuf,
    file: File,
    written: Hash,
}

impl WrittenFile {
    /// Starts one that was not there.
    ///
    /// # Errors
    /// It is there, or cannot be made.
    pub fn create(path: PathBuf) -> Result<Self, (PathBuf, io::Error)> {
        // To be read as well, in the end.
        match File::options().read(true).write(true).create_new(true).open(&path) {
            Ok(file) => Ok(Self { path, file, written: Hash::default() }),
            Err(error) => Err((path, error)),
        }
    }
    /// One that was written whole.
    ///
    /// # Errors
    /// It is not there any more.
    pub fn whole(path: PathBuf) -> anyhow::Result<Self> {
        let mut written = Hash::default();
        let opened = File::open(&path).and_then(|file| written.read(&file).map(|()| file));
        let file = opened.map_err(|error| gone(&path, &error))?;
        Ok(Self { path, file, written })
    }
    /// Writes more; half of it is taken back.
    ///
    /// # Errors
    /// The disk is full, or the file is gone; what was written before can be read in the first case.
    pub fn append(&mut self, bytes: &[u8]) -> anyhow::Result<()> {
        self.check()?;
        if let Err(error) = self.file.write_all(bytes) {
            // The error is what is told; a disk that is gone cannot be tidied up.
            let _ = self.file.set_len(self.written.bytes());
            return Err(cannot_write(&self.path, &error));
        }
        self.written.update(bytes);
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
        if found.len() != self.written.bytes() {
            bail!(
                "{} was cut or written to by somebody else: it has {} bytes, and {} were written",
                named(&self.path),
                found.len(),
                self.written.bytes()
            );
        }
        Ok(())
    }
    /// Is it still there, byte for byte? To be asked when nothing more is written.
    ///
    /// # Errors
    /// As [`Self::check`], or somebody else wrote over it.
    pub fn check_bytes(&mut self) -> anyhow::Result<()> {
        self.check()?;
        let mut found = Hash::default();
        let read = self.file.rewind().and_then(|()| found.read((&self.file).take(self.written.bytes())));
        read.map_err(|error| gone(&self.path, &error))?;
        if found.hexadecimal() != self.written.clone().hexadecimal() {
            bail!(
                "{} was written over by somebody else: its bytes are not those that were written",
                named(&self.path)
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

    #[test]
    fn other_bytes_of_the_same_length_are_told_at_the_end() {
        let folder = std::env::temp_dir().join(format!("bandward-over-{}", std::process::id()));
        fs::create_dir_all(&folder).expect("a folder");
        let path = folder.join("r.csv");
        let Ok(mut written) = WrittenFile::create(path.clone()) else { panic!("it was there") };
        written.append(b"rows\n").and_then(|()| written.append(b"more\n")).expect("written");
        written.check_bytes().expect("as it was written");
        let mut other = File::options().write(true).open(&path).expect("there");
        let time = other.metadata().and_then(|found| found.modified()).expect("told");
        other.write_all(b"R").and_then(|()| other.set_modified(time)).expect("written");
        written.check().expect("its length is the same");
        let words = written.check_bytes().expect_err("one is another").to_string();
        assert!(words.contains("written over by somebody else") && words.contains("r.csv"), "{words}");
        let mut whole = WrittenFile::whole(path).expect("there");
        whole.check_bytes().expect("as it was found");
        other.write_all(b"O").expect("written");
        assert!(whole.check_bytes().is_err());
        fs::remove_dir_all(&folder).expect("it was made here");
    }
}
