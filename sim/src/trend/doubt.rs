//! Why a quantity that does not drift is not called steady all the same.

/// Why a quantity is not called steady.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Doubt {
    /// Far more of the newest joints stand alone, far off, than before.
    OftenAlone {
        /// Joints set aside.
        alone: usize,
        /// Among so many newest ones.
        of: usize,
    },
    /// The newest joint is far off, and none followed that could tell; no other joint was.
    NewestAlone,
    /// The newest joints have no reading.
    Ended {
        /// The last joint that has one, counted from 0.
        last: usize,
    },
    /// The newest joints are far from the baseline, and only what is known (events, operator, warmth) says why.
    Explained {
        /// How far, in standard deviations of the baseline with all that is known in it.
        deviations: f64,
        /// Their mean, in the house unit.
        mean: f64,
    },
}

impl Doubt {
    /// For machines.
    pub const fn name(self) -> &'static str {
        match self {
            Self::OftenAlone { .. } => "often set aside",
            Self::NewestAlone => "newest joint far off",
            Self::Ended { .. } => "no reading any more",
            Self::Explained { .. } => "far off, by what is known alone",
        }
    }
}
