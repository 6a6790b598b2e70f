//! One `[[fault]]` of a scenario file.
//!
//! Decides: what its keys mean, and that what is left out is drawn from the seed.
//! Assumes: the joint of the scenario has been read.
//! Never: stops at the first thing that is wrong.

use super::fault::{Fault, Kind, Stage, Start};
use super::file_set::set;
use super::joint::{Joint, Laying};
use super::scenario::Scenario;
use super::sensor::sensor_range;
use crate::input::document::{Place, Section, suggestion};
use crate::input::quantity::{UnitSystem, format};
use crate::input::unit::Dimension;
use bandward::{Channel, Quantity, Rule};

/// Reads a fault and closes its table; `None` where it is not said, or not rightly, what goes wrong.
pub(super) fn read_fault(section: Section<'_>, scenario: &Scenario, seed: u64) -> Option<Fault> {
    // Nothing can be said about the rest while it is not known what goes wrong.
    let kind = read_kind(&section)?;
    let fault = fill(&section, scenario.default_fault(kind, seed), scenario);
    section.finish();
    Some(fault)
}

fn read_kind(section: &Section<'_>) -> Option<Kind> {
    let rules = Kind::rules();
    let kinds: Vec<_> = Kind::ALL.iter().map(|kind| kind.description().name).collect();
    match (section.text("rule"), section.text("kind")) {
        (Some(rule), None) => {
            let named = Rule::from_name(&rule.value);
            let known = named.and_then(Kind::of_rule);
            if known.is_none() {
                let wrong = match named {
                    Some(named) => format!("no fault is made for the rule `{}`", named.name()),
                    None => format!("`{}` is no rule{}", rule.value, suggestion(&rule.value, &rules)),
                };
                section.fault(&rule.place, wrong, rules.join(", "));
            }
            known
        }
        (None, Some(kind)) => {
            let known = Kind::from_name(&kind.value);
            if known.is_none() {
                let hint = suggestion(&kind.value, &kinds);
                section.fault(&kind.place, format!("`{}` is no kind{hint}", kind.value), kinds.join(", "));
            }
            known
        }
        (Some(_), Some(kind)) => {
            section.fault(&kind.place, "a fault has a rule or a kind, not both", "one of the two");
            None
        }
        (None, None) => {
            if !section.has("rule") && !section.has("kind") {
                let allowed = "`rule = \"...\"` with the rule to be raised, or `kind = \"...\"`";
                section.fault(section.place(), "it is not said what goes wrong", allowed);
            }
            None
        }
    }
}

fn fill(section: &Section<'_>, mut fault: Fault, scenario: &Scenario) -> Fault {
    let description = fault.kind.description();
    // Where there is one joint, there is nothing to choose.
    if scenario.shift.joints > 1
        && let Some(joint) = section.whole("joint", 1..i64::from(scenario.shift.joints) + 1)
    {
        fault.joint = joint.value as u16;
    }
    if let Some(band) = section.whole("band", 1..i64::from(scenario.joint.bands) + 1) {
        fault.band = band.value as u16;
        check_band(section, &band.place, fault, &scenario.joint);
    }
    if description.stage == Stage::Weld {
        read_stretch(section, &mut fault);
    }
    if let Some(dimension) = description.size {
        set(section, "size", dimension, fault.kind.possible_sizes(), &mut fault.size);
        refuse_no_fault(section, fault, scenario);
    }
    if fault.kind.needs_channel() {
        let channels = Channel::ALL.map(|channel| (channel.name(), channel));
        if let Some(channel) = section.choice("channel", &channels) {
            let has_end = sensor_range(channel.value).1.is_finite();
            if fault.kind == Kind::ReadingRailed && !has_end {
                let problem = "the range of this sensor has no end to go to";
                section.fault(&channel.place, problem, "any channel but `spindle`");
            }
            fault.channel = Some(channel.value);
        }
    }
    fault
}

/// Work that is no hotter than the procedure allows is no fault, whatever a scenario calls it.
fn refuse_no_fault(section: &Section<'_>, fault: Fault, scenario: &Scenario) {
    if fault.kind != Kind::WorkHot || !section.has("size") {
        return;
    }
    let quantity = if fault.band == 1 { Quantity::Preheat } else { Quantity::Interpass };
    let allowed = scenario.targets.bounds(quantity).and_then(|bounds| bounds.allowed);
    let show = |value| format(value, Dimension::Temperature, UnitSystem::Metric);
    if let Some((_, most_c)) = allowed.filter(|(_, most_c)| most_c.is_finite() && fault.size <= *most_c) {
        let problem = format!("work of {} at band {} is not too hot", show(fault.size), fault.band);
        let possible = show(*fault.kind.possible_sizes().end());
        let wanted = format!("above {}, which the procedure allows, up to {possible}", show(most_c));
        section.fault(section.place(), problem, wanted);
    }
}

/// Under one arc there is one gas, one start and one end.
fn check_band(section: &Section<'_>, place: &Place, fault: Fault, joint: &Joint) {
    if fault.kind == Kind::CooledUncovered && fault.band != joint.bands {
        let problem = format!("the joint does not cool after band {}", fault.band);
        section.fault(place, problem, format!("{}, the last one", joint.bands));
        return;
    }
    let only = fault.kind.band_under_one_arc(joint.bands).filter(|_| joint.laying != Laying::Separate);
    if let Some(only) = only.filter(|&only| only != fault.band) {
        let problem = format!("band {} is laid under the arc of others", fault.band);
        section.fault(place, problem, format!("{only}, where that arc begins or ends"));
    }
}

fn read_stretch(section: &Section<'_>, fault: &mut Fault) {
    let (mut start_s, mut from_deg) = (0.0, 0.0);
    set(section, "start", Dimension::Duration, 0.0..=36_000.0, &mut start_s);
    set(section, "from", Dimension::Angle, 0.0..=720.0, &mut from_deg);
    match (section.has("start"), section.has("from")) {
        (true, false) => fault.start = Start::Seconds(start_s),
        (false, true) => fault.start = Start::Degrees(from_deg),
        (true, true) => {
            let problem = "it starts at a time and at an angle";
            section.fault(section.place(), problem, "`start` or `from`, not both");
        }
        (false, false) => {}
    }
    set(section, "duration", Dimension::Duration, 0.01..=36_000.0, &mut fault.duration_s);
}
