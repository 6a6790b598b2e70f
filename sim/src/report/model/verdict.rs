//! What stands at the top of everything people are shown.
//!
//! Decides: the words of the verdict.
//! Assumes: nothing.
//! Never: judges; it sums up what the core found.

use crate::replay::Replay;

/// How a replay stands as a whole.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    /// Nothing outside the procedure, as far as it was judged.
    Within,
    /// Something outside it.
    Outside,
    /// There was nothing to judge, or nothing to judge it by.
    NotJudged,
}

/// The verdict.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Verdict {
    /// How it stands.
    pub standing: Standing,
    /// The words that matter.
    pub words: &'static str,
    /// The rest of the sentence.
    pub rest: String,
}

impl Verdict {
    /// Of a replay, by a procedure or without one.
    pub fn of(replay: &Replay, has_procedure: bool) -> Self {
        let outside: Vec<String> = replay
            .bands
            .iter()
            .filter(|band| !band.is_within_procedure())
            .map(|band| band.band.to_string())
            .collect();
        let plural = |count: usize| if count == 1 { "band" } else { "bands" };
        let (standing, words, rest) = match (replay.bands.len(), outside.len()) {
            (0, _) => (
                Standing::NotJudged,
                "NO BAND FOUND",
                ": the arc never burned for more than a moment".to_owned(),
            ),
            (_, count @ 1..) => {
                (Standing::Outside, OUTSIDE, format!(": {} {}", plural(count), outside.join(", ")))
            }
            (_, 0) if !replay.is_within_procedure() => {
                let bands = if has_procedure { "; the bands themselves are within" } else { "" };
                (Standing::Outside, OUTSIDE, format!(" between bands{bands}"))
            }
            (count, 0) if !has_procedure => (
                Standing::NotJudged,
                "FOUND",
                format!(": {count} {}; without a procedure nothing was judged", plural(count)),
            ),
            (count, 0) => (
                Standing::Within,
                "WITHIN THE PROCEDURE",
                format!(", as far as it was judged: {count} {}", plural(count)),
            ),
        };
        Self { standing, words, rest }
    }
}

const OUTSIDE: &str = "OUTSIDE THE PROCEDURE";
