//! What a drift over joints comes from.
//!
//! Decides: which causes fit the quantities that drift, and which fits best.
//! Assumes: the signs in [`CAUSES`] (common practice, no source).
//! Never: takes what was not measured for steady; it says so instead. A drift that has gone again speaks
//! for nothing.

use super::Series;
use super::measure::Measure::{self, self as M};
use bandward::rule::Side::{self, High, Low};

/// A cause and its signs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Cause {
    /// Name for machines: the one the table of `findings` has for it.
    pub name: &'static str,
    /// What happens, for people.
    pub words: &'static str,
    /// What to check.
    pub look_at: &'static str,
    /// All of these drift this way.
    pub signs: &'static [(Measure, Side)],
    /// None of these drifts, in what was measured.
    pub steady: &'static [Measure],
    /// These may drift too, and speak for the cause.
    pub often: &'static [(Measure, Side)],
}

macro_rules! causes {
    ($($name:literal $words:literal, check $look:literal, signs $signs:expr, steady $steady:expr, often $often:expr;)*) => {
        /// Every cause that is known.
        pub const CAUSES: &[Cause] = &[$(Cause {
            name: $name, words: $words, look_at: $look, signs: &$signs, steady: &$steady, often: &$often,
        },)*];
    };
}

causes! {
    "contact-tip-wear" "contact tip wear: the current sags at the same wire feed and gets restless",
        check "the contact tip: change it, then compare the next joint",
        signs [(M::Current, Low)], steady [M::WireFeed],
        often [(M::CurrentSpread, High), (M::VoltageSpread, High), (M::ArcEnergy, Low)];
    "contact-tip-wear" "a contact tip about to go: the current flutters more from joint to joint",
        check "the contact tip, its thread, and the liner",
        signs [(M::CurrentSpread, High)], steady [M::Current], often [(M::VoltageSpread, High)];
    "torch-creeping-up" "the torch is set farther and farther from the work",
        check "stick-out with a gauge, and the clamp of the torch",
        signs [(M::Current, Low)], steady [M::WireFeed, M::CurrentSpread], often [(M::ArcEnergy, Low)];
    "torch-dropping" "the torch is set nearer and nearer to the work",
        check "stick-out with a gauge, and the clamp of the torch",
        signs [(M::Current, High)], steady [M::WireFeed], often [(M::ArcEnergy, High)];
    "wire-slipping" "the wire feeder loses speed: worn rolls, a dirty liner, a brake too tight",
        check "feed rolls and their pressure, liner, spool brake",
        signs [(M::WireFeed, Low)], steady [], often [(M::Current, Low), (M::BandHeight, Low), (M::ArcEnergy, Low)];
    "feed-set-high" "the wire feed was turned up, or its drive speeds up",
        check "the setting of the feeder",
        signs [(M::WireFeed, High)], steady [], often [(M::Current, High), (M::BandHeight, High), (M::ArcEnergy, High)];
    "gas-leak" "the gas falls: the flow meter, a bottle near its end, or a leak",
        check "bottle pressure, flow meter, hose and fittings",
        signs [(M::Gas, Low)], steady [], often [];
    "gas-opened" "the gas rises: the flow meter or the regulator creeps open",
        check "flow meter and regulator",
        signs [(M::Gas, High)], steady [], often [];
    "gas-valve-late" "the gas comes later or stops sooner: the timer or the valve",
        check "gas timer and valve",
        signs [(M::GasPreflow, Low)], steady [], often [];
    "gas-valve-early" "the gas stops sooner after the arc: the timer or the valve",
        check "gas timer and valve",
        signs [(M::GasPostflow, Low)], steady [], often [];
    "source-sagging" "the voltage falls: the setting, a warm cable or a poor ground connection",
        check "voltage setting, cables, ground clamp",
        signs [(M::Voltage, Low)], steady [], often [(M::ShortCircuits, High), (M::ArcEnergy, Low)];
    "voltage-set-high" "the voltage rises: the setting, or a longer arc",
        check "voltage setting and torch height",
        signs [(M::Voltage, High)], steady [], often [(M::ArcEnergy, High)];
    "gas-mixture-wrong" "the wire short-circuits more: gas mixture, voltage or wire has changed",
        check "gas mixture, voltage, batch of wire",
        signs [(M::ShortCircuits, High)], steady [M::Voltage], often [];
    "weave-screw-loosening" "the weave narrows: play in the weave drive, a screw working loose",
        check "screws, belt and bearings of the weave drive",
        signs [(M::WeaveWidth, Low)], steady [], often [(M::WeaveCentreDrift, High)];
    "weave-wide" "the weave widens: its setting or its stops",
        check "the stroke setting of the weave",
        signs [(M::WeaveWidth, High)], steady [], often [];
    "weave-drive-slipping" "the weave slows down: its drive slips or drags",
        check "motor, belt and grease of the weave drive",
        signs [(M::WeaveRate, Low)], steady [], often [];
    "weave-fast" "the weave speeds up: its setting",
        check "the speed setting of the weave",
        signs [(M::WeaveRate, High)], steady [], often [];
    "weave-wandering" "the weave wanders more within a band: the torch slide or its clamp",
        check "torch slide, clamp, cable drag",
        signs [(M::WeaveCentreDrift, High)], steady [M::WeaveWidth], often [];
    "turning-slow" "the pipe turns slower from joint to joint: the drive drags or slips",
        check "spindle drive, belt, chuck jaws, rollers",
        signs [(M::TurnTime, High)], steady [], often [(M::ArcEnergy, High), (M::BandHeight, High)];
    "turning-fast" "the pipe turns faster from joint to joint: its setting",
        check "the speed setting of the spindle",
        signs [(M::TurnTime, Low)], steady [], often [(M::ArcEnergy, Low), (M::BandHeight, Low)];
    "stopped-early" "bands are stopped sooner after the full turn",
        check "where the welder stops, and the overlap setting",
        signs [(M::Overlap, Low)], steady [], often [];
    "step-long" "the step from band to band grows: the carriage or its scale",
        check "carriage stops, scale and clamp",
        signs [(M::StepOver, High)], steady [], often [];
    "step-short" "the step from band to band shrinks: the carriage or its scale",
        check "carriage stops, scale and clamp",
        signs [(M::StepOver, Low)], steady [], often [];
    "coolant-lost" "the torch coolant falls: filter, pump or a kinked hose",
        check "coolant level, filter, pump, hoses",
        signs [(M::Coolant, Low)], steady [], often [];
    "work-cold" "joints are started colder: the preheat falls off",
        check "preheat, and how long a joint waits after it",
        signs [(M::Preheat, Low)], steady [], often [];
    "work-hot" "bands follow each other sooner: the work gets hotter",
        check "waiting time between bands",
        signs [(M::Interpass, High)], steady [], often [];
}

/// What was seen of one sign.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Seen {
    /// It drifts this way.
    Drifts(Measure, Side),
    /// It was watched and is steady.
    Steady(Measure),
    /// It was not measured, or not often enough.
    Unknown(Measure),
}

impl Seen {
    /// In words.
    pub fn words(self) -> String {
        let title = |measure: Measure| measure.description().title;
        match self {
            Self::Drifts(measure, side) => format!("{} {}", title(measure), way(side)),
            Self::Steady(measure) => format!("{} steady", title(measure)),
            Self::Unknown(measure) => format!("{} not known", title(measure)),
        }
    }
}

/// The way of a drift, in words.
pub const fn way(side: Side) -> &'static str {
    match side {
        Side::Low => "falling",
        Side::High => "rising",
    }
}

/// A cause that fits.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Likely {
    /// The cause.
    pub cause: &'static Cause,
    /// What speaks for it, and what is not known.
    pub seen: Vec<Seen>,
}

impl Likely {
    /// Signs that were seen; what is not known does not count.
    fn weight(&self) -> usize {
        self.seen.iter().filter(|seen| !matches!(seen, Seen::Unknown(_))).count()
    }
}

/// The causes that fit, most likely first; of two as likely the one that stands first in the table.
pub fn likely(series: &[Series]) -> Vec<Likely> {
    let mut fitting: Vec<_> = CAUSES.iter().filter_map(|cause| fit(cause, series)).collect();
    fitting.sort_by_key(|likely| std::cmp::Reverse(likely.weight()));
    fitting
}

fn fit(cause: &'static Cause, series: &[Series]) -> Option<Likely> {
    let seen = |measure: Measure| {
        let watched = series.iter().find(|one| one.measure == measure && one.baseline.is_some());
        watched.map_or(Seen::Unknown(measure), |one| {
            one.drifting().map_or(Seen::Steady(measure), |drift| Seen::Drifts(measure, drift.side))
        })
    };
    let drifts = |&(measure, side): &(Measure, Side)| seen(measure) == Seen::Drifts(measure, side);
    if !cause.signs.iter().all(drifts) {
        return None;
    }
    let steady: Vec<_> = cause.steady.iter().map(|&measure| seen(measure)).collect();
    if steady.iter().any(|seen| matches!(seen, Seen::Drifts(..))) {
        return None;
    }
    let often = cause.often.iter().filter(|sign| drifts(sign));
    let moving = cause.signs.iter().chain(often).map(|&(measure, side)| Seen::Drifts(measure, side));
    Some(Likely { cause, seen: moving.chain(steady).collect() })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::table::causes;

    #[test]
    fn every_cause_is_one_of_the_table_that_replay_uses() {
        for cause in CAUSES {
            assert!(causes().iter().any(|known| known.name == cause.name), "{}", cause.name);
        }
    }
}
