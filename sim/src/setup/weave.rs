//! The weave where the procedure gives no range of it: by the width of its band, or by its step.
//!
//! Decides: whether a wrong overlap is put right by the weave, and how wide that is then.
//! Assumes: the width laid is the weave and what the pool runs out to.
//! Never: lengthens a right step for metal that is too much by a wrong feed or turning; turns the weave where step-over
//! alone puts the overlap right, nor where it does not put it right.

use super::consistency::{Belonging, laid_width_mm};
use super::item::{Item, Measured};
use super::steps::{Walk, is_bad, put};
use crate::formulas::USUAL_OVERLAP_MM;

impl Walk<'_> {
    /// The step-over put right, with the weave before it where the step alone leaves a wrong overlap.
    pub(super) fn set_overlap(&mut self) {
        let (sheet, done) = (self.sheet.clone(), self.steps.len());
        self.find(Item::STEP_OVER, &[Belonging::Overlap, Belonging::Pile]);
        let Some(weave) = self.weave_for_overlap() else { return };
        let alone = (self.sheet.clone(), self.steps.clone());
        // The weave first: what is wrong with the step is worked out with it.
        self.sheet = sheet;
        self.steps.truncate(done);
        let after = put(&self.sheet, Item::WEAVE_WIDTH, Measured::Size(weave));
        self.take(Item::WEAVE_WIDTH, Some(Measured::Size(weave)), None, after);
        self.find(Item::STEP_OVER, &[Belonging::Overlap, Belonging::Pile]);
        if self.has_wrong_overlap() {
            (self.sheet, self.steps) = alone;
        }
    }
    /// Is the step itself right, and what piles up too high right as well once feed or turning, which are off by
    /// themselves, are put right?
    pub(super) fn is_pile_settled_by_others(&self) -> bool {
        let state = self.state(&self.sheet);
        let is_off =
            |item| state.0.iter().any(|judged| judged.item == item && judged.verdict.severity().is_some());
        let others = [Item::WIRE_FEED, Item::CURRENT, Item::TURN_TIME];
        if is_off(Item::STEP_OVER) || self.has_wrong_overlap() || !others.into_iter().any(is_off) {
            return false;
        }
        let mut walk = self.clone();
        walk.set_amps_and_turning();
        !walk.state(&walk.sheet).1.iter().any(is_bad(Belonging::Pile))
    }
    fn has_wrong_overlap(&self) -> bool {
        self.state(&self.sheet).1.iter().any(is_bad(Belonging::Overlap))
    }
    /// The weave that the overlap asks for, mm, where it is wrong and the procedure gives no range of weaves.
    fn weave_for_overlap(&self) -> Option<f64> {
        if !self.has_wrong_overlap() || self.setting(Item::WEAVE_WIDTH).is_some() {
            return None;
        }
        let step = || Some(self.sheet.size(Item::STEP_OVER)? + USUAL_OVERLAP_MM);
        let weave = laid_width_mm(self.procedure).or_else(step)? - self.procedure.run_out_mm();
        let is_other = self.sheet.size(Item::WEAVE_WIDTH).is_some_and(|from| (from - weave).abs() > 0.01);
        (weave > 0.0 && is_other).then_some(weave)
    }
}
