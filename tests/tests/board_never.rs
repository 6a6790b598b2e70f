//! What a board must never do, whatever is done to it. Each test once failed.

use bandward::link::hard_limits::{HardLimit, HardLimits};
use bandward::link::upload::UploadError;
use bandward::link::{BoardFaults, Refusal, Report, Request};
use bandward::procedure::{AlarmSetting, Limits, Range};
use bandward::sample::ChannelSet;
use bandward::units::{Current, Voltage};
use bandward::{Channel, Procedure, Quantity, Rule, Severity};
use bandward_firmware::board::Configuration;
use bandward_tests::host_board::{Bench, Device, Start};
use bandward_tests::host_machine::{
    ARC, ARC_WITHOUT_GAS, Doing, GAS_ON, IDLE, PERIOD_US, Shop, acquisition, procedure,
};

/// A.2: before, the relay came back by itself whenever the gas did.
#[test]
fn a_stop_holds_until_its_cause_is_gone_and_somebody_has_acknowledged() {
    let mut shop = Shop::open();
    shop.run(2, GAS_ON);
    shop.run(3, ARC);
    let (mut was_energised, mut returns) = (true, 0);
    for second in 0..60 {
        let doing = if second % 4 < 2 { ARC_WITHOUT_GAS } else { ARC };
        for _ in 0..100 {
            shop.step(doing);
            let is_energised = shop.bench.is_energised();
            returns += u32::from(is_energised && !was_energised);
            was_energised = is_energised;
        }
    }
    assert_eq!(returns, 0, "the relay came back unacknowledged");
    shop.run(5, IDLE);
    assert!(!shop.bench.is_energised());
    shop.acknowledge();
    assert!(shop.bench.is_energised(), "over and acknowledged");
}

/// A.2: acknowledging while the cause lasts silences the horn and nothing else.
#[test]
fn a_stop_acknowledged_while_its_cause_lasts_ends_with_its_cause() {
    let mut shop = Shop::open();
    shop.run(2, GAS_ON);
    shop.run(3, ARC);
    shop.run(3, ARC_WITHOUT_GAS);
    shop.acknowledge();
    assert_eq!(shop.run(3, ARC_WITHOUT_GAS), 0);
    shop.run(5, ARC);
    assert!(shop.bench.is_energised());
}

/// A.1: before, a bench test energised the relay, and a real arc burned under it without an alarm.
#[test]
fn a_bench_test_never_energises_the_relay_and_a_real_arc_ends_it() {
    let mut shop = Shop::open();
    shop.bench.ask(&Request::BenchStart(acquisition()));
    assert!(!shop.bench.is_energised());
    shop.bench.bench_samples((0..500).map(|i| GAS_ON.at(i * PERIOD_US)));
    assert!(!shop.bench.is_energised(), "by samples of the host");
    assert_eq!(shop.run(1, IDLE), 0);
    assert_eq!(shop.run(60, ARC_WITHOUT_GAS), 0, "60 s of real arc without gas");
    let said = shop.bench.upload(&procedure());
    assert!(
        said.iter().any(|report| matches!(report, Report::Refused(_))),
        "an upload was accepted during a real arc"
    );
    assert!(shop.bench.horn.is_high() && shop.bench.lamp.is_high());
}

/// A.4: before, a new procedure after the arc was a way to lose its band.
#[test]
fn a_finished_band_is_kept_whatever_comes_while_the_gas_flows_on() {
    for is_bench in [false, true] {
        let mut shop = Shop::open();
        shop.run(2, GAS_ON);
        shop.run(20, ARC);
        shop.run(1, GAS_ON);
        if is_bench {
            shop.bench.ask(&Request::BenchStart(acquisition()));
        } else {
            shop.bench.upload(&procedure());
        }
        shop.run(20, IDLE);
        assert_eq!(shop.bands(), 1, "bench test: {is_bench}");
    }
}

/// A.4: before, a change of procedure let a frozen black box record again.
#[test]
fn a_frozen_black_box_is_kept_until_it_is_released() {
    let mut shop = Shop::open();
    shop.run(2, GAS_ON);
    shop.run(3, ARC);
    shop.run(3, ARC_WITHOUT_GAS);
    shop.run(20, IDLE);
    let held = shop.bench.read_black_box();
    assert!(held.len() > 1);
    shop.bench.upload(&procedure());
    shop.run(1, IDLE);
    assert_eq!(shop.bench.read_black_box(), held, "after an upload");
    shop.bench.ask(&Request::BenchStart(acquisition()));
    shop.bench.bench_samples((0..500).map(|i| GAS_ON.at(i * PERIOD_US)));
    shop.bench.ask(&Request::BenchEnd);
    assert_eq!(shop.bench.read_black_box(), held, "after a bench test");
    shop.bench.ask(&Request::ReleaseBlackBox);
    shop.run(1, IDLE);
    assert_ne!(shop.bench.read_black_box(), held);
}

/// A.5: before, the band before was written at the strike, from within `sample`.
#[test]
fn the_flash_is_touched_between_bands_and_by_the_service_alone() {
    let mut shop = Shop::open();
    let script =
        [(2, GAS_ON), (20, ARC), (4, GAS_ON), (20, ARC), (4, GAS_ON), (15, IDLE), (2, GAS_ON), (20, ARC)];
    for (seconds, doing) in script {
        for _ in 0..seconds * 1_000_000 / PERIOD_US {
            shop.now_us += PERIOD_US;
            let before = shop.bench.journal.calls.get();
            shop.bench.board.sample(&doing.at(shop.now_us), false);
            assert_eq!(shop.bench.journal.calls.get(), before, "in `sample`, at {} us", shop.now_us);
            shop.bench.board.poll();
            let burns = doing.amps > 0;
            assert!(!burns || shop.bench.journal.calls.get() == before, "in an arc, at {} us", shop.now_us);
        }
    }
    shop.run(15, IDLE);
    assert_eq!(shop.bands(), 3);
}

/// The faults of the board that a host was told last.
fn told(shop: &mut Shop) -> Option<BoardFaults> {
    shop.bench.heard().iter().rev().find_map(|report| match report {
        Report::Faults(faults) => Some(*faults),
        _ => None,
    })
}

/// A.9: before, a clock that stood still left the relay as it was for ever.
#[test]
fn a_clock_that_stands_still_releases_the_relay() {
    let mut shop = Shop::open();
    shop.run(2, GAS_ON);
    shop.run(3, ARC);
    for _ in 0..100 {
        shop.bench.board.sample(&ARC_WITHOUT_GAS.at(shop.now_us), false);
        shop.bench.board.poll();
    }
    assert!(!shop.bench.is_energised(), "a second of samples at one time");
    assert_eq!(told(&mut shop), Some(BoardFaults { bad_clock: true, ..BoardFaults::default() }));
}

/// A.9: before, nobody knew that samples came thirty times slower than was declared.
#[test]
fn a_wrong_declared_period_releases_the_relay() {
    for true_us in [PERIOD_US / 2, PERIOD_US * 2, PERIOD_US * 30] {
        let mut shop = Shop::open();
        for _ in 0..1000 {
            shop.now_us += true_us;
            shop.bench.board.sample(&IDLE.at(shop.now_us), false);
            shop.bench.board.poll();
        }
        assert!(!shop.bench.is_energised(), "every {true_us} us instead of {PERIOD_US}");
        assert_eq!(told(&mut shop), Some(BoardFaults { wrong_rate: true, ..BoardFaults::default() }));
    }
}

/// A.9: before, one wrong time split a band.
#[test]
fn one_wrong_time_splits_no_band_and_releases_the_relay() {
    for glitch_us in [1_u64 << 32, 1 << 40, 60_000_000] {
        let mut shop = Shop::open();
        shop.run(2, GAS_ON);
        shop.run(10, ARC);
        shop.bench.board.sample(&ARC.at(shop.now_us + glitch_us), false);
        shop.run(10, ARC);
        assert!(!shop.bench.is_energised(), "a clock that leapt is told");
        assert_eq!(told(&mut shop), Some(BoardFaults { bad_clock: true, ..BoardFaults::default() }));
        shop.run(20, IDLE);
        assert_eq!(shop.bands(), 1, "a glitch of {glitch_us} us");
    }
}

/// A.10: before, only current and voltage were missed between bands.
#[test]
fn without_a_reading_the_relay_is_released_between_bands_too() {
    let mut shop = Shop::open();
    shop.run(3, Doing { gas_lpm: None, ..IDLE });
    assert!(!shop.bench.is_energised(), "3 s without a reading of the gas");
    assert!(shop.bench.lamp.is_high());
    let silent = ChannelSet::EMPTY.with(Channel::Gas);
    assert_eq!(told(&mut shop), Some(BoardFaults { silent, ..BoardFaults::default() }));
    // At the end of its range is no reading either.
    let mut shop = Shop::open();
    shop.run(3, Doing { gas_lpm: Some(100), ..IDLE });
    assert_eq!(told(&mut shop), Some(BoardFaults { silent, ..BoardFaults::default() }));
}

/// A board with limits for this machine.
fn limited() -> Shop {
    let raw = |quantity: Quantity, units: i32| units << quantity.fraction_bits();
    let (volts, gas) = (Quantity::Voltage, Quantity::GasFlow);
    let hard_limits = HardLimits::USUAL
        .with(volts, Range { low: raw(volts, 20), high: raw(volts, 40) })
        .with_floor(volts, raw(volts, 18))
        .with(gas, Range { low: raw(gas, 10), high: raw(gas, 30) })
        .with_floor(gas, raw(gas, 3));
    let start = Start::default();
    Shop::by(Start { configuration: Configuration { hard_limits, ..start.configuration.clone() }, ..start })
}

/// Ways to blind the monitor by a procedure.
fn blinding() -> Vec<(Procedure, HardLimit)> {
    let arc = |change: fn(&mut bandward::procedure::ArcSettings)| {
        let mut procedure = procedure();
        change(&mut procedure.arc);
        procedure
    };
    let alarm = |rule: Rule, change: fn(&mut AlarmSetting)| {
        let mut setting = rule.default_setting();
        change(&mut setting);
        procedure().with_alarm(rule, setting).unwrap()
    };
    let (volts, gas) = (Quantity::Voltage, Quantity::GasFlow);
    let limits = |quantity: Quantity, floor| Limits { floor, ..*procedure().limits(quantity).unwrap() };
    let without_floor = |quantity| procedure().with_limits(quantity, limits(quantity, None)).unwrap();
    vec![
        // 524 kA, as near as the unit allows.
        (arc(|arc| arc.current_on = Current::from_bits(i32::MAX)), HardLimit::ArcCurrent),
        (arc(|arc| arc.current_off = Current::from_bits(1)), HardLimit::ArcCurrent),
        (arc(|arc| arc.open_circuit = Voltage::from_milli(1)), HardLimit::OpenCircuit),
        (arc(|arc| arc.strike_us = u32::MAX), HardLimit::StrikeTime),
        (arc(|arc| arc.outage_join_us = u32::MAX), HardLimit::JoinTime),
        (arc(|arc| arc.gap_join_us = u32::MAX), HardLimit::JoinTime),
        (arc(|arc| arc.crater_fill_us = u32::MAX), HardLimit::JoinTime),
        (alarm(Rule::GasLow, |alarm| alarm.on_delay_us = u32::MAX), HardLimit::OnDelay(Rule::GasLow)),
        (alarm(Rule::VoltageLow, |alarm| alarm.on_delay_us = u32::MAX), HardLimit::OnDelay(Rule::VoltageLow)),
        (
            alarm(Rule::SignalMissing, |alarm| alarm.severity = Severity::Advise),
            HardLimit::Severity(Rule::SignalMissing),
        ),
        (without_floor(volts), HardLimit::Floor(volts)),
        (without_floor(gas), HardLimit::Floor(gas)),
        (procedure().judged_where_possible(gas), HardLimit::Waived(gas)),
        (Procedure::new(), HardLimit::Range(volts)),
    ]
}

/// A.3: before, each of these was taken, and 50 s of 150 A at 14 V without gas left the relay energised.
#[test]
fn no_procedure_blinds_the_monitor() {
    for (procedure, limit) in blinding() {
        let mut shop = limited();
        let said = shop.bench.upload(&procedure);
        let refused = Report::Refused(Refusal::Upload(UploadError::BeyondHardLimit(limit)));
        assert!(said.contains(&refused), "{limit:?}: {said:?}");
        shop.run(2, GAS_ON);
        shop.run(50, Doing { amps: 150, volts: 14, gas_lpm: Some(0) });
        assert!(!shop.bench.is_energised(), "{limit:?}");
    }
}

/// A.2: what a stop left behind is told to whoever listens.
#[test]
fn a_stop_that_is_over_is_told_until_it_is_acknowledged() {
    let mut shop = Shop::open();
    let returned = |shop: &mut Shop| {
        shop.bench.heard();
        shop.run(1, IDLE);
        shop.bench.heard().iter().rev().find_map(|report| match report {
            Report::Telemetry(telemetry) => Some(telemetry.returned),
            _ => None,
        })
    };
    shop.run(2, GAS_ON);
    shop.run(3, ARC);
    shop.run(3, ARC_WITHOUT_GAS);
    shop.run(20, IDLE);
    assert!(returned(&mut shop).unwrap().contains(Rule::GasLow));
    // Neither a new procedure nor a bench test takes it back.
    shop.bench.upload(&procedure());
    assert!(returned(&mut shop).unwrap().contains(Rule::GasLow));
    shop.bench.ask(&Request::BenchStart(acquisition()));
    shop.bench.ask(&Request::BenchEnd);
    assert!(returned(&mut shop).unwrap().contains(Rule::GasLow));
    assert!(!shop.bench.is_energised());
    shop.acknowledge();
    assert!(returned(&mut shop).unwrap().is_empty());
    assert!(shop.bench.is_energised());
}

/// Before, an alarm that was put away was loud again as soon as it cleared and came back, and the state told
/// that it was put away.
#[test]
fn an_alarm_put_away_stays_so_for_its_time_however_often_it_comes() {
    let loud = Doing { volts: 33, ..ARC };
    let mut shop = Shop::open();
    shop.run(2, GAS_ON);
    shop.run(3, ARC);
    shop.run(2, loud);
    assert!(shop.bench.horn.is_high());
    shop.bench.ask(&Request::Shelve { rule: Rule::VoltageHigh, for_us: 20_000_000 });
    for _ in 0..2 {
        assert!(!shop.bench.horn.is_high());
        shop.run(4, ARC);
        shop.run(4, loud);
    }
    assert!(!shop.bench.horn.is_high());
    shop.run(6, loud);
    assert!(shop.bench.horn.is_high(), "the time is over");
}

/// Before, an acknowledgement given while a fault of the board lasted was forgotten, and a second one was wanted.
#[test]
fn a_fault_acknowledged_while_it_lasts_ends_with_its_cause() {
    let without_gas = Doing { gas_lpm: None, ..IDLE };
    let wrong: [fn(&mut Shop); 3] = [
        |shop| (0..300).for_each(|_| shop.step(Doing { gas_lpm: None, ..IDLE })),
        |shop| (0..50).for_each(|_| shop.bench.board.sample(&IDLE.at(shop.now_us), false)),
        |shop| {
            (0..500).for_each(|_| {
                shop.now_us += 2 * PERIOD_US;
                shop.bench.board.sample(&IDLE.at(shop.now_us), false);
            });
        },
    ];
    for bring_about in wrong {
        let mut shop = Shop::open();
        bring_about(&mut shop);
        shop.acknowledge();
        assert!(!shop.bench.is_energised(), "the cause lasts");
        shop.run(5, IDLE);
        assert!(shop.bench.is_energised(), "{:?}", shop.bench.board.faults());
    }
    // One that comes again is another.
    let mut shop = Shop::open();
    shop.run(3, without_gas);
    shop.acknowledge();
    shop.run(1, IDLE);
    shop.run(3, without_gas);
    shop.run(1, IDLE);
    assert!(!shop.bench.is_energised());
}

/// Before, the state said "released", and the watchdog was fed.
#[test]
fn a_relay_that_cannot_be_released_is_told_and_the_watchdog_bites() {
    let mut shop = Shop::open();
    shop.run(2, GAS_ON);
    shop.run(3, ARC);
    shop.bench.relay.break_or_mend(true);
    shop.run(3, ARC_WITHOUT_GAS);
    assert!(shop.bench.relay.is_high(), "it is stuck");
    let fed = shop.bench.fed.get();
    shop.run(2, ARC_WITHOUT_GAS);
    assert_eq!(shop.bench.fed.get(), fed, "the watchdog starves");
    let state = shop.bench.heard().into_iter().rev().find_map(|report| match report {
        Report::Telemetry(telemetry) => Some(telemetry),
        _ => None,
    });
    let state = state.unwrap();
    assert!(state.faults.relay && state.outputs.relay_energised, "{state:?}");
    // A driver that answers again.
    shop.bench.relay.break_or_mend(false);
    shop.run(20, IDLE);
    assert!(!shop.bench.is_energised() && shop.bench.fed.get() > fed);
    shop.acknowledge();
    assert!(shop.bench.is_energised());
}

/// Before, a power cut took back a stop that nobody had acknowledged.
#[test]
fn power_that_comes_back_does_not_energise_the_relay() {
    let mut shop = Shop::open();
    shop.run(2, GAS_ON);
    shop.run(3, ARC);
    shop.run(3, ARC_WITHOUT_GAS);
    shop.run(20, IDLE);
    let (journal, procedure) = shop.bench.flashes();
    let configuration = Configuration { acquisition: acquisition(), ..Start::default().configuration };
    let bench = Bench::of(Start { journal, procedure, configuration, ..Start::default() });
    let mut shop = Shop { bench, now_us: 0 };
    assert_eq!(shop.run(30, IDLE), 0);
    shop.bench.ask(&Request::Hello);
    shop.acknowledge();
    assert!(shop.bench.is_energised());
}

/// A.1 again: before, 60 s of a pulsed arc burned under a bench test, and a new procedure was taken. The current is
/// sampled once in 10 ms: here it is high for three samples of ten.
#[test]
fn a_pulsed_arc_ends_a_bench_test_and_keeps_the_procedure() {
    let mut shop = Shop::open();
    shop.bench.ask(&Request::BenchStart(acquisition()));
    let pulsed = |shop: &mut Shop| {
        let step = shop.now_us / PERIOD_US % 5;
        let amps = if step < 1 { 350 } else { 30 };
        shop.step(Doing { amps, ..ARC_WITHOUT_GAS });
    };
    (0..20).for_each(|_| pulsed(&mut shop));
    assert!(shop.bench.board.faults().unwatched_arc);
    for _ in 0..20 {
        pulsed(&mut shop);
        let said = shop.bench.upload(&procedure());
        assert!(said.contains(&Report::Refused(Refusal::ArcBurning)), "{said:?}");
    }
}

/// Before, a board to which no samples come was started anew by its watchdog, and lost what it held; and a bench test
/// on it never ended.
#[test]
fn a_board_without_samples_lives_on() {
    let mut shop = Shop { bench: Bench::start(Device::new(), Device::new(), false), now_us: 0 };
    let bench = &mut shop.bench;
    bench.upload(&procedure());
    bench.ask(&Request::BenchStart(acquisition()));
    bench.bench_samples((0..500).map(|i| GAS_ON.at(i * PERIOD_US)));
    let is_bench = |bench: &mut Bench| {
        !bench.ask(&Request::BenchSamples(&[])).contains(&Report::Refused(Refusal::NoBenchTest))
    };
    for _ in 0..9 {
        bench.wait(1_000_000);
        bench.poll();
    }
    assert!(is_bench(bench));
    for _ in 0..11 {
        bench.wait(1_000_000);
        bench.poll();
    }
    assert!(!is_bench(bench), "10 s without samples");
    let fed = bench.fed.get();
    bench.poll();
    assert!(bench.fed.get() > fed, "the watchdog is fed");
    // Once samples have come, their end is a fault that the watchdog mends.
    bench.board.sample(&IDLE.at(PERIOD_US), false);
    let fed = bench.fed.get();
    bench.poll();
    assert_eq!(bench.fed.get(), fed);
}
