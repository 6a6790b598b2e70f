//! Settings for a budget of false alarms.
//!
//! Decides: which of the settings that were tried to propose, and why.
//! Assumes: scores of the traces to fit on, and of no other.
//! Never: proposes a setting that misses more faults than another one does, nor one that repeats itself
//! more or stands beside other faults more than the present one; nor, unless that finds more faults, an
//! on-delay or a deadband below both the present and the usual one: traces that show no false alarm
//! are no reason to do without a guard.
//!
//! Of the settings that find the most, the soonest within the budget is the measure. One that comes up to
//! an allowance later is preferred where it keeps further from the next false alarm: its on-delay is
//! further above the longest time for which good welding was outside ([`WIDE`] times is wide enough),
//! then its deadband further above what the value wanders ([`DEVIATIONS`]). Where the present setting does
//! as well, it stays.
//!
//! [`WIDE`]: super::margins::WIDE
//! [`DEVIATIONS`]: super::margins::DEVIATIONS
//!
//! What an on-delay and a deadband are for (to outlast what passes by itself, to be wider than the noise
//! about a limit) and the budget are of alarm management: ANSI/ISA-18.2 and IEC 62682, from memory. The
//! two factors are common practice, no source.

use super::Sums;
use super::margins::Thin;
use super::menu::{Menu, Tried};
use super::plan::Plan;
use super::tunable::{Key, Tunable};
use bandward::{Procedure, Rule};

/// False alarms an hour where no other budget is given: one in ten minutes, the long-term average of
/// all alarms that an operator can very likely live with (ANSI/ISA-18.2 and IEC 62682, from memory).
pub const BUDGET_PER_HOUR: f64 = 6.0;
/// How much later alarms may come for a wider margin where nothing else is said, s.
pub const DELAY_ALLOWANCE_S: f64 = 1.0;

/// On-delays to try where none are named, beside the present and the usual one, s.
const ON_DELAYS_S: [f64; 10] = [0.1, 0.2, 0.3, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0, 5.0];
/// Deadbands to try where none are named, in present ones to three digits, beside the usual one.
const DEADBANDS: [f64; 3] = [0.5, 2.0, 4.0];

/// What may be asked of a proposal.
#[derive(Clone, Copy, Debug)]
pub struct Wish {
    /// False alarms an hour that can be lived with.
    pub budget_per_hour: f64,
    /// How much later than the soonest setting within the budget alarms may come for a wider margin, s.
    pub delay_allowance_s: f64,
}

/// Other values for some tunables, and why.
#[derive(Clone, Debug, PartialEq)]
pub struct Change {
    /// The values that differ from the present ones, in house units.
    pub values: Vec<(Tunable, f64)>,
    /// Why they are preferred to the present ones; never empty.
    pub because: Vec<Because>,
}

/// A reason for other values.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Because {
    /// They find more faults.
    FindsMore {
        /// Faults found.
        found: u64,
        /// Faults found as it is.
        now: u64,
    },
    /// They raise fewer false alarms.
    FewerFalseAlarms {
        /// False alarms.
        count: u64,
        /// False alarms as it is.
        now: u64,
    },
    /// They keep further from false alarms.
    WiderMargin {
        /// How long good welding was outside at a time, at most, s.
        longest_s: f64,
        /// The on-delay in such times; [`WIDE`](super::margins::WIDE) is wide enough.
        margin: f64,
    },
    /// The deadband is further above what the value wanders.
    WiderDeadband {
        /// Standard deviation of the value on good welding, in its house unit.
        deviation: f64,
    },
    /// They find as much, sooner, with as wide a margin.
    Sooner {
        /// By so much, in the mean, s.
        by_s: f64,
    },
    /// They repeat themselves less, or stand less beside other faults.
    FewerRepeats {
        /// Alarms about what was known.
        count: u64,
        /// Such alarms as it is.
        now: u64,
    },
}

/// What is proposed.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Suggestion {
    /// What to change.
    pub changes: Vec<Change>,
    /// Where the margin stays thinner than [`WIDE`](super::margins::WIDE).
    pub thin: Vec<Thin>,
}

impl Suggestion {
    /// All values that differ from the present ones.
    pub fn values(&self) -> Vec<(Tunable, f64)> {
        self.changes.iter().flat_map(|change| change.values.iter().copied()).collect()
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

/// The settings of a plan to propose.
///
/// Points that name the same tunables are ways to set these; one of each such group is chosen.
pub fn suggest(plan: &Plan, fitted_on: &Sums, wish: Wish) -> Suggestion {
    let tunables = |at: usize| plan.points[at].values.iter().map(|(tunable, _)| *tunable);
    let places: Vec<_> = (0..plan.points.len()).collect();
    let menus: Vec<_> = places
        .chunk_by(|&one, &next| tunables(one).eq(tunables(next)))
        .filter_map(|group| Menu::of(plan, fitted_on, group))
        .collect();
    let chosen = within_budget(fitted_on, &menus, wish.budget_per_hour);
    let mut suggestion = Suggestion::default();
    for (menu, at) in menus.iter().zip(chosen) {
        let setting = menu.robust(&menu.settings[at], wish.delay_allowance_s);
        suggestion.changes.extend(change(&plan.variants[0], menu, setting));
        suggestion.thin.extend(setting.thin.iter().copied());
    }
    suggestion
}

/// For each menu the soonest setting, or one that is later by as little as it takes to be within the
/// budget together. Where the rules on no menu alone are over it, the others are not made to pay.
fn within_budget(fitted_on: &Sums, menus: &[Menu], budget_per_hour: f64) -> Vec<usize> {
    let allowed = budget_per_hour * fitted_on.sound_hours();
    let is_on_a_menu = |rule: &Rule| menus.iter().any(|menu| menu.rules.contains(*rule));
    let others = Rule::ALL.into_iter().filter(|rule| !is_on_a_menu(rule));
    let fixed: u64 = others.map(|rule| fitted_on.as_it_is(rule).false_alarms).sum();
    let room = if fixed as f64 <= allowed { allowed - fixed as f64 } else { allowed };
    let mut chosen: Vec<_> = menus.iter().map(Menu::soonest).collect();
    loop {
        let now = |menu: usize| &menus[menu].settings[chosen[menu]];
        let sum: u64 = (0..menus.len()).map(|menu| now(menu).false_alarms).sum();
        if sum as f64 <= room {
            return chosen;
        }
        // The step that saves the most false alarms for the time it costs.
        let steps = menus.iter().enumerate().flat_map(|(which, menu)| {
            let now = now(which);
            menu.settings.iter().enumerate().filter_map(move |(at, other)| {
                let saved = now.false_alarms.checked_sub(other.false_alarms)?;
                let cost_s = (other.late_s - now.late_s).max(0.0) + 0.01;
                (saved > 0).then_some((saved as f64 / cost_s, which, at))
            })
        });
        let Some((_, which, at)) = steps.max_by(|one, other| one.0.total_cmp(&other.0)) else {
            return chosen;
        };
        chosen[which] = at;
    }
}

/// What is to be changed, where anything is.
fn change(procedure: &Procedure, menu: &Menu, setting: &Tried) -> Option<Change> {
    let differs = |(tunable, value): &(Tunable, f64)| tunable.value(procedure) != Some(*value);
    let values: Vec<_> = setting.values.iter().copied().filter(differs).collect();
    if values.is_empty() || setting.is_present {
        return None;
    }
    let (now, mut because) = (&menu.now, Vec::new());
    if setting.missed < now.missed {
        because.push(Because::FindsMore { found: setting.found, now: now.found });
    }
    if setting.false_alarms < now.false_alarms {
        because.push(Because::FewerFalseAlarms { count: setting.false_alarms, now: now.false_alarms });
    }
    if let Some(longest_s) = setting.longest_s.filter(|_| setting.margin > now.margin) {
        because.push(Because::WiderMargin { longest_s, margin: setting.margin });
    }
    if let Some(deviation) = setting.deviation.filter(|_| setting.cover > now.cover) {
        because.push(Because::WiderDeadband { deviation });
    }
    if setting.late_s < now.late_s && setting.missed == now.missed {
        because.push(Because::Sooner { by_s: now.late_s - setting.late_s });
    }
    if setting.nuisance < now.nuisance {
        because.push(Because::FewerRepeats { count: setting.nuisance, now: now.nuisance });
    }
    (!because.is_empty()).then_some(Change { values, because })
}
