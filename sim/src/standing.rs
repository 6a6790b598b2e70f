//! How one value stands to what a procedure says of it.
//!
//! Decides: which range it left, on which side and by how much.
//! Assumes: values in the house unit of the setting.
//! Never: judges anything over time; that is the core's work.

use crate::input::bounds::Bounds;
use crate::input::quantity::{UnitSystem, format, format_end};
use crate::input::setting::Setting;
use crate::input::unit::Dimension;
use bandward::Severity;
use bandward::rule::Side;

/// The range a value left.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Departure {
    /// How bad it is: outside the recommended range, outside the allowed one, or below the floor.
    pub severity: Severity,
    /// The side it left on.
    pub side: Side,
    /// The end of the range that it passed.
    pub limit: f64,
    /// How far beyond, above zero.
    pub off_by: f64,
}

/// Where a value lies against one range; `None` within it.
pub fn beyond(value: f64, bounds: Option<Bounds>, severity: Severity) -> Option<Departure> {
    let bounds = bounds?;
    let low = bounds.low.filter(|low| value < *low);
    let high = bounds.high.filter(|high| value > *high);
    let (side, limit) = low.map(|low| (Side::Low, low)).or(high.map(|high| (Side::High, high)))?;
    Some(Departure { severity, side, limit, off_by: (value - limit).abs() })
}

/// Where a value lies; `None` within everything the procedure gives.
pub fn departure(value: f64, setting: &Setting) -> Option<Departure> {
    let floor = setting.floor.map(|floor| Bounds { low: Some(floor), high: None });
    beyond(value, floor, Severity::Stop)
        .or_else(|| beyond(value, setting.allowed, Severity::Warn))
        .or_else(|| beyond(value, setting.recommended, Severity::Advise))
}

/// A range, as people read it.
pub fn show_bounds(bounds: Bounds, dimension: Dimension, system: UnitSystem) -> String {
    let low = bounds.low.map(|low| format_end(low, true, dimension, system));
    let high = bounds.high.map(|high| format_end(high, false, dimension, system));
    match (low, high) {
        (Some(low), Some(high)) => {
            let unit = high.rsplit_once(' ').map_or("", |(_, unit)| unit);
            let low = low.strip_suffix(unit).map_or(low.as_str(), str::trim_end);
            format!("{low} to {high}")
        }
        (Some(low), None) => format!("at least {low}"),
        (None, Some(high)) => format!("at most {high}"),
        (None, None) => "anything".to_owned(),
    }
}

/// What a procedure recommends and what it allows, as people read it.
fn show_ranges(setting: &Setting, system: UnitSystem) -> (Option<String>, Option<String>) {
    let dimension = setting.subject.dimension();
    let target = setting.target.map(|value| format(value, dimension, system));
    let show = |range| show_bounds(range, dimension, system);
    (target.or(setting.recommended.map(show)), setting.allowed.map(show))
}

/// What a procedure says of a setting in a cell of a table: what is allowed in brackets, without the unit
/// where it has just been said.
pub fn show_setting_in_brief(setting: &Setting, system: UnitSystem) -> String {
    let (Some(recommended), Some(allowed)) = show_ranges(setting, system) else {
        return show_setting(setting, system);
    };
    let unit = recommended.rsplit_once(' ').map_or("", |(_, unit)| unit);
    let allowed = allowed.strip_suffix(unit).map_or(allowed.as_str(), str::trim_end);
    format!("{recommended} ({allowed})")
}

/// What a procedure says of a setting, as people read it.
pub fn show_setting(setting: &Setting, system: UnitSystem) -> String {
    let dimension = setting.subject.dimension();
    let until = |until_c| format!(", until {}", format(until_c, Dimension::Temperature, system));
    let until = setting.until_c.map(until).unwrap_or_default();
    match show_ranges(setting, system) {
        (Some(recommended), Some(allowed)) => format!("{recommended} (allowed {allowed}){until}"),
        (Some(recommended), None) => format!("{recommended}{until}"),
        (None, Some(allowed)) => format!("allowed {allowed}{until}"),
        (None, None) => setting.floor.map_or("nothing".to_owned(), |floor| {
            format!("never below {}", format(floor, dimension, system))
        }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::setting::Subject;
    use bandward::Quantity;

    fn voltage() -> Setting {
        Setting {
            subject: Subject::Judged(Quantity::Voltage),
            target: None,
            recommended: Some(Bounds::between(30.5, 32.5)),
            allowed: Some(Bounds::between(29.5, 33.5)),
            floor: Some(29.0),
            is_judged_where_possible: false,
            until_c: None,
        }
    }

    #[test]
    fn the_worst_range_left_is_told() {
        let of = |value| departure(value, &voltage()).map(|found| (found.severity, found.side, found.limit));
        for within in [30.5, 31.0, 32.5] {
            assert_eq!(of(within), None);
        }
        assert_eq!(of(30.49), Some((Severity::Advise, Side::Low, 30.5)));
        assert_eq!(of(33.5), Some((Severity::Advise, Side::High, 32.5)));
        assert_eq!(of(33.51), Some((Severity::Warn, Side::High, 33.5)));
        assert_eq!(of(29.0), Some((Severity::Warn, Side::Low, 29.5)));
        assert_eq!(of(28.99), Some((Severity::Stop, Side::Low, 29.0)));
        let off_by = departure(28.5, &voltage()).map(|found| found.off_by);
        assert_eq!(off_by, Some(0.5));
    }

    #[test]
    fn a_setting_reads_as_a_person_would_say_it() {
        let show = |setting: Setting| show_setting(&setting, UnitSystem::Metric);
        assert_eq!(show(voltage()), "30.5 to 32.5 V (allowed 29.5 to 33.5 V)");
        let brief = |setting: Setting| show_setting_in_brief(&setting, UnitSystem::Metric);
        assert_eq!(brief(voltage()), "30.5 to 32.5 V (29.5 to 33.5)");
        let open = Some(Bounds { low: Some(29.5), high: None });
        assert_eq!(brief(Setting { allowed: open, ..voltage() }), "30.5 to 32.5 V (at least 29.5)");
        assert_eq!(brief(Setting { recommended: None, ..voltage() }), "allowed 29.5 to 33.5 V");
        let only_floor = Setting { recommended: None, allowed: None, ..voltage() };
        assert_eq!(show(only_floor), "never below 29 V");
        let target = Setting { target: Some(31.0), recommended: None, allowed: None, ..voltage() };
        assert_eq!(show(target), "31 V");
        let inch = Setting {
            subject: Subject::TorchOffset,
            recommended: Some(Bounds::between(19.05, 38.1)),
            allowed: None,
            floor: None,
            target: None,
            is_judged_where_possible: false,
            until_c: None,
        };
        assert_eq!(show_setting(&inch, UnitSystem::Inch), "3/4 to 1 1/2 in");
    }
}
