//! The board program on the host, with a flash that loses power: whatever is cut, it starts again, with
//! the old procedure or the new one and with every finished record.

use bandward::event::{AlarmKind, Event};
use bandward::flash::journal::Kept;
use bandward::link::frame::{LONGEST_FRAME, crc};
use bandward::link::hard_limits::HardLimits;
use bandward::link::upload::crc_of;
use bandward::link::{LONGEST_PIECE, Receiver, Refusal, Report, Request, Sender};
use bandward::{Outcome, Phase, Procedure, Rule, Sample, Severity};
use bandward_firmware::board::{BENCH_PATIENCE_US, Board, Configuration, Hardware, Parts};
use bandward_firmware::outputs::{Pins, Watchdog};
use bandward_firmware::pattern;
use bandward_tests::flash::Flash;
use bandward_tests::made::of_voltage;
use embedded_hal::digital::{ErrorType, OutputPin};
use std::cell::RefCell;
use std::collections::VecDeque;
use std::convert::Infallible;
use std::rc::Rc;

type Device = Flash<2, 4096, 4>;
const RANGE: core::ops::Range<u32> = 0..Device::SIZE as u32;

/// The two directions of a serial line.
#[derive(Clone, Default)]
struct Line {
    to_board: Rc<RefCell<VecDeque<u8>>>,
    to_host: Rc<RefCell<Vec<u8>>>,
}

impl embedded_io::ErrorType for Line {
    type Error = Infallible;
}

impl embedded_io::ReadReady for Line {
    fn read_ready(&mut self) -> Result<bool, Infallible> {
        Ok(!self.to_board.borrow().is_empty())
    }
}

impl embedded_io::Read for Line {
    fn read(&mut self, buffer: &mut [u8]) -> Result<usize, Infallible> {
        let Some(byte) = self.to_board.borrow_mut().pop_front() else { return Ok(0) };
        buffer[0] = byte;
        Ok(1)
    }
}

impl embedded_io::Write for Line {
    fn write(&mut self, buffer: &[u8]) -> Result<usize, Infallible> {
        self.to_host.borrow_mut().extend_from_slice(buffer);
        Ok(buffer.len())
    }
    fn flush(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}

struct Pin;

impl ErrorType for Pin {
    type Error = Infallible;
}

impl OutputPin for Pin {
    fn set_low(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
    fn set_high(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}

struct Dog(bool);

impl Watchdog for Dog {
    fn feed(&mut self) {}
    fn caused_reset(&self) -> bool {
        self.0
    }
}

struct Host;

impl Hardware for Host {
    type Serial = Line;
    type Relay = Pin;
    type Lamp = Pin;
    type Horn = Pin;
    type Watchdog = Dog;
    type Flash = Device;
}

/// A board and the host's end of its line.
struct Bench {
    board: Box<Board<Host>>,
    line: Line,
    sender: Sender,
    receiver: Receiver,
}

impl Bench {
    fn start(journal: Device, procedure: Device, bitten: bool) -> Self {
        let line = Line::default();
        let parts = Parts {
            serial: line.clone(),
            pins: Pins { relay: Pin, lamp: Pin, horn: Pin },
            watchdog: Dog(bitten),
            journal: (journal, RANGE),
            procedure: (procedure, RANGE),
        };
        let configuration = Configuration {
            acquisition: pattern::acquisition(),
            hard_limits: HardLimits::NONE,
            telemetry_us: 200_000,
        };
        Self {
            board: Box::new(Board::new(parts, configuration)),
            line,
            sender: Sender::new(),
            receiver: Receiver::new(),
        }
    }
    /// Sends a request and returns what the board says to it.
    fn ask(&mut self, request: &Request<'_>) -> Vec<Report<Vec<u8>>> {
        let mut frame = [0; LONGEST_FRAME];
        self.line.to_board.borrow_mut().extend(self.sender.frame(request, &mut frame).unwrap());
        self.board.poll();
        self.heard()
    }
    fn heard(&mut self) -> Vec<Report<Vec<u8>>> {
        let bytes = self.line.to_host.take();
        bytes.into_iter().filter_map(|byte| self.receiver.push(byte)).collect()
    }
    fn upload(&mut self, procedure: &Procedure) -> Vec<Report<Vec<u8>>> {
        let bytes = postcard::to_allocvec(procedure).unwrap();
        let mut said = self.ask(&Request::UploadStart { length: bytes.len() as u16, crc: crc(&bytes) });
        for (piece, offset) in bytes.chunks(LONGEST_PIECE).zip((0..).step_by(LONGEST_PIECE)) {
            said.extend(self.ask(&Request::UploadPiece { offset, bytes: piece }));
        }
        said.extend(self.ask(&Request::UploadCommit));
        said
    }
    fn flashes(self) -> (Device, Device) {
        let (journal, procedure) = self.board.into_flash();
        (journal.unwrap().powered_again(), procedure.unwrap().powered_again())
    }
}

#[test]
fn a_power_cut_at_any_byte_of_an_upload_leaves_the_old_or_the_new() {
    let mut first = Bench::start(Device::new(), Device::new(), false);
    let old = of_voltage(1);
    assert_eq!(first.upload(&old), [Report::UploadInForce { crc: crc_of(&old) }]);
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
    bench.upload(&pattern::procedure());
    let mut samples = 0;
    for sample in pattern::Pattern::new() {
        bench.board.sample(&sample, false);
        samples += 1;
    }
    assert_eq!(samples, pattern::SAMPLES);
    let heard = bench.heard();
    assert_telemetry_keeps_up(&heard);
    // The joint is done only when somebody says so: it was the last one of the day.
    let heard = heard.into_iter().chain(bench.ask(&Request::MarkJoint));
    let told: Vec<_> = heard
        .filter_map(|report| match report {
            Report::Band(record) => Some(Kept::Band(record)),
            Report::Joint(record) => Some(Kept::Joint(record)),
            _ => None,
        })
        .collect();
    let [Kept::Band(_), Kept::Band(_), Kept::Joint(joint)] = told[..] else { panic!("{told:?}") };
    assert_eq!((joint.joint, joint.bands, joint.outcome), (1, 2, Outcome::Broken));
    let (journal, procedure) = bench.flashes();
    let mut again = Bench::start(journal, procedure, false);
    let kept = again.ask(&Request::ReadJournal { from: 0 });
    let expected: Vec<_> = told
        .iter()
        .zip(0..)
        .map(|(record, number)| Report::Journal { number, record: *record })
        .chain([Report::JournalEnd])
        .collect();
    assert_eq!(kept, expected);
}

/// Whoever hears nothing but telemetry knows the phase, the band and the active alarms as well as one who
/// heard every event.
fn assert_telemetry_keeps_up(heard: &[Report<Vec<u8>>]) {
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
    assert!(with_alarms > 5 && place.1 == 2, "{with_alarms} {place:?}");
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
    while time_us < BENCH_PATIENCE_US + 1_000_000 {
        time_us += 100_000;
        bench.board.sample(&Sample::at(time_us), false);
        // A host that only looks on does not keep it going.
        let said = bench.ask(&Request::Hello);
        judged += said.iter().filter(|report| matches!(report, Report::Telemetry(_))).count();
        assert_eq!(judged > 0, time_us > 100_000 + BENCH_PATIENCE_US, "at {time_us} us");
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
