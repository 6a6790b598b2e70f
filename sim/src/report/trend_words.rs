//! The sentences of a trend: what drifts, where it changed, and what was known.
//!
//! Decides: what is said of a drift, in which order.
//! Assumes: joints are counted from 1 for people.
//! Never: says step or slope where the readings do not tell.

use crate::identity::Context;
use crate::input::joint_field::folded;
use crate::input::quantity::{UnitSystem, format, format_beside, format_difference};
use crate::trend::cause::way;
use crate::trend::change::{Change, Shape};
use crate::trend::doubt::Doubt;
use crate::trend::drift::Drift;
use crate::trend::event::Applied;
use crate::trend::{Point, Series, Trend};

/// A quantity, and what its chart is of where there are several: the machine, or what else tells it from the others.
pub fn full_title(trend: &Trend, series: &Series) -> String {
    let title = series.measure.description().title;
    if trend.groups.len() > 1 {
        format!("{title} ({})", chart_name(trend, series.group))
    } else {
        title.to_owned()
    }
}

/// What a chart is of, as short as tells it from the others; its number where that is not known.
pub fn chart_name(trend: &Trend, group: usize) -> String {
    let number = format!("chart {}", group + 1);
    let contexts: Vec<&Context> = trend.groups.iter().map(|group| &group.context).collect();
    let Some(own) = contexts.get(group) else { return number };
    let plain = |part: &Part, context: &Context| part(context).map(|words| folded(&words));
    let differs = |part: &&Part| contexts.iter().any(|other| plain(part, other) != plain(part, own));
    let told: Option<Vec<String>> = PARTS.iter().filter(|part| differs(part)).map(|part| part(own)).collect();
    told.filter(|told| !told.is_empty()).map_or(number, |told| told.join(", "))
}

/// One of the things that keep charts apart, in words; nothing where it is not known.
type Part = fn(&Context) -> Option<String>;
const PARTS: [Part; 3] = [
    |context| context.machine.as_ref().map(|machine| format!("machine {machine}")),
    |context| context.procedure.clone(),
    |context| context.outside_diameter_mm.map(|diameter| format!("{diameter} mm")),
];

/// A quantity, and the number of its chart where there are several: for tables.
pub fn title(trend: &Trend, series: &Series) -> String {
    let title = series.measure.description().title;
    if trend.groups.len() > 1 { format!("{title} (chart {})", series.group + 1) } else { title.to_owned() }
}

/// What is known about the joints, a line each.
pub fn known(trend: &Trend) -> Vec<String> {
    let mut lines = Vec::new();
    if trend.groups.len() > 1 {
        lines.push("machines, procedures and diameters are not mixed: each has its own charts".to_owned());
        for (index, group) in trend.groups.iter().enumerate() {
            let words = group.context.chart_words();
            let words = if words.is_empty() { "nothing known".to_owned() } else { words };
            lines.push(format!("chart {}: {words}, {}", index + 1, count(group.joints.len(), "joint")));
        }
    }
    let flagged = joint_list(trend.flagged());
    if !flagged.is_empty() {
        lines.push(format!("no baseline, being broken or not proven by their own records: {flagged}"));
    }
    lines.extend(trend.events.iter().map(|event| event_words(trend, event)));
    lines.extend(trend.unused.iter().map(|event| {
        let name = event.name.as_ref().map_or(String::new(), |name| format!(" ({name})"));
        format!(
            "event: {}{name} at {}: no joint comes after it, so it counts for none",
            event.kind.words(),
            event.place()
        )
    }));
    let mut modelled: Vec<&str> =
        trend.series.iter().flat_map(|series| series.modelled.iter().copied()).collect();
    modelled.sort_unstable();
    modelled.dedup();
    if !modelled.is_empty() {
        let words = |name: &&str| match *name {
            "ambient" => "temperature of the shop",
            "work" => "temperature of the work at the start",
            _ => "operator",
        };
        let words: Vec<_> = modelled.iter().map(words).collect();
        lines.push(format!("taken off before charting, by least squares: {}", words.join(", ")));
    }
    lines.extend(trend.few.iter().map(|few| {
        let chart = if trend.groups.len() > 1 { format!(" of chart {}", few.group + 1) } else { String::new() };
        let joints = match few.joints {
            0 => "no sound joint".to_owned(),
            some => format!("only {} sound", count(some, "joint")),
        };
        format!(
            "operator {}: {joints} in the baseline{chart}; what is this operator's way, and what has changed, is hardly \
             told apart",
            few.operator
        )
    }));
    let craters = joint_list(trend.craters.iter().copied());
    if !craters.is_empty() {
        lines.push(format!(
            "set aside for every quantity of the arc, far off in several of them, as with a crater fill: {craters}"
        ));
    }
    for series in trend.series.iter().filter(|series| series.set_aside_here().next().is_some()) {
        let joints = joint_list(series.set_aside_here());
        lines.push(format!("{} set aside, each alone far off: {joints}", title(trend, series)));
    }
    lines
}

/// More gaps than that are counted, not listed.
const MOST_GAPS: usize = 8;

/// Why what does not drift is not called steady, a line each.
pub fn doubts(trend: &Trend, system: UnitSystem) -> Vec<String> {
    let words = |(series, doubt): (&Series, Doubt)| {
        let title = full_title(trend, series);
        match doubt {
            Doubt::OftenAlone { alone, of } => format!(
                "{title}: {alone} of the newest {of} joints stand far off, each alone, far more often than before: look \
                 at them"
            ),
            Doubt::NewestAlone => format!("{title}: the newest joint is far off; the next one will tell"),
            Doubt::Ended { last } => format!("{title}: no reading since joint {}", last + 1),
            Doubt::Explained { deviations, mean } => {
                let show = |value| format(value, series.measure.description().dimension, system);
                let from = series.baseline.map_or_else(String::new, |baseline| show(baseline.mean));
                format!(
                    "{title}: {from} in the baseline, {} in the newest joints ({deviations:+.1} standard deviations); \
                     only events, operator or temperature explain it: more than they usually make",
                    show(mean)
                )
            }
        }
    };
    let unwatched = trend.unwatched().filter(|_| trend.groups.len() > 1);
    let unwatched =
        unwatched.map(|group| format!("{}: too few sound joints for a chart", chart_name(trend, group)));
    let gaps = trend.gaps().map(|gap| {
        let name = trend.records.get(gap.joint()).map_or("", |record| record.name.as_str());
        format!("joint {} ({name}): {}", gap.joint() + 1, gap.words())
    });
    let gaps: Vec<String> = gaps.collect();
    let more = gaps.len().saturating_sub(MOST_GAPS);
    let rest = (more > 0).then(|| format!("and {more} more such records or readings"));
    let gaps = gaps.into_iter().take(MOST_GAPS).chain(rest);
    gaps.chain(trend.doubted().map(words)).chain(unwatched).collect()
}

fn event_words(trend: &Trend, event: &Applied) -> String {
    let name = event.name.as_ref().map_or(String::new(), |name| format!(" ({name})"));
    let chart = if trend.groups.len() > 1 { format!(" of chart {}", event.group + 1) } else { String::new() };
    let is_first =
        trend.groups.get(event.group).is_some_and(|group| group.joints.first() == Some(&event.joint));
    let before = if is_first { "; no joint lies before it, so it changes nothing in the charts" } else { "" };
    format!("event: {}{name} from joint {}{chart} on{before}", event.kind.words(), event.joint + 1)
}

/// Numbers of joints, the first of many.
fn joint_list(joints: impl Iterator<Item = usize>) -> String {
    const MOST: usize = 12;
    let numbers: Vec<String> = joints.map(|joint| (joint + 1).to_string()).collect();
    let shown = numbers.iter().take(MOST).cloned().collect::<Vec<_>>().join(", ");
    match numbers.len() {
        0 => String::new(),
        1 => format!("joint {shown}"),
        all if all > MOST => format!("joints {shown} and {} more", all - MOST),
        _ => format!("joints {shown}"),
    }
}

/// Where a point lies, such as `joint 7`.
pub fn place(point: &Point) -> String {
    format!("joint {}", point.joint + 1)
}

/// The drift of a quantity as one sentence.
pub fn sentence(trend: &Trend, series: &Series, drift: &Drift, system: UnitSystem) -> String {
    let description = series.measure.description();
    let show = |value| format(value, description.dimension, system);
    let [since, signal, until] =
        [drift.since, drift.signal, drift.until].map(|at| series.points.get(at).map_or(String::new(), place));
    let (mean, shift) = series
        .baseline
        .map_or((0.0, 0.0), |baseline| (baseline.mean, (drift.mean - baseline.mean) / baseline.deviation));
    let (from, to) = (show(mean), show(drift.mean));
    let shift = format!("{shift:+.1} standard deviations");
    let change = drift.change.map_or(String::new(), |change| changed(series, &change, system));
    let title = full_title(trend, series);
    if drift.is_standing {
        let event = drift
            .after
            .map_or(String::new(), |(kind, _)| format!("; not back after the event ({})", kind.words()));
        let event = if drift.stays_off {
            format!("{event}; nearer after {until}, but it stays off by more than half")
        } else {
            event
        };
        format!(
            "{title} {} since about {since}: {from} in the baseline, {to} since ({shift}); signalled from {signal} \
             on{change}{}{event}",
            way(drift.side),
            average(series, system)
        )
    } else {
        let event = drift
            .after
            .map_or(String::new(), |(kind, _)| format!("; back after the event ({})", kind.words()));
        format!(
            "{title} was {} from about {since} to {until}: {from} in the baseline, {to} then ({shift}){change}{event}",
            way(drift.side)
        )
    }
}

/// The moving average that is drawn, where it is beyond its limits.
fn average(series: &Series, system: UnitSystem) -> String {
    let dimension = series.measure.description().dimension;
    let last = series.points.last().and_then(|point| point.charted).map(|charted| charted.ewma);
    match (last, series.ewma_limits) {
        (Some(last), Some([low, high])) if last < low || last > high => {
            let limit = if last < low { low } else { high };
            let words = format_beside(last, limit, dimension, system);
            format!("; moving average {words}, limit {}", format(limit, dimension, system))
        }
        _ => String::new(),
    }
}

/// Where and how a quantity changed, as the end of a sentence.
fn changed(series: &Series, change: &Change, system: UnitSystem) -> String {
    let dimension = series.measure.description().dimension.of_differences();
    let [at, from, to] = [change.at, change.from, change.to]
        .map(|at| series.points.get(at).map_or(0, |point| point.joint + 1));
    let interval = if from == to { String::new() } else { format!(" ({from} to {to})") };
    match (change.shape, change.per_joint) {
        (Shape::Step, _) => {
            format!(
                "; a step of {} at joint {at}{interval}",
                format_difference(change.size, dimension, system)
            )
        }
        (Shape::Slope, Some(each)) => {
            format!(
                "; a slope of {} a joint from joint {at}{interval}",
                format_difference(each, dimension, system)
            )
        }
        _ => format!("; from joint {at}{interval}, step or slope not told yet"),
    }
}

/// What is wrong with a baseline, as one sentence; nothing where it is steady.
pub fn start_sentence(trend: &Trend, series: &Series, system: UnitSystem) -> Option<String> {
    let change = series.start_change.as_ref()?;
    let words = changed(series, change, system);
    Some(format!("the baseline of {} is itself {}{words}", full_title(trend, series), way(change.side)))
}

/// Such as `1 joint` or `7 joints`.
pub fn count(number: usize, what: &str) -> String {
    if number == 1 { format!("1 {what}") } else { format!("{number} {what}s") }
}
