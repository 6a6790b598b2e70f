//! The habits of everyday good welding.
//!
//! Decides: which habits a joint has, and how strong.
//! Assumes: none of them harms a band.

use super::random::Chance;

/// The habits of one joint.
#[derive(Clone, Copy, Debug)]
#[expect(clippy::struct_excessive_bools, reason = "habits that a welder has independently of each other")]
pub struct Habits {
    /// The arc breaks up to three times in its first second.
    pub restrikes: bool,
    /// Short arcs before a band.
    pub tacks: bool,
    /// Length of the crater fill, s; 0: none.
    pub crater_s: f64,
    /// The pipe is turned by hand between bands.
    pub turns_between: bool,
    /// The pipe starts up to a second after the arc.
    pub late_spindle: bool,
    /// The pipe stops shortly before the arc's end.
    pub early_stop: bool,
    /// Corrections by hand within the range.
    pub nudging: bool,
    /// A burner passes the pyrometer.
    pub flames: bool,
    /// The pipe runs out a little, mm.
    pub run_out_mm: f64,
    /// Minutes between joints.
    pub idles: bool,
}

/// A break of the arc as it starts.
#[derive(Clone, Copy, Debug)]
pub struct Restrike {
    /// After the first strike, s.
    pub at_s: f64,
    /// How long, s.
    pub lasts_s: f64,
}

/// A correction by hand.
#[derive(Clone, Copy, Debug)]
pub struct Nudge {
    /// Angle at which it is made, degrees.
    pub at_deg: f64,
    /// On the source, V.
    pub source_v: f64,
    /// Factor on the wire feed.
    pub feed: f64,
    /// On the height of the torch, mm.
    pub lift_mm: f64,
}

impl Habits {
    /// None: a machine that does as it is told.
    pub const NONE: Self = Self {
        restrikes: false,
        tacks: false,
        crater_s: 0.0,
        turns_between: false,
        late_spindle: false,
        early_stop: false,
        nudging: false,
        flames: false,
        run_out_mm: 0.0,
        idles: false,
    };
    /// Those of one joint: each habit in some share of joints.
    pub fn drawn(chance: &mut Chance) -> Self {
        Self {
            restrikes: chance.happens(0.6),
            tacks: chance.happens(0.5),
            crater_s: if chance.happens(0.5) { chance.between(1.2, 3.0) } else { 0.0 },
            turns_between: chance.happens(0.7),
            late_spindle: chance.happens(0.6),
            early_stop: chance.happens(0.4),
            nudging: chance.happens(0.5),
            flames: chance.happens(0.5),
            run_out_mm: chance.between(0.0, 0.8),
            idles: true,
        }
    }
    /// Breaks of the arc in its first second: up to three, of 40 to 80 ms.
    pub fn restrikes(&self, chance: &mut Chance) -> Vec<Restrike> {
        let many = if self.restrikes { chance.pick(&[0, 1, 1, 2, 3]) } else { 0 };
        let one = |at: usize, chance: &mut Chance| Restrike {
            at_s: 0.05 + 0.3 * at as f64 + chance.between(0.0, 0.2),
            lasts_s: chance.between(0.04, 0.08),
        };
        (0..many).map(|at| one(at, chance)).collect()
    }
    /// Corrections over so many degrees, each a small part of the recommended range.
    pub fn nudges(&self, over_deg: f64, chance: &mut Chance) -> Vec<Nudge> {
        let many = if self.nudging { chance.pick(&[0, 1, 2, 3]) } else { 0 };
        let one = |chance: &mut Chance| Nudge {
            at_deg: chance.between(20.0, over_deg - 20.0),
            source_v: chance.pick(&[0.0, -0.15, 0.15]),
            feed: chance.pick(&[1.0, 0.992, 1.008]),
            lift_mm: chance.pick(&[0.0, -0.5, 0.5]),
        };
        (0..many).map(|_| one(chance)).collect()
    }
}
