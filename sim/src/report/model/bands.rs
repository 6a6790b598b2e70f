//! The table of bands: which columns there are, and what stands in a cell.
//!
//! Decides: the columns, in order, and where a value is an estimate.
//! Never: lays the table out.

use crate::input::quantity::{UnitSystem, format};
use crate::input::unit::Dimension;
use crate::raw::{seconds, value};
use bandward::BandRecord;
use bandward::record::band::{Spread, WireFeedSource};
use bandward::units::FixedPoint;

/// One column of the band table.
pub struct Column {
    /// What stands above it.
    pub title: &'static str,
    dimension: Option<Dimension>,
    cell: fn(&BandRecord) -> Option<f64>,
    is_estimate: fn(&BandRecord) -> bool,
}

const fn column(
    title: &'static str,
    dimension: Option<Dimension>,
    cell: fn(&BandRecord) -> Option<f64>,
) -> Column {
    Column { title, dimension, cell, is_estimate: |_| false }
}

fn mean<Q: FixedPoint>(spread: Option<Spread<Q>>) -> Option<f64> {
    spread.map(|spread| value(spread.mean))
}

/// The columns, in order.
pub const COLUMNS: [Column; 12] = [
    column("band", None, |band| Some(f64::from(band.band))),
    column("start", Some(Dimension::Duration), |band| Some(seconds(band.start_us))),
    column("turn time", Some(Dimension::Duration), |band| band.turn_time.map(value)),
    column("overlap", Some(Dimension::Angle), |band| band.overlap.map(value)),
    column("current", Some(Dimension::Current), |band| mean(band.current)),
    column("voltage", Some(Dimension::Voltage), |band| mean(band.voltage)),
    column("gas", Some(Dimension::Flow), |band| mean(band.gas)),
    column("weave", Some(Dimension::Rate), |band| mean(band.weave_rate)),
    column("width", Some(Dimension::Length), |band| band.weave_width.map(value)),
    column("step-over", Some(Dimension::Length), |band| band.step_over.map(value)),
    column("energy", Some(Dimension::EnergyPerLength), |band| band.arc_energy.map(value)),
    Column {
        is_estimate: |band| band.wire_feed_source == Some(WireFeedSource::EstimatedFromCurrent),
        ..column("height", Some(Dimension::Length), |band| band.band_height.map(value))
    },
];

/// Said where an estimate is shown: it may be far off for a wire that is cored.
pub const ESTIMATES: &str = "~ height: no wire feed was measured; it was estimated from the current";

/// Does the table show an estimate?
pub fn has_estimates(bands: &[BandRecord]) -> bool {
    COLUMNS
        .iter()
        .any(|column| bands.iter().any(|band| (column.cell)(band).is_some() && (column.is_estimate)(band)))
}

/// What stands in a cell; a dash where nothing was found.
pub fn cell(column: &Column, band: &BandRecord, system: UnitSystem) -> String {
    match ((column.cell)(band), column.dimension) {
        (None, _) => "-".to_owned(),
        (Some(number), Some(dimension)) if (column.is_estimate)(band) => {
            format!("~{}", format(number, dimension, system))
        }
        (Some(number), Some(dimension)) => format(number, dimension, system),
        (Some(number), None) => format!("{number}"),
    }
}
