//! What was wrong in a trace, and when: the truth an alarm is held against.
//!
//! Decides: which alarm belongs to which fault.
//! Assumes: times as `replay` shows them.
//! Never: looks at a reading.
//!
//! An alarm belongs to a fault when it is of a rule the fault names (and of its channel, where the fault
//! names one), or a stop about the same quantity, and became active from the start of the fault to a grace
//! after its end. The first such alarm finds the fault; the next ones repeat it. It goes to the faults in whose
//! own span its cause began or it rang before any in whose grace it rang. An alarm within another
//! fault's time stands beside that fault: it may be its consequence, and is neither hit nor false. For a
//! stated time after a fault the same goes for what `consequences` says it brings. Every other
//! alarm is false. An alarm that stood already when a fault began finds it at once; it is a false alarm as well
//! where its cause began more than [`LEAD_US`] before the fault.

use super::consequences::{follows, stands_for};
use bandward::rule::RuleSet;
use bandward::{Channel, Rule, Severity};

/// An alarm whose cause began so long before a fault, or less, and that stood when it began, was about it: a
/// mark by hand begins late, and a value is outside before a person sees it. Common practice, no source.
pub const LEAD_US: u64 = 10_000_000;

/// One fault.
#[derive(Clone, Debug, PartialEq)]
pub struct Mark {
    /// The rules any of which should raise; it is booked on the one that does, missed on the first.
    pub rules: Vec<Rule>,
    /// What it was, in a word.
    pub kind: Option<String>,
    /// The channel, where it is one's instrument.
    pub channel: Option<Channel>,
    /// The least alarm that finds it, where one is named.
    pub severity: Option<Severity>,
    /// From, µs.
    pub start_us: u64,
    /// To, µs.
    pub end_us: u64,
    /// From when on it could be seen: delays count from here, µs.
    pub outside_from_us: u64,
}

impl Mark {
    /// The rule it is booked on where it is missed.
    pub fn lead(&self) -> Option<Rule> {
        self.rules.first().copied()
    }
    /// The rules whose alarms may find it.
    pub fn answering(&self) -> RuleSet {
        let answers =
            |rule: &Rule| self.rules.contains(rule) || self.rules.iter().any(|&own| stands_for(*rule, own));
        Rule::ALL.into_iter().filter(answers).fold(RuleSet::EMPTY, RuleSet::with)
    }
    /// Did the cause of the alarm begin in its own span, did the alarm ring in it, and which began last.
    fn nearness(&self, alarm: &Raised) -> (bool, bool, u64) {
        let span = self.start_us..=self.end_us;
        (span.contains(&alarm.onset_us), span.contains(&alarm.time_us), self.start_us)
    }
    /// Does the alarm tell of it, whenever it rang?
    pub fn is_found_by(&self, alarm: &Raised) -> bool {
        let same_channel = self.channel.is_none() || alarm.channel.is_none() || self.channel == alarm.channel;
        let is_own = self.rules.contains(&alarm.rule) && same_channel;
        let is_stop = alarm.severity == Severity::Stop;
        let is_worse = is_stop && self.rules.iter().any(|&own| stands_for(alarm.rule, own));
        (is_own || is_worse) && self.severity.is_none_or(|least| alarm.severity >= least)
    }
}

/// An alarm as it becomes active.
#[derive(Clone, Copy, Debug)]
pub struct Raised {
    /// The rule.
    pub rule: Rule,
    /// The channel, where it is about one.
    pub channel: Option<Channel>,
    /// How bad.
    pub severity: Severity,
    /// When its cause began, µs.
    pub onset_us: u64,
    /// When, µs.
    pub time_us: u64,
}

/// All faults of one trace.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Marks {
    /// Name of the scenario, or of the kind of trace.
    pub scenario: String,
    /// Seed, for a made one.
    pub seed: u64,
    /// The faults.
    pub faults: Vec<Mark>,
    /// How long after its end an alarm may still belong to a fault, µs.
    pub grace_us: u64,
    /// How long after its end a fault may still bring other alarms, µs.
    pub consequences_us: u64,
}

/// What an alarm is worth.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AlarmClass {
    /// It finds the fault with this place in [`Marks::faults`], and maybe others: see [`Marks::hits`].
    Hit(usize),
    /// It repeats what was found of this fault.
    Repeat(usize),
    /// It stands beside a fault of another rule.
    Beside,
    /// It follows from a fault that is over.
    Late,
    /// Nothing was wrong.
    False,
}

impl Marks {
    /// What an alarm is worth; `is_found` tells which faults have been found.
    pub fn verdict(&self, alarm: &Raised, is_found: impl Fn(usize) -> bool) -> AlarmClass {
        let covering = self.faults.iter().enumerate().filter(|(_, mark)| self.covers(mark, alarm.time_us));
        let (own, others): (Vec<_>, Vec<_>) = covering.partition(|(_, mark)| mark.is_found_by(alarm));
        if let Some(&index) = self.hits(alarm, is_found).first() {
            return AlarmClass::Hit(index);
        }
        match own.into_iter().max_by_key(|(_, mark)| mark.nearness(alarm)) {
            Some((index, _)) => AlarmClass::Repeat(index),
            None if !others.is_empty() => AlarmClass::Beside,
            None if self.is_consequence(alarm.rule, alarm.onset_us, alarm.time_us) => AlarmClass::Late,
            None => AlarmClass::False,
        }
    }
    /// The faults that an alarm finds, the nearest first: every one in whose own span its cause began or it
    /// rang. Where there is none, and it is no repeat about one that was found so, the one that is nearest
    /// among those in whose grace it rang. Their order among the marks does not matter.
    pub fn hits(&self, alarm: &Raised, is_found: impl Fn(usize) -> bool) -> Vec<usize> {
        let own = self.faults.iter().enumerate();
        let own = own.filter(|(_, mark)| self.covers(mark, alarm.time_us) && mark.is_found_by(alarm));
        let mut own: Vec<_> = own.map(|(index, mark)| (mark.nearness(alarm), index)).collect();
        own.sort_unstable_by_key(|(nearness, _)| std::cmp::Reverse(*nearness));
        let is_within = |nearness: &(bool, bool, u64)| nearness.0 || nearness.1;
        let mut within = own.iter().filter(|(nearness, _)| is_within(nearness)).peekable();
        if within.peek().is_some() {
            return within.map(|(_, index)| *index).filter(|&index| !is_found(index)).collect();
        }
        own.iter().map(|(_, index)| *index).find(|&index| !is_found(index)).into_iter().collect()
    }
    /// The fault that asks for a worse alarm than counts otherwise, which this one has become.
    pub fn found_as_it_worsens(&self, alarm: &Raised, is_found: impl Fn(usize) -> bool) -> Option<usize> {
        let finds = |(index, mark): &(usize, &Mark)| {
            mark.severity == Some(alarm.severity)
                && self.covers(mark, alarm.time_us)
                && mark.is_found_by(alarm)
                && !is_found(*index)
        };
        let found = self.faults.iter().enumerate().filter(finds);
        found.max_by_key(|(_, mark)| mark.nearness(alarm)).map(|(index, _)| index)
    }
    /// May an alarm about nothing so far turn out to be about a fault that begins soon?
    pub fn may_precede(&self, alarm: &Raised) -> bool {
        let alarm = Raised { severity: Severity::Stop, ..*alarm };
        let soon = alarm.time_us.saturating_add(1)..=alarm.onset_us.saturating_add(LEAD_US);
        self.faults.iter().any(|mark| soon.contains(&mark.start_us) && mark.is_found_by(&alarm))
    }
    /// Is nothing wrong at `time_us`, nor was within the grace before, and does nothing that is over bear
    /// on `rule`?
    pub fn is_sound(&self, rule: Rule, time_us: u64) -> bool {
        !self.faults.iter().any(|mark| self.covers(mark, time_us))
            && !self.is_consequence(rule, time_us, time_us)
    }
    /// Is a fault, or its grace, on at `time_us`?
    pub fn covers(&self, mark: &Mark, time_us: u64) -> bool {
        (mark.start_us..=self.deadline_us(mark)).contains(&time_us)
    }
    /// Until when a fault may be found, µs.
    pub const fn deadline_us(&self, mark: &Mark) -> u64 {
        mark.end_us.saturating_add(self.grace_us)
    }
    /// What began before a fault is no consequence of it.
    fn is_consequence(&self, rule: Rule, onset_us: u64, time_us: u64) -> bool {
        self.faults.iter().any(|mark| {
            let until_us = mark.end_us.saturating_add(self.consequences_us);
            (mark.start_us..=until_us).contains(&time_us)
                && onset_us >= mark.start_us
                && mark.rules.iter().any(|&fault| follows(rule, fault, mark.channel))
        })
    }
    /// Time from `first_us` to `last_us` in which nothing was wrong, µs.
    pub fn sound_us(&self, first_us: u64, last_us: u64) -> u64 {
        let mut spans: Vec<_> = self
            .faults
            .iter()
            .map(|mark| (mark.start_us, mark.end_us.saturating_add(self.grace_us).min(last_us)))
            .collect();
        spans.sort_unstable();
        let (mut sound_us, mut reached_us) = (0, first_us);
        for (start_us, end_us) in spans {
            sound_us += start_us.saturating_sub(reached_us);
            reached_us = reached_us.max(end_us);
        }
        sound_us + last_us.saturating_sub(reached_us)
    }
}

/// Seconds as microseconds.
pub(super) fn micros(seconds: f64) -> u64 {
    (seconds * 1e6).round() as u64
}

#[cfg(test)]
mod tests {
    use super::*;

    fn marks() -> Marks {
        let text = r#"{ "faults": [
            { "rule": "gas-low", "start_s": 10.0, "end_s": 20.0, "outside_from_s": 12.0 },
            { "rule": "signal-missing", "channel": "gas", "start_s": 15.0, "end_s": 18.0 },
            { "rule": null, "kind": "wind", "start_s": 40.0, "end_s": 50.0 }
        ] }"#;
        Marks::parse("x", text, 5.0, 180.0).expect("it is sound")
    }

    #[test]
    fn an_alarm_is_worth_what_its_time_and_rule_say() {
        let marks = marks();
        let raised = |rule, channel, time_s: f64| {
            let severity = rule_severity(rule);
            Raised { rule, channel, severity, onset_us: micros(time_s), time_us: micros(time_s) }
        };
        let verdict = |rule, channel, time_s| marks.verdict(&raised(rule, channel, time_s), |_| false);
        assert_eq!(verdict(Rule::GasLow, None, 9.999_999), AlarmClass::False);
        assert_eq!(verdict(Rule::GasLow, None, 10.0), AlarmClass::Hit(0));
        assert_eq!(verdict(Rule::GasLow, None, 25.0), AlarmClass::Hit(0));
        assert_eq!(verdict(Rule::GasLow, None, 25.000_001), AlarmClass::False);
        assert_eq!(verdict(Rule::SignalMissing, Some(Channel::Gas), 16.0), AlarmClass::Hit(1));
        assert_eq!(verdict(Rule::SignalMissing, Some(Channel::Voltage), 16.0), AlarmClass::Beside);
        assert_eq!(verdict(Rule::GasHigh, None, 16.0), AlarmClass::Beside);
        assert_eq!(verdict(Rule::VoltageLow, None, 45.0), AlarmClass::Beside);
        let found = marks.verdict(&raised(Rule::GasLow, None, 16.0), |index| index == 0);
        assert_eq!(found, AlarmClass::Repeat(0));
        // The gas that ran out is short before the next band as well; three minutes later it is not.
        assert_eq!(verdict(Rule::GasPreflow, None, 70.0), AlarmClass::Late);
        assert_eq!(verdict(Rule::GasPreflow, None, 201.0), AlarmClass::False);
        assert_eq!(verdict(Rule::OverlapShort, None, 70.0), AlarmClass::False);
        // Its cause was there before the fault.
        let before = Raised { onset_us: micros(9.9), ..raised(Rule::GasPreflow, None, 70.0) };
        assert_eq!(marks.verdict(&before, |_| false), AlarmClass::False);
    }

    fn rule_severity(rule: Rule) -> Severity {
        rule.default_setting().severity
    }

    #[test]
    fn a_stop_about_the_same_quantity_finds_a_milder_fault_and_no_milder_alarm_a_stop() {
        let text = r#"{ "faults": [
            { "rule": "voltage-low", "start_s": 10.0, "end_s": 20.0 },
            { "rule": "transfer-low-voltage", "start_s": 40.0, "end_s": 50.0 },
            { "rule": "gas-low", "severity": "stop", "start_s": 60.0, "end_s": 70.0 },
            { "rules": ["current-low", "wire-feed-low"], "start_s": 80.0, "end_s": 90.0 },
            { "cause": "gas-leak", "start_s": 100.0, "end_s": 110.0 }
        ] }"#;
        let marks = Marks::parse("x", text, 5.0, 0.0).expect("it is sound");
        let verdict = |rule, severity, time_s: f64| {
            let alarm =
                Raised { rule, channel: None, severity, onset_us: micros(time_s), time_us: micros(time_s) };
            (marks.verdict(&alarm, |_| false), marks.found_as_it_worsens(&alarm, |_| false))
        };
        let (warn, stop) = (Severity::Warn, Severity::Stop);
        assert_eq!(verdict(Rule::TransferLowVoltage, stop, 12.0).0, AlarmClass::Hit(0));
        assert_eq!(verdict(Rule::VoltageLow, warn, 42.0).0, AlarmClass::Beside);
        assert_eq!(verdict(Rule::GasLow, warn, 62.0), (AlarmClass::Beside, None));
        assert_eq!(verdict(Rule::GasLow, stop, 62.0), (AlarmClass::Hit(2), Some(2)));
        assert_eq!(verdict(Rule::WireFeedLow, warn, 82.0).0, AlarmClass::Hit(3));
        assert_eq!(verdict(Rule::CurrentLow, warn, 82.0).0, AlarmClass::Hit(3));
        assert_eq!(verdict(Rule::GasLow, warn, 102.0).0, AlarmClass::Hit(4));
        assert_eq!(marks.faults[3].lead(), Some(Rule::CurrentLow));
    }

    #[test]
    fn an_alarm_goes_to_the_fault_in_whose_span_its_cause_began_in_any_order() {
        let near = [
            "{ \"rule\": \"gas-low\", \"start_s\": 30, \"end_s\": 35 }",
            "{ \"rule\": \"gas-low\", \"start_s\": 40, \"end_s\": 46 }",
        ];
        let raised = |onset_s, time_s| Raised {
            rule: Rule::GasLow,
            channel: None,
            severity: Severity::Warn,
            onset_us: micros(onset_s),
            time_us: micros(time_s),
        };
        for order in [[0, 1], [1, 0]] {
            let text = format!("{{ \"faults\": [{}, {}] }}", near[order[0]], near[order[1]]);
            let marks = Marks::parse("x", &text, 8.0, 0.0).expect("it is sound");
            let place = |mark: usize| order.iter().position(|own| *own == mark).expect("one of two");
            let verdict = |onset_s, time_s| marks.verdict(&raised(onset_s, time_s), |_| false);
            assert_eq!(verdict(41.0, 41.5), AlarmClass::Hit(place(1)), "in the grace of the first");
            assert_eq!(verdict(34.9, 36.0), AlarmClass::Hit(place(0)));
            assert_eq!(verdict(36.0, 37.0), AlarmClass::Hit(place(0)));
            let second = |_: usize| true;
            assert_eq!(marks.verdict(&raised(41.0, 41.5), second), AlarmClass::Repeat(place(1)));
            // One more about the second, whose own it is, leaves the first missed.
            let is_second = |index| index == place(1);
            assert_eq!(marks.verdict(&raised(42.5, 42.9), is_second), AlarmClass::Repeat(place(1)));
        }
        let text = format!("{{ \"faults\": [{}, {}] }}", near[0], near[0].replace("35", "50"));
        let marks = Marks::parse("x", &text, 8.0, 0.0).expect("it is sound");
        assert_eq!(marks.hits(&raised(31.0, 32.0), |_| false).len(), 2, "it rings in the span of both");
    }

    #[test]
    fn sound_time_is_what_no_fault_and_no_grace_covers() {
        assert_eq!(marks().sound_us(0, micros(100.0)), micros(10.0 + 15.0 + 45.0));
        assert_eq!(marks().sound_us(micros(12.0), micros(45.0)), micros(15.0));
        assert_eq!(Marks::default().sound_us(5, 25), 20);
    }
}
