//! How a whole setup stands: every setting, and what belongs together.

use super::consistency::{Fit, fits};
use super::item::Item;
use super::judge::judge;
use super::sheet::SetupSheet;
use super::verdict::Judged;
use crate::input::procedure_file::ProcedureFile;

/// Every setting and what belongs together, as they stand.
pub(super) type State = (Vec<Judged>, Vec<Fit>);

/// Every setting and what belongs together, as they stand.
pub(super) fn evaluate(sheet: &SetupSheet, procedure: &ProcedureFile) -> (Vec<Judged>, Vec<Fit>) {
    (Item::all().map(|item| judge(item, sheet, procedure)).collect(), fits(sheet, procedure))
}
