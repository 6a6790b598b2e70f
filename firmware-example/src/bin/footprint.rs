//! Links everything a board needs of the core and nothing else, to see how large it is and that no
//! panic path is left in it. It is built and looked at, not run for its output.
#![no_std]
#![no_main]

use bandward::blackbox::BlackBox;
use bandward::event::{Event, Sink};
use bandward::link::frame::LONGEST_FRAME;
use bandward::link::hard_limits::HardLimits;
use bandward::link::upload::Upload;
use bandward::link::{Receiver, Report, Request, Sender};
use bandward::{BandRecord, JointRecord, Monitor, Rule, delta};
use bandward_firmware::mps2::exit;
use bandward_firmware::pattern::{Pattern, acquisition};
use core::hint::black_box;
use static_cell::ConstStaticCell;

static MONITOR: ConstStaticCell<Monitor> = ConstStaticCell::new(Monitor::resting());

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
        self.send(&Report::Band(*record));
    }
    fn joint(&mut self, record: &JointRecord) {
        self.send(&Report::Joint(*record));
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
