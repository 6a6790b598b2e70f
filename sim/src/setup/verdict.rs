//! One setting as it stands to the procedure.
//!
//! Never: judges; says only what a verdict is.

use super::advice::Advice;
use super::item::{Item, Measured};
use crate::input::setting::Setting;
use crate::standing::Departure;
use bandward::Severity;
use bandward::rule::Side;

/// What the procedure wants of a setting.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Wanted {
    /// Ranges.
    Ranges(Setting),
    /// This and nothing else.
    Exactly(Measured),
}

/// How a setting stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SettingVerdict {
    /// As the procedure wants it.
    Good,
    /// A range was left.
    Departs(Departure, Advice),
    /// Not what the procedure says.
    Differs(Severity, Advice),
    /// The procedure does not say; why.
    NotCompared(&'static str),
    /// Nobody measured it.
    NotMeasured,
}

impl SettingVerdict {
    /// How bad it is, where it is not good.
    pub const fn severity(&self) -> Option<Severity> {
        match self {
            Self::Departs(departure, _) => Some(departure.severity),
            Self::Differs(severity, _) => Some(*severity),
            Self::Good | Self::NotCompared(_) | Self::NotMeasured => None,
        }
    }
    /// What to do about it, where it is not good.
    pub const fn advice(&self) -> Option<Advice> {
        match self {
            Self::Departs(_, advice) | Self::Differs(_, advice) => Some(*advice),
            Self::Good | Self::NotCompared(_) | Self::NotMeasured => None,
        }
    }
}

/// One setting, judged.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Judged {
    /// What it is.
    pub item: Item,
    /// What was found.
    pub value: Option<Measured>,
    /// What the procedure wants.
    pub wanted: Option<Wanted>,
    /// How it stands.
    pub verdict: SettingVerdict,
    /// Was it taken over from the last joint, and not measured on this one?
    pub is_carried: bool,
    /// Was it taken over, and nobody confirmed on this joint that it still stands?
    pub is_unconfirmed: bool,
}

impl Judged {
    /// The side on which it left a range, where it did.
    pub const fn side(&self) -> Option<Side> {
        match self.verdict {
            SettingVerdict::Departs(left, _) => Some(left.side),
            _ => None,
        }
    }
}
