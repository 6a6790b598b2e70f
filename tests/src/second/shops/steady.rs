//! A shop in which nothing goes wrong.
//!
//! Decides: machines, operators in blocks, spools, bottles, tips, weather, crater fills and flagged joints.
//! Assumes: every change of these is in the records; only the everyday scatter is not.

use super::calendar::ambient_c;
use super::conditions::{Conditions, Signed};
use super::wander::Wander;
use crate::second::random::Chance;
use crate::second::upset::Upset;

/// A shop and its joints, in the order of time.
#[derive(Clone, Debug)]
pub struct Shop {
    /// What it was drawn from.
    pub seed: u64,
    /// Machines in its log.
    pub machines: usize,
    /// Operators.
    pub operators: usize,
    /// Correlation of the scatter from joint to joint.
    pub kept: f64,
    /// Days that its log spans.
    pub days: f64,
    /// Its joints.
    pub joints: Vec<Conditions>,
}

/// What is the same on a machine, or with an operator.
#[derive(Clone, Copy, Debug)]
struct Manner {
    source_v: f64,
    lift_mm: f64,
    gas: f64,
    turning: f64,
    weave_rate: f64,
    preheat_k: f64,
}

impl Manner {
    fn drawn(scale: f64, chance: &mut Chance) -> Self {
        Self {
            source_v: chance.around(0.0, 0.12 * scale),
            lift_mm: chance.around(0.0, 0.5 * scale),
            gas: chance.around(0.0, 0.015 * scale),
            turning: chance.around(0.0, 0.003 * scale),
            weave_rate: chance.around(0.0, 0.01 * scale),
            preheat_k: chance.around(0.0, 6.0 * scale),
        }
    }
    fn put(&self, joint: &mut Conditions) {
        joint.upset.source_v += self.source_v;
        joint.upset.lift_mm += self.lift_mm;
        joint.upset.gas *= 1.0 + self.gas;
        joint.upset.turning *= 1.0 + self.turning;
        joint.upset.weave_rate *= 1.0 + self.weave_rate;
        joint.preheat_k += self.preheat_k;
    }
}

/// What is used up and renewed: its number, how many joints are left of it, and what it does.
#[derive(Clone, Copy, Debug)]
struct Supply {
    number: usize,
    left: usize,
    effect: f64,
    lasts: (f64, f64),
    deviation: f64,
}

impl Supply {
    fn new(lasts: (f64, f64), deviation: f64, chance: &mut Chance) -> Self {
        let mut supply = Self { number: 0, left: 0, effect: 0.0, lasts, deviation };
        supply.next(chance);
        // The log begins anywhere in its life.
        supply.left = chance.between(0.0, supply.left as f64) as usize;
        supply
    }
    fn next(&mut self, chance: &mut Chance) -> (usize, f64) {
        if self.left == 0 {
            self.number += 1;
            self.left = chance.between(self.lasts.0, self.lasts.1) as usize;
            self.effect = chance.around(0.0, self.deviation);
        }
        self.left -= 1;
        (self.number, self.effect)
    }
}

impl Shop {
    /// One of 60 to 80 joints.
    pub fn drawn(seed: u64) -> Self {
        let mut chance = Chance::new(seed, 20);
        let machines = chance.pick(&[1, 1, 1, 2, 3]);
        let joints = chance.between(60.0, 81.0) as usize;
        Self::of(seed, machines, joints, &mut chance)
    }
    /// One with so many machines and joints.
    pub fn of(seed: u64, machines: usize, joints: usize, chance: &mut Chance) -> Self {
        let operators = chance.pick(&[1, 2, 3]);
        let kept = chance.pick(&[0.0, 0.1, 0.2, 0.3]);
        let days_a_joint = chance.pick(&[0.25, 1.0, 5.0]);
        let from_day = chance.between(0.0, 365.0);
        let manners: Vec<Manner> = (0..operators).map(|_| Manner::drawn(1.0, chance)).collect();
        let mut all: Vec<Conditions> = Vec::new();
        for machine in 1..=machines {
            let own = joints / machines + usize::from(machine <= joints % machines);
            let days =
                |at: usize| from_day + (at as f64 + machine as f64 * 0.3) * days_a_joint * machines as f64;
            all.extend(Line::new(machine, kept, chance).joints(own, days, &manners, chance));
        }
        all.sort_by(|one, next| one.day.total_cmp(&next.day));
        let days = days_a_joint * joints as f64;
        Self { seed, machines, operators, kept, days, joints: all }
    }
}

/// One machine and its joints.
struct Line {
    machine: usize,
    manner: Manner,
    wander: Wander,
    spool: Supply,
    bottle: Supply,
    tip: Supply,
    /// What a degree of the hall does: source in V, gas and coolant as shares, preheat in K.
    weather: [f64; 4],
    flagged: Vec<usize>,
}

impl Line {
    fn new(machine: usize, kept: f64, chance: &mut Chance) -> Self {
        let many = if chance.happens(0.5) { chance.pick(&[1, 2, 3]) } else { 0 };
        Self {
            machine,
            manner: Manner::drawn(2.0, chance),
            wander: Wander::new(kept, chance),
            // A joint takes 29 m of wire, 0.43 kg: a spool of 15 kg is 35 joints, less where the rest is left.
            spool: Supply::new((26.0, 36.0), 0.015, chance),
            // It takes 86 L of gas: a bottle of 10 m3 is 116 joints.
            bottle: Supply::new((100.0, 117.0), 0.01, chance),
            tip: Supply::new((25.0, 41.0), 0.3, chance),
            weather: [
                -chance.between(0.002, 0.01),
                -chance.between(0.0005, 0.002),
                chance.between(0.001, 0.004),
                chance.between(0.2, 0.6),
            ],
            flagged: (0..many).map(|_| chance.between(1.0, 20.0) as usize).collect(),
        }
    }
    fn joints(
        mut self,
        many: usize,
        day: impl Fn(usize) -> f64,
        manners: &[Manner],
        chance: &mut Chance,
    ) -> Vec<Conditions> {
        let (mut operator, mut left) = (0, 0_usize);
        let mut joints = Vec::with_capacity(many);
        for at in 0..many {
            if left == 0 {
                operator = (operator + chance.pick(&[1, 2])) % manners.len();
                left = chance.between(6.0, 16.0) as usize;
            }
            left -= 1;
            let mut joint = self.joint(at, day(at), chance);
            joint.operator = operator + 1;
            manners[operator].put(&mut joint);
            joints.push(joint);
        }
        joints
    }
    fn joint(&mut self, at: usize, day: f64, chance: &mut Chance) -> Conditions {
        let ambient_c = ambient_c(day, chance);
        let (spool, lot) = self.spool.next(chance);
        let (bottle, mixture) = self.bottle.next(chance);
        let (tip, seat_mm) = self.tip.next(chance);
        let [source, gas, coolant, preheat] = self.weather.map(|a_degree| a_degree * (ambient_c - 15.0));
        let upset = Upset {
            source_v: source,
            gas: (1.0 + gas) * (1.0 + mixture),
            coolant: 1.0 + coolant,
            lift_mm: seat_mm,
            ..Upset::default()
        };
        let mut joint = Conditions {
            day,
            machine: self.machine,
            operator: 1,
            spool,
            bottle,
            tip,
            revision: 1,
            ambient_c,
            setting: self.wander.next(chance),
            upset,
            metal: 1.0 + lot,
            preheat_k: preheat,
            crater_s: if at % 5 == 4 { 2.5 } else { 0.0 },
            signed: Signed::Proven,
        };
        self.manner.put(&mut joint);
        if self.flagged.contains(&at) {
            flag(&mut joint, chance);
        }
        joint
    }
}

/// A joint that went wrong by itself, and says so.
fn flag(joint: &mut Conditions, chance: &mut Chance) {
    if chance.happens(0.5) {
        joint.signed = Signed::NotProven;
    } else {
        joint.signed = Signed::Broken;
        joint.upset.gas *= 0.75;
    }
}
