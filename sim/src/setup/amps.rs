//! Amps, which nobody turns: they follow wire feed and stick-out.
//!
//! Decides: how far the feed is turned, or until which reading, and when it is measured again instead.
//! Assumes: more feed is more amps, by no less than its square root, and a longer stick-out fewer.
//! Never: foretells amps for which no law is known.

use super::caution::caution;
use super::consistency::Belonging;
use super::item::{Item, Measured};
use super::melting::{Melting, has_law};
use super::sheet::SetupSheet;
use super::steps::{Step, Walk, is_bad, put, reach};
use super::verdict::Judged;
use crate::input::bounds::Bounds;
use crate::standing::departure;
use bandward::Severity;

impl Walk<'_> {
    /// The amps that a changed stick-out brings, at the feed that stays. Where feed, amps and stick-out do not belong
    /// together none are foretold; where no law is known, as on the negative pole, they are measured again.
    pub(super) fn with_amps_of(&self, mut after: SetupSheet) -> SetupSheet {
        let Some(amps) = self.sheet.size(Item::CURRENT) else { return after };
        if self.is_doubtful() {
            return after;
        }
        // The feed stays, so whatever is fed now is the measure.
        let feed = self.sheet.size(Item::WIRE_FEED).unwrap_or(1000.0);
        if let Some(melting) = Melting::of_machine(&self.sheet, self.procedure, feed, amps) {
            let amps = melting.current(feed, after.size(Item::STICK_OUT));
            return put(&after, Item::CURRENT, Measured::Size(amps));
        }
        after.entries.retain(|entry| entry.item != Item::CURRENT);
        after
    }
    pub(super) fn is_doubtful(&self) -> bool {
        self.state(&self.sheet).1.iter().any(is_bad(Belonging::Feed))
    }
    /// Amps by wire feed. Where feed, amps and stick-out do not belong together one of them is measured
    /// wrong, and nothing is turned before it is known which.
    pub(super) fn set_amps(&mut self) {
        let (settings, fits) = self.state(&self.sheet);
        let is_off =
            |item| settings.iter().any(|judged| judged.item == item && judged.verdict.severity().is_some());
        if self.has_doubt || fits.iter().any(is_bad(Belonging::Feed)) {
            return self.measure_again();
        }
        if !is_off(Item::WIRE_FEED) && !is_off(Item::CURRENT) {
            return;
        }
        // More feed is more amps: where one is too low and the other too high no feed settles both.
        let side = |item| settings.iter().find(|judged| judged.item == item).and_then(Judged::side);
        if let (Some(feed), Some(amps)) = (side(Item::WIRE_FEED), side(Item::CURRENT))
            && feed != amps
        {
            return self.measure_again();
        }
        match (self.sheet.size(Item::WIRE_FEED), self.sheet.size(Item::CURRENT)) {
            (Some(_), Some(_)) if !has_law(&self.sheet, self.procedure) => {
                if is_off(Item::WIRE_FEED) {
                    self.set(Item::WIRE_FEED);
                } else {
                    self.feed_by_reading();
                }
            }
            (Some(feed), Some(current)) => self.feed_and_amps(feed, current),
            (Some(_), None) => self.set(Item::WIRE_FEED),
            (None, _) => self.feed_by_reading(),
        }
    }
    /// The feed is turned until the amps are right: where it stands then only a measure tells. Where no amps that are
    /// better lie within its own range, feed and amps do not belong together.
    fn feed_by_reading(&mut self) {
        let setting = self.setting(Item::CURRENT);
        let Some(aim) = setting.and_then(|setting| setting.value_to_set()) else { return };
        let amps = self.amps_in_reach(aim);
        let severity =
            |amps: f64| setting.and_then(|setting| departure(amps, &setting)).map(|left| left.severity);
        let is_better = |current: f64| severity(amps) < severity(current);
        if !self.sheet.size(Item::CURRENT).is_none_or(is_better) {
            return self.measure_again();
        }
        let mut after = put(&self.sheet, Item::CURRENT, Measured::Size(amps));
        after.entries.retain(|entry| entry.item != Item::WIRE_FEED);
        self.take(Item::WIRE_FEED, None, Some((Item::CURRENT, amps)), after);
    }
    /// The amps nearest to the aim that the feed surely comes to within its own range, where it has one. For lack of a
    /// law: amps grow at least as the square root of the feed (Joule heat of the wire alone), and at most with it.
    fn amps_in_reach(&self, aim: f64) -> f64 {
        let sizes = self.sheet.size(Item::WIRE_FEED).zip(self.sheet.size(Item::CURRENT));
        let setting = self.setting(Item::WIRE_FEED);
        let range = setting.and_then(|setting| setting.recommended.or(setting.allowed));
        let (Some((feed, current)), Some(range)) = (sizes.filter(|(feed, _)| *feed > 0.0), range) else {
            return aim;
        };
        let at = |end: f64| current * (end / feed).sqrt();
        if aim > current {
            range.high.map_or(aim, |high| aim.min(at(high).max(current)))
        } else {
            range.low.map_or(aim, |low| aim.max(at(low).min(current)))
        }
    }
    fn feed_and_amps(&mut self, feed: f64, current: f64) {
        // No wire, or no current, was read on an arc: nothing can be worked out from that.
        let Some(melting) = Melting::of_machine(&self.sheet, self.procedure, feed, current) else {
            return self.measure_again();
        };
        let stick_out = self.sheet.size(Item::STICK_OUT);
        let setting = self.setting(Item::WIRE_FEED);
        let aim_amps = self.setting(Item::CURRENT).and_then(|setting| setting.value_to_set());
        let for_amps = aim_amps.map(|amps| melting.feed(amps, stick_out.unwrap_or(24.0)));
        let aim = setting.and_then(|setting| setting.value_to_set()).or(for_amps).unwrap_or(feed);
        let range = range_of_feed(self, feed, aim);
        let put_to = |value| self.fed(value).unwrap_or_else(|| self.sheet.clone());
        // A feed that would drive the amps out of what is allowed settles nothing: one of the readings is wrong.
        let severity = |sheet: &SetupSheet| {
            let judged = self.state(sheet).0.into_iter().find(|judged| judged.item == Item::CURRENT);
            judged.and_then(|judged| judged.verdict.severity()).filter(|severity| *severity >= Severity::Warn)
        };
        let is_sound = |(_, after): &(f64, SetupSheet)| severity(after) <= severity(&self.sheet);
        match self.best(range, aim, put_to).filter(is_sound) {
            Some((value, after)) => {
                let amps = after.size(Item::CURRENT).map(|amps| (Item::CURRENT, amps));
                self.take(Item::WIRE_FEED, Some(Measured::Size(value)), amps, after);
            }
            None => self.measure_again(),
        }
    }
    /// The sheet with another feed, and the amps that it brings; without amps where no law tells them.
    pub(super) fn fed(&self, to: f64) -> Option<SetupSheet> {
        let feed = self.sheet.size(Item::WIRE_FEED)?;
        let mut after = put(&self.sheet, Item::WIRE_FEED, Measured::Size(to));
        let Some(current) = self.sheet.size(Item::CURRENT) else { return Some(after) };
        if let Some(melting) = Melting::of_machine(&self.sheet, self.procedure, feed, current) {
            let amps = melting.current(to, self.sheet.size(Item::STICK_OUT));
            return Some(put(&after, Item::CURRENT, Measured::Size(amps)));
        }
        after.entries.retain(|entry| entry.item != Item::CURRENT);
        Some(after)
    }
    fn measure_again(&mut self) {
        let mut after = self.sheet.clone();
        after.entries.retain(|entry| ![Item::WIRE_FEED, Item::CURRENT].contains(&entry.item));
        self.steps.push(Step {
            turn: Item::WIRE_FEED,
            how:
                "measure wire feed and current again before the feed is turned: they do not belong together \
                  at this stick-out. Where they read the same again look for another wire than the procedure's, \
                  slipping rolls, a worn tip, a loose lead, a wrong stick-out or pole; where nothing is found this \
                  machine needs figures of its own in a qualified procedure"
                    .to_owned(),
            from: None,
            to: None,
            until: None,
            settles: Vec::new(),
            measures: vec![Item::WIRE_FEED, Item::CURRENT],
            moves: Vec::new(),
            moves_also: "",
            caution: caution(Item::WIRE_FEED, None),
        });
        self.sheet = after;
    }
}

/// Where the feed may be put: what the procedure gives, else around where it is and where it should be.
pub(super) fn range_of_feed(walk: &Walk<'_>, feed: f64, aim: f64) -> Bounds {
    let around = Bounds::between(0.5 * feed.min(aim), 1.5 * feed.max(aim));
    walk.setting(Item::WIRE_FEED).map_or(around, |setting| reach(&setting, feed))
}
