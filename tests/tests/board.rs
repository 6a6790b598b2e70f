//! The board program on an emulated Cortex-M4, over its emulated serial port: it says the same as the
//! host, to the last bit, and takes no harm from what may happen to a link.

use bandward::event::{Event, Sink};
use bandward::flash::journal::{Kept, Stamped};
use bandward::link::upload::crc_of;
use bandward::link::{Request, Sender};
use bandward::procedure::{Limits, Range};
use bandward::{
    Acquisition, BandRecord, Channel, JointRecord, Monitor, Phase, Procedure, Quantity, Rule, Sample,
};
use bandward_sim::demo;
use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_sim::link::recording::{samples as samples_of, write_trace};
use bandward_sim::link::{Link, Report, Session};
use bandward_sim::process::fault::Kind;
use bandward_sim::process::scenario::Scenario;
use bandward_sim::process::targets::Targets;
use bandward_sim::replay::Replayer;
use bandward_sim::replay::sound;
use bandward_sim::trace;
use bandward_tests::emulator::{CORTEX_M4, Missing, Running, build, skip};
use bandward_tests::heard::{acquisition, watch};
use bandward_tests::plain_joint::PlainJoint;
use std::cell::RefCell;
use std::io::Write as _;
use std::path::Path;
use std::rc::Rc;
use std::time::Duration;

/// What was said, as the bytes that say it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
struct Told {
    events: Vec<Vec<u8>>,
    bands: Vec<Vec<u8>>,
    joints: Vec<Vec<u8>>,
    /// Records of bands and joints, in the order they were made.
    kept: Vec<Kept>,
}

impl Sink for Told {
    fn event(&mut self, event: &Event) {
        self.events.push(postcard::to_allocvec(event).unwrap());
    }
    fn band(&mut self, record: &BandRecord) {
        self.bands.push(postcard::to_allocvec(record).unwrap());
        self.kept.push(Kept::Band(*record));
    }
    fn joint(&mut self, record: &JointRecord) {
        self.joints.push(postcard::to_allocvec(record).unwrap());
        self.kept.push(Kept::Joint(*record));
    }
}

impl Told {
    fn by_host(procedure: &Procedure, acquisition: Acquisition, samples: &[Sample]) -> Self {
        let mut told = Self::default();
        let mut monitor = Monitor::new(&sound(procedure), acquisition);
        for sample in samples {
            monitor.step(sample, &mut told);
        }
        monitor.finish(&mut told);
        told
    }
}

type Listener = Box<dyn FnMut(&Report)>;

/// A board that runs, a conversation with it, and what it says meanwhile.
struct Bench {
    running: Running,
    heard: Rc<RefCell<Vec<Report>>>,
    session: Session<Listener>,
}

impl Bench {
    fn start(features: &[&str]) -> Result<Self, Missing> {
        let running = Running::start(CORTEX_M4, &build(CORTEX_M4, "board", features)?)?;
        let heard = Rc::default();
        let session = Self::connect(&running, &heard);
        Ok(Self { running, heard, session })
    }
    fn connect(running: &Running, heard: &Rc<RefCell<Vec<Report>>>) -> Session<Listener> {
        let keep = heard.clone();
        let listener = Box::new(move |report: &Report| keep.borrow_mut().push(report.clone()));
        Session::open(Link::open(&running.address()).unwrap(), listener as Listener).unwrap().0
    }
    /// What the board said since the last time.
    fn told(&self) -> Told {
        let mut told = Told::default();
        for report in self.heard.borrow_mut().drain(..) {
            match report {
                Report::Event(event) => told.event(&event),
                Report::Band { record, .. } | Report::Bench { record: Kept::BenchBand(record), .. } => {
                    told.band(&record);
                }
                Report::Joint { record, .. } | Report::Bench { record: Kept::BenchJoint(record), .. } => {
                    told.joint(&record);
                }
                _ => {}
            }
        }
        told
    }
}

/// Runs a test on a board, or says by name that it was skipped.
fn on_a_board(name: &str, features: &[&str], test: impl FnOnce(Bench)) {
    match Bench::start(features) {
        Ok(bench) => test(bench),
        Err(missing) => skip(name, &missing),
    }
}

fn quick_procedure() -> ProcedureFile {
    ProcedureFile::read(&Path::new(env!("CARGO_MANIFEST_DIR")).join("data/procedures/quick-joint.toml"))
        .expect("the procedure is sound")
}

fn made(file: &ProcedureFile, rule: Option<Rule>) -> (Acquisition, Vec<Sample>) {
    // Slow, since the emulated line carries some thousand samples a second.
    let rate_hz = 10.0;
    let mut scenario = Scenario::good(Targets::of_file(file), rate_hz).with_seed(77);
    if let Some(rule) = rule {
        scenario = scenario.with_default_fault(rule, 77).expect("a fault is made for the rule");
    }
    let period_us = (1e6 / rate_hz) as u32;
    let acquisition = Acquisition {
        gap_tolerance_us: (10 * period_us).max(250_000),
        ..Acquisition::every(period_us, scenario.channels)
    };
    (acquisition, scenario.rows().map(|row| row.to_sample()).collect())
}

/// A joint on which a rule is broken; one from formulas alone where the process model makes no fault for it.
fn broken(file: &ProcedureFile, rule: Rule) -> (Procedure, Acquisition, Vec<Sample>) {
    if Kind::of_rule(rule).is_some() {
        let (acquisition, samples) = made(file, Some(rule));
        return (file.procedure.clone(), acquisition, samples);
    }
    let joint = PlainJoint { rate_hz: 10.0, ..PlainJoint::that_shows(rule) };
    let procedure = PlainJoint::procedure_it_breaks(rule).unwrap_or_default();
    (procedure, acquisition(100_000, &Channel::ALL), joint.samples().collect())
}

/// The samples up to 3 s after the rule's alarm: what comes then is the same for every rule, and the demo joint
/// has the whole of it. All of them where it is not told at so few samples a second.
fn until_told<'a>(
    procedure: &Procedure,
    acquisition: Acquisition,
    samples: &'a [Sample],
    rule: Rule,
) -> &'a [Sample] {
    let heard = watch(procedure.clone(), acquisition, samples.iter().copied()).0;
    let end_us = heard.raised_s(rule).map_or(u64::MAX, |raised_s| (raised_s * 1e6) as u64 + 3_000_000);
    &samples[..samples.partition_point(|sample| sample.time_us <= end_us)]
}

#[test]
fn board_and_host_agree_on_every_rules_fault_to_the_bit() {
    on_a_board("board_and_host_agree_on_every_rules_fault_to_the_bit", &[], |mut bench| {
        let file = quick_procedure();
        let mut events = 0;
        // The board's built-in limits want a whole procedure: rules without a made fault are for the host alone.
        for rule in Rule::ALL.into_iter().filter(|&rule| Kind::of_rule(rule).is_some()) {
            let (procedure, acquisition, samples) = broken(&file, rule);
            let samples = until_told(&procedure, acquisition, &samples, rule);
            bench.session.upload(&procedure).unwrap();
            bench.session.bench(acquisition, samples.iter().copied()).unwrap();
            let expected = Told::by_host(&procedure, acquisition, samples);
            let told = bench.told();
            assert_eq!(told, expected, "{}", rule.name());
            assert!(told.events.len() > 3 && !told.bands.is_empty(), "{} says little", rule.name());
            events += told.events.len();
        }
        assert!(events > 150, "{events}");
    });
}

#[test]
fn board_and_host_agree_on_the_demo_joint_to_the_bit() {
    on_a_board("board_and_host_agree_on_the_demo_joint_to_the_bit", &[], |mut bench| {
        let procedure = demo::procedure().unwrap().procedure;
        let mut trace = demo::trace().unwrap();
        let header = trace.header().clone();
        let acquisition = Acquisition {
            gap_tolerance_us: header.acquisition.gap_tolerance_us,
            ..Acquisition::every(header.acquisition.period_us, header.acquisition.channels)
        };
        let samples: Vec<_> = trace.by_ref().map(|row| row.unwrap().to_sample()).collect();
        bench.session.upload(&procedure).unwrap();
        bench.session.bench(acquisition, samples.iter().copied()).unwrap();
        let told = bench.told();
        assert_eq!(told, Told::by_host(&procedure, acquisition, &samples));
        // The journal has the same bands and after them the joint, each with a number of its own.
        let whole = |kept: Vec<(u32, Option<Stamped>)>| -> Vec<_> {
            let whole = |kept: Option<Stamped>| kept.expect("it is not damaged").record;
            kept.into_iter().map(|(number, kept)| (number, whole(kept))).collect()
        };
        let kept = whole(bench.session.journal(0).unwrap().whole().unwrap());
        assert!(kept.iter().all(|(_, record)| record.is_bench()));
        let records: Vec<_> = kept.iter().map(|(_, record)| record.as_welded()).collect();
        assert_eq!(records, told.kept);
        assert_eq!((told.bands.len(), told.joints.len()), (3, 1));
        assert!(kept.iter().zip(0..).all(|((number, _), expected)| *number == expected));
        let later = whole(bench.session.journal(1).unwrap().whole().unwrap());
        assert_eq!(later, kept[1..]);
    });
}

#[test]
fn the_black_box_holds_the_samples_up_to_the_first_stop() {
    on_a_board("the_black_box_holds_the_samples_up_to_the_first_stop", &[], |mut bench| {
        let file = quick_procedure();
        let (acquisition, samples) = made(&file, Some(Rule::PolarityWrong));
        bench.session.upload(&file.procedure).unwrap();
        // The end of a bench test starts the black box anew: stop short of it.
        let stop_us = first_stop_us(&file.procedure, acquisition, &samples);
        bench.session.bench_start(acquisition).unwrap();
        bench.session.bench_samples(samples.iter().copied()).unwrap();
        let blocks = bench.session.black_box().unwrap().whole().unwrap();
        let (held, malformed) = samples_of(&blocks);
        assert_eq!(malformed, Vec::<u32>::new());
        let end = samples.iter().position(|sample| sample.time_us == stop_us).unwrap() + 1;
        assert!(held.len() > 20);
        assert_eq!(held, samples[end - held.len()..end]);
        assert_a_trace_of_them_replays(&held, &file.procedure, Rule::PolarityWrong);
    });
}

/// Written as a trace and read back they are the same, and a replay finds what the board found.
fn assert_a_trace_of_them_replays(held: &[Sample], procedure: &Procedure, rule: Rule) {
    let directory = tempfile::tempdir().unwrap();
    let path = directory.path().join("black-box.csv");
    write_trace(&path, held).unwrap();
    let mut trace = trace::open(&path, None).unwrap();
    let mut replayer = Replayer::new(procedure, trace.header());
    // A trace begins at 0 s, whatever the board's clock showed.
    let start_us = held[0].time_us;
    let mut rows = 0;
    for (row, sample) in trace.by_ref().zip(held) {
        let row = row.unwrap();
        let mut read = row.to_sample();
        read.time_us += start_us;
        assert_eq!(read, *sample);
        replayer.step(&row);
        rows += 1;
    }
    assert_eq!(rows, held.len());
    assert!(replayer.finish().alarms.iter().any(|alarm| alarm.rule == rule));
}

fn first_stop_us(procedure: &Procedure, acquisition: Acquisition, samples: &[Sample]) -> u64 {
    struct FirstStop(Option<u64>);
    impl Sink for FirstStop {
        fn event(&mut self, event: &Event) {
            if let Event::Alarm(alarm) = event
                && alarm.severity == bandward::Severity::Stop
            {
                self.0.get_or_insert(alarm.time_us);
            }
        }
        fn band(&mut self, _: &BandRecord) {}
    }
    let mut first = FirstStop(None);
    let mut monitor = Monitor::new(&sound(procedure), acquisition);
    for sample in samples {
        monitor.step(sample, &mut first);
    }
    first.0.expect("a stop")
}

fn voltage_range(low_v: i32, high_v: i32) -> Procedure {
    let bits = Quantity::Voltage.fraction_bits();
    let allowed = Some(Range { low: low_v << bits, high: high_v << bits });
    // The board wants a floor of 10 V at least.
    let floor = Some(low_v.min(10) << bits);
    Procedure::new().with_limits(Quantity::Voltage, Limits { recommended: None, allowed, floor }).unwrap()
}

#[test]
fn a_procedure_beyond_the_built_in_limits_is_refused() {
    on_a_board("a_procedure_beyond_the_built_in_limits_is_refused", &[], |mut bench| {
        bench.session.upload(&voltage_range(20, 30)).unwrap();
        for (low, high) in [(14, 30), (20, 46), (0, 100)] {
            let refused = bench.session.upload(&voltage_range(low, high)).unwrap_err().to_string();
            assert!(
                refused.contains("[voltage] must give an allowed range within the limits built into"),
                "{refused}"
            );
        }
        drop(bench.session);
        assert_eq!(reopened(&bench.running).1, crc_of(&voltage_range(20, 30)), "the one before is in force");
    });
}

/// A new conversation over a new connection, and the CRC of the procedure in force.
fn reopened(running: &Running) -> (Session<impl FnMut(&Report)>, u32) {
    Session::open(Link::open(&running.address()).unwrap(), |_: &Report| ()).unwrap()
}

#[test]
fn a_procedure_is_refused_while_the_arc_burns() {
    on_a_board("a_procedure_is_refused_while_the_arc_burns", &[], |mut bench| {
        let file = quick_procedure();
        bench.session.upload(&file.procedure).unwrap();
        let (acquisition, samples) = made(&file, None);
        let burning = samples.iter().take_while(|sample| sample.time_us < 20_000_000).copied();
        bench.session.bench_start(acquisition).unwrap();
        bench.session.bench_samples(burning).unwrap();
        let phases: Vec<_> = bench.heard.borrow().iter().filter_map(phase).collect();
        assert!(matches!(phases.last(), Some(Phase::Arc)), "{phases:?}");
        let refused = bench.session.upload(&voltage_range(20, 30)).unwrap_err().to_string();
        assert!(refused.contains("arc burns"), "{refused}");
    });
}

fn phase(report: &Report) -> Option<Phase> {
    match report {
        Report::Event(Event::Phase { phase, .. }) => Some(*phase),
        _ => None,
    }
}

/// The connection is lost in the middle of a frame, in the middle of an upload; garbage follows. The
/// old procedure stays in force and the board goes on.
#[test]
fn a_link_lost_in_the_middle_of_an_upload_harms_nothing() {
    on_a_board("a_link_lost_in_the_middle_of_an_upload_harms_nothing", &[], |mut bench| {
        bench.session.upload(&voltage_range(20, 30)).unwrap();
        drop(bench.session);
        let before = reopened(&bench.running).1;
        let path = bench.running.address();
        let path = path.strip_prefix("unix:").unwrap();
        let mut sender = Sender::new();
        let mut line = Vec::new();
        let bytes = postcard::to_allocvec(&voltage_range(21, 31)).unwrap();
        let start = Request::UploadStart { length: bytes.len() as u16, crc: 0 };
        for request in [start, Request::UploadPiece { offset: 0, bytes: &bytes[..200] }] {
            line.extend_from_slice(sender.frame(&request, &mut [0; _]).unwrap());
        }
        for cut in [line.len() - 100, line.len() - 1, 3] {
            let mut socket = std::os::unix::net::UnixStream::connect(path).unwrap();
            socket.write_all(&line[..cut]).unwrap();
            socket.write_all(&[0xff; 2000]).unwrap();
            // Give the emulator time to hand over what was written before the line goes away.
            std::thread::sleep(Duration::from_millis(300));
            drop(socket);
            assert_eq!(reopened(&bench.running).1, before, "cut after {cut} bytes");
        }
        let (mut session, _) = reopened(&bench.running);
        session.upload(&voltage_range(22, 32)).unwrap();
    });
}

/// What the board logs in the defmt format, decoded with the decoder of the defmt project: a line for
/// every event, every band and every joint.
#[test]
fn the_log_tells_every_event() {
    on_a_board("the_log_tells_every_event", &["defmt"], |mut bench| {
        let file = quick_procedure();
        let (acquisition, samples) = made(&file, Some(Rule::GasLow));
        bench.session.upload(&file.procedure).unwrap();
        bench.session.bench(acquisition, samples.iter().copied()).unwrap();
        let program = build(CORTEX_M4, "board", &["defmt"]).expect("it was built before");
        let table = defmt_decoder::Table::parse(&std::fs::read(program).unwrap()).unwrap().unwrap();
        let mut decoder = table.new_stream_decoder();
        decoder.received(&bench.running.log());
        let mut lines = Vec::new();
        while let Ok(frame) = decoder.decode() {
            lines.push(frame.display_message().to_string());
        }
        let heard = bench.heard.take();
        let said: Vec<_> = heard.iter().filter_map(expected_words).collect();
        assert_eq!(lines.len(), said.len(), "{lines:#?}");
        for (line, words) in lines.iter().zip(&said) {
            assert!(words.iter().all(|word| line.contains(word)), "{words:?} in {line}");
        }
        assert!(lines.iter().any(|line| line.contains("GasLow")), "{lines:#?}");
    });
}

/// What must stand in the line about a report, if there is one.
fn expected_words(report: &Report) -> Option<Vec<String>> {
    match report {
        Report::Event(Event::Phase { time_us, phase, band }) => {
            Some(vec![format!("time_us: {time_us}"), format!("{phase:?}"), format!("band: {band}")])
        }
        Report::Event(Event::Alarm(alarm)) => Some(vec![
            format!("time_us: {}", alarm.time_us),
            format!("{:?}", alarm.kind),
            format!("{:?}", alarm.rule),
            format!("{:?}", alarm.severity),
            format!("worst: {}", alarm.worst),
        ]),
        Report::Band { record, .. } => {
            Some(vec![format!("band {}", record.band), format!("{} samples", record.samples)])
        }
        Report::Joint { record, .. } => Some(vec![
            format!("joint {}", record.joint),
            format!("{} bands", record.bands),
            format!("{:?}", record.outcome),
        ]),
        _ => None,
    }
}
