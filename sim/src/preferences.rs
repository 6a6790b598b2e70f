//! What the person at the terminal prefers: the saved settings.
//!
//! Decides: where the file is, what may stand in it, and which units are shown.
//! Assumes: nothing; without a file, or without a place for one, nothing is preferred.
//! Never: changes a number; units are only how it is shown.

use crate::input::diagnostic::InputErrors;
use crate::input::document::Document;
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::UnitSystem;
use crate::input::source::Source;
use crate::input::text_file;
use crate::output;
use crate::output::named;
use anyhow::Context as _;
use etcetera::BaseStrategy as _;
use std::io::ErrorKind;
use std::path::PathBuf;

/// What is preferred.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Preferences {
    /// Units to show, where neither the command line nor the procedure says.
    pub units: Option<UnitSystem>,
}

impl Preferences {
    /// Reads the text of the file; `file` is its name in messages.
    ///
    /// # Errors
    /// All faults in the text.
    pub fn parse(file: &str, text: &str) -> Result<Self, InputErrors> {
        let source = Source::new(file, text);
        let document = Document::new(&source);
        let root = document.root();
        let units = root.choice("units", UnitSystem::CHOICES).map(|units| units.value);
        root.finish();
        document.finish()?;
        Ok(Self { units })
    }
    /// The text of a file that [`Preferences::parse`] reads back.
    pub fn to_text(self) -> String {
        let units = self.units.map_or(String::new(), |units| format!("units = \"{}\"\n", units.name()));
        format!("# Preferences of bandward; `bandward config` writes this file.\n{units}")
    }
    /// The saved settings; none where there is no file.
    ///
    /// # Errors
    /// The file is there and cannot be read, or [`InputErrors`].
    pub fn read() -> anyhow::Result<Self> {
        let Ok(path) = path() else { return Ok(Self::default()) };
        let name = named(&path);
        match text_file::read(&path) {
            Ok(text) => Ok(Self::parse(&name, &text)?),
            Err(error) if matches!(error.kind(), ErrorKind::NotFound | ErrorKind::NotADirectory) => {
                Ok(Self::default())
            }
            Err(error) => Err(error).with_context(|| format!("cannot read the preferences {name}")),
        }
    }
    /// Saves these; returns where.
    ///
    /// # Errors
    /// There is no place for the file, or it cannot be written.
    pub fn write(self) -> anyhow::Result<PathBuf> {
        let path = path()?;
        path.parent().map_or(Ok(()), output::make_folder)?;
        output::write(&path, self.to_text().as_bytes())?;
        Ok(path)
    }
}

/// Where the file is: `bandward/config.toml` in `$XDG_CONFIG_HOME` or `~/.config` (in the roaming
/// application data on Windows).
///
/// # Errors
/// No home directory is known.
pub fn path() -> anyhow::Result<PathBuf> {
    let places = etcetera::choose_base_strategy()
        .context("no home directory is known, so settings cannot be saved; give --units each time")?;
    Ok(places.config_dir().join("bandward").join("config.toml"))
}

/// The units to show: those asked for, else the procedure's choice, else those saved, else metric.
///
/// # Errors
/// The preferences are needed and have faults.
pub fn units(asked: Option<UnitSystem>, procedure: Option<&ProcedureFile>) -> anyhow::Result<UnitSystem> {
    match asked.or(procedure.and_then(|file| file.units)) {
        Some(units) => Ok(units),
        None => Ok(Preferences::read()?.units.unwrap_or_default()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_written_reads_back() {
        for units in [None, Some(UnitSystem::Metric), Some(UnitSystem::Inch)] {
            let preferences = Preferences { units };
            assert_eq!(Preferences::parse("config.toml", &preferences.to_text()), Ok(preferences));
        }
    }

    #[test]
    fn faults_are_told_with_their_place() {
        let errors = Preferences::parse("config.toml", "unit = \"inch\"\n").expect_err("an unknown key");
        assert!(errors.to_string().contains("did you mean `units`?"), "{errors}");
        let errors = Preferences::parse("config.toml", "units = \"feet\"\n").expect_err("an unknown choice");
        assert!(errors.to_string().contains("\"metric\", \"inch\""), "{errors}");
    }
}
