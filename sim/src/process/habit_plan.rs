//! What the technician will do on one band.
//!
//! Decides: how much of each habit there is, from the seed, the joint and the band alone.
//! Assumes: a stream of random numbers for each habit, so that switching one on leaves the others as
//! they were.
//! Never: looks at what happens.

use super::habit::{Between, HabitKind, Habits};
use super::random::Noise;

/// A short arc before a band.
#[derive(Clone, Copy, Debug, PartialEq)]
#[allow(clippy::struct_field_names)] // the unit belongs to each name
pub struct Tack {
    /// Time of arc, s.
    pub arc_s: f64,
    /// Speed at which the pipe creeps under it, degrees a second.
    pub creep_deg_per_s: f64,
    /// From its end to the next thing, s.
    pub pause_s: f64,
}

/// A flame before the pyrometer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Flame {
    /// While the band is laid, or while it is waited for?
    pub welding: bool,
    /// Where in that time it begins, 0 to 1.
    pub from: f64,
    /// How long it stands, s.
    pub lasts_s: f64,
    /// How much it shows above the work, °C.
    pub rise_c: f64,
}

/// What will be done on one band.
#[derive(Clone, Debug, PartialEq)]
pub struct BandPlan {
    /// Short arcs before it, the last one first.
    pub tacks: Vec<Tack>,
    /// From when after the arc start the arc is out, and for how long, s.
    pub restrikes: Vec<(f64, f64)>,
    /// The spindle starts so long after the arc, s.
    pub spindle_late_s: f64,
    /// The spindle stops so long before the end of the arc, s.
    pub spindle_early_s: f64,
    /// Time of the crater fill, s.
    pub crater_s: f64,
    /// Surge of the gas as a share of the flow.
    pub surge: f64,
    /// Speed of the pipe before the band against that while welding; negative turns back.
    pub turning_before: f64,
    /// A flame before the pyrometer.
    pub flame: Option<Flame>,
}

/// Shortest and longest time without arc of a restrike, s. Common practice, no source.
const RESTRIKE_S: (f64, f64) = (0.04, 0.08);
/// Restrikes are this far apart: three of them lie in the first second, s.
const RESTRIKE_EVERY_S: f64 = 0.3;
/// Shortest arc of a fidgeting finger, s.
const SHORTEST_TACK_S: f64 = 0.2;

impl BandPlan {
    /// For `band` of `joint`, both from 1.
    pub fn draw(habits: &Habits, seed: u64, joint: u16, band: u16) -> Self {
        let place = u64::from(joint) * 1000 + u64::from(band);
        let stream = |kind: HabitKind| {
            Noise::new(seed.wrapping_add(place.wrapping_mul(0x2545_f491_4f6c_dd1d)), 400 + kind as u64)
        };
        let part = |kind, least: f64, most: f64| most * stream(kind).uniform(least, 1.0);
        Self {
            tacks: tacks(habits, &mut stream(HabitKind::Tack)),
            restrikes: restrikes(habits, &mut stream(HabitKind::Restrike)),
            spindle_late_s: part(HabitKind::SpindleLate, 0.2, habits.spindle_late_s),
            spindle_early_s: part(HabitKind::SpindleEarly, 0.2, habits.spindle_early_s),
            crater_s: part(HabitKind::CraterFill, 0.5, habits.crater_s),
            surge: part(HabitKind::GasSurge, 0.6, habits.gas_surge),
            turning_before: turning(habits.between, &mut stream(HabitKind::TurningBetween)),
            flame: flame(habits, &mut stream(HabitKind::Flame)),
        }
    }
    /// The band goes on under the arc of the one before.
    pub fn continue_under_the_arc(&mut self) {
        self.tacks.clear();
        self.restrikes.clear();
        self.spindle_late_s = 0.0;
    }
    /// The band is broken off: no care is taken of its end.
    pub fn break_off(&mut self) {
        (self.crater_s, self.spindle_early_s) = (0.0, 0.0);
    }
}

fn tacks(habits: &Habits, noise: &mut Noise) -> Vec<Tack> {
    if noise.uniform(0.0, 1.0) >= habits.tack_chance {
        return Vec::new();
    }
    let tacks = (0..=noise.pick(2)).map(|_| Tack {
        arc_s: noise.uniform(SHORTEST_TACK_S.min(habits.tack_s), habits.tack_s),
        creep_deg_per_s: noise.uniform(0.0, 1.5),
        pause_s: noise.uniform(2.0, 6.0),
    });
    tacks.collect()
}

fn restrikes(habits: &Habits, noise: &mut Noise) -> Vec<(f64, f64)> {
    let restrikes = (0..noise.pick(usize::from(habits.restrikes) + 1)).map(|index| {
        let from_s = 0.05 + RESTRIKE_EVERY_S * index as f64 + noise.uniform(0.0, 0.15);
        (from_s, noise.uniform(RESTRIKE_S.0, RESTRIKE_S.1))
    });
    restrikes.collect()
}

fn turning(between: Between, noise: &mut Noise) -> f64 {
    let (faster, back) = (noise.uniform(1.5, 4.0), -noise.uniform(1.0, 3.0));
    match between {
        Between::Stops => 0.0,
        Between::Faster => faster,
        Between::Back => back,
        Between::Mixed => [0.0, faster, back][noise.pick(3)],
    }
}

fn flame(habits: &Habits, noise: &mut Noise) -> Option<Flame> {
    let comes = noise.uniform(0.0, 1.0) < habits.flame_chance;
    let flame = Flame {
        welding: noise.pick(2) == 1,
        from: noise.uniform(0.0, 0.8),
        lasts_s: habits.flame_s * noise.uniform(0.5, 1.0),
        rise_c: habits.flame_rise_c * noise.uniform(0.5, 1.0),
    };
    comes.then_some(flame)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plans(habits: Habits) -> Vec<BandPlan> {
        (0..300).map(|seed| BandPlan::draw(&habits, seed, 1, 1)).collect()
    }

    #[test]
    fn restrikes_are_short_and_apart_and_within_the_first_second() {
        let mut seen = [false; 4];
        for plan in plans(Habits::EVERYDAY) {
            seen[plan.restrikes.len()] = true;
            for &(from_s, lasts_s) in &plan.restrikes {
                assert!((0.04..=0.08).contains(&lasts_s) && from_s + lasts_s < 1.0);
            }
            for pair in plan.restrikes.windows(2) {
                assert!(pair[1].0 > pair[0].0 + pair[0].1 + 0.05);
            }
        }
        assert_eq!(seen, [true; 4]);
    }

    #[test]
    fn no_habit_draws_another_ones_numbers() {
        let few = Habits { restrikes: 0, tack_chance: 0.0, ..Habits::EVERYDAY };
        for (all, some) in plans(Habits::EVERYDAY).into_iter().zip(plans(few)) {
            assert_eq!(BandPlan { tacks: Vec::new(), restrikes: Vec::new(), ..all }, some);
        }
    }

    #[test]
    fn without_habits_nothing_is_planned() {
        let nothing = BandPlan {
            tacks: Vec::new(),
            restrikes: Vec::new(),
            spindle_late_s: 0.0,
            spindle_early_s: 0.0,
            crater_s: 0.0,
            surge: 0.0,
            turning_before: 0.0,
            flame: None,
        };
        assert!(plans(Habits::NONE).iter().all(|plan| *plan == nothing));
    }

    #[test]
    fn chances_are_met_and_every_way_of_turning_comes() {
        let plans = plans(Habits::EVERYDAY);
        let share = |count: usize| count as f64 / plans.len() as f64;
        // Five standard errors of 300 draws either way.
        let tacked = share(plans.iter().filter(|plan| !plan.tacks.is_empty()).count());
        assert!((tacked - 0.4).abs() < 5.0 * 0.0283, "{tacked}");
        let flames = share(plans.iter().filter(|plan| plan.flame.is_some()).count());
        assert!((flames - 0.3).abs() < 5.0 * 0.0265, "{flames}");
        for way in [-1.0, 0.0, 1.0] {
            let met =
                share(plans.iter().filter(|plan| (sign(plan.turning_before) - way).abs() < 0.5).count());
            assert!((met - 1.0 / 3.0).abs() < 5.0 * 0.0272, "{way}: {met}");
        }
    }

    fn sign(value: f64) -> f64 {
        if value == 0.0 { 0.0 } else { value.signum() }
    }
}
