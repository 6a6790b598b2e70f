//! Why a cell tells no time.

use super::fault::What;

/// Why a row has no time.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum TimeError {
    /// The cell is empty, or NaN.
    Absent,
    /// The cell is not a number, or one too large for a time.
    NotANumber,
    /// The time is before zero.
    Negative,
    /// The cell does not fit its format; says so.
    Misfit(String),
}

impl TimeError {
    /// Its kind.
    pub const fn what(&self) -> What {
        match self {
            Self::Absent => What::NoTime,
            Self::NotANumber | Self::Misfit(_) => What::NotATime,
            Self::Negative => What::BeforeZero,
        }
    }
}
