//! What was typed of a setup that was not finished: kept after every answer, offered by the next run.
//!
//! Decides: where it is kept, and when it is thrown away.
//! Assumes: one person sets up one machine at a time by one procedure on an account.
//! Never: takes old answers up unasked, or for another procedure, nor fails a setup because nothing could be kept.

use super::setup_dialogue::read_line;
use crate::input::procedure_file::ProcedureFile;
use crate::output;
use crate::preferences;
use crate::report::style::BOLD;
use crate::setup::SetupSheet;
use anyhow::Context as _;
use std::io::{self, BufRead, Write};
use std::path::PathBuf;

/// The file of an unfinished setup; no path where there is no place for one.
pub struct Unfinished {
    path: Option<PathBuf>,
}

impl Unfinished {
    /// Beside the saved settings, for this procedure: the answers for another are another joint's.
    pub fn of_this_account(procedure: &ProcedureFile) -> Self {
        let name = format!("setup.{}.unfinished.toml", procedure.sha256.get(..12).unwrap_or_default());
        Self { path: preferences::path().ok().map(|path| path.with_file_name(name)) }
    }
    /// In a file of its own.
    pub const fn at(path: PathBuf) -> Self {
        Self { path: Some(path) }
    }
    /// Keeps what was typed.
    ///
    /// # Errors
    /// There is no place for it, or it cannot be written: the setup can go on without.
    pub fn keep(&self, sheet: &SetupSheet) -> anyhow::Result<()> {
        let path = self.path.as_ref().context("no home directory is known")?;
        path.parent().map_or(Ok(()), output::make_folder)?;
        output::write(path, sheet.to_text().as_bytes())
    }
    /// Throws it away.
    pub fn end(&self) {
        let _ = self.path.as_ref().map(std::fs::remove_file);
    }
    /// Offers what was kept: the sheet where it is taken up; thrown away where it is not.
    ///
    /// # Errors
    /// The terminal cannot be read or written.
    pub fn offer(&self, input: &mut impl BufRead, output: &mut impl Write) -> io::Result<Option<SetupSheet>> {
        let Some(sheet) = self.kept() else { return Ok(None) };
        let when = self.kept_at().map_or(String::new(), |when| format!(", the last at {when}"));
        let count = sheet.entries.len();
        loop {
            write!(
                output,
                "{BOLD}{count} answers of an unfinished setup are kept{BOLD:#}{when}. Go on with them? y or n > "
            )?;
            output.flush()?;
            match read_line(input)?.as_deref() {
                Some("y" | "Y" | "yes") => return Ok(Some(sheet)),
                Some("n" | "N" | "no") => {
                    self.end();
                    return Ok(None);
                }
                // The end of the input decides nothing.
                None => return Ok(None),
                Some(_) => {}
            }
        }
    }
    /// What is kept; a file that does not read counts for none.
    fn kept(&self) -> Option<SetupSheet> {
        let sheet = SetupSheet::read(self.path.as_ref()?).ok()?;
        (!sheet.entries.is_empty()).then_some(sheet)
    }
    fn kept_at(&self) -> Option<String> {
        let modified = std::fs::metadata(self.path.as_ref()?).ok()?.modified().ok()?;
        Some(jiff::Timestamp::try_from(modified).ok()?.strftime("%Y-%m-%d %H:%M UTC").to_string())
    }
}
