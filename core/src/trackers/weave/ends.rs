//! Where an end of the weave truly lies, from positions that may have missed it.
//!
//! Decides: the height of an end between the positions around it, or that it cannot be known.
//! Assumes: the half cycle bends one way only (sine, triangle, trapezoid, lopsided dwell, play all do); evenly
//! spaced positions.
//! Never: gives an end that the positions leave open by more than a hundredth of the width, unless they bend
//! everywhere as a sine does.

use crate::statistics::clamp_to_i32;
use crate::units::Length;

/// Positions kept around an end.
pub(super) const AROUND: usize = 7;
/// Movement by noise alone: 0.15 mm, raw.
const NOISE: i64 = (3 << Length::FRACTION_BITS) / 20;

/// The height of the highest end among seven positions, the fourth of them the highest, above `centre`.
/// `width` is that of the weave so far.
pub(super) fn top(around: [i32; AROUND], centre: i32, width: i32, is_dense: bool) -> Option<i32> {
    let heights = around.map(|position| i64::from(position).saturating_sub(i64::from(centre)));
    let [_, before_2, before, highest, after, after_2, _] = heights;
    // A line through two positions on one side lies above everything beyond it.
    let left = crossing_of_lines([before, highest], [after_2, after]);
    let right = crossing_of_lines([after, highest], [before_2, before]);
    let bound = left.max(right).max(highest);
    let gap = bound.saturating_sub(highest);
    let tolerance = i64::from(width) / 125;
    let height = if gap <= tolerance {
        highest.saturating_add(gap / 2)
    } else {
        of_a_sine(heights, i64::from(width), is_dense)?
    };
    Some(clamp_to_i32(height.saturating_add(i64::from(centre))))
}

/// The highest place between the highest position and its neighbour on the far side that the lines through
/// `near` and the far side leave open.
fn crossing_of_lines(near: [i64; 2], far: [i64; 2]) -> i64 {
    let [before, highest] = near;
    let [far_2, far_1] = far;
    let up = highest.saturating_sub(before).max(0);
    let down = far_1.saturating_sub(far_2).max(0);
    // From the highest on: highest + up * t; from the far side back: far_1 + down * (1 - t), t from 0 to 1.
    let apart = far_1.saturating_add(down).saturating_sub(highest);
    if apart <= 0 {
        return highest;
    }
    let share = up.saturating_mul(apart).checked_div(up.saturating_add(down)).unwrap_or(0);
    highest.saturating_add(share)
}

/// The top of the sine through the three positions in the middle, if the bend at each of them is in proportion
/// to its height.
fn of_a_sine(heights: [i64; AROUND], width: i64, is_dense: bool) -> Option<i64> {
    let [_, before_2, before, highest, after, after_2, _] = heights;
    let bends =
        [bend(before_2, before, highest), bend(before, highest, after), bend(highest, after, after_2)];
    let own = [before, highest, after];
    let bend_sum = bends.iter().fold(0_i64, |sum, &bend| sum.saturating_add(bend));
    let sum = own.iter().fold(0_i64, |sum, &height| sum.saturating_add(height));
    if bend_sum <= 0 || sum <= 0 {
        return None;
    }
    let at_top = bend_sum.saturating_mul(highest).checked_div(sum)?;
    let (share, noise) = if is_dense { (20, NOISE.min(width / 160)) } else { (4, 0) };
    let slack = (at_top.saturating_mul(share) / 100).max(noise);
    let is_sine = own.iter().zip(bends).all(|(&height, bend)| {
        let expected = bend_sum.saturating_mul(height).checked_div(sum).unwrap_or(0);
        expected.abs_diff(bend) <= slack.unsigned_abs()
    });
    if !is_sine {
        return None;
    }
    // Bend k = 2 (1 - cos h), in 1/65536; (2 sin h)^2 = 4 k - k^2. Height: u / cos d, tan d from the neighbours;
    // 1 / cos d = sqrt(1 + tan^2 d), which is 1 + x / 2 - x^2 / 8 for x = tan^2 d up to 0.18.
    let k = bend_sum.saturating_mul(1 << 16).checked_div(sum)?;
    let sine_squared = k.saturating_mul(4).saturating_sub(k.saturating_mul(k) >> 16);
    let lean = after.saturating_sub(before).saturating_mul(1 << 16).checked_div(highest)?;
    let x = lean.saturating_mul(lean).checked_div(sine_squared)?;
    let more = (x >> 1).saturating_sub((x.saturating_mul(x) >> 16) >> 3);
    Some(highest.saturating_add(highest.saturating_mul(more) >> 16))
}

const fn bend(before: i64, here: i64, after: i64) -> i64 {
    here.saturating_mul(2).saturating_sub(before).saturating_sub(after)
}

#[cfg(test)]
#[allow(
    clippy::float_arithmetic,
    clippy::expect_used,
    clippy::arithmetic_side_effects,
    clippy::cast_precision_loss
)]
mod tests {
    use super::*;

    const MM: f64 = 4096.0;

    fn at(shape: impl Fn(f64) -> f64, phase: f64, per_cycle: f64) -> [i32; AROUND] {
        core::array::from_fn(|index| (shape((index as f64 - 3.0 + phase) / per_cycle) * 12.5 * MM) as i32)
    }
    /// 1 at 0, -1 at half a cycle.
    fn triangle(cycles: f64) -> f64 {
        1.0 - 4.0 * cycles.abs()
    }

    /// The truth is the amplitude the positions were taken from: 12.5 mm.
    #[test]
    fn a_sine_is_known_from_eight_positions_a_cycle_on() {
        for per_cycle in [8.0, 9.3, 12.0, 21.0, 40.0] {
            for tenth in -5..=5 {
                let sine = |cycles: f64| libm_cos(cycles);
                let around = at(sine, f64::from(tenth) / 10.0, per_cycle);
                let height = top(around, 0, (25.0 * MM) as i32, per_cycle >= 16.0).expect("a sine");
                let error = f64::from(height) / MM / 12.5 - 1.0;
                assert!(error.abs() < 0.01, "{per_cycle} {tenth}: {error}");
            }
        }
    }

    #[test]
    fn a_missed_corner_is_not_made_up() {
        for per_cycle in [8.0, 12.0, 21.0, 40.0] {
            for tenth in -5..=5 {
                let around = at(triangle, f64::from(tenth) / 10.0, per_cycle);
                if let Some(height) = top(around, 0, (25.0 * MM) as i32, per_cycle >= 16.0) {
                    let error = f64::from(height) / MM / 12.5 - 1.0;
                    assert!(error.abs() < 0.02, "{per_cycle} {tenth}: {error}");
                }
            }
        }
    }

    /// By the heights themselves: lines through two positions on either side meet above the highest.
    #[test]
    fn between_two_positions_the_end_lies_below_the_lines_of_its_neighbours() {
        // Rising by 100 and falling by 100 a position; the far side seen from the highest.
        assert_eq!(crossing_of_lines([900, 1000], [800, 900]), 1000, "the highest is the corner");
        assert_eq!(crossing_of_lines([900, 1000], [900, 1000]), 1050, "half way between two as high");
        assert_eq!(crossing_of_lines([900, 1000], [850, 950]), 1025);
        // Three times as steep on the far side: 300 * t = 200 - 100 * t.
        assert_eq!(crossing_of_lines([900, 1000], [600, 900]), 1050);
        // A flat side, or one that falls, does not rise.
        assert_eq!(crossing_of_lines([1000, 1000], [900, 1000]), 1000);
        assert_eq!(crossing_of_lines([1100, 1000], [900, 1000]), 1000);
        assert_eq!(crossing_of_lines([900, 1000], [1100, 1000]), 1000);
        assert_eq!(crossing_of_lines([1000, 1000], [1000, 1000]), 1000);
        // By single steps: what is flat rises by nothing at all.
        assert_eq!(crossing_of_lines([1000, 1000], [1100, 1100]), 1000);
        assert_eq!(crossing_of_lines([999, 1000], [1100, 1100]), 1100);
        assert_eq!(crossing_of_lines([900, 1000], [1001, 1001]), 1001);
    }

    /// Open by no more than a 125th of the width: the middle of what is left, at any centre.
    #[test]
    fn an_end_is_the_middle_of_what_its_neighbours_leave_open() {
        let corner = |highest: i32| [100, 200, 300, highest, 300, 200, 100];
        for centre in [0, 70, -70] {
            let around = corner(390).map(|position| position + centre);
            // To the next position the way is open by 90 * t up, and 100 down from 400: no more than 4.7.
            let bound = i32::try_from(crossing_of_lines([300, 390], [200, 300])).expect("small");
            assert_eq!(bound, 394);
            assert_eq!(top(around, centre, 1000, true), Some(392 + centre));
            assert_eq!(top(around, centre, 500, true), Some(392 + centre), "4 of 500 are a 125th");
            assert_eq!(top(around, centre, 499, true), None, "open by more, and no sine");
        }
        // Falling faster on one side leaves nothing open there: the other side counts, 390 + 90 * 10 / 190.
        assert_eq!(top([100, 200, 300, 390, 300, 230, 100], 0, 1000, true), Some(392));
        assert_eq!(top([100, 230, 300, 390, 300, 200, 100], 0, 1000, true), Some(392));
    }

    /// Bends that are in proportion to the heights are a sine's, to a fifth where the positions lie close, to a
    /// twenty-fifth where they do not.
    #[test]
    fn other_bends_are_no_sine() {
        let heights = |off: i64| [0, 6200 - 2 * off, 9000 + off, 10_000, 9000 + off, 6200 - 2 * off, 0];
        assert!(of_a_sine(heights(0), 20_000, false).is_some_and(|height| height == 10_000));
        assert_eq!(of_a_sine([0, 0, 0, 0, 0, 0, 0], 20_000, true), None);
        assert_eq!(of_a_sine([0, 1000, 1000, 1000, 1000, 1000, 0], 20_000, true), None, "flat");
        assert_eq!(of_a_sine([0, -6000, -9000, -10_000, -9000, -6000, 0], 20_000, true), None, "upside down");
        // A fifth of each height is bent: 1800, 2000, 1800. Off by 4 of some 2000 for each of these.
        for (off, is_dense, is_wide) in
            [(15, true, true), (40, true, false), (90, true, false), (150, false, false)]
        {
            assert_eq!(of_a_sine(heights(off), 20_000, true).is_some(), is_dense, "{off}");
            assert_eq!(of_a_sine(heights(off), 20_000, false).is_some(), is_wide, "{off}");
        }
    }

    /// Off by what share of its bend, or by what it is off, is what is stated: a fifth where the positions lie close, or
    /// 0.15 mm, or a 160th of the width; a twenty-fifth where they do not.
    #[test]
    fn how_far_a_bend_may_be_off_is_stated() {
        for (bend, width) in [(2000, 20_000), (2000, 200_000), (10, 20_000), (10, 200_000)] {
            for off in 0..800_i64 {
                let before = 10_000 - bend / 2 + off;
                let before_2 = before - (10_000 - before) - before * bend / 10_000 - off;
                let heights = [0, before_2, before, 10_000, before, before_2, 0];
                let own = [before, 10_000, before].map(|height| height as f64);
                let bends = [2 * before - before_2 - 10_000, 20_000 - 2 * before].map(|bend| bend as f64);
                let share = (2.0 * bends[0] + bends[1]) / own.iter().sum::<f64>();
                let off_by = (share * own[0] - bends[0]).abs().max((share * own[1] - bends[1]).abs());
                let noise = (0.15 * MM).min(width as f64 / 160.0);
                for (is_dense, slack) in
                    [(true, (0.2 * share * own[1]).max(noise)), (false, 0.04 * share * own[1])]
                {
                    // Whole numbers are cut: what lies within two of the limit is left open.
                    if share > 0.0 && (off_by - slack).abs() > 2.0 {
                        let found = of_a_sine(heights, width, is_dense).is_some();
                        assert_eq!(
                            found,
                            off_by < slack,
                            "{bend} {width} {off} {is_dense}: {off_by} {slack}"
                        );
                    }
                }
            }
        }
        // Below the centre a bend is no end, whichever way it goes.
        assert_eq!(of_a_sine([0, -1300, -1000, -900, -1000, -1300, 0], 20_000, true), None);
    }

    /// Heights of an exact sine: the series breaks off after x^2 / 8, which is x^3 / 16 at most: 0.0003 for x up to 0.18.
    #[test]
    fn the_top_of_a_sine_is_right_within_a_thousandth() {
        for per_cycle in [8.0, 9.0, 11.0, 15.0] {
            for twentieth in -10..=10 {
                let around = at(libm_cos, f64::from(twentieth) / 20.0, per_cycle);
                let height = of_a_sine(around.map(i64::from), (25.0 * MM) as i64, false).expect("a sine");
                let error = height as f64 / MM / 12.5 - 1.0;
                assert!(error.abs() < 0.001, "{per_cycle} {twentieth}: {error}");
            }
        }
    }

    fn libm_cos(cycles: f64) -> f64 {
        (cycles * core::f64::consts::TAU).cos()
    }
}
