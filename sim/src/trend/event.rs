//! Events that change a level for a known reason: a new spool is no drift.
//!
//! Decides: which quantities an event may shift, and from which joint on it counts.
//! Assumes: records in order of time.
//! Never: hides a drift: one that stood at the event stays told until the level is back.

use super::group::Group;
use super::measure::Measure::{self, self as M};
use super::record::{Moment, Record};

/// What happened.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A new contact tip.
    Tip,
    /// A new spool of wire.
    Spool,
    /// A new gas bottle.
    Bottle,
    /// Another operator.
    Operator,
    /// Another revision of the procedure.
    Procedure,
    /// A repair, or anything else that sets the machine anew.
    Repair,
}

impl Kind {
    /// All of them, as they are written.
    pub const CHOICES: &'static [(&'static str, Self)] = &[
        ("tip", Self::Tip),
        ("spool", Self::Spool),
        ("bottle", Self::Bottle),
        ("operator", Self::Operator),
        ("procedure", Self::Procedure),
        ("repair", Self::Repair),
    ];
    /// As it is written.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Tip => "tip",
            Self::Spool => "spool",
            Self::Bottle => "bottle",
            Self::Operator => "operator",
            Self::Procedure => "procedure",
            Self::Repair => "repair",
        }
    }
    /// For people.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Tip => "new contact tip",
            Self::Spool => "new spool",
            Self::Bottle => "new gas bottle",
            Self::Operator => "another operator",
            Self::Procedure => "another revision of the procedure",
            Self::Repair => "repair",
        }
    }
    /// Does what wore or went wrong before it end with it? Then the charts start over.
    pub const fn ends_wear(self) -> bool {
        matches!(self, Self::Tip | Self::Repair | Self::Procedure | Self::Operator)
    }
    /// May it shift this quantity (common practice, no source)? Then the level is learnt anew from there.
    pub const fn shifts(self, measure: Measure) -> bool {
        let is_of_arc = matches!(
            measure,
            M::Current | M::CurrentSpread | M::Voltage | M::VoltageSpread | M::ShortCircuits | M::ArcEnergy
        );
        match self {
            Self::Tip => is_of_arc,
            Self::Spool => is_of_arc || matches!(measure, M::WireFeed | M::BandHeight),
            Self::Bottle => is_of_arc || matches!(measure, M::Gas | M::GasPreflow | M::GasPostflow),
            Self::Operator | Self::Procedure | Self::Repair => true,
        }
    }
}

/// From when on an event counts.
#[derive(Clone, Debug, PartialEq)]
pub enum When {
    /// From this joint on, counted from 0.
    Joint(usize),
    /// From the first joint that begins then or later.
    At(Moment),
    /// From the joint of this record on.
    Record(String),
}

/// One known event, wherever it was told: in the records, in a file, on the command line, or by a register.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// What happened.
    pub kind: Kind,
    /// From when on.
    pub when: When,
    /// The name of the new spool, bottle, tip, operator or revision.
    pub name: Option<String>,
    /// The only machine it is about.
    pub machine: Option<String>,
}

impl Event {
    /// Reads `KIND@WHEN`: a joint, counted from 1, or a time.
    ///
    /// # Errors
    /// What is allowed.
    pub fn parse(text: &str) -> Result<Self, String> {
        let allowed = || {
            let kinds: Vec<_> = Kind::CHOICES.iter().map(|(name, _)| *name).collect();
            format!("allowed: KIND@JOINT or KIND@TIME, such as spool@34; kinds: {}", kinds.join(", "))
        };
        let (kind, when) = text.split_once('@').ok_or_else(allowed)?;
        let kind = Kind::CHOICES.iter().find(|(name, _)| *name == kind).ok_or_else(allowed)?.1;
        let joint = when.parse().ok().filter(|joint| *joint > 0).map(|joint: usize| When::Joint(joint - 1));
        let when = joint.or_else(|| Moment::parse(when).map(When::At)).ok_or_else(allowed)?;
        Ok(Self { kind, when, name: None, machine: None })
    }
    /// When it happened, as it was written.
    pub fn place(&self) -> String {
        match &self.when {
            When::Joint(joint) => format!("joint {}", joint + 1),
            When::At(moment) => moment.to_string(),
            When::Record(record) => format!("record {record}"),
        }
    }
    /// The first joint it counts for; `None` where it is after the last one.
    ///
    /// # Errors
    /// There is no such joint, or no joint tells when it began in the same way.
    pub fn first_joint(&self, records: &[Record]) -> Result<Option<usize>, String> {
        match &self.when {
            When::Joint(joint) if *joint < records.len() => Ok(Some(*joint)),
            When::Joint(_) => Err(format!("there are {} joints", records.len())),
            When::Record(name) => {
                let found = records.iter().position(|record| record.name == *name);
                if records.iter().filter(|record| record.name == *name).count() > 1 {
                    return Err("several records have this name; name the joint".to_owned());
                }
                found.map(Some).ok_or_else(|| "no record has this name".to_owned())
            }
            When::At(moment) if records.iter().any(|record| record.moment_like(moment).is_none()) => {
                Err("not all joints tell when they began, or not in the same way; name the joint".to_owned())
            }
            When::At(moment) => {
                let begins = |record: &Record| record.moment_like(moment);
                Ok(records.iter().position(|record| begins(record).is_some_and(|start| start >= *moment)))
            }
        }
    }
    fn is_about(&self, record: &Record) -> bool {
        self.machine.is_none() || self.machine == record.context.machine
    }
}

/// An event as it counts in one group of joints.
#[derive(Clone, Debug, PartialEq)]
pub struct Applied {
    /// What happened.
    pub kind: Kind,
    /// The name of what is new.
    pub name: Option<String>,
    /// The group, counted from 0.
    pub group: usize,
    /// The first joint of the group that it counts for, counted from 0.
    pub joint: usize,
}

/// Lets events that name an operator tell who welded, where the records do not.
///
/// # Errors
/// An event has no joint; told with its place.
pub fn name_operators(records: &mut [Record], events: &[Event]) -> Result<(), String> {
    let mut named = Vec::new();
    for event in events.iter().filter(|event| event.kind == Kind::Operator && event.name.is_some()) {
        let from = event.first_joint(records).map_err(|problem| format!("{}: {problem}", event.place()))?;
        named.extend(from.map(|from| (from, event)));
    }
    named.sort_by_key(|(from, _)| *from);
    let told: Vec<bool> = records.iter().map(|record| record.context.operator.is_some()).collect();
    for (from, event) in named {
        for (record, told) in records.iter_mut().zip(&told).skip(from) {
            if !told && event.is_about(record) {
                record.context.operator.clone_from(&event.name);
            }
        }
    }
    Ok(())
}

/// All events of the groups, those that the records themselves show included, in order of time.
///
/// # Errors
/// An event has no joint, or is of a machine that has none; told with its place.
pub fn applied(records: &[Record], groups: &[Group], events: &[Event]) -> Result<Vec<Applied>, String> {
    let mut applied = Vec::new();
    for event in events {
        let from = event.first_joint(records).map_err(|problem| format!("{}: {problem}", event.place()))?;
        if !records.iter().any(|record| event.is_about(record)) {
            let machine = event.machine.as_deref().unwrap_or_default();
            return Err(format!("{}: no joint was laid on machine `{machine}`", event.place()));
        }
        // A file of events may go on after the last of these joints.
        let Some(from) = from else { continue };
        // Who welds is modelled by name; only a change without one starts the level anew.
        if event.kind == Kind::Operator && event.name.is_some() {
            continue;
        }
        for (index, group) in groups.iter().enumerate() {
            let is_in = |joint: &&usize| {
                **joint >= from && records.get(**joint).is_some_and(|record| event.is_about(record))
            };
            if let Some(&joint) = group.joints.iter().find(is_in) {
                applied.push(Applied { kind: event.kind, name: event.name.clone(), group: index, joint });
            }
        }
    }
    for (index, group) in groups.iter().enumerate() {
        applied.extend(shown(records, group, index));
    }
    applied.sort_by_key(|event| (event.joint, event.kind.name()));
    applied.dedup_by_key(|event| (event.joint, event.group, event.kind.name()));
    Ok(applied)
}

/// The events that no joint they are about comes after.
pub fn unused(records: &[Record], events: &[Event]) -> Vec<Event> {
    let is_unused = |event: &&Event| {
        let from = event.first_joint(records).ok().flatten();
        from.is_none_or(|from| !records.iter().skip(from).any(|record| event.is_about(record)))
    };
    events.iter().filter(is_unused).cloned().collect()
}

/// The events that the records of a group show.
fn shown(records: &[Record], group: &Group, index: usize) -> Vec<Applied> {
    let mut shown = Vec::new();
    for kind in [Kind::Tip, Kind::Spool, Kind::Bottle, Kind::Procedure] {
        let mut last: Option<&String> = None;
        for &joint in &group.joints {
            let context = records.get(joint).map(|record| &record.context);
            let name = context.and_then(|context| match kind {
                Kind::Tip => context.tip.as_ref(),
                Kind::Spool => context.spool.as_ref(),
                Kind::Bottle => context.bottle.as_ref(),
                Kind::Procedure => context.revision.as_ref(),
                Kind::Operator | Kind::Repair => None,
            });
            if let (Some(before), Some(now)) = (last, name)
                && before != now
            {
                shown.push(Applied { kind, name: Some(now.clone()), group: index, joint });
            }
            last = name.or(last);
        }
    }
    shown
}
