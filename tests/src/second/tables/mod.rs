//! The tables of the second generator.
//!
//! Decides: what is counted, and how it is printed.

pub mod causes;
pub mod faults;
pub mod good;
pub mod summary;

/// A share as `x/y`.
pub fn of(part: usize, whole: usize) -> String {
    if whole == 0 { "-".to_owned() } else { format!("{part}/{whole}") }
}

/// The middle one of these; absent where there is none.
pub fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}
