//! The board program on the emulated controller, read over its second serial port by pymodbus.
//!
//! Assumes: `python3` with pymodbus on the path.
//! Never: takes an expected value from the board: those are of a monitor on the host.

use crate::board_modbus_map::{NOT_KNOWN, at, in_scale};
use bandward::event::{Event, Sink};
use bandward::{Acquisition, BandRecord, Monitor, Phase, Quantity};
use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_sim::link::{Link, Report, Session};
use bandward_sim::process::scenario::Scenario;
use bandward_sim::process::targets::Targets;
use bandward_sim::replay::sound;
use bandward_tests::emulator::{CORTEX_M4, Missing, Running, build, skip};
use bandward_tests::line::Line;
use serde_json::Value;
use std::path::Path;
use std::process::{Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

const PROCEDURE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/data/procedures/quick-joint.toml");

struct Nobody;

impl Sink for Nobody {
    fn event(&mut self, _: &Event) {}
    fn band(&mut self, _: &BandRecord) {}
}

/// What the client does on the emulated board, which judges samples of a bench test meanwhile: reads all there is,
/// asks what it must not get, and presses. What it read goes out as JSON.
const CLIENT: &str = r#"
import json, sys
from pymodbus import FramerType
from pymodbus.client import ModbusTcpClient

host, port = sys.argv[1].rsplit(":", 1)
client = ModbusTcpClient(host, port=int(port), framer=FramerType.RTU, timeout=1, retries=20)
assert client.connect()
UNIT = 17

def inputs(first, count):
    answer = client.read_input_registers(first, count=count, device_id=UNIT)
    assert not answer.isError(), answer
    return answer.registers

def until(wanted):
    for _ in range(200):
        before = inputs(3, 2)
        read = {"state": inputs(0, 24), "quantities": inputs(1000, 120) + inputs(1120, 24)}
        if wanted(read["state"]) and inputs(3, 2) == before:
            return read
    raise SystemExit(f"never seen, last {read}")

found = until((lambda state: state[1] == 2 and state[8] == 3) if sys.argv[2] == "live" else (lambda state: state[1] == 3))
found["holding"] = client.read_holding_registers(0, count=3, device_id=UNIT).registers
found["discretes"] = client.read_discrete_inputs(0, count=24, device_id=UNIT).bits[:24]
found["coils"] = client.read_coils(0, count=2, device_id=UNIT).bits[:2]
found["exceptions"] = [
    answer.exception_code
    for answer in (
        client.read_input_registers(24, count=1, device_id=UNIT),
        client.read_coils(2, count=1, device_id=UNIT),
        client.write_register(0, 1, device_id=UNIT),
        client.write_registers(0, [1, 2], device_id=UNIT),
        client.write_coils(0, [True], device_id=UNIT),
        client.write_coil(7, True, device_id=UNIT),
    )
]
pressed = client.write_coil(0, True, device_id=UNIT)
found["pressed"] = (not pressed.isError()) and pressed.bits[:1] == [True]
client.write_coil(0, True, device_id=0, no_response_expected=True)
found["marked"] = client.write_coil(1, True, device_id=UNIT).exception_code
print(json.dumps(found))
"#;

/// Is there a Python with pymodbus?
fn client() -> Result<(), Missing> {
    let found = Command::new("python3").args(["-c", "import pymodbus"]).output();
    match found {
        Ok(found) if found.status.success() => Ok(()),
        _ => Err(Missing("no pymodbus for python3: pip install pymodbus".into())),
    }
}

fn ask_in_python(line: &Line, when: &str, mut meanwhile: impl FnMut()) -> Value {
    let mut python = Command::new("python3");
    let python =
        python.args(["-c", CLIENT, &line.address, when]).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = python.spawn().unwrap();
    while child.try_wait().unwrap().is_none() {
        meanwhile();
        thread::sleep(Duration::from_millis(50));
    }
    let output = child.wait_with_output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

/// The board on the emulated controller, asked over its second serial port by pymodbus.
#[test]
fn pymodbus_reads_the_emulated_board() {
    let test = "pymodbus_reads_the_emulated_board";
    let started = client()
        .and_then(|()| build(CORTEX_M4, "board", &[]))
        .and_then(|program| Running::start(CORTEX_M4, &program));
    let board = match started {
        Ok(board) => board,
        Err(missing) => return skip(test, &missing),
    };
    let line = Line::to_modbus(&board);
    let file = ProcedureFile::read(Path::new(PROCEDURE)).unwrap();
    let scenario = Scenario::good(Targets::of_file(&file), 10.0).with_seed(77);
    let acquisition =
        Acquisition { gap_tolerance_us: 1_000_000, ..Acquisition::every(100_000, scenario.channels) };
    let samples: Vec<_> = scenario.rows().map(|row| row.to_sample()).collect();
    let mut monitor = Monitor::new(&sound(&file.procedure), acquisition);
    // What a monitor on the host reads after each sample.
    let read: Vec<_> = samples
        .iter()
        .map(|sample| {
            monitor.step(sample, &mut Nobody);
            (monitor.phase(), Quantity::ALL.map(|quantity| monitor.reading(quantity)))
        })
        .collect();
    let begun = read.iter().position(|(phase, _)| *phase == Phase::Arc).unwrap() + 100;
    let (mut session, _) = Session::open(Link::open(&board.address()).unwrap(), |_: &Report| ()).unwrap();
    session.upload(&file.procedure).unwrap();
    session.bench_start(acquisition).unwrap();
    session.bench_samples(samples[..begun].iter().copied()).unwrap();
    let (mut next, mut fed) = (begun, Instant::now());
    let found = ask_in_python(&line, "live", || {
        // Often enough for the state to be of now, and seldom enough to read it whole between two.
        if fed.elapsed() > Duration::from_secs(1) {
            session.bench_samples([samples[next]]).unwrap();
            (next, fed) = (next + 1, Instant::now());
        }
    });
    let numbers = |name: &str| -> Vec<u16> {
        found[name].as_array().unwrap().iter().map(|value| value.as_u64().unwrap() as u16).collect()
    };
    let (state, quantities) = (numbers("state"), numbers("quantities"));
    let judged = usize::from(state[4]);
    assert!((begun..=next).contains(&judged) && state[3] == 0, "{state:?}");
    let mut known = 0;
    for (quantity, raw) in Quantity::ALL.into_iter().zip(read[judged - 1].1) {
        let expected = in_scale(raw, quantity.fraction_bits(), quantity);
        assert_eq!(quantities[8 * quantity as usize], expected, "{quantity:?} after {judged} samples");
        known += usize::from(expected != NOT_KNOWN);
    }
    assert!(known > 5, "{known}");
    assert_eq!((state[0], state[1], state[5], state[9]), (3, 2, 0, 1), "{state:?}");
    assert_eq!(numbers("holding")[..2], state[..2]);
    let discretes = found["discretes"].as_array().unwrap();
    for (name, value) in
        [("relay_energised", false), ("state_current", true), ("bench_test", true), ("band_open", true)]
    {
        assert_eq!(discretes[usize::from(at("discretes", name))], value, "{name}");
    }
    assert_eq!(found["coils"], serde_json::json!([false, false]));
    assert_eq!(found["exceptions"], serde_json::json!([2, 2, 1, 1, 1, 2]));
    assert_eq!((&found["pressed"], &found["marked"]), (&true.into(), &6.into()));
    // No sample for longer than every channel may be silent.
    let found = ask_in_python(&line, "old", || ());
    let values = found["quantities"].as_array().unwrap().chunks(8);
    assert!(values.map(|registers| &registers[0]).all(|value| *value == NOT_KNOWN), "{found}");
    assert!(found["state"][2].as_u64().unwrap() >= 2_000, "{found}");
}
