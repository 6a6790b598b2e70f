//! What the monitor holds against the ranges right now, for displays and recordings.
//!
//! Decides: which tracker speaks for a quantity.
//! Assumes: it is asked between samples.
//! Never: judges, nor changes anything.

use crate::arc::Phase;
use crate::event::Position;
use crate::judge::rate_allows;
use crate::monitor::Monitor;
use crate::rule::{Quantity, Rule, Severity};
use crate::sample::Channel;
use crate::units::{Duration, Length, Temperature};
use serde::{Deserialize, Serialize};

/// An alarm that is active.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ActiveAlarm {
    /// The rule.
    pub rule: Rule,
    /// The channel, for rules about one.
    pub channel: Option<Channel>,
    /// The worst severity it reached.
    pub severity: Severity,
    /// A person has seen it.
    pub acknowledged: bool,
    /// A person has put it away for a time.
    pub shelved: bool,
}

impl Monitor {
    /// Every alarm that is active.
    pub fn active_alarms(&self) -> impl Iterator<Item = ActiveAlarm> {
        let rules = Rule::ALL.into_iter().filter(|rule| !rule.is_about_a_channel());
        let channel_of = |rule| self.wrong_pole.filter(|_| rule == Rule::PolarityWrong);
        let of_rules = rules.zip(&self.points).map(move |(rule, point)| (rule, channel_of(rule), point));
        let of_channels = Channel::ALL
            .into_iter()
            .zip(&self.channel_points)
            .map(|(channel, (rule, point))| (*rule, Some(channel), point));
        of_rules.chain(of_channels).filter_map(|(rule, channel, point)| {
            let severity = point.active()?;
            let acknowledged = point.is_acknowledged();
            let shelved = point.is_shelved();
            Some(ActiveAlarm { rule, channel, severity, acknowledged, shelved })
        })
    }
    /// The value the rules about `quantity` were last held against, raw (see
    /// [`Quantity::fraction_bits`]); absent while none of them applies, and where its channel is not
    /// wired, cannot be believed, or is sampled too slowly.
    pub fn reading(&self, quantity: Quantity) -> Option<i32> {
        let rule = Rule::ALL
            .into_iter()
            .find(|rule| rule.watches().is_some_and(|(watched, _)| watched == quantity))?;
        let phase = self.arc.phase();
        let applies = match quantity {
            Quantity::CoolantFlow
            | Quantity::GasPreflow
            | Quantity::StepOver
            | Quantity::Preheat
            | Quantity::Interpass => phase.is_in_band(),
            _ => phase == Phase::Arc,
        };
        let wired = self.acquisition.channels.minus(self.unsound);
        let sound = wired.contains_all(rule.needs()) && rate_allows(rule, self);
        if applies && sound { self.tracked(quantity) } else { None }
    }
    /// Where on the joint the weld was at the last tick.
    pub const fn position(&self) -> Position {
        self.moment.position
    }

    fn tracked(&self, quantity: Quantity) -> Option<i32> {
        let record = &self.tally.record;
        let first_band = record.band <= 1;
        let at_start = record.work_at_start.map(Temperature::to_bits);
        match quantity {
            Quantity::Current => self.current.mean().map(i32::saturating_abs),
            Quantity::Voltage => self.voltage.mean().map(i32::saturating_abs),
            Quantity::ShortCircuitRate => self.dips.rate(),
            Quantity::GasFlow => self.gas_flow.mean(),
            Quantity::GasPreflow => record.gas_preflow.map(Duration::to_bits),
            Quantity::WeaveRate => self.weave.rate(),
            Quantity::WeaveWidth => self.weave.width(),
            Quantity::WeaveCentreDrift => self
                .weave
                .settled_centre()
                .zip(self.tally.weave_centre_start)
                .map(|(centre, start)| centre.saturating_sub(start).saturating_abs()),
            Quantity::TurnTime => self.spindle.turn_time(),
            Quantity::StepOver => record.step_over.map(Length::to_bits),
            Quantity::CoolantFlow => self.coolant_flow.mean(),
            // Known only when the band is over.
            Quantity::GasPostflow | Quantity::Overlap => None,
            Quantity::Preheat => at_start.filter(|_| first_band),
            Quantity::Interpass => at_start.filter(|_| !first_band),
        }
    }
}
