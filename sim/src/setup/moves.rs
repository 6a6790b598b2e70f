//! What moves when something else is turned.
//!
//! Decides: which readings and figures are told, and what is told without a figure.
//! Assumes: both states were worked out by the same judge.
//! Never: turns anything.

use super::item::{Item, Kind};
use super::sheet::SetupSheet;
use super::state::State;
use crate::input::quantity::Dimension;

/// Something that moves though nobody turns it.
#[derive(Clone, Debug, PartialEq)]
pub struct Moved {
    /// What.
    pub name: String,
    /// From here, in the house unit.
    pub from: f64,
    /// To about here.
    pub to: f64,
    /// What it is measured in.
    pub dimension: Dimension,
}

/// What moved though it was not turned: readings, and what follows from them.
pub(super) fn moved(turn: Item, before: (&SetupSheet, &State), after: (&SetupSheet, &State)) -> Vec<Moved> {
    let is_other = |from: f64, to: f64| (from - to).abs() > 0.005 * from.abs().max(to.abs());
    let readings = before.0.entries.iter().filter(|entry| entry.item != turn).filter_map(|entry| {
        let Kind::Size(dimension, _) = entry.item.kind() else { return None };
        let (from, to) = (before.0.size(entry.item)?, after.0.size(entry.item)?);
        is_other(from, to).then(|| Moved { name: entry.item.title(), from, to, dimension })
    });
    let figures = before.1.1.iter().zip(&after.1.1).filter_map(|(one, other)| {
        let ((name, from, dimension), (_, to, _)) = (one.found.figure()?, other.found.figure()?);
        is_other(from, to).then(|| Moved { name: name.to_owned(), from, to, dimension })
    });
    readings.chain(figures).collect()
}

/// What moves with a control and is not worked out (common practice, no source).
pub(super) const fn moves_also(turn: Item) -> &'static str {
    match turn {
        Item::Polarity | Item::WireDiameter => "amps, volts and height: measure them again",
        Item::GasMixture => "amps, volts and weave want a little retuning",
        Item::OldBand | Item::OldBandHeight => "stick-out: measure it on the bare joint",
        Item::NozzleBore => "gas flow goes with it",
        Item::Rotation => "the side the torch belongs on",
        Item::TorchSide | Item::TIP_RECESS | Item::TORCH_OFFSET => "stick-out: measure it again",
        Item::TORCH_ANGLE => "offset and stick-out: measure both again",
        Item::STICK_OUT => "amps",
        Item::WEAVE_WIDTH => "band height and overlap",
        Item::STEP_OVER => "height where bands overlap",
        Item::WIRE_FEED => "amps and band height",
        Item::TURN_TIME => "band height, and how hot the joint is between bands",
        Item::VOLTAGE => "how hot and fluid the pool is",
        _ => "",
    }
}
