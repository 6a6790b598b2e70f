//! Where a value of a plan comes from.

use crate::input::procedure_file::ProcedureFile;
use crate::input::setting::{Setting, Subject};

/// Where a value comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Origin {
    /// It was asked for.
    Asked,
    /// The procedure gives it.
    Procedure,
    /// The benchmark turn time of the trade, at the same surface speed.
    Benchmark,
    /// The procedure's turn time for its own diameter, at the same surface speed.
    SurfaceSpeedKept,
    /// The melting law, for the current.
    MeltedByCurrent,
    /// What the band height of the procedure takes.
    ForHeight,
    /// The weave width stands in for the band width.
    WeaveWidth,
    /// Band width less the usual overlap.
    WidthLessOverlap,
    /// The steps that fill the width asked for.
    FillsWidth,
    /// Nothing else was said.
    Usual,
}

impl Origin {
    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Asked => "as asked",
            Self::Procedure => "procedure",
            Self::Benchmark => "as 2 min on 127 mm (5 in)",
            Self::SurfaceSpeedKept => "same surface speed",
            Self::MeltedByCurrent => "what the current melts",
            Self::ForHeight => "for the procedure's band height",
            Self::WeaveWidth => "the procedure's weave width",
            Self::WidthLessOverlap => "band width less 3.2 mm (1/8 in) of overlap",
            Self::FillsWidth => "fills the width asked for",
            Self::Usual => "typical",
        }
    }
}

/// A value and where it comes from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Chosen {
    /// The value, in the house unit.
    pub value: f64,
    /// Where it comes from.
    pub origin: Origin,
}

impl Chosen {
    /// What was asked for, else what the procedure gives.
    pub(super) fn first(asked: Option<f64>, procedure: Option<f64>) -> Option<Self> {
        let asked = asked.map(|value| Self { value, origin: Origin::Asked });
        asked.or(procedure.map(|value| Self { value, origin: Origin::Procedure }))
    }
}

/// What the procedure aims at.
pub(super) fn aim(procedure: &ProcedureFile, subject: Subject) -> Option<f64> {
    procedure.setting(subject).and_then(Setting::aim)
}
