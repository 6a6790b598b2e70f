//! The board program on the host, with a flash that loses power: whatever is cut, it starts again, with
//! the old procedure or the new one and with every finished record.

use bandward::event::{AlarmKind, Event};
use bandward::flash::journal::Kept;
use bandward::link::upload::crc_of;
use bandward::link::{Refusal, Report, Request};
use bandward::{Outcome, Phase, Rule, Sample, Severity};
use bandward_firmware::board::BENCH_PATIENCE_US;
use bandward_firmware::pattern;
use bandward_tests::host_board::{Bench, Device, Said};
use bandward_tests::made::of_voltage;

#[test]
fn a_power_cut_at_any_byte_of_an_upload_leaves_the_old_or_the_new() {
    let mut first = Bench::start(Device::new(), Device::new(), false);
    let old = of_voltage(1);
    assert_eq!(first.upload(&old).last(), Some(&Report::UploadInForce { crc: crc_of(&old) }));
    let (journal, base) = first.flashes();
    let new = of_voltage(2);
    let mut whole = Bench::start(journal.clone(), base.clone(), false);
    assert_eq!(whole.upload(&new), [Report::UploadInForce { crc: crc_of(&new) }]);
    let changes = whole.flashes().1.counts.bytes_changed() - base.counts.bytes_changed();
    assert!(changes > 100);
    let mut news = 0;
    for cut in 0..changes {
        let mut bench = Bench::start(journal.clone(), base.clone().failing_after(cut), false);
        assert_eq!(bench.upload(&new), [Report::Refused(Refusal::Storage)], "cut after {cut} bytes");
        assert_eq!(bench.board.procedure(), &old, "what is not stored is not in force");
        let (journal, procedure) = bench.flashes();
        let again = Bench::start(journal, procedure, false);
        let found = again.board.procedure();
        assert!(found == &old || found == &new, "cut after {cut} bytes");
        news += u64::from(found == &new);
    }
    assert!(news < changes);
}

#[test]
fn bands_are_in_the_journal_after_a_restart_and_numbers_go_on() {
    let mut bench = Bench::start(Device::new(), Device::new(), false);
    bench.upload(&pattern::PROCEDURE);
    let (mut samples, mut heard) = (0, Vec::new());
    for sample in pattern::Pattern::new() {
        bench.board.sample(&sample, false);
        samples += 1;
        if samples % 100 == 0 {
            heard.extend(bench.poll());
        }
    }
    assert_eq!(samples, pattern::SAMPLES);
    assert_telemetry_keeps_up(&heard);
    // The joint is done only when somebody says so: it was the last one of the day.
    let heard = heard.into_iter().chain(bench.ask(&Request::MarkJoint));
    let told: Vec<_> = heard
        .filter_map(|report| match report {
            Report::Band { record, .. } => Some(Kept::Band(record)),
            Report::Joint { record, .. } => Some(Kept::Joint(record)),
            _ => None,
        })
        .collect();
    let [Kept::Band(_), Kept::Band(_), Kept::Band(_), Kept::Joint(joint)] = told[..] else {
        panic!("{told:?}")
    };
    assert_eq!((joint.joint, joint.bands, joint.outcome), (1, 3, Outcome::Broken));
    let (journal, procedure) = bench.flashes();
    let mut again = Bench::start(journal, procedure, false);
    let expected: Vec<_> = told.iter().zip(0..).map(|(record, number)| (number, *record)).collect();
    assert_eq!(again.read_journal(), expected);
    assert_eq!(again.ask(&Request::ReadJournal { from: 4 }), [Report::JournalEnd]);
}

/// Whoever hears nothing but telemetry knows the phase, the band and the active alarms as well as one who
/// heard every event.
fn assert_telemetry_keeps_up(heard: &[Said]) {
    let mut active: Vec<(Rule, Severity)> = Vec::new();
    let (mut place, mut with_alarms) = ((Phase::Idle, 0), 0);
    for report in heard {
        match report {
            Report::Event(Event::Phase { phase, band, .. }) => place = (*phase, *band),
            Report::Event(Event::Alarm(alarm)) => {
                active.retain(|(rule, _)| *rule != alarm.rule);
                if alarm.kind != AlarmKind::Cleared {
                    active.push((alarm.rule, alarm.severity));
                }
            }
            Report::Telemetry(telemetry) => {
                let alarms = telemetry.alarms.iter().flatten().map(|alarm| (alarm.rule, alarm.severity));
                let told: Vec<_> = alarms.collect();
                active.sort();
                assert_eq!(told, active);
                assert_eq!(telemetry.phase, place.0);
                with_alarms += usize::from(!told.is_empty());
            }
            _ => {}
        }
    }
    assert!(with_alarms > 5 && place.1 == 3, "{with_alarms} {place:?}");
}

/// The host of a bench test is lost: the board goes back to its inputs, and the alarms and readings of the
/// bench test are gone.
#[test]
fn a_bench_test_nobody_goes_on_with_ends() {
    let mut bench = Bench::start(Device::new(), Device::new(), false);
    bench.upload(&of_voltage(1));
    bench.board.sample(&Sample::at(0), false);
    bench.ask(&Request::BenchStart(pattern::acquisition()));
    let (mut time_us, mut judged) = (0, 0);
    while time_us < u64::from(BENCH_PATIENCE_US) + 1_000_000 {
        time_us += 100_000;
        bench.wait(100_000);
        bench.board.sample(&Sample::at(time_us), false);
        // A host that only looks on does not keep it going.
        let said = bench.ask(&Request::Hello);
        let of_inputs = |report: &&_| matches!(report, Report::Telemetry(state) if !state.is_bench);
        judged += said.iter().filter(of_inputs).count();
        assert_eq!(judged > 0, time_us > u64::from(BENCH_PATIENCE_US), "at {time_us} us");
    }
}

#[test]
fn the_relay_stays_released_until_a_sound_procedure_judged_a_sample() {
    let mut bench = Bench::start(Device::new(), Device::new(), false);
    bench.board.sample(&Sample::at(0), false);
    assert!(!bench.board.outputs().relay_energised, "a new board has no procedure");
    bench.upload(&of_voltage(1));
    assert!(!bench.board.outputs().relay_energised, "nothing was judged by it");
    bench.board.sample(&Sample::at(100), false);
    assert!(bench.board.outputs().relay_energised);
    bench.board.sample(&Sample::at(200), true);
    assert!(!bench.board.outputs().relay_energised, "late");
    bench.ask(&Request::Acknowledge);
    assert!(bench.board.outputs().relay_energised);
    let (journal, flash) = bench.flashes();
    let mut bitten = Bench::start(journal, flash, true);
    bitten.board.sample(&Sample::at(0), false);
    assert!(!bitten.board.outputs().relay_energised, "the watchdog started it");
    bitten.ask(&Request::Acknowledge);
    assert!(bitten.board.outputs().relay_energised);
}

#[test]
fn what_was_not_started_is_refused() {
    let mut bench = Bench::start(Device::new(), Device::new(), false);
    assert_eq!(bench.ask(&Request::BenchSamples(&[0])), [Report::Refused(Refusal::NoBenchTest)]);
    assert_eq!(bench.ask(&Request::BenchEnd), [Report::Refused(Refusal::NoBenchTest)]);
    let started = bench.ask(&Request::BenchStart(pattern::acquisition()));
    assert!(matches!(started[..], [Report::Ready { .. }]));
    assert_eq!(bench.ask(&Request::BenchSamples(&[0xff; 9])), [Report::Refused(Refusal::Malformed)]);
}
