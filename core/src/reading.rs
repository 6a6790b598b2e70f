//! What the monitor holds against the ranges right now, for displays and recordings.
//!
//! Decides: which tracker speaks for a quantity.
//! Assumes: it is asked between samples.
//! Never: judges, nor changes anything.

use crate::arc::Phase;
use crate::event::Position;
use crate::judge::rate_allows;
use crate::monitor::Monitor;
use crate::rule::{Quantity, Rule};
use crate::units::{Duration, Length, Temperature};

impl Monitor {
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
