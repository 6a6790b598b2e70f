//! Anything in any order: the machine does what it likes, the host asks what it likes, the line and the flash fail.
//!
//! Decides: what must hold all the time, whatever happens (see [`Guard`]).
//! Assumes: nothing.
//! Never: looks into the board: pins, line and flash are all it sees.

use bandward::event::{AlarmKind, Event};
use bandward::link::{LONGEST_PIECE, Report, Request};
use bandward::{Severity, delta};
use bandward_tests::host_machine::{
    ARC, ARC_WITHOUT_GAS, Doing, GAS_ON, IDLE, PERIOD_US, Shop, acquisition, procedure,
};
use proptest::prelude::*;

#[derive(Clone, Debug)]
enum Act {
    Run(Doing, u16),
    Glitch(u64),
    Stall(u8),
    Late,
    Acknowledge,
    Hello,
    BenchStart,
    BenchSamples(Doing, u8),
    BenchEnd,
    Upload,
    MarkJoint,
    ReadJournal(u8),
    ReadBlackBox(u8),
    ReleaseBlackBox,
    Garbage(Vec<u8>),
    BreakFlash(bool),
    LimitLine(Option<u16>),
}

fn doing() -> impl Strategy<Value = Doing> {
    prop_oneof![
        3 => Just(IDLE),
        3 => Just(GAS_ON),
        6 => Just(ARC),
        3 => Just(ARC_WITHOUT_GAS),
        1 => Just(Doing { gas_lpm: None, ..ARC }),
        1 => Just(Doing { gas_lpm: None, ..IDLE }),
        1 => Just(Doing { volts: 33, ..ARC }),
        1 => Just(Doing { volts: -29, amps: -280, ..ARC }),
        1 => Just(Doing { volts: 70, ..GAS_ON }),
    ]
}

fn act() -> impl Strategy<Value = Act> {
    prop_oneof![
        20 => (doing(), 1..1500_u16).prop_map(|(doing, samples)| Act::Run(doing, samples)),
        1 => prop_oneof![Just(1 << 32), Just(60_000_000), 0..3_000_000_u64].prop_map(Act::Glitch),
        1 => (0..100_u8).prop_map(Act::Stall),
        1 => Just(Act::Late),
        4 => Just(Act::Acknowledge),
        1 => Just(Act::Hello),
        2 => Just(Act::BenchStart),
        4 => (doing(), 1..100_u8).prop_map(|(doing, samples)| Act::BenchSamples(doing, samples)),
        2 => Just(Act::BenchEnd),
        2 => Just(Act::Upload),
        1 => Just(Act::MarkJoint),
        2 => any::<u8>().prop_map(Act::ReadJournal),
        2 => any::<u8>().prop_map(Act::ReadBlackBox),
        1 => Just(Act::ReleaseBlackBox),
        1 => prop::collection::vec(any::<u8>(), 0..300).prop_map(Act::Garbage),
        1 => any::<bool>().prop_map(Act::BreakFlash),
        1 => prop::option::of(0..2000_u16).prop_map(Act::LimitLine),
    ]
}

/// What is known of the board from outside.
struct Guard {
    shop: Shop,
    /// A bench test was granted and has not ended.
    is_bench: bool,
    /// A stop was told of the machine's own samples, and nobody has acknowledged.
    is_stopped: bool,
    /// The line does not bring all that is said.
    is_deaf: bool,
    block_end_us: u64,
}

impl Guard {
    fn hear(&mut self) {
        for report in self.shop.bench.heard() {
            match report {
                Report::BenchDone { .. } | Report::UploadInForce { .. } => self.is_bench = false,
                Report::Event(Event::Alarm(alarm)) if !self.is_bench => {
                    let is_worse = matches!(alarm.kind, AlarmKind::Raised | AlarmKind::Escalated);
                    self.is_stopped |= is_worse && alarm.severity == Severity::Stop;
                }
                Report::Telemetry(telemetry) => self.is_bench = telemetry.is_bench,
                _ => {}
            }
        }
    }
    /// The relay is released in a bench test, and from a stop to the next acknowledgement.
    fn check(&mut self) -> Result<(), TestCaseError> {
        if self.is_deaf {
            return Ok(());
        }
        self.hear();
        let is_energised = self.shop.bench.is_energised();
        prop_assert!(!(is_energised && self.is_stopped), "energised after a stop, at {}", self.shop.now_us);
        prop_assert!(!(is_energised && self.is_bench), "energised in a bench test");
        Ok(())
    }
    /// Neither journal nor procedure is touched by a sample, nor changed while an arc's current flows.
    fn sample(&mut self, doing: Doing, time_us: u64, is_late: bool) -> Result<(), TestCaseError> {
        let bench = &mut self.shop.bench;
        let calls = |bench: &bandward_tests::host_board::Bench| {
            (bench.journal.calls.get(), bench.procedure.calls.get())
        };
        let before = calls(bench);
        bench.board.sample(&doing.at(time_us), is_late);
        prop_assert_eq!(calls(bench), before, "a sample touches the flash");
        let is_known = time_us == self.shop.now_us;
        bench.board.poll();
        let is_arc = doing.amps.abs() > 100 && is_known;
        prop_assert!(!is_arc || calls(bench) == before, "the flash is touched in an arc");
        self.check()
    }
    fn ask(&mut self, request: &Request<'_>) -> Result<(), TestCaseError> {
        self.shop.bench.send(request);
        for _ in 0..40 {
            self.shop.bench.board.poll();
        }
        self.check()
    }
    fn act(&mut self, act: &Act) -> Result<(), TestCaseError> {
        match act {
            Act::Run(doing, samples) => {
                for _ in 0..*samples {
                    self.shop.now_us += PERIOD_US;
                    self.sample(*doing, self.shop.now_us, false)?;
                }
                Ok(())
            }
            Act::Glitch(us) => self.sample(IDLE, self.shop.now_us.wrapping_add(*us), false),
            Act::Stall(samples) => {
                (0..*samples).try_for_each(|_| self.sample(GAS_ON, self.shop.now_us, false))
            }
            Act::Late => {
                self.shop.now_us += PERIOD_US;
                self.sample(IDLE, self.shop.now_us, true)?;
                prop_assert!(!self.shop.bench.is_energised(), "after a late sample");
                Ok(())
            }
            Act::Acknowledge => {
                self.shop.bench.send(&Request::Acknowledge);
                // It may be taken in any of the polls to come.
                self.is_stopped = false;
                self.ask(&Request::Hello)
            }
            Act::Hello => self.ask(&Request::Hello),
            Act::BenchStart => self.ask(&Request::BenchStart(acquisition())),
            Act::BenchSamples(doing, samples) => {
                let mut block = [0; LONGEST_PIECE];
                let (mut encoder, mut used) = (delta::Encoder::new(), 0);
                for _ in 0..*samples {
                    self.block_end_us += PERIOD_US;
                    let sample = doing.at(self.block_end_us);
                    let Some(taken) = encoder.push(&sample, &mut block[used..]) else { break };
                    used += taken;
                }
                self.ask(&Request::BenchSamples(&block[..used]))
            }
            Act::BenchEnd => self.ask(&Request::BenchEnd),
            Act::Upload => {
                self.upload();
                self.check()
            }
            Act::MarkJoint => self.ask(&Request::MarkJoint),
            Act::ReadJournal(from) => self.ask(&Request::ReadJournal { from: u32::from(*from) }),
            Act::ReadBlackBox(from) => self.ask(&Request::ReadBlackBox { from: u32::from(*from) }),
            Act::ReleaseBlackBox => self.ask(&Request::ReleaseBlackBox),
            Act::Garbage(bytes) => {
                self.shop.bench.line.to_board.borrow_mut().extend(bytes);
                self.ask(&Request::Hello)
            }
            Act::BreakFlash(is_broken) => {
                self.shop.bench.journal.is_broken.set(*is_broken);
                Ok(())
            }
            Act::LimitLine(room) => {
                self.shop.bench.line.room.set(room.map(usize::from));
                if room.is_some() {
                    self.is_deaf = true;
                    return Ok(());
                }
                self.listen_again()
            }
        }
    }
    /// What was said meanwhile is lost or old: both ends begin anew.
    fn listen_again(&mut self) -> Result<(), TestCaseError> {
        self.shop.bench.line.room.set(None);
        self.is_deaf = true;
        self.ask(&Request::BenchEnd)?;
        self.ask(&Request::Acknowledge)?;
        self.shop.bench.heard();
        (self.is_deaf, self.is_bench, self.is_stopped) = (false, false, false);
        Ok(())
    }
    fn upload(&mut self) {
        let bytes = postcard::to_allocvec(&procedure()).expect("a procedure");
        let crc = bandward::link::frame::crc(&bytes);
        self.shop.bench.send(&Request::UploadStart { length: bytes.len() as u16, crc });
        for (piece, offset) in bytes.chunks(LONGEST_PIECE).zip((0..).step_by(LONGEST_PIECE)) {
            self.shop.bench.send(&Request::UploadPiece { offset, bytes: piece });
        }
        self.shop.bench.send(&Request::UploadCommit);
        (0..40).for_each(|_| self.shop.bench.board.poll());
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn whatever_is_done_the_board_fails_safe(acts in prop::collection::vec(act(), 1..60)) {
        let mut guard = Guard { shop: Shop::open(), is_bench: false, is_stopped: false, is_deaf: false, block_end_us: 0 };
        guard.shop.bench.heard();
        for act in &acts {
            guard.act(act)?;
        }
        // And it goes on: with a line and a flash that work, an acknowledged board at rest is calm again.
        guard.listen_again()?;
        guard.shop.bench.journal.is_broken.set(false);
        guard.act(&Act::BenchEnd)?;
        guard.act(&Act::Run(IDLE, 3000))?;
        guard.act(&Act::Acknowledge)?;
        guard.act(&Act::Run(IDLE, 100))?;
        prop_assert!(guard.shop.bench.is_energised(), "{:?}", guard.shop.bench.board.faults());
    }
}
