//! What is wrong with a board itself, in words.
//!
//! Decides: what a person reads and a machine finds for each fault.
//! Never: leaves a fault out.

use bandward::link::{BoardFaults, Telemetry};

const SILENT: &str = "silent-channel";

/// The names of the faults for machines.
pub fn names(faults: &BoardFaults) -> Vec<&'static str> {
    all(faults).into_iter().filter(|(is_there, ..)| *is_there).map(|(_, name, _)| name).collect()
}

/// The faults, each with its name and its words.
pub fn told(faults: &BoardFaults) -> Vec<(&'static str, String)> {
    let there = all(faults).into_iter().filter(|(is_there, ..)| *is_there);
    let channels = faults.silent.iter().map(bandward::Channel::name).collect::<Vec<_>>().join(", ");
    there
        .map(|(_, name, words)| match name {
            SILENT => (name, format!("{words}: {channels}")),
            _ => (name, words.to_owned()),
        })
        .collect()
}

/// Why the relay is released although no alarm is active, or what else is wrong; nothing where all is well.
pub fn words(telemetry: &Telemetry) -> Option<String> {
    let faults = all(&telemetry.faults).into_iter().filter(|(is_there, ..)| *is_there);
    let mut words: Vec<String> = faults.map(|(_, _, words)| words.to_owned()).collect();
    for channel in telemetry.faults.silent.iter() {
        words.push(format!("no valid reading of {}", channel.name()));
    }
    if !telemetry.returned.is_empty() {
        let rules: Vec<_> = telemetry.returned.iter().map(bandward::Rule::name).collect();
        words.push(format!("{} over but not acknowledged (key a)", rules.join(", ")));
    }
    (!words.is_empty()).then(|| words.join("; "))
}

fn all(faults: &BoardFaults) -> [(bool, &'static str, &'static str); 10] {
    let BoardFaults {
        bad_configuration,
        missed_deadline,
        watchdog_reset,
        bad_clock,
        wrong_rate,
        silent,
        unwatched_arc,
        journal,
        relay,
        started,
    } = *faults;
    [
        (bad_configuration, "bad-configuration", "no valid procedure: upload one"),
        (missed_deadline, "missed-deadline", "a sample came too late"),
        (watchdog_reset, "watchdog-reset", "the watchdog started the board"),
        (bad_clock, "bad-clock", "the time of the samples stood still, leapt or ran back"),
        (wrong_rate, "wrong-rate", "samples do not come as often as declared"),
        (!silent.is_empty(), SILENT, "a wired channel is silent"),
        (unwatched_arc, "unwatched-arc", "an arc burned during a bench test"),
        (journal, "journal", "the journal fails: records are lost"),
        (relay, "relay", "the pin of the hold relay does not move"),
        (started, "started", "the board was started and nobody has acknowledged (key a)"),
    ]
}
