//! `core/LINK.md`, from which a client can be written: its tables of types and units and its frames against the
//! code, and its client in Python against the board program.
//!
//! Decides: what the tables on the page hold, and how they are written.
//! Assumes: `python3` is on the path, for the client.
//! Never: takes a table of the page for right without the code, or the code's frames without the client.

use bandward::alarms::point::{AlarmEvent, AlarmKind};
use bandward::event::{Event, Position};
use bandward::link::frame::LONGEST_FRAME;
use bandward::link::upload::UploadError;
use bandward::link::{
    LONGEST_MESSAGE, LONGEST_PIECE, Lamp, Refusal, Report, Request, Sender, VERSION, hard_limits,
};
use bandward::procedure::{ArcSettings, Geometry, JointPlan, Polarity, ProcedureError, Rotation};
use bandward::record::band::{Ending, Spread, WireFeedSource};
use bandward::record::joint::Shortfall;
use bandward::record::kept::Kept;
use bandward::record::proof::{Outcome, Proof, Why};
use bandward::record::stamp::{Serial, Stamp};
use bandward::rule::{Measure, Side};
use bandward::units::{self, FixedPoint};
use bandward::{BandRecord, Channel, JointRecord, Phase, Procedure, Quantity, Rule, Sample, Severity, delta};
use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_sim::link::recording::write_trace;
use bandward_sim::process::scenario::Scenario;
use bandward_sim::process::targets::Targets;
use bandward_tests::emulator::{CORTEX_M4, Missing, Running, build, skip};
use bandward_tests::host_machine::{ARC, ARC_WITHOUT_GAS, Doing, GAS_ON, IDLE, Shop};
use bandward_tests::line::Line;
use bandward_tests::program;
use serde_json::Value;
use serde_reflection::{
    ContainerFormat, Format, Named, Registry, Samples, Tracer, TracerConfig, VariantFormat,
};
use std::fmt::Write as _;
use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};

const PAGE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../core/LINK.md");
const PROCEDURE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/data/procedures/quick-joint.toml");

fn page() -> String {
    fs::read_to_string(PAGE).unwrap()
}

/// The text between the fences of the first block of this kind.
fn block(kind: &str) -> String {
    let page = page();
    let (_, rest) = page.split_once(&format!("```{kind}\n")).unwrap_or_else(|| panic!("no block {kind}"));
    let (inner, _) = rest.split_once("\n```\n").unwrap();
    format!("{inner}\n")
}

fn assert_block(kind: &str, expected: &str) {
    assert!(block(kind) == expected, "the block `{kind}` of core/LINK.md should be:\n{expected}");
}

/// Every type that goes over the link, as serde sees it.
fn registry() -> Registry {
    // No serial is empty.
    let mut tracer = Tracer::new(TracerConfig::default().default_borrowed_str_value("TJ-7"));
    let samples = Samples::new();
    macro_rules! trace {
        ($($kind:ty),* $(,)?) => { $(tracer.trace_type::<$kind>(&samples).unwrap();)* };
    }
    // Those with variants first: only what is asked for by itself is traced in all its variants.
    trace!(
        AlarmKind,
        Channel,
        Ending,
        Lamp,
        Outcome,
        Phase,
        Polarity,
        Quantity,
        Rotation,
        Rule,
        Severity,
        Side,
        WireFeedSource,
        Why,
        Proof,
        ProcedureError,
        hard_limits::HardLimit,
        UploadError,
        Refusal,
        Event,
        Kept,
        Procedure,
        Request<'_>,
        Report<&[u8]>,
    );
    tracer.registry().unwrap()
}

fn form(format: &Format) -> String {
    let list = |parts: &[Format]| parts.iter().map(form).collect::<Vec<_>>().join(", ");
    match format {
        Format::TypeName(name) => name.clone(),
        Format::Bool => "bool".into(),
        Format::U8 => "u8".into(),
        Format::U16 => "u16".into(),
        Format::U32 => "u32".into(),
        Format::U64 => "u64".into(),
        Format::I32 => "i32".into(),
        Format::Bytes => "bytes".into(),
        Format::Str => "text".into(),
        Format::Option(inner) => format!("{}?", form(inner)),
        Format::Tuple(parts) => format!("({})", list(parts)),
        Format::TupleArray { content, size } => format!("{}[{size}]", form(content)),
        other => panic!("the page has no word for {other:?}"),
    }
}

fn fields(fields: &[Named<Format>]) -> String {
    let fields: Vec<_> = fields.iter().map(|f| format!("{}: {}", f.name, form(&f.value))).collect();
    format!("{{ {} }}", fields.join(", "))
}

#[test]
fn the_types_are_those_of_the_code() {
    let mut text = String::new();
    for (name, container) in registry() {
        match container {
            ContainerFormat::Struct(inner) => writeln!(text, "{name} = {}", fields(&inner)).unwrap(),
            ContainerFormat::Enum(variants) => {
                writeln!(text, "{name} = one of").unwrap();
                for (number, variant) in variants {
                    let inner = match &variant.value {
                        VariantFormat::Unit => String::new(),
                        VariantFormat::NewType(inner) => form(inner),
                        VariantFormat::Struct(inner) => fields(inner),
                        VariantFormat::Tuple(parts) => form(&Format::Tuple(parts.clone())),
                        other @ VariantFormat::Variable(_) => panic!("{other:?}"),
                    };
                    writeln!(text, "{}", format!("  {number} {} {inner}", variant.name).trim_end()).unwrap();
                }
            }
            other => panic!("the page has no word for {name}: {other:?}"),
        }
    }
    assert_block("layout", &text);
    let page = page();
    for said in [
        format!("version of the link is **{VERSION}**"),
        format!("| version | 1 | {VERSION} |"),
        format!("| message | 1 to {LONGEST_MESSAGE} |"),
        format!("longer than {} bytes unstuffed", bandward::link::frame::LONGEST_BODY),
        format!("`BenchSamples` (at most {LONGEST_PIECE} bytes)"),
        format!("`UploadPiece` (at most {LONGEST_PIECE} bytes)"),
    ] {
        assert!(page.contains(&said), "{said}");
    }
    let shortfalls = Shortfall::ALL.map(|shortfall| format!("{shortfall:?}")).join(", ");
    assert!(page.replace('\n', " ").contains(&shortfalls), "{shortfalls}");
}

/// What a raw number is measured in.
trait Measured {
    const SYMBOL: &'static str;
    const BITS: u32;
}

macro_rules! measured {
    ($($name:ident)*) => {
        $(impl Measured for units::$name {
            const SYMBOL: &'static str = units::$name::SYMBOL;
            const BITS: u32 = <units::$name as FixedPoint>::FRACTION_BITS;
        })*
    };
}
measured!(Current Voltage FlowRate Length WireSpeed Temperature CoolingRate WeaveRate Duration Degrees EventRate
    Power EnergyPerLength);

impl<M: Measured> Measured for Option<M> {
    const SYMBOL: &'static str = M::SYMBOL;
    const BITS: u32 = M::BITS;
}
impl<M: Measured> Measured for Spread<M> {
    const SYMBOL: &'static str = M::SYMBOL;
    const BITS: u32 = M::BITS;
}

/// The unit of a field, by its type.
const fn unit<R, M: Measured>(_: fn(&R) -> &M) -> (&'static str, u32) {
    (M::SYMBOL, M::BITS)
}

/// Every field that holds a fixed-point number of a unit of its own.
fn measured_fields() -> Vec<(String, (&'static str, u32))> {
    macro_rules! fields {
        ($($record:ident: $($field:ident)*;)*) => {
            vec![$($((
                concat!(stringify!($record), ".", stringify!($field)).to_owned(),
                unit(|record: &$record| &record.$field),
            ),)*)*]
        };
    }
    fields! {
        ArcSettings: current_on current_off open_circuit;
        BandRecord: current voltage gas arc_power arc_energy weave_rate weave_width weave_centre_drift turned turn_time
            overlap step_over short_circuits wire_feed band_height gas_preflow gas_postflow coolant_minimum
            work_at_start;
        Geometry: outside_diameter wire_diameter stick_out band_width run_out;
        JointPlan: ends_with_carriage_beyond;
        JointRecord: fastest_cooling;
        Position: turned;
        Procedure: cooling_until;
    }
}

fn holds_a_number(format: &Format) -> bool {
    match format {
        Format::I32 => true,
        Format::Option(inner) | Format::TupleArray { content: inner, .. } => holds_a_number(inner),
        Format::TypeName(name) => name == "Spread",
        _ => false,
    }
}

#[test]
fn the_units_are_those_of_the_code() {
    let mut text = String::new();
    for channel in Channel::ALL {
        let symbol = match channel {
            Channel::Spindle => "turn",
            Channel::Current => units::Current::SYMBOL,
            Channel::Voltage => units::Voltage::SYMBOL,
            Channel::Gas | Channel::Coolant => units::FlowRate::SYMBOL,
            Channel::Torch | Channel::Carriage => units::Length::SYMBOL,
            Channel::Wire => units::WireSpeed::SYMBOL,
            Channel::Work => units::Temperature::SYMBOL,
        };
        writeln!(text, "channel {channel:?} {symbol} {}", channel.fraction_bits()).unwrap();
    }
    for quantity in Quantity::ALL {
        writeln!(text, "quantity {quantity:?} {} {}", quantity.symbol(), quantity.fraction_bits()).unwrap();
    }
    for rule in Rule::ALL {
        let told = match rule.measure(Some(Channel::Current)) {
            Measure::Reading(_) => "of its channel".to_owned(),
            Measure::Quantity(quantity) => format!("{} {}", quantity.symbol(), quantity.fraction_bits()),
            measure @ Measure::Duration => format!("s {}", measure.fraction_bits()),
            measure @ Measure::SpindleSpeed => format!("deg/s {}", measure.fraction_bits()),
        };
        writeln!(text, "alarm {rule:?} {told}").unwrap();
    }
    let measured = measured_fields();
    for (field, (symbol, bits)) in &measured {
        writeln!(text, "field {field} {symbol} {bits}").unwrap();
    }
    assert_block("units", &text);
    // Whatever else holds such a number is one of those that the page speaks of.
    let of_what_it_belongs_to = [
        "AlarmEvent.worst",
        "AlarmEvent.limit",
        "AlarmSetting.deadband",
        "Limits.floor",
        "Range.low",
        "Range.high",
        "Sample.readings",
        "Telemetry.judged",
        "Spread.mean",
        "Spread.minimum",
        "Spread.maximum",
        "Spread.deviation",
    ];
    for (name, container) in registry() {
        let ContainerFormat::Struct(inner) = container else { continue };
        for field in inner.iter().filter(|field| holds_a_number(&field.value)) {
            let field = format!("{name}.{}", field.name);
            let has_unit = measured.iter().any(|(known, _)| *known == field);
            assert!(has_unit != of_what_it_belongs_to.contains(&&*field), "{field}");
        }
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut text, byte| {
        write!(text, "{byte:02x}").unwrap();
        text
    })
}

fn block_of_samples() -> Vec<u8> {
    let (mut encoder, mut block) = (delta::Encoder::new(), [0; 64]);
    let mut used = 0;
    for (time_us, amps) in [(20_000, 320), (40_000, 319), (60_000, 321)] {
        let sample =
            Sample::at(time_us).current(units::Current::amps(amps)).gas(units::FlowRate::from_milli(16_500));
        used += encoder.push(&sample, &mut block[used..]).unwrap();
    }
    block[..used].to_vec()
}

/// The frames of the page: way, sequence number, message, bytes.
fn vectors() -> String {
    let mut text = String::new();
    let mut to_board = Sender::new();
    let mut line = |way: &str, number: u32, message: &str, frame: &[u8]| {
        writeln!(text, "{way} {number} {message}\n    {}", hex(frame)).unwrap();
    };
    let requests = [
        (Request::Hello, r#""Hello""#),
        (Request::Acknowledge, r#""Acknowledge""#),
        (Request::ReadJournal { from: 300 }, r#"{"ReadJournal": {"from": 300}}"#),
        (
            Request::Shelve { rule: Rule::WeaveRateLow, for_us: 600_000_000 },
            r#"{"Shelve": {"rule": "WeaveRateLow", "for_us": 600000000}}"#,
        ),
        (
            Request::UploadPiece { offset: 256, bytes: &[0, 1, 2, 0, 255] },
            r#"{"UploadPiece": {"offset": 256, "bytes": "00010200ff"}}"#,
        ),
        // 2026-11-27 12:00:00 UTC: 20,784 days since 1970.
        (Request::SetDate { utc_s: 20_784 * 86_400 + 43_200 }, r#"{"SetDate": {"utc_s": 1795780800}}"#),
        (Request::NameJoint { serial: b"TJ 0417" }, r#"{"NameJoint": {"serial": "544a2030343137"}}"#),
    ];
    for (number, (request, message)) in (0..).zip(requests) {
        line("request", number, message, to_board.frame(&request, &mut [0; LONGEST_FRAME]).unwrap());
    }
    let block = block_of_samples();
    let alarm = AlarmEvent {
        time_us: 61_240_000,
        kind: AlarmKind::Raised,
        rule: Rule::VoltageLow,
        channel: None,
        severity: Severity::Stop,
        onset_us: 60_990_000,
        position: Position { band: 2, turned: Some(units::Degrees::from_milli(-1_500)) },
        worst: units::Voltage::from_milli(27_500).to_bits(),
        limit: Some(units::Voltage::from_milli(29_000).to_bits()),
    };
    let stamp = Stamp { began_utc_s: Some(1_795_780_800), serial: Serial::new(b"TJ 0417") };
    let joint = Report::Joint { record: JointRecord { joint: 1, bands: 3, ..JointRecord::default() }, stamp };
    let not_held = Report::BlackBox { number: 70_000, bytes: &*block };
    let reports = [
        (Report::Ready { procedure_crc: 0xCBF4_3926 }, r#"{"Ready": {"procedure_crc": 3421780262}}"#.to_owned()),
        (
            Report::Refused(Refusal::Upload(UploadError::OutOfOrder { expected: 512 })),
            r#"{"Refused": {"Upload": {"OutOfOrder": {"expected": 512}}}}"#.to_owned(),
        ),
        (
            Report::Event(Event::Alarm(alarm)),
            r#"{"Event": {"Alarm": {"time_us": 61240000, "kind": "Raised", "rule": "VoltageLow", "channel": null, "severity": "Stop", "onset_us": 60990000, "position": {"band": 2, "turned": -6144}, "worst": 112640, "limit": 118784}}}"#.to_owned(),
        ),
        (not_held, format!(r#"{{"BlackBox": {{"number": 70000, "bytes": "{}"}}}}"#, hex(&block))),
        (Report::JournalEnd, r#""JournalEnd""#.to_owned()),
        (joint, serde_json::to_string(&joint).unwrap()),
    ];
    let mut to_host = Sender::new();
    for (number, (report, message)) in (0..).zip(&reports) {
        line("report", number, message, to_host.frame(report, &mut [0; LONGEST_FRAME]).unwrap());
    }
    text
}

#[test]
fn the_frames_are_those_of_the_code() {
    assert_block("vectors", &vectors());
}

fn check_in_python(folder: &tempfile::TempDir, checks: &str) {
    fs::write(folder.path().join("checks.py"), checks).unwrap();
    let output =
        Command::new("python3").arg("checks.py").arg(PAGE).current_dir(folder.path()).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
}

fn no_python() -> Missing {
    Missing("no python3: apt install python3".into())
}

/// Is there a Python?
fn python() -> Option<()> {
    let version =
        Command::new("python3").arg("--version").stdout(Stdio::null()).stderr(Stdio::null()).status();
    version.ok().filter(std::process::ExitStatus::success).map(|_| ())
}

/// The client of the page as a file in a folder of its own.
fn client() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let client = block("python");
    assert!(client.lines().count() < 100, "{} lines", client.lines().count());
    fs::write(folder.path().join("client.py"), client).unwrap();
    folder
}

/// Another implementation, made from the page, understands the frames and makes the same ones.
#[test]
fn the_client_agrees_on_every_frame() {
    let Some(()) = python() else {
        return skip("the_client_agrees_on_every_frame", &no_python());
    };
    let folder = client();
    let checks = r#"
import json, re, sys
import client
vectors = re.findall(r"^(request|report) (\d+) (.*)\n    (\w+)$", client.PAGE, re.M)
assert len(vectors) == 13, vectors
for way, number, message, hexed in vectors:
    [found] = client.messages([bytes.fromhex(hexed)], way.capitalize())
    assert found == json.loads(message), (found, message)
    # Cut at any place, changed in any byte: nothing comes out.
    whole = bytes.fromhex(hexed)
    assert not list(client.messages([whole[:-2] + b"\0"], way.capitalize()))
    for place in range(1, len(whole) - 1):
        changed = whole[:place] + bytes([whole[place] ^ 64]) + whole[place + 1:]
        assert not list(client.messages([changed], way.capitalize())), (place, changed.hex())
    # In pieces of one byte it is the same.
    assert list(client.messages([bytes([b]) for b in whole], way.capitalize())) == [found]
for number, request, numbers in [(0, "Hello", []), (1, "Acknowledge", []), (2, "ReadJournal", [300]), (3, "Shelve", [13, 600_000_000]), (5, "SetDate", [1795780800]), (6, "NameJoint", [7, *b"TJ 0417"])]:
    assert client.frame(number, request, *numbers).hex() == vectors[number][3], request
"#;
    fs::write(folder.path().join("checks.py"), checks).unwrap();
    let output =
        Command::new("python3").arg("checks.py").arg(PAGE).current_dir(folder.path()).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
}

/// What a board says in a weld with a stop, in every field: states, events, faults, bands, a joint.
#[test]
fn the_client_reads_all_that_a_board_says() {
    let Some(()) = python() else {
        return skip("the_client_reads_all_that_a_board_says", &no_python());
    };
    let without_meter = Doing { gas_lpm: None, ..IDLE };
    let mut shop = Shop::open();
    for (seconds, doing) in
        [(2, GAS_ON), (20, ARC), (3, ARC_WITHOUT_GAS), (20, ARC), (15, IDLE), (3, without_meter), (1, IDLE)]
    {
        shop.run(seconds, doing);
    }
    shop.bench.send(&Request::Acknowledge);
    shop.run(1, IDLE);
    shop.bench.send(&Request::MarkJoint);
    shop.run(1, IDLE);
    let heard = shop.bench.heard();
    let (mut sender, mut text) = (Sender::new(), String::new());
    for report in &heard {
        let frame = hex(sender.frame(report, &mut [0; LONGEST_FRAME]).unwrap());
        writeln!(text, "{frame} {}", serde_json::to_string(report).unwrap()).unwrap();
    }
    for kind in ["Telemetry", "Event", "Band", "Joint", "Faults"] {
        assert!(text.contains(&format!("{{\"{kind}\":")), "none of {kind}");
    }
    let folder = client();
    fs::write(folder.path().join("heard"), text).unwrap();
    let checks = r#"
import json
import client
for line in open("heard"):
    frame, expected = line.split(" ", 1)
    [found] = client.messages([bytes.fromhex(frame)])
    assert found == json.loads(expected), (found, expected)
"#;
    check_in_python(&folder, checks);
}

/// The unit that the page gives: (bits, symbol).
fn bits_of(units: &str, line: &str) -> i32 {
    let found = units.lines().find_map(|known| known.strip_prefix(line)).unwrap_or_else(|| panic!("{line}"));
    found.split_whitespace().last().unwrap().parse().unwrap()
}

#[test]
fn the_client_reads_a_board() {
    let test = "the_client_reads_a_board";
    let started = build(CORTEX_M4, "board", &[]).and_then(|program| Running::start(CORTEX_M4, &program));
    let board = match started {
        Ok(board) => board,
        Err(missing) => return skip(test, &missing),
    };
    let Some(()) = python() else {
        return skip(test, &no_python());
    };
    let line = Line::to(&board);
    let folder = client();
    let joint = folder.path().join("joint.csv");
    let file = ProcedureFile::read(Path::new(PROCEDURE)).unwrap();
    let samples: Vec<_> = Scenario::good(Targets::of_file(&file), 10.0)
        .with_seed(77)
        .rows()
        .map(|row| row.to_sample())
        .collect();
    write_trace(&joint, &samples).unwrap();
    let journal = folder.path().join("journal.json");
    let watched = Command::new(program::path())
        .args(["watch", "--tcp", &line.address, "--upload", PROCEDURE, "--fetch-journal"])
        .args([&journal, &joint])
        .output()
        .unwrap();
    let by_host: Value = serde_json::from_slice(&fs::read(&journal).unwrap()).unwrap();
    let bands = by_host[0]["bands"].as_array().unwrap();
    assert!(bands.len() >= 2, "{}", String::from_utf8_lossy(&watched.stderr));

    let mut python = Command::new("python3");
    python.arg("client.py").args([PAGE, &line.address]).current_dir(folder.path());
    let output = python.output().unwrap();
    // Without inputs the emulated board tells no state: the client says at last that it hears nothing.
    let told = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.code() == Some(1) && told.starts_with("link lost"), "{told}");
    let said: Vec<Value> = String::from_utf8(output.stdout)
        .unwrap()
        .lines()
        .map(|line| serde_json::from_str(line).unwrap_or_else(|_| panic!("{line}")))
        .collect();
    assert!(said[0]["Ready"]["procedure_crc"].as_u64().unwrap() > 0, "{}", said[0]);
    // No sample has come of its inputs, and the bench test is over.
    assert_eq!(said[1]["Refused"], "NoSample");
    assert_eq!((&said[2], said.last()), (&"Acknowledged".into(), Some(&"JournalEnd".into())));
    let kept: Vec<_> =
        said.iter().filter_map(|report| report["Journal"]["record"].get("BenchBand")).collect();
    assert_eq!(kept.len(), bands.len());
    let units = block("units");
    for (by_client, by_host) in kept.iter().zip(bands) {
        for (ours, theirs) in [
            ("current", "current_a"),
            ("voltage", "voltage_v"),
            ("arc_power", "arc_power_w"),
            ("wire_feed", "wire_mm_per_min"),
            ("gas_preflow", "gas_preflow_s"),
            ("work_at_start", "work_at_start_c"),
        ] {
            let raw = &by_client[ours];
            let raw =
                raw.get("mean").unwrap_or(raw).as_f64().unwrap_or_else(|| panic!("{ours}: {by_client}"));
            let value = raw / f64::from(1 << bits_of(&units, &format!("field BandRecord.{ours} ")));
            let expected = &by_host[theirs];
            let expected = expected
                .get("mean")
                .unwrap_or(expected)
                .as_f64()
                .unwrap_or_else(|| panic!("{theirs}: {by_host}"));
            assert!((value - expected).abs() < 0.001 + 0.000_5, "{ours}: {value} {expected}");
        }
    }
}
