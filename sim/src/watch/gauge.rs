//! One watched quantity: its value against its range.
//!
//! Decides: the words, and where the marks of a bar stand.
//! Assumes: the range makes sense.
//! Never: raises an alarm; a gauge shows the value of this instant, an alarm waits for its delay.

use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::{UnitSystem, format};
use crate::input::setting::{Setting, Subject};
use crate::raw::from_raw;
use crate::standing::departure;
use bandward::rule::Side;
use bandward::{Quantity, Severity};

/// One watched quantity.
#[derive(Clone, Debug, PartialEq)]
pub struct Gauge {
    /// What the procedure gives for it.
    pub setting: Setting,
    /// The value, in the house unit; absent while nothing is judged by it.
    pub value: Option<f64>,
    /// What the sensor shows while nothing is judged by it, where one sensor shows it.
    pub unjudged: Option<f64>,
}

/// Quantities that can be shown while a band goes on; the others are known only once it is over.
pub fn shown() -> impl Iterator<Item = Quantity> {
    Quantity::ALL
        .into_iter()
        .filter(|quantity| !matches!(quantity, Quantity::GasPostflow | Quantity::Overlap))
}

/// A gauge for every quantity the procedure gives a range for; `judged` gives the raw value it is judged
/// by.
pub fn of_procedure(procedure: &ProcedureFile, judged: impl Fn(Quantity) -> Option<i32>) -> Vec<Gauge> {
    let gauge = |quantity: Quantity| {
        let setting = *procedure.setting(Subject::Judged(quantity))?;
        let value = judged(quantity).map(|raw| from_raw(raw, quantity.fraction_bits()));
        Some(Gauge { setting, value, unjudged: None })
    };
    shown().filter_map(gauge).collect()
}

/// How a value stands to its range.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum GaugeState {
    /// Inside all that is given.
    InRange,
    /// Outside; how bad, and on which side.
    Outside(Severity, Side),
    /// There is no value to judge.
    NotJudged,
    /// There is a value, and no range is known here.
    NoRange,
}

impl Gauge {
    /// How it stands.
    pub fn standing(&self) -> GaugeState {
        let Some(value) = self.value else { return GaugeState::NotJudged };
        if self.setting.allowed.is_none()
            && self.setting.recommended.is_none()
            && self.setting.floor.is_none()
        {
            return GaugeState::NoRange;
        }
        departure(value, &self.setting)
            .map_or(GaugeState::InRange, |found| GaugeState::Outside(found.severity, found.side))
    }
    /// How it stands, in words.
    pub fn words(&self) -> &'static str {
        match self.standing() {
            GaugeState::InRange => "in range",
            GaugeState::NotJudged => "not judged",
            GaugeState::NoRange => "no range",
            GaugeState::Outside(Severity::Advise, Side::Low) => "below recommended",
            GaugeState::Outside(Severity::Advise, Side::High) => "above recommended",
            GaugeState::Outside(Severity::Warn, Side::Low) => "LOW",
            GaugeState::Outside(Severity::Warn, Side::High) => "HIGH",
            GaugeState::Outside(Severity::Stop, _) => "BELOW FLOOR",
        }
    }
    /// The value with its unit.
    pub fn shown(&self, system: UnitSystem) -> String {
        self.value
            .or(self.unjudged)
            .map_or("-".to_owned(), |value| format(value, self.setting.subject.dimension(), system))
    }
    /// A bar of so many characters: `[` and `]` are the ends of the allowed range, `═` is
    /// recommended, `█` is the value, `<` and `>` say that it lies beyond the bar.
    pub fn bar(&self, width: usize) -> String {
        let Some((from, to)) = self.extent() else { return " ".repeat(width) };
        let cell = |value: f64| ((value - from) / (to - from) * width as f64).floor();
        let centre = |index: usize| from + (index as f64 + 0.5) / width as f64 * (to - from);
        let outer = self.setting.allowed.or(self.setting.recommended);
        let mut bar: Vec<char> = (0..width)
            .map(|index| {
                let is_in = |range: Option<_>| {
                    range.is_some_and(|range: crate::input::bounds::Bounds| range.contains(centre(index)))
                };
                if is_in(self.setting.recommended) {
                    '═'
                } else if is_in(outer) {
                    '─'
                } else {
                    '·'
                }
            })
            .collect();
        let mut put = |value: f64, mark: char| {
            let place = cell(value).clamp(0.0, width.saturating_sub(1) as f64) as usize;
            if let Some(slot) = bar.get_mut(place) {
                *slot = mark;
            }
        };
        if let Some(range) = outer {
            range.low.into_iter().for_each(|low| put(low, '['));
            range.high.into_iter().for_each(|high| put(high, ']'));
        }
        match self.value {
            Some(value) if value < from => put(value, '<'),
            Some(value) if value >= to => put(value, '>'),
            Some(value) => put(value, '█'),
            None => {}
        }
        bar.into_iter().collect()
    }
    /// Where a value stands on the bar: 0 at its beginning, 1 at its end, and beyond it less or more.
    pub fn place(&self, value: f64) -> Option<f64> {
        let (from, to) = self.extent()?;
        Some((value - from) / (to - from))
    }
    /// What the bar reaches from and to: all marks, and a third more on either side.
    fn extent(&self) -> Option<(f64, f64)> {
        let ranges = [self.setting.allowed, self.setting.recommended];
        let ends = || {
            ranges
                .into_iter()
                .flatten()
                .flat_map(crate::input::bounds::Bounds::ends)
                .chain(self.setting.floor)
        };
        let low = ends().reduce(f64::min)?;
        let high = ends().reduce(f64::max)?;
        // A single end: the bar reaches about as far as the end is from nothing.
        let span = if high > low { high - low } else { low.abs().max(1.0) };
        let open_above = ranges.into_iter().flatten().all(|range| range.high.is_none());
        let open_below =
            ranges.into_iter().flatten().all(|range| range.low.is_none()) && self.setting.floor.is_none();
        let beyond = |is_open: bool| if is_open { span } else { span / 3.0 };
        Some((low - beyond(open_below), high + beyond(open_above)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::bounds::Bounds;
    use crate::input::setting::Subject;
    use bandward::Quantity;

    fn gauge(value: Option<f64>) -> Gauge {
        let setting = Setting {
            subject: Subject::Judged(Quantity::Voltage),
            target: None,
            recommended: Some(Bounds::between(30.0, 32.0)),
            allowed: Some(Bounds::between(29.0, 33.0)),
            floor: Some(27.0),
            is_judged_where_possible: false,
            until_c: None,
        };
        Gauge { setting, value, unjudged: None }
    }

    #[test]
    fn a_value_without_a_range_is_not_called_good() {
        let mut gauge = gauge(Some(31.0));
        gauge.setting = Setting { recommended: None, allowed: None, floor: None, ..gauge.setting };
        assert_eq!((gauge.words(), gauge.bar(9).trim()), ("no range", ""));
        gauge.value = None;
        gauge.unjudged = Some(31.0);
        assert_eq!((gauge.words(), gauge.shown(UnitSystem::Metric).as_str()), ("not judged", "31 V"));
    }

    #[test]
    fn words_say_where_a_value_is() {
        let cases = [
            (Some(31.0), "in range"),
            (Some(29.5), "below recommended"),
            (Some(32.5), "above recommended"),
            (Some(28.0), "LOW"),
            (Some(33.5), "HIGH"),
            (Some(26.0), "BELOW FLOOR"),
            (None, "not judged"),
        ];
        for (value, words) in cases {
            assert_eq!(gauge(value).words(), words, "{value:?}");
        }
    }

    // From 25 to 35 V over 20 characters: half a volt each.
    #[test]
    fn the_marks_of_a_bar_stand_where_the_values_are() {
        assert_eq!(gauge(None).bar(20), "········[─════──]···");
        assert_eq!(gauge(Some(31.2)).bar(20), "········[─══█═──]···");
        assert_eq!(gauge(Some(20.0)).bar(20), "<·······[─════──]···");
        assert_eq!(gauge(Some(50.0)).bar(20), "········[─════──]··>");
        assert_eq!(gauge(Some(f64::MAX)).bar(0), "");
    }
}
