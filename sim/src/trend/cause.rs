//! What a drift over joints comes from.
//!
//! Decides: which causes fit the quantities that drift, and which fits best.
//! Assumes: the signs in [`CAUSES`] (common practice, no source).
//! Never: takes what was not measured for steady; it says so instead. A drift that has gone again speaks
//! for nothing, and what wears is no cause of a step.

use super::Series;
use super::change::Shape;
use super::measure::Measure::{self, self as M};
use super::record::Record;
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
    /// It comes at once, or more and more; either where absent.
    pub shape: Option<Shape>,
    /// All of these drift this way.
    pub signs: &'static [(Measure, Side)],
    /// None of these drifts, in what was measured.
    pub steady: &'static [Measure],
    /// These may drift too, and speak for the cause.
    pub often: &'static [(Measure, Side)],
}

macro_rules! causes {
    ($($name:literal $words:literal, $shape:ident, check $look:literal, signs $signs:expr, steady $steady:expr, often $often:expr;)*) => {
        /// Every cause that is known.
        pub const CAUSES: &[Cause] = &[$(Cause {
            name: $name, words: $words, look_at: $look, shape: $shape, signs: &$signs, steady: &$steady, often: &$often,
        },)*];
    };
}

/// The cause that records which name the spools speak against.
const OF_THE_SPOOL: &str = "wire-batch";

const STEP: Option<Shape> = Some(Shape::Step);
const SLOPE: Option<Shape> = Some(Shape::Slope);
const EITHER: Option<Shape> = None;

causes! {
    "contact-tip-wear" "contact tip wear: the current sags at the same wire feed and gets restless", SLOPE,
        check "the contact tip: change it, then compare the next joint",
        signs [(M::Current, Low)], steady [M::WireFeed],
        often [(M::CurrentSpread, High), (M::VoltageSpread, High), (M::ArcEnergy, Low)];
    "contact-tip-wear" "a contact tip about to go: the current flutters more from joint to joint", SLOPE,
        check "the contact tip, its thread, and the liner",
        signs [(M::CurrentSpread, High)], steady [M::Current], often [(M::VoltageSpread, High)];
    "torch-creeping-up" "the torch creeps farther and farther from the work", SLOPE,
        check "stick-out with a gauge, and the clamp of the torch",
        signs [(M::Current, Low)], steady [M::WireFeed, M::CurrentSpread], often [(M::ArcEnergy, Low)];
    "wire-batch" "another spool or batch of wire: it takes less current at the same feed", STEP,
        check "whether the spool was changed: its batch and diameter; name the event if so",
        signs [(M::Current, Low)], steady [M::WireFeed], often [(M::ArcEnergy, Low), (M::BandHeight, Low)];
    "wire-batch" "another spool or batch of wire: it takes more current at the same feed", STEP,
        check "whether the spool was changed: its batch and diameter; name the event if so",
        signs [(M::Current, High)], steady [M::WireFeed], often [(M::ArcEnergy, High), (M::BandHeight, High)];
    "torch-knocked" "the torch was set or knocked farther from the work at once", STEP,
        check "stick-out with a gauge, and the clamp of the torch",
        signs [(M::Current, Low)], steady [M::WireFeed, M::CurrentSpread], often [(M::ArcEnergy, Low)];
    "torch-dropping" "the torch was set or knocked nearer to the work at once", STEP,
        check "stick-out with a gauge, and the clamp of the torch",
        signs [(M::Current, High)], steady [M::WireFeed], often [(M::ArcEnergy, High)];
    "torch-dropping" "the torch creeps nearer and nearer to the work", SLOPE,
        check "stick-out with a gauge, and the clamp of the torch",
        signs [(M::Current, High)], steady [M::WireFeed], often [(M::ArcEnergy, High)];
    "wire-slipping" "the wire feeder loses speed: worn rolls, a dirty liner, a brake too tight", SLOPE,
        check "feed rolls and their pressure, liner, spool brake",
        signs [(M::WireFeed, Low)], steady [], often [(M::Current, Low), (M::BandHeight, Low), (M::ArcEnergy, Low)];
    "feed-set-low" "the wire feed was turned down, or the wire is held back, at once", STEP,
        check "the setting of the feeder, spool brake, liner",
        signs [(M::WireFeed, Low)], steady [], often [(M::Current, Low), (M::BandHeight, Low), (M::ArcEnergy, Low)];
    "feed-set-high" "the wire feed was turned up, or its drive speeds up", EITHER,
        check "the setting of the feeder",
        signs [(M::WireFeed, High)], steady [], often [(M::Current, High), (M::BandHeight, High), (M::ArcEnergy, High)];
    "gas-leak" "the gas falls: the flow meter, a bottle near its end, or a leak", EITHER,
        check "bottle pressure, flow meter, hose and fittings",
        signs [(M::Gas, Low)], steady [], often [];
    "bottle-running-out" "the gas falls more and more: the bottle runs out", SLOPE,
        check "bottle pressure",
        signs [(M::Gas, Low)], steady [], often [];
    "gas-opened" "the gas rises: the flow meter or the regulator creeps open", EITHER,
        check "flow meter and regulator",
        signs [(M::Gas, High)], steady [], often [];
    "gas-valve-late" "the gas comes later or stops sooner: the timer or the valve", EITHER,
        check "gas timer and valve",
        signs [(M::GasPreflow, Low)], steady [], often [];
    "gas-valve-early" "the gas stops sooner after the arc: the timer or the valve", EITHER,
        check "gas timer and valve",
        signs [(M::GasPostflow, Low)], steady [], often [];
    "source-sagging" "the voltage falls: the setting, a warm cable or a poor ground connection", EITHER,
        check "voltage setting, cables, ground clamp",
        signs [(M::Voltage, Low)], steady [], often [(M::ShortCircuits, High), (M::ArcEnergy, Low)];
    "voltage-set-low" "the voltage was turned down", STEP,
        check "voltage setting",
        signs [(M::Voltage, Low)], steady [], often [(M::ShortCircuits, High), (M::ArcEnergy, Low)];
    "voltage-set-high" "the voltage rises: the setting, or a longer arc", EITHER,
        check "voltage setting and torch height",
        signs [(M::Voltage, High)], steady [], often [(M::ArcEnergy, High)];
    "gas-mixture-wrong" "the wire short-circuits more: gas mixture, voltage or wire has changed", EITHER,
        check "gas mixture, voltage, batch of wire",
        signs [(M::ShortCircuits, High)], steady [M::Voltage], often [];
    "weave-screw-loosening" "the weave narrows: play in the weave drive, a screw working loose", SLOPE,
        check "screws, belt and bearings of the weave drive",
        signs [(M::WeaveWidth, Low)], steady [], often [(M::WeaveCentreDrift, High)];
    "weave-narrow" "the weave was set narrower", STEP,
        check "the stroke setting of the weave",
        signs [(M::WeaveWidth, Low)], steady [], often [];
    "weave-wide" "the weave widens: its setting or its stops", EITHER,
        check "the stroke setting of the weave",
        signs [(M::WeaveWidth, High)], steady [], often [];
    "weave-drive-slipping" "the weave slows down: its drive slips or drags", SLOPE,
        check "motor, belt and grease of the weave drive",
        signs [(M::WeaveRate, Low)], steady [], often [];
    "weave-slow" "the weave was set slower", STEP,
        check "the speed setting of the weave",
        signs [(M::WeaveRate, Low)], steady [], often [];
    "weave-fast" "the weave speeds up: its setting", EITHER,
        check "the speed setting of the weave",
        signs [(M::WeaveRate, High)], steady [], often [];
    "weave-wandering" "the weave wanders more within a band: the torch slide or its clamp", EITHER,
        check "torch slide, clamp, cable drag",
        signs [(M::WeaveCentreDrift, High)], steady [M::WeaveWidth], often [];
    "turning-slow" "the pipe turns slower from joint to joint: the drive drags or slips", SLOPE,
        check "spindle drive, belt, chuck jaws, rollers",
        signs [(M::TurnTime, High)], steady [], often [(M::ArcEnergy, High), (M::BandHeight, High)];
    "turning-slow" "the pipe turns slower at once: the setting of the spindle", STEP,
        check "the speed setting of the spindle",
        signs [(M::TurnTime, High)], steady [], often [(M::ArcEnergy, High), (M::BandHeight, High)];
    "turning-fast" "the pipe turns faster: its setting", EITHER,
        check "the speed setting of the spindle",
        signs [(M::TurnTime, Low)], steady [], often [(M::ArcEnergy, Low), (M::BandHeight, Low)];
    "stopped-early" "bands are stopped sooner after the full turn", EITHER,
        check "where the welder stops, and the overlap setting",
        signs [(M::Overlap, Low)], steady [], often [];
    "step-long" "the step from band to band grows: the carriage or its scale", EITHER,
        check "carriage stops, scale and clamp",
        signs [(M::StepOver, High)], steady [], often [];
    "step-short" "the step from band to band shrinks: the carriage or its scale", EITHER,
        check "carriage stops, scale and clamp",
        signs [(M::StepOver, Low)], steady [], often [];
    "coolant-lost" "the torch coolant falls: filter, pump or a kinked hose", EITHER,
        check "coolant level, filter, pump, hoses",
        signs [(M::Coolant, Low)], steady [], often [];
    "work-cold" "joints are started colder: the preheat falls off", EITHER,
        check "preheat, and how long a joint waits after it",
        signs [(M::Preheat, Low)], steady [], often [];
    "work-hot" "bands follow each other sooner: the work gets hotter", EITHER,
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

/// Several settings at once.
const SETTINGS_CHANGED: Cause = Cause {
    name: "settings-changed",
    words: "several settings changed at the same joint: another procedure, revision or kind of joint",
    look_at: "which procedure the joints were welded by; name the event, or keep their records apart",
    shape: STEP,
    signs: &[],
    steady: &[],
    often: &[],
};
/// What a welder sets, each by itself.
const SETTINGS: [Measure; 8] =
    [M::Voltage, M::WireFeed, M::Gas, M::WeaveRate, M::WeaveWidth, M::TurnTime, M::StepOver, M::Preheat];

/// A cause that fits.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Likely {
    /// The cause.
    pub cause: &'static Cause,
    /// The group of joints it is about, counted from 0.
    pub group: usize,
    /// What speaks for it, and what is not known.
    pub seen: Vec<Seen>,
    /// What drifts has the shape of the cause.
    pub has_its_shape: bool,
    /// The records name one spool before and after: another one was put on by mistake, if at all.
    pub is_contradicted: bool,
}

impl Likely {
    /// Signs that drift, the shape being one; all that is steady is one more, or a cause with a longer list
    /// would win by it.
    fn weight(&self) -> usize {
        let drifts = self.seen.iter().filter(|seen| matches!(seen, Seen::Drifts(..))).count();
        let is_any_steady = self.seen.iter().any(|seen| matches!(seen, Seen::Steady(_)));
        drifts + usize::from(is_any_steady) + usize::from(self.has_its_shape)
    }
}

/// The causes that fit, most likely first; of two as likely the one that stands first in the table. What the records
/// contradict comes last.
pub fn likely(series: &[Series], records: &[Record], groups: usize) -> Vec<Likely> {
    let mut fitting: Vec<Likely> = Vec::new();
    for group in 0..groups {
        let own: Vec<&Series> = series.iter().filter(|one| one.group == group).collect();
        fitting.extend(settings_changed(&own, group));
        let is_contradicted =
            own.iter().any(|one| one.measure == M::Current && keeps_its_spool(one, records));
        fitting.extend(CAUSES.iter().filter_map(|cause| fit(cause, &own, group)).map(|likely| Likely {
            is_contradicted: is_contradicted && likely.cause.name == OF_THE_SPOOL,
            ..likely
        }));
    }
    fitting.sort_by_key(|likely| (likely.is_contradicted, std::cmp::Reverse(likely.weight())));
    fitting
}

/// Do the records name the same spool on either side of where a quantity changed?
fn keeps_its_spool(series: &Series, records: &[Record]) -> bool {
    let Some(change) = series.drifting().and_then(|drift| drift.change) else { return false };
    let spool = |at: usize| records.get(series.points.get(at)?.joint)?.context.spool.as_ref();
    let before = spool(change.from.saturating_sub(1));
    before.is_some() && before == spool(change.to)
}

fn shape_of(series: &Series) -> Shape {
    series.drifting().and_then(|drift| drift.change).map_or(Shape::NotTold, |change| change.shape)
}

fn fit(cause: &'static Cause, series: &[&Series], group: usize) -> Option<Likely> {
    let of = |measure: Measure| series.iter().find(|one| one.measure == measure && one.baseline.is_some());
    let seen = |measure: Measure| {
        of(measure).map_or(Seen::Unknown(measure), |one| {
            one.drifting().map_or(Seen::Steady(measure), |drift| Seen::Drifts(measure, drift.side))
        })
    };
    let drifts = |&(measure, side): &(Measure, Side)| seen(measure) == Seen::Drifts(measure, side);
    if !cause.signs.iter().all(drifts) {
        return None;
    }
    let mut shapes = cause.signs.iter().filter_map(|(measure, _)| of(*measure)).map(|one| shape_of(one));
    let is_other = |shape: Shape| shape != Shape::NotTold && Some(shape) != cause.shape;
    if cause.shape.is_some() && shapes.clone().any(is_other) {
        return None;
    }
    let steady: Vec<_> = cause.steady.iter().map(|&measure| seen(measure)).collect();
    if steady.iter().any(|seen| matches!(seen, Seen::Drifts(..))) {
        return None;
    }
    let often = cause.often.iter().filter(|sign| drifts(sign));
    let moving = cause.signs.iter().chain(often).map(|&(measure, side)| Seen::Drifts(measure, side));
    let has_its_shape = shapes.any(|shape| Some(shape) == cause.shape);
    let seen = moving.chain(steady).collect();
    Some(Likely { cause, group, seen, has_its_shape, is_contradicted: false })
}

/// Settings that stepped where all of them may have: at a joint that is in the interval of each.
fn settings_changed(series: &[&Series], group: usize) -> Option<Likely> {
    let stepped: Vec<_> = series
        .iter()
        .filter(|one| SETTINGS.contains(&one.measure) && shape_of(one) == Shape::Step)
        .filter_map(|one| {
            let drift = one.drifting()?;
            let joint = |at: usize| one.points.get(at).map(|point| point.joint);
            Some((one.measure, drift.side, joint(drift.change?.from)?, joint(drift.change?.to)?))
        })
        .collect();
    let from = stepped.iter().map(|(_, _, from, _)| *from).max()?;
    let to = stepped.iter().map(|(_, _, _, to)| *to).min()?;
    let seen = stepped.iter().map(|(measure, side, ..)| Seen::Drifts(*measure, *side)).collect();
    (stepped.len() > 1 && from <= to).then_some(Likely {
        cause: &SETTINGS_CHANGED,
        group,
        seen,
        has_its_shape: true,
        is_contradicted: false,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::table::causes;

    #[test]
    fn every_cause_is_one_of_the_table_that_replay_uses_but_what_only_many_joints_show() {
        for cause in CAUSES.iter().filter(|cause| cause.name != OF_THE_SPOOL) {
            assert!(causes().iter().any(|known| known.name == cause.name), "{}", cause.name);
        }
    }
}
