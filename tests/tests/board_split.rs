//! The board program in two halves, as under an interrupt: what happens while one of them stands still. Each test once
//! failed.
//!
//! Decides: nothing about the Modbus map, whose oracle is `firmware-example/MODBUS.md`.

use crate::board_modbus_map::at;
use bandward::flash::journal::Kept;
use bandward::link::frame::LONGEST_FRAME;
use bandward::link::{Receiver, Report, Request, Sender};
use bandward_firmware::board::{Service, Watcher};
use bandward_tests::controller::framed;
use bandward_tests::host_board::{Host, Line, MODBUS_ADDRESS, Pin, Said, Watch};
use bandward_tests::host_machine::{ARC, Doing, GAS_ON, IDLE, PERIOD_US, Shop, acquisition};

/// The two halves on a machine.
struct Halves {
    watcher: Watcher<Host>,
    service: Service<Host>,
    line: Line,
    modbus: Line,
    clock: Watch,
    relay: Pin,
    now_us: u64,
    sender: Sender,
    receiver: Receiver,
}

impl Halves {
    /// Judging, acknowledged, and with a session.
    fn open() -> Self {
        let Shop { bench, now_us } = Shop::open();
        let (watcher, service) = (*bench.board).split();
        let mut halves = Self {
            watcher,
            service,
            line: bench.line,
            modbus: bench.modbus,
            clock: bench.clock,
            relay: bench.relay,
            now_us,
            sender: Sender::new(),
            receiver: Receiver::new(),
        };
        halves.send(&Request::Hello);
        halves.run(1, IDLE, true);
        halves.heard();
        halves
    }
    fn send(&mut self, request: &Request<'_>) {
        let mut frame = [0; LONGEST_FRAME];
        let frame = self.sender.frame(request, &mut frame).expect("it is short");
        self.line.to_board.borrow_mut().extend(frame);
    }
    fn heard(&mut self) -> Vec<Said> {
        let bytes = self.line.to_host.take();
        bytes.into_iter().filter_map(|byte| self.receiver.push(byte)).collect()
    }
    /// A sample, and time for it.
    fn sample(&mut self, doing: Doing) {
        self.now_us += PERIOD_US;
        self.pass(PERIOD_US);
        self.watcher.sample(&doing.at(self.now_us), false);
    }
    fn pass(&mut self, us: u64) {
        self.clock.0.set(self.clock.0.get().wrapping_add(us as u32));
    }
    /// Samples for some seconds; is the service polled with each?
    fn run(&mut self, seconds: u64, doing: Doing, is_polled: bool) {
        for _ in 0..seconds * 1_000_000 / PERIOD_US {
            self.sample(doing);
            if is_polled {
                self.service.poll();
            }
        }
    }
    /// The service goes on for so long, and no sample comes.
    fn without_samples(&mut self, ms: u64) {
        for _ in 0..ms {
            self.pass(1_000);
            self.now_us += 1_000;
            self.service.poll();
        }
    }
    /// Puts a request for input registers on the Modbus line.
    fn ask_for(&mut self, first: u16, count: u16) {
        let [high, low] = first.to_be_bytes();
        self.put(&[4, high, low, 0, count as u8]);
    }
    fn put(&mut self, body: &[u8]) {
        let whole = framed(&[&[MODBUS_ADDRESS], body].concat());
        self.modbus.to_board.borrow_mut().extend(whole);
    }
    fn answered(&mut self) -> Vec<u8> {
        self.modbus.to_host.take()
    }
}

#[test]
fn an_answer_to_a_request_that_was_given_up_never_comes() {
    for (standing_ms, asks_again) in [(100, true), (700, false), (700, true), (5_000, true)] {
        let mut halves = Halves::open();
        halves.ask_for(0, 4);
        halves.without_samples(standing_ms);
        if asks_again {
            halves.ask_for(100, 4);
            halves.without_samples(30);
        }
        assert_eq!(halves.answered(), [0; 0], "nobody knows the state");
        halves.run(1, IDLE, true);
        assert_eq!(halves.answered(), [0; 0], "{standing_ms} ms, again: {asks_again}");
        halves.ask_for(at("state", "age_ms"), 1);
        halves.run(1, IDLE, true);
        let answer = halves.answered();
        assert_eq!(answer.get(..3), Some(&[MODBUS_ADDRESS, 4, 2][..]), "it goes on: {answer:?}");
    }
}

#[test]
fn a_state_that_waited_for_the_service_is_as_old_as_it_is() {
    let mut halves = Halves::open();
    halves.ask_for(at("state", "age_ms"), 1);
    halves.service.poll();
    halves.sample(IDLE);
    // The request is taken, and the flash has the service for 400 ms.
    halves.service.poll();
    (0..40).for_each(|_| halves.sample(IDLE));
    halves.service.poll();
    let answer = halves.answered();
    let age_ms = u16::from_be_bytes([answer[3], answer[4]]);
    assert!((380..=400).contains(&age_ms), "{age_ms}");
    // And later than that it is no answer.
    halves.ask_for(at("state", "age_ms"), 1);
    halves.service.poll();
    halves.sample(IDLE);
    halves.service.poll();
    (0..60).for_each(|_| halves.sample(IDLE));
    halves.service.poll();
    assert_eq!(halves.answered(), [0; 0]);
}

/// Samples that stood for three seconds are a fault of the clock, which releases the relay: who pressed before has not
/// seen it.
#[test]
fn a_press_of_before_acknowledges_nothing_that_came_later() {
    for (by_host, by_cell) in [(true, false), (false, true), (true, true)] {
        let mut halves = Halves::open();
        let leap = |halves: &mut Halves, presses: bool| {
            for _ in 0..10 {
                if presses && by_host {
                    halves.send(&Request::Acknowledge);
                }
                if presses && by_cell {
                    halves.put(&[5, 0, 0, 0xff, 0]);
                }
                halves.without_samples(300);
            }
            halves.run(6, IDLE, true);
        };
        leap(&mut halves, false);
        assert!(halves.watcher.faults().bad_clock && !halves.relay.is_high(), "the leap is a fault");
        halves.send(&Request::Acknowledge);
        halves.run(1, IDLE, true);
        assert!(halves.heard().contains(&Report::Acknowledged) && halves.relay.is_high());
        // The last press is given up too before samples come again.
        leap(&mut halves, true);
        assert!(!halves.relay.is_high(), "host: {by_host}, cell: {by_cell}");
        assert!(!halves.heard().contains(&Report::Acknowledged) && halves.answered().is_empty());
        halves.send(&Request::Acknowledge);
        halves.run(1, IDLE, true);
        assert!(halves.heard().contains(&Report::Acknowledged) && halves.relay.is_high());
    }
}

/// Before, a service that was full took the seventeenth record and dropped it.
#[test]
fn records_for_which_the_service_has_no_room_wait_on_their_way() {
    let mut halves = Halves::open();
    for _ in 0..25 {
        // The service comes while an arc burns, and at no other time.
        halves.run(2, GAS_ON, false);
        halves.run(1, ARC, false);
        halves.run(3, ARC, true);
        halves.run(2, ARC, false);
        halves.run(8, IDLE, false);
    }
    halves.run(2, IDLE, true);
    assert!(!halves.watcher.faults().journal);
    let mut bands = Vec::new();
    halves.heard();
    for from in 0..25 {
        halves.send(&Request::ReadJournal { from });
        halves.run(1, IDLE, true);
        bands.extend(halves.heard().into_iter().filter_map(|report| match report {
            Report::Journal { record: Kept::Band(band), .. } => Some(band.band),
            _ => None,
        }));
    }
    assert_eq!(bands, (1..=25).collect::<Vec<_>>());
}

/// Before, no state was told for the ten seconds of patience.
#[test]
fn a_bench_test_whose_samples_do_not_come_tells_its_state_all_the_same() {
    let mut halves = Halves::open();
    halves.send(&Request::BenchStart(acquisition()));
    halves.run(1, IDLE, true);
    halves.heard();
    for _ in 0..8 {
        halves.run(1, IDLE, true);
        let states = halves.heard().into_iter().filter(
            |report| matches!(report, Report::Telemetry(state) if state.is_bench && !state.outputs.relay_energised),
        );
        let count = states.count();
        assert!((4..=5).contains(&count), "{count} in a second");
    }
}
