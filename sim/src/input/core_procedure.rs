//! From the tables of a procedure file to what the core runs on.
//!
//! Decides: which alarm and arc settings may be written, and what stands where they are not.
//! Assumes: the ranges of each setting already fit each other.
//! Never: lets through what the core would refuse.

use super::document::{Place, Section};
use super::parts::{Joint, Wire};
use super::quantity::Dimension;
use super::setting::{Setting, Subject, raw_value};
use bandward::procedure::{AlarmSetting, JointPlan, ProcedureError};
use bandward::units::{Current, Length, Temperature, Voltage};
use bandward::{Procedure, Quantity, Rule, Severity};

/// The procedure for the core; takes the tables `alarm` and `arc` of the file.
pub(super) fn core_procedure(
    root: &Section<'_>,
    joint: &Joint,
    wire: &Wire,
    settings: &[Setting],
) -> Procedure {
    let mut procedure = Procedure::new();
    procedure.polarity = wire.polarity;
    fill_geometry(&mut procedure, joint, wire, settings);
    procedure = with_settings(procedure, settings, root);
    procedure = with_alarms(procedure, root.section("alarm"));
    with_arc(procedure, root.section("arc"), settings)
}

fn aim_of(settings: &[Setting], subject: Subject) -> Option<f64> {
    settings.iter().find(|setting| setting.subject == subject).and_then(Setting::aim)
}

fn length(value_mm: f64) -> Length {
    Length::from_bits(raw_value(value_mm, Length::FRACTION_BITS))
}

fn fill_geometry(procedure: &mut Procedure, joint: &Joint, wire: &Wire, settings: &[Setting]) {
    let weave_width = aim_of(settings, Subject::Judged(Quantity::WeaveWidth));
    let geometry = &mut procedure.geometry;
    geometry.outside_diameter = joint.outside_diameter_mm.map(length);
    geometry.wire_diameter = wire.diameter_mm.map(length);
    geometry.deposition_efficiency_milli = (wire.metal_share() * 1000.0).round() as u16;
    geometry.stick_out = aim_of(settings, Subject::StickOut).map(length);
    // The pool runs out to the band's width, which is wider than the weave.
    let run_out_mm = joint.run_out_mm(weave_width);
    geometry.band_width = joint.band_width_mm.or(weave_width.map(|weave| weave + run_out_mm)).map(length);
    geometry.run_out = length(run_out_mm);
    procedure.joint = JointPlan {
        bands: joint.bands.unwrap_or(0) as u16,
        groups: joint.groups,
        rotation: joint.rotation,
        ends_with_carriage_beyond: joint.ends_with_carriage_beyond_mm.map(length),
        ends_with_arc_off_us: joint.ends_with_arc_off_s.map(|seconds| (seconds * 1e6).round() as u32),
    };
}

/// The procedure with a change, or as it was, with a fault, where the core refuses the change.
fn accept(
    procedure: Procedure,
    section: &Section<'_>,
    place: &Place,
    change: impl FnOnce(Procedure) -> Result<Procedure, ProcedureError>,
) -> Procedure {
    match change(procedure.clone()) {
        Ok(changed) => changed,
        Err(error) => {
            let (problem, allowed) = refusal(error);
            section.fault(place, problem, allowed);
            procedure
        }
    }
}

/// What the core refuses, in words: the problem, and what is allowed.
const fn refusal(error: ProcedureError) -> (&'static str, &'static str) {
    match error {
        ProcedureError::RecommendedReversed(_) | ProcedureError::AllowedReversed(_) => {
            ("the low end is above the high end", "the low end first")
        }
        ProcedureError::RecommendedOutsideAllowed(_) => {
            ("the recommended range reaches outside the allowed one", "a recommended range within it")
        }
        ProcedureError::FloorAboveRange(_) => ("the floor is above the low end of a range", "a lower floor"),
        ProcedureError::DeadbandNegative(_) => ("a deadband must not be negative", "zero or more"),
        ProcedureError::DiameterNotPositive => ("a diameter must be above zero", "above zero"),
        ProcedureError::DepositionEfficiency => ("not a possible share", "0.1 % to 100 %"),
        ProcedureError::Groups => {
            ("the groups together do not have as many bands as the joint", "groups that add up to `bands`")
        }
        ProcedureError::NoMotion => {
            ("this build does not follow the motion", "no direction and no carriage sign")
        }
        ProcedureError::JointSign => ("no distance to go", "above zero"),
        ProcedureError::NoJudge(..) => (
            "nothing judges this quantity for being too low",
            "no floor, and a range that begins at 0 or is open below (\"at most ...\")",
        ),
        ProcedureError::CoolingUntil => {
            ("a limit of the cooling and `until` go together", "both, or no table [cooling]")
        }
        ProcedureError::ArcThresholds => (
            "`current_off` is not between zero and `current_on`",
            "current_off above 0 A and below current_on",
        ),
        // What a later core may refuse besides: its own words are the better ones, but have no second half.
        _ => ("the core refuses it", "another value"),
    }
}

fn with_settings(mut procedure: Procedure, settings: &[Setting], root: &Section<'_>) -> Procedure {
    for setting in settings {
        if let Subject::Judged(quantity) = setting.subject {
            let limits = setting.limits(quantity.fraction_bits());
            let place = root.section(quantity.table_name()).place().clone();
            procedure = accept(procedure, root, &place, |whole| whole.with_limits(quantity, limits));
            let until = |until_c| Temperature::from_bits(raw_value(until_c, Temperature::FRACTION_BITS));
            procedure.cooling_until = procedure.cooling_until.or(setting.until_c.map(until));
            if setting.is_judged_where_possible {
                procedure = procedure.judged_where_possible(quantity);
            }
        }
    }
    procedure
}

fn with_alarms(mut procedure: Procedure, alarms: Section<'_>) -> Procedure {
    for rule in Rule::ALL {
        let section = alarms.section(rule.name());
        if section.is_present() {
            let (setting, place) = read_alarm(section, rule);
            procedure = accept(procedure, &alarms, &place, |whole| whole.with_alarm(rule, setting));
        }
    }
    alarms.finish();
    procedure
}

/// The settings of one alarm, and the place of its deadband or else of its table.
fn read_alarm(section: Section<'_>, rule: Rule) -> (AlarmSetting, Place) {
    let mut setting = rule.default_setting();
    let mut place = section.place().clone();
    if let Some(delay) = delay_us(&section, "on_delay") {
        setting.on_delay_us = delay;
    }
    if let Some(delay) = delay_us(&section, "off_delay") {
        setting.off_delay_us = delay;
    }
    if let Some(delay) = delay_us(&section, "re_alarm") {
        setting.re_alarm_us = delay;
    }
    // A rule that watches no range has nothing a value could come back inside of.
    if let Some((quantity, _)) = rule.watches()
        && let Some(deadband) =
            section.quantity("deadband", Subject::Judged(quantity).dimension().of_differences())
    {
        setting.deadband = raw_value(deadband.value, quantity.fraction_bits());
        place = deadband.place;
    }
    if let Some(latched) = section.flag("latched") {
        setting.latched = latched.value;
    }
    let severities = [Severity::Advise, Severity::Warn, Severity::Stop].map(|one| (one.name(), one));
    if let Some(severity) = section.choice("severity", &severities) {
        setting.severity = severity.value;
    }
    section.finish();
    (setting, place)
}

/// A time of up to an hour, in microseconds.
fn delay_us(section: &Section<'_>, key: &'static str) -> Option<u32> {
    let delay = section.quantity_within(key, Dimension::Duration, 0.0..=3600.0, "0 s to 3600 s")?;
    Some((delay.value * 1e6).round() as u32)
}

/// Where nothing is written: the arc burns from a quarter of the smallest allowed current (but no
/// less than 20 A), is out below half of that, and the circuit is open from a fifth above the largest
/// allowed voltage (but no less than 38 V). Common practice, no source.
fn with_arc(mut procedure: Procedure, section: Section<'_>, settings: &[Setting]) -> Procedure {
    let allowed = |quantity| {
        let setting = settings.iter().find(|setting| setting.subject == Subject::Judged(quantity));
        setting.and_then(|setting| setting.allowed)
    };
    let ampere = |key| section.quantity_within(key, Dimension::Current, 1.0..=1500.0, "1 A to 1500 A");
    let (written_on, written_off) = (ampere("current_on"), ampere("current_off"));
    let low = allowed(Quantity::Current).and_then(|range| range.low);
    let on = written_on.as_ref().map(|on| on.value).or(low.map(|low| (low / 4.0).max(20.0)));
    let off = written_off.as_ref().map(|off| off.value).or(on.map(|on| on / 2.0));
    let open = section.quantity_within("open_circuit", Dimension::Voltage, 1.0..=150.0, "1 V to 150 V");
    let high = allowed(Quantity::Voltage).and_then(|range| range.high);
    let open = open.map(|open| open.value).or(high.map(|high| (high * 1.2).max(38.0)));
    let current = |value| Current::from_bits(raw_value(value, Current::FRACTION_BITS));
    let arc = &mut procedure.arc;
    arc.current_on = on.map_or(arc.current_on, current);
    arc.current_off = off.map_or(arc.current_off, current);
    arc.open_circuit =
        open.map_or(arc.open_circuit, |value| Voltage::from_bits(raw_value(value, Voltage::FRACTION_BITS)));
    arc.strike_us = delay_us(&section, "strike").unwrap_or(arc.strike_us);
    arc.outage_join_us = delay_us(&section, "outage_join").unwrap_or(arc.outage_join_us);
    arc.gap_join_us = delay_us(&section, "gap_join").unwrap_or(arc.gap_join_us);
    arc.crater_fill_us = delay_us(&section, "crater_fill").unwrap_or(arc.crater_fill_us);
    let place = written_off.or(written_on).map_or_else(|| section.place().clone(), |written| written.place);
    let procedure = accept(procedure, &section, &place, |whole| whole.check().map(|()| whole));
    section.finish();
    procedure
}

#[cfg(test)]
mod tests {
    use super::super::procedure_file::ProcedureFile;
    use super::*;

    #[test]
    fn arc_settings_follow_the_allowed_ranges_where_none_are_given() {
        let arc =
            |text| ProcedureFile::parse("x", text).unwrap_or_else(|errors| panic!("{errors}")).procedure.arc;
        let given = arc("[current]\nallowed = [\"280 A\", \"360 A\"]\n[voltage]\nallowed = \"30 to 33 V\"\n");
        assert_eq!(given.current_on, Current::from_milli(70_000));
        assert_eq!(given.current_off, Current::from_milli(35_000));
        assert_eq!(given.open_circuit, Voltage::from_milli(39_600));
        let small = arc("[current]\nallowed = \"at least 40 A\"\n[voltage]\nallowed = \"at most 20 V\"\n");
        assert_eq!(small.current_on, Current::from_milli(20_000));
        assert_eq!(small.open_circuit, Voltage::from_milli(38_000));
        assert_eq!(arc(""), Procedure::new().arc);
        let written = arc("[arc]\ncurrent_on = \"50 A\"\ncurrent_off = \"30 A\"\nstrike = \"2 s\"\n");
        assert_eq!(written.current_off, Current::from_milli(30_000));
        assert_eq!(written.strike_us, 2_000_000);
    }

    #[test]
    fn alarms_are_overridden_one_key_at_a_time() {
        let text = "[alarm.voltage-low]\non_delay = \"250 ms\"\ndeadband = \"0.5 V\"\nlatched = true\n\
                    [alarm.interpass-high]\ndeadband = \"9 degF\"\nseverity = \"stop\"\n";
        let procedure = ProcedureFile::parse("x", text).unwrap_or_else(|errors| panic!("{errors}")).procedure;
        let voltage = procedure.alarm(Rule::VoltageLow);
        assert_eq!((voltage.on_delay_us, voltage.deadband, voltage.latched), (250_000, 2048, true));
        assert_eq!(voltage.off_delay_us, Rule::VoltageLow.default_setting().off_delay_us);
        let interpass = procedure.alarm(Rule::InterpassHigh);
        assert_eq!((interpass.deadband, interpass.severity), (5 * 4096, Severity::Stop));
    }
}
