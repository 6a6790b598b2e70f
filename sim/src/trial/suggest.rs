//! Settings that cost less than the present ones.
//!
//! Decides: which of the settings that were tried to propose on the traces they were fitted on.
//! Assumes: scores of the traces to fit on, and of no other.
//! Never: proposes anything about a rule of whose faults there are too few; nor a setting that misses a
//! fault which is found now, loosens a stop unasked, or is later than the allowance; nor, unless that
//! finds more faults, an on-delay or a deadband below both the present and the usual one: traces that
//! show no false alarm are no reason to do without a guard.
//!
//! Of the settings of a rule the one that costs least ([`Costs`](super::cost::Costs)) is chosen, where it saves at least what a
//! false alarm costs. What is seen on the traces it was fitted on is no proof; see [`super::propose`].
//!
//! What an on-delay and a deadband are for (to outlast what passes by itself, to be wider than the noise
//! about a limit) and the budget are of alarm management: ANSI/ISA-18.2 and IEC 62682, from memory.

use super::Sums;
use super::margins::{LEAST_TO_LOOSEN, Thin};
use super::menu::Menu;
use super::plan::Plan;
use super::tunable::{Key, Tunable};
use super::wish::Wish;
use bandward::Rule;

/// From fewer faults of a rule nothing is proposed about it: of three that were all found the share found
/// is known to be above 29 % only (Clopper and Pearson).
pub const LEAST_FAULTS: u64 = 3;

/// On-delays to try where none are named, beside the present and the usual one, s.
const ON_DELAYS_S: [f64; 10] = [0.1, 0.2, 0.3, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0, 5.0];
/// Deadbands to try where none are named, in present ones to three digits, beside the usual one.
const DEADBANDS: [f64; 3] = [0.5, 2.0, 4.0];

/// Other values for the tunables of one menu.
#[derive(Clone, Debug, PartialEq)]
pub struct Choice {
    /// The place of the menu's first point in the plan: what tells it from other menus.
    pub menu: usize,
    /// The place of the chosen setting in the plan.
    pub point: usize,
    /// The values that differ from the present ones, in house units.
    pub values: Vec<(Tunable, f64)>,
    /// The rules that good welding comes near, with these values.
    pub thin: Vec<Thin>,
}

/// A rule about which nothing can be proposed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TooFew {
    /// The rule.
    pub rule: Rule,
    /// The faults that its own alarms find, now or with one of the settings.
    pub faults: u64,
    /// Its false alarms.
    pub false_alarms: u64,
}

/// What is proposed.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Suggestion {
    /// What to change.
    pub choices: Vec<Choice>,
    /// What nothing can be said about.
    pub too_few: Vec<TooFew>,
}

impl Suggestion {
    /// All values that differ from the present ones.
    pub fn values(&self) -> Vec<(Tunable, f64)> {
        self.choices.iter().flat_map(|choice| choice.values.iter().copied()).collect()
    }
}

/// Adds to a plan on-delays and deadbands of every rule that is no channel's.
///
/// # Errors
/// Never, with a procedure that is sound.
pub fn add_usual_settings(plan: &mut Plan) -> anyhow::Result<()> {
    let procedure = plan.variants[0].clone();
    for rule in Rule::ALL.into_iter().filter(|rule| !rule.is_about_a_channel()) {
        let tunables = [Key::OnDelay, Key::Deadband].map(|key| Tunable { rule, key });
        let present: Vec<_> =
            tunables.into_iter().filter_map(|tunable| Some((tunable, tunable.value(&procedure)?))).collect();
        let with_delay = |delay_s: &f64| {
            let mut values = present.clone();
            values
                .iter_mut()
                .filter(|(tunable, _)| tunable.key == Key::OnDelay)
                .for_each(|(_, s)| *s = *delay_s);
            values
        };
        let mut settings: Vec<_> =
            to_try(present.first(), &ON_DELAYS_S, 1.0).iter().map(with_delay).collect();
        if let Some(&(tunable, deadband)) = present.get(1) {
            let deadbands = to_try(Some(&(tunable, deadband)), &DEADBANDS, deadband);
            let each = |values: &Vec<(Tunable, f64)>| {
                let with = |&deadband: &f64| [&values[..1], &[(tunable, deadband)]].concat();
                deadbands.iter().map(with).collect::<Vec<_>>()
            };
            settings = settings.iter().flat_map(each).collect();
        }
        for values in settings {
            plan.add(&values)?;
        }
    }
    Ok(())
}

/// The present value, the usual one, and multiples of `unit`.
fn to_try(present: Option<&(Tunable, f64)>, multiples: &[f64], unit: f64) -> Vec<f64> {
    let given: Vec<_> =
        present.iter().flat_map(|(tunable, value)| [Some(*value), tunable.usual_value()]).flatten().collect();
    // A deadband is held in binary fractions: twice 0.2998 is meant to be 0.6.
    let rounded = |value: f64| format!("{value:.2e}").parse::<f64>().unwrap_or(value);
    let is_new = |value: &f64| given.iter().all(|known| (value - known).abs() > 0.01 * known);
    let mut all: Vec<_> = multiples.iter().map(|multiple| rounded(multiple * unit)).filter(is_new).collect();
    all.extend(&given);
    all.sort_by(f64::total_cmp);
    all.dedup();
    all
}

/// The settings of a plan to propose, where there are at least so many faults of a rule.
///
/// Points that name the same tunables are ways to set these; one of each such group is chosen.
pub fn suggest(plan: &Plan, fitted_on: &Sums, wish: &Wish, least_faults: u64) -> Suggestion {
    let tunables = |at: usize| plan.points[at].values.iter().map(|(tunable, _)| *tunable);
    let places: Vec<_> = (0..plan.points.len()).collect();
    let mut suggestion = Suggestion::default();
    // On a part of the traces there are fewer.
    let least_to_loosen = if least_faults < LEAST_FAULTS { least_faults } else { LEAST_TO_LOOSEN };
    for group in places.chunk_by(|&one, &next| tunables(one).eq(tunables(next))) {
        let mut named: Vec<_> = tunables(group[0]).map(|tunable| tunable.rule).collect();
        named.dedup();
        let too_few = named.iter().filter_map(|&rule| too_few(plan, fitted_on, group, (rule, least_faults)));
        let too_few: Vec<_> = too_few.collect();
        if !too_few.is_empty() {
            suggestion.too_few.extend(too_few);
            continue;
        }
        let Some(menu) = Menu::of(plan, fitted_on, group, wish, least_to_loosen) else { continue };
        let Some(best) = menu.best(wish.costs.false_alarm) else { continue };
        let present = &plan.variants[0];
        let differs = |(tunable, value): &(Tunable, f64)| tunable.value(present) != Some(*value);
        suggestion.choices.extend(best.point.map(|point| Choice {
            menu: group[0],
            point,
            values: best.values.iter().copied().filter(differs).collect(),
            thin: best.thin.clone(),
        }));
    }
    suggestion
}

/// What the rule's own alarms find, now or with one of the settings: what others find tells nothing of it.
fn too_few(plan: &Plan, fitted_on: &Sums, group: &[usize], (rule, least): (Rule, u64)) -> Option<TooFew> {
    let faults = fitted_on.most_found_by_itself(plan, group, rule);
    let false_alarms = fitted_on.as_it_is(rule).false_alarms;
    (faults < least).then_some(TooFew { rule, faults, false_alarms })
}
