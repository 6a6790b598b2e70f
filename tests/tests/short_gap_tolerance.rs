//! Samples that come fast may be late after a millisecond: every delay still counts in full.

use bandward::event::{AlarmKind, Event, Sink};
use bandward::{BandRecord, Monitor, Rule};
use bandward_firmware::pattern::{self, Pattern};

/// (rule, time in µs) of every alarm raised.
#[derive(Default)]
struct Raised(Vec<(Rule, u64)>);

impl Sink for Raised {
    fn event(&mut self, event: &Event) {
        if let Event::Alarm(alarm) = event
            && alarm.kind == AlarmKind::Raised
        {
            self.0.push((alarm.rule, alarm.time_us));
        }
    }
    fn band(&mut self, _: &BandRecord) {}
}

#[test]
fn the_faults_of_the_pattern_are_raised_as_soon_as_with_a_long_tolerance() {
    let raised = |gap_tolerance_us| {
        let acquisition = bandward::Acquisition { gap_tolerance_us, ..pattern::acquisition() };
        let mut monitor = Monitor::new(&pattern::PROCEDURE, acquisition);
        let mut raised = Raised::default();
        for sample in Pattern::new() {
            monitor.step(&sample, &mut raised);
        }
        raised.0
    };
    let short = raised(1_000);
    assert_eq!(short, raised(250_000));
    for rule in [Rule::TransferLowVoltage, Rule::GasLow] {
        assert!(short.iter().any(|(found, _)| *found == rule), "{} in {short:?}", rule.name());
    }
}
