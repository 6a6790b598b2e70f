//! The welder's hand: carries the acts of a plan out, one after the other.
//!
//! Decides: what is asked of the machine at each instant, and when an act is over.
//! Assumes: told each time how far the pipe has turned.

use super::plan::{Act, Advance, SPEED_DEG_S, Weld};
use super::shop;
use std::collections::VecDeque;

/// What is asked of the machine at one instant.
#[derive(Clone, Copy, Debug, Default)]
#[expect(clippy::struct_excessive_bools, reason = "switches that are thrown independently of each other")]
pub struct Asked {
    /// Valve open.
    pub gas: bool,
    /// The source is on, and wire is fed.
    pub source: bool,
    /// The arc may burn (it cannot in a break).
    pub arc: bool,
    /// Speed of the pipe, degrees a second.
    pub turning_deg_s: f64,
    /// Does the torch weave?
    pub weaving: bool,
    /// Factor on feed from crater fill and corrections.
    pub feed: f64,
    /// On the source from crater fill and corrections, V.
    pub source_v: f64,
    /// On the height from corrections, mm.
    pub lift_mm: f64,
    /// In the crater fill.
    pub crater: bool,
    /// Place of the carriage, mm.
    pub carriage_mm: f64,
    /// How much hotter the pyrometer reads, K.
    pub flame_k: f64,
    /// The ring is at this temperature at once, degrees Celsius.
    pub ring_c: Option<f64>,
    /// Band under the arc, from 1; 0 outside one.
    pub band: usize,
}

/// Carries a plan out.
#[derive(Clone, Debug)]
pub struct Control {
    acts: VecDeque<Act>,
    act_s: f64,
    start_deg: f64,
    arrived_s: Option<f64>,
    carriage_mm: f64,
    carriage_from_mm: f64,
    /// The last band whose arc was asked for.
    pub last_band: usize,
}

impl Control {
    /// At the start of a plan.
    pub fn new(acts: Vec<Act>) -> Self {
        Self {
            acts: acts.into(),
            act_s: 0.0,
            start_deg: 0.0,
            arrived_s: None,
            carriage_mm: 0.0,
            carriage_from_mm: 0.0,
            last_band: 0,
        }
    }
    /// Is the plan over?
    pub fn is_over(&self) -> bool {
        matches!(self.acts.front(), None | Some(Act::End))
    }
    /// How far the pipe has turned under the arc, whichever way, degrees.
    pub fn welded_deg(&self, pipe_deg: f64) -> f64 {
        (pipe_deg - self.start_deg).abs()
    }
    /// Carries on by `dt_s`, with the pipe at this angle.
    pub fn step(&mut self, dt_s: f64, pipe_deg: f64) -> Asked {
        let Some(act) = self.acts.front().cloned() else { return Asked::default() };
        let first = self.act_s == 0.0;
        if first {
            (self.start_deg, self.arrived_s, self.carriage_from_mm) = (pipe_deg, None, self.carriage_mm);
        }
        let (mut asked, is_done) = self.carry_out(&act, pipe_deg, first);
        asked.carriage_mm = self.carriage_mm;
        self.act_s += dt_s;
        if is_done {
            self.acts.pop_front();
            self.act_s = 0.0;
        }
        asked
    }
    fn carry_out(&mut self, act: &Act, pipe_deg: f64, first: bool) -> (Asked, bool) {
        let rest = Asked { feed: 1.0, ..Asked::default() };
        let act_s = self.act_s;
        match act {
            Act::Wait { s, turning_deg_s, flame } => {
                let under = flame.filter(|flame| (flame.at_s..flame.at_s + flame.lasts_s).contains(&act_s));
                // Whoever turns the pipe by hand has it still again before the arc.
                let turning_deg_s = if act_s < 0.7 * s { *turning_deg_s } else { 0.0 };
                let flame_k = under.map_or(0.0, |flame| flame.rise_k);
                (Asked { turning_deg_s, flame_k, ..rest }, act_s >= *s)
            }
            Act::Tack { s } => (Asked { gas: true, source: true, arc: true, ..rest }, act_s >= *s),
            Act::Lead { s, ring_c } => {
                let early_s = match self.acts.get(1) {
                    Some(Act::Weld(weld)) => -weld.spindle_lag_s,
                    _ => 0.0,
                };
                let turning_deg_s = if act_s > s - early_s { SPEED_DEG_S } else { 0.0 };
                (
                    Asked { gas: *s > 0.0, ring_c: ring_c.filter(|_| first), turning_deg_s, ..rest },
                    act_s >= *s,
                )
            }
            Act::Weld(weld) => self.weld(weld, pipe_deg),
            Act::Trail { s } => (Asked { gas: act_s < *s, ..rest }, act_s >= *s),
            Act::Carriage { to_mm, s } => {
                let share = (act_s / s).min(1.0);
                self.carriage_mm = self.carriage_from_mm + (to_mm - self.carriage_from_mm) * share;
                (rest, act_s >= *s)
            }
            Act::End => (rest, false),
        }
    }
    fn weld(&mut self, weld: &Weld, pipe_deg: f64) -> (Asked, bool) {
        self.last_band = weld.band;
        let act_s = self.act_s;
        let welded = self.welded_deg(pipe_deg);
        let end_deg = 360.0 * weld.turns + weld.overlap_deg;
        let has_arrived = weld.timer_s.map_or(welded >= end_deg, |timer_s| act_s >= timer_s);
        if has_arrived && self.arrived_s.is_none() {
            self.arrived_s = Some(act_s);
        }
        let is_done = self.arrived_s.is_some_and(|at| act_s >= at + weld.stops_early_s)
            || weld.cut_deg.is_some_and(|cut_deg| welded >= cut_deg);
        let turns = act_s >= weld.spindle_lag_s && self.arrived_s.is_none();
        let breaks = |at: f64, lasts: f64| (at..at + lasts).contains(&act_s);
        self.advance(weld, welded);
        let filled = crater(weld, welded, end_deg);
        let mut asked = Asked {
            gas: true,
            source: true,
            arc: !weld.restrikes.iter().any(|restrike| breaks(restrike.at_s, restrike.lasts_s)),
            turning_deg_s: if turns { SPEED_DEG_S } else { 0.0 },
            weaving: true,
            feed: 1.0 - 0.42 * filled,
            source_v: -4.5 * filled,
            crater: filled > 0.0,
            band: weld.band,
            ..Asked::default()
        };
        for nudge in weld.nudges.iter().filter(|nudge| welded >= nudge.at_deg) {
            asked.feed *= nudge.feed;
            asked.source_v += nudge.source_v;
            asked.lift_mm += nudge.lift_mm;
        }
        (asked, is_done)
    }
    fn advance(&mut self, weld: &Weld, welded: f64) {
        let last = weld.turns - 1.0;
        let whole = (welded / 360.0).floor().min(last);
        // A step takes some 8 degrees of the turn, about two seconds.
        let stepped = whole - 1.0 + ((welded - 360.0 * whole) / 8.0).min(1.0);
        let steps = match weld.advance {
            Advance::Stands => 0.0,
            Advance::Steps => stepped.max(0.0),
            // The last turn closes flat.
            Advance::Spiral => (welded / 360.0).min(last),
        };
        self.carriage_mm = self.carriage_from_mm + shop::STEP_MM * steps;
    }
}

/// How far the crater fill has got, 0 to 1: over the last seconds, never before the turn is full.
fn crater(weld: &Weld, welded: f64, end_deg: f64) -> f64 {
    let from_deg = (end_deg - weld.crater_s * SPEED_DEG_S).max(360.0 * weld.turns);
    if weld.crater_s > 0.0 { ((welded - from_deg) / (end_deg - from_deg)).clamp(0.0, 1.0) } else { 0.0 }
}
