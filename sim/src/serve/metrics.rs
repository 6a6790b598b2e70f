//! The state as Prometheus reads it.
//!
//! Decides: names; each has its unit, and counters end in `_total`, as the naming practice of Prometheus asks.
//! Assumes: values in metric units, as everywhere for machines.
//! Never: gives a value that is not of now: then the line is left out, and `bandward_live` is 0.

use crate::watch::view::View;
use bandward::{Channel, Outcome};
use std::fmt::Write as _;

/// The lines of the state.
pub fn of(view: &View) -> String {
    let mut text = String::new();
    let is_live = !view.is_past();
    let mut gauge = |name: &str, help: &str, lines: &[(String, f64)]| {
        if !lines.is_empty() {
            metric(&mut text, name, "gauge", help, lines);
        }
    };
    let one = |value: f64| vec![(String::new(), value)];
    let flag = |is_so: bool| one(f64::from(u8::from(is_so)));
    gauge("bandward_live", "Readings are of now.", &flag(is_live));
    if is_live {
        for shown in &view.gauges {
            let subject = shown.setting.subject;
            if let Some(value) = shown.value {
                let (value, unit) = crate::input::quantity::shown(value, subject.dimension(), METRIC);
                let name = format!("bandward_{}_{}", subject.table_name(), unit_name(unit));
                gauge(&name, "The value that is judged.", &one(value));
            }
        }
        gauge("bandward_in_band", "A band is being welded.", &flag(view.phase.is_in_band()));
        gauge("bandward_band_number", "The band, from 1.", &one(f64::from(view.band)));
        let joint = view.shown_joint();
        gauge("bandward_joint_number", "The joint, from 1.", &one(f64::from(view.joint_number())));
        let turned = view.turned_deg.map_or_else(Vec::new, one);
        gauge("bandward_turned_degrees", "Turned since the band began.", &turned);
        gauge("bandward_alarm_active", "1 for each active alarm.", &alarms(view));
        let joint = joint.map_or(Outcome::NotAsked, |(_, _, joint, _)| joint);
        let outcomes = [("band", view.so_far.band), ("joint", joint)].map(outcome);
        gauge("bandward_outcome", "1 for what band and joint have come to so far.", &outcomes);
    }
    if let Some(link) = &view.link {
        gauge("bandward_link_up", "There is a link to the board.", &flag(link.lost.is_none()));
        if let Some(outputs) = link.outputs {
            gauge("bandward_relay_energised", "Welding is permitted.", &flag(outputs.relay_energised));
            gauge("bandward_horn_on", "The horn sounds.", &flag(outputs.horn));
        }
        for (name, count) in [("bad", link.bad), ("lost", link.missed)] {
            let name = format!("bandward_frames_{name}_total");
            metric(&mut text, &name, "counter", "Frames of the link, both ends.", &one(f64::from(count)));
        }
    }
    let raised: Vec<_> = view
        .history
        .raised()
        .map(|(severity, count)| (format!("{{severity=\"{severity}\"}}"), count as f64))
        .collect();
    metric(
        &mut text,
        "bandward_alarms_raised_total",
        "counter",
        "Alarms by each severity that they reached.",
        &raised,
    );
    text
}

/// The lines of the server itself.
pub fn of_server(is_published: bool, readers: usize) -> String {
    let mut text = String::new();
    let up = [(String::new(), f64::from(u8::from(is_published)))];
    metric(&mut text, "bandward_up", "gauge", "The program publishes its state.", &up);
    metric(
        &mut text,
        "bandward_page_readers",
        "gauge",
        "Pages that look on.",
        &[(String::new(), readers as f64)],
    );
    text
}

const METRIC: crate::input::quantity::UnitSystem = crate::input::quantity::UnitSystem::Metric;

fn metric(text: &mut String, name: &str, kind: &str, help: &str, lines: &[(String, f64)]) {
    // Writing to a text cannot fail.
    let _ = writeln!(text, "# HELP {name} {help}\n# TYPE {name} {kind}");
    for (labels, value) in lines {
        let _ = writeln!(text, "{name}{labels} {value}");
    }
}

fn alarms(view: &View) -> Vec<(String, f64)> {
    let line = |alarm: &bandward::ActiveAlarm| {
        let channel = alarm.channel.map_or("", Channel::name);
        let (rule, severity) = (alarm.rule.name(), alarm.severity.name());
        (format!("{{rule=\"{rule}\",severity=\"{severity}\",channel=\"{channel}\"}}"), 1.0)
    };
    view.alarms.iter().map(line).collect()
}

fn outcome((of, outcome): (&str, Outcome)) -> (String, f64) {
    (format!("{{of=\"{of}\",outcome=\"{}\"}}", outcome.name()), 1.0)
}

/// A unit as a name has it: `L/min` as `litres_per_minute`.
fn unit_name(symbol: &str) -> String {
    let (over, under) = symbol.split_once('/').map_or((symbol, None), |(over, under)| (over, Some(under)));
    let over = match over {
        "A" => "amperes",
        "V" => "volts",
        "s" => "seconds",
        "mm" => "millimetres",
        "m" => "metres",
        "deg" => "degrees",
        "degC" => "celsius",
        "L" => "litres",
        "" | "1" => "",
        other => other,
    };
    let under = under.map(|under| match under {
        "s" => "per_second",
        "min" => "per_minute",
        "h" => "per_hour",
        other => other,
    });
    let parts: Vec<_> = [over].into_iter().chain(under).filter(|part| !part.is_empty()).collect();
    parts.join("_")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::watch::view::LinkView;

    #[test]
    fn every_line_is_one_of_the_text_format_and_old_values_are_left_out() {
        let file = crate::demo::procedure().expect("the demo");
        let mut view = View::new(String::new(), METRIC, "");
        view.gauges = crate::watch::gauge::of_procedure(&file, |_| Some(1 << 16));
        view.link = Some(LinkView::default());
        let text = of(&view) + &of_server(true, 3);
        assert!(text.contains("\nbandward_voltage_volts "), "{text}");
        assert!(text.contains("\nbandward_gas_flow_litres_per_minute "), "{text}");
        assert!(text.contains("\nbandward_weave_rate_per_minute "), "{text}");
        // In the unit of the name: the view has mm/min.
        let feed = view.gauges.iter().find(|one| one.setting.subject.table_name() == "wire_feed");
        let feed_mm_per_min = feed.and_then(|one| one.value).expect("the demo limits it");
        let line = format!("\nbandward_wire_feed_metres_per_minute {}\n", feed_mm_per_min / 1000.0);
        assert!(text.contains(&line), "{line}{text}");
        assert!(text.contains("\nbandward_page_readers 3\n"), "{text}");
        for line in text.lines().filter(|line| !line.starts_with("# ")) {
            let (name, value) = line.rsplit_once(' ').expect("a name and a value");
            let name = name.split('{').next().expect("a name");
            assert!(name.starts_with("bandward_") && !name.ends_with('_') && !name.contains("__"), "{line}");
            assert!(name.bytes().all(|byte| byte == b'_' || byte.is_ascii_alphanumeric()), "{line}");
            assert!(value.parse::<f64>().is_ok(), "{line}");
        }
        view.link = Some(LinkView { silent_s: Some(3), ..LinkView::default() });
        let old = of(&view);
        assert!(old.contains("bandward_live 0\n") && !old.contains("_volts"), "{old}");
    }
}
