//! Units and channels mistaken in a layout, told by what a weld reads under its arc (all logs invented).
//!
//! Decides: whether each mistake is told with the reading as it would be, and a sound log with nothing.

use bandward::Channel;
use bandward_sim::input::layout::Layout;
use bandward_sim::propose::plausible;
use bandward_sim::trace;
use bandward_tests::program::run_in;
use std::fmt::Write as _;
use std::io::Cursor;

/// Readings of one row: A, V, L/min, mm/min, L/min, mm, mm, degrees, degC.
struct Weld {
    current: f64,
    voltage: f64,
    gas: f64,
    wire: f64,
    coolant: f64,
    torch: f64,
    carriage: f64,
    spindle: f64,
    work: f64,
}

/// An arc from the fifth second on: 320 A, 28 V, a weave of 20 mm in 2 s, a turn in 100 s.
fn weld(time_s: f64) -> Weld {
    let lit = f64::from(u8::from((5.0..80.0).contains(&time_s)));
    let saw = (time_s % 2.0 - 1.0).abs();
    Weld {
        current: lit * (320.0 + 5.0 * saw),
        voltage: lit * (28.0 + saw),
        gas: lit * (16.5 + 0.2 * saw),
        wire: lit * (7500.0 + 50.0 * saw),
        coolant: 5.0 + 0.1 * saw,
        torch: 20.0 * saw,
        carriage: 100.0 + lit * 0.4 * time_s,
        spindle: 3.6 * time_s,
        work: 200.0 + lit * 0.5 * time_s,
    }
}

const SOUND: &str =
    "current = { column = \"I\", unit = \"A\" }\nvoltage = { column = \"U\", unit = \"V\" }\n";

/// The doubts about a channel whose cells are made from the weld, and which a layout reads so.
fn doubts(line: &str, cell: impl Fn(&Weld) -> String) -> String {
    let mut log = "t,I,U,x,y\n".to_owned();
    for row in 0..1700 {
        let time_s = f64::from(row) * 0.05;
        let now = weld(time_s);
        let _ = writeln!(log, "{time_s:.2},{:.1},{:.2},{}", now.current, now.voltage, cell(&now));
    }
    let replaced = SOUND.lines().filter(|sound| !line.contains(sound.split(' ').next().unwrap()));
    let sound: Vec<_> = replaced.collect();
    let text = format!("[time]\nseconds = \"t\"\n[channels]\n{}\n{line}\n", sound.join("\n"));
    let layout = Layout::parse("x", &text).unwrap_or_else(|errors| panic!("{errors}\n{text}"));
    let reader = trace::open_stream(Cursor::new(log.into_bytes()), "log", Some(&layout));
    let rows: Vec<_> =
        reader.unwrap_or_else(|errors| panic!("{errors}")).map(|row| row.expect("a sound row")).collect();
    let told = plausible::doubts(&rows, &layout);
    told.into_iter().map(|(_, doubt)| doubt).collect::<Vec<_>>().join("\n")
}

fn one(line: &str, cell: impl Fn(&Weld) -> f64) -> String {
    doubts(line, |now| format!("{:.5},", cell(now)))
}

#[test]
fn a_unit_that_is_mistaken_is_told_with_the_reading_as_it_would_be() {
    type Case = (&'static str, fn(&Weld) -> f64, &'static str);
    // 1 ft3/h is 28.316847 / 60 L/min: 16.5 L/min are 35 ft3/h. 7500 mm/min are 295 in/min.
    let cases: [Case; 14] = [
        ("current = { column = \"x\", unit = \"A\" }", |now| now.current / 1000.0, "is it kA (32"),
        ("current = { column = \"x\", unit = \"A\" }", |now| 4.0 + now.current / 600.0 * 16.0, "4 to 20 mA"),
        ("gas = { column = \"x\", unit = \"L/min\" }", |now| 4.0 + now.gas / 30.0 * 16.0, "4 to 20 mA"),
        ("voltage = { column = \"x\", unit = \"V\" }", |now| now.voltage * 1000.0, "is it mV (28"),
        ("gas = { column = \"x\", unit = \"L/min\" }", |now| now.gas * 60.0 / 28.316_847, "cfh (16"),
        ("gas = { column = \"x\", unit = \"cfh\" }", |now| now.gas, "L/min (16"),
        ("wire = { column = \"x\", unit = \"ipm\" }", |now| now.wire / 1000.0, "m/min (7.5"),
        ("wire = { column = \"x\", unit = \"m/min\" }", |now| now.wire / 25.4, "ipm (7.5"),
        ("torch = { column = \"x\", unit = \"mm\" }", |now| now.torch / 25.4, "in (20"),
        ("torch = { column = \"x\", unit = \"in\" }", |now| now.torch, "mm (20"),
        ("spindle = { column = \"x\", unit = \"deg\" }", |now| now.spindle / 360.0, "turn (3.6"),
        (
            "spindle = { column = \"x\", unit = \"deg\" }",
            |now| (now.spindle * 4096.0 / 360.0).floor(),
            "counts of an encoder",
        ),
        ("work = { column = \"x\", unit = \"degC\" }", |now| now.work * 1.8 + 32.0, "degF (2"),
        ("work = { column = \"x\", unit = \"degF\" }", |now| now.work * 0.65, "degC (1"),
    ];
    for (line, cell, wanted) in cases {
        let told = one(line, cell);
        assert!(told.contains(wanted), "{line}: {wanted}: {told:?}");
        assert_eq!(told.lines().count(), 1, "{told}");
    }
}

#[test]
fn two_channels_that_are_exchanged_are_told() {
    let two = |lines: &str, cells: fn(&Weld) -> (f64, f64)| {
        doubts(lines, |now| {
            let (x, y) = cells(now);
            format!("{x:.3},{y:.3}")
        })
    };
    let flows = "gas = { column = \"x\", unit = \"L/min\" }\ncoolant = { column = \"y\", unit = \"L/min\" }";
    let told = two(flows, |now| (now.coolant, now.gas));
    assert!(told.contains("exchanged"), "{told}");
    // By how they rest, where both flow alike.
    let told = two(flows, |now| (now.coolant * 3.0, now.gas));
    assert!(told.contains("`gas` flows without an arc while `coolant` does not"), "{told}");
    let ways = "torch = { column = \"x\", unit = \"mm\" }\ncarriage = { column = \"y\", unit = \"mm\" }";
    let told = two(ways, |now| (now.carriage, now.torch));
    assert!(told.contains("are the two exchanged?"), "{told}");
    let arc = "current = { column = \"x\", unit = \"A\" }\nvoltage = { column = \"y\", unit = \"V\" }";
    let told = two(arc, |now| (now.voltage, now.current));
    assert!(told.contains("exchanged with `voltage`"), "{told}");
    for (lines, cells) in [
        (flows, (|now| (now.gas, now.coolant)) as fn(&Weld) -> (f64, f64)),
        (ways, |now| (now.torch, now.carriage)),
        (arc, |now| (now.current, now.voltage)),
        (arc, |now| (-now.current, -now.voltage)),
    ] {
        assert_eq!(two(lines, cells), "", "{lines}");
    }
}

#[test]
fn a_sound_log_has_no_doubt() {
    type Case = (&'static str, fn(&Weld) -> f64);
    let cases: [Case; 11] = [
        ("current = { column = \"x\", unit = \"kA\" }", |now| now.current / 1000.0),
        ("gas = { column = \"x\", unit = \"cfh\" }", |now| now.gas * 60.0 / 28.316_847),
        ("wire = { column = \"x\", unit = \"ipm\" }", |now| now.wire / 25.4),
        ("coolant = { column = \"x\", unit = \"L/min\" }", |now| now.coolant),
        ("torch = { column = \"x\", unit = \"in\" }", |now| now.torch / 25.4),
        ("carriage = { column = \"x\", unit = \"mm\" }", |now| now.carriage),
        ("spindle = { column = \"x\", unit = \"deg\" }", |now| now.spindle % 360.0),
        ("spindle = { column = \"x\", unit = \"rpm\" }", |_| 0.6),
        ("spindle = { column = \"x\", unit = \"count\", counts_per_turn = 4096, wraps_at = 65536 }", |now| {
            (now.spindle * 4096.0 / 360.0).floor() % 65536.0
        }),
        ("work = { column = \"x\", unit = \"degF\" }", |now| now.work * 1.8 + 32.0),
        // A torch that does not weave, and a meter that shows nothing.
        ("torch = { column = \"x\", unit = \"mm\" }", |_| 12.0),
    ];
    for (line, cell) in cases {
        assert_eq!(one(line, cell), "", "{line}");
    }
}

/// On the screen, and as a comment above the line of the file.
#[test]
fn the_command_tells_a_doubt_and_writes_it_down() {
    let folder = tempfile::tempdir().unwrap();
    let mut log = "t;Current [A];Voltage [V]\n".to_owned();
    for row in 0..600 {
        let now = weld(f64::from(row) * 0.1);
        let time_s = f64::from(row) * 0.1;
        let _ = writeln!(log, "{time_s:.1};{:.4};{:.2}", now.current / 1000.0, now.voltage);
    }
    std::fs::write(folder.path().join("log.csv"), log).unwrap();
    let run = run_in(folder.path(), &["layout", "log.csv", "-o", "log.toml"]);
    let (told, text) = (
        String::from_utf8_lossy(&run.stderr),
        std::fs::read_to_string(folder.path().join("log.toml")).unwrap(),
    );
    assert_eq!(run.status.code(), Some(3), "{told}");
    for told in [&*told, text.as_str()] {
        assert!(told.contains("check: `current` reads about 0.3") && told.contains("is it kA (32"), "{told}");
    }
    let layout = Layout::parse("log.toml", &text).unwrap_or_else(|errors| panic!("{errors}"));
    assert!(layout.channel(Channel::Current).is_some());
}
