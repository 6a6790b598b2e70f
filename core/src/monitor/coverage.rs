//! What is judged and what is not, and why.
//!
//! Decides: whether a rule can be judged with a procedure, its channels and its sample rate.
//! Assumes: nothing.
//! Never: takes silence for a good reading.

use super::Monitor;
use crate::judge;
use crate::rule::{Quantity, Rule};
use crate::sample::{Channel, ChannelSet};
use crate::transfer;
use crate::weave;
use serde::{Deserialize, Serialize};

/// Why a rule is not judged, or was not for a time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum NotJudged {
    /// The procedure gives no range for it.
    NoRange,
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

impl Monitor {
    /// Why a rule is not judged, or was not for a time.
    pub fn not_judged(&self, rule: Rule) -> Option<NotJudged> {
        if let Some(reason) = self.cannot_judge(rule) {
            return Some(reason);
        }
        if let Some(channel) = self.lost.intersection(rule.needs()).iter().next() {
            return Some(NotJudged::ChannelLost(channel));
        }
        if self.judged.contains(rule) {
            return None;
        }
        match rule {
            Rule::GasPreflow | Rule::PreheatLow | Rule::InterpassHigh if self.start_unseen => {
                Some(NotJudged::StartUnseen)
            }
            _ if self.end_unseen.contains(rule) => Some(NotJudged::EndUnseen),
            _ => Some(NotJudged::NeverApplied),
        }
    }

    /// Why a rule can never be judged with this procedure and these channels.
    pub(crate) fn cannot_judge(&self, rule: Rule) -> Option<NotJudged> {
        let channels = self.acquisition.channels;
        if let Some((quantity, side)) = rule.watches() {
            let limits = self.procedure.limits(quantity);
            let setting = self.procedure.alarm(rule);
            let tiers = crate::envelope::Tiers::of(rule);
            if !limits.is_some_and(|limits| crate::envelope::has_limit(limits, side, &setting, tiers)) {
                return Some(NotJudged::NoRange);
            }
        }
        if rule == Rule::PolarityWrong && self.procedure.polarity.is_none() {
            return Some(NotJudged::NoRange);
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
        let needed_mhz = self.needed_rate_mhz(rule);
        (!judge::rate_allows(rule, self)).then_some(NotJudged::RateTooLow { needed_mhz })
    }

    /// The sample rate a rule needs, thousandths of a hertz; 0: any.
    pub(crate) fn needed_rate_mhz(&self, rule: Rule) -> u32 {
        match rule {
            Rule::TransferShortCircuits => transfer::NEEDED_RATE_MHZ,
            Rule::SpindleSlip | Rule::SpindleStall => crate::spindle::NEEDED_RATE_MHZ,
            Rule::WeaveRateLow
            | Rule::WeaveRateHigh
            | Rule::WeaveWidthLow
            | Rule::WeaveWidthHigh
            | Rule::WeaveCentreDrift => {
                let fastest = self
                    .procedure
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
}
