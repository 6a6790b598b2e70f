//! Made joints through the monitor: a good joint raises nothing, every fault raises its own rule alone.

use bandward::event::{AlarmEvent, Event, Sink};
use bandward::monitor::{Acquisition, Monitor};
use bandward::{BandRecord, Rule, Severity};
use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_sim::process::{Scenario, Targets, Truth};
use std::collections::BTreeSet;

const SEEDS: u64 = 20;

fn targets() -> Targets {
    let text = include_str!("../data/procedures/small-joint.toml");
    Targets::of_file(&ProcedureFile::parse("small-joint.toml", text).expect("a sound procedure"))
}

/// Everything the monitor says.
#[derive(Default)]
struct Heard {
    alarms: Vec<AlarmEvent>,
    bands: Vec<BandRecord>,
}

impl Sink for Heard {
    fn event(&mut self, event: &Event) {
        if let Event::Alarm(alarm) = event {
            self.alarms.push(*alarm);
        }
    }
    fn band(&mut self, record: &BandRecord) {
        self.bands.push(*record);
    }
}

impl Heard {
    /// Rules raised at `severity` or worse.
    fn rules(&self, severity: Severity) -> BTreeSet<&'static str> {
        let worst = self.alarms.iter().filter(|alarm| alarm.severity >= severity);
        worst.map(|alarm| alarm.rule.name()).collect()
    }
}

fn watch(scenario: &Scenario) -> (Heard, Truth) {
    let period_us = (1e6 / scenario.sample_rate_hz).round() as u32;
    let acquisition = Acquisition { period_us, gap_tolerance_us: 500_000, channels: scenario.channels };
    let mut monitor = Monitor::new(scenario.targets.procedure.clone(), acquisition);
    let (mut heard, mut rows) = (Heard::default(), scenario.rows());
    for row in rows.by_ref() {
        monitor.step(&row.to_sample(), &mut heard);
    }
    monitor.finish(&mut heard);
    (heard, rows.truth())
}

#[test]
fn a_good_joint_raises_nothing_at_any_rate() {
    for (rate_hz, seeds) in [(10.0, 5), (50.0, SEEDS), (200.0, 5), (2000.0, 2)] {
        for seed in 0..seeds {
            let (heard, truth) = watch(&Scenario::good(targets(), rate_hz).with_seed(seed));
            assert_eq!(heard.rules(Severity::Advise), BTreeSet::new(), "{rate_hz} Hz, seed {seed}");
            assert_eq!(heard.bands.len(), truth.bands.len());
        }
    }
}

#[test]
fn every_fault_raises_its_own_rule_and_no_other() {
    let mut wrong = Vec::new();
    for rule in Rule::ALL {
        let rate_hz = if rule == Rule::TransferShortCircuits { 2000.0 } else { 50.0 };
        for seed in 0..SEEDS {
            let scenario = Scenario::good(targets(), rate_hz).with_seed(seed).with_default_fault(rule, seed);
            let (heard, truth) = watch(&scenario);
            let raised = heard.rules(Severity::Warn);
            if raised != BTreeSet::from([rule.name()]) {
                let fault = &truth.faults[0];
                wrong.push(format!("{} seed {seed}: {raised:?} {fault:?}", rule.name()));
            }
        }
    }
    assert!(wrong.is_empty(), "{} wrong:\n{}", wrong.len(), wrong.join("\n"));
}
