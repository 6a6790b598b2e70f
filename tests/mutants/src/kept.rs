//! Changes that no test can notice, each with the reason: `tests/mutants.toml`.

use crate::names::Point;
use serde::Deserialize;
use std::collections::BTreeSet;
use std::path::Path;

/// A change that is explained.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Explained {
    /// The file, from `core/src`.
    pub file: String,
    /// The function, with its type.
    pub function: String,
    /// The change, as the report prints it.
    pub change: String,
    /// Why it makes no difference that a test could see.
    pub reason: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct List {
    #[serde(default)]
    explained: Vec<Explained>,
}

/// The list of a project.
///
/// # Errors
/// It cannot be read, or an entry has no reason.
pub fn read(path: &Path) -> Result<Vec<Explained>, String> {
    let text = std::fs::read_to_string(path).map_err(|error| format!("{}: {error}", path.display()))?;
    let list: List = toml::from_str(&text).map_err(|error| format!("{}: {error}", path.display()))?;
    match list.explained.iter().find(|each| each.reason.trim().is_empty()) {
        Some(bare) => Err(format!("{} {} {}: has no reason", bare.file, bare.function, bare.change)),
        None => Ok(list.explained),
    }
}

impl Explained {
    /// Is it this change?
    pub fn is(&self, point: &Point) -> bool {
        (&self.file, &self.function, &self.change) == (&point.file, &point.function, &point.change)
    }
}

/// Entries about files that were looked at which name no change that survived.
pub fn stale<'a>(list: &'a [Explained], survived: &[&Point], files: &BTreeSet<&str>) -> Vec<&'a Explained> {
    let looked_at = list.iter().filter(|each| files.contains(each.file.as_str()));
    looked_at.filter(|each| !survived.iter().any(|point| each.is(point))).collect()
}
