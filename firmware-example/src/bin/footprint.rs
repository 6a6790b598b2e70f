//! Links everything a board needs of the core, and the Modbus port, to see how large it is and that no
//! panic path is left in it. It is built and looked at, not run for its output.
#![no_std]
#![no_main]

use bandward::blackbox::BlackBox;
use bandward::event::{Event, Sink};
use bandward::flash::journal::Kept;
use bandward::link::frame::LONGEST_FRAME;
use bandward::link::hard_limits::HardLimits;
use bandward::link::upload::Upload;
use bandward::link::{BoardFaults, Counts, MOST_ALARMS, Outputs, Telemetry};
use bandward::link::{Receiver, Report, Request, Sender};
use bandward::record::stamp::Stamp;
use bandward::rule::RuleSet;
use bandward::{BandRecord, JointRecord, Monitor, Outcome, Quantity, Rule, Sample, delta};
use bandward_firmware::modbus::registers::State;
use bandward_firmware::modbus::{self, Clock, Port, Settings};
use bandward_firmware::mps2::exit;
use bandward_firmware::pattern::{Pattern, acquisition};
use core::convert::Infallible;
use core::hint::black_box;
use embedded_io::{ErrorType, Read, ReadReady, Write, WriteReady};
use static_cell::ConstStaticCell;

static MONITOR: ConstStaticCell<Monitor> = ConstStaticCell::new(Monitor::resting());
static MODBUS: ConstStaticCell<modbus::Kept> = ConstStaticCell::new(modbus::Kept::new());

/// A line and a clock of which nothing is known.
struct Unknown;

impl ErrorType for Unknown {
    type Error = Infallible;
}

impl ReadReady for Unknown {
    fn read_ready(&mut self) -> Result<bool, Infallible> {
        Ok(black_box(true))
    }
}

impl Read for Unknown {
    fn read(&mut self, buffer: &mut [u8]) -> Result<usize, Infallible> {
        buffer.fill(black_box(0));
        Ok(black_box(1))
    }
}

impl WriteReady for Unknown {
    fn write_ready(&mut self) -> Result<bool, Infallible> {
        Ok(black_box(true))
    }
}

impl Write for Unknown {
    fn write(&mut self, buffer: &[u8]) -> Result<usize, Infallible> {
        Ok(black_box(buffer).len())
    }
    fn flush(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}

impl Clock for Unknown {
    fn now_us(&mut self) -> u32 {
        black_box(0)
    }
}

/// Takes and answers whatever comes over Modbus.
fn serve(monitor: &Monitor) {
    let Some(kept) = MODBUS.try_take() else { exit(0) };
    let settings = Settings::try_new(black_box(17), black_box(19_200)).ok();
    let mut port = Port::new(Unknown, Unknown, settings, kept);
    port.note(&Kept::Band(black_box(BandRecord::empty())));
    port.note(&Kept::Joint(black_box(JointRecord::empty())));
    while let Some(request) = port.take(black_box(0)) {
        let mut alarms = [None; MOST_ALARMS];
        for (slot, alarm) in alarms.iter_mut().zip(monitor.active_alarms()) {
            *slot = Some(alarm);
        }
        let now = Telemetry {
            readings: black_box(Sample::at(0)),
            judged: Quantity::ALL.map(|quantity| monitor.reading(quantity)),
            phase: monitor.phase(),
            position: monitor.position(),
            alarms,
            returned: black_box(RuleSet::EMPTY),
            faults: black_box(BoardFaults::default()),
            is_bench: black_box(false),
            so_far: monitor.so_far(),
            outputs: black_box(Outputs::default()),
            counts: black_box(Counts::default()),
            dropped: black_box(0),
            black_box_frozen: black_box(false),
        };
        let state = State {
            now: &now,
            procedure: monitor.procedure(),
            shown: black_box(Outcome::NotAsked),
            samples: black_box(0),
            age_us: port.age_us(),
            old_us: black_box(0),
            last: port.last(),
            tally: port.tally(),
        };
        port.answer(request, &state, black_box(request.press().is_none()));
        port.begin_watch(black_box(0));
    }
    black_box(port.is_idle());
}

struct Link {
    sender: Sender,
    frame: [u8; LONGEST_FRAME],
}

impl Link {
    fn send(&mut self, report: &Report<&[u8]>) {
        black_box(self.sender.frame(report, &mut self.frame));
    }
}

impl Sink for Link {
    fn event(&mut self, event: &Event) {
        self.send(&Report::Event(*event));
    }
    fn band(&mut self, record: &BandRecord) {
        self.send(&Report::Band { record: *record, stamp: Stamp::NONE });
    }
    fn joint(&mut self, record: &JointRecord) {
        self.send(&Report::Joint { record: *record, stamp: Stamp::NONE });
    }
}

#[cortex_m_rt::entry]
fn main() -> ! {
    let mut link = Link { sender: Sender::new(), frame: [0; LONGEST_FRAME] };
    let mut receiver = Receiver::new();
    let mut upload = Upload::new();
    let mut black_box_of_samples = BlackBox::<8, 256>::new();
    for byte in black_box([0_u8; 64]) {
        match receiver.push(byte) {
            Some(Request::UploadStart { length, crc }) => drop(black_box(upload.start(length, crc))),
            Some(Request::UploadPiece { offset, bytes }) => drop(black_box(upload.piece(offset, bytes))),
            Some(Request::BenchSamples(block)) => {
                for sample in delta::Decoder::new(block) {
                    let _ = black_box(sample);
                }
            }
            other => drop(black_box(other)),
        }
    }
    if let Ok((procedure, _)) = upload.commit(&HardLimits::NONE) {
        let Some(monitor) = MONITOR.try_take() else { exit(0) };
        monitor.start(&procedure, acquisition());
        for sample in Pattern::new() {
            black_box_of_samples.record(&sample);
            monitor.step(&sample, &mut link);
        }
        monitor.mark_joint(black_box(0), &mut link);
        black_box(monitor.so_far());
        serve(monitor);
        monitor.acknowledge(black_box(0), &mut link);
        monitor.finish(&mut link);
        for rule in Rule::ALL {
            black_box(monitor.not_judged(rule));
        }
    }
    black_box_of_samples.freeze();
    if let Some((number, bytes)) = black_box_of_samples.block_from(black_box(0)) {
        link.send(&Report::BlackBox { number, bytes });
    }
    exit(0)
}
