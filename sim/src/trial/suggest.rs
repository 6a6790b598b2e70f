//! Settings for a budget of false alarms.
//!
//! Decides: which of the settings that were tried to propose.
//! Assumes: scores of the traces to fit on, and of no other.
//! Never: proposes a setting that misses more faults than another one does, nor one that repeats
//! itself more or stands beside other faults more than the present one.

use super::Sums;
use super::knob::{Key, Knob};
use super::plan::{Plan, Point};
use super::score::RuleScore;
use bandward::{Procedure, Rule};

/// False alarms an hour where no other budget is given: one in ten minutes, the long-term average of
/// all alarms that an operator can very likely live with (ANSI/ISA-18.2 and IEC 62682, from memory).
pub const BUDGET_PER_HOUR: f64 = 6.0;

/// On-delays to try where none are named, s.
const ON_DELAYS_S: [f64; 11] = [0.0, 0.1, 0.2, 0.3, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0, 5.0];
/// Deadbands to try where none are named, in present ones.
const DEADBANDS: [f64; 3] = [0.5, 1.0, 2.0];

/// One setting of one rule that is tried.
#[derive(Clone, Debug)]
pub struct Candidate {
    rule: Rule,
    /// Its values.
    pub values: Vec<(Knob, f64)>,
    /// Its place in [`Plan::points`]; none where it is the present setting.
    point: Option<usize>,
}

/// Adds to a plan on-delays and deadbands of every rule that is no channel's.
///
/// # Errors
/// Never, with a procedure that is sound.
pub fn usual_candidates(plan: &mut Plan) -> anyhow::Result<Vec<Candidate>> {
    let procedure = plan.variants[0].clone();
    let mut candidates = Vec::new();
    for rule in Rule::ALL.into_iter().filter(|rule| !rule.is_about_a_channel()) {
        let present = present(&procedure, rule);
        let deadband = present.get(1).map(|(_, value)| *value);
        let deadbands = match deadband {
            Some(deadband) if deadband > 0.0 => DEADBANDS.map(|share| Some(share * deadband)).to_vec(),
            other => vec![other],
        };
        candidates.push(Candidate { rule, values: present.clone(), point: None });
        for on_delay_s in ON_DELAYS_S {
            for deadband in &deadbands {
                let mut values = present.clone();
                values[0].1 = on_delay_s;
                if let (Some((_, value)), Some(deadband)) = (values.get_mut(1), deadband) {
                    *value = *deadband;
                }
                if values != present {
                    let point = Some(plan.add(&values)?);
                    candidates.push(Candidate { rule, values, point });
                }
            }
        }
    }
    Ok(candidates)
}

/// On-delay and deadband of a rule, as they are.
fn present(procedure: &Procedure, rule: Rule) -> Vec<(Knob, f64)> {
    let knobs = [Key::OnDelay, Key::Deadband].map(|key| Knob { rule, key });
    knobs.into_iter().filter_map(|knob| Some((knob, knob.value(procedure)?))).collect()
}

/// What a candidate came to.
struct Tried<'a> {
    candidate: &'a Candidate,
    score: &'a RuleScore,
    /// How late it is, or where it found nothing, how long it waits, s.
    late_s: f64,
}

impl Tried<'_> {
    fn nuisance(&self) -> u64 {
        self.score.repeats + self.score.beside
    }
}

/// The settings that find the most, soonest, within the budget; only those that differ from the
/// present ones.
pub fn choose(
    plan: &Plan,
    fitted_on: &Sums,
    candidates: &[Candidate],
    budget_per_hour: f64,
) -> Vec<(Knob, f64)> {
    let menus: Vec<Vec<Tried<'_>>> = candidates
        .chunk_by(|one, next| one.rule == next.rule)
        .map(|of_rule| menu(plan, fitted_on, of_rule))
        .collect();
    let mut chosen = vec![0; menus.len()];
    let allowed = budget_per_hour * fitted_on.sound_hours();
    loop {
        let sum: u64 = menus.iter().zip(&chosen).map(|(menu, &at)| menu[at].score.false_alarms).sum();
        if sum as f64 <= allowed {
            break;
        }
        // The step that saves the most false alarms for the time it costs.
        let steps = menus.iter().enumerate().flat_map(|(rule, menu)| {
            let now = &menu[chosen[rule]];
            menu.iter().enumerate().filter_map(move |(at, other)| {
                let saved = now.score.false_alarms.checked_sub(other.score.false_alarms)?;
                let cost_s = (other.late_s - now.late_s).max(0.0) + 0.01;
                (saved > 0).then_some((saved as f64 / cost_s, rule, at))
            })
        });
        let Some((_, rule, at)) = steps.max_by(|one, other| one.0.total_cmp(&other.0)) else { break };
        chosen[rule] = at;
    }
    let procedure = &plan.variants[0];
    let values = menus.iter().zip(&chosen).flat_map(|(menu, &at)| menu[at].candidate.values.iter().copied());
    values.filter(|(knob, value)| knob.value(procedure) != Some(*value)).collect()
}

/// What may be chosen for a rule, the soonest first.
fn menu<'a>(plan: &Plan, fitted_on: &'a Sums, of_rule: &'a [Candidate]) -> Vec<Tried<'a>> {
    let tried = |candidate: &'a Candidate| {
        let score = match candidate.point {
            Some(point) => fitted_on.at(plan, &plan.points[point], candidate.rule),
            None => fitted_on.as_it_is(candidate.rule),
        };
        let waits_s = candidate.values.first().map_or(0.0, |(_, on_delay_s)| *on_delay_s);
        Tried { candidate, score, late_s: score.mean_delay_s().unwrap_or(waits_s) }
    };
    let now = tried(&of_rule[0]);
    let all: Vec<_> = of_rule.iter().map(tried).collect();
    let fewest = all.iter().map(|one| one.score.missed).min().unwrap_or(0);
    // Without a fault to find there is no reason to be less guarded than now.
    let has_faults = now.score.hits() + now.score.missed > 0;
    let guarded = |one: &Tried<'_>| {
        let pairs = one.candidate.values.iter().zip(&now.candidate.values);
        pairs.into_iter().all(|((_, value), (_, present))| value >= present)
    };
    let mut menu: Vec<_> = all
        .into_iter()
        .filter(|one| one.score.missed == fewest)
        .filter(|one| one.score.missed < now.score.missed || one.nuisance() <= now.nuisance())
        .filter(|one| has_faults || guarded(one))
        .collect();
    let change = |one: &Tried<'_>| -> f64 {
        let pairs = one.candidate.values.iter().zip(&now.candidate.values);
        pairs.map(|((_, value), (_, present))| (value - present).abs() / (present.abs() + 0.1)).sum()
    };
    // Of settings that are equally late, the one that changes least.
    menu.sort_by(|one, other| {
        let by_time = one.late_s.total_cmp(&other.late_s);
        let by_alarms = one.score.false_alarms.cmp(&other.score.false_alarms);
        by_time.then(by_alarms).then(change(one).total_cmp(&change(other)))
    });
    menu
}

/// Of the settings of a sweep the one that misses least, and of those within the budget the soonest;
/// where none is within it, the one with the fewest false alarms.
pub fn best_point<'a>(plan: &'a Plan, fitted_on: &Sums, budget_per_hour: f64) -> Option<&'a Point> {
    let allowed = budget_per_hour * fitted_on.sound_hours();
    let rank = |point: &Point| {
        let all = Sums::together(Rule::ALL.into_iter().map(|rule| fitted_on.at(plan, point, rule)));
        let over = if all.false_alarms as f64 > allowed { all.false_alarms } else { 0 };
        let late_s = all.mean_delay_s().unwrap_or(0.0);
        (all.missed, over, late_s, all.false_alarms, all.repeats + all.beside)
    };
    let ranked = plan.points.iter().map(|point| (rank(point), point));
    ranked
        .min_by(|((missed, over, late_s, rest, nuisance), _), (other, _)| {
            let counts = (missed, over).cmp(&(&other.0, &other.1));
            counts.then(late_s.total_cmp(&other.2)).then((rest, nuisance).cmp(&(&other.3, &other.4)))
        })
        .map(|(_, point)| point)
}
