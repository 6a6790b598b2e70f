//! What each judged value was at each place of the joint: angle by band.
//!
//! Decides: how finely the circumference is divided, and how many bands are kept.
//! Assumes: the angle is counted from the start of the band, in the direction of travel.
//! Never: grows with the length of the trace.

use super::envelope::Extremes;
use super::{DRAWN, drawn_index};
use bandward::Quantity;

/// Width of a cell, degrees.
pub const CELL_DEG: f64 = 2.0;
/// A band is kept for two turns; a longer one is cut off there.
pub const CELLS: usize = 360;
/// More bands than this are counted and not drawn.
pub const BANDS: usize = 48;

/// One judged value along one band.
pub type Strip = Vec<Extremes>;

/// The joint, unrolled.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct JointMap {
    bands: Vec<(u16, [Strip; DRAWN.len()])>,
    bands_left_out: bool,
}

impl JointMap {
    /// Takes a value at an angle (degrees, from 0) of a band (from 1).
    pub fn push(&mut self, band: u16, angle_deg: f64, quantity: Quantity, value: f64) {
        let cell = (angle_deg.max(0.0) / CELL_DEG) as usize;
        if cell >= CELLS {
            return;
        }
        let Some(strips) = self.band(band) else { return };
        let strip = &mut strips[drawn_index(quantity)];
        if cell >= strip.len() {
            strip.resize(cell + 1, Extremes::NONE);
        }
        strip[cell].extend(value as f32);
    }
    fn band(&mut self, band: u16) -> Option<&mut [Strip; DRAWN.len()]> {
        if self.bands.last().is_none_or(|(last, _)| *last != band) {
            if self.bands.len() >= BANDS {
                self.bands_left_out = true;
                return None;
            }
            self.bands.push((band, Default::default()));
        }
        self.bands.last_mut().map(|(_, strips)| strips)
    }
    /// Were there more bands than are kept?
    pub fn has_left_bands_out(&self) -> bool {
        self.bands_left_out
    }
    /// The strips of a quantity, with the numbers of their bands.
    pub fn strips(&self, quantity: Quantity) -> impl Iterator<Item = (u16, &Strip)> {
        self.bands.iter().map(move |(band, strips)| (*band, &strips[drawn_index(quantity)]))
    }
    /// The furthest angle of any band, degrees.
    pub fn reach_deg(&self) -> f64 {
        let cells = self.bands.iter().flat_map(|(_, strips)| strips.iter().map(Vec::len)).max();
        cells.unwrap_or(0) as f64 * CELL_DEG
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_lie_at_their_angle_and_band() {
        let mut map = JointMap::default();
        map.push(1, 0.0, Quantity::Current, 300.0);
        map.push(1, 359.9, Quantity::Current, 310.0);
        map.push(1, 359.0, Quantity::Current, 290.0);
        map.push(2, 3.9, Quantity::GasFlow, 17.0);
        map.push(2, 1e6, Quantity::GasFlow, 1.0);
        let strips: Vec<_> = map.strips(Quantity::Current).collect();
        assert_eq!(strips.len(), 2);
        assert_eq!(strips[0].1.len(), 180);
        assert_eq!(strips[0].1[0], Extremes { low: 300.0, high: 300.0 });
        assert_eq!(strips[0].1[179], Extremes { low: 290.0, high: 310.0 });
        assert!(strips[0].1[1].is_empty() && strips[1].1.is_empty());
        assert!((map.reach_deg() - 360.0).abs() < 1e-9);
    }

    #[test]
    fn bands_beyond_the_room_are_told_not_kept() {
        let mut map = JointMap::default();
        for band in 1..=60_000 {
            map.push(band, 10.0, Quantity::Current, 300.0);
        }
        assert_eq!(map.strips(Quantity::Current).count(), BANDS);
        assert!(map.has_left_bands_out());
    }
}
