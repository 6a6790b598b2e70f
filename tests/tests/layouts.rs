//! Small written logs, each with the layout that a shop would write for it (all invented), and the readings worked
//! out by hand beside them.
//!
//! Decides: whether every kind of layout reads as it says.
//! Assumes: 1 in = 25.4 mm, 1 ft = 304.8 mm (international yard and pound agreement, 1959).

use bandward::Channel::{self, Coolant, Current, Gas, Spindle, Torch, Voltage, Wire, Work};
use bandward_sim::input::layout::Layout;
use bandward_sim::trace::{self, Row};
use std::fmt::Write as _;
use std::io::{Cursor, Write as _};

/// A missing reading.
const NONE: f64 = f64::NAN;

/// A log, its layout, and what they give.
struct Case {
    name: &'static str,
    layout: &'static str,
    log: &'static str,
    channels: &'static [Channel],
    /// Time, s, and a reading a channel.
    rows: &'static [(f64, &'static [f64])],
}

const CASES: &[Case] = &[
    Case {
        name: "no header, columns by number",
        layout: "[time]\nseconds = 1\n[csv]\nheader = false\n\
                 [channels]\ncurrent = { column = 3, unit = \"A\" }\nvoltage = { column = 2, unit = \"V\" }\n",
        log: "0,31,300\n0.5,31.5,310\n1,30,305\n",
        channels: &[Current, Voltage],
        rows: &[(0.0, &[300.0, 31.0]), (0.5, &[310.0, 31.5]), (1.0, &[305.0, 30.0])],
    },
    Case {
        name: "no header below two lines of remarks, a column nobody named",
        layout: "[time]\ninterval = \"0.2 s\"\n[csv]\nheader = false\nskip_rows = 2\n\
                 [channels]\ncurrent = { column = 1, unit = \"A\" }\n",
        log: "Logger 7 (invented)\nstarted by hand\n300,x\n301,y\n",
        channels: &[Current],
        rows: &[(0.0, &[300.0]), (0.2, &[301.0])],
    },
    Case {
        name: "two columns of one name, told apart by their numbers",
        layout: "[time]\nseconds = \"t\"\n\
                 [channels]\ncurrent = { column = 2, unit = \"A\" }\nvoltage = { column = 3, unit = \"V\" }\n",
        log: "t,Ch,Ch\n0,300,31\n1,301,32\n",
        channels: &[Current, Voltage],
        rows: &[(0.0, &[300.0, 31.0]), (1.0, &[301.0, 32.0])],
    },
    Case {
        name: "a units row passed over",
        layout: "[time]\nseconds = \"t\"\n[csv]\nunits_row = true\n\
                 [channels]\ncurrent = { column = \"I\", unit = \"kA\" }\n",
        log: "t,I\ns,kA\n0,0.3\n1,0.31\n",
        channels: &[Current],
        rows: &[(0.0, &[300.0]), (1.0, &[310.0])],
    },
    Case {
        // 35 ft3/h: 35 x 28.316846592 / 60 L/min; 300 in/min x 25.4.
        name: "units read from the row below the header, in brackets",
        layout: "[time]\nseconds = \"t\"\n[csv]\nunits_row = true\n\
                 [channels]\ngas = { column = \"G\", unit = \"units row\" }\n\
                 wire = { column = \"W\", unit = \"units row\" }\n",
        log: "t,G,W\n[s],[ft3/h],(in/min)\n0,35,300\n1,0,0\n",
        channels: &[Gas, Wire],
        rows: &[(0.0, &[16.518_160_512, 7620.0]), (1.0, &[0.0, 0.0])],
    },
    Case {
        name: "elapsed time as mm:ss",
        layout: "[time]\nelapsed = \"Run\"\n[channels]\ncurrent = { column = \"I\", unit = \"A\" }\n",
        log: "Run,I\n01:00.0,300\n01:00.5,301\n02:01.0,302\n",
        channels: &[Current],
        rows: &[(60.0, &[300.0]), (60.5, &[301.0]), (121.0, &[302.0])],
    },
    Case {
        name: "elapsed time as hh:mm:ss with a decimal comma",
        layout: "[time]\nelapsed = \"Zeit\"\n[csv]\ndecimal_comma = true\n\
                 [channels]\ncurrent = { column = \"I\", unit = \"A\" }\n",
        log: "Zeit;I\n1:00:00,25;300,5\n1:00:01,25;301\n",
        channels: &[Current],
        rows: &[(3600.25, &[300.5]), (3601.25, &[301.0])],
    },
    Case {
        name: "mm:ss that starts again after an hour",
        layout: "[time]\nelapsed = \"Run\"\n[channels]\ncurrent = { column = \"I\", unit = \"A\" }\n",
        log: "Run,I\n59:59,300\n00:00,301\n00:01,302\n",
        channels: &[Current],
        rows: &[(3599.0, &[300.0]), (3600.0, &[301.0]), (3601.0, &[302.0])],
    },
    Case {
        name: "a unit behind each number, not always the same",
        layout: "[time]\nseconds = \"t\"\n[channels]\ncurrent = { column = \"I\", unit = \"cell\" }\n\
                 work = { column = \"T\", unit = \"cell\" }\n",
        log: "t,I,T\n0,320 A,212 °F\n1,0.3kA,100 °C\n2,,\n",
        channels: &[Current, Work],
        rows: &[(0.0, &[320.0, 100.0]), (1.0, &[300.0, 100.0]), (2.0, &[NONE, NONE])],
    },
    Case {
        name: "a unit behind each number, decimal comma, another sign",
        layout: "[time]\nseconds = \"t\"\n[csv]\ndecimal_comma = true\n\
                 [channels]\ncurrent = { column = \"I\", unit = \"cell\", scale = -1 }\n",
        log: "t;I\n0;-320,5 A\n1;-310 A\n",
        channels: &[Current],
        rows: &[(0.0, &[320.5]), (1.0, &[310.0])],
    },
    Case {
        name: "marks of a missing reading",
        layout: "[time]\nseconds = \"t\"\n[csv]\nmissing = [\"#N/A\", \"---\"]\n\
                 [channels]\ncurrent = { column = \"I\", unit = \"A\" }\nvoltage = { column = \"U\", unit = \"V\" }\n",
        log: "t,I,U\n0,#N/A,31\n1,300, --- \n2,301,32\n",
        channels: &[Current, Voltage],
        rows: &[(0.0, &[NONE, 31.0]), (1.0, &[300.0, NONE]), (2.0, &[301.0, 32.0])],
    },
    Case {
        name: "a number that stands for a missing reading",
        layout: "[time]\nseconds = \"t\"\n[csv]\nmissing = [\"-999.0\"]\n\
                 [channels]\nwork = { column = \"T\", unit = \"degC\" }\n",
        log: "t,T\n0,-999.0\n1,150\n",
        channels: &[Work],
        rows: &[(0.0, &[NONE]), (1.0, &[150.0])],
    },
    Case {
        name: "the newest row first",
        layout: "[time]\nseconds = \"t\"\n[csv]\norder = \"newest first\"\n\
                 [channels]\ncurrent = { column = \"I\", unit = \"A\" }\n",
        log: "t,I\n2,302\n1,\"301\"\n0,300\n",
        channels: &[Current],
        rows: &[(0.0, &[300.0]), (1.0, &[301.0]), (2.0, &[302.0])],
    },
    Case {
        // 3600 counts a turn: ten a degree. 65,530 + 20 begins again at 14, 2 degrees on.
        name: "the newest row first, without a header, with a count that begins again at 65,536",
        layout: "[time]\nseconds = 1\n[csv]\norder = \"newest first\"\nheader = false\n\
                 [channels]\nspindle = { column = 2, unit = \"count\", counts_per_turn = 3600, wraps_at = 65536 }\n",
        log: "2,34\n1,14\n0,65530\n",
        channels: &[Spindle],
        rows: &[(0.0, &[6553.0]), (1.0, &[6555.0]), (2.0, &[6557.0])],
    },
    Case {
        name: "a signed count of 16 bits that turns backward",
        layout: "[time]\nseconds = \"t\"\n\
                 [channels]\nspindle = { column = \"n\", unit = \"count\", counts_per_turn = 360, wraps_at = 65536 }\n",
        log: "t,n\n0,-32767\n1,32767\n2,32765\n",
        channels: &[Spindle],
        rows: &[(0.0, &[-32_767.0]), (1.0, &[-32_769.0]), (2.0, &[-32_771.0])],
    },
    Case {
        // 0.5 rpm are 3 degrees a second; from 0.5 to 1.5 rpm in one second the mean is 6.
        name: "a speed in rpm instead of an angle",
        layout: "[time]\nseconds = \"t\"\n[channels]\nspindle = { column = \"n\", unit = \"rpm\" }\n",
        log: "t,n\n0,0.5\n1,0.5\n2,1.5\n3,\n4,1.5\n",
        channels: &[Spindle],
        rows: &[(0.0, &[0.0]), (1.0, &[3.0]), (2.0, &[9.0]), (3.0, &[NONE]), (4.0, &[27.0])],
    },
    Case {
        name: "a speed in degrees a second, the other way round",
        layout: "[time]\ninterval = \"0.5 s\"\n\
                 [channels]\nspindle = { column = \"v\", unit = \"deg/s\", scale = -1 }\n",
        log: "v\n4\n4\n4\n",
        channels: &[Spindle],
        rows: &[(0.0, &[0.0]), (0.5, &[-2.0]), (1.0, &[-4.0])],
    },
    Case {
        // 20 pulses a turn of a wheel that turns 1.8 times as fast: 36 a turn of the joint, 10 degrees each.
        name: "pulses since the row before",
        layout: "[time]\nseconds = \"t\"\n[channels]\n\
                 spindle = { column = \"p\", unit = \"pulses\", counts_per_turn = 20, gear_ratio = 1.8 }\n",
        log: "t,p\n0,0\n1,2\n2,1\n3,0\n",
        channels: &[Spindle],
        rows: &[(0.0, &[0.0]), (1.0, &[20.0]), (2.0, &[30.0]), (3.0, &[30.0])],
    },
    Case {
        name: "a switch that closes eight times a turn, closed at the beginning",
        layout: "[time]\nseconds = \"t\"\n\
                 [channels]\nspindle = { column = \"s\", unit = \"switch\", counts_per_turn = 8 }\n",
        log: "t,s\n0,1\n1,0\n2,1\n3,1\n4,0\n5,1\n",
        channels: &[Spindle],
        rows: &[(0.0, &[0.0]), (1.0, &[0.0]), (2.0, &[45.0]), (3.0, &[45.0]), (4.0, &[45.0]), (5.0, &[90.0])],
    },
    Case {
        // NAMUR NE 43 (from memory): under 3.6 mA and over 21 mA the loop is broken.
        name: "4 to 20 mA by two points, with a broken loop",
        layout: "[time]\nseconds = \"t\"\n[channels]\n\
                 current = { column = \"mA\", from = [4, 20], to = [\"0 A\", \"600 A\"] }\n",
        log: "t,mA\n0,4\n1,12\n2,3.2\n3,20.4\n4,21.5\n",
        channels: &[Current],
        rows: &[(0.0, &[0.0]), (1.0, &[300.0]), (2.0, &[NONE]), (3.0, &[615.0]), (4.0, &[NONE])],
    },
    Case {
        // 5 of 10 V is half of 300 °F: 150 °F is 65.5555... °C.
        name: "0 to 10 V by two points, valid up to 10.2 V",
        layout: "[time]\nseconds = \"t\"\n[channels]\n\
                 work = { column = \"U\", from = [0, 10], to = [\"0 degF\", \"300 degF\"], valid = [-0.2, 10.2] }\n",
        log: "t,U\n0,5\n1,10.3\n2,0\n",
        channels: &[Work],
        rows: &[(0.0, &[65.555_555_555_6]), (1.0, &[NONE]), (2.0, &[-17.777_777_777_8])],
    },
    Case {
        // 1 V is +20 mm, 3 V is -20 mm: 2 V is the middle.
        name: "two points that fall, of the torch",
        layout: "[time]\nseconds = \"t\"\n[channels]\n\
                 torch = { column = \"U\", from = [1, 3], to = [\"20 mm\", \"-20 mm\"] }\n",
        log: "t,U\n0,1\n1,2\n2,3.5\n",
        channels: &[Torch],
        rows: &[(0.0, &[20.0]), (1.0, &[0.0]), (2.0, &[-30.0])],
    },
    Case {
        name: "cells written only when they change, held for two seconds",
        layout: "[time]\nseconds = \"t\"\n[csv]\nmissing = [\"---\"]\n\
                 [channels]\ncoolant = { column = \"c\", unit = \"L/min\", hold = \"2 s\" }\n",
        log: "t,c\n0,\n1,5\n2,\n3,\n4,\n5,6\n6,---\n7,\n",
        channels: &[Coolant],
        rows: &[
            (0.0, &[NONE]),
            (1.0, &[5.0]),
            (2.0, &[5.0]),
            (3.0, &[5.0]),
            (4.0, &[NONE]),
            (5.0, &[6.0]),
            (6.0, &[NONE]),
            (7.0, &[NONE]),
        ],
    },
    Case {
        name: "cells written only when they change, and rows that end where nothing has",
        layout: "[time]\nseconds = \"t\"\n[channels]\ncurrent = { column = \"I\", unit = \"A\", hold = \"5 s\" }\n\
                 voltage = { column = \"U\", unit = \"V\" }\n",
        log: "t,I,U\n0,300,31\n1\n2,,32\n",
        channels: &[Current, Voltage],
        rows: &[(0.0, &[300.0, 31.0]), (1.0, &[300.0, NONE]), (2.0, &[300.0, 32.0])],
    },
    Case {
        name: "another sign and a zero that is off",
        layout: "[time]\nseconds = \"t\"\n[channels]\n\
                 current = { column = \"I\", unit = \"A\", scale = -1, offset = 2.5 }\n\
                 voltage = { column = \"U\", unit = \"mV\", scale = -1 }\n",
        log: "t,I,U\n0,-300,-31000\n1,2.5,0\n",
        channels: &[Current, Voltage],
        rows: &[(0.0, &[302.5, 31.0]), (1.0, &[0.0, 0.0])],
    },
    Case {
        name: "the newest row first, with date and time, over midnight, tabs",
        layout: "[time]\ndate = \"D\"\ntime = \"T\"\ndate_format = \"%d.%m.%Y\"\n\
                 [csv]\norder = \"newest first\"\ndelimiter = \"tab\"\n\
                 [channels]\ncurrent = { column = \"I\", unit = \"A\" }\n",
        log: "D\tT\tI\n02.03.2026\t00:00:01\t301\n01.03.2026\t23:59:59\t300\n",
        channels: &[Current],
        rows: &[(0.0, &[300.0]), (2.0, &[301.0])],
    },
    Case {
        name: "milliseconds since 1970, bars between cells",
        layout: "[time]\nepoch = \"ts\"\nunit = \"ms\"\n[csv]\ndelimiter = \"|\"\n\
                 [channels]\nvoltage = { column = \"U\", unit = \"V\" }\n",
        log: "ts|U\n1700000000000|31\n1700000000250|32\n",
        channels: &[Voltage],
        rows: &[(0.0, &[31.0]), (0.25, &[32.0])],
    },
];

fn read(case: &Case, bytes: Vec<u8>) -> Vec<Row> {
    let layout = Layout::parse(case.name, case.layout).unwrap_or_else(|errors| panic!("{errors}"));
    let reader = trace::open_stream(Cursor::new(bytes), case.name, Some(&layout));
    let reader = reader.unwrap_or_else(|errors| panic!("{}: {errors}", case.name));
    reader.collect::<Result<_, _>>().unwrap_or_else(|errors| panic!("{}: {errors}", case.name))
}

fn hold(case: &Case, rows: &[Row]) {
    let name = case.name;
    assert_eq!(rows.len(), case.rows.len(), "{name}");
    for (row, (time_s, values)) in rows.iter().zip(case.rows) {
        assert_eq!(row.time_us, (time_s * 1e6).round() as u64, "{name}");
        for (&channel, &wanted) in case.channels.iter().zip(*values) {
            let got = row.get(channel);
            let is_same = got.map_or(wanted.is_nan(), |got| (got - wanted).abs() < 1e-6);
            assert!(is_same, "{name}, at {time_s} s: {got:?}, not {wanted}, of {}", channel.name());
        }
    }
}

#[test]
fn every_layout_reads_as_worked_out_by_hand() {
    assert!(CASES.len() >= 25);
    for case in CASES {
        hold(case, &read(case, case.log.as_bytes().to_vec()));
    }
}

/// The same logs saved in UTF-16, in both orders, with a byte order mark and without, plain and packed.
#[test]
fn every_log_reads_the_same_in_utf_16() {
    for (index, case) in CASES.iter().enumerate() {
        let order = if index % 2 == 0 { u16::to_le_bytes } else { u16::to_be_bytes };
        for mark in [Some(0xfeff), None] {
            let wide: Vec<u8> = mark.into_iter().chain(case.log.encode_utf16()).flat_map(order).collect();
            if index % 3 == 0 {
                let mut packed = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
                packed.write_all(&wide).unwrap();
                hold(case, &read(case, packed.finish().unwrap()));
            } else {
                hold(case, &read(case, wide));
            }
        }
    }
}

fn refused(layout: &str, log: &'static str) -> String {
    let layout = match Layout::parse("shop.toml", layout) {
        Ok(layout) => layout,
        Err(errors) => return errors.to_string(),
    };
    let reader = match trace::open_stream(log.as_bytes(), "log", Some(&layout)) {
        Ok(reader) => reader,
        Err(errors) => return errors.to_string(),
    };
    reader.collect::<Result<Vec<_>, _>>().expect_err("it has a fault").to_string()
}

#[test]
fn what_a_layout_cannot_mean_is_told() {
    let current =
        |keys: &str| format!("[time]\nseconds = \"t\"\n[channels]\ncurrent = {{ column = \"I\", {keys} }}\n");
    let spindle =
        |keys: &str| format!("[time]\nseconds = \"t\"\n[channels]\nspindle = {{ column = \"s\", {keys} }}\n");
    for (layout, words) in [
        (current("from = [4, 20]"), "`from` without `to`"),
        (
            current("from = [4, 20], to = [\"0 A\", \"600 A\"], unit = \"A\""),
            "two points, and `unit` as well",
        ),
        (current("from = [4, 4], to = [\"0 A\", \"600 A\"]"), "make no line"),
        (current("from = [4, 20], to = [\"0 V\", \"600 A\"]"), "is not a unit of a current"),
        (current("unit = \"A\", valid = [5, 1]"), "the low end first"),
        (current("unit = \"cell\", offset = 2"), "an offset in which of the units?"),
        (current("unit = \"units row\""), "which the log does not have"),
        (current("unit = \"A\", hold = \"0 s\""), "the longest a value may stand"),
        (current("unit = \"rpm\""), "`rpm` is not a unit of a current"),
        (spindle("unit = \"pulses\""), "`counts_per_turn` is missing"),
        (spindle("unit = \"switch\", counts_per_turn = 1"), "too few pulses a turn"),
        (spindle("unit = \"rpm\", wraps_at = 100"), "logged in counts"),
        (format!("{}[csv]\nheader = false\n", current("unit = \"A\"")), "says that the log has none"),
        (format!("{}[csv]\nmissing = [\"\"]\n", current("unit = \"A\"")), "missing reading anyway"),
        (
            "[time]\nseconds = 1\n[channels]\ncurrent = { column = 2, unit = \"A\" }\n[csv]\nheader = false\n\
             units_row = true\n"
                .to_owned(),
            "a units row without a header row",
        ),
        (
            "[time]\nseconds = 0\n[channels]\ncurrent = { column = 1.5, unit = \"A\" }\n".to_owned(),
            "its number, from 1",
        ),
    ] {
        let told = refused(&layout, "");
        assert!(told.contains(words) && told.contains("shop.toml:"), "{words}: {told}");
    }
}

#[test]
fn what_a_log_has_against_its_layout_is_told() {
    let layout = |time: &str, unit: &str, csv: &str| {
        format!(
            "[time]\n{time}\n[channels]\ncurrent = {{ column = \"I\", unit = \"{unit}\" }}\n[csv]\n{csv}\n"
        )
    };
    for (layout, log, words) in [
        (layout("seconds = \"t\"", "cell", ""), "t,I\n0,320\n1,300 A\n", "`320` has no unit of a current"),
        (layout("seconds = \"t\"", "A", ""), "t,I\n0,320 A\n1,300\n", "unit = \"cell\""),
        (layout("seconds = \"t\"", "A", ""), "t,I\n0,#N/A\n1,300\n", "missing = [\"#N/A\"]"),
        (
            layout("seconds = \"t\"", "units row", "units_row = true"),
            "t,I\ns,bar\n0,1\n1,2\n",
            "`bar`, which is no unit",
        ),
        (layout("elapsed = \"t\"", "A", ""), "t,I\n0:61,1\n0:62,2\n", "not an elapsed time with colons"),
        (layout("seconds = 7", "A", ""), "t,I\n0,1\n1,2\n", "no column 7: the first row has 2"),
    ] {
        let told = refused(&layout, log);
        assert!(told.contains(words), "{words}: {told}");
    }
}

/// A units row that says otherwise than the layout is told; the layout holds.
#[test]
fn what_a_person_should_know_of_a_log_is_told() {
    let layout = "[time]\nseconds = \"t\"\n[csv]\nunits_row = true\n[channels]\n\
                  current = { column = \"I\", unit = \"A\" }\nspindle = { column = \"n\", unit = \"rpm\" }\n\
                  work = { column = \"T\", from = [4, 20], to = [\"0 degC\", \"400 degC\"] }\n";
    let layout = Layout::parse("shop.toml", layout).unwrap();
    let log: &[u8] = b"t,I,n,T\ns,kA,rpm,mA\n0,300,1,2\n1,301,1,12\n";
    let mut reader = trace::open_stream(log, "log", Some(&layout)).unwrap();
    let rows = reader.by_ref().count();
    let told = reader.warnings().join("\n");
    assert_eq!(rows, 2);
    for words in [
        "column `I`: the layout says A, the units row of the log kA; the layout holds",
        "column `n`: the angle is added up from a speed",
        "column `T`: 1 cell outside 3.6 to 21",
    ] {
        assert!(told.contains(words), "{words}: {told}");
    }
    let contradiction = "column `I`: the layout says A, the units row of the log kA; the layout holds";
    assert_eq!(reader.doubts(), [contradiction]);
    assert_eq!(reader.header().acquisition.spindle_counts, Some(360));
}

/// Twenty bad cells of one kind are one message, with a count and the first three.
#[test]
fn cells_at_fault_in_the_same_way_are_one_message() {
    let mut log = "t,I,U\n".to_owned();
    for row in 0..20 {
        writeln!(log, "{row},x{row},31").expect("a text takes what is written to it");
    }
    log.push_str("20,300,bad\n");
    let layout = "[time]\nseconds = \"t\"\n[channels]\ncurrent = { column = \"I\", unit = \"A\" }\n\
                  voltage = { column = \"U\", unit = \"V\" }\n";
    let layout = Layout::parse("shop.toml", layout).unwrap();
    let faults =
        trace::open_stream(Cursor::new(log.into_bytes()), "log", Some(&layout)).err().expect("faults");
    let told: Vec<_> = faults.faults().iter().map(|fault| (fault.line, fault.problem.as_str())).collect();
    let twenty = "`x0` is not a number; 20 such cells: line 2 `x0`, line 3 `x1`, line 4 `x2` and 17 more, the last \
                  in line 21";
    assert_eq!(told, [(2, twenty), (22, "`bad` is not a number")]);
}

/// The same row again and again.
struct Endless {
    row: Vec<u8>,
    at: usize,
}

impl std::io::Read for Endless {
    fn read(&mut self, out: &mut [u8]) -> std::io::Result<usize> {
        self.at %= self.row.len();
        let count = out.len().min(self.row.len() - self.at);
        out[..count].copy_from_slice(&self.row[self.at..self.at + count]);
        self.at += count;
        Ok(count)
    }
}

/// A log whose newest row stands first is held, but not without end.
#[test]
fn a_log_with_the_newest_row_first_is_refused_where_it_fills_the_memory() {
    let layout = "[time]\nseconds = 1\n[csv]\nheader = false\norder = \"newest first\"\n\
                  [channels]\ncurrent = { column = 2, unit = \"A\" }\n";
    let layout = Layout::parse("shop.toml", layout).unwrap();
    let row = format!("1,300,{}\n", "x".repeat(60_000)).into_bytes();
    let faults = trace::open_stream(Endless { row, at: 0 }, "log", Some(&layout)).err().expect("too long");
    let told = faults.to_string();
    assert!(told.contains("more than 128 MB come before the oldest"), "{told}");
}
