//! Streaming sums equal a naive model in wide integers, bit for bit.

use bandward::statistics::{Block, Gather, Moments, RollingMean};
use bandward::trackers::electrical::LongMean;
use proptest::collection::vec;
use proptest::prelude::*;

/// `sum / count` to nearest, halves away from zero.
fn nearest(sum: i128, count: i128) -> i128 {
    (2 * sum.abs() + count) / (2 * count) * sum.signum()
}

/// Mean (rounded as seen from the first value), extremes, and n(n - 1) times the variance.
fn naive(values: &[i32]) -> (i128, i32, i32, i128) {
    let count = values.len() as i128;
    let first = i128::from(values[0]);
    let sum: i128 = values.iter().map(|&value| i128::from(value)).sum();
    let squares: i128 = values.iter().map(|&value| i128::from(value) * i128::from(value)).sum();
    let mean = first + nearest(sum - count * first, count);
    (mean, *values.iter().min().unwrap(), *values.iter().max().unwrap(), count * squares - sum * sum)
}

fn check(moments: &Moments, values: &[i32]) {
    let (mean, minimum, maximum, spread) = naive(values);
    assert_eq!(moments.count() as usize, values.len());
    assert_eq!(moments.mean().map(i128::from), Some(mean));
    assert_eq!((moments.minimum(), moments.maximum()), (Some(minimum), Some(maximum)));
    let count = values.len() as i128;
    let deviation = i128::from(moments.deviation().unwrap());
    if count == 1 {
        assert_eq!(deviation, 0);
    } else if deviation < i128::from(i32::MAX) {
        // Nearest: (deviation - 1/2)^2 <= variance < (deviation + 1/2)^2.
        let pairs = count * (count - 1);
        assert!((2 * deviation + 1).pow(2) * pairs > 4 * spread);
        assert!(deviation == 0 || (2 * deviation - 1).pow(2) * pairs <= 4 * spread);
    } else {
        assert!(spread >= (deviation * deviation - deviation) * count * (count - 1));
    }
}

/// Readings as they come, and the extremes.
fn reading() -> impl Strategy<Value = i32> {
    prop_oneof![
        4 => -2_000_000..2_000_000_i32,
        1 => any::<i32>(),
        1 => prop_oneof![Just(i32::MIN), Just(i32::MAX), Just(0)],
    ]
}

/// Readings that a [`Gather`] takes as they are.
fn near_reading() -> impl Strategy<Value = i32> {
    prop_oneof![4 => -2_000_000..2_000_000_i32, 1 => -((1 << 26) - 1)..(1 << 26)]
}

fn block(values: &[i32]) -> Block {
    let mut block = Block::EMPTY;
    for &value in values {
        block.push(value);
    }
    block
}

/// Keeps every value; mean over those young enough and not too many.
struct NaiveWindow {
    blocks: Vec<(u64, Vec<i32>)>,
    span_us: u64,
    room: usize,
}

impl NaiveWindow {
    fn push(&mut self, end_us: u64, values: Vec<i32>) {
        self.blocks.retain(|(old_us, _)| end_us - old_us < self.span_us);
        if !values.is_empty() {
            self.blocks.push((end_us, values));
        }
        let too_many = self.blocks.len().saturating_sub(self.room);
        self.blocks.drain(..too_many);
    }
    fn mean(&self) -> Option<i32> {
        let values: Vec<i128> =
            self.blocks.iter().flat_map(|(_, values)| values).map(|&value| i128::from(value)).collect();
        let count = values.len() as i128;
        (count > 0).then(|| nearest(values.iter().sum(), count) as i32)
    }
}

proptest! {
    #[test]
    fn moments(values in vec(reading(), 1..400)) {
        let mut moments = Moments::default();
        for &value in &values {
 moments.push(value);
 }
        check(&moments, &values);
    }

    #[test]
    fn moments_gathered_in_any_pieces(
        pieces in vec(vec(near_reading(), 0..Gather::ROOM as usize), 1..8),
    ) {
        let (mut moments, mut gather) = (Moments::default(), Gather::default());
        for piece in &pieces {
            // Every third goes in uncounted, but for the first of all.
            let mut added = 0;
            for (index, &value) in piece.iter().enumerate() {
                if index % 3 == 2 {
                    gather.add(value);
                    added += 1;
                } else {
                    gather.push(value);
                }
            }
            let taken = gather.take(added);
            prop_assert_eq!(taken.block(), block(piece));
            moments.merge(&taken);
        }
        let values = pieces.concat();
        if values.is_empty() {
            prop_assert_eq!(moments.mean(), None);
        } else {
            check(&moments, &values);
        }
    }

    #[test]
    fn rolling_mean(
        steps in vec((0..400_u64, vec(reading(), 0..6)), 1..200),
        span_us in 1..2000_u32,
    ) {
        let mut rolling = RollingMean::<7>::new(span_us);
        let mut model = NaiveWindow { blocks: Vec::new(), span_us: span_us.into(), room: 7 };
        let mut now_us = 0;
        for (wait_us, values) in steps {
            now_us += wait_us;
            rolling.push(now_us, block(&values));
            model.push(now_us, values);
            prop_assert_eq!(rolling.mean(), model.mean());
        }
    }

    /// The mean over a second, of tenths: its blocks close when a tenth has passed since the last one
    /// did, or when there is nothing else.
    #[test]
    fn long_mean(steps in vec((1..300_000_u64, vec(reading(), 0..6)), 1..200)) {
        let mut long = LongMean::<10>::new();
        let mut model = NaiveWindow { blocks: Vec::new(), span_us: 1_000_000, room: 10 };
        let (mut now_us, mut closed_us, mut open) = (0, 0, Vec::new());
        for (wait_us, values) in steps {
            now_us += wait_us;
            long.push(now_us, block(&values));
            open.extend(values);
            if now_us - closed_us >= 100_000 || model.blocks.is_empty() {
                model.push(now_us, std::mem::take(&mut open));
                closed_us = now_us;
            }
            prop_assert_eq!(long.mean(), model.mean());
        }
    }
}
