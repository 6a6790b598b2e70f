//! Student's t distribution.
//!
//! Decides: nothing.
//! Never: guesses: the finite series is exact for whole degrees of freedom.
//!
//! M. Abramowitz and I. A. Stegun, Handbook of Mathematical Functions (1964), 26.7.3 and 26.7.4 (from memory); the
//! tests hold it against the crate `statrs`.

/// The chance that |T| is at most `t`.
fn within(t: f64, degrees: u32) -> f64 {
    let angle = (t / f64::from(degrees).sqrt()).atan();
    let (sine, cosine) = angle.sin_cos();
    let is_odd = degrees % 2 == 1;
    // Odd: cos + 2/3 cos^3 + 2/3 4/5 cos^5 ...; even: 1 + 1/2 cos^2 + 1/2 3/4 cos^4 ...
    let mut term = if is_odd { cosine } else { 1.0 };
    let mut sum = if degrees == 1 { 0.0 } else { term };
    let mut power = if is_odd { 3 } else { 2 };
    while power + 2 <= degrees {
        term *= f64::from(power - 1) / f64::from(power) * cosine * cosine;
        sum += term;
        power += 2;
    }
    if is_odd { std::f64::consts::FRAC_2_PI * (angle + sine * sum) } else { sine * sum }
}

/// The t that |T| exceeds in 5 of 100 cases.
pub fn t95(degrees: u32) -> f64 {
    let (mut low, mut high) = (1.0_f64, 100.0_f64);
    for _ in 0..80 {
        let middle = f64::midpoint(low, high);
        if within(middle, degrees) < 0.95 { low = middle } else { high = middle }
    }
    f64::midpoint(low, high)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two-sided 5 % points of printed tables (from memory).
    #[test]
    fn the_table_is_met() {
        for (degrees, t) in
            [(1, 12.706), (2, 4.303), (3, 3.182), (4, 2.776), (5, 2.571), (10, 2.228), (30, 2.042)]
        {
            assert!((t95(degrees) - t).abs() < 6e-4, "{degrees}: {}", t95(degrees));
        }
    }
}
