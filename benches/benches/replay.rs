//! Replay from CSV beside parsing alone: the project's own reader, and the crate `csv` with each cell
//! made a float.

use bandward::Channel;
use bandward::sample::ChannelSet;
use bandward_benches::{beside_csv, burning, print_ratio};
use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_sim::replay::Replayer;
use bandward_sim::trace::{self, TraceWriter};
use criterion::{Criterion, Throughput, criterion_group};
use std::hint::black_box;
use std::path::Path;

const ROWS: u64 = 200_000;

fn replay(path: &Path, procedure: &ProcedureFile) {
    let reader = trace::open(path, None).expect("the trace is sound");
    let mut replayer = Replayer::new(&procedure.procedure, reader.header());
    for row in reader {
        replayer.step(&row.expect("the row is sound"));
    }
    black_box(replayer.finish());
}

fn from_csv(criterion: &mut Criterion) {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sim/demo/procedure.toml");
    let procedure = ProcedureFile::read(&demo).expect("the procedure of the demo is sound");
    let folder = tempfile::tempdir().expect("a folder for the trace");
    for rate_hz in [50, 2000] {
        let path = folder.path().join(format!("{rate_hz}-hz.csv"));
        let mut writer = TraceWriter::create(&path, ChannelSet::ALL).expect("the trace can be written");
        for row in burning(rate_hz, ROWS, &Channel::ALL) {
            writer.write(&row).expect("the row can be written");
        }
        writer.finish().expect("the trace can be written");
        let mut group = criterion.benchmark_group(format!("a row of CSV, all channels, {rate_hz} Hz"));
        group.throughput(Throughput::Elements(ROWS));
        group.bench_function("replay", |bencher| bencher.iter(|| replay(&path, &procedure)));
        group.bench_function("own reader alone", |bencher| bencher.iter(|| beside_csv::read(&path)));
        group.bench_function("csv alone", |bencher| bencher.iter(|| beside_csv::read_with_csv(&path)));
        let watch = || replay(&path, &procedure);
        print_ratio(&format!("replay over own reader, {rate_hz} Hz"), 1.3, watch, || beside_csv::read(&path));
        print_ratio(&format!("replay over csv, {rate_hz} Hz"), 1.3, watch, || {
            beside_csv::read_with_csv(&path)
        });
    }
}

criterion_group! {
    name = benches;
    config = Criterion::default().sample_size(10);
    targets = from_csv
}

fn main() {
    benches();
}
