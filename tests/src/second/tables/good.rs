//! Good welding with everyday habits: every warn and stop is false.
//!
//! Decides: the table of false alarms, and how good joints are signed.

use super::of;
use crate::second::Order;
use crate::second::plan::Advance;
use crate::second::random::Chance;
use crate::second::rig::RATES_HZ;
use crate::second::shift;
use crate::second::watched::{Signed, Watched, watch};
use bandward::Severity;
use bandward_sim::input::procedure_file::ProcedureFile;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;

/// What good welding came to.
#[derive(Clone, Debug, Default)]
pub struct Good {
    hours: f64,
    joints: usize,
    /// Advises, warns and stops of each rule.
    alarms: BTreeMap<&'static str, [usize; 3]>,
    /// Hours and warns and stops at each rate.
    rates: BTreeMap<u32, (f64, usize)>,
    /// Joints with every channel at 20 Hz and more, and others: proven, not proven, broken.
    signed: [[usize; 3]; 2],
    bands_right: usize,
    /// The highest score of each cause.
    causes: BTreeMap<&'static str, f64>,
}

/// Watches good joints for so many hours of trace, from this seed on.
pub fn watch_good(procedure: &ProcedureFile, hours: f64, first_seed: u64) -> Good {
    let mut good = Good::default();
    let mut seed = first_seed;
    while good.hours < hours {
        let rate_hz = RATES_HZ[(seed % RATES_HZ.len() as u64) as usize];
        good.take(procedure, rate_hz, seed);
        seed += 1;
    }
    good
}

impl Good {
    fn take(&mut self, procedure: &ProcedureFile, rate_hz: f64, seed: u64) {
        let mut order = Order::good(rate_hz, seed);
        let complete = !seed.is_multiple_of(3);
        if !complete {
            order.rig = order.rig.with_gaps(&mut Chance::new(seed, 9));
        }
        let mut joint = order.joint();
        let watched = watch(procedure, rate_hz, order.rig.channels, joint.by_ref());
        let hours = joint.last_s() / 3600.0;
        self.hours += hours;
        self.joints += 1;
        let rate = self.rates.entry(rate_hz as u32).or_default();
        rate.0 += hours;
        rate.1 += watched.loud();
        self.signed[usize::from(!complete || rate_hz < 20.0)][watched.signed as usize - 1] += 1;
        self.bands_right += usize::from(watched.bands == joint.truth().bands.len());
        for alarm in &watched.alarms {
            self.alarms.entry(alarm.rule).or_default()[alarm.severity as usize] += 1;
        }
        for &(cause, score) in &watched.causes {
            let highest = self.causes.entry(cause).or_default();
            *highest = highest.max(score);
        }
    }
    /// The false alarms of each rule, as Markdown.
    pub fn rules_markdown(&self) -> String {
        let mut text = format!(
            "Good welding with everyday habits: {:.1} h of trace, {} joints. Every warn and stop is false.\n\n\
             | rule | advise | warn | stop | warn or stop an hour |\n|---|--:|--:|--:|--:|\n",
            self.hours, self.joints
        );
        let mut sum = [0; 3];
        for (rule, counts) in &self.alarms {
            line(&mut text, rule, counts, self.hours);
            sum = std::array::from_fn(|at| sum[at] + counts[at]);
        }
        line(&mut text, "all", &sum, self.hours);
        text
    }
    /// The highest score of any cause.
    pub fn highest_score(&self) -> f64 {
        self.causes.values().copied().fold(0.0, f64::max)
    }
    /// As Markdown.
    pub fn markdown(&self) -> String {
        let mut text = self.rules_markdown();
        text.push_str("\n| rows a second | hours | warn or stop | an hour |\n|--:|--:|--:|--:|\n");
        for (rate_hz, (hours, loud)) in &self.rates {
            let _ = writeln!(text, "| {rate_hz} | {hours:.1} | {loud} | {:.2} |", *loud as f64 / hours);
        }
        text.push_str("\n| joints | proven | not proven | broken |\n|---|--:|--:|--:|\n");
        let names = ["every channel, 20 rows a second and more", "a channel missing, or slower"];
        for (name, counts) in names.iter().zip(&self.signed) {
            let _ = writeln!(text, "| {name} | {} | {} | {} |", counts[0], counts[1], counts[2]);
        }
        let _ = writeln!(text, "\nBands counted rightly: {}.", of(self.bands_right, self.joints));
        text
    }
    /// The causes claimed on good joints, as Markdown.
    pub fn causes_markdown(&self) -> String {
        let mut text = "| cause claimed on a good joint | highest score |\n|---|--:|\n".to_owned();
        for (cause, score) in &self.causes {
            let _ = writeln!(text, "| {cause} | {score:.2} |");
        }
        if self.causes.is_empty() {
            text.push_str("| none | - |\n");
        }
        text
    }
}

fn line(text: &mut String, rule: &str, counts: &[usize; 3], hours: f64) {
    let [advise, warn, stop] = counts;
    let _ = writeln!(text, "| {rule} | {advise} | {warn} | {stop} | {:.2} |", (warn + stop) as f64 / hours);
}

impl Watched {
    /// Warns and stops.
    pub fn loud(&self) -> usize {
        self.alarms.iter().filter(|alarm| alarm.severity >= Severity::Warn).count()
    }
}

/// Joints of other makes: bands under one arc, extreme rates, a whole shift in one trace.
pub fn others_markdown(procedure: &ProcedureFile, seed: u64) -> String {
    let mut text =
        "| trace | bands laid | bands counted | signed | warn or stop | rules |\n|---|--:|--:|---|--:|---|\n"
            .to_owned();
    let makes = [
        ("carriage steps under the arc, 50 Hz", Advance::Steps, 50.0),
        ("spiral, 50 Hz", Advance::Spiral, 50.0),
        ("0.5 Hz", Advance::Stands, 0.5),
        ("1 Hz", Advance::Stands, 1.0),
        ("2 Hz", Advance::Stands, 2.0),
        ("2000 Hz", Advance::Stands, 2_000.0),
    ];
    for (at, (name, advance, rate_hz)) in makes.into_iter().enumerate() {
        let mut order = Order::good(rate_hz, seed + at as u64);
        order.advance = advance;
        let mut joint = order.joint();
        let watched = watch(procedure, rate_hz, order.rig.channels, joint.by_ref());
        let laid: f64 = joint.truth().bands.iter().map(|band| (band.turned_deg / 360.0).floor()).sum();
        other(&mut text, name, laid as usize, &watched);
    }
    let (rig, orders) = shift::good(20.0, 20, seed);
    let watched = watch(procedure, 20.0, rig.channels, shift::rows(rig, orders));
    other(&mut text, "a shift of 20 joints, 20 Hz", 60, &watched);
    text
}

fn other(text: &mut String, name: &str, laid: usize, watched: &Watched) {
    let loud = watched.alarms.iter().filter(|alarm| alarm.severity >= Severity::Warn);
    let rules: BTreeSet<&str> = loud.map(|alarm| alarm.rule).collect();
    let rules = rules.into_iter().collect::<Vec<_>>().join(", ");
    let (signed, loud) = (watched.signed.name(), watched.loud());
    let _ = writeln!(text, "| {name} | {laid} | {} | {signed} | {loud} | {rules} |", watched.bands);
}

/// For [`Signed`] less one as an index: the shop's procedure always asks.
const _: () = assert!(Signed::Proven as usize == 1 && Signed::Broken as usize == 3);
