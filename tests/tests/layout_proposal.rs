//! A layout proposed from the first rows of a log (all logs invented).
//!
//! Decides: whether what is proposed reads the log as it was meant, and what is not in the log is left out.

use bandward::Channel::{self, Current, Gas, Spindle, Voltage, Wire, Work};
use bandward_sim::input::layout::Layout;
use bandward_sim::propose::{Proposal, propose};
use bandward_sim::trace::{self, Row};
use bandward_tests::program::run_in;
use std::fmt::Write as _;
use std::io::Cursor;

fn proposed(log: &str) -> Proposal {
    propose("log.csv", log).unwrap_or_else(|problem| panic!("{problem}: {log}"))
}

fn read(proposal: &Proposal, log: &str) -> Vec<Row> {
    let layout = Layout::parse("proposed", &proposal.text)
        .unwrap_or_else(|errors| panic!("{errors}\n{}", proposal.text));
    let reader = trace::open_stream(Cursor::new(log.to_owned().into_bytes()), "log", Some(&layout));
    reader.unwrap_or_else(|errors| panic!("{errors}")).map(|row| row.expect("a sound row")).collect()
}

/// What the second row of each log reads, worked out by hand.
#[test]
fn logs_in_several_spellings_are_read_as_they_were_meant() {
    type Readings = &'static [(Channel, f64)];
    let cases: [(&str, f64, Readings); 15] = [
        (
            "Date,Time,Welding current [A],Arc voltage [V],GAS (cfh)\n03/17/2026,08:00:00.5,300,31,35\n\
             03/17/2026,08:00:01.0,310,32,0\n03/17/2026,08:00:01.5,305,31,35\n",
            0.5,
            &[(Current, 310.0), (Voltage, 32.0), (Gas, 0.0)],
        ),
        (
            "Logger 3\nstart by hand\nZeit;Strom;Spannung;Drahtvorschub\ns;A;V;m/min\n0,0;300,5;31,0;7,2\n\
             0,2;310,5;31,5;7,5\n0,4;311,0;31,5;7,5\n",
            0.2,
            &[(Current, 310.5), (Voltage, 31.5), (Wire, 7500.0)],
        ),
        (
            "Elapsed\tCurrent_kA\tTemp °F\n00:01.0\t0.3\t212\n00:02.0\t0.31\t#N/A\n00:03.0\t0.3\t32\n",
            2.0,
            &[(Current, 310.0), (Work, f64::NAN)],
        ),
        ("ts_ms,amps_A\n1700000000000,300\n1700000000100,310\n1700000000200,320\n", 0.1, &[(Current, 310.0)]),
        (
            "t,Current,Volts\n0,300 A,31 V\n1,310 A,---\n2,0.3 kA,30 V\n",
            1.0,
            &[(Current, 310.0), (Voltage, f64::NAN)],
        ),
        // 3 rpm are 18 degrees a second.
        ("Time,Spindle [rpm]\n2,3\n1,3\n0,3\n", 1.0, &[(Spindle, 18.0)]),
        (
            "Stamp|Current (A)\n2026-03-17T08:00:00|300\n2026-03-17T08:00:01|310\n2026-03-17T08:00:02|320\n",
            1.0,
            &[(Current, 310.0)],
        ),
        // ISO 8601 with how far the clock is from UTC, and clocks as German and American programs write them.
        (
            "Timestamp,Current [A]\n2026-03-04T07:15:00.000+01:00,300\n2026-03-04T07:15:00.500+01:00,310\n\
             2026-03-04T07:15:01.000+01:00,320\n",
            0.5,
            &[(Current, 310.0)],
        ),
        (
            "Timestamp,Current [A]\n2026-03-04 07:15:00.250+0100,300\n2026-03-04 07:15:00.500+0100,310\n",
            0.25,
            &[(Current, 310.0)],
        ),
        (
            "Timestamp,Current [A]\n2026-03-04T07:15:00.000Z,300\n2026-03-04T07:15:00.500Z,310\n",
            0.5,
            &[(Current, 310.0)],
        ),
        (
            "Zeit;Strom [A]\n04.03.2026 07:15:00,000;300,5\n04.03.2026 07:15:00,020;310,5\n",
            0.02,
            &[(Current, 310.5)],
        ),
        (
            "Time,Current [A]\n03/14/2026 12:59:59.500 PM,300\n03/14/2026 01:00:00.000 PM,310\n",
            0.5,
            &[(Current, 310.0)],
        ),
        ("Time [min],Current [A]\n0,300\n0.01,310\n0.02,310\n", 0.6, &[(Current, 310.0)]),
        ("Time [h],Current [A]\n0,300\n0.0001,310\n0.0002,310\n", 0.36, &[(Current, 310.0)]),
        ("Time;Current\nms;A\n0;300\n20;310\n40;310\n", 0.02, &[(Current, 310.0)]),
    ];
    for (log, time_s, readings) in cases {
        let proposal = proposed(log);
        let rows = read(&proposal, log);
        let row = rows.get(1).expect("a second row");
        assert!((row.time_us as f64 / 1e6 - time_s).abs() < 1e-9, "{}\n{}", row.time_us, proposal.text);
        for &(channel, wanted) in readings {
            let got = row.get(channel);
            let is_same = got.map_or(wanted.is_nan(), |got| (got - wanted).abs() < 1e-9);
            assert!(is_same, "{got:?}, not {wanted} of {}\n{}", channel.name(), proposal.text);
        }
        let others =
            Channel::ALL.iter().filter(|&&channel| rows.iter().any(|row| row.get(channel).is_some()));
        assert!(others.count() <= readings.len(), "{}", proposal.text);
    }
}

#[test]
fn what_the_log_does_not_tell_is_left_out_and_told() {
    for (log, words) in [
        ("t,Current,Arc [V]\n0,300,31\n1,301,31\n", "`current` is left out: the log does not tell its unit"),
        ("t,Encoder [counts],A_A\n0,0,3\n1,9,3\n", "how many counts make a turn"),
        ("t,Voltage [mA]\n0,12,\n1,12,\n", "does not tell what it stands for"),
        ("Current [A],Note\n300,x\n301,y\n", "no column tells the time"),
        ("t,Current [A],Amps [A]\n0,300,300\n1,301,301\n", "could both be it: choose one"),
        (
            "Date,Time,Current [A]\n03/04/2026,08:00:00,300\n03/04/2026,08:00:01,301\n",
            "month or the day first",
        ),
        ("t,Remark\n0,x\n1,y\n", "no column has a name of a channel"),
    ] {
        let told = proposed(log).warnings.join("\n");
        assert!(told.contains(words), "{words}: {told}");
    }
    for log in ["", "one line\n", "a\nb\nc\n", "t,I\n"] {
        assert!(propose("x", log).is_err(), "{log:?}");
    }
}

/// A year of two digits is of this century, where one way alone of reading the date fits; else a person is asked.
#[test]
fn a_year_of_two_digits_is_read_and_told() {
    for (day, format, is_sure) in [
        ("27.11.26", "%d.%m.%y", false),
        ("11/27/26", "%m/%d/%y", true),
        ("76-11-27", "%y-%m-%d", true),
        ("26-11-27", "%y-%m-%d", false),
        ("03/04/26", "%m/%d/%y", false),
        ("27-11-2026", "%d-%m-%Y", true),
    ] {
        let log = format!("Timestamp,Current [A]\n{day} 07:15:00.000,300\n{day} 07:15:00.500,310\n");
        let proposal = proposed(&log);
        assert!(proposal.text.contains(&format!("time_format = \"{format} ")), "{day}: {}", proposal.text);
        assert_eq!(
            proposal.text.contains("two digits of the year"),
            format.contains("%y"),
            "{}",
            proposal.text
        );
        assert_eq!(
            proposal.warnings.join("").contains("fits as well"),
            !is_sure,
            "{day}: {:?}",
            proposal.warnings
        );
        // 27 November 2026, 07:15.
        let layout = Layout::parse("proposed", &proposal.text).unwrap_or_else(|errors| panic!("{errors}"));
        let reader = trace::open_stream(Cursor::new(log.into_bytes()), "log", Some(&layout)).unwrap();
        let start = reader.header().start.clone().unwrap();
        let is_of_day = start.starts_with("2026-11-27") || start.starts_with("2026-03-04");
        assert!(is_of_day || day.starts_with("76") && start.starts_with("1976-11-27"), "{day}: {start}");
    }
    // A layout that reads it with four digits is told.
    let log = "t,Current [A]\n27.11.26 07:15:00,300\n27.11.26 07:15:01,310\n";
    let layout = "[time]\ntime = \"t\"\ntime_format = \"%d.%m.%Y %H:%M:%S\"\n\
                  [channels]\ncurrent = { column = \"Current [A]\", unit = \"A\" }\n";
    let layout = Layout::parse("layout", layout).unwrap_or_else(|errors| panic!("{errors}"));
    let Err(errors) = trace::open_stream(Cursor::new(log.as_bytes()), "log", Some(&layout)) else {
        panic!("read")
    };
    assert!(errors.to_string().contains("`%y` reads"), "{errors}");
}

/// What a plain name leaves open is asked, and read nevertheless.
#[test]
fn a_name_that_does_not_say_of_what_is_asked_about() {
    let proposal = proposed("t,Current [A],Feed rate [m/min]\n0,300,7.2\n1,301,7.3\n");
    assert_eq!(
        proposal.warnings,
        ["`Feed rate [m/min]` does not say of what: is it `wire` of this weld?".to_owned()]
    );
    assert!(proposal.text.contains("\nwire = "), "{}", proposal.text);
}

/// What is a time in no way that is known is left to a person, in plain words.
#[test]
fn a_time_that_is_not_understood_is_refused() {
    let unpadded = (0..400).fold("Time,Current [A]\n".to_owned(), |log, row| {
        format!("{log}07:15:{:02}.{},{}\n", row / 50, row % 50 * 20, 300 + row % 3)
    });
    for (log, words) in [
        (unpadded.as_str(), "are parts of a second written without their zeros?"),
        (
            "Time,Current [A]\n20260304071500020,300\n20260304071500040,310\n20260304071500060,310\n",
            "is it a date and a time in one number?",
        ),
        ("Time [ticks],Current [A]\n0,300\n20,310\n40,310\n", "`ticks`, which is no unit of time"),
    ] {
        let proposal = proposed(log);
        assert!(proposal.warnings.join("\n").contains(words), "{:?}", proposal.warnings);
        assert!(proposal.text.contains("# interval = "), "{}", proposal.text);
        assert!(Layout::parse("proposed", &proposal.text).is_err(), "{}", proposal.text);
    }
}

/// A unit is told by a name, a row of units and cells: where two of them differ, a person chooses.
#[test]
fn a_unit_that_is_told_in_two_ways_is_left_out() {
    let with_row = |name: &str, unit: &str| format!("Time,Note,{name}\ns,,{unit}\n0,x,17.5\n1,x,17.6\n");
    let alone = |name: &str, cell: &str| format!("t,{name}\n0,17.5{cell}\n1,17.6{cell}\n");
    for (log, words) in [
        (with_row("Gas flow [CFH]", "l/min"), ["`gas` is left out", "`l/min`", "`CFH`"]),
        (with_row("gas_cfh", "L/min"), ["`gas` is left out", "`L/min`", "`cfh`"]),
        (with_row("Work temperature [F]", "°C"), ["`work` is left out", "`°C`", "`degF`"]),
        (with_row("Current [kA]", "A"), ["`current` is left out", "`A`", "`kA`"]),
        (with_row("Wire feed [ipm]", "m/min"), ["`wire` is left out", "`m/min`", "`ipm`"]),
        (with_row("Torch position [in]", "mm"), ["`torch` is left out", "`mm`", "`in`"]),
        (with_row("Spindle [rpm]", "deg"), ["`spindle` is left out", "`deg`", "`rpm`"]),
        (with_row("Voltage [mV]", "V"), ["`voltage` is left out", "`V`", "`mV`"]),
        (with_row("Gas flow [degC]", "L/min"), ["`gas` is left out", "`L/min`", "`degC`"]),
        (alone("Gas CFH (L/min)", ""), ["`gas` is left out", "`L/min`", "`CFH`"]),
        (alone("gas_lpm_cfh", ""), ["`gas` is left out", "`L/min`", "`cfh`"]),
        (alone("Gas flow [L/min] (CFH)", ""), ["`gas` is left out", "`L/min`", "`CFH`"]),
        (alone("Current [A]", " kA"), ["`current` is left out", "`A`", "`kA`"]),
        (alone("Gas flow [CFH]", " l/min"), ["`gas` is left out", "`CFH`", "`L/min`"]),
    ] {
        let proposal = proposed(&log);
        let told = proposal.warnings.join("\n");
        assert!(
            words.iter().all(|words| told.contains(words)) && told.contains("tells two units"),
            "{log}{told}"
        );
        assert!(proposal.text.contains("\n# "), "{}", proposal.text);
        assert!(Layout::parse("proposed", &proposal.text).is_err(), "{log}{}", proposal.text);
    }
    let time = proposed("Time [ms],Current [A]\ns,A\n0,300\n1,310\n");
    assert!(time.warnings.join("\n").contains("tells two units, `s` and `ms`"), "{:?}", time.warnings);
    // One unit, written in two ways, is one.
    for log in [
        with_row("Gas flow [L/min]", "l/min"),
        with_row("Work temperature [C]", "°C"),
        with_row("Torch position in mm", "mm"),
        with_row("Spindle speed rpm", "1/min"),
        alone("Current [A]", " A"),
        alone("Thermocouple temp K [°C]", ""),
        alone("Gas l/min [L/min]", ""),
    ] {
        assert!(!proposed(&log).warnings.join("\n").contains("two units"), "{log}");
    }
}

/// A later log of the machine may have another unit in its row of units: it is followed.
#[test]
fn a_unit_out_of_a_units_row_is_read_from_there_again() {
    let log = |unit: &str| format!("t,Current,Gas flow\ns,A,{unit}\n0,300,17.5\n1,310,17.5\n");
    let proposal = proposed(&log("L/min"));
    assert!(proposal.text.contains("unit = \"units row\""), "{}", proposal.text);
    let flow = |unit: &str| read(&proposal, &log(unit))[0].get(Gas).unwrap();
    assert_eq!(flow("L/min").to_bits(), 17.5_f64.to_bits());
    // 1 ft3/h is 28.316846592 L in 60 min.
    assert!((flow("cfh") - 17.5 * 28.316_846_592 / 60.0).abs() < 1e-9);
}

#[test]
fn the_command_writes_the_layout_and_shows_five_rows() {
    let folder = tempfile::tempdir().unwrap();
    let (log, layout) = (folder.path().join("shift.csv"), folder.path().join("shift.layout.toml"));
    let mut text = "Time,Current [A],Voltage [V]\n".to_owned();
    for row in 0..60 {
        writeln!(text, "{},{},-31", f64::from(row) * 0.1, 300 + row)
            .expect("a text takes what is written to it");
    }
    std::fs::write(&log, text).unwrap();
    let [log, layout] = [log, layout].map(|path| path.display().to_string());
    let run = |arguments: &[&str]| run_in(folder.path(), arguments);
    let first = run(&["layout", &log, "-o", &layout]);
    let out = String::from_utf8_lossy(&first.stdout);
    let err = String::from_utf8_lossy(&first.stderr);
    assert_eq!(first.status.code(), Some(3), "{out}{err}");
    assert!(out.contains("The first 5 rows") && out.contains("10.0 rows a second"), "{out}");
    assert!(out.contains("304 A") && !out.contains("305 A"), "{out}");
    assert!(err.contains("`voltage` is mostly negative (-31 V)"), "{err}");
    let written = std::fs::read_to_string(&layout).unwrap();
    assert!(written.contains("# A layout of shift.csv, proposed by `bandward layout`"), "{written}");
    let replayed = run(&["replay", "--layout", &layout, &log]);
    assert_ne!(replayed.status.code(), Some(2), "{}", String::from_utf8_lossy(&replayed.stderr));
    // A layout that is there is not written over.
    assert_eq!(run(&["layout", &log, "-o", &layout]).status.code(), Some(2));
    let json = run(&["layout", &log, "--json"]);
    let json: serde_json::Value = serde_json::from_slice(&json.stdout).unwrap();
    assert_eq!(json["rows"][4]["current_a"], 304.0);
}
