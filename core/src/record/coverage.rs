//! What is judged and what is not, and why.
//!
//! Decides: whether a rule can be judged with a procedure, its channels and its sample rate.
//! Assumes: it is told of every rule that was judged, and of every channel that was lost.
//! Never: takes silence for a good reading.

use crate::acquisition::Acquisition;
use crate::judge::asked::{alarm_waits_too_long, is_asked, measuring_waits_too_long};
use crate::judge::envelope::{Tiers, has_limit};
use crate::procedure::{Procedure, SoundProcedure};
use crate::rule::{Quantity, Rule, RuleSet};
use crate::sample::{Channel, ChannelSet};
use crate::{trackers::spindle, trackers::transfer, trackers::weave};

/// Why a rule is not judged, or was not for a time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum NotJudged {
    /// The procedure gives no range for it.
    NoRange,
    /// The procedure does not give the sizes it is worked out with.
    NoSize,
    /// A channel it needs is not wired.
    NoChannel(Channel),
    /// It needs at least this sample rate.
    RateTooLow {
        /// Needed rate, thousandths of a hertz.
        needed_mhz: u32,
    },
    /// A channel it needs was lost for a time.
    ChannelLost(Channel),
    /// The arc already burned in the first sample, or in the first after a hole in the data.
    StartUnseen,
    /// The data ended before it could be judged.
    EndUnseen,
    /// It never applied: there was no arc, or no second band.
    NeverApplied,
}

/// Weave rates are expected up to this where the procedure gives no range, in cycles a minute.
const FASTEST_WEAVE: u32 = 140;

/// Which rules are judged by a procedure, on samples that come so: worked out from every rule, which takes as long as
/// some samples. A board does it before the sample at which [`Monitor::start_by`](crate::Monitor::start_by) begins.
#[derive(Clone, Copy, Debug)]
pub struct Plan {
    pub(crate) acquisition: Acquisition,
    /// Rules that can be judged with this procedure and these channels.
    watched: RuleSet,
    /// Rules whose limits the procedure asks for.
    asked: RuleSet,
    /// Rules whose alarms the procedure lets come too late to prove anything.
    too_late: RuleSet,
    /// Do samples come fast enough to follow the weave?
    pub(crate) weave_is_followed: bool,
}

/// The longest time between samples, µs.
pub(crate) const SLOWEST_US: u32 = 5_000_000;

impl Plan {
    /// Of a procedure, and samples that come so.
    #[must_use]
    pub fn new(procedure: &SoundProcedure, mut acquisition: Acquisition) -> Self {
        acquisition.period_us = acquisition.period_us.clamp(20, SLOWEST_US);
        // A channel that a feature leaves out counts as not wired.
        acquisition.channels = acquisition.channels.intersection(ChannelSet::WATCHED);
        let measuring_waits = measuring_waits_too_long(procedure);
        Self {
            acquisition,
            watched: RuleSet::of(|rule| cannot_judge(rule, procedure, &acquisition).is_none()),
            asked: RuleSet::of(|rule| is_asked(rule, procedure)),
            too_late: RuleSet::of(|rule| measuring_waits || alarm_waits_too_long(rule, procedure)),
            weave_is_followed: rate_allows(Rule::WeaveRateLow, procedure, &acquisition),
        }
    }
}

/// What was judged so far, and what hindered the rest.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Coverage {
    /// Rules that can be judged with this procedure and these channels.
    pub(crate) watched: RuleSet,
    /// Rules whose limits the procedure asks for.
    pub(crate) asked: RuleSet,
    /// Rules whose alarms the procedure lets come too late to prove anything.
    pub(crate) too_late: RuleSet,
    judged: RuleSet,
    lost: ChannelSet,
    end_unseen: RuleSet,
    pub(crate) start_unseen: bool,
}

impl Coverage {
    /// Of no procedure yet.
    pub(crate) const RESTING: Self = Self {
        watched: RuleSet::EMPTY,
        asked: RuleSet::EMPTY,
        too_late: RuleSet::EMPTY,
        judged: RuleSet::EMPTY,
        lost: ChannelSet::EMPTY,
        end_unseen: RuleSet::EMPTY,
        start_unseen: false,
    };
    /// By a plan, before the first sample.
    pub(crate) const fn new(plan: &Plan) -> Self {
        Self { watched: plan.watched, asked: plan.asked, too_late: plan.too_late, ..Self::RESTING }
    }
    pub(crate) fn judged(&mut self, rule: Rule) {
        self.judged = self.judged.with(rule);
    }
    pub(crate) fn lost(&mut self, channels: ChannelSet) {
        self.lost = self.lost.union(channels);
    }
    pub(crate) fn end_unseen(&mut self, rule: Rule) {
        self.end_unseen = self.end_unseen.with(rule);
    }
    /// Why a rule is not judged, or was not for a time.
    pub(crate) fn not_judged(
        &self,
        rule: Rule,
        procedure: &Procedure,
        acquisition: &Acquisition,
    ) -> Option<NotJudged> {
        if let Some(reason) = cannot_judge(rule, procedure, acquisition) {
            return Some(reason);
        }
        if let Some(channel) = self.lost.intersection(rule.needs()).iter().next() {
            return Some(NotJudged::ChannelLost(channel));
        }
        if self.judged.contains(rule) {
            return None;
        }
        match rule {
            _ if self.start_unseen && is_of_the_start(rule) => Some(NotJudged::StartUnseen),
            _ if self.end_unseen.contains(rule) => Some(NotJudged::EndUnseen),
            _ => Some(NotJudged::NeverApplied),
        }
    }
}

/// Is it about the state before the arc?
const fn is_of_the_start(rule: Rule) -> bool {
    matches!(rule.watches(), Some((Quantity::GasPreflow | Quantity::Preheat | Quantity::Interpass, _)))
}

/// Why a rule can never be judged with this procedure and these channels.
pub(crate) fn cannot_judge(
    rule: Rule,
    procedure: &Procedure,
    acquisition: &Acquisition,
) -> Option<NotJudged> {
    let channels = acquisition.channels;
    if let Some((quantity, side)) = rule.watches() {
        let limits = procedure.limits(quantity);
        let setting = procedure.alarm(rule);
        if !limits.is_some_and(|limits| has_limit(limits, side, &setting, Tiers::of(rule))) {
            return Some(NotJudged::NoRange);
        }
    }
    if rule == Rule::PolarityWrong && procedure.polarity.is_none() {
        return Some(NotJudged::NoRange);
    }
    if rule == Rule::SpindleReversed && procedure.joint.rotation.is_none() {
        return Some(NotJudged::NoRange);
    }
    if let Some((Quantity::BandHeight, _)) = rule.watches()
        && !procedure.geometry.gives_height(channels.contains(Channel::Torch))
    {
        return Some(NotJudged::NoSize);
    }
    if channels.intersection(ChannelSet::ELECTRICAL).is_empty()
        && !rule.is_about_a_channel()
        && rule != Rule::SignalLate
    {
        return Some(NotJudged::NoChannel(Channel::Current));
    }
    if let Some(channel) = rule.needs().minus(channels).iter().next() {
        return Some(NotJudged::NoChannel(channel));
    }
    let needed_mhz = needed_rate_mhz(rule, procedure);
    (!rate_allows(rule, procedure, acquisition)).then_some(NotJudged::RateTooLow { needed_mhz })
}

/// Is the sample rate high enough for the rule?
pub(crate) fn rate_allows(rule: Rule, procedure: &Procedure, acquisition: &Acquisition) -> bool {
    let needed_mhz = u64::from(needed_rate_mhz(rule, procedure));
    // Half a percent of grace: a nominal rate is a rounded number.
    needed_mhz.saturating_mul(u64::from(acquisition.period_us)) <= 1_005_000_000
}

/// The sample rate a rule needs, thousandths of a hertz; 0: any.
fn needed_rate_mhz(rule: Rule, procedure: &Procedure) -> u32 {
    match rule {
        Rule::TransferShortCircuits | Rule::TransferShortCircuitsLow => transfer::NEEDED_RATE_MHZ,
        Rule::SpindleSlip | Rule::SpindleStall | Rule::SpindleReversed => spindle::NEEDED_RATE_MHZ,
        Rule::WeaveRateLow
        | Rule::WeaveRateHigh
        | Rule::WeaveWidthLow
        | Rule::WeaveWidthHigh
        | Rule::WeaveCentreDrift => {
            let fastest = procedure
                .limits(Quantity::WeaveRate)
                .and_then(|limits| limits.allowed)
                .filter(|range| range.high != i32::MAX)
                .and_then(|range| u32::try_from(range.high >> 12).ok())
                .unwrap_or(FASTEST_WEAVE);
            // Cycles a minute to thousandths of a hertz: 1000 / 60.
            fastest.saturating_mul(weave::SAMPLES_PER_CYCLE).saturating_mul(50) / 3
        }
        _ => 0,
    }
}
