//! The step that brings a joint to a preheat that does.
//!
//! Assumes: amps, volts and turning are as they will be at the arc: they tell what the steel needs.
//! Never: heats or cools a joint that is within what does, nor one for which nothing does.

use super::item::{Item, Measured};
use super::preheat::{does, needed_c, sound, target};
use super::steps::{Walk, put};

impl Walk<'_> {
    /// The joint brought to a preheat that does, as the machine is set by then: amps and turning tell what the steel needs.
    /// One that is within it already is left there; nothing is turned where none does.
    pub(super) fn set_preheat(&mut self) {
        let is_off = self.judged(Item::PREHEAT).is_some_and(|judged| judged.verdict.severity().is_some());
        let Some(from) = self.sheet.size(Item::PREHEAT).filter(|_| is_off) else { return };
        let aim = self.setting(Item::PREHEAT).and_then(|setting| setting.value_to_set());
        let range = sound(&self.sheet, self.procedure);
        let needed_c = needed_c(&self.sheet, self.procedure);
        let Some(to) =
            range.filter(|range| !does(*range, needed_c, from)).and_then(|range| target(range, aim))
        else {
            return;
        };
        let to = Measured::Size(to);
        let after = put(&self.sheet, Item::PREHEAT, to);
        self.take(Item::PREHEAT, Some(to), None, after);
    }
}
