//! Joints from which nothing, or next to nothing, can be learnt.
//!
//! Decides: which joints are left out, and which rules nothing may then be proposed about.
//! Assumes: quantity and rule are of one kind where a fault of the kind marks the rule.

use super::bench::differing;
use super::library::Trace;
use super::program::Program;
use bandward::Rule;
use std::collections::BTreeSet;
use std::path::Path;

/// Joints of a set at most: the good ones come first, and then each kind in turn.
const MOST: usize = 90;

/// One set of joints.
#[derive(Clone, Debug)]
pub struct Set {
    /// Its name in the table.
    pub name: String,
    /// The joints.
    pub traces: Vec<Trace>,
}

/// What came of it.
#[derive(Clone, Debug)]
pub struct Outcome {
    /// Joints.
    pub joints: usize,
    /// Faults in them.
    pub faults: usize,
    /// Was a procedure given out?
    pub written: bool,
    /// Changes about rules that no fault of the set marks.
    pub unfounded: Vec<String>,
    /// Settings that make a stop later, looser or milder.
    pub looser_stops: Vec<String>,
    /// Rules told as having no or too few faults.
    pub told: usize,
    /// Of a set with one fault found: the told interval of its rate.
    pub interval: Option<(f64, f64)>,
}

/// No faults; none of one kind; one alone; all of one kind.
pub fn sets(traces: &[Trace]) -> Vec<Set> {
    let kind_of = |trace: &Trace| trace.mark.as_ref().map(|mark| mark.kind);
    let pick = |name: &str, keep: &dyn Fn(Option<&'static str>) -> bool| Set {
        name: name.to_owned(),
        traces: traces.iter().filter(|trace| keep(kind_of(trace))).take(MOST).cloned().collect(),
    };
    let shares_rule = |kind: &str, other: &str| {
        let rules = |kind: &str| -> BTreeSet<&str> {
            let of_kind = traces.iter().filter_map(|trace| trace.mark.as_ref());
            of_kind.filter(|mark| mark.kind == kind).flat_map(|mark| mark.rules.iter().copied()).collect()
        };
        !rules(kind).is_disjoint(&rules(other))
    };
    let mut sets = vec![pick("no faults", &|kind| kind.is_none())];
    for left_out in ["gas leaks", "pipe stalls", "worn contact tip"] {
        let others = |kind: Option<&'static str>| kind.is_none_or(|kind| !shares_rule(kind, left_out));
        sets.push(pick(&format!("none like \"{left_out}\""), &others));
    }
    for only in ["gas leaks", "pipe stalls", "source set high"] {
        let own = |kind: Option<&'static str>| kind.is_none_or(|kind| kind == only);
        let all = pick(&format!("all faults \"{only}\""), &own);
        let mut single = all.clone();
        let first = all.traces.iter().position(|trace| trace.mark.is_some());
        let is_kept = |(at, trace): &(usize, &Trace)| trace.mark.is_none() || Some(*at) == first;
        single.traces =
            all.traces.iter().enumerate().filter(is_kept).map(|(_, trace)| trace.clone()).collect();
        single.name = format!("a single fault, \"{only}\"");
        sets.extend([single, all]);
    }
    sets
}

/// Asks for proposals from one set.
///
/// # Errors
/// The program cannot do it.
pub fn outcome(program: &Program, procedure: &Path, set: &Set, to: &Path) -> Result<Outcome, String> {
    let said = program.suggest(procedure, &set.traces, to)?;
    let marks: Vec<_> = set.traces.iter().filter_map(|trace| trace.mark.as_ref()).collect();
    let marked: BTreeSet<&str> = marks.iter().flat_map(|mark| mark.rules.iter().copied()).collect();
    let written = to.exists();
    let changes = if written { differing(procedure, to)? } else { Vec::new() };
    let is_founded = |what: &str| {
        let own = what.split(['.', ' ']).next().unwrap_or_default();
        marked.iter().any(|rule| *rule == own || quantity_of(rule) == Some(own))
    };
    let told = said["proposal"]["nothing_proposed"].as_array().map_or(0, Vec::len);
    // A fault is booked on the rule that told of it.
    let booked = || marks[0].rules.iter().map(|rule| &said["rules"][*rule]);
    let one = (marks.len() == 1).then(|| booked().find(|score| score["faults"].as_u64() > Some(0))).flatten();
    let share = |key: &str| one.and_then(|score| score[key].as_f64());
    Ok(Outcome {
        joints: set.traces.len(),
        faults: marks.len(),
        written,
        unfounded: changes
            .iter()
            .filter(|change| !is_founded(&change.what))
            .map(|change| change.what.clone())
            .collect(),
        looser_stops: changes
            .into_iter()
            .filter(|change| change.looser_stop)
            .map(|change| change.what)
            .collect(),
        told,
        interval: share("found_share_low").zip(share("found_share_high")),
    })
}

fn quantity_of(rule: &str) -> Option<&'static str> {
    Rule::from_name(rule)?.watches().map(|(quantity, _)| quantity.table_name())
}
