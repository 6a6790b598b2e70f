//! A thousand settings over ten minutes at 10 kHz: through a sweep, beside each through the monitor.
//!
//! Prints the seconds of one pass through the monitor, those of the sweep, and how many times as long
//! a thousand passes would take. Both work on rows in memory, so that reading a file favours neither.
//! With `RAYON_NUM_THREADS=1` the sweep has one core, as the pass has.

use bandward::{Acquisition, Severity};
use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_sim::process::Kind;
use bandward_sim::process::scenario::Scenario;
use bandward_sim::process::targets::Targets;
use bandward_sim::trace::{Row, TraceHeader};
use bandward_sim::trial::marks::Marks;
use bandward_sim::trial::pass::{Pass, TraceScore};
use bandward_sim::trial::plan::Plan;
use bandward_sim::trial::tunable::{Tunable, with_values};
use std::path::Path;
use std::time::Instant;

const RATE_HZ: f64 = 10_000.0;
const LENGTH_US: u64 = 600_000_000;

struct Made {
    header: TraceHeader,
    marks: Marks,
    joint: Vec<Row>,
    joint_us: u64,
}

impl Made {
    /// One joint after the other, until ten minutes are over.
    fn rows(&self) -> impl Iterator<Item = Row> + '_ {
        let starts_us = (0..LENGTH_US).step_by(self.joint_us as usize);
        let rows = starts_us.flat_map(|start_us| {
            self.joint.iter().map(move |row| Row { time_us: row.time_us + start_us, ..*row })
        });
        rows.take_while(|row| row.time_us < LENGTH_US)
    }
    fn pass(&self, plan: &Plan) -> (TraceScore, f64) {
        let start = Instant::now();
        let mut pass = Pass::new(plan, &self.header, &self.marks, Severity::Warn);
        for row in self.rows() {
            pass.step(&row);
        }
        (pass.finish(), start.elapsed().as_secs_f64())
    }
}

fn made(file: &ProcedureFile) -> Made {
    let mut scenario = Scenario::good(Targets::of_file(file), RATE_HZ).with_seed(3);
    for kind in [Kind::VoltageSetLow, Kind::SourceSagging] {
        let fault = scenario.default_fault(kind, 3);
        scenario.faults.push(fault);
    }
    let (joint, truth) = scenario.make();
    let text = serde_json::to_string(&truth).expect("a truth can be written");
    let header = TraceHeader {
        path: String::new(),
        acquisition: Acquisition { gap_tolerance_us: 250_000, ..Acquisition::every(100, scenario.channels) },
        evenly_spaced: true,
        unknown_columns: Vec::new(),
        start: None,
    };
    let marks = Marks::parse("made", &text, 5.0, 180.0).expect("it is sound");
    let joint_us = joint.last().map_or(1, |row| row.time_us + 100);
    Made { header, marks, joint, joint_us }
}

fn main() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/data/procedures/quick-joint.toml");
    let file = ProcedureFile::read(&path).expect("the procedure is sound");
    let made = made(&file);
    let (_, once_s) = made.pass(&Plan::of(&file.procedure));
    println!("one setting through the monitor: {once_s:.3} s for {} rows", made.rows().count());
    for (rule, allowed) in [("voltage-low", 29.0), ("current-low", 280.0)] {
        let tunable = |key| Tunable::parse(&format!("{rule}.{key}")).expect("a tunable");
        let (limit, deadband, delay) = (tunable("allowed"), tunable("deadband"), tunable("on_delay"));
        let mut plan = Plan::of(&file.procedure);
        for number in 0..1000 {
            let [first, second, third] = [number % 10, number / 10 % 10, number / 100].map(f64::from);
            let values = [
                (limit, allowed + 0.1 * first),
                (deadband, 0.05 + 0.1 * second),
                (delay, 0.05 + 0.2 * third),
            ];
            plan.add(&values).expect("the values fit");
        }
        let (score, sweep_s) = made.pass(&plan);
        // Not only fast: the last setting, from scratch.
        let point = plan.points.last().expect("a thousand points");
        let changed = with_values(&file.procedure, &point.values).expect("the values fit");
        let (scratch, _) = made.pass(&Plan::of(&changed));
        let own = plan.lanes[*point.lanes.last().expect("it has a lane")].1.rule() as usize;
        assert_eq!(scratch.own[0][own], score.lanes[*point.lanes.last().expect("it has a lane")]);
        println!(
            "{} settings of {rule}, {} lanes: {sweep_s:.3} s; one by one {:.0} times as long",
            plan.points.len(),
            plan.lanes.len(),
            1000.0 * once_s / sweep_s
        );
    }
}
