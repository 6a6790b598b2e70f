//! Several joints in one trace.
//!
//! Decides: what a shift is: joints, the idle time between them, where the carriage waits.
//! Never: makes a row.

/// Where the carriage waits between two joints.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Carriage {
    /// Where the first band of a joint lies.
    Home,
    /// This far from there, mm.
    Far(f64),
    /// Where the last band was laid; the next joint begins there.
    Stays,
}

/// The joints of a trace.
#[derive(Clone, Debug, PartialEq)]
pub struct Shift {
    /// How many.
    pub joints: u16,
    /// Usual time between two of them, s; each is drawn from 0.7 to 1.3 of it.
    pub idle_s: f64,
    /// Where the carriage waits.
    pub carriage: Carriage,
    /// Joints (from 1) that are left with fewer bands than the rest, and with how many.
    pub fewer_bands: Vec<(u16, u16)>,
}

impl Shift {
    /// One joint.
    pub const ONE: Self =
        Self { joints: 1, idle_s: 120.0, carriage: Carriage::Home, fewer_bands: Vec::new() };

    /// Bands of a joint (from 1) that should have `due`.
    pub fn bands_of(&self, joint: u16, due: u16) -> u16 {
        self.fewer_bands.iter().find(|(number, _)| *number == joint).map_or(due, |&(_, bands)| bands)
    }
    /// The number of a joint for the truth: none is written where there is one only.
    pub fn number(&self, joint: u16) -> Option<u16> {
        (self.joints > 1).then_some(joint)
    }
}
