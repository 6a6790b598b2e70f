//! What a board must never do, whatever is done to it. Each test once failed.

use bandward::link::{Report, Request};
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
}
