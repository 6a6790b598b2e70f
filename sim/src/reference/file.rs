//! The files that people write.
//!
//! Decides: which files have keys, and who reads each.
//! Assumes: the readers ask for what they know, see [`survey`].
//! Never: lists a key that no reader asks for.

use crate::input::layout::Layout;
use crate::input::procedure_file::ProcedureFile;
use crate::input::survey::Key;
use crate::input::{joint_file, survey};
use crate::inspection::sheet::Inspection;
use crate::process::fault::Kind;
use crate::process::scenario::Scenario;
use crate::setup::sheet::SetupSheet;
use crate::trend::event_file;
use std::path::Path;

/// A file that people write.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum File {
    /// What a joint must keep to.
    Procedure,
    /// What is where in a foreign log.
    Layout,
    /// What was measured before the arc.
    Setup,
    /// A joint to be made.
    Scenario,
    /// What joint it is.
    Joint,
    /// What was found on the finished bands.
    Inspection,
    /// What was changed between the joints of a trend.
    Events,
}

impl File {
    /// All of them.
    pub const ALL: [Self; 7] = [
        Self::Procedure,
        Self::Layout,
        Self::Setup,
        Self::Scenario,
        Self::Joint,
        Self::Inspection,
        Self::Events,
    ];

    /// What it is called.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Procedure => "procedure",
            Self::Layout => "layout",
            Self::Setup => "setup",
            Self::Scenario => "scenario",
            Self::Joint => "joint",
            Self::Inspection => "inspection",
            Self::Events => "events",
        }
    }
    /// Who reads it.
    pub(super) const fn used_by(self) -> &'static str {
        match self {
            Self::Procedure => {
                "What a joint must keep to: `--procedure FILE` of `plan`, `setup`, `replay`, `trial`, `watch`."
            }
            Self::Layout => {
                "What is where in a log that another program wrote: `--layout FILE` of `replay` and others."
            }
            Self::Setup => "What was measured before the arc: `bandward setup` asks for it and writes it.",
            Self::Scenario => "A joint to be made, with its faults: `bandward synth FILE`.",
            Self::Joint => "What joint a trace is of: `TRACE.joint.toml` beside the trace.",
            Self::Inspection => {
                "What was found on the finished bands: `TRACE.inspection.toml` beside the trace."
            }
            Self::Events => {
                "What was changed between joints: `--events FILE.toml` of `trend`; as CSV its columns are the keys."
            }
        }
    }
    /// Its keys, in the order in which they are read.
    pub fn keys(self) -> Vec<Key> {
        // Whatever is wrong in the texts is of no interest here.
        match self {
            Self::Procedure => survey::keys(|text| drop(ProcedureFile::parse("", text)), &[]),
            Self::Layout => survey::keys(|text| drop(Layout::parse("", text)), &[]),
            Self::Setup => survey::keys(|text| drop(SetupSheet::parse("", text)), &[]),
            Self::Scenario => {
                survey::keys(|text| drop(Scenario::parse("", text, Path::new(""), None)), &scenarios())
            }
            Self::Joint => survey::keys(|text| drop(joint_file::parse("", text)), &[]),
            Self::Inspection => survey::keys(|text| drop(Inspection::parse("", text)), &[]),
            Self::Events => survey::keys(|text| drop(event_file::of_toml("", text)), &[]),
        }
    }
}

/// A fault asks for what belongs to its kind.
fn scenarios() -> Vec<String> {
    let of = |kind: &Kind| {
        let name = kind.description().name;
        format!("[scenario]\nname = \"any\"\n[shift]\njoints = 2\n[[fault]]\nkind = \"{name}\"\n")
    };
    Kind::ALL.iter().map(of).collect()
}
