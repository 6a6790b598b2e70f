//! What is known now, put into the joint unrolled.
//!
//! Decides: which sector what is seen now belongs to, and that what was not seen is not good.
//! Never: takes a turn of one joint for one of another.

use super::gauge::GaugeState;
use super::unrolled::{Sector, Unrolled};
use super::view::View;
use bandward::Severity;

impl Unrolled {
    /// Takes what is known now.
    pub fn take(&mut self, view: &View) {
        let is_welding = view.phase.is_in_band() && !view.is_over && view.band > 0;
        let joint = view.so_far.joint_number;
        if joint != self.joint && (is_welding || self.bands.is_empty()) {
            *self = Self { joint, ..Self::default() };
        }
        let Some(turned) = view.turned_deg.filter(|_| is_welding).map(|turned| turned.max(0.0)) else {
            // A link that is lost in a band leaves a hole in it, from the last place that was seen.
            if !view.is_old() {
                self.last = None;
            }
            self.turned.clear();
            return;
        };
        self.time(view.time_s, turned);
        self.mark(view.band, turned, Sector::of(view));
    }
}

impl Sector {
    /// Of this instant.
    fn of(view: &View) -> Self {
        // One that is shelved makes no noise, and the band is no better for it.
        let worst = view.alarms.iter().map(|alarm| alarm.severity).max();
        match worst {
            Some(Severity::Stop) => Self::Stop,
            Some(Severity::Warn) => Self::Warn,
            Some(Severity::Advise) => Self::Advise,
            None if view.gauges.iter().any(|gauge| gauge.standing() == GaugeState::InRange) => Self::InRange,
            None => Self::NotJudged,
        }
    }
}
