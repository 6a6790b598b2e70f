//! The one place where the second generator's joints meet the monitor.
//!
//! Decides: what is kept of a replay.

pub use bandward::Outcome as Signed;
use bandward::sample::ChannelSet;
use bandward::{Acquisition, Severity};
use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_sim::raw::seconds;
use bandward_sim::replay::{Replay, Replayer};
use bandward_sim::trace::{Row, TraceHeader};
use std::path::Path;

/// One alarm.
#[derive(Clone, Copy, Debug)]
pub struct Told {
    /// The rule's name.
    pub rule: &'static str,
    /// Its worst severity.
    pub severity: Severity,
    /// When it reached that severity, s.
    pub reached_s: f64,
}

/// What the monitor made of a trace.
#[derive(Clone, Debug)]
pub struct Watched {
    /// How it signed.
    pub signed: Signed,
    /// Its alarms.
    pub alarms: Vec<Told>,
    /// Its causes and their scores, the likeliest first.
    pub causes: Vec<(&'static str, f64)>,
    /// Bands it counted.
    pub bands: usize,
}

/// The second shop's procedure.
///
/// # Panics
/// The file is not sound.
pub fn procedure() -> ProcedureFile {
    ProcedureFile::read(&Path::new(env!("CARGO_MANIFEST_DIR")).join("data/second.procedure.toml"))
        .expect("the procedure is sound")
}

/// Watches rows logged at this rate.
pub fn watch(
    procedure: &ProcedureFile,
    rate_hz: f64,
    channels: ChannelSet,
    rows: impl Iterator<Item = Row>,
) -> Watched {
    let period_us = (1e6 / rate_hz) as u32;
    let header = TraceHeader {
        path: "second generator".to_owned(),
        acquisition: Acquisition {
            gap_tolerance_us: (10 * period_us).max(250_000),
            ..Acquisition::every(period_us, channels)
        },
        evenly_spaced: false,
        unknown_columns: Vec::new(),
        start: None,
    };
    let mut replayer = Replayer::new(&procedure.procedure, &header);
    for row in rows {
        replayer.step(&row);
    }
    kept(&replayer.finish())
}

fn kept(replay: &Replay) -> Watched {
    let alarms = replay.alarms.iter().map(|alarm| Told {
        rule: alarm.rule.name(),
        severity: alarm.severity,
        reached_s: seconds(
            alarm.reached_us[Severity::Warn as usize..]
                .iter()
                .flatten()
                .copied()
                .min()
                .unwrap_or(alarm.worst_us),
        ),
    });
    Watched {
        signed: replay.outcome(),
        alarms: alarms.collect(),
        causes: replay.findings.iter().map(|finding| (finding.cause, finding.score)).collect(),
        bands: replay.bands.len(),
    }
}
