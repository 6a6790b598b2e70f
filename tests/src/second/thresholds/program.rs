//! The program, as anyone can use it.
//!
//! Decides: which command lines are run, and what is read of what they print.

use super::library::Trace;
use bandward::{Rule, Severity};
use rayon::prelude::*;
use serde_json::Value;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;

/// An alarm of a replay.
#[derive(Clone, Debug)]
pub struct Alarm {
    /// Its rule.
    pub rule: Rule,
    reached_s: BTreeMap<Severity, f64>,
}

impl Alarm {
    /// An alarm as `replay --json` prints it; absent where it is none.
    pub fn read(alarm: &Value) -> Option<Self> {
        let rule = Rule::from_name(alarm["rule"].as_str()?)?;
        let at = |severity: Severity| Some((severity, alarm["reached_s"][severity.name()].as_f64()?));
        let severities = [Severity::Advise, Severity::Warn, Severity::Stop];
        Some(Self { rule, reached_s: severities.into_iter().filter_map(at).collect() })
    }
    /// When it first reached this severity or a higher one, s.
    pub fn reached_s(&self, severity: Severity) -> Option<f64> {
        self.reached_s.range(severity..).map(|(_, &at_s)| at_s).min_by(f64::total_cmp)
    }
}

/// The program `bandward`.
#[derive(Clone, Debug)]
pub struct Program(pub PathBuf);

impl Program {
    /// Runs it; what it prints, and its exit code.
    ///
    /// # Errors
    /// It cannot be run, or says that it could not do it.
    pub fn run(&self, words: &[&str], traces: &[&Path]) -> Result<String, String> {
        let mut command = Command::new(&self.0);
        command.args(words).args(traces).env("NO_COLOR", "1");
        let output = command.output().map_err(|error| format!("{}: {error}", self.0.display()))?;
        let (out, errors) =
            (String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
        match output.status.code() {
            Some(0 | 1 | 3) => Ok(out.into_owned()),
            code => Err(format!("bandward {}: exit {code:?}: {errors}", words.join(" "))),
        }
    }
    /// What it prints as JSON.
    ///
    /// # Errors
    /// As [`Program::run`], or it is no JSON.
    pub fn json(&self, words: &[&str], traces: &[&Path]) -> Result<Value, String> {
        serde_json::from_str(&self.run(words, traces)?)
            .map_err(|error| format!("{}: {error}", words.join(" ")))
    }
    /// What it prints of several traces, a value each, without the summary.
    ///
    /// # Errors
    /// As [`Program::json`], or a trace could not be read.
    pub fn lines(&self, words: &[&str], traces: &[&Path]) -> Result<Vec<Value>, String> {
        let printed = self.run(words, traces)?;
        let values = serde_json::Deserializer::from_str(&printed).into_iter::<Value>();
        let values: Vec<Value> = values.collect::<Result<_, _>>().map_err(|error| error.to_string())?;
        if let Some(failed) = values.iter().find(|value| value.get("failed").is_some()) {
            return Err(failed.to_string());
        }
        Ok(values.into_iter().filter(|value| value.get("summary").is_none()).collect())
    }
    /// The alarms of these traces, in their order; watched on every processor.
    ///
    /// # Errors
    /// As [`Program::json`].
    pub fn alarms(&self, procedure: &Path, traces: &[Trace]) -> Result<Vec<Vec<Alarm>>, String> {
        let parts: Result<Vec<_>, String> =
            traces.par_chunks(25).map(|part| self.alarms_of_part(procedure, part)).collect();
        Ok(parts?.into_iter().flatten().collect())
    }
    fn alarms_of_part(&self, procedure: &Path, traces: &[Trace]) -> Result<Vec<Vec<Alarm>>, String> {
        let words = ["replay", "--json", "--procedure", shown(procedure)];
        let replays = self.lines(&words, &paths(traces))?;
        let own = |replay: &Value| {
            replay["alarms"].as_array().map(|alarms| alarms.iter().filter_map(Alarm::read).collect())
        };
        replays.iter().map(|replay| own(replay).ok_or("no alarms".into())).collect()
    }
    /// What `trial --suggest` says of these traces; it writes the tuned procedure to `to`.
    ///
    /// # Errors
    /// As [`Program::json`].
    pub fn suggest(&self, procedure: &Path, traces: &[Trace], to: &Path) -> Result<Value, String> {
        let words = [
            "trial",
            "--json",
            "--suggest",
            "--grace",
            "25",
            "--procedure",
            shown(procedure),
            "--output",
            shown(to),
        ];
        self.json(&words, &paths(traces))
    }
}

/// A path as a word of a command line.
///
/// # Panics
/// It is no UTF-8: all paths here are made here.
pub fn shown(path: &Path) -> &str {
    path.to_str().expect("UTF-8")
}

fn paths(traces: &[Trace]) -> Vec<&Path> {
    traces.iter().map(|trace| trace.path.as_path()).collect()
}
