//! When a record began and of which piece it is: as the board was told, on the link and in the journal.
//!
//! Decides: nothing; seconds since 1970 are counted as the Single UNIX Specification does, without leap seconds.
//! Assumes: the machine of `host_machine`, whose clock begins with 0.
//! Never: lets the board know a date or a serial by itself.

use bandward::flash::journal::{Kept, Stamped};
use bandward::link::{Refusal, Report, Request};
use bandward::record::stamp::{Serial, Stamp};
use bandward_tests::host_board::Said;
use bandward_tests::host_machine::{ARC, Doing, GAS_ON, IDLE, PERIOD_US, Shop, acquisition, procedure};

/// Some day.
const NOON_S: u32 = 1_795_867_200;

/// A board on a machine, and all that it has said.
struct Desk {
    shop: Shop,
    said: Vec<Said>,
}

impl Desk {
    fn open() -> Self {
        Self { shop: Shop::open(), said: Vec::new() }
    }
    fn run(&mut self, seconds: u64, doing: Doing) {
        self.shop.run(seconds, doing);
        self.said.extend(self.shop.bench.heard());
    }
    fn weld(&mut self) {
        for (seconds, doing) in [(2, GAS_ON), (8, ARC), (14, IDLE)] {
            self.run(seconds, doing);
        }
    }
    /// Asks, and returns what is answered or refused.
    fn ask(&mut self, request: &Request<'_>) -> Option<Said> {
        let said = self.shop.bench.ask(request);
        self.said.extend(said.iter().cloned());
        said.into_iter()
            .rfind(|one| matches!(one, Report::Ready { .. } | Report::Refused(_) | Report::BenchDone { .. }))
    }
    fn is_done(&mut self, request: &Request<'_>) -> bool {
        matches!(self.ask(request), Some(Report::Ready { .. } | Report::BenchDone { .. }))
    }
    fn date(&mut self, utc_s: u32) -> bool {
        self.is_done(&Request::SetDate { utc_s })
    }
    fn name(&mut self, serial: &str) -> bool {
        self.is_done(&Request::NameJoint { serial: serial.as_bytes() })
    }
    /// The joint under way ends.
    fn mark(&mut self) {
        assert!(self.is_done(&Request::MarkJoint));
    }
    /// What is kept; the same was told on the link.
    fn kept(&mut self) -> Vec<Short> {
        let stamped = self.shop.bench.read_stamped();
        let told: Vec<_> = self.said.iter().filter_map(told).collect();
        let kept: Vec<_> = stamped.into_iter().map(|(_, stamped)| stamped).collect();
        assert_eq!(told, kept[kept.len() - told.len()..]);
        kept.iter().map(short).collect()
    }
    fn counts(&mut self) -> (u16, u16) {
        (self.shop.bench.input(2030), self.shop.bench.input(2112))
    }
}

fn told(report: &Said) -> Option<Stamped> {
    match *report {
        Report::Band { record, stamp } => Some(Stamped { record: Kept::Band(record), stamp }),
        Report::Joint { record, stamp } => Some(Stamped { record: Kept::Joint(record), stamp }),
        Report::Bench { record, stamp } => Some(Stamped { record, stamp }),
        _ => None,
    }
}

/// What a record says, short: is it a band, is it of a bench test, its joint, its date and its serial.
type Short = (bool, bool, u16, Option<u32>, Option<String>);

fn short(stamped: &Stamped) -> Short {
    let Stamped { record, stamp } = stamped;
    let (is_band, joint) = match record {
        Kept::Band(band) | Kept::BenchBand(band) => (true, band.joint),
        Kept::Joint(joint) | Kept::BenchJoint(joint) => (false, joint.joint),
    };
    let serial = stamp.serial.map(|serial| serial.as_str().to_owned());
    (is_band, record.is_bench(), joint, stamp.began_utc_s, serial)
}

fn serials(kept: &[Short]) -> Vec<Option<&str>> {
    kept.iter().map(|(.., serial)| serial.as_deref()).collect()
}

#[test]
fn nothing_is_known_until_it_is_told() {
    let mut desk = Desk::open();
    desk.weld();
    desk.mark();
    assert_eq!(desk.kept(), [(true, false, 1, None, None), (false, false, 1, None, None)]);
}

/// Told after 2 s, the band begins 4 s after the clock of the board did.
#[test]
fn a_record_says_when_it_began() {
    let mut desk = Desk::open();
    assert_eq!(desk.shop.now_us, 2_000_000);
    assert!(desk.date(NOON_S));
    desk.weld();
    // Whatever is told later is of what comes later; and a joint began with its first band.
    assert!(desk.date(NOON_S + 1_000));
    desk.mark();
    desk.weld();
    let began: Vec<_> =
        desk.kept().iter().map(|(is_band, _, joint, began, _)| (*is_band, *joint, *began)).collect();
    let later_s = NOON_S + 1_000 + 1 + 2;
    let is_near = |found: Option<u32>, utc_s: u32| found.is_some_and(|found| found.abs_diff(utc_s) <= 1);
    let [(true, 1, first), (false, 1, joint), (true, 2, second)] = began[..] else { panic!("{began:?}") };
    assert!(is_near(first, NOON_S + 2), "{first:?}");
    // 1,000 s less the 24 s of the weld were put on.
    assert!(is_near(joint, NOON_S + 2 + 976), "{joint:?}");
    assert!(is_near(second, later_s), "{second:?}");
}

#[test]
fn before_a_sample_no_date_can_be_counted() {
    let mut bench = bandward_tests::host_board::Bench::of(bandward_tests::host_board::Start::default());
    bench.ask(&Request::Hello);
    assert_eq!(bench.ask(&Request::SetDate { utc_s: NOON_S }), [Report::Refused(Refusal::NoSample)]);
}

/// A time of samples that leaps counts nothing on.
#[test]
fn a_clock_that_leaps_knows_no_date_any_more() {
    let mut desk = Desk::open();
    assert!(desk.date(NOON_S));
    desk.shop.now_us += 3_600_000_000;
    desk.run(1, IDLE);
    desk.weld();
    let [(true, false, 1, None, None)] = desk.kept()[..] else { panic!("{:?}", desk.kept()) };
    assert!(desk.date(NOON_S));
    desk.weld();
    assert!(desk.kept()[1].3.is_some(), "told anew");
}

/// Nor is one taken by a clock that lies: it would be counted from the time before, and stay wrong.
#[test]
fn no_date_is_taken_while_the_clock_lies() {
    let mut desk = Desk::open();
    desk.shop.now_us += 3_600_000_000;
    desk.shop.bench.board.sample(&IDLE.at(desk.shop.now_us), false);
    desk.shop.bench.board.poll();
    let refused = desk.ask(&Request::SetDate { utc_s: NOON_S });
    assert_eq!(refused, Some(Report::Refused(Refusal::NoSample)));
    desk.run(2, IDLE);
    assert!(desk.date(NOON_S), "it runs on from there");
    desk.weld();
    let began = desk.kept()[0].3;
    assert!(began.is_some_and(|began| began.abs_diff(NOON_S + 2) <= 1), "{began:?}");
}

/// A serial is of the joint that is welded or comes next, and gone with its end.
#[test]
fn a_serial_is_told_of_its_joint_and_of_no_other() {
    let mut desk = Desk::open();
    assert!(desk.name("TJ-1"));
    desk.weld();
    desk.weld();
    desk.mark();
    desk.weld();
    // Given within the joint it is of what comes after, and of the joint.
    assert!(desk.name("TJ-2"));
    desk.weld();
    desk.mark();
    assert!(desk.name("TJ-3"));
    assert!(desk.name(""), "taken away");
    desk.weld();
    let kept = desk.kept();
    let expected = [Some("TJ-1"), Some("TJ-1"), Some("TJ-1"), None, Some("TJ-2"), Some("TJ-2"), None];
    assert_eq!(serials(&kept), expected);
    assert_eq!(kept.iter().map(|(_, _, joint, ..)| *joint).collect::<Vec<_>>(), [1, 1, 1, 2, 2, 2, 3]);
}

/// Who has marked a joint speaks of that one, and the board still lays the last band of the one before.
#[test]
fn a_joint_that_was_marked_cannot_be_named_before_it_begins() {
    let mut desk = Desk::open();
    assert!(desk.name("TJ-1"));
    desk.run(2, GAS_ON);
    desk.run(8, ARC);
    desk.mark();
    desk.run(1, ARC);
    assert_eq!(desk.ask(&Request::NameJoint { serial: b"TJ-2" }), Some(Report::Refused(Refusal::ArcBurning)));
    desk.run(14, IDLE);
    assert!(desk.name("TJ-2"));
    desk.weld();
    assert_eq!(serials(&desk.kept()), [Some("TJ-1"), Some("TJ-1"), Some("TJ-2")]);
}

#[test]
fn what_is_no_serial_is_refused() {
    let mut desk = Desk::open();
    assert!(desk.name("TJ-1"));
    for text in ["1234567890123456789012345", "TJ\t1", "TJ-\u{d6}"] {
        let refused = desk.ask(&Request::NameJoint { serial: text.as_bytes() });
        assert_eq!(refused, Some(Report::Refused(Refusal::NoSerial)), "{text:?}");
        assert!(Serial::new(text.as_bytes()).is_none());
    }
    desk.weld();
    assert_eq!(serials(&desk.kept()), [Some("TJ-1")], "as it was");
}

/// What is told in a bench test is of its samples; what was told of the machine is not of the test.
#[test]
fn a_bench_test_has_a_date_and_serials_of_its_own() {
    let mut desk = Desk::open();
    assert!(desk.date(NOON_S));
    assert!(desk.name("TJ-1"));
    desk.weld();
    assert!(desk.is_done(&Request::BenchStart(acquisition())));
    let steps = [(2, GAS_ON), (8, ARC), (20, IDLE)];
    let play = |desk: &mut Desk, from: u64| {
        let doings: Vec<Doing> = steps
            .into_iter()
            .flat_map(|(seconds, doing)| {
                std::iter::repeat_n(doing, (seconds * 1_000_000 / PERIOD_US) as usize)
            })
            .collect();
        let samples = (from..).zip(doings).map(|(index, doing)| doing.at(index * PERIOD_US));
        let said = desk.shop.bench.bench_samples(samples);
        desk.said.extend(said);
    };
    play(&mut desk, 1);
    // The date of an old trace, and a serial for what comes next in it.
    assert!(desk.date(86_400));
    desk.mark();
    assert!(desk.name("BENCH"));
    play(&mut desk, 3_001);
    assert!(desk.is_done(&Request::BenchEnd));
    desk.run(1, IDLE);
    desk.weld();
    let kept = desk.kept();
    let of = |stamp: &Short| (stamp.1, stamp.3.map(|began| began < 2 * 86_400), stamp.4.clone());
    let is_real = (false, Some(false), Some("TJ-1".to_owned()));
    let is_old = |serial: Option<&str>| (true, Some(true), serial.map(str::to_owned));
    let expected = [
        is_real.clone(),
        is_real,
        (true, None, None),
        is_old(None),
        is_old(Some("BENCH")),
        is_old(Some("BENCH")),
        (false, Some(false), None),
    ];
    assert_eq!(kept.iter().map(of).collect::<Vec<_>>(), expected);
    // 2 s of gas after the date was told.
    let began = kept[4].3.expect("a date");
    assert!(began.abs_diff(86_400 + 2) <= 1, "{began}");
}

/// The joints of a new procedure are others; the time goes on.
#[test]
fn a_procedure_that_comes_into_force_forgets_the_serial_and_not_the_date() {
    let mut desk = Desk::open();
    assert!(desk.date(NOON_S));
    assert!(desk.name("TJ-1"));
    let said = desk.shop.bench.upload(&procedure());
    desk.said.extend(said);
    desk.shop.acknowledge();
    desk.weld();
    let kept = desk.kept();
    assert_eq!(serials(&kept), [None]);
    assert!(kept[0].3.is_some_and(|began| began >= NOON_S), "{kept:?}");
}

/// After a start nothing is known.
#[test]
fn a_start_forgets_both_and_what_is_kept_keeps_them() {
    let mut desk = Desk::open();
    assert!(desk.date(NOON_S));
    assert!(desk.name("TJ-1"));
    desk.weld();
    let before = desk.kept();
    let (journal, procedure) = desk.shop.bench.flashes();
    let start = bandward_tests::host_board::Start { journal, procedure, ..Default::default() };
    let mut desk = Desk { shop: Shop::by(start), said: Vec::new() };
    desk.weld();
    let after = desk.kept();
    assert_eq!(after[..1], before);
    assert_eq!((after[1].3, after[1].4.clone()), (None, None));
}

/// Before, a band after a bench test had the joint and the band of the one before it, and the controller saw none.
#[test]
fn the_controller_of_the_cell_counts_every_band_and_joint() {
    let mut desk = Desk::open();
    assert_eq!(desk.counts(), (0, 0));
    desk.weld();
    let names = |desk: &mut Desk| (desk.shop.bench.input(2000), desk.shop.bench.input(2001));
    assert_eq!((names(&mut desk), desk.counts()), ((1, 1), (1, 0)));
    assert!(desk.is_done(&Request::BenchStart(acquisition())));
    assert!(desk.is_done(&Request::BenchEnd));
    desk.run(1, IDLE);
    let before = desk.counts();
    desk.weld();
    assert_eq!((names(&mut desk), desk.counts()), ((1, 1), (before.0 + 1, before.1)));
    // Also while its record waits for a flash that refuses, looked at again and again.
    desk.shop.bench.journal.is_broken.set(true);
    desk.weld();
    for _ in 0..3 {
        assert_eq!(desk.counts(), (before.0 + 2, before.1));
        desk.run(2, IDLE);
    }
    desk.shop.bench.journal.is_broken.set(false);
    desk.run(3, IDLE);
    assert_eq!(desk.counts(), (before.0 + 2, before.1));
}

/// The stamp holds nothing by default.
#[test]
fn a_record_of_which_nothing_was_told_says_so() {
    let record = Kept::Joint(bandward::JointRecord::default());
    assert_eq!(Stamped::from(record), Stamped { record, stamp: Stamp { began_utc_s: None, serial: None } });
}
