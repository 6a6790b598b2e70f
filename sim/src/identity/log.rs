//! What the log's own columns say of each joint.
//!
//! Decides: which words hold for a joint: those in force while its bands were laid; that a new serial is a new joint, and
//! when one serial is told for joints that cannot all have it.
//! Assumes: a word holds from its row until another one is written.
//! Never: mixes the words of one joint into another.

use super::{Identity, Seen, claim};
use crate::input::joint_field::{JointField, Stated, folded};
use crate::input::joint_file::Claim;
use crate::input::quantity::UnitSystem;
use crate::trace::marks::Mark;
use bandward::JointRecord;

/// Follows the serial as a log is read, row by row.
#[derive(Clone, Debug, Default)]
pub struct SerialChanges {
    /// Marks that were looked at.
    seen: usize,
    /// The serial in force.
    serial: Option<Stated>,
}

impl SerialChanges {
    /// Is the row at this time of another joint than those before it? The first serial of a log is no change: what was
    /// laid before it has none.
    pub fn is_new_joint(&mut self, marks: &[Mark], time_us: u64) -> bool {
        let mut is_new = false;
        // A reader may be ahead of the row it gave.
        while let Some(mark) = marks.get(self.seen).filter(|mark| mark.time_us <= time_us) {
            self.seen += 1;
            is_new |= self.take(mark).is_some();
        }
        is_new
    }
    /// The serial before this one, where it is another.
    fn take(&mut self, mark: &Mark) -> Option<Stated> {
        let is_same = |serial: &Stated| mark.field.is_same(serial, &mark.stated);
        if mark.field != JointField::Serial || self.serial.as_ref().is_some_and(is_same) {
            return None;
        }
        self.serial.replace(mark.stated.clone())
    }
}

/// Tells that joints were separated by their serials.
fn tell_changes(marks: &[Mark], identity: &mut Identity) {
    let mut serials = SerialChanges::default();
    let changes: Vec<_> = marks.iter().filter_map(|mark| Some((serials.take(mark)?, mark))).collect();
    let Some((before, first)) = changes.first() else { return };
    let show = |stated: &Stated| JointField::Serial.show(stated, UnitSystem::Metric);
    let (before, after, line) = (show(before), show(&first.stated), first.line);
    let more = changes.len() - 1;
    let more = if more == 0 { String::new() } else { format!(", and {more} times more") };
    identity.notes.push(format!(
        "the serial changes from {before} to {after} (the log, line {line}){more}: a new joint begins there, or at the end \
         of the band under way"
    ));
}

/// What holds for the log as a whole: what all its joints have in common. Serials of its joints, and words that
/// change within one, go to `identity`.
pub fn claims(marks: &[Mark], seen: &Seen<'_>, identity: &mut Identity) -> Vec<Claim> {
    tell_changes(marks, identity);
    let mut common = Vec::new();
    for field in JointField::ALL {
        let of_field: Vec<&Mark> = marks.iter().filter(|mark| mark.field == field).collect();
        if of_field.is_empty() {
            continue;
        }
        let mut firsts: Vec<Claim> = Vec::new();
        for joint in seen.joints {
            let found = in_force(&of_field, joint, seen);
            let Some(first) = found.first() else { continue };
            for other in found.iter().skip(1).filter(|other| !field.is_same(&first.stated, &other.stated)) {
                identity.disagree(first, other);
            }
            if let (JointField::Serial, Stated::Text(serial)) = (field, &first.stated) {
                identity.serials.push((joint.joint, serial.clone()));
            }
            firsts.push(first.clone());
        }
        if seen.joints.is_empty() {
            firsts.extend(of_field.first().map(|mark| said(mark)));
        }
        if let Some(first) = firsts.first()
            && firsts.iter().all(|other| field.is_same(&first.stated, &other.stated))
        {
            common.push(first.clone());
        }
    }
    tell_twice(marks, seen, identity);
    common
}

/// Tells that several joints have one serial. A pipe has two tool joints: two joints with one serial may be its pin and its
/// box, unless another joint lies between them, or the log itself says that both are the same end.
fn tell_twice(marks: &[Mark], seen: &Seen<'_>, identity: &mut Identity) {
    let of_end: Vec<&Mark> = marks.iter().filter(|mark| mark.field == JointField::End).collect();
    let end_of = |number: u16| {
        let joint = seen.joints.iter().find(|joint| joint.joint == number)?;
        in_force(&of_end, joint, seen).first().map(|claim| claim.stated.clone())
    };
    let mut told: Vec<String> = Vec::new();
    for (_, serial) in &identity.serials {
        if told.contains(&folded(serial)) {
            continue;
        }
        told.push(folded(serial));
        let same = identity.serials.iter().filter(|(_, own)| folded(own) == folded(serial));
        let numbers: Vec<u16> = same.map(|(number, _)| *number).collect();
        let joints = numbers.iter().map(u16::to_string).collect::<Vec<_>>().join(", ");
        let words = format!("joints {joints} of this log have one serial, {serial}");
        match numbers[..] {
            [] | [_] => {}
            [one, other] if other == one + 1 => match (end_of(one), end_of(other)) {
                (Some(end), Some(second)) if end != second => {}
                (Some(_), Some(_)) => {
                    identity.doubts.push(format!("{words}, and one end: one of them is another joint"));
                }
                _ => identity.notes.push(format!(
                    "{words}: as pin and box of one pipe may, else one of them is another joint"
                )),
            },
            _ => identity
                .doubts
                .push(format!("{words}: no pipe has so many in this order, and some are other joints")),
        }
    }
}

/// What was in force at the beginning of each band of a joint and to its end, each once.
fn in_force(marks: &[&Mark], joint: &JointRecord, seen: &Seen<'_>) -> Vec<Claim> {
    let mut found: Vec<Claim> = Vec::new();
    for band in seen.bands.iter().filter(|band| band.joint == joint.joint) {
        let before = marks.iter().rev().find(|mark| mark.time_us <= band.start_us);
        let within = marks.iter().filter(|mark| mark.time_us > band.start_us && mark.time_us <= band.end_us);
        for mark in before.into_iter().chain(within) {
            let said = said(mark);
            if !found.iter().any(|other| said.field.is_same(&other.stated, &said.stated)) {
                found.push(said);
            }
        }
    }
    found
}

fn said(mark: &Mark) -> Claim {
    claim(mark.field, mark.stated.clone(), &format!("the log, line {}", mark.line))
}
