//! Numbers for machines.

/// To six decimals: finer than any resolution of the core.
pub fn rounded(number: f64) -> f64 {
    (number * 1e6).round() / 1e6
}
