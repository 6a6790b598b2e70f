//! Which column a proposed layout takes for a channel (all logs invented).
//!
//! Decides: whether a set value, a limit, a mean or another thing's reading is ever taken for the weld's, and whether
//! anything is chosen where two columns could be it.

use bandward::Channel;
use bandward_sim::input::layout::Layout;
use bandward_sim::propose::{Proposal, propose};
use bandward_tests::program::run_in;
use std::fmt::Write as _;

/// A log with one column beside the arc voltage, of which nothing but its name is odd.
fn proposed(columns: &[&str]) -> Proposal {
    let mut log = format!("t,Arc voltage [V],{}\n", columns.join(","));
    for row in 0..20 {
        let _ = writeln!(log, "{row},31{}", ",300".repeat(columns.len()));
    }
    propose("log.csv", &log).unwrap_or_else(|problem| panic!("{problem}"))
}

/// The column that is taken for a channel.
fn taken(proposal: &Proposal, channel: Channel) -> Option<String> {
    let layout = Layout::parse("proposed", &proposal.text).unwrap_or_else(|errors| panic!("{errors}"));
    layout.channel(channel).map(|column| column.column.to_string())
}

/// Names as machines and loggers write them (common practice, no source).
#[test]
fn what_is_set_limited_or_averaged_is_never_taken_for_a_reading() {
    for name in [
        "Current set [A]",
        "I setpoint [A]",
        "I set (A)",
        "Current reference [A]",
        "Target current [A]",
        "Strom Soll [A]",
        "Schweissstrom Sollwert [A]",
        "SollStrom_A",
        "Current demand [A]",
        "Current command [A]",
        "Preset current [A]",
        "Programmed current [A]",
        "Nominal current [A]",
        "Current limit [A]",
        "Current min [A]",
        "Max current [A]",
        "Current alarm high [A]",
        "Avg current of last [A]",
        "Mean current [A]",
        "Wire feed motor current [A]",
        "Iset_A",
        "Current (set) [A]",
        "Strom [A] (Soll)",
    ] {
        let proposal = proposed(&[name]);
        assert_eq!(taken(&proposal, Channel::Current), None, "{name}\n{}", proposal.text);
        let told = proposal.warnings.join("\n");
        assert!(told.contains("`current` is left out") && told.contains(name), "{name}: {told}");
        assert!(proposal.text.contains(&format!("# Not taken for `current`: column 3 (`{name}`)")), "{name}");
    }
}

#[test]
fn the_measured_column_goes_before_the_others() {
    for (set, actual) in [
        ("Current set [A]", "Current actual [A]"),
        ("Strom Soll [A]", "Strom Ist [A]"),
        ("I_SP [A]", "I_PV [A]"),
        ("Current [A]", "Current measured [A]"),
        ("Current limit [A]", "Current [A]"),
        ("Current [%]", "Amps [A]"),
    ] {
        for columns in [[set, actual], [actual, set]] {
            let proposal = proposed(&columns);
            assert_eq!(taken(&proposal, Channel::Current).as_deref(), Some(actual), "{}", proposal.text);
            assert_eq!(proposal.warnings, Vec::<String>::new(), "{columns:?}");
        }
    }
}

/// No list of words that are set values is complete: whatever is not known is left out, alone and beside a name that is
/// no channel's, and what is called measured is taken beside it (common practice, no source; `Sollzahn` is no word).
#[test]
fn a_name_with_a_word_that_is_not_known_is_left_out() {
    for (name, word) in [
        ("Current goal [A]", "goal"),
        ("Current WPS [A]", "wps"),
        ("Corriente elegida [A]", "elegida"),
        ("Courant choisi (A)", "choisi"),
        ("Strom_w [A]", "w"),
        ("Strom Sollzahn [A]", "sollzahn"),
        ("Tack current [A]", "tack"),
        ("Current [A] (expected)", "expected"),
    ] {
        let proposal = proposed(&[name, "Meter X"]);
        assert_eq!(taken(&proposal, Channel::Current), None, "{name}\n{}", proposal.text);
        let not_known = format!("the word `{word}` is not known: a set value or a reading?");
        assert!(proposal.warnings.join("\n").contains(&not_known), "{:?}", proposal.warnings);
        let line = format!("# current = {{ column = \"{name}\", unit = \"A\" }}");
        assert!(proposal.text.contains(&not_known) && proposal.text.contains(&line), "{}", proposal.text);
        for columns in [[name, "Intensidad real [A]"], ["Intensidad real [A]", name]] {
            let beside = proposed(&columns);
            assert_eq!(
                taken(&beside, Channel::Current).as_deref(),
                Some("Intensidad real [A]"),
                "{}",
                beside.text
            );
        }
    }
}

/// A plain name may be what was set, and the one beside it, by a word for its place or its instrument, the reading (common
/// practice, no source): a person chooses, in whatever order they stand.
#[test]
fn a_plain_name_beside_one_with_a_word_that_is_not_known_is_a_choice() {
    for (channel, plain, other) in [
        (Channel::Current, "Current [A]", "Current shunt [A]"),
        (Channel::Current, "Current [A]", "Current (shunt) [A]"),
        (Channel::Current, "Current [A]", "Iw [A]"),
        (Channel::Current, "Current [A]", "Current ground clamp [A]"),
        (Channel::Current, "Strom", "Strom Zange [A]"),
        (Channel::Current, "Courant [A]", "Courant pince [A]"),
        (Channel::Current, "Current [A]", "Current goal [A]"),
        (Channel::Gas, "Gas flow [L/min]", "Gas flow nozzle [L/min]"),
        (Channel::Gas, "Gas flow [L/min]", "Gas flow (nozzle) [L/min]"),
        (Channel::Gas, "Gasfluss [L/min]", "Gasfluss Düse [L/min]"),
        (Channel::Wire, "Wire feed [m/min]", "Wire speed at torch [m/min]"),
        (Channel::Wire, "Wire feed [m/min]", "Wire feed encoder [m/min]"),
        (Channel::Coolant, "Coolant flow [L/min]", "Water return flow [L/min]"),
        (Channel::Work, "Work temperature [degC]", "Work temperature contact [degC]"),
    ] {
        for columns in [[plain, other], [other, plain]] {
            let proposal = proposed(&columns);
            assert_eq!(taken(&proposal, channel), None, "{}", proposal.text);
            let told = proposal.warnings.join("\n");
            assert!(columns.iter().all(|name| told.contains(name)), "{told}");
            assert!(told.contains("choose one") && told.contains("is not known"), "{told}");
            let lines = columns.map(|name| format!("# {} = {{ column = \"{name}\"", channel.name()));
            assert!(lines.iter().all(|line| proposal.text.contains(line)), "{}", proposal.text);
        }
    }
    // Texts, and what is in a unit of something else, are no reading.
    for other in ["Current shunt [degC]", "Current cable [mm]"] {
        assert_eq!(
            taken(&proposed(&["Current [A]", other]), Channel::Current).as_deref(),
            Some("Current [A]")
        );
    }
}

/// By its name it could be a reading; a controller writes what is set while the arc burns, and nothing else.
#[test]
fn a_column_that_never_moves_under_the_arc_is_left_out() {
    let folder = tempfile::tempdir().unwrap();
    let log = (0..1500).fold("t,Current [A],Voltage [V],Wire feed [m/min]\n".to_owned(), |log, row| {
        let burns = (200..1300).contains(&row);
        let (amps, volts) = if burns { (300 + row * 7 % 11, 31.5) } else { (0, 0.0) };
        let feed = if burns { 7.2 + f64::from(row * 5 % 7) / 100.0 } else { 0.0 };
        format!("{log}{:.2},{amps},{volts},{feed:.2}\n", f64::from(row) * 0.02)
    });
    std::fs::write(folder.path().join("log.csv"), log).unwrap();
    let run = run_in(folder.path(), &["layout", "log.csv", "-o", "log.toml"]);
    let told = String::from_utf8_lossy(&run.stderr);
    assert_eq!(run.status.code(), Some(3), "{told}");
    assert!(
        told.contains("`voltage` is left out: it never moves under the arc: is it a set value?"),
        "{told}"
    );
    assert_eq!(told.matches("is left out").count(), 1, "{told}");
    let text = std::fs::read_to_string(folder.path().join("log.toml")).unwrap();
    let layout = Layout::parse("log.toml", &text).unwrap_or_else(|errors| panic!("{errors}"));
    assert!(layout.channel(Channel::Voltage).is_none() && layout.channel(Channel::Wire).is_some(), "{text}");
    assert!(text.contains("# voltage = { column = \"Voltage [V]\""), "{text}");
}

#[test]
fn gas_and_coolant_and_heat_of_other_things_are_left_out() {
    for (channel, name) in [
        (Channel::Gas, "Purge gas [L/min]"),
        (Channel::Gas, "Burner gas flow [L/min]"),
        (Channel::Coolant, "Chuck coolant flow [L/min]"),
        (Channel::Coolant, "Quench water flow [L/min]"),
        (Channel::Work, "Oven temperature [degC]"),
        (Channel::Work, "CPU temp [degC]"),
        (Channel::Torch, "Torch height [mm]"),
        (Channel::Spindle, "Tilt angle [deg]"),
        (Channel::Spindle, "Fan [rpm]"),
        (Channel::Current, "Pulse current [A]"),
        (Channel::Work, "Head temperature [degC]"),
    ] {
        let proposal = proposed(&[name]);
        assert_eq!(taken(&proposal, channel), None, "{name}\n{}", proposal.text);
        assert!(!proposal.warnings.is_empty(), "{name}");
    }
}

#[test]
fn between_two_a_person_chooses() {
    for columns in
        [["Current 1 [A]", "Current 2 [A]"], ["Current [A]", "Amps [A]"], ["I act [A]", "I ist [A]"]]
    {
        let proposal = proposed(&columns);
        assert_eq!(taken(&proposal, Channel::Current), None, "{}", proposal.text);
        let told = proposal.warnings.join("\n");
        for text in [told.as_str(), proposal.text.as_str()] {
            assert!(columns.iter().all(|name| text.contains(name)) && text.contains("choose one"), "{text}");
        }
    }
}

/// A reading that is written only when it changes is held for twice as long as it was seen to stand: 14 s.
#[test]
fn cells_that_are_written_when_they_change_are_held() {
    let log = |cell: fn(u32) -> String| {
        let rows = (0..60).map(|row| format!("{row},31,{}\n", cell(row)));
        propose("log.csv", &format!("t,Arc voltage [V],Current [A]\n{}", rows.collect::<String>())).unwrap()
    };
    let changed = log(|row| {
        if [0, 4, 11, 14, 20, 25, 32, 39, 45, 52, 59].contains(&row) {
            (300 + row).to_string()
        } else {
            String::new()
        }
    });
    assert!(changed.text.contains("hold = \"14 s\""), "{}", changed.text);
    assert!(changed.warnings.join("\n").contains("only when it changes"), "{:?}", changed.warnings);
    // A slow meter, and one that is lost for a while.
    let slow = log(|row| if row % 5 == 0 { (300 + row).to_string() } else { String::new() });
    let lost = log(|row| if row < 10 { (300 + row).to_string() } else { String::new() });
    for proposal in [slow, lost] {
        assert!(!proposal.text.contains("hold"), "{}", proposal.text);
    }
}
