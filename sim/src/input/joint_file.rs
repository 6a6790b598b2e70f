//! The joint file: who a joint is, as a person writes it beside its trace (`joint-7.csv` and `joint-7.joint.toml`).
//!
//! Decides: the tables and keys of the file.
//! Assumes: nothing; whatever is wrong in the file is told, all of it.
//! Never: decides whether it or another source is right.

use super::diagnostic::InputErrors;
use super::document::{Document, Section};
use super::joint_field::{JointField, Stated};
use super::source::Source;
use super::text_file;
use crate::output::name;
use crate::output::named;
use anyhow::Context as _;
use std::path::{Path, PathBuf};

/// Something stated, and where.
#[derive(Clone, Debug, PartialEq)]
pub struct Claim {
    /// About what.
    pub field: JointField,
    /// What.
    pub stated: Stated,
    /// Where, for people.
    pub source: String,
}

/// The tables, each with its fields; in `[procedure]` the name is called `name`.
const TABLES: [(&str, &[(&str, JointField)]); 4] = [
    (
        "joint",
        &[
            ("serial", JointField::Serial),
            ("end", JointField::End),
            ("outside_diameter", JointField::OutsideDiameter),
            ("work", JointField::Work),
            ("old_bands", JointField::OldBands),
            ("welded_at", JointField::WeldedAt),
        ],
    ),
    (
        "shop",
        &[
            ("machine", JointField::Machine),
            ("operator", JointField::Operator),
            ("ambient", JointField::Ambient),
        ],
    ),
    (
        "consumables",
        &[
            ("spool", JointField::Spool),
            ("bottle", JointField::Bottle),
            ("gas_certificate", JointField::GasCertificate),
            ("tip", JointField::Tip),
        ],
    ),
    ("procedure", &[("name", JointField::Procedure), ("revision", JointField::Revision)]),
];

/// What a key such as `joint.serial` is about.
pub fn field(path: &str) -> Option<JointField> {
    let (table, key) = path.split_once('.')?;
    let (_, keys) = TABLES.iter().find(|(name, _)| *name == table)?;
    keys.iter().find(|(name, _)| *name == key).map(|(_, field)| *field)
}

/// The files that lie beside a trace under this ending: `joint-7.csv.gz` and `.joint.toml` make `joint-7.joint.toml`.
/// Of a link both places are looked at, that of the link and that of the trace itself. What is there and is no file
/// is told by whoever reads it.
pub fn beside(trace: &Path, ending: &str) -> Vec<PathBuf> {
    let target = trace.canonicalize().ok();
    let mut found: Vec<PathBuf> = Vec::new();
    for place in std::iter::once(trace).chain(target.as_deref()) {
        let (mut stem, _) = name::split(place);
        stem.push(ending);
        let path = place.with_file_name(stem);
        if path.symlink_metadata().is_ok() && !found.iter().any(|other| is_same_file(other, &path)) {
            found.push(path);
        }
    }
    found
}

/// Are the two names of one file?
pub fn is_same_file(one: &Path, other: &Path) -> bool {
    let place = |path: &Path| path.canonicalize().unwrap_or_else(|_| path.to_owned());
    place(one) == place(other)
}

/// The end of the name of a joint file.
pub const ENDING: &str = ".joint.toml";

/// Reads a joint file.
///
/// # Errors
/// The file cannot be read, or [`InputErrors`].
pub fn read(path: &Path) -> anyhow::Result<Vec<Claim>> {
    let name = named(path);
    let text = text_file::read(path).with_context(|| format!("cannot read joint file {name}"))?;
    Ok(parse(&name, &text)?)
}

/// Reads the text of a joint file; `file` is its name in messages.
///
/// # Errors
/// All faults in the text.
pub fn parse(file: &str, text: &str) -> Result<Vec<Claim>, InputErrors> {
    let source = Source::new(file, text);
    let document = Document::new(&source);
    let root = document.root();
    let mut claims = Vec::new();
    for (table, keys) in TABLES {
        let section = root.section(table);
        for &(key, field) in keys {
            claims.extend(claim(&section, key, field, file, text));
        }
        section.finish();
    }
    root.finish();
    document.finish()?;
    Ok(claims)
}

fn claim(
    section: &Section<'_>,
    key: &'static str,
    field: JointField,
    file: &str,
    text: &str,
) -> Option<Claim> {
    let (stated, place) = if field == JointField::OldBands {
        let flag = section.flag(key)?;
        (Stated::Flag(flag.value), flag.place)
    } else {
        let written = section.text(key)?;
        match field.parse(&written.value) {
            Ok(stated) => (stated?, written.place),
            Err(refused) => {
                section.fault(&written.place, refused.problem, refused.allowed);
                return None;
            }
        }
    };
    let line = 1 + text[..place.span.start.min(text.len())].matches('\n').count();
    Some(Claim { field, stated, source: format!("{file}, line {line}") })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_field_has_its_key_and_its_line() {
        let text = "[joint]\nserial = \"TJ-1042\"\nend = \"pin\"\nold_bands = false\n\n[shop]\nambient = \"50 degF\"\n\
                    [procedure]\nname = \"P 7\"\n";
        let claims = parse("a.joint.toml", text).unwrap_or_else(|errors| panic!("{errors}"));
        let told: Vec<_> = claims.iter().map(|claim| (claim.field, claim.source.as_str())).collect();
        assert_eq!(
            told,
            [
                (JointField::Serial, "a.joint.toml, line 2"),
                (JointField::End, "a.joint.toml, line 3"),
                (JointField::OldBands, "a.joint.toml, line 4"),
                (JointField::Ambient, "a.joint.toml, line 7"),
                (JointField::Procedure, "a.joint.toml, line 9"),
            ]
        );
        assert_eq!(claims[3].stated, Stated::Size(10.0));
        let written: Vec<_> = TABLES.iter().flat_map(|(_, keys)| keys.iter().map(|key| key.1)).collect();
        assert!(JointField::ALL.iter().all(|field| written.contains(field)));
    }

    #[test]
    fn all_faults_are_told_with_what_is_allowed() {
        let text = "[joint]\nend = \"middle\"\nwelded_at = \"yesterday\"\nserail = \"x\"\n[shop]\nambient = \"9 V\"\n";
        let told = parse("a.joint.toml", text).expect_err("four faults").to_string();
        for words in [
            "joint.end: `middle` is not one of its choices",
            "\"pin\" or \"box\"",
            "a.joint.toml:3",
            "with its offset",
            "did you mean `serial`?",
            "shop.ambient",
        ] {
            assert!(told.contains(words), "{words}: {told}");
        }
    }
}
