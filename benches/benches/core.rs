//! The core a sample, by rate, beside a floor that only sums and takes extremes of the same channels.

use bandward::sample::ChannelSet;
use bandward::{Acquisition, BandRecord, Channel, Event, Monitor, Procedure, Sample, Sink};
use bandward_benches::{burning, print_ratio, samples};
use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_sim::replay::sound;
use criterion::{BenchmarkId, Criterion, Throughput, criterion_group};
use std::hint::black_box;
use std::path::Path;

const RATES_HZ: [u32; 4] = [50, 1000, 10_000, 50_000];
const SAMPLES: u64 = 200_000;

struct Nobody;

impl Sink for Nobody {
    fn event(&mut self, event: &Event) {
        black_box(event);
    }
    fn band(&mut self, record: &BandRecord) {
        black_box(record);
    }
}

fn procedure() -> Procedure {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sim/demo/procedure.toml");
    ProcedureFile::read(&path).expect("the procedure of the demo is sound").procedure
}

fn monitor(procedure: &Procedure, period_us: u32, channels: ChannelSet, samples: &[Sample]) {
    let acquisition = Acquisition {
        gap_tolerance_us: 10 * period_us.max(50_000),
        ..Acquisition::every(period_us, channels)
    };
    let mut monitor = Monitor::new(&sound(procedure), acquisition);
    for sample in samples {
        monitor.step(sample, &mut Nobody);
    }
    monitor.finish(&mut Nobody);
    black_box(&monitor);
}

/// Sum, least and most of each channel.
fn floor(channels: &[Channel], samples: &[Sample]) {
    let mut sums = [(0_i64, i32::MAX, i32::MIN); Channel::COUNT];
    for sample in samples {
        for &channel in channels {
            if let Some(raw) = sample.raw(channel) {
                let (sum, least, most) = &mut sums[channel as usize];
                *sum += i64::from(raw);
                *least = raw.min(*least);
                *most = raw.max(*most);
            }
        }
    }
    black_box(sums);
}

fn by_rate(criterion: &mut Criterion) {
    let procedure = procedure();
    let sets = [("current and voltage", &Channel::ALL[..2]), ("all channels", &Channel::ALL[..])];
    for (name, channels) in sets {
        let wired = channels.iter().fold(ChannelSet::EMPTY, |set, &channel| set.with(channel));
        let mut group = criterion.benchmark_group(format!("a sample of {name}"));
        group.throughput(Throughput::Elements(SAMPLES));
        for rate_hz in RATES_HZ {
            let samples = samples(&burning(rate_hz, SAMPLES, channels));
            let watch = || monitor(&procedure, 1_000_000 / rate_hz, wired, &samples);
            group.bench_function(BenchmarkId::new("core", rate_hz), |bencher| bencher.iter(watch));
            let sum = || floor(black_box(channels), &samples);
            group.bench_function(BenchmarkId::new("floor", rate_hz), |bencher| bencher.iter(sum));
            print_ratio(&format!("core over floor, {name}, {rate_hz} Hz"), 4.0, watch, sum);
        }
    }
}

criterion_group! {
    name = benches;
    config = Criterion::default().sample_size(20);
    targets = by_rate
}

fn main() {
    benches();
}
