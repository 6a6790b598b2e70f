//! Which faults act when.
//!
//! Decides: whether a fault acts at a moment, and how much of it.
//! Assumes: it is asked in order of time, band after band.
//! Never: says what a fault does.

use super::fault::{Course, Fault, Kind, Stage, Start};

/// Where in a band it is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Moment {
    /// About to strike.
    Ready,
    /// Welding.
    Weld {
        /// Since the arc start, s.
        since_s: f64,
        /// From the start of the band, degrees.
        turned_deg: f64,
        /// Until the usual end of the arc, s.
        left_s: f64,
    },
    /// Neither.
    Other,
}

/// The faults of a joint.
#[derive(Clone, Debug)]
pub struct Schedule {
    faults: Vec<Fault>,
    /// Joint under work, from 1.
    joint: u16,
    /// When each began in this band, s since the arc start.
    begun_s: Vec<Option<f64>>,
}

impl Schedule {
    /// With these faults.
    pub fn new(faults: &[Fault]) -> Self {
        Self { faults: faults.to_vec(), joint: 1, begun_s: vec![None; faults.len()] }
    }
    /// A new joint comes, from 1.
    pub fn begin_joint(&mut self, joint: u16) {
        self.joint = joint;
    }
    /// Temperature at which a joint is started that should be warmer, °C.
    pub fn start_c(&self, joint: u16) -> Option<f64> {
        self.size_at(Kind::WorkCold, joint, 1)
    }
    /// A new band starts.
    pub fn restart(&mut self) {
        self.begun_s.fill(None);
    }
    /// Is there a fault of this kind in a band?
    pub fn has(&self, kind: Kind, band: u16) -> bool {
        self.size(kind, band).is_some()
    }
    /// Size of the fault of a kind in a band, for those that act where a band begins or ends.
    pub fn size(&self, kind: Kind, band: u16) -> Option<f64> {
        self.size_at(kind, self.joint, band)
    }
    fn size_at(&self, kind: Kind, joint: u16, band: u16) -> Option<f64> {
        let meant = |fault: &&Fault| (fault.kind, fault.joint, fault.band) == (kind, joint, band);
        self.faults.iter().find(meant).map(|fault| fault.size)
    }
    /// Calls `act` with the number, the fault and its share (0 to 1) for every fault of the weld that
    /// acts at `moment` of `band`.
    pub fn each_active(&mut self, band: u16, moment: Moment, mut act: impl FnMut(usize, &Fault, f64)) {
        for (index, (fault, begun_s)) in self.faults.iter().zip(&mut self.begun_s).enumerate() {
            if fault.joint == self.joint
                && fault.band == band
                && fault.kind.description().stage == Stage::Weld
                && let Some(share) = share(fault, begun_s, moment)
            {
                act(index, fault, share);
            }
        }
    }
}

fn share(fault: &Fault, begun_s: &mut Option<f64>, moment: Moment) -> Option<f64> {
    match moment {
        // What is wrong from the very start was wrong before the arc.
        Moment::Ready => (fault.start == Start::Seconds(0.0)
            && fault.kind.description().course == Course::Sudden)
            .then_some(1.0),
        Moment::Weld { since_s, turned_deg, left_s } => {
            let due = match fault.start {
                Start::Seconds(start_s) => since_s >= start_s,
                Start::Degrees(from_deg) => turned_deg >= from_deg,
            };
            if begun_s.is_none() && due {
                *begun_s = Some(since_s);
            }
            let lasted_s = since_s - (*begun_s)?;
            (lasted_s < fault.duration_s).then(|| fault.share(lasted_s, left_s + lasted_s))
        }
        Moment::Other => None,
    }
}
