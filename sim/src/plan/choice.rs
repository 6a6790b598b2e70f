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
    /// The weave, and what the pool runs out to on both sides.
    WeaveAndRunOut,
    /// What is usual for the bore of the nozzle.
    NozzleBore,
    /// The procedure's range, at the same angle on another diameter.
    SameAngle,
    /// The trade's range on a 5 in joint, at the same angle.
    BenchmarkAngle,
    /// Band width less the usual overlap.
    WidthLessOverlap,
    /// The steps that fill the width asked for.
    FillsWidth,
    /// The preheat by formula.
    Formula,
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
            Self::WeaveAndRunOut => "weave and what the pool runs out to",
            Self::NozzleBore => "35 ft3/h at 3/4 in, as bore squared",
            Self::SameAngle => "same angle",
            Self::BenchmarkAngle => "as 3/4 to 1 1/2 in on 5 in",
            Self::WidthLessOverlap => "band width less 3.2 mm (1/8 in) of overlap",
            Self::FillsWidth => "fills the width asked for",
            Self::Formula => "as EN 1011-2 asks",
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
