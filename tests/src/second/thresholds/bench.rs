//! Settings proposed on one half of the joints, held against the other half.
//!
//! Decides: the procedures that are tuned, the halves, and what is noted of a split.

use super::count::{BySeverity, count, later_stops};
use super::library::Trace;
use super::program::{Alarm, Program};
use super::stops::{Change, changes};
use crate::second::random::Chance;
use bandward_sim::input::procedure_file::ProcedureFile;
use serde_json::Value;
use std::path::{Path, PathBuf};

/// A procedure to start from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Start {
    /// The second shop's own.
    Shop,
    /// Limits hardly wider than the recommended range, and no delays: it cries wolf.
    Nervous,
    /// Delays of seconds: it finds late.
    Slow,
}

impl Start {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Shop, Self::Nervous, Self::Slow];
    /// Its name in tables.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Shop => "as the shop has it",
            Self::Nervous => "nervous",
            Self::Slow => "slow",
        }
    }
    /// Writes it into a folder.
    ///
    /// # Errors
    /// It cannot be read or written.
    pub fn write(self, folder: &Path) -> Result<PathBuf, String> {
        let shop = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/second.procedure.toml");
        let text = std::fs::read_to_string(&shop).map_err(|error| error.to_string())?;
        let text = match self {
            Self::Shop => text,
            Self::Nervous => nervous(&text),
            Self::Slow => format!("{text}\n{}", alarms("on_delay = \"2.5 s\"")),
        };
        let path = folder.join(format!("{self:?}.procedure.toml").to_lowercase());
        std::fs::write(&path, text).map_err(|error| error.to_string())?;
        Ok(path)
    }
}

const MEAN_RULES: [&str; 8] = [
    "voltage-low",
    "voltage-high",
    "current-low",
    "current-high",
    "gas-low",
    "gas-high",
    "wire-feed-low",
    "spindle-stall",
];

fn alarms(key: &str) -> String {
    MEAN_RULES.map(|rule| format!("[alarm.{rule}]\n{key}\n")).join("\n")
}

fn nervous(text: &str) -> String {
    let narrower = [
        ("[\"275 A\", \"315 A\"]", "[\"286 A\", \"304 A\"]"),
        ("[\"255 A\", \"335 A\"]", "[\"284 A\", \"306 A\"]"),
        ("[\"30 V\", \"32 V\"]", "[\"30.6 V\", \"31.4 V\"]"),
        ("[\"29.3 V\", \"33 V\"]", "[\"30.5 V\", \"31.5 V\"]"),
        ("[\"15 L/min\", \"18.5 L/min\"]", "[\"15.8 L/min\", \"17.4 L/min\"]"),
        ("[\"14 L/min\", \"20 L/min\"]", "[\"15.7 L/min\", \"17.5 L/min\"]"),
        ("[\"58 /min\", \"95 /min\"]", "[\"70.5 /min\", \"81.5 /min\"]"),
        ("[\"18.2 mm\", \"23.8 mm\"]", "[\"19.9 mm\", \"22.1 mm\"]"),
        ("[\"86 s\", \"98 s\"]", "[\"89 s\", \"95 s\"]"),
    ];
    let text = narrower.iter().fold(text.to_owned(), |text, (wide, narrow)| text.replace(wide, narrow));
    format!("{text}\n{}", alarms("on_delay = \"0 s\""))
}

/// What came of one half.
#[derive(Clone, Debug)]
pub struct Split {
    /// Hits, false alarms and delays on the unseen half before.
    pub before: BySeverity,
    /// The same with the proposed settings; as before where no settings were given out.
    pub after: BySeverity,
    /// Were settings given out?
    pub written: bool,
    /// Settings that differ in the written procedure.
    pub changes: Vec<Change>,
    /// Stops on the unseen half that come later, or no more: trace, rule, time.
    pub later_stops: Vec<String>,
    /// What is wrong with what the program says of its proposal.
    pub complaints: Vec<String>,
    /// Why nothing was given out, in the program's words.
    pub why_not: String,
}

/// A joint on the disk, and its alarms by the procedure to start from.
pub type Watched<'a> = (&'a Trace, &'a [Alarm]);

/// The joints in random order, the first half to tune on.
pub fn halves<'a>(watched: &[Watched<'a>], seed: u64) -> (Vec<Watched<'a>>, Vec<Watched<'a>>) {
    let mut chance = Chance::new(seed, 10);
    let mut order: Vec<(u64, Watched<'a>)> =
        watched.iter().map(|&watched| ((chance.unit() * 1e15) as u64, watched)).collect();
    order.sort_by_key(|(place, _)| *place);
    let mut watched: Vec<Watched<'a>> = order.into_iter().map(|(_, watched)| watched).collect();
    let unseen = watched.split_off(watched.len() / 2);
    (watched, unseen)
}

/// Tunes on one half and holds the settings against the other.
///
/// # Errors
/// The program cannot do it.
pub fn split(
    program: &Program,
    procedure: &Path,
    (tuning, unseen): (&[Watched<'_>], &[Watched<'_>]),
    to: &Path,
) -> Result<Split, String> {
    let traces = |half: &[Watched<'_>]| half.iter().map(|watched| watched.0.clone()).collect::<Vec<_>>();
    let said = program.suggest(procedure, &traces(tuning), to)?;
    let written = to.exists();
    let after = if written {
        program.alarms(to, &traces(unseen))?
    } else {
        unseen.iter().map(|watched| watched.1.to_vec()).collect()
    };
    let tuned = unseen.iter().zip(&after);
    let later = tuned.clone().flat_map(|((trace, before), after)| {
        let name =
            trace.path.file_stem().map_or_else(String::new, |name| name.to_string_lossy().into_owned());
        later_stops(before, after).into_iter().map(move |stop| format!("{name}: {stop}"))
    });
    let differing = if written { differing(procedure, to)? } else { Vec::new() };
    Ok(Split {
        before: count(unseen.iter().copied()),
        later_stops: later.collect(),
        after: count(tuned.map(|((trace, _), after)| (*trace, after.as_slice()))),
        written,
        complaints: complaints(&said["proposal"], &differing, procedure, to)?,
        changes: differing,
        why_not: why_not(&said["proposal"]),
    })
}

/// What differs between two procedure files.
///
/// # Errors
/// One of them is not sound.
pub fn differing(before: &Path, after: &Path) -> Result<Vec<Change>, String> {
    let read = |path: &Path| ProcedureFile::read(path).map_err(|error| format!("{error:#}"));
    Ok(changes(&read(before)?.procedure, &read(after)?.procedure))
}

/// Why nothing was given out: in all, or about the first rule.
fn why_not(said: &Value) -> String {
    let of_rule = || said["nothing_proposed"][0]["why"].as_str();
    said["why_not"].as_str().or_else(of_rule).unwrap_or_default().to_owned()
}

/// Where the program contradicts itself: its list of settings and its file, its parts and their sum.
fn complaints(said: &Value, changes: &[Change], before: &Path, after: &Path) -> Result<Vec<String>, String> {
    let mut complaints = Vec::new();
    let values = said["values"].as_array().map_or(0, Vec::len);
    let confirmed = said["confirmed"].as_bool();
    let written = after.exists();
    if confirmed.is_none() {
        complaints.push("`confirmed` is not told".to_owned());
    }
    if confirmed == Some(false) && (written || values > 0) {
        complaints.push(format!("not confirmed, but {values} values to paste, file: {written}"));
    }
    if written && values != changes.len() {
        complaints.push(format!("{values} values told, {} settings differ in the file", changes.len()));
    }
    complaints.extend(parts_and_sum(said));
    if written {
        complaints.extend(without_comment(before, after)?);
    }
    Ok(complaints)
}

/// The effects of the changes and their interplay against the whole: absent where they agree.
fn parts_and_sum(said: &Value) -> Vec<String> {
    let Some(whole) = said["whole"].as_object() else {
        let none = said["changes"].as_array().is_none_or(Vec::is_empty);
        return if none { Vec::new() } else { vec!["changes without a whole".to_owned()] };
    };
    let differs = |(key, whole): (&String, &Value)| {
        let parts = said["changes"].as_array().into_iter().flatten();
        let sum: f64 = parts.filter_map(|change| change["effect"][key].as_f64()).sum();
        let (sum, whole) = (sum + said["interplay"][key].as_f64().unwrap_or(0.0), whole.as_f64()?);
        ((sum - whole).abs() > 1e-5).then(|| format!("{key}: parts {sum}, whole {whole}"))
    };
    whole.iter().filter_map(differs).collect()
}

/// Changed keys of the written file without a comment right above.
fn without_comment(before: &Path, after: &Path) -> Result<Vec<String>, String> {
    let read = |path: &Path| std::fs::read_to_string(path).map_err(|error| error.to_string());
    let (before, after) = (read(before)?, read(after)?);
    let is_key = |line: &str| line.contains(" = ") && !line.trim_start().starts_with('#');
    let mut old: Vec<&str> = before.lines().filter(|line| is_key(line)).collect();
    let mut above = "";
    let mut bare = Vec::new();
    for line in after.lines() {
        if is_key(line) {
            if let Some(at) = old.iter().position(|was| *was == line) {
                old.remove(at);
            } else if !above.trim_start().starts_with('#') {
                bare.push(format!("no comment above `{}`", line.trim()));
            }
        }
        above = line;
    }
    Ok(bare)
}
