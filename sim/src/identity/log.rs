//! What the log's own columns say of each joint.
//!
//! Decides: which words hold for a joint: those in force while its bands were laid.
//! Assumes: a word holds from its row until another one is written.
//! Never: mixes the words of one joint into another.

use super::{Identity, Seen, claim};
use crate::input::joint_field::{JointField, Stated};
use crate::input::joint_file::Claim;
use crate::trace::marks::Mark;
use bandward::JointRecord;

/// What holds for the log as a whole: what all its joints have in common. Serials of its joints, and words that
/// change within one, go to `identity`.
pub fn claims(marks: &[Mark], seen: &Seen<'_>, identity: &mut Identity) -> Vec<Claim> {
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
    common
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
