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
pub fn proposed(columns: &[&str]) -> Proposal {
    let mut log = format!("t,Arc voltage [V],{}\n", columns.join(","));
    for row in 0..20 {
        let _ = writeln!(log, "{row},31{}", ",300".repeat(columns.len()));
    }
    propose("log.csv", &log).unwrap_or_else(|problem| panic!("{problem}"))
}

/// The column that is taken for a channel.
pub fn taken(proposal: &Proposal, channel: Channel) -> Option<String> {
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

/// What a layout is proposed for a log with further columns in the header: 20 s of an arc in 30 s, each cell by the row,
/// whether the arc burns, and a noise of one.
fn proposed_beside(
    columns: &[&str],
    cell: impl Fn(usize, bool, f64) -> f64,
) -> (Option<i32>, String, String) {
    proposed_with_coolant(6.0, columns, cell)
}

/// The same with so much coolant while the arc is out, L/min, of 6 under it.
fn proposed_with_coolant(
    at_rest: f64,
    columns: &[&str],
    cell: impl Fn(usize, bool, f64) -> f64,
) -> (Option<i32>, String, String) {
    let folder = tempfile::tempdir().unwrap();
    let head = "t,Current [A],Voltage [V],Gas flow [L/min],Coolant flow [L/min],Work temperature [degC],Torch position [mm]";
    let mut log = format!("{head},{}\n", columns.join(","));
    for row in 0..1500_u32 {
        let burns = (250..1250).contains(&row);
        let lit = f64::from(u8::from(burns));
        let noise = f64::from(row * 7 % 11) / 10.0;
        let weave = 12.0 * (f64::from(row) / 10.0).sin();
        let work = 150.0 + f64::from(row) / 20.0;
        let _ = write!(
            log,
            "{:.2},{:.1},{:.2},{:.2},{:.2},{work:.1},{weave:.2}",
            f64::from(row) * 0.02,
            lit * (320.0 + noise),
            lit * (31.0 + noise),
            lit * (17.0 + noise / 10.0),
            at_rest + lit * (6.0 - at_rest) + noise / 10.0
        );
        for column in 0..columns.len() {
            let _ = write!(log, ",{:.3}", cell(column, burns, noise));
        }
        log.push('\n');
    }
    std::fs::write(folder.path().join("log.csv"), log).unwrap();
    let run = run_in(folder.path(), &["layout", "log.csv", "-o", "log.toml"]);
    let text = std::fs::read_to_string(folder.path().join("log.toml")).unwrap();
    (run.status.code(), String::from_utf8_lossy(&run.stderr).into_owned(), text)
}

/// A column that names no quantity, in the unit of a channel, that reads about as much under the arc and rests without it,
/// may be what was measured, and the plain one what was set: one question a channel, with all of them.
#[test]
fn a_column_without_a_name_of_its_channel_is_a_choice_by_what_it_reads() {
    type Case = (&'static str, &'static [&'static str], f64, f64);
    let cases: [Case; 7] = [
        ("current", &["Shunt [A]", "Ch2 [A]"], 264.0, 0.0),
        ("voltage", &["Sense lead [V]"], 28.0, 0.0),
        ("gas", &["Rotameter [L/min]"], 6.0, 0.0),
        ("coolant", &["Return [L/min]"], 2.5, 2.5),
        ("work", &["Thermocouple [degC]"], 240.0, 220.0),
        ("gas", &["Nozzle [cfh]"], 30.0, 0.0),
        // It is nearer to the coolant, and by its name it is gas.
        ("gas", &["Nozzle [L/min]"], 8.7, 0.0),
    ];
    for (channel, columns, lit, out) in cases {
        let (code, told, text) = proposed_beside(columns, |_, burns, noise| {
            if burns { lit * (1.0 + noise / 50.0) } else { out * (1.0 + noise / 50.0) }
        });
        assert_eq!(code, Some(3), "{told}");
        assert_eq!(told.matches("is left out").count(), 1, "{told}");
        assert!(told.contains(&format!("`{channel}` is left out:")) && told.contains("choose one"), "{told}");
        let layout = Layout::parse("log.toml", &text).unwrap_or_else(|errors| panic!("{errors}"));
        let left_out = Channel::ALL.into_iter().find(|own| own.name() == channel).unwrap();
        assert!(layout.channel(left_out).is_none(), "{text}");
        for column in columns {
            assert!(told.contains(column), "{told}");
            assert!(text.contains(&format!("\n# {channel} = {{ column = \"{column}\"")), "{text}");
        }
    }
}

/// It fits the gas as well as the coolant: both are asked for, whichever it is nearer to.
#[test]
fn a_column_that_could_be_two_channels_is_a_choice_of_both() {
    let (_, told, text) =
        proposed_with_coolant(
            0.0,
            &["Flow 2 [L/min]"],
            |_, burns, noise| if burns { 8.7 + noise / 20.0 } else { 0.0 },
        );
    let layout = Layout::parse("log.toml", &text).unwrap_or_else(|errors| panic!("{errors}"));
    for channel in [Channel::Gas, Channel::Coolant] {
        assert!(layout.channel(channel).is_none(), "{text}");
        assert!(told.contains(&format!("`{}` is left out:", channel.name())), "{told}");
    }
    assert!(told.contains("`Flow 2 [L/min]`) too (it could be `coolant` as well)"), "{told}");
    assert!(told.contains("`Flow 2 [L/min]`) too (it could be `gas` as well)"), "{told}");
}

/// A log of sixty columns: motors, cabinets, other axes, air and spares in the same units ask for nothing.
#[test]
fn columns_of_the_same_unit_that_cannot_be_the_reading_ask_for_nothing() {
    let mut columns =
        vec!["Grinder [A]", "Blower [A]", "Spare [A]", "Bus [V]", "Logic [V]", "Mains [V]", "Set [A]"];
    let cabinets: Vec<String> = (1..30).map(|number| format!("Cabinet {number} [degC]")).collect();
    let axes: Vec<String> = (1..15).map(|number| format!("Axis {number} [mm]")).collect();
    columns.extend(cabinets.iter().chain(&axes).map(String::as_str));
    columns.extend(["Air [L/min]", "Purge [bar]", "Vent [L/min]", "Level [mm]"]);
    let first_axis = 7 + cabinets.len();
    let (_, told, text) = proposed_beside(&columns, |column, burns, noise| match column {
        0 => 12.0 + noise,
        1 => 3.0 + noise,
        3 => 560.0 + noise,
        4 => 24.0 + noise / 10.0,
        5 => 400.0 + noise,
        6 if burns => 320.0 + noise,
        2 | 6 => 0.0,
        _ if column < first_axis => 31.0 + noise,
        _ if columns[column].starts_with("Axis") => 40.0 * column as f64 + noise / 10.0,
        _ if columns[column].starts_with("Level") => 150.0 + noise / 10.0,
        _ => 150.0 + 20.0 * noise,
    });
    assert!(!told.contains("is left out"), "{told}");
    let layout = Layout::parse("log.toml", &text).unwrap_or_else(|errors| panic!("{errors}"));
    let read = Channel::ALL.into_iter().filter(|channel| layout.channel(*channel).is_some()).count();
    assert_eq!(read, 6, "{text}");
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

/// Two digits of the year may be the day's or the month's, whatever stands between them; four are the year.
#[test]
fn a_date_that_can_be_read_in_two_ways_is_asked_for_in_every_spelling() {
    for mark in ["-", ".", "/"] {
        for (day, is_asked, format) in [
            (["26", "03", "04"], true, None),
            (["03", "04", "26"], true, None),
            (["2026", "03", "04"], false, Some(["%Y", "%m", "%d"])),
        ] {
            let rows = (0..20).map(|row| format!("{} 07:15:{row:02}.0,300\n", day.join(mark)));
            let log = format!("Stamp,Current [A]\n{}", rows.collect::<String>());
            let proposal = propose("log.csv", &log).unwrap_or_else(|problem| panic!("{problem}"));
            let told = proposal.warnings.join("\n");
            assert_eq!(told.contains("is a guess"), is_asked, "{day:?} {mark}: {told}\n{}", proposal.text);
            let format = format.map(|format| format.join(mark));
            assert!(format.is_none_or(|format| proposal.text.contains(&format)), "{}", proposal.text);
        }
    }
}
