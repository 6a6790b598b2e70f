//! Which courses are drawn, against which ranges, at which scale, and which alarms belong to them.
//!
//! Decides: the panels of the traces, in order.
//! Assumes: values in house units; whoever draws converts them.
//! Never: draws.

use super::Report;
use super::alarms::first_and_worst;
use super::findings::likely;
use crate::alarm::Alarm;
use crate::input::bounds::Bounds;
use crate::input::setting::Subject;
use crate::input::unit::Dimension;
use crate::raw::{from_raw, seconds};
use crate::recording::DRAWN;
use crate::recording::envelope::{Envelope, Extremes};
use bandward::procedure::Range;
use bandward::{Channel, Procedure, Quantity, Rule, Severity};

/// The ranges of a quantity, in its house unit.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Ranges {
    /// Where it should be.
    pub recommended: Bounds,
    /// Where it must be.
    pub allowed: Bounds,
    /// Never permitted below it.
    pub floor: Option<f64>,
}

impl Ranges {
    /// Those a procedure gives.
    pub fn of(procedure: &Procedure, quantity: Quantity) -> Self {
        let Some(limits) = procedure.limits(quantity) else { return Self::default() };
        let number = |raw| from_raw(raw, quantity.fraction_bits());
        let bounds = |range: Option<Range>| Bounds {
            low: range.map(|range| range.low).filter(|&raw| raw != i32::MIN).map(number),
            high: range.map(|range| range.high).filter(|&raw| raw != i32::MAX).map(number),
        };
        Self {
            recommended: bounds(limits.recommended),
            allowed: bounds(limits.allowed),
            floor: limits.floor.map(number),
        }
    }
    /// Every end there is.
    pub fn ends(&self) -> impl Iterator<Item = f64> {
        self.recommended.ends().chain(self.allowed.ends()).chain(self.floor)
    }
    /// Is there nothing to hold a value against?
    pub fn is_empty(&self) -> bool {
        self.ends().next().is_none()
    }
}

/// Smallest and largest value a picture shows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scale {
    /// At the lower edge.
    pub low: f64,
    /// At the upper edge.
    pub high: f64,
}

impl Scale {
    /// Over all the values with a share of the height left free on either side; `None` for no values.
    pub fn over(values: impl Iterator<Item = f64>, free: f64) -> Option<Self> {
        let (low, high) = values
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| (low.min(value), high.max(value)));
        if low > high {
            return None;
        }
        let least = 0.01 * high.abs().max(low.abs()).max(1.0);
        let margin = ((high - low) * free).max(least);
        Some(Self { low: low - margin, high: high + margin })
    }
    /// How high a value stands, 0 at the lower edge to 1 at the upper; held at the edges.
    pub fn share(self, value: f64) -> f64 {
        ((value - self.low) / (self.high - self.low)).clamp(0.0, 1.0)
    }
}

/// A stretch of time in which an alarm stood.
#[derive(Clone, Debug, PartialEq)]
pub struct Mark {
    /// Its place among the alarms of the replay.
    pub alarm: usize,
    /// From, s.
    pub from_s: f64,
    /// To, s.
    pub to_s: f64,
    /// How bad.
    pub severity: Severity,
    /// Which.
    pub rule: Rule,
}

/// A stretch of time with evidence of a likely cause.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EvidenceSpan {
    /// The cause's letter.
    pub letter: char,
    /// From, s.
    pub from_s: f64,
    /// To, s.
    pub to_s: f64,
    /// How many spans lie below it.
    pub row: usize,
}

/// The letter of a likely cause; only the most likely are marked in the traces.
pub fn letter(index: usize) -> Option<char> {
    ['A', 'B', 'C', 'D'].get(index).copied()
}

/// Marks of a picture: more lie upon each other.
pub const MOST_MARKS: usize = 200;

/// One picture over time.
#[derive(Clone, Debug)]
pub struct Panel<'a> {
    /// A name for machines, unique.
    pub key: &'static str,
    /// A name for people.
    pub title: &'static str,
    /// What its values are.
    pub dimension: Dimension,
    /// The readings.
    pub reading: Option<&'a Envelope>,
    /// What was held against the ranges.
    pub judged: Option<&'a Envelope>,
    /// The ranges.
    pub ranges: Ranges,
    /// Shows what was judged and its ranges well; readings may leave it.
    pub close: Scale,
    /// Shows everything.
    pub whole: Scale,
    /// The alarms that belong to it.
    pub marks: Vec<Mark>,
    /// How many more there are.
    pub more_marks: usize,
    /// Where to see the likely causes.
    pub evidence_spans: Vec<EvidenceSpan>,
}

/// What a panel shows.
struct PanelSubject {
    key: &'static str,
    title: &'static str,
    quantity: Option<Quantity>,
    channel: Option<Channel>,
}

const fn subject(
    key: &'static str,
    title: &'static str,
    quantity: Option<Quantity>,
    channel: Option<Channel>,
) -> PanelSubject {
    PanelSubject { key, title, quantity, channel }
}

use Channel as C;
use Quantity as Q;

const SUBJECTS: [PanelSubject; 13] = [
    subject("current", "Current", Some(Q::Current), Some(C::Current)),
    subject("voltage", "Voltage", Some(Q::Voltage), Some(C::Voltage)),
    subject("short-circuits", "Short circuits", Some(Q::ShortCircuitRate), None),
    subject("gas", "Shielding gas", Some(Q::GasFlow), Some(C::Gas)),
    subject("weave-rate", "Weave rate", Some(Q::WeaveRate), None),
    subject("weave-width", "Weave width", Some(Q::WeaveWidth), None),
    subject("weave-drift", "Weave centre drift", Some(Q::WeaveCentreDrift), None),
    subject("turn-time", "Turn time", Some(Q::TurnTime), None),
    subject("torch", "Torch position", None, Some(C::Torch)),
    subject("spindle", "Spindle angle", None, Some(C::Spindle)),
    subject("wire", "Wire feed", None, Some(C::Wire)),
    subject("coolant", "Torch coolant", Some(Q::CoolantFlow), Some(C::Coolant)),
    subject("work", "Work temperature", None, Some(C::Work)),
];

const CARRIAGE: PanelSubject = subject("carriage", "Carriage position", None, Some(C::Carriage));

impl PanelSubject {
    fn dimension(&self) -> Dimension {
        match (self.quantity, self.channel) {
            (Some(quantity), _) => Subject::Judged(quantity).dimension(),
            (None, Some(channel)) => Dimension::of_channel(channel),
            (None, None) => Dimension::Share,
        }
    }
    /// Is what it shows read from a channel?
    fn comes_from(&self, channel: Channel) -> bool {
        let source = match self.quantity {
            Some(Q::WeaveRate | Q::WeaveWidth | Q::WeaveCentreDrift) => Some(C::Torch),
            Some(Q::TurnTime) => Some(C::Spindle),
            Some(Q::ShortCircuitRate) => Some(C::Voltage),
            _ => self.channel,
        };
        source == Some(channel)
    }
    /// Does an alarm belong here? Each belongs to one panel, where that one is drawn.
    fn owns(&self, alarm: &Alarm) -> bool {
        if let Some(quantity) = quantity_of(alarm) {
            return self.quantity == Some(quantity);
        }
        let own = match (alarm.channel, alarm.rule) {
            (Some(channel), _) => Some(channel),
            (None, Rule::ArcOutage) => Some(C::Current),
            (None, rule) => rule.needs().iter().next(),
        };
        own.is_some() && self.channel == own
    }
}

/// The quantity in whose course an alarm shows, if it shows in one.
pub fn quantity_of(alarm: &Alarm) -> Option<Quantity> {
    match (alarm.channel, alarm.rule.watches(), alarm.rule) {
        (None, Some((quantity, _)), _) => DRAWN.contains(&quantity).then_some(quantity),
        (None, None, Rule::SpindleSlip | Rule::SpindleStall) => Some(Q::TurnTime),
        (Some(_), _, _) | (None, None, _) => None,
    }
}

/// The panels that have anything to show.
pub fn panels<'a>(report: &Report<'a>) -> Vec<Panel<'a>> {
    SUBJECTS.iter().chain([&CARRIAGE]).filter_map(|subject| panel(report, subject)).collect()
}

fn panel<'a>(report: &Report<'a>, subject: &PanelSubject) -> Option<Panel<'a>> {
    let seen = |envelope: &&Envelope| !envelope.extremes().is_empty();
    let reading = subject.channel.and_then(|channel| report.recording.reading(channel)).filter(seen);
    let judged = subject.quantity.and_then(|quantity| report.recording.judged(quantity)).filter(seen);
    let ranges = match (subject.quantity, report.procedure) {
        (Some(quantity), Some(file)) => Ranges::of(&file.procedure, quantity),
        _ => Ranges::default(),
    };
    let ends = |envelope: Option<&Envelope>| {
        let extremes = envelope.map_or(Extremes::NONE, Envelope::extremes);
        [f64::from(extremes.low), f64::from(extremes.high)].into_iter().filter(|value| value.is_finite())
    };
    let close = Scale::over(ends(judged.or(reading)).chain(ranges.ends()), 0.2)?;
    let whole = Scale::over(ends(judged).chain(ends(reading)).chain(ranges.ends()), 0.05)?;
    if reading.is_none() && judged.is_none() {
        return None;
    }
    let own: Vec<(usize, &Alarm)> =
        report.replay.alarms.iter().enumerate().filter(|(_, alarm)| subject.owns(alarm)).collect();
    let shown = first_and_worst(&own, MOST_MARKS, |(_, alarm)| alarm.severity);
    Some(Panel {
        key: subject.key,
        title: subject.title,
        dimension: subject.dimension(),
        reading,
        judged,
        ranges,
        close,
        whole,
        more_marks: own.len() - shown.len(),
        marks: shown.into_iter().map(|place| mark(report, own[place].0, own[place].1)).collect(),
        evidence_spans: evidence_spans(report, subject),
    })
}

fn evidence_spans(report: &Report<'_>, subject: &PanelSubject) -> Vec<EvidenceSpan> {
    let mut evidence_spans: Vec<EvidenceSpan> = Vec::new();
    for (index, finding) in likely(&report.replay.findings).iter().enumerate() {
        let Some(letter) = letter(index) else { break };
        let shown = finding
            .evidence
            .iter()
            .filter(|evidence| evidence.channel.is_some_and(|channel| subject.comes_from(channel)));
        for evidence in shown {
            let (from_s, to_s) = (seconds(evidence.from_us), seconds(evidence.to_us));
            let known = |evidence_span: &&mut EvidenceSpan| {
                evidence_span.letter == letter && evidence_span.from_s <= to_s && from_s <= evidence_span.to_s
            };
            match evidence_spans.iter_mut().find(known) {
                Some(evidence_span) => {
                    evidence_span.from_s = evidence_span.from_s.min(from_s);
                    evidence_span.to_s = evidence_span.to_s.max(to_s);
                }
                None => evidence_spans.push(EvidenceSpan { letter, from_s, to_s, row: index }),
            }
        }
    }
    evidence_spans
}

fn mark(report: &Report<'_>, index: usize, alarm: &Alarm) -> Mark {
    let (from_s, to_s) = stood(report, alarm);
    Mark { alarm: index, from_s, to_s, severity: alarm.severity, rule: alarm.rule }
}

/// From the onset of an alarm to its clearing, s.
pub fn stood(report: &Report<'_>, alarm: &Alarm) -> (f64, f64) {
    (seconds(alarm.onset_us), alarm.cleared_us.map_or(report.recording.end_s, seconds))
}
