//! Made joints, replayed.

use crate::program::run_in;
use bandward::procedure::{Limits, Range};
use bandward::{Acquisition, Procedure, Quantity, Rule};
use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_sim::process::Scenario;
use bandward_sim::process::truth::FaultTruth;
use bandward_sim::replay::{Replay, Replayer};
use bandward_sim::trace::TraceHeader;
use std::path::Path;

/// The procedure of a joint that is welded in less than two minutes.
///
/// # Panics
/// The file is not sound.
pub fn quick_procedure() -> ProcedureFile {
    ProcedureFile::read(&Path::new(env!("CARGO_MANIFEST_DIR")).join("data/procedures/quick-joint.toml"))
        .expect("the procedure is sound")
}

/// The demo joint without its faults, as rows in `made.csv`, and its procedure beside it in `procedure.toml`; the rows.
///
/// # Panics
/// The demo is not there, or cannot be made.
pub fn sound_demo(folder: &Path) -> String {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sim/demo");
    let scenario = std::fs::read_to_string(demo.join("scenario.toml")).expect("shipped");
    let (sound, _) = scenario.split_once("[[fault]]").expect("it has faults");
    std::fs::write(folder.join("scenario.toml"), sound).expect("written");
    std::fs::copy(demo.join("procedure.toml"), folder.join("procedure.toml")).expect("copied");
    assert!(run_in(folder, &["synth", "scenario.toml", "-o", "made.csv"]).status.success());
    std::fs::read_to_string(folder.join("made.csv")).expect("made")
}

/// One that judges the mean voltage alone, against a volt from `low` on (raw).
///
/// # Panics
/// Never: the range is sound.
pub fn of_voltage(low: i32) -> Procedure {
    let allowed = Some(Range { low, high: low + 4096 });
    Procedure::new()
        .with_limits(Quantity::Voltage, Limits { recommended: None, allowed, floor: None })
        .expect("the range is sound")
}

/// The header of a made trace.
pub fn header(scenario: &Scenario) -> TraceHeader {
    let period_us = (1e6 / scenario.sample_rate_hz) as u32;
    TraceHeader {
        path: scenario.name.clone(),
        acquisition: Acquisition {
            gap_tolerance_us: (10 * period_us).max(250_000),
            ..Acquisition::every(period_us, scenario.channels)
        },
        evenly_spaced: scenario.jitter == 0.0,
        unknown_columns: Vec::new(),
        start: None,
    }
}

/// What comes of a made joint, and the faults that were put into it.
pub fn replay(scenario: &Scenario, procedure: &Procedure) -> (Replay, Vec<FaultTruth>) {
    let mut replayer = Replayer::new(procedure, &header(scenario));
    let mut rows = scenario.rows();
    for row in rows.by_ref() {
        replayer.step(&row);
    }
    (replayer.finish(), rows.truth().faults)
}

/// What a fault cannot be without. At constant voltage the current is what the wire feed makes it (common
/// practice, no source), and the same metal over another width is another height.
pub const fn follows(rule: Rule) -> &'static [Rule] {
    match rule {
        Rule::CurrentLow => &[Rule::WireFeedLow, Rule::BandHeightLow],
        Rule::CurrentHigh => &[Rule::WireFeedHigh, Rule::BandHeightHigh],
        Rule::WeaveWidthLow => &[Rule::BandHeightHigh],
        // A weave that stands has no width.
        Rule::WeaveRateLow => &[Rule::WeaveWidthLow, Rule::BandHeightHigh],
        // The dead meter shows zero for some seconds before the arc contradicts it for long enough.
        Rule::SignalImplausible => &[Rule::WireFeedLow],
        Rule::WeaveWidthHigh => &[Rule::BandHeightLow],
        // A band heats the pipe beside it: where the sensor looks, further ahead, a cold pipe is still cold when the next
        // band begins.
        Rule::PreheatLow => &[Rule::InterpassLow],
        _ => &[],
    }
}
