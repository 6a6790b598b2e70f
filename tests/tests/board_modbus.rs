//! The Modbus port of the board program: what it tells, what it takes, and what no request can do.
//!
//! Decides: nothing about the map: `firmware-example/MODBUS.md` is the oracle of what stands where, what the host is
//! told over the link that of what it is, and `rmodbus` and pymodbus of how it is said.
//! Assumes: `python3` with pymodbus, for the emulated board.
//! Never: takes an expected value from the board's own Modbus code.

use crate::modbus_page::table;
use bandward::event::{Event, Sink};
use bandward::flash::journal::Kept;
use bandward::link::{Lamp, Outputs, Report, Request, Telemetry};
use bandward::rule::RuleSet;
use bandward::units::Degrees;
use bandward::{Acquisition, BandRecord, JointRecord, Monitor, Outcome, Phase, Quantity, Rule};
use bandward_firmware::board::Configuration;
use bandward_firmware::modbus::Settings;
use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_sim::link::{Link, Report as HostReport, Session};
use bandward_sim::process::scenario::Scenario;
use bandward_sim::process::targets::Targets;
use bandward_sim::replay::sound;
use bandward_tests::controller::framed;
use bandward_tests::emulator::{CORTEX_M4, Missing, Running, build, skip};
use bandward_tests::host_board::{MODBUS_ADDRESS, Start};
use bandward_tests::host_machine::{
    ARC, ARC_WITHOUT_GAS, Doing, GAS_ON, IDLE, PERIOD_US, Shop, acquisition, procedure,
};
use bandward_tests::line::Line;
use proptest::prelude::*;
use serde_json::Value;
use std::collections::BTreeMap;
use std::path::Path;
use std::process::{Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

const PROCEDURE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/data/procedures/quick-joint.toml");

const NOT_KNOWN: u16 = 0x8000;
const NO_NUMBER: u16 = 0xffff;
const NEVER_KNOWN_LIVE: [Quantity; 2] = [Quantity::GasPostflow, Quantity::Overlap];

/// All registers of one table of the page, by name.
fn read(shop: &mut Shop, kind: &str) -> BTreeMap<String, u16> {
    let rows = table(kind);
    let (first, last) = (rows[0].0, rows[rows.len() - 1].0);
    let values = shop.bench.inputs(first, last - first + 1);
    rows.into_iter()
        .map(|(register, words)| (words[0].clone(), values[usize::from(register - first)]))
        .collect()
}

/// Where a name stands in a table of the page.
fn at(kind: &str, name: &str) -> u16 {
    table(kind).into_iter().find(|(_, words)| words[0] == name).unwrap_or_else(|| panic!("{name}")).0
}

fn set(shop: &mut Shop, register: u16) -> RuleSet {
    let registers = shop.bench.inputs(register, 4);
    Rule::ALL
        .into_iter()
        .filter(|rule| registers[*rule as usize / 16] >> (*rule as usize % 16) & 1 == 1)
        .fold(RuleSet::EMPTY, RuleSet::with)
}

/// In the scale that the page gives for a quantity, by floating point.
fn in_scale(raw: Option<i32>, bits: u32, quantity: Quantity) -> u16 {
    let rows = table("quantities");
    let (_, words) = rows.into_iter().find(|(_, words)| words[0] == quantity.table_name()).unwrap();
    let tens = 10_f64.powi(words[2].parse().unwrap());
    raw.map_or(NOT_KNOWN, |raw| {
        let value = f64::from(raw) / 2_f64.powi(bits as i32) * tens;
        (value.round().clamp(-32767.0, 32767.0) as i16).cast_unsigned()
    })
}

/// Runs until the host was told a state in the poll of the newest sample.
fn told(shop: &mut Shop, doing: Doing) -> Telemetry {
    shop.bench.heard();
    for _ in 0..100 {
        shop.step(doing);
        let told = shop.bench.heard().into_iter().rev().find_map(|report| match report {
            Report::Telemetry(telemetry) => Some(telemetry),
            _ => None,
        });
        if let Some(told) = told {
            return told;
        }
    }
    panic!("no state");
}

fn assert_state(shop: &mut Shop, told: &Telemetry) {
    let state = read(shop, "state");
    let turned = told.position.turned.map(|angle| angle.to_bits());
    let expected = [
        ("map_version", 1),
        ("state", 1 + u16::from(told.is_bench)),
        ("relay_energised", told.outputs.relay_energised.into()),
        ("lamp", told.outputs.lamp as u16),
        ("horn", told.outputs.horn.into()),
        ("phase", told.phase as u16),
        ("joint", told.so_far.joint_number),
        ("bands_finished", told.so_far.bands),
        ("band", told.position.band),
        ("turned", in_scale(turned, Degrees::FRACTION_BITS, Quantity::Overlap)),
        ("verdict_band", told.so_far.band as u16),
        ("verdict_joint", told.so_far.joint as u16),
        (
            "worst_alarm",
            told.alarms.iter().flatten().map(|alarm| alarm.severity as u16 + 1).max().unwrap_or(0),
        ),
        ("active_alarms", told.alarms.iter().flatten().count() as u16),
        ("black_box_frozen", told.black_box_frozen.into()),
        ("host_link_lost", 0),
        ("frames_ignored", 0),
    ];
    for (name, value) in expected {
        assert_eq!(state[name], value, "{name} at {} us", shop.now_us);
    }
}

fn assert_alarms(shop: &mut Shop, told: &Telemetry) {
    let active: Vec<_> = told.alarms.iter().flatten().collect();
    let list: Vec<u16> = [shop.bench.inputs(200, 64), shop.bench.inputs(264, 64)].concat();
    for (place, found) in list.chunks(4).enumerate() {
        let expected = active.get(place).map_or([NO_NUMBER; 4], |alarm| {
            let bits = u16::from(alarm.acknowledged) | u16::from(alarm.shelved) << 1;
            let channel = alarm.channel.map_or(NO_NUMBER, |channel| channel as u16);
            [alarm.rule as u16, channel, alarm.severity as u16 + 1, bits]
        });
        assert_eq!(found, expected, "alarm {place} at {} us", shop.now_us);
    }
    let rules = active.iter().fold(RuleSet::EMPTY, |rules, alarm| rules.with(alarm.rule));
    for (name, expected) in [
        ("active", rules),
        ("over_and_not_acknowledged", told.returned),
        ("broken_on_joint", told.so_far.broken_in_joint),
        ("not_proven_in_band", told.so_far.not_proven),
    ] {
        assert_eq!(set(shop, at("rule_sets", name)), expected, "{name} at {} us", shop.now_us);
    }
}

/// Returns how many values were known.
fn assert_quantities(shop: &mut Shop, told: &Telemetry) -> usize {
    let values = [shop.bench.inputs(1000, 120), shop.bench.inputs(1120, 24)].concat();
    let procedure = shop.bench.board.procedure().clone();
    for ((quantity, found), judged) in Quantity::ALL.into_iter().zip(values.chunks(8)).zip(told.judged) {
        let limits = procedure.limits(quantity).copied();
        let recommended = limits.and_then(|limits| limits.recommended);
        let allowed = limits.and_then(|limits| limits.allowed);
        let scale = |raw| in_scale(raw, quantity.fraction_bits(), quantity);
        let places = table("quantities")[quantity as usize].1[2].parse().unwrap();
        let of_it = told
            .alarms
            .iter()
            .flatten()
            .filter(|alarm| alarm.rule.watches().is_some_and(|(watched, _)| watched == quantity));
        let expected = [
            scale(judged),
            scale(recommended.map(|range| range.low)),
            scale(recommended.map(|range| range.high)),
            scale(allowed.map(|range| range.low)),
            scale(allowed.map(|range| range.high)),
            scale(limits.and_then(|limits| limits.floor)),
            places,
            of_it.map(|alarm| alarm.severity as u16 + 1).max().unwrap_or(0),
        ];
        assert_eq!(found, expected, "{quantity:?} at {} us", shop.now_us);
        assert!(!NEVER_KNOWN_LIVE.contains(&quantity) || found[0] == NOT_KNOWN);
    }
    values.chunks(8).filter(|registers| registers[0] != NOT_KNOWN).count()
}

fn assert_discretes(shop: &mut Shop, told: &Telemetry) {
    let found = shop.bench.discretes(0, 24);
    let worst = told.alarms.iter().flatten().map(|alarm| alarm.severity as u16).max();
    let faults = told.faults;
    let expected = [
        ("relay_energised", told.outputs.relay_energised),
        ("lamp_on", told.outputs.lamp == Lamp::On),
        ("lamp_slow", told.outputs.lamp == Lamp::Slow),
        ("horn", told.outputs.horn),
        ("state_current", true),
        ("bench_test", told.is_bench),
        ("band_open", told.phase.is_in_band()),
        ("alarm_of_warn_or_worse", worst >= Some(1)),
        ("alarm_of_stop", worst >= Some(2)),
        ("over_and_not_acknowledged", !told.returned.is_empty()),
        ("black_box_frozen", told.black_box_frozen),
        ("host_link_lost_something", false),
        ("modbus_frame_ignored", false),
        ("fault_bad_configuration", faults.bad_configuration),
        ("fault_missed_deadline", faults.missed_deadline),
        ("fault_watchdog_reset", faults.watchdog_reset),
        ("fault_bad_clock", faults.bad_clock),
        ("fault_wrong_rate", faults.wrong_rate),
        ("fault_silent_channel", faults.silent != bandward::sample::ChannelSet::EMPTY),
        ("fault_unwatched_arc", faults.unwatched_arc),
        ("fault_journal", faults.journal),
    ];
    for (name, value) in expected {
        assert_eq!(found[usize::from(at("discretes", name))], value, "{name} at {} us", shop.now_us);
    }
    let faults = found[16..].iter().rev().fold(0, |bits, bit| bits << 1 | u16::from(*bit));
    assert_eq!(shop.bench.input(at("state", "faults")), faults);
}

/// Through a joint with a stop, an alarm put away, a fault of the inputs and two bands: whatever the host is told over
/// its link, the controller reads.
#[test]
fn the_controller_reads_what_the_host_is_told() {
    let mut shop = Shop::open();
    let loud = Doing { volts: 33, ..ARC };
    let (mut known, mut raised, mut faults) = (0, 0, 0);
    for (seconds, doing, request) in [
        (2, GAS_ON, None),
        (5, ARC, None),
        (3, ARC_WITHOUT_GAS, Some(Request::Acknowledge)),
        (15, ARC, Some(Request::Acknowledge)),
        (3, loud, Some(Request::Shelve { rule: Rule::VoltageHigh, for_us: 5_000_000 })),
        (2, loud, None),
        (15, IDLE, None),
        (2, GAS_ON, None),
        (20, ARC, None),
        (15, IDLE, None),
        (3, Doing { gas_lpm: None, ..IDLE }, None),
    ] {
        shop.run(seconds, doing);
        for request in [None, request] {
            if let Some(request) = request {
                shop.bench.ask(&request);
            }
            let told = told(&mut shop, doing);
            assert_state(&mut shop, &told);
            assert_alarms(&mut shop, &told);
            known += assert_quantities(&mut shop, &told);
            assert_discretes(&mut shop, &told);
            raised += told.alarms.iter().flatten().count();
            faults += u32::from(told.faults.any());
        }
    }
    assert!(known > 20 && raised > 5 && faults > 0, "{known} {raised} {faults}: nothing was told");
}

/// 7, 8 and 9 of the discrete inputs are what the lamp shows of the verdict.
#[test]
fn the_verdict_is_that_of_the_lamp() {
    let mut shop = Shop::open();
    let verdict = |shop: &mut Shop| {
        let found = shop.bench.discretes(7, 3);
        let number = shop.bench.input(at("state", "verdict_shown"));
        assert_eq!(found, [1, 2, 3].map(|outcome| outcome == number), "{number}");
        number
    };
    shop.run(2, IDLE);
    assert_eq!(verdict(&mut shop), Outcome::NotAsked as u16);
    let mut seen = Vec::new();
    for (seconds, doing) in [(2, GAS_ON), (20, ARC), (15, IDLE), (2, GAS_ON), (5, ARC), (3, ARC_WITHOUT_GAS)]
    {
        shop.run(seconds, doing);
        let Outputs { lamp, .. } = shop.bench.board.outputs();
        let number = verdict(&mut shop);
        seen.push(number);
        match number {
            1 => assert_eq!(lamp, Lamp::Off),
            2 => assert_eq!(lamp, Lamp::Slow),
            3 => assert_eq!(lamp, Lamp::On),
            other => assert_eq!(other, 0),
        }
    }
    assert!(seen.contains(&3) && (seen.contains(&1) || seen.contains(&2)), "{seen:?}");
}

fn band_of(record: &BandRecord, name: &str) -> u16 {
    use Quantity as Q;
    let mean = |raw: Option<i32>, quantity: Quantity| in_scale(raw, quantity.fraction_bits(), quantity);
    match name {
        "joint" => record.joint,
        "band" => record.band,
        "outcome" => record.outcome as u16,
        "ending" => record.ending as u16,
        "outages" => record.outages,
        "arc_time" => (record.arc_time_us / 100_000) as u16,
        "current" => mean(record.current.map(|spread| spread.mean.to_bits()), Q::Current),
        "voltage" => mean(record.voltage.map(|spread| spread.mean.to_bits()), Q::Voltage),
        "short_circuits" => mean(record.short_circuits.map(|value| value.to_bits()), Q::ShortCircuitRate),
        "gas_flow" => mean(record.gas.map(|spread| spread.mean.to_bits()), Q::GasFlow),
        "gas_preflow" => mean(record.gas_preflow.map(|value| value.to_bits()), Q::GasPreflow),
        "gas_postflow" => mean(record.gas_postflow.map(|value| value.to_bits()), Q::GasPostflow),
        "weave_rate" => mean(record.weave_rate.map(|spread| spread.mean.to_bits()), Q::WeaveRate),
        "weave_width" => mean(record.weave_width.map(|value| value.to_bits()), Q::WeaveWidth),
        "weave_centre_drift" => {
            mean(record.weave_centre_drift.map(|value| value.to_bits()), Q::WeaveCentreDrift)
        }
        "turn_time" => mean(record.turn_time.map(|value| value.to_bits()), Q::TurnTime),
        "step_over" => mean(record.step_over.map(|value| value.to_bits()), Q::StepOver),
        "overlap" => mean(record.overlap.map(|value| value.to_bits()), Q::Overlap),
        "coolant_flow" => mean(record.coolant_minimum.map(|value| value.to_bits()), Q::CoolantFlow),
        "preheat" => mean(record.work_at_start.map(|value| value.to_bits()), Q::Preheat),
        "wire_feed" => mean(record.wire_feed.map(|value| value.to_bits()), Q::WireFeed),
        "band_height" => mean(record.band_height.map(|value| value.to_bits()), Q::BandHeight),
        other => panic!("{other}"),
    }
}

fn joint_of(record: &JointRecord, name: &str) -> u16 {
    match name {
        "joint" => record.joint,
        "bands" => record.bands,
        "outcome" => record.outcome as u16,
        "cooling" => in_scale(
            record.fastest_cooling.map(|value| value.to_bits()),
            Quantity::Cooling.fraction_bits(),
            Quantity::Cooling,
        ),
        other => panic!("{other}"),
    }
}

/// The last band and the last joint are those in the journal, whether their records wait for the flash or not.
#[test]
fn the_last_band_and_joint_are_those_of_the_journal() {
    for is_polled_by_the_service in [false, true] {
        let mut shop = Shop::open();
        for (kind, count) in [("last_band", 30), ("last_joint", 12)] {
            assert!(
                shop.bench.inputs(table(kind)[0].0, count).iter().all(|value| *value == NOT_KNOWN),
                "{kind}"
            );
        }
        for (seconds, doing) in
            [(2, GAS_ON), (20, ARC), (15, IDLE), (2, GAS_ON), (10, ARC), (4, ARC_WITHOUT_GAS)]
        {
            shop.run(seconds, doing);
        }
        shop.run(15, IDLE);
        if is_polled_by_the_service {
            shop.bench.set_coil(at("coils", "mark_joint"), true).unwrap();
            shop.run(1, IDLE);
        }
        let (band, joint) = (read(&mut shop, "last_band"), read(&mut shop, "last_joint"));
        let (broken, not_proven) = (at("last_band", "broken"), at("last_band", "not_proven"));
        let sets = (set(&mut shop, broken), set(&mut shop, not_proven));
        let kept = shop.journal();
        let last =
            kept.iter().rev().find_map(|kept| if let Kept::Band(band) = kept { Some(band) } else { None });
        let last = last.expect("a band");
        assert_eq!(last.band, 2);
        for (name, value) in
            band.iter().filter(|(name, _)| !["broken", "not_proven"].contains(&name.as_str()))
        {
            assert_eq!(*value, band_of(last, name), "{name}");
        }
        assert_eq!(sets, (last.broken(), last.not_proven()));
        assert!(sets.0.contains(Rule::GasLow));
        let last =
            kept.iter().rev().find_map(|kept| if let Kept::Joint(joint) = kept { Some(joint) } else { None });
        assert_eq!(last.is_some(), is_polled_by_the_service);
        let Some(last) = last else {
            assert!(joint.values().all(|value| *value == NOT_KNOWN));
            continue;
        };
        for (name, value) in
            joint.iter().filter(|(name, _)| !["broken", "not_proven"].contains(&name.as_str()))
        {
            assert_eq!(*value, joint_of(last, name), "{name}");
        }
        let (broken, not_proven) = (at("last_joint", "broken"), at("last_joint", "not_proven"));
        assert_eq!((set(&mut shop, broken), set(&mut shop, not_proven)), (last.broken, last.not_proven));
    }
}

/// Without samples the age grows, and nothing old is shown as if it were new.
#[test]
fn what_is_old_is_not_known() {
    let mut shop = Shop::open();
    shop.run(2, GAS_ON);
    shop.run(5, ARC);
    let voltage = at("quantities", "voltage");
    assert_eq!(shop.bench.input(voltage) / 10, 290, "29.0 V");
    assert!(shop.bench.input(at("state", "age_ms")) < 300);
    assert_eq!((shop.bench.input(at("state", "state")), shop.bench.discretes(4, 1)[0]), (1, true));
    shop.bench.wait(2_000_000);
    shop.bench.board.poll();
    let state = read(&mut shop, "state");
    assert!((2_000..2_400).contains(&state["age_ms"]), "{}", state["age_ms"]);
    assert_eq!(state["state"], 3);
    for name in ["phase", "joint", "bands_finished", "band", "verdict_band", "verdict_joint", "verdict_shown"]
    {
        assert_eq!(state[name], NO_NUMBER, "{name}");
    }
    assert_eq!(state["turned"], NOT_KNOWN);
    for quantity in table("quantities") {
        assert_eq!(shop.bench.input(quantity.0), NOT_KNOWN, "{}", quantity.1[0]);
    }
    let discretes = shop.bench.discretes(0, 24);
    for (name, value) in
        [("state_current", false), ("band_open", false), ("proven", false), ("not_proven", true)]
    {
        assert_eq!(discretes[usize::from(at("discretes", name))], value, "{name}");
    }
    // However long it lasts, also past the wrap of the clock.
    for _ in 0..100 {
        shop.bench.wait(66_000_000);
        shop.bench.board.poll();
        assert_eq!(shop.bench.input(at("state", "age_ms")), 0xfffe);
        assert_eq!(shop.bench.input(at("state", "state")), 3);
    }
    shop.step(ARC);
    assert!(shop.bench.input(at("state", "age_ms")) < 100);
    assert_eq!(shop.bench.input(at("state", "state")), 1);
}

/// The counter moves with every sample judged, and with no other.
#[test]
fn the_counter_moves_with_every_sample_judged() {
    let mut shop = Shop::open();
    let count = |shop: &mut Shop| {
        let registers = shop.bench.inputs(at("state", "samples_judged_high"), 2);
        u32::from(registers[0]) << 16 | u32::from(registers[1])
    };
    let before = count(&mut shop);
    for samples in 1..=100 {
        shop.step(IDLE);
        assert_eq!(count(&mut shop), before + samples);
    }
    // One from the past is set aside.
    shop.bench.board.sample(&IDLE.at(1), false);
    assert_eq!(count(&mut shop), before + 100);
    for _ in 0..70_000 {
        shop.step(IDLE);
    }
    assert_eq!(count(&mut shop), before + 70_100);
}

/// A new watch has no state until its first sample is judged, whatever the watch before saw.
#[test]
fn a_new_watch_begins_with_nothing_known() {
    let mut shop = Shop::open();
    shop.run(2, GAS_ON);
    shop.run(5, ARC);
    shop.run(15, IDLE);
    shop.bench.upload(&procedure());
    let state = read(&mut shop, "state");
    assert_eq!((state["state"], state["age_ms"], state["phase"]), (0, NO_NUMBER, NO_NUMBER));
    shop.step(IDLE);
    assert_eq!(shop.bench.input(at("state", "state")), 1);
    shop.bench.ask(&Request::BenchStart(acquisition()));
    assert_eq!(read(&mut shop, "state")["state"], 0);
    shop.bench.bench_samples((0..500).map(|i| GAS_ON.at(i * PERIOD_US)));
    assert_eq!(read(&mut shop, "state")["state"], 2);
}

/// The coil is the button: the horn falls silent, and the relay waits for the end of its cause.
#[test]
fn acknowledging_is_what_the_button_does_and_no_more() {
    let mut shop = Shop::open();
    let coil = at("coils", "acknowledge");
    shop.run(2, GAS_ON);
    shop.run(3, ARC);
    shop.run(3, ARC_WITHOUT_GAS);
    assert!(shop.bench.horn.is_high() && !shop.bench.is_energised());
    shop.bench.set_coil(coil, false).unwrap();
    assert!(shop.bench.horn.is_high(), "off does nothing");
    shop.bench.set_coil(coil, true).unwrap();
    assert!(!shop.bench.horn.is_high());
    assert!(!shop.bench.is_energised(), "while the cause lasts");
    let coils = shop.bench.over_modbus(&framed(&[MODBUS_ADDRESS, 1, 0, 0, 0, 2]));
    assert_eq!(coils, framed(&[MODBUS_ADDRESS, 1, 1, 0]), "they read back as 0");
    shop.run(5, ARC);
    assert!(shop.bench.is_energised());
    // In the other order.
    shop.run(3, ARC_WITHOUT_GAS);
    assert_eq!(shop.run(5, ARC), 0);
    shop.bench.set_coil(coil, true).unwrap();
    assert!(shop.bench.is_energised());
}

#[test]
fn a_joint_is_marked_but_not_in_a_bench_test() {
    let mut shop = Shop::open();
    let coil = at("coils", "mark_joint");
    shop.run(2, GAS_ON);
    shop.run(20, ARC);
    shop.run(15, IDLE);
    let joint = shop.bench.input(at("state", "joint"));
    shop.bench.set_coil(coil, true).unwrap();
    shop.run(1, IDLE);
    assert_eq!(shop.bench.input(at("state", "joint")), joint + 1);
    assert_eq!(shop.bench.input(at("last_joint", "joint")), joint);
    shop.bench.ask(&Request::BenchStart(acquisition()));
    let refused = shop.bench.over_modbus(&framed(&[MODBUS_ADDRESS, 5, 0, 1, 0xff, 0]));
    assert_eq!(refused, framed(&[MODBUS_ADDRESS, 0x85, 6]));
}

/// With all the room for records taken a joint cannot be marked: none is lost for it.
#[test]
fn a_joint_is_not_marked_where_its_record_has_no_room() {
    let mut shop = Shop::open();
    for band in 0..16 {
        for (seconds, doing) in [(2, GAS_ON), (20, ARC), (15, IDLE)] {
            for _ in 0..seconds * 1_000_000 / PERIOD_US {
                shop.now_us += PERIOD_US;
                shop.bench.board.sample(&doing.at(shop.now_us), false);
            }
        }
        if band == 12 {
            shop.bench.modbus.to_board.borrow_mut().extend(framed(&[0, 5, 0, 1, 0xff, 0]));
        }
    }
    shop.now_us += PERIOD_US;
    shop.bench.board.sample(&ARC.at(shop.now_us), false);
    let refused = shop.bench.over_modbus(&framed(&[MODBUS_ADDRESS, 5, 0, 1, 0xff, 0]));
    assert!(refused.is_empty(), "glued to the one before: {refused:02x?}");
    let refused = shop.bench.over_modbus(&framed(&[MODBUS_ADDRESS, 5, 0, 1, 0xff, 0]));
    assert_eq!(refused, framed(&[MODBUS_ADDRESS, 0x85, 6]));
    assert!(!shop.bench.board.faults().journal);
}

/// What the standard answers, request by request (function codes and exceptions from memory).
#[test]
fn what_cannot_be_done_is_answered_as_the_standard_says() {
    let mut shop = Shop::open();
    let unit = MODBUS_ADDRESS;
    let read = |function: u8, first: u16, count: u16| {
        [[function].as_slice(), &first.to_be_bytes(), &count.to_be_bytes()].concat()
    };
    let answers: Vec<(Vec<u8>, u8)> = vec![
        // No such function: 1.
        (vec![7], 1),
        (vec![0], 1),
        (vec![43, 14, 1, 0], 1),
        (read(6, 0, 1), 1),
        (vec![15, 0, 0, 0, 1, 1, 1], 1),
        (vec![16, 0, 0, 0, 1, 2, 0, 1], 1),
        (vec![16, 0, 0, 0, 1, 255], 1),
        (vec![23, 0, 0, 0, 1, 0, 0, 0, 1, 2, 0, 0], 1),
        (vec![127], 1),
        // Not within one part: 2.
        (read(4, 24, 1), 2),
        (read(4, 0, 25), 2),
        (read(3, 99, 1), 2),
        (read(4, 115, 2), 2),
        (read(4, 203, 125), 0),
        (read(4, 204, 125), 2),
        (read(4, 1144, 1), 2),
        (read(4, 0xffff, 1), 2),
        (read(4, 0xffff, 125), 2),
        (read(2, 24, 1), 2),
        (read(2, 0, 25), 2),
        (read(1, 2, 1), 2),
        (read(1, 0, 2000), 2),
        (read(5, 2, 0xff00), 2),
        (read(5, 0xffff, 0), 2),
        // None, too many, neither on nor off: 3.
        (read(1, 0, 0), 3),
        (read(2, 0, 0), 3),
        (read(3, 0, 0), 3),
        (read(4, 0, 0), 3),
        (read(4, 5000, 0), 3),
        (read(1, 0, 2001), 3),
        (read(2, 0, 0xffff), 3),
        (read(3, 0, 126), 3),
        (read(4, 0, 0xffff), 3),
        (read(5, 0, 1), 3),
        (read(5, 1, 0xff01), 3),
        (read(5, 9, 7), 3),
    ];
    for (pdu, exception) in answers {
        let answer = shop.bench.over_modbus(&framed(&[&[unit], pdu.as_slice()].concat()));
        if exception == 0 {
            assert_eq!((answer.len(), answer[1], answer[2]), (5 + 250, 4, 250), "{pdu:02x?}");
        } else {
            assert_eq!(answer, framed(&[unit, pdu[0] | 0x80, exception]), "{pdu:02x?}");
        }
    }
    assert_eq!(shop.bench.input(at("state", "frames_ignored")), 0);
}

/// 3 reads what 4 does.
#[test]
fn holding_registers_are_the_input_registers() {
    let mut shop = Shop::open();
    shop.run(2, GAS_ON);
    shop.run(5, ARC);
    for (first, count) in [(5, 19), (100, 16), (200, 125), (1000, 120), (2000, 30), (2100, 12)] {
        let [high, low] = u16::to_be_bytes(first);
        let [by_3, by_4] = [3, 4].map(|function| {
            let answer = shop.bench.over_modbus(&framed(&[MODBUS_ADDRESS, function, high, low, 0, count]));
            // But for the count of requests, which moves.
            answer[2..answer.len() - 2].chunks(2).map(<[u8]>::to_vec).collect::<Vec<_>>()
        });
        let differ = by_3.iter().zip(&by_4).filter(|(a, b)| a != b).count();
        assert!(by_3.len() > 5 && differ <= usize::from(first == 5), "{first}: {by_3:02x?} {by_4:02x?}");
    }
}

/// A byte changed, cut, or too many; another address; answers of others: nothing is said to it.
#[test]
fn what_is_no_frame_for_this_board_is_not_answered() {
    let mut shop = Shop::open();
    let good = framed(&[MODBUS_ADDRESS, 4, 0, 0, 0, 24]);
    let mut ignored = 0;
    for place in 0..good.len() {
        for bit in 0..8 {
            let mut changed = good.clone();
            changed[place] ^= 1 << bit;
            assert!(shop.bench.over_modbus(&changed).is_empty(), "{changed:02x?}");
            ignored += 1;
        }
    }
    for cut in 1..good.len() {
        assert!(shop.bench.over_modbus(&good[..cut]).is_empty(), "cut at {cut}");
        assert!(shop.bench.over_modbus(&good[cut..]).is_empty(), "from {cut}");
        ignored += 2;
    }
    // A length that is not that of the function, under a right CRC.
    for pdu in
        [vec![4], vec![4, 0, 0, 0], vec![4, 0, 0, 0, 1, 0], vec![5, 0, 0, 0xff], vec![0x84, 2], vec![255]]
    {
        let frame = framed(&[&[MODBUS_ADDRESS], pdu.as_slice()].concat());
        assert!(shop.bench.over_modbus(&frame).is_empty(), "{pdu:02x?}");
        ignored += 1;
    }
    // Too short to be one, and too long.
    for bytes in [vec![MODBUS_ADDRESS], vec![0, 0], framed(&[MODBUS_ADDRESS]), vec![0; 257], vec![0x11; 3000]]
    {
        assert!(shop.bench.over_modbus(&bytes).is_empty(), "{}", bytes.len());
        while !shop.bench.modbus.to_board.borrow().is_empty() {
            shop.bench.board.poll();
        }
        assert!(shop.bench.over_modbus(&[]).is_empty());
        ignored += 1;
    }
    // Others on the line, as asked and as answering: no fault of it.
    for frame in [framed(&[18, 4, 0, 0, 0, 1]), framed(&[18, 4, 2, 0, 1]), framed(&[248, 5, 0, 0, 0xff, 0])] {
        assert!(shop.bench.over_modbus(&frame).is_empty(), "{frame:02x?}");
    }
    assert_eq!(shop.bench.input(at("state", "frames_ignored")), ignored);
    assert_eq!(shop.bench.over_modbus(&good).len(), 53);
}

/// 3.5 characters of 11 bits at 9,600 baud are 4.01 ms ("MODBUS over Serial Line" V1.02, from memory).
#[test]
fn silence_and_nothing_else_ends_a_frame() {
    let start = Start::default();
    let configuration = Configuration {
        modbus: Settings::try_new(MODBUS_ADDRESS, 9_600).ok(),
        ..start.configuration.clone()
    };
    let mut shop = Shop::by(Start { configuration, ..start });
    let frame = framed(&[MODBUS_ADDRESS, 4, 0, 0, 0, 1]);
    let put = |shop: &Shop, bytes: &[u8]| shop.bench.modbus.to_board.borrow_mut().extend(bytes);
    let after = |shop: &mut Shop, us: u32| {
        shop.bench.wait(us);
        shop.bench.board.poll();
        shop.bench.answered()
    };
    // Byte by byte with 1 ms between: one frame, answered after the silence and not before.
    for byte in &frame {
        put(&shop, &[*byte]);
        assert!(after(&mut shop, 1_000).is_empty());
    }
    assert!(after(&mut shop, 4_000).is_empty());
    assert_eq!(after(&mut shop, 20), framed(&[MODBUS_ADDRESS, 4, 2, 0, 1]));
    // A hole in it makes two, and neither is one.
    put(&shop, &frame[..5]);
    assert!(after(&mut shop, 0).is_empty());
    assert!(after(&mut shop, 4_100).is_empty());
    put(&shop, &frame[5..]);
    assert!(after(&mut shop, 0).is_empty());
    assert!(after(&mut shop, 4_100).is_empty());
    // Two without a silence between them are none.
    put(&shop, &[frame.clone(), frame.clone()].concat());
    assert!(after(&mut shop, 0).is_empty());
    assert!(after(&mut shop, 4_100).is_empty());
    put(&shop, &frame);
    assert!(after(&mut shop, 0).is_empty());
    assert_eq!(after(&mut shop, 4_100).len(), 7);
}

/// What is told to all is done and not answered; what is asked of all is ignored.
#[test]
fn what_is_told_to_all_is_done_and_not_answered() {
    let mut shop = Shop::open();
    shop.run(2, GAS_ON);
    shop.run(3, ARC);
    shop.run(3, ARC_WITHOUT_GAS);
    for pdu in
        [vec![4, 0, 0, 0, 1], vec![1, 0, 0, 0, 1], vec![7], vec![5, 0, 9, 0xff, 0], vec![5, 0, 0, 0, 9]]
    {
        assert!(shop.bench.over_modbus(&framed(&[&[0], pdu.as_slice()].concat())).is_empty(), "{pdu:02x?}");
    }
    assert!(shop.bench.horn.is_high());
    assert!(shop.bench.over_modbus(&framed(&[0, 5, 0, 0, 0xff, 0])).is_empty());
    assert!(!shop.bench.horn.is_high());
}

/// The answer to a press is its request over again: a driver that hands back what it sends presses once.
#[test]
fn the_echo_of_an_answer_is_no_request() {
    let mut shop = Shop::open();
    let press = framed(&[MODBUS_ADDRESS, 5, 0, 0, 0xff, 0]);
    shop.bench.modbus.to_board.borrow_mut().extend(&press);
    shop.bench.board.poll();
    shop.bench.wait(1_750);
    shop.bench.board.poll();
    let answer = shop.bench.answered();
    assert_eq!(answer, press);
    // 8 characters of 95.5 us at 115,200 baud: the last one comes back after 0.8 ms.
    for byte in answer {
        shop.bench.wait(96);
        shop.bench.modbus.to_board.borrow_mut().push_back(byte);
        shop.bench.board.poll();
    }
    for _ in 0..100 {
        shop.bench.wait(1_750);
        shop.bench.board.poll();
    }
    assert!(shop.bench.answered().is_empty());
    let taken = at("state", "requests_taken");
    assert_eq!(shop.bench.input(taken), 2, "the press, and this question");
    // Pressed again, it is a press.
    assert_eq!(shop.bench.over_modbus(&press), press);
    assert_eq!(shop.bench.over_modbus(&press), press);
    assert_eq!(shop.bench.input(taken), 5);
}

/// A line that takes a byte at a time gets the whole answer; one that takes none holds nothing up.
#[test]
fn a_slow_line_costs_time_and_nothing_else() {
    let mut shop = Shop::open();
    let frame = framed(&[MODBUS_ADDRESS, 4, 0x03, 0xe8, 0, 120]);
    shop.bench.modbus.room.set(Some(0));
    shop.bench.modbus.to_board.borrow_mut().extend(&frame);
    shop.run(1, IDLE);
    assert!(shop.bench.answered().is_empty());
    shop.bench.heard();
    shop.bench.send(&Request::Acknowledge);
    shop.run(1, IDLE);
    assert!(shop.bench.heard().contains(&Report::Acknowledged), "the host is served");
    let mut answer = Vec::new();
    for _ in 0..245 {
        shop.bench.modbus.room.set(Some(1));
        shop.bench.board.poll();
        answer.extend(shop.bench.answered());
    }
    assert_eq!(answer.len(), 245);
    assert_eq!(framed(&answer[..243]), answer);
    shop.bench.modbus.room.set(None);
    shop.run(1, IDLE);
    assert_eq!(shop.bench.input(0), 1);
}

/// A line that never falls silent: each poll takes a frame's worth of bytes, and the host is served beside it.
#[test]
fn a_flood_is_taken_in_parts_and_starves_nobody() {
    for is_of_frames in [false, true] {
        let mut shop = Shop::open();
        shop.bench.heard();
        let flood = framed(&[MODBUS_ADDRESS, 4, 0x03, 0xe8, 0, 120]);
        let (mut answers, mut states) = (0, 0);
        for _ in 0..3_000 {
            let waiting = shop.bench.modbus.to_board.borrow().len();
            if is_of_frames {
                shop.bench.modbus.to_board.borrow_mut().extend(&flood);
            } else {
                shop.bench.modbus.to_board.borrow_mut().extend([0x11; 1000]);
            }
            let before = shop.bench.modbus.to_board.borrow().len();
            assert!(before > waiting);
            shop.step(IDLE);
            let left = shop.bench.modbus.to_board.borrow().len();
            assert!(before - left <= 256, "{} bytes in one poll", before - left);
            shop.bench.send(&Request::Hello);
            // A silence, in which a frame is answered.
            shop.step(IDLE);
            for report in shop.bench.heard() {
                answers += u32::from(matches!(report, Report::Ready { .. }));
                states += u32::from(matches!(report, Report::Telemetry(_)));
            }
            if !is_of_frames {
                shop.bench.modbus.to_board.borrow_mut().truncate(2000);
            }
        }
        assert!(answers > 2_000 && states > 200, "{is_of_frames}: {answers} answers and {states} states");
        let served = shop.bench.answered().len();
        assert_eq!(served > 245 * 1_000, is_of_frames, "{served}");
    }
}

/// Without settings the second port is dead.
#[test]
fn without_settings_nothing_is_read_or_said() {
    let start = Start::default();
    let configuration = Configuration { modbus: None, ..start.configuration.clone() };
    let mut shop = Shop::by(Start { configuration, ..start });
    assert!(shop.bench.over_modbus(&framed(&[MODBUS_ADDRESS, 4, 0, 0, 0, 1])).is_empty());
    assert_eq!(shop.bench.modbus.to_board.borrow().len(), 8);
    assert!(shop.bench.board.is_idle());
}

/// A frame that waits for its silence, and an answer that waits for the line, keep the board awake.
#[test]
fn the_board_does_not_sleep_over_a_frame() {
    let mut shop = Shop::open();
    shop.bench.poll();
    assert!(shop.bench.board.is_idle());
    shop.bench.modbus.room.set(Some(6));
    shop.bench.modbus.to_board.borrow_mut().extend(framed(&[MODBUS_ADDRESS, 4, 0, 0, 0, 1]));
    shop.bench.board.poll();
    assert!(!shop.bench.board.is_idle(), "a frame begun");
    shop.bench.wait(2_000);
    shop.bench.board.poll();
    assert!(!shop.bench.board.is_idle(), "an answer cut short");
    shop.bench.modbus.room.set(None);
    shop.bench.board.poll();
    assert!(shop.bench.board.is_idle());
    assert_eq!(shop.bench.answered(), framed(&[MODBUS_ADDRESS, 4, 2, 0, 1]));
}

#[derive(Clone, Debug)]
enum Act {
    Run(Doing, u16),
    /// Any request but a press, under a right CRC.
    Ask(Vec<u8>),
    Garbage(Vec<u8>),
}

fn act() -> impl Strategy<Value = Act> {
    let doing = prop_oneof![
        3 => Just(IDLE), 2 => Just(GAS_ON), 4 => Just(ARC), 2 => Just(ARC_WITHOUT_GAS),
        1 => Just(Doing { gas_lpm: None, ..ARC }), 1 => Just(Doing { volts: 33, ..ARC }),
    ];
    let body = (any::<bool>(), any::<u8>(), prop::collection::vec(any::<u8>(), 0..12));
    let asked = (1..=4_u8, any::<bool>(), 0..2200_u16, 0..130_u16);
    prop_oneof![
        4 => (doing, 1..300_u16).prop_map(|(doing, samples)| Act::Run(doing, samples)),
        4 => body.prop_map(|(is_mine, function, rest)| {
            Act::Ask([&[if is_mine { MODBUS_ADDRESS } else { 0 }, function], rest.as_slice()].concat())
        }),
        4 => asked.prop_map(|(function, is_mine, first, count)| {
            let address = if is_mine { MODBUS_ADDRESS } else { 0 };
            Act::Ask([&[address, function], &first.to_be_bytes()[..], &count.to_be_bytes()].concat())
        }),
        2 => prop::collection::vec(any::<u8>(), 0..600).prop_map(Act::Garbage),
    ]
}

/// Is it a coil set to on?
fn is_press(body: &[u8]) -> bool {
    matches!(body, [_, 5, 0, 0 | 1, 0xff, 0])
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(100))]

    /// Beside a board that hears nothing on Modbus: outputs, procedure, black box and journal stay the same, and no
    /// answer is anything but a whole frame of this board.
    #[test]
    fn no_request_but_a_press_changes_anything(acts in prop::collection::vec(act(), 1..40)) {
        let (mut asked, mut quiet) = (Shop::open(), Shop::open());
        for act in &acts {
            match act {
                Act::Run(doing, samples) => {
                    for _ in 0..*samples {
                        asked.step(*doing);
                        quiet.step(*doing);
                        prop_assert_eq!(asked.bench.board.outputs(), quiet.bench.board.outputs());
                    }
                }
                Act::Ask(body) if is_press(body) => {}
                Act::Ask(body) => {
                    asked.bench.answered();
                    let answer = asked.bench.over_modbus(&framed(body));
                    prop_assert!(answer.is_empty() || framed(&answer[..answer.len() - 2]) == answer);
                    prop_assert!(answer.is_empty() || (answer[0] == MODBUS_ADDRESS && answer[1] & 0x7f == body[1] & 0x7f));
                    prop_assert!(answer.is_empty() || body[0] == MODBUS_ADDRESS, "told to all");
                    prop_assert!(answer.len() <= 256);
                }
                Act::Garbage(bytes) => drop(asked.bench.over_modbus(bytes)),
            }
            prop_assert_eq!(asked.bench.board.outputs(), quiet.bench.board.outputs());
            prop_assert_eq!(asked.bench.board.faults(), quiet.bench.board.faults());
            prop_assert!(asked.bench.board.procedure() == quiet.bench.board.procedure());
        }
        for shop in [&mut asked, &mut quiet] {
            shop.run(20, IDLE);
        }
        prop_assert_eq!(asked.journal(), quiet.journal());
        prop_assert_eq!(asked.bench.read_black_box(), quiet.bench.read_black_box());
    }
}

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
    let (mut session, _) = Session::open(Link::open(&board.address()).unwrap(), |_: &HostReport| ()).unwrap();
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
    assert_eq!((state[0], state[1], state[5], state[9]), (1, 2, 0, 1), "{state:?}");
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
