//! What the bands of a joint read, gathered and sorted once for all cases that are held against it: a joint may have
//! hundreds of bands and thousands of cases.
//!
//! Assumes: one joint, and that what is gathered under one key is the same each time.
//! Never: gives another value than the bands would if they were looked at anew.

use super::series::quantile;
use super::swing::Swing;
use bandward::Channel;
use std::cell::{OnceCell, RefCell};
use std::collections::HashMap;
use std::rc::Rc;

/// What is gathered of a quantity, or of a channel.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Kind {
    /// Its points, of the bands in which it can be believed.
    Level,
    /// How far a point lies from between its neighbours.
    Difference,
    /// The variance within a stretch.
    Scatter,
}

/// Values with the bands they are of, the smallest first.
pub type Sorted = Rc<[(f64, u16)]>;

/// Of how many values, and the median.
type Median = (usize, Option<f64>);
/// Swings with the bands they are of.
type Swings = Rc<[(u16, Swing)]>;

/// What was gathered so far.
#[derive(Debug, Default)]
pub struct Gathered {
    sorted: RefCell<HashMap<(Kind, u8), Sorted>>,
    medians: RefCell<HashMap<(Kind, u8, u16), Median>>,
    swings: RefCell<HashMap<u8, Swings>>,
    largest: [OnceCell<f64>; Channel::COUNT],
}

impl Gathered {
    /// All values, each with its band.
    pub fn sorted(&self, kind: Kind, of: u8, gather: impl FnOnce() -> Vec<(f64, u16)>) -> Sorted {
        let known = self.sorted.borrow().get(&(kind, of)).cloned();
        known.unwrap_or_else(|| {
            let mut values = gather();
            values.sort_by(|(one, _), (other, _)| one.total_cmp(other));
            let values = Sorted::from(values);
            self.sorted.borrow_mut().insert((kind, of), values.clone());
            values
        })
    }
    /// How many there are of other bands than this one, and their median.
    pub fn of_others(
        &self,
        kind: Kind,
        of: u8,
        band: u16,
        gather: impl FnOnce() -> Vec<(f64, u16)>,
    ) -> (usize, Option<f64>) {
        let known = self.medians.borrow().get(&(kind, of, band)).copied();
        known.unwrap_or_else(|| {
            let sorted = self.sorted(kind, of, gather);
            let others: Vec<f64> =
                sorted.iter().filter(|&&(_, own)| own != band).map(|&(value, _)| value).collect();
            let found = (others.len(), quantile(others, 0.5));
            self.medians.borrow_mut().insert((kind, of, band), found);
            found
        })
    }
    /// The swings of a quantity, each with its band.
    pub fn swings(&self, of: u8, gather: impl FnOnce() -> Vec<(u16, Swing)>) -> Rc<[(u16, Swing)]> {
        let known = self.swings.borrow().get(&of).cloned();
        known.unwrap_or_else(|| {
            let swings: Rc<[_]> = gather().into();
            self.swings.borrow_mut().insert(of, swings.clone());
            swings
        })
    }
    /// The largest size of a channel in any band.
    pub fn largest(&self, channel: Channel, look: impl FnOnce() -> f64) -> f64 {
        *self.largest[channel as usize].get_or_init(look)
    }
}
