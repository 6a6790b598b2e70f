//! Wire feed and current of one wire at one stick-out.
//!
//! Decides: by whose measure the melting law is scaled: the procedure's own figures, or the machine's.
//! Assumes: the law holds for one wire up to a factor, since a cored wire melts faster than a solid one.
//! Never: gives a figure for a wire on the negative pole, or for one whose pole nobody told.

use super::item::Item;
use super::sheet::SetupSheet;
use crate::formulas::{NEGATIVE_POLE, electrode_extension, wire_feed_from_current};
use crate::input::parts::WireKind;
use crate::input::procedure_file::ProcedureFile;
use crate::input::setting::{Setting, Subject};
use bandward::Quantity;
use bandward::procedure::Polarity;

/// How far wire feed may be from what the current melts: by a procedure that gives all three, its own
/// wire being the measure; by the melting law alone. Invented.
const FEED_OF_PROCEDURE: f64 = 0.10;
const FEED_OF_LAW: f64 = 0.25;
/// No welder of the trade gives more, A.
const MOST_CURRENT_A: f64 = 1500.0;
/// Where nobody says: 1.6 mm of wire, 24 mm from tip to work (common practice, no source). Only a
/// share of what was measured is worked out with them.
const USUAL_WIRE_MM: f64 = 1.6;
const USUAL_STICK_OUT_MM: f64 = 24.0;

/// The melting law for one wire.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Melting {
    wire_mm: f64,
    scale: f64,
}

impl Melting {
    /// As the procedure has it, and how far a feed may be off it.
    pub(super) fn of_procedure(
        sheet: &SetupSheet,
        procedure: &ProcedureFile,
    ) -> Result<(Self, f64), &'static str> {
        if is_negative(sheet, procedure) {
            return Err(NEGATIVE_POLE);
        }
        if !has_law(sheet, procedure) {
            return Err("the polarity is not known, and no law is known here for the negative pole");
        }
        let wire_mm = sheet.size(Item::WireDiameter).or(procedure.wire.diameter_mm);
        let wire_mm = wire_mm.ok_or("wire diameter not known")?;
        let aim = |subject| procedure.setting(subject).and_then(Setting::aim);
        let of_procedure = || {
            let own = Self { wire_mm: procedure.wire.diameter_mm.unwrap_or(wire_mm), scale: 1.0 };
            let melted = own.feed(aim(Subject::Judged(Quantity::Current))?, aim(Subject::StickOut)?);
            let scale = aim(Subject::Judged(Quantity::WireFeed))? / melted;
            scale.is_finite().then_some(scale)
        };
        match (of_procedure(), procedure.wire.kind) {
            (Some(scale), _) => Ok((Self { wire_mm, scale }, FEED_OF_PROCEDURE)),
            (None, Some(WireKind::Solid)) => Ok((Self { wire_mm, scale: 1.0 }, FEED_OF_LAW)),
            (None, _) => Err("the procedure gives no wire feed, current and stick-out for this cored wire"),
        }
    }
    /// As this machine shows it, whatever is between the dial and the wire; nothing where no law is known.
    pub(super) fn of_machine(
        sheet: &SetupSheet,
        procedure: &ProcedureFile,
        feed: f64,
        current: f64,
    ) -> Option<Self> {
        if !has_law(sheet, procedure) {
            return None;
        }
        let wire_mm = sheet.size(Item::WireDiameter).or(procedure.wire.diameter_mm);
        let law = Self { wire_mm: wire_mm.unwrap_or(USUAL_WIRE_MM), scale: 1.0 };
        let melted = law.feed(current, sheet.size(Item::STICK_OUT).unwrap_or(USUAL_STICK_OUT_MM));
        (melted > 0.0 && feed > 0.0).then_some(Self { scale: feed / melted, ..law })
    }
    /// Wire that a current melts, mm/min; nothing where there is no current.
    pub(super) fn feed(self, current: f64, stick_out_mm: f64) -> f64 {
        let extension = electrode_extension(stick_out_mm);
        self.scale * wire_feed_from_current(current, extension, self.wire_mm).unwrap_or(0.0)
    }
    /// The current that melts a wire feed: the law grows with the current, so it is halved in on.
    pub(super) fn current(self, feed: f64, stick_out_mm: Option<f64>) -> f64 {
        let stick_out_mm = stick_out_mm.unwrap_or(USUAL_STICK_OUT_MM);
        let (mut low, mut high) = (0.0, MOST_CURRENT_A);
        while high - low > 0.01 {
            let middle = f64::midpoint(low, high);
            if self.feed(middle, stick_out_mm) < feed { low = middle } else { high = middle }
        }
        f64::midpoint(low, high)
    }
}

/// Is a law known for this wire: is it on the positive pole, as it was found or else as the procedure asks, with figures
/// for that pole?
pub(super) fn has_law(sheet: &SetupSheet, procedure: &ProcedureFile) -> bool {
    let is_told = sheet.word(Item::Polarity).is_some() || procedure.wire.polarity.is_some();
    is_told && !is_negative(sheet, procedure)
}

/// Is the wire on the negative pole, or are the procedure's own figures for that pole? Those say nothing of the other.
fn is_negative(sheet: &SetupSheet, procedure: &ProcedureFile) -> bool {
    let is_meant = procedure.wire.polarity == Some(Polarity::ElectrodeNegative);
    is_meant || sheet.word(Item::Polarity) == Some("DCEN")
}
