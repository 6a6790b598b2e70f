//! What a board must never do to what it has recorded and to what it is asked: lose it without a word, or let a slow
//! line or a dead one hold up the watch. Each test once failed.

use bandward::link::{LONGEST_PIECE, Refusal, Report, Request};
use bandward::{Channel, delta};
use bandward_firmware::board::Configuration;
use bandward_tests::host_board::{Bench, Said, Start};
use bandward_tests::host_machine::{ARC, ARC_WITHOUT_GAS, Doing, GAS_ON, IDLE, PERIOD_US, Shop, acquisition};

/// The state of the board's journal, as a host hears of it: in a report of its own, and in the state.
fn told_of_journal(said: &[Said]) -> (bool, bool) {
    let faults = said.iter().any(|report| matches!(report, Report::Faults(faults) if faults.journal));
    let states =
        said.iter().any(|report| matches!(report, Report::Telemetry(telemetry) if telemetry.faults.journal));
    (faults, states)
}

/// A.6: before, records were lost without a word.
#[test]
fn a_journal_that_fails_is_told() {
    // A band whose record the flash does not take.
    let mut shop = Shop::open();
    shop.bench.journal.is_broken.set(true);
    shop.run(2, GAS_ON);
    shop.run(20, ARC);
    shop.run(20, IDLE);
    assert!(shop.bench.lamp.is_high() && shop.bench.is_energised(), "the lamp, and no hold");
    assert_eq!(told_of_journal(&shop.bench.heard()), (true, true));
    shop.acknowledge();
    assert!(shop.bench.board.faults().journal, "it lasts until a record is taken");
    // One that cannot even be opened.
    let half_a_page = 0..2048;
    let mut shop = Shop::by(Start { journal_range: half_a_page, ..Start::default() });
    assert!(shop.bench.lamp.is_high());
    shop.acknowledge();
    shop.run(1, IDLE);
    assert!(shop.bench.lamp.is_high(), "no button mends it");
    assert!(told_of_journal(&shop.bench.heard()).1);
}

/// A.6: more records than there is room for until the service comes.
#[test]
fn a_service_that_does_not_come_loses_records_and_says_so() {
    let mut shop = Shop::open();
    for band in 0..20 {
        for (seconds, doing) in [(2, GAS_ON), (20, ARC), (15, IDLE)] {
            for _ in 0..seconds * 1_000_000 / PERIOD_US {
                shop.now_us += PERIOD_US;
                shop.bench.board.sample(&doing.at(shop.now_us), false);
            }
        }
        assert_eq!(shop.bench.board.faults().journal, band >= 16, "after band {band}");
    }
    assert_eq!(shop.bands(), 16);
}

/// A.8: before, 15 of 74 blocks came through a queue of 4 KiB, and one `poll` took as long as the line did.
#[test]
fn a_slow_line_costs_time_and_no_block() {
    let mut shop = Shop::open();
    shop.run(2, GAS_ON);
    shop.run(100, ARC);
    shop.run(20, IDLE);
    let expected = shop.bench.read_black_box();
    assert!(expected.len() > 74, "{}", expected.len());
    // 115,200 baud, polled a thousand times a second.
    let (mut blocks, mut most) = (Vec::new(), 0);
    for from in 0.. {
        shop.bench.send(&Request::ReadBlackBox { from: expected[0].0 + from });
        let answer = (0..1000).find_map(|_| {
            shop.bench.line.room.set(Some(11));
            shop.bench.board.poll();
            most = most.max(11 - shop.bench.line.room.get().unwrap());
            shop.bench.heard().into_iter().find_map(|report| match report {
                Report::BlackBox { number, bytes } => Some(Some((number, bytes))),
                Report::BlackBoxEnd => Some(None),
                _ => None,
            })
        });
        match answer.expect("an answer within a second") {
            Some(block) => blocks.push(block),
            None => break,
        }
    }
    assert_eq!(blocks, expected);
    assert_eq!(most, 11, "never more than the line takes");
    // It can be resumed anywhere.
    let from = expected[30].0;
    let resumed = shop.bench.ask_freely(&Request::ReadBlackBox { from });
    assert!(resumed.contains(&Report::BlackBox { number: from, bytes: expected[30].1.clone() }));
}

/// A.8: a line that takes nothing holds up neither samples nor polls (the double fails the test where the board
/// waits), and what it cost is told.
#[test]
fn a_dead_line_holds_up_nothing_and_is_counted() {
    let weld = |room| {
        let mut shop = Shop::open();
        shop.bench.line.room.set(room);
        shop.run(2, GAS_ON);
        shop.run(20, ARC);
        let held = shop.run(3, ARC_WITHOUT_GAS);
        shop.run(60, IDLE);
        (shop, held)
    };
    let (mut shop, held) = weld(Some(0));
    assert!(held < 300);
    assert_eq!(held, weld(None).1, "the stop comes as soon as with a line that takes all");
    shop.bench.line.room.set(None);
    shop.run(1, IDLE);
    let dropped = shop.bench.heard().iter().rev().find_map(|report| match report {
        Report::Telemetry(telemetry) => Some(telemetry.dropped),
        _ => None,
    });
    assert!(dropped > Some(100), "{dropped:?}");
    assert_eq!(shop.bands(), 1);
}

/// A.8: a block of a bench test, a request and a record are each a bounded part of a call.
#[test]
fn one_poll_does_a_bounded_part_of_the_work() {
    let mut shop = Shop::open();
    shop.bench.ask(&Request::BenchStart(acquisition()));
    let mut block = [0; LONGEST_PIECE];
    let (mut encoder, mut used, mut sent) = (delta::Encoder::new(), 0, 0);
    while let Some(taken) = encoder.push(&GAS_ON.at(u64::from(sent) * PERIOD_US), &mut block[used..]) {
        used += taken;
        sent += 1;
    }
    shop.bench.send(&Request::BenchSamples(&block[..used]));
    shop.bench.send(&Request::Hello);
    let mut polls = 0;
    let taken = loop {
        polls += 1;
        shop.bench.board.poll();
        let said = shop.bench.heard();
        let ready = said.iter().any(|report| matches!(report, Report::Ready { .. }));
        let taken = said.iter().find_map(|report| match report {
            Report::Taken { samples } => Some(*samples),
            _ => None,
        });
        assert!(!ready || taken.is_some(), "one after the other");
        if let Some(taken) = taken {
            break taken;
        }
    };
    assert_eq!(taken, sent);
    assert!(sent > 50 && polls > sent / 8, "{sent} samples in {polls} polls");
}

/// A.11: before, the second client that sent one frame and went was taken for a repetition of the first.
#[test]
fn every_client_that_says_hello_is_heard() {
    let mut shop = Shop::open();
    for _ in 0..3 {
        let said = shop.bench.as_another_client(&Request::Hello);
        assert!(said.iter().any(|report| matches!(report, Report::Ready { .. })), "{said:?}");
    }
    let replayed = shop.bench.board.counts().replayed;
    shop.bench.as_another_client(&Request::Acknowledge);
    assert_eq!(shop.bench.board.counts().replayed, replayed + 1, "no session begins with it");
    // A board that was started anew wants a session before anything else.
    let mut fresh = Bench::of(Start::default());
    assert!(fresh.ask(&Request::Acknowledge).contains(&Report::Refused(Refusal::NoSession)));
}

/// Before, any request with number 0 was taken, and so every number after it anew.
#[test]
fn number_0_is_taken_for_hello_alone() {
    let mut shop = Shop::open();
    for request in [Request::Acknowledge, Request::MarkJoint, Request::ReleaseBlackBox, Request::BenchEnd] {
        let replayed = shop.bench.board.counts().replayed;
        let answered = shop.bench.as_another_client(&request);
        assert!(!answered.iter().any(|report| !matches!(report, Report::Telemetry(_))), "{answered:?}");
        assert_eq!(shop.bench.board.counts().replayed, replayed + 1, "{request:?}");
    }
}

/// Before, the fastest reports of the state filled the line for good, and nobody could acknowledge. 115,200 baud are
/// 11,520 bytes a second, 115 in 10 ms; and half and a quarter of that.
#[test]
fn an_answer_has_room_whatever_else_there_is_to_tell() {
    for room in [115, 57, 28] {
        let start = Start::default();
        let configuration = Configuration { telemetry_us: 10_000, ..start.configuration.clone() };
        let mut shop = Shop::by(Start { configuration, ..start });
        let step = |shop: &mut Shop, doing| {
            shop.bench.line.room.set(Some(room));
            shop.step(doing);
            shop.bench.heard().contains(&Report::Acknowledged)
        };
        for _ in 0..200 {
            step(&mut shop, GAS_ON);
        }
        for _ in 0..300 {
            step(&mut shop, ARC);
        }
        for _ in 0..300 {
            step(&mut shop, ARC_WITHOUT_GAS);
        }
        assert!(shop.bench.horn.is_high());
        shop.bench.send(&Request::Acknowledge);
        let waited = (0..200).position(|_| step(&mut shop, ARC_WITHOUT_GAS));
        assert!(waited.is_some(), "two seconds, {room} bytes in 10 ms");
        assert!(!shop.bench.horn.is_high());
    }
}

/// Before, the last reading of a meter that had died was told for ever.
#[test]
fn a_channel_that_is_lost_is_not_told_as_read() {
    let present = |shop: &mut Shop| {
        shop.bench.heard().iter().rev().find_map(|report| match report {
            Report::Telemetry(telemetry) => Some(telemetry.readings.present()),
            _ => None,
        })
    };
    for gas_lpm in [None, Some(100)] {
        let mut shop = Shop::open();
        assert!(present(&mut shop).unwrap().contains(Channel::Gas));
        shop.run(3, Doing { gas_lpm, ..IDLE });
        let told = present(&mut shop).unwrap();
        assert!(!told.contains(Channel::Gas) && told.contains(Channel::Current), "{told:?}");
        shop.run(1, IDLE);
        assert!(present(&mut shop).unwrap().contains(Channel::Gas), "it is back");
    }
}
