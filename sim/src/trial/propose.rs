//! A proposal that stands on traces it was not fitted on, each part of it by itself.
//!
//! Decides: what of the settings that cost least where they were fitted is kept, and whether any of it may
//! be used.
//! Assumes: traces are parted as [`super::folds`] says.
//! Never: confirms what was not tried on other traces, or does worse there; nor a stop that comes later
//! than now on any fault of any trace, unless it was named.
//!
//! Settings are fitted on all traces. Then each part of the traces is kept out in turn, settings are fitted
//! on the others, and these are held against the present ones on the part kept out. What those cost together
//! tells whether fitting gains anything on traces not seen: of the rules where it does not, nothing is kept.
//! From what is left each value is left out in turn: the difference is the value's own effect, and values
//! without one are dropped. What the effects lack to the whole is the interplay of values.

use super::Sums;
use super::bench::Bench;
use super::cost::Figures;
use super::guard::loosens_a_stop;
use super::interval::Share;
use super::margins::Thin;
use super::menu::is_worth;
use super::plan::Plan;
use super::proposal::{Dropped, Part, Proposal, Unchanged};
use super::rerun::{Rerun, Values, stops_worse, together};
use super::suggest::{LEAST_FAULTS, Suggestion, suggest};
use super::tunable::{Tunable, with_values};
use super::wish::Wish;
use bandward::Procedure;
use bandward::rule::RuleSet;

/// What one plan came to, a part of the traces each.
struct Fitted<'a> {
    plan: &'a Plan,
    folds: &'a [Sums],
    wish: &'a Wish,
    /// What is fitted on all but one part, for each.
    by_fold: Vec<Suggestion>,
}

/// Proposes settings of a plan that was run, and tries them.
///
/// # Errors
/// A trace cannot be read.
pub fn propose(
    bench: &Bench<'_>,
    procedure: &Procedure,
    plan: &Plan,
    folds: &[Sums],
    wish: &Wish,
) -> anyhow::Result<Proposal> {
    let all = sum(plan, folds.iter());
    let chosen = suggest(plan, &all, wish, LEAST_FAULTS);
    let by_fold = (0..folds.len()).map(|out| {
        let others = folds.iter().enumerate().filter(|(fold, _)| *fold != out).map(|(_, sums)| sums);
        suggest(plan, &sum(plan, others), wish, 1)
    });
    let fitted = Fitted { plan, folds, wish, by_fold: by_fold.collect() };
    let mut dropped = Vec::new();
    let mut kept = Vec::new();
    let mut thin = Vec::new();
    for choice in &chosen.choices {
        let (costs, why) = fitted.kept_out(choice.menu, &choice.values);
        if let Some(why) = why {
            dropped.push(Dropped { values: choice.values.clone(), why });
            continue;
        }
        thin.extend(choice.thin.iter().copied());
        kept.extend(apart(procedure, &choice.values).into_iter().map(|values| (values, costs)));
    }
    let proposal = settle(bench, procedure, &fitted, kept, dropped)?;
    let is_kept = |thin: &Thin| proposal.values().iter().any(|(tunable, _)| tunable.rule == thin.rule);
    thin.retain(is_kept);
    let proposal = Proposal { too_few: chosen.too_few, thin, ..proposal };
    let unchanged = Unchanged::of((procedure, plan), &all, &proposal, &wish.loosen);
    Ok(Proposal { unchanged, ..proposal })
}

fn sum<'a>(plan: &Plan, folds: impl Iterator<Item = &'a Sums>) -> Sums {
    folds.fold(Sums::of(plan), Sums::plus)
}

/// The values of a choice one by one, where the procedure takes each of them and does without each.
fn apart(procedure: &Procedure, values: &[(Tunable, f64)]) -> Vec<Values> {
    let without = |left_out: usize| -> Values {
        let others = values.iter().enumerate().filter(|(place, _)| *place != left_out);
        others.map(|(_, value)| *value).collect()
    };
    let fits = |place: usize| {
        let own = [values[place]];
        with_values(procedure, &own).is_ok() && with_values(procedure, &without(place)).is_ok()
    };
    if (0..values.len()).all(fits) {
        values.iter().map(|value| vec![*value]).collect()
    } else {
        vec![values.to_vec()]
    }
}

impl Fitted<'_> {
    /// What the traces kept out cost with the present values of a menu and with those fitted without them,
    /// and why that is no reason to use them.
    fn kept_out(&self, menu: usize, values: &[(Tunable, f64)]) -> ((f64, f64), Option<String>) {
        let (mut now, mut then, mut worse_stops, mut with_faults) =
            (Figures::default(), Figures::default(), 0, 0);
        let named = values.iter().fold(RuleSet::EMPTY, |rules, (tunable, _)| rules.with(tunable.rule));
        for (sums, suggestion) in self.folds.iter().zip(&self.by_fold) {
            let choice = suggestion.choices.iter().find(|choice| choice.menu == menu);
            let point = choice.map(|choice| &self.plan.points[choice.point]);
            now = now.plus(&Figures::of(&together(sums, self.plan, None)));
            then = then.plus(&Figures::of(&together(sums, self.plan, point)));
            worse_stops += point.map_or(0, |point| stops_worse(sums, self.plan, point));
            with_faults += usize::from(sums.faults_of(named) > 0);
        }
        let costs = (now.cost(&self.wish.costs), then.cost(&self.wish.costs));
        let why = if self.folds.len() < 2 {
            Some("there is one trace alone, and none was kept out".to_owned())
        } else if with_faults < 2 {
            Some("all its faults are in traces that were kept out together".to_owned())
        } else {
            self.why_not(&now, &then, worse_stops)
        };
        (costs, why)
    }
    fn why_not(&self, now: &Figures, then: &Figures, worse_stops: u64) -> Option<String> {
        let costs = &self.wish.costs;
        if then.missed() > now.missed() {
            return Some(format!(
                "on traces kept out it missed {} faults, not {}",
                then.missed(),
                now.missed()
            ));
        }
        if worse_stops > 0 && self.wish.loosen.is_empty() {
            return Some(format!("on traces kept out {worse_stops} stops came later"));
        }
        let (now, then) = (now.cost(costs), then.cost(costs));
        (then > now - 1e-9)
            .then(|| format!("on traces kept out it gained nothing: it cost {then:.1}, the present {now:.1}"))
    }
    /// What was fitted without each part of the traces, as far as it is of these tunables.
    fn of_folds(&self, kept: &[(Values, (f64, f64))]) -> Vec<Values> {
        let is_kept = |tunable: Tunable| kept.iter().any(|(values, _)| values.iter().any(|v| v.0 == tunable));
        let of_fold = |suggestion: &Suggestion| -> Values {
            suggestion.values().into_iter().filter(|(tunable, _)| is_kept(*tunable)).collect()
        };
        self.by_fold.iter().map(of_fold).collect()
    }
}

/// Runs what is kept until every part of it has an effect of its own.
fn settle(
    bench: &Bench<'_>,
    procedure: &Procedure,
    fitted: &Fitted<'_>,
    mut kept: Vec<(Values, (f64, f64))>,
    mut dropped: Vec<Dropped>,
) -> anyhow::Result<Proposal> {
    let costs = &fitted.wish.costs;
    loop {
        let trial = Rerun::of(procedure, &kept, &fitted.of_folds(&kept))?;
        // Where nothing is left, all is known already.
        let folds = if kept.is_empty() { fitted.folds.to_vec() } else { bench.try_again(&trial.plan)? };
        let all = folds.iter().fold(Sums::of(&trial.plan), Sums::plus);
        let whole = Figures::of(&trial.score(&all, trial.whole));
        let effects: Vec<_> =
            trial.without.iter().map(|point| whole.minus(&Figures::of(&trial.score(&all, *point)))).collect();
        let saves = |effect: &Figures| is_worth(-effect.cost(costs), costs.false_alarm);
        let rules: Vec<_> = kept.iter().map(|(values, _)| values[0].0.rule).collect();
        let is_useless = |place: usize| !saves(&effects[place]);
        // One of a rule at a time: without it the others have another effect.
        let is_first =
            |place: usize| !(0..place).any(|before| rules[before] == rules[place] && is_useless(before));
        let useless: Vec<_> = (0..kept.len()).filter(|&place| is_useless(place) && is_first(place)).collect();
        if useless.is_empty() {
            return Ok(told(procedure, fitted, &trial, (&folds, &all), kept, effects, dropped));
        }
        for &place in useless.iter().rev() {
            let (values, _) = kept.remove(place);
            let why = format!("left out, it costs {:.1} less", effects[place].cost(costs).max(0.0));
            dropped.push(Dropped { values, why });
        }
    }
}

fn told(
    procedure: &Procedure,
    fitted: &Fitted<'_>,
    trial: &Rerun,
    (folds, all): (&[Sums], &Sums),
    kept: Vec<(Values, (f64, f64))>,
    effects: Vec<Figures>,
    dropped: Vec<Dropped>,
) -> Proposal {
    let fitted_on = trial.compared(all, trial.whole);
    let whole = Figures::of(&fitted_on.proposed).minus(&Figures::of(&fitted_on.now));
    let sum = effects.iter().fold(Figures::default(), Figures::plus);
    let kept_out = trial.kept_out(folds);
    let worse: u64 = folds.iter().zip(&trial.of_folds).map(|(sums, at)| trial.stops_worse(sums, *at)).sum();
    let worse = worse + trial.stops_worse(all, trial.whole);
    let why_not = match &kept_out {
        _ if kept.is_empty() => None,
        None => Some("there is one trace alone, and none was kept out".to_owned()),
        Some(out) => fitted.why_not(&Figures::of(&out.now), &Figures::of(&out.proposed), worse),
    };
    let parts = kept.into_iter().zip(effects).map(|((values, kept_out), effect)| {
        let rules = values.iter().map(|(tunable, _)| tunable.rule).fold(RuleSet::EMPTY, RuleSet::with);
        let point = trial.whole.map(|at| &trial.plan.points[at]);
        let (hits, faults) = point.map_or((0, 0), |point| all.found_at(&trial.plan, point, rules));
        let loosens_a_stop =
            values.iter().any(|(tunable, value)| loosens_a_stop(procedure, *tunable, *value));
        let late =
            |rule| point.map(|point| all.lateness(&trial.plan, point, rule)).into_iter().flatten().flatten();
        let worst_late_s =
            rules.iter().flat_map(late).max().map_or(0.0, |late_us| late_us as f64 / 1e6).max(0.0);
        Part {
            values,
            effect,
            worst_late_s,
            found: Share::of(hits, faults),
            hits,
            faults,
            loosens_a_stop,
            kept_out,
        }
    });
    Proposal {
        parts: parts.collect(),
        interplay: whole.minus(&sum),
        whole,
        dropped,
        too_few: Vec::new(),
        thin: Vec::new(),
        unchanged: Unchanged::default(),
        fitted: fitted_on,
        kept_out,
        folds: fitted.folds.len(),
        why_not,
    }
}
