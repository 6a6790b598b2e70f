//! What may be asked from a page.
//!
//! Decides: which acts there are; none changes a procedure, writes a file or names one.
//! Assumes: nothing.
//! Never: reads what is not exactly one of them.

use bandward::Rule;
use serde::Deserialize;
use serde_json::{Value, json};
use std::net::IpAddr;
use tokio::sync::oneshot;

/// Longest time for which an alarm can be put away from a page, s.
pub const LONGEST_SHELVING_S: u32 = 900;

/// Something a person may ask for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Act {
    /// Acknowledge every active alarm.
    Acknowledge,
    /// Put the alarms of a rule away for a time; 0 takes them back.
    Shelve {
        /// The rule.
        rule: Rule,
        /// For so long, s.
        for_s: u32,
    },
    /// A new joint begins.
    NewJoint,
    /// Re-arm the black box.
    ReleaseBlackBox,
}

/// An act as it is written: each field once, and no other.
#[derive(Deserialize)]
#[serde(tag = "act", rename_all = "kebab-case", deny_unknown_fields)]
enum Asked {
    Acknowledge {},
    Shelve { rule: String, for_s: u32 },
    NewJoint {},
    ReleaseBlackbox {},
}

impl Act {
    /// Reads one; `None` where it is none of them, or has anything besides, or anything twice.
    pub fn read(bytes: &[u8]) -> Option<Self> {
        // A list of values would be read too: an act is an object.
        let asked =
            bytes.trim_ascii_start().starts_with(b"{").then(|| serde_json::from_slice(bytes))?.ok()?;
        Some(match asked {
            Asked::Acknowledge {} => Self::Acknowledge,
            Asked::NewJoint {} => Self::NewJoint,
            Asked::ReleaseBlackbox {} => Self::ReleaseBlackBox,
            Asked::Shelve { rule, for_s } => {
                let rule = Rule::ALL.into_iter().find(|known| known.name() == rule)?;
                (for_s <= LONGEST_SHELVING_S).then_some(Self::Shelve { rule, for_s })?
            }
        })
    }
    /// As a machine reads it.
    pub fn line(self) -> Value {
        match self {
            Self::Acknowledge => json!({ "act": "acknowledge" }),
            Self::Shelve { rule, for_s } => json!({ "act": "shelve", "rule": rule.name(), "for_s": for_s }),
            Self::NewJoint => json!({ "act": "new-joint" }),
            Self::ReleaseBlackBox => json!({ "act": "release-blackbox" }),
        }
    }
}

/// An act that somebody waits for.
#[derive(Debug)]
pub struct AskedAct {
    /// What is asked.
    pub act: Act,
    /// From where.
    pub from: IpAddr,
    pub(super) answer: oneshot::Sender<Result<String, String>>,
}

impl AskedAct {
    /// Tells how it went, in words.
    pub fn answer(self, how: Result<String, String>) {
        // Whoever asked may be gone by now.
        let _ = self.answer.send(how);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_is_exactly_an_act_is_read() {
        for act in [
            Act::Acknowledge,
            Act::NewJoint,
            Act::ReleaseBlackBox,
            Act::Shelve { rule: Rule::GasLow, for_s: 0 },
            Act::Shelve { rule: Rule::GasLow, for_s: LONGEST_SHELVING_S },
        ] {
            assert_eq!(Act::read(act.line().to_string().as_bytes()), Some(act));
        }
        for text in [
            "",
            "null",
            "[]",
            "{}",
            r#"["acknowledge"]"#,
            r#"{"act":"upload"}"#,
            r#"{"act":"acknowledge","act":"acknowledge"}"#,
            r#"{"act":"new-joint","act":"acknowledge"}"#,
            r#"{"act":"shelve","rule":"gas-low","rule":"gas-low","for_s":1}"#,
            r#"{"act":"shelve","rule":"gas-low","for_s":900,"for_s":1}"#,
            r#"{"act":"acknowledge","rule":null}"#,
            r#"{"act":"acknowledge"} {"act":"new-joint"}"#,
            r#"{"act":"acknowledge","file":"/etc/passwd"}"#,
            r#"{"act":"shelve","rule":"gas-low","for_s":901}"#,
            r#"{"act":"shelve","rule":"gas-low","for_s":-1}"#,
            r#"{"act":"shelve","rule":"none","for_s":1}"#,
            r#"{"act":"shelve","rule":"gas-low"}"#,
        ] {
            assert_eq!(Act::read(text.as_bytes()), None, "{text}");
        }
    }
}
