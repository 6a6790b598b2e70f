//! Every kind of fault, put in beside the habits of everyday welding.
//!
//! Decides: which faults are put in, and the table of what was found.

use super::{median, of};
use crate::second::Order;
use crate::second::fault::{Fault, Shape, facts};
use crate::second::kinds::{FACTS, Kind};
use crate::second::random::Chance;
use crate::second::rig::RATES_HZ;
use crate::second::score::{Score, score};
use crate::second::watched::watch;
use bandward::Channel;
use bandward_sim::input::procedure_file::ProcedureFile;
use rayon::prelude::*;
use std::collections::BTreeMap;
use std::fmt::Write;

/// A fault and what came of it.
#[derive(Clone, Copy, Debug)]
pub struct Outcome {
    /// What was put in.
    pub fault: Fault,
    /// Rows a second.
    pub rate_hz: f64,
    /// What came of it.
    pub score: Score,
}

/// Every kind, shape and size so often, from this seed on, each in a joint of its own, beside everyday habits
/// or without.
pub fn orders(repeats: u64, first_seed: u64, habits: bool) -> Vec<Order> {
    let mut orders = Vec::new();
    for facts in FACTS {
        for &channel in channels(facts.kind) {
            for &shape in facts.shapes {
                for repeat in 0..3 * repeats {
                    let seed = first_seed + orders.len() as u64;
                    let mut chance = Chance::new(seed, 8);
                    let rank = (repeat % 3) as usize;
                    let rate_hz = chance.pick(&RATES_HZ);
                    let fault = Fault::drawn(facts.kind, shape, rank, channel, &mut chance);
                    let order = Order::good(rate_hz, seed).with_fault(fault);
                    orders.push(if habits { order } else { order.without_habits() });
                }
            }
        }
    }
    orders
}

/// The channels that a kind of fault is put on.
fn channels(kind: Kind) -> &'static [Option<Channel>] {
    const ALL: &[Option<Channel>] = &[
        Some(Channel::Current),
        Some(Channel::Voltage),
        Some(Channel::Gas),
        Some(Channel::Torch),
        Some(Channel::Spindle),
        Some(Channel::Wire),
        Some(Channel::Coolant),
        Some(Channel::Work),
        Some(Channel::Carriage),
    ];
    if matches!(kind, Kind::Frozen | Kind::Zero | Kind::Dead | Kind::Spikes) { ALL } else { &[None] }
}

/// Watches these joints, on every processor; the outcomes are in their order.
pub fn outcomes(procedure: &ProcedureFile, orders: &[Order]) -> Vec<Outcome> {
    orders.par_iter().filter_map(|order| outcome(procedure, order)).collect()
}

/// Watches a joint with a fault.
pub fn outcome(procedure: &ProcedureFile, order: &Order) -> Option<Outcome> {
    let fault = *order.faults.first()?;
    let mut joint = order.joint();
    let watched = watch(procedure, order.rig.rate_hz, order.rig.channels, joint.by_ref());
    let score = score(&joint.truth(), &watched)?;
    Some(Outcome { fault, rate_hz: order.rig.rate_hz, score })
}

/// The table, as Markdown.
pub fn markdown(outcomes: &[Outcome]) -> String {
    let mut text =
        "Found: an expected rule warned or stopped while the fault lasted, \
         of those that broke their limit and can be seen at the rate (a weave wants eight rows a cycle), by size; delay from where the limit was broken.\n\n\
         | fault | shape | put in | broke its limit, can be seen | just past | clear | gross | median delay s | longest | \
         not signed green | other rules that alarmed |\n|---|---|--:|--:|--:|--:|--:|--:|--:|--:|---|\n"
            .to_owned();
    for ((_, name, shape), rows) in grouped(outcomes) {
        line(&mut text, &name, shape, &rows);
    }
    let asked: Vec<_> = outcomes.iter().filter(|outcome| is_asked(outcome)).collect();
    let found = asked.iter().filter(|outcome| outcome.score.delay_s.is_some()).count();
    let green =
        outcomes.iter().filter(|outcome| !outcome.score.not_green && must_not_be_green(outcome)).count();
    let _ = writeln!(
        text,
        "\nFound {} of all that broke a limit and can be seen; signed green all the same: {green}.",
        of(found, asked.len())
    );
    text
}

/// Is a rule to tell it, and did it break its limit?
pub fn is_asked(outcome: &Outcome) -> bool {
    let fault = &outcome.fault;
    outcome.score.breaks_limit && fault.can_be_seen_at(outcome.rate_hz) && !fault.facts().rules.is_empty()
}

/// A joint with this fault may not be signed green: all, but for a wind that no limit tells and spikes.
pub fn must_not_be_green(outcome: &Outcome) -> bool {
    outcome.score.breaks_limit && !matches!(outcome.fault.kind, Kind::Wind | Kind::Spikes)
}

type Group = (usize, String, Shape);

fn grouped(outcomes: &[Outcome]) -> BTreeMap<Group, Vec<&Outcome>> {
    let mut groups: BTreeMap<Group, Vec<&Outcome>> = BTreeMap::new();
    for outcome in outcomes {
        let fault = &outcome.fault;
        groups.entry((fault.kind as usize, fault.name(), fault.shape)).or_default().push(outcome);
    }
    groups
}

fn line(text: &mut String, name: &str, shape: Shape, rows: &[&Outcome]) {
    let asked = |row: &&&Outcome| row.score.breaks_limit && row.fault.can_be_seen_at(row.rate_hz);
    let broke: Vec<_> = rows.iter().filter(asked).collect();
    let by_rank = |rank: usize| {
        let of_rank: Vec<_> = broke.iter().filter(|row| row.fault.rank == rank).collect();
        let found = of_rank.iter().filter(|row| row.score.delay_s.is_some()).count();
        if facts(rows[0].fault.kind).rules.is_empty() { "-".to_owned() } else { of(found, of_rank.len()) }
    };
    let mut delays: Vec<f64> = broke.iter().filter_map(|row| row.score.delay_s).collect();
    let middle = median(&mut delays).map_or("-".to_owned(), |delay_s| format!("{delay_s:.1}"));
    let longest = delays.last().map_or("-".to_owned(), |delay_s| format!("{delay_s:.1}"));
    let not_green = rows.iter().filter(|row| row.score.not_green).count();
    let mut others: Vec<_> = rows.iter().filter_map(|row| row.score.other_rule).collect();
    others.sort_unstable();
    others.dedup();
    let _ = writeln!(
        text,
        "| {name} | {} | {} | {} | {} | {} | {} | {middle} | {longest} | {} | {} |",
        shape.name(),
        rows.len(),
        broke.len(),
        by_rank(0),
        by_rank(1),
        by_rank(2),
        of(not_green, rows.len()),
        others.join(", ")
    );
}
