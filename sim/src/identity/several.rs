//! Which joint of a log with several a serial is of.
//!
//! Decides: by what was said of it, else by the serials that the log itself tells.
//! Assumes: two joints of one log have different serials, unless the log itself tells one for all of them.
//! Never: gives one serial to several joints, nor drops it without a word.

use super::{Identity, Seen};
use crate::input::joint_field::{JointField, Stated, folded};
use crate::input::joint_file::Claim;

impl Identity {
    /// Puts the serial of what came with the trace to its joint.
    pub(super) fn place(&mut self, claims: &[Claim], of_log: &[Claim], seen: &Seen<'_>) {
        let is_there = |of: &u16| seen.joints.iter().any(|one| one.joint == *of);
        if let Some(joint) = self.of_joint.filter(|of| !is_there(of)) {
            self.context.serial = None;
            let count = seen.joints.len();
            return self.cannot_place(format!("there is no joint {joint} in this log: it holds {count}"));
        }
        let is_serial = |claim: &&Claim| claim.field == JointField::Serial;
        if seen.joints.len() < 2 || of_log.iter().any(|claim| claim.field == JointField::Serial) {
            return;
        }
        self.context.serial = None;
        let Some(claim) = claims.iter().find(is_serial) else { return };
        let Stated::Text(serial) = &claim.stated else { return };
        let own = |of: u16| self.serial_of(of).map(folded);
        match self.of_joint {
            Some(of) if own(of).is_some_and(|own| own != folded(serial)) => self.cannot_place(format!(
                "{}: the serial {serial} is not that of joint {of}, which the log tells itself",
                claim.source
            )),
            Some(of) if own(of).is_none() => self.serials.push((of, serial.clone())),
            Some(_) => {}
            None if self.serials.iter().any(|(_, own)| folded(own) == folded(serial)) => {}
            None => self.cannot_place(format!(
                "{}: the serial {serial} is of one joint, and the log holds {}: --of-joint NUMBER says which",
                claim.source,
                seen.joints.len()
            )),
        }
    }
    /// Something is of one joint, and nobody knows of which.
    pub fn cannot_place(&mut self, words: String) {
        self.unplaced.push(words.clone());
        self.doubts.push(words);
    }
}
