//! The joint as it cools after its last band.
//!
//! Decides: which band was the last, and when the watch of its cooling ends.
//! Assumes: it is asked for only where the procedure limits the cooling and the work temperature is wired.
//! Never: calls the time between bands cooling.

use super::Monitor;
use crate::event::Sink;
use crate::judge::proof;
use crate::record::cooling::{Cooling, Limit, Watch, rate};
use crate::record::proof::{Outcome, Why};
use crate::rule::{Quantity, Rule};
use crate::sample::Channel;
use crate::units::Temperature;

impl Monitor {
    /// Follows the cooling, and holds it against its limit.
    pub(super) fn follow_cooling(&mut self, sink: &mut dyn Sink) {
        let now_us = self.clock.moment.now_us;
        let asked = self.procedure.joint.bands;
        let bands = &mut self.bands;
        // A band whose record waits for its gas is over: it cools already.
        let closing = bands.closing.map(|closing| closing.ended_us);
        let laid = bands.joint.bands().saturating_add(u16::from(closing.is_some()));
        if laid > 0 && laid >= asked && !self.trackers.arc.phase().is_in_band() {
            let allowed = self.procedure.limits(Quantity::Cooling).and_then(|limits| limits.allowed);
            let limit = Limit {
                high: allowed.map_or(i32::MAX, |range| range.high),
                until: self.procedure.cooling_until.map_or(i32::MAX, Temperature::to_bits),
            };
            let railed = self.trackers.signal.is_railed(Channel::Work);
            let last_us = closing.unwrap_or(bands.joint.last_band_us());
            if let Some(cooling) = bands.cooling.as_mut() {
                cooling.follow_from(last_us, now_us, asked == 0);
                cooling.follow(now_us, &self.trackers.work, railed, limit);
            }
        }
        self.judge(Quantity::Cooling, sink);
        let is_broken = || proof::of_cooling(false, self.view()).outcome() == Outcome::Broken;
        if asked > 0 && is_broken() {
            self.bands.joint.broke(Rule::CoolingFast);
        }
    }
    /// Is the cooling watched, by this build and by the procedure?
    pub(super) fn watches_cooling(&self) -> bool {
        Rule::CoolingFast.is_watched() && self.coverage.watched.contains(Rule::CoolingFast)
    }
    /// Is the joint watched while it cools?
    pub(super) fn is_cooling(&self) -> bool {
        self.watches_cooling() && self.bands.cooling.as_ref().is_some_and(Cooling::is_followed)
    }
    /// The joint is over: what its cooling comes to.
    pub(super) fn end_cooling(&mut self, sink: &mut dyn Sink) {
        if let Some(cooling) = self.bands.cooling.as_mut() {
            cooling.conclude();
        }
        if self.watches_cooling() {
            self.judge(Quantity::Cooling, sink);
        }
        let cooling = proof::of_cooling(true, self.view());
        if cooling.why() == Some(Why::EndUnseen)
            && self.bands.cooling.as_ref().is_some_and(|cooling| cooling.watch() == Watch::Open)
        {
            self.coverage.end_unseen(Rule::CoolingFast);
        }
        let fastest = rate(self.bands.cooling.as_ref().and_then(Cooling::fastest));
        self.bands.joint.take_cooling(cooling, fastest);
    }
}
