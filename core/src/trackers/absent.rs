//! What stands in for a tracker that a feature leaves out: it holds nothing and knows nothing, so that whatever
//! asks it compiles to nothing.
//!
//! Decides: nothing. Each answer is that of the tracker itself before its first reading.
//! Assumes: the channels of these trackers count as not wired, see [`crate::watched`].
//! Never: holds a byte.
#![allow(clippy::unused_self, clippy::needless_pass_by_ref_mut)] // the same calls as those of the trackers

#[cfg(not(feature = "gas"))]
pub(crate) use gas::{AbsentMean, GasTracker};
#[cfg(not(feature = "motion"))]
pub(crate) use motion::{SpindleTracker, WeaveTracker};

#[cfg(not(feature = "motion"))]
mod motion {
    use crate::trackers::spindle::{Direction, Motion};
    use crate::units::Angle;

    /// In place of [`crate::trackers::weave::WeaveTracker`].
    #[derive(Clone, Debug)]
    pub(crate) struct WeaveTracker<const N: usize>;

    impl<const N: usize> WeaveTracker<N> {
        pub(crate) const fn begin_band(&mut self, _now_us: u64) {}
        pub(crate) const fn new() -> Self {
            Self
        }
        pub(crate) const fn push(&mut self, _now_us: u64, _position: i32) {}
        pub(crate) const fn settle_end(&mut self) {}
        pub(crate) const fn settle(&mut self) -> Option<u64> {
            None
        }
        pub(crate) const fn rate(&self) -> Option<i32> {
            None
        }
        pub(crate) const fn is_known(&self) -> bool {
            false
        }
        pub(crate) const fn width(&self) -> Option<i32> {
            None
        }
        pub(crate) const fn looked_back_us(&self) -> u64 {
            0
        }
        pub(crate) const fn width_bounds(&self) -> Option<(i32, i32)> {
            None
        }
        pub(crate) const fn settled_centre(&self) -> Option<i32> {
            None
        }
        pub(crate) const fn is_too_coarse(&self) -> bool {
            false
        }
        pub(crate) const fn clear(&mut self) {}
    }

    /// In place of [`crate::trackers::spindle::SpindleTracker`].
    #[derive(Clone, Debug)]
    pub(crate) struct SpindleTracker<const S: usize, const L: usize>;

    impl<const S: usize, const L: usize> SpindleTracker<S, L> {
        pub(crate) const fn new() -> Self {
            Self
        }
        pub(crate) const fn declare_resolution(&mut self, _count: u32) {}
        pub(crate) const fn push_after(&mut self, _now_us: u64, _angle: Angle, _stays: bool) -> bool {
            false
        }
        pub(crate) const fn lose(&mut self) {}
        pub(crate) const fn total(&self) -> i64 {
            0
        }
        pub(crate) const fn begin_band(&mut self) {}
        pub(crate) const fn step_on(&mut self) {}
        pub(crate) const fn has_leapt(&self) -> bool {
            false
        }
        pub(crate) const fn take_late_start(&mut self) -> bool {
            false
        }
        pub(crate) const fn take_stand_us(&mut self) -> Option<u32> {
            None
        }
        pub(crate) const fn forget_speed(&mut self) {}
        pub(crate) const fn tick(&mut self, _next_us: u64) {}
        pub(crate) const fn settle(&mut self) {}
        pub(crate) const fn motion(&self) -> Motion {
            Motion::Unknown
        }
        pub(crate) const fn is_too_coarse(&self) -> bool {
            true
        }
        pub(crate) const fn can_judge_stall(&self) -> bool {
            false
        }
        pub(crate) const fn can_judge_slip(&self) -> bool {
            false
        }
        pub(crate) const fn resolution(&self) -> Option<u32> {
            None
        }
        pub(crate) const fn direction(&self) -> Option<Direction> {
            None
        }
        pub(crate) const fn speed(&self) -> Option<i32> {
            None
        }
        pub(crate) const fn usual_speed(&self) -> Option<i32> {
            None
        }
        pub(crate) const fn turn_time(&self) -> Option<i32> {
            None
        }
        pub(crate) const fn latest_turn_time_bounds(&self) -> Option<(i32, i32)> {
            None
        }
        pub(crate) const fn turn_time_bounds(&self) -> Option<(i32, i32)> {
            None
        }
    }
}

/// In place of [`crate::trackers::transfer::DipCounter`].
#[cfg(not(feature = "transfer"))]
#[derive(Clone, Debug)]
pub(crate) struct DipCounter<const N: usize>;

#[cfg(not(feature = "transfer"))]
impl<const N: usize> DipCounter<N> {
    pub(crate) const fn new() -> Self {
        Self
    }
    pub(crate) const fn push(&mut self, _now_us: u64, _volts: i32) {}
    pub(crate) const fn tick(&mut self, _now_us: u64, _mean: Option<i32>) {}
    pub(crate) const fn total(&self) -> u32 {
        0
    }
    pub(crate) const fn rate(&self) -> Option<i32> {
        None
    }
    pub(crate) const fn restart(&mut self, _now_us: u64) {}
}

#[cfg(not(feature = "gas"))]
mod gas {
    use crate::statistics::Block;
    use crate::trackers::gas::Flowed;

    const NONE: Flowed = Flowed { time_us: 0, at_least: false, is_lost: false, slack_us: 0, stale_us: 0 };

    /// In place of [`crate::trackers::gas::GasTracker`].
    #[derive(Clone, Debug)]
    pub(crate) struct GasTracker;

    impl GasTracker {
        pub(crate) const fn new(_flows_from: i32) -> Self {
            Self
        }
        pub(crate) const fn forget(&mut self) {}
        pub(crate) const fn lose_time(&mut self, _now_us: u64) {}
        pub(crate) const fn look(
            &mut self,
            _times_us: (u64, u64),
            _flow: (i32, u32),
            _stands_us: Option<(u64, u64)>,
        ) {
        }
        pub(crate) const fn moves_without_an_arc(&self) -> bool {
            false
        }
        pub(crate) const fn push(&mut self, _now_us: u64, _flow: i32, _lit_us: u64) {}
        pub(crate) const fn has_fallen(&self) -> bool {
            false
        }
        pub(crate) const fn opened_within(&self, _settling_us: u64, _now_us: u64) -> bool {
            false
        }
        pub(crate) const fn flows(&self) -> bool {
            false
        }
        pub(crate) const fn is_seen(&self) -> bool {
            false
        }
        pub(crate) const fn before(&self, _struck_us: u64) -> Flowed {
            NONE
        }
        pub(crate) const fn after(&self, _ended_us: u64, _now_us: u64) -> Flowed {
            NONE
        }
    }

    /// In place of the mean of a flow.
    #[derive(Clone, Debug)]
    pub(crate) struct AbsentMean;

    impl AbsentMean {
        pub(crate) const fn new() -> Self {
            Self
        }
        pub(crate) const fn push(&mut self, _now_us: u64, _block: Block) {}
        pub(crate) const fn mean(&self) -> Option<i32> {
            None
        }
        pub(crate) const fn clear(&mut self) {}
    }
}

/// In place of [`crate::trackers::work::WorkTracker`].
#[cfg(not(feature = "heat"))]
#[derive(Clone, Debug)]
pub(crate) struct WorkTracker;

#[cfg(not(feature = "heat"))]
impl WorkTracker {
    pub(crate) fn closed_after(&self, _last_s: u32) -> impl Iterator<Item = (u32, i32)> + use<> {
        core::iter::empty()
    }
    pub(crate) const fn new() -> Self {
        Self
    }
    pub(crate) const fn forget(&mut self) {}
    pub(crate) const fn push(&mut self, _now_us: u64, _temperature: i32) {}
    pub(crate) const fn before(&self, _now_us: u64) -> Option<crate::trackers::work::Before> {
        None
    }
    pub(crate) const fn span_since(&self, _since_us: u64) -> Option<(i32, i32)> {
        None
    }
}
