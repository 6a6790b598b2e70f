//! What stands in the brackets of a column's name (all logs invented).
//!
//! Decides: whether a word in brackets is a word of the name, and a unit is a unit.

use crate::layout_choice::{proposed, taken};
use bandward::Channel;
use bandward_sim::propose::propose;

/// A word in brackets is a word of the name, known or not, and no unit (common practice, no source): beside the plain name it
/// may be the reading, in whatever order they stand.
#[test]
fn words_in_brackets_are_words_of_the_name() {
    for (channel, plain, other) in [
        (Channel::Current, "Current [A]", "Current (weld) [A]"),
        (Channel::Current, "Current [A]", "Current (DC) [A]"),
        (Channel::Current, "Current [A]", "Current (channel B) [A]"),
        (Channel::Current, "Current [A]", "Current (shunt)"),
        (Channel::Current, "Current [A]", "Current [A shunt]"),
        (Channel::Current, "Current [A]", "Current (clamp, A)"),
        (Channel::Voltage, "Arc voltage [V]", "Voltage (arc) [V]"),
        (Channel::Voltage, "Arc voltage [V]", "Voltage (V2) [V]"),
        (Channel::Gas, "Gas flow [L/min]", "Gas flow (torch) [L/min]"),
        (Channel::Gas, "Gas flow [L/min]", "Gas flow (Ar) [L/min]"),
        (Channel::Gas, "Gas flow [L/min]", "Gas flow (A) [L/min]"),
        (Channel::Gas, "Gas flow [L/min]", "Gas flow (nozzle, L/min)"),
        (Channel::Gas, "Gas flow [L/min]", "Gas flow (torch/cup) [L/min]"),
        (Channel::Work, "Work temperature [degC]", "Work temperature (pyrometer) [degC]"),
        (Channel::Work, "Work temperature [degC]", "Work temperature (IR) [degC]"),
        (Channel::Spindle, "Spindle angle [deg]", "Spindle angle (pipe) [deg]"),
        (Channel::Torch, "Torch position [mm]", "Torch position (torch) [mm]"),
        (Channel::Carriage, "Carriage [mm]", "Carriage (axis) [mm]"),
    ] {
        for columns in [[plain, other], [other, plain]] {
            let quoted = columns.map(|name| format!("\"{name}\""));
            // The log has an arc voltage of its own.
            let own = quoted.iter().map(String::as_str).filter(|name| *name != "\"Arc voltage [V]\"");
            let own: Vec<&str> = own.chain(["Coolant flow (main) [L/min]"]).collect();
            let proposal = proposed(&own);
            assert_eq!(taken(&proposal, channel), None, "{}", proposal.text);
            let told = proposal.warnings.join("\n");
            assert!(columns.iter().all(|name| told.contains(name)) && told.contains("choose one"), "{told}");
        }
    }
    // Alone it is read by its words, or left out for a reason that is true.
    for (channel, name) in [
        (Channel::Current, "Current (weld) [A]"),
        (Channel::Gas, "Gas flow (torch) [L/min]"),
        (Channel::Gas, "Gas flow (argon, L/min)"),
        (Channel::Work, "Work temperature (pyrometer) [degC]"),
        (Channel::Spindle, "Spindle angle (pipe) [deg]"),
    ] {
        let proposal = proposed(&[&format!("\"{name}\"")]);
        assert_eq!(taken(&proposal, channel).as_deref(), Some(name), "{}", proposal.text);
    }
    let told = proposed(&["Current (shunt) [A]"]).warnings.join("\n");
    assert!(told.contains("the word `shunt` is not known") && !told.contains("unit"), "{told}");
    // What says that it is another thing, and what is in another unit, is no rival.
    for (channel, plain, other) in [
        (Channel::Current, "Current [A]", "Current (motor) [A]"),
        (Channel::Current, "Current [A]", "Current (set) [A]"),
        (Channel::Current, "Current [A]", "Current [kW]"),
        (Channel::Gas, "Gas flow [L/min]", "Gas flow (total) [L/min]"),
        (Channel::Gas, "Gas flow [L/min]", "Gas [m3]"),
        (Channel::Work, "Work temperature [degC]", "Gearbox temperature [degC]"),
        (Channel::Work, "Work temperature [degC]", "Bearing temp A [degC]"),
        (Channel::Spindle, "Spindle angle [deg]", "Fume fan speed [rpm]"),
        (Channel::Spindle, "Spindle angle [deg]", "Axis 4 speed [rpm]"),
    ] {
        let proposal = proposed(&[plain, other]);
        assert_eq!(taken(&proposal, channel).as_deref(), Some(plain), "{}", proposal.text);
    }
}

/// What stands in brackets behind a time is its unit, known or not: ticks are no seconds.
#[test]
fn a_time_is_in_what_stands_in_brackets() {
    for (name, wanted) in [
        ("Time (ms)", Some("unit = \"ms\"")),
        ("Time (elapsed) [ms]", Some("unit = \"ms\"")),
        ("Time [s]", Some("seconds = ")),
        ("Time (ticks)", None),
        ("Time [samples]", None),
    ] {
        let log = (0..20).fold(format!("{name},Current [A]\n"), |log, row| format!("{log}{row},300\n"));
        let proposal = propose("log.csv", &log).unwrap_or_else(|problem| panic!("{problem}"));
        let told = proposal.warnings.join("\n");
        match wanted {
            Some(line) => assert!(proposal.text.contains(line), "{name}: {}", proposal.text),
            None => assert!(told.contains("which is no unit of time that is known"), "{name}: {told}"),
        }
    }
}

/// `gas_nl_min` is in normal litres a minute (common practice, no source), and no least flow.
#[test]
fn normal_litres_a_minute_are_no_minimum() {
    for name in ["gas_nl_min", "gas_sl_min", "gas_ml_min"] {
        let told = proposed(&[name]).warnings.join("\n");
        assert!(!told.contains("the word `min`"), "{told}");
    }
}
