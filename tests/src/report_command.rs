//! What the commands that print a table of figures share.
//!
//! Decides: how their options are read, and how a table gets into the README.
//! Never: guesses: an unknown word or a value that is no number ends the command.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::str::FromStr;

/// The options that were given.
#[derive(Clone, Debug, Default)]
pub struct Given {
    switches: Vec<String>,
    values: BTreeMap<String, String>,
}

impl Given {
    /// Reads words: those in `switches` stand alone, those in `valued` are followed by a value.
    ///
    /// # Errors
    /// A word is in neither list, or a value is missing.
    pub fn read(
        words: impl IntoIterator<Item = String>,
        switches: &[&str],
        valued: &[&str],
    ) -> Result<Self, String> {
        let mut given = Self::default();
        let mut words = words.into_iter();
        while let Some(word) = words.next() {
            if switches.contains(&word.as_str()) {
                given.switches.push(word);
            } else if valued.contains(&word.as_str()) {
                let value = words.next().ok_or(format!("{word}: a value is missing"))?;
                given.values.insert(word, value);
            } else {
                return Err(format!("{word}: unknown; see --help"));
            }
        }
        Ok(given)
    }
    /// Was this switch given?
    pub fn has(&self, switch: &str) -> bool {
        self.switches.iter().any(|word| word == switch)
    }
    /// The number given for this option, or the one it has otherwise.
    ///
    /// # Errors
    /// It is no number.
    pub fn number<T: FromStr>(&self, option: &str, otherwise: T) -> Result<T, String> {
        let Some(value) = self.values.get(option) else { return Ok(otherwise) };
        value.parse().map_err(|_| format!("{option} {value}: expected a number"))
    }
    /// The path given for this option.
    pub fn path(&self, option: &str) -> Option<PathBuf> {
        self.values.get(option).map(PathBuf::from)
    }
}

/// Runs a command that gives a text: prints it, or with `--update` puts it between these two lines of the README.
pub fn run(
    help: &str,
    marks: Option<(&str, &str)>,
    text: impl FnOnce() -> Result<(Given, String), String>,
) -> ExitCode {
    if std::env::args().any(|word| word == "--help") {
        println!("{help}");
        return ExitCode::SUCCESS;
    }
    let done = text().and_then(|(given, text)| {
        if let Some(marks) = marks.filter(|_| given.has("--update")) {
            return into_readme(marks, &text);
        }
        print!("{text}");
        Ok(())
    });
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(problem) => {
            eprintln!("{problem}");
            ExitCode::from(2)
        }
    }
}

/// Puts a text between two lines of the README.
fn into_readme((begins, ends): (&str, &str), text: &str) -> Result<(), String> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../README.md");
    let told = |error: std::io::Error| format!("{}: {error}", path.display());
    let readme = std::fs::read_to_string(&path).map_err(told)?;
    let (before, rest) = readme.split_once(begins).ok_or(format!("the README has no line {begins}"))?;
    let (_, after) = rest.split_once(ends).ok_or(format!("the README has no line {ends}"))?;
    std::fs::write(&path, format!("{before}{begins}{text}{ends}{after}")).map_err(told)
}
