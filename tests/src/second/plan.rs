//! What the welder is going to do on one joint, act by act.
//!
//! Decides: the order of acts, and what a fault changes in it.
//! Assumes: the machine carries the acts out one after the other.

use super::fault::{Fault, Shape};
use super::habits::{Habits, Nudge, Restrike};
use super::kinds::Kind;
use super::random::Chance;
use super::rig::Rig;
use super::shop;

/// One act.
#[derive(Clone, Debug)]
pub enum Act {
    /// Waits; the pipe turns at this speed, and a flame may pass the pyrometer.
    Wait {
        /// How long, s.
        s: f64,
        /// Speed of the pipe, degrees a second.
        turning_deg_s: f64,
        /// Brings the ring to this temperature, degrees Celsius.
        flame: Option<Flame>,
    },
    /// A short arc that hardly turns.
    Tack {
        /// How long, s.
        s: f64,
    },
    /// Gas before the arc.
    Lead {
        /// How long, s.
        s: f64,
        /// Brings the ring to this temperature at once: nobody saw it heat or cool.
        ring_c: Option<f64>,
    },
    /// Lays a band.
    Weld(Box<Weld>),
    /// Gas after the arc.
    Trail {
        /// How long, s.
        s: f64,
    },
    /// The carriage goes to a place.
    Carriage {
        /// Where to, mm.
        to_mm: f64,
        /// In what time, s.
        s: f64,
    },
    /// The trace ends here.
    End,
}

/// A burner that passes the pyrometer.
#[derive(Clone, Copy, Debug)]
pub struct Flame {
    /// From when in the wait, s.
    pub at_s: f64,
    /// How long, s.
    pub lasts_s: f64,
    /// How much hotter it looks, K.
    pub rise_k: f64,
}

/// How the carriage moves under the arc.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Advance {
    /// It stands: each band has an arc of its own.
    Stands,
    /// It steps after each turn, the arc burning.
    Steps,
    /// It moves on steadily, a step a turn.
    Spiral,
}

/// A band, or several under one arc.
#[derive(Clone, Debug)]
pub struct Weld {
    /// Its number, from 1.
    pub band: usize,
    /// Turns under this arc.
    pub turns: f64,
    /// What the carriage does meanwhile.
    pub advance: Advance,
    /// Breaks of the arc as it starts.
    pub restrikes: Vec<Restrike>,
    /// How long after the arc the pipe starts, s; negative: before it.
    pub spindle_lag_s: f64,
    /// Angle past the turns at which the arc ends, degrees.
    pub overlap_deg: f64,
    /// A timer ends the band, set for this time; else the angle does.
    pub timer_s: Option<f64>,
    /// How long before the arc's end the pipe stops, s.
    pub stops_early_s: f64,
    /// Length of the crater fill, s; 0: none.
    pub crater_s: f64,
    /// Corrections by hand.
    pub nudges: Vec<Nudge>,
    /// The trace ends at this angle.
    pub cut_deg: Option<f64>,
}

/// The usual speed of the pipe, degrees a second.
pub const SPEED_DEG_S: f64 = 360.0 / shop::TURN_S;

/// The acts of a joint with these habits and faults.
pub fn acts(rig: &Rig, habits: &Habits, faults: &[Fault], advance: Advance, chance: &mut Chance) -> Vec<Act> {
    let is = |kind: Kind| faults.iter().find(|fault| fault.kind == kind);
    let mut acts = Vec::new();
    acts.push(Act::Carriage { to_mm: 0.0, s: 0.5 });
    let arcs = if advance == Advance::Stands { shop::BANDS } else { 1 };
    let arcs = arcs + usize::from(is(Kind::ExtraBand).is_some());
    let mut place_mm = 0.0;
    for band in 1..=arcs {
        if is(Kind::MissingBand).is_some_and(|fault| fault.band == band) {
            continue;
        }
        if band > 1 {
            place_mm += shop::STEP_MM + chance.around(0.0, 0.06) + step_error(faults, band);
            acts.push(Act::Carriage { to_mm: place_mm, s: chance.between(1.0, 3.0) });
        }
        acts.extend(before(habits, band, chance));
        let here: Vec<_> = faults.iter().filter(|fault| fault.band == band).collect();
        acts.push(lead(rig, &here, chance));
        let weld = weld(habits, band, advance, &here, faults, chance);
        let is_cut = weld.cut_deg.is_some();
        acts.push(Act::Weld(Box::new(weld)));
        if is_cut {
            acts.push(Act::End);
            return acts;
        }
        let short = here.iter().find(|fault| fault.kind == Kind::NoPostflow);
        acts.push(Act::Trail { s: short.map_or_else(|| chance.between(4.6, 7.0), |fault| fault.size()) });
        if here.iter().any(|fault| fault.kind == Kind::StoppedEarly) && chance.happens(0.5) {
            break;
        }
    }
    acts.extend(after(habits, chance));
    acts
}

fn step_error(faults: &[Fault], band: usize) -> f64 {
    let is_step =
        |fault: &&Fault| matches!(fault.kind, Kind::StepShort | Kind::StepLong) && fault.band == band;
    faults.iter().filter(is_step).map(Fault::size).sum()
}

/// The pause before a band, with what fidgeting there is in it.
fn before(habits: &Habits, band: usize, chance: &mut Chance) -> Vec<Act> {
    let s = if band == 1 { chance.between(5.0, 20.0) } else { chance.between(8.0, 40.0) };
    let turning_deg_s = if habits.turns_between { turning_between(chance) } else { 0.0 };
    let flame = (habits.flames && chance.happens(0.4)).then(|| Flame {
        at_s: chance.between(0.0, 0.3 * s),
        lasts_s: chance.between(0.1 * s, 0.5 * s),
        rise_k: chance.between(60.0, 350.0),
    });
    let mut acts = vec![Act::Wait { s, turning_deg_s, flame }];
    if habits.tacks && chance.happens(0.3) {
        for _ in 0..chance.pick(&[1, 1, 2, 3]) {
            acts.push(Act::Tack { s: chance.between(0.15, 1.6) });
            acts.push(Act::Wait { s: chance.between(2.0, 9.0), turning_deg_s: 0.0, flame: None });
        }
    }
    acts
}

/// Not at all, faster to find the start, or back.
fn turning_between(chance: &mut Chance) -> f64 {
    match chance.pick(&[0, 1, 2, 3]) {
        0 => 0.0,
        1 => SPEED_DEG_S * chance.between(2.0, 5.0),
        2 => -SPEED_DEG_S * chance.between(0.5, 3.0),
        _ => SPEED_DEG_S,
    }
}

fn lead(rig: &Rig, here: &[&Fault], chance: &mut Chance) -> Act {
    let temperature = [Kind::PreheatLow, Kind::PreheatHigh, Kind::InterpassLow, Kind::InterpassHigh];
    let ring_c = here.iter().find(|fault| temperature.contains(&fault.kind)).map(|fault| fault.size());
    let short = here.iter().find(|fault| fault.kind == Kind::NoPreflow).map(|fault| fault.size());
    // A lead that the meter can show: it reads nothing for as long as it lags.
    let usual_s = chance.between(1.3, 3.0) + 1.5 * rig.gas_meter_s;
    Act::Lead { s: short.unwrap_or(usual_s), ring_c }
}

fn weld(
    habits: &Habits,
    band: usize,
    advance: Advance,
    here: &[&Fault],
    faults: &[Fault],
    chance: &mut Chance,
) -> Weld {
    let is = |kind: Kind| here.iter().find(|fault| fault.kind == kind).map(|fault| fault.size());
    let turns = if advance == Advance::Stands { 1.0 } else { shop::BANDS as f64 };
    let stopped = is(Kind::StoppedEarly).map(|stop_deg| stop_deg - 360.0);
    let wrong = stopped.or(is(Kind::OverlapShort)).or(is(Kind::OverlapLong));
    let overlap_deg = wrong.unwrap_or_else(|| chance.around(shop::OVERLAP_DEG, 0.9));
    let by_timer =
        faults.iter().any(|fault| fault.kind == Kind::ChuckSlipTimer && fault.shape != Shape::Joint);
    let turned_deg = 360.0 * turns + overlap_deg;
    let spindle_lag_s = if habits.late_spindle { chance.between(-0.5, 1.0) } else { 0.0 };
    Weld {
        band,
        turns,
        advance,
        restrikes: habits.restrikes(chance),
        spindle_lag_s,
        overlap_deg,
        timer_s: by_timer.then_some(turned_deg / SPEED_DEG_S + spindle_lag_s.max(0.0)),
        stops_early_s: if habits.early_stop { chance.between(0.0, 0.8) } else { 0.0 },
        crater_s: if wrong.is_none() { habits.crater_s } else { 0.0 },
        nudges: habits.nudges(360.0 * turns, chance),
        cut_deg: is(Kind::CutInBand).map(|share| share * 360.0),
    }
}

/// The carriage goes home, and nothing happens for a while.
fn after(habits: &Habits, chance: &mut Chance) -> Vec<Act> {
    let s = if habits.idles { chance.between(25.0, 120.0) } else { 5.0 };
    let turning_deg_s = if habits.turns_between { turning_between(chance) } else { 0.0 };
    vec![
        Act::Wait { s: chance.between(3.0, 12.0), turning_deg_s: 0.0, flame: None },
        Act::Carriage { to_mm: 0.0, s: 6.0 },
        Act::Wait { s, turning_deg_s, flame: None },
    ]
}
