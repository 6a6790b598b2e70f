//! What the registers of the board program tell.
//!
//! Decides: nothing about the map: `firmware-example/MODBUS.md` is the oracle of what stands where, and what the host is
//! told over its link that of what it is.
//! Never: takes an expected value from the board's own Modbus code.

use crate::modbus_page::table;
use bandward::flash::journal::Kept;
use bandward::link::{Lamp, Outputs, Report, Request, Telemetry};
use bandward::rule::RuleSet;
use bandward::sample::ChannelSet;
use bandward::units::{Degrees, FixedPoint};
use bandward::{BandRecord, JointRecord, Outcome, Quantity, Rule};
use bandward_tests::host_machine::{ARC, ARC_WITHOUT_GAS, Doing, GAS_ON, IDLE, Shop};
use std::collections::BTreeMap;

/// A value with a sign that is not known.
pub(crate) const NOT_KNOWN: u16 = 0x8000;
/// A number without one that is not known.
pub(crate) const NO_NUMBER: u16 = 0xffff;
const NEVER_KNOWN_LIVE: [Quantity; 2] = [Quantity::GasPostflow, Quantity::Overlap];

/// All registers of one table of the page, by name.
pub(crate) fn read(shop: &mut Shop, kind: &str) -> BTreeMap<String, u16> {
    let rows = table(kind);
    let (first, last) = (rows[0].0, rows[rows.len() - 1].0);
    let values = shop.bench.inputs(first, last - first + 1);
    rows.into_iter()
        .map(|(register, words)| (words[0].clone(), values[usize::from(register - first)]))
        .collect()
}

/// Where a name stands in a table of the page.
pub(crate) fn at(kind: &str, name: &str) -> u16 {
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
pub(crate) fn in_scale(raw: Option<i32>, bits: u32, quantity: Quantity) -> u16 {
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
    let turned = told.position.turned.map(FixedPoint::bits);
    let expected = [
        ("map_version", 3),
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
    let found = shop.bench.discretes(0, 26);
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
        ("fault_silent_channel", faults.silent != ChannelSet::EMPTY),
        ("fault_unwatched_arc", faults.unwatched_arc),
        ("fault_journal", faults.journal),
        ("fault_relay", faults.relay),
        ("fault_started", faults.started),
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
        // As many have ended: it is the last of two, both of the first joint.
        "band" | "bands_ended" => record.band,
        "outcome" => record.outcome as u16,
        "ending" => record.ending as u16,
        "outages" => record.outages,
        "arc_time" => (record.arc_time_us as f64 / 100_000.0).round() as u16,
        "current" => mean(record.current.map(|spread| spread.mean.to_bits()), Q::Current),
        "voltage" => mean(record.voltage.map(|spread| spread.mean.to_bits()), Q::Voltage),
        "short_circuits" => mean(record.short_circuits.map(FixedPoint::bits), Q::ShortCircuitRate),
        "gas_flow" => mean(record.gas.map(|spread| spread.mean.to_bits()), Q::GasFlow),
        "gas_preflow" => mean(record.gas_preflow.map(FixedPoint::bits), Q::GasPreflow),
        "gas_postflow" => mean(record.gas_postflow.map(FixedPoint::bits), Q::GasPostflow),
        "weave_rate" => mean(record.weave_rate.map(|spread| spread.mean.to_bits()), Q::WeaveRate),
        "weave_width" => mean(record.weave_width.map(FixedPoint::bits), Q::WeaveWidth),
        "weave_centre_drift" => mean(record.weave_centre_drift.map(FixedPoint::bits), Q::WeaveCentreDrift),
        "turn_time" => mean(record.turn_time.map(FixedPoint::bits), Q::TurnTime),
        "step_over" => mean(record.step_over.map(FixedPoint::bits), Q::StepOver),
        "overlap" => mean(record.overlap.map(FixedPoint::bits), Q::Overlap),
        "coolant_flow" => mean(record.coolant_minimum.map(FixedPoint::bits), Q::CoolantFlow),
        "preheat" => mean(record.work_at_start.map(FixedPoint::bits), Q::Preheat),
        "wire_feed" => mean(record.wire_feed.map(FixedPoint::bits), Q::WireFeed),
        "band_height" => mean(record.band_height.map(FixedPoint::bits), Q::BandHeight),
        other => panic!("{other}"),
    }
}

fn joint_of(record: &JointRecord, name: &str) -> u16 {
    match name {
        "joint" => record.joint,
        "bands" => record.bands,
        "outcome" => record.outcome as u16,
        // The only one.
        "joints_ended" => 1,
        "cooling" => in_scale(
            record.fastest_cooling.map(FixedPoint::bits),
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
            assert!(joint.iter().all(|(name, value)| *value == NOT_KNOWN || name == "joints_ended"));
            assert_eq!(joint["joints_ended"], 0);
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
