//! Evidence: a sentence with figures and times that a person can check in the trace.
//!
//! Decides: how figures read in a sentence.
//! Assumes: values in the house unit of their dimension.
//! Never: states what was not measured.

use crate::input::quantity::{UnitSystem, format};
use crate::input::unit::Dimension;
use crate::raw::seconds;
use bandward::Channel;

#[derive(Clone, Debug, PartialEq)]
enum Piece {
    Words(String),
    Figure(f64, Dimension),
}

/// A sentence about a piece of the trace.
#[derive(Clone, Debug, PartialEq)]
pub struct Evidence {
    pieces: Vec<Piece>,
    /// The channel to look at, where it is one.
    pub channel: Option<Channel>,
    /// Where to look, µs.
    pub from_us: u64,
    /// Until where to look, µs.
    pub to_us: u64,
}

impl Evidence {
    /// About what lies between two times.
    pub fn between(channel: Option<Channel>, from_us: u64, to_us: u64) -> Self {
        Self { pieces: Vec::new(), channel, from_us, to_us }
    }
    /// With words.
    #[must_use]
    pub fn words(mut self, words: impl Into<String>) -> Self {
        self.pieces.push(Piece::Words(words.into()));
        self
    }
    /// With a figure in the house unit of its dimension.
    #[must_use]
    pub fn figure(mut self, value: f64, dimension: Dimension) -> Self {
        self.pieces.push(Piece::Figure(value, dimension));
        self
    }
    /// With the times it is about.
    #[must_use]
    pub fn times(self) -> Self {
        let (from_s, to_s) = (seconds(self.from_us), seconds(self.to_us));
        self.words(format!(" ({from_s:.1} s to {to_s:.1} s)"))
    }
    /// In the units people use.
    pub fn sentence(&self, system: UnitSystem) -> String {
        let text = |piece: &Piece| match piece {
            Piece::Words(words) => words.clone(),
            Piece::Figure(value, dimension) => format(*value, *dimension, system),
        };
        self.pieces.iter().map(text).collect()
    }
}
