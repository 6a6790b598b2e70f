//! The course of one value over time as smallest and largest values of even stretches.
//!
//! Decides: how long a stretch is: two neighbours become one when the room is used up.
//! Assumes: times come roughly in order; a time before the first counts as the first.
//! Never: loses an extreme, nor grows beyond its capacity.

/// Smallest and largest value of a stretch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Extremes {
    /// Smallest.
    pub low: f32,
    /// Largest.
    pub high: f32,
}

impl Extremes {
    /// Of no value at all.
    pub const NONE: Self = Self { low: f32::INFINITY, high: f32::NEG_INFINITY };

    /// Was there no value?
    pub fn is_empty(self) -> bool {
        self.low > self.high
    }
    /// With one more value.
    pub fn extend(&mut self, value: f32) {
        self.low = self.low.min(value);
        self.high = self.high.max(value);
    }
    /// With those of another stretch.
    #[must_use]
    pub fn union(self, other: Self) -> Self {
        Self { low: self.low.min(other.low), high: self.high.max(other.high) }
    }
    /// Half way between the two, of a stretch that is not empty.
    pub fn middle(self) -> f32 {
        f32::midpoint(self.low, self.high)
    }
}

/// The course of one value.
#[derive(Clone, Debug, PartialEq)]
pub struct Envelope {
    start_us: u64,
    width_us: u64,
    capacity: usize,
    stretches: Vec<Extremes>,
}

impl Envelope {
    /// Empty; stretches are `width_us` long at first (at least 1 µs), and never more than `capacity`
    /// (at least 2, even).
    pub fn new(start_us: u64, width_us: u64, capacity: usize) -> Self {
        let capacity = (capacity & !1).max(2);
        Self { start_us, width_us: width_us.max(1), capacity, stretches: Vec::new() }
    }
    /// Takes a value; what is no finite number is left out.
    #[inline]
    pub fn push(&mut self, time_us: u64, value: f64) {
        let value = value as f32;
        if !value.is_finite() {
            return;
        }
        let elapsed_us = time_us.saturating_sub(self.start_us);
        while elapsed_us / self.width_us >= self.capacity as u64 {
            self.merge_neighbours();
        }
        let index = (elapsed_us / self.width_us) as usize;
        if index >= self.stretches.len() {
            self.stretches.resize(index + 1, Extremes::NONE);
        }
        self.stretches[index].extend(value);
    }
    fn merge_neighbours(&mut self) {
        let merged = |pair: &[Extremes]| pair.iter().copied().fold(Extremes::NONE, Extremes::union);
        self.stretches = self.stretches.chunks(2).map(merged).collect();
        self.width_us = self.width_us.saturating_mul(2);
    }
    /// When the first stretch begins, s.
    pub fn start_s(&self) -> f64 {
        self.start_us as f64 / 1e6
    }
    /// How long a stretch is, s.
    pub fn width_s(&self) -> f64 {
        self.width_us as f64 / 1e6
    }
    /// The stretches, one after the other.
    pub fn stretches(&self) -> &[Extremes] {
        &self.stretches
    }
    /// The values around a time, s; empty where there were none.
    pub fn at(&self, time_s: f64) -> Extremes {
        let index = ((time_s - self.start_s()) / self.width_s()).floor();
        if index < 0.0 {
            return Extremes::NONE;
        }
        self.stretches.get(index as usize).copied().unwrap_or(Extremes::NONE)
    }
    /// Smallest and largest of all values.
    pub fn extremes(&self) -> Extremes {
        self.stretches.iter().copied().fold(Extremes::NONE, Extremes::union)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_spike_of_one_sample_in_a_million_survives_where_it_was() {
        for spike_at in [0_u64, 1, 123_456, 777_777, 999_999] {
            let mut envelope = Envelope::new(0, 20, 1024);
            for sample in 0..1_000_000_u64 {
                envelope.push(sample * 20, if sample == spike_at { 400.0 } else { 300.0 });
            }
            assert!(envelope.stretches().len() <= 1024);
            let with: Vec<usize> = (0..envelope.stretches().len())
                .filter(|&index| envelope.stretches()[index].high > 399.0)
                .collect();
            let expected = (spike_at as f64 * 20e-6 / envelope.width_s()) as usize;
            assert_eq!(with, [expected], "spike at sample {spike_at}");
        }
    }

    /// Against keeping every value: each stretch's extremes are those of the values that fell into it.
    #[test]
    fn merging_gives_what_one_pass_over_all_values_gives() {
        let mut envelope = Envelope::new(500, 3, 16);
        let values: Vec<(u64, f64)> =
            (0..997_u64).map(|step| (500 + step * 7, f64::from((step * step % 101) as u32))).collect();
        for &(time_us, value) in &values {
            envelope.push(time_us, value);
        }
        let width_us = (envelope.width_s() * 1e6).round() as u64;
        for (index, stretch) in envelope.stretches().iter().enumerate() {
            let own = values.iter().filter(|(time, _)| (time - 500) / width_us == index as u64);
            let (low, high) = own.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), &(_, value)| {
                (low.min(value), high.max(value))
            });
            assert_eq!((f64::from(stretch.low), f64::from(stretch.high)), (low, high));
        }
    }

    #[test]
    fn a_hole_of_years_costs_no_memory() {
        let mut envelope = Envelope::new(0, 20, 64);
        envelope.push(0, 1.0);
        envelope.push(u64::MAX / 2, 2.0);
        envelope.push(10, f64::NAN);
        assert!(envelope.stretches().len() <= 64);
        assert_eq!(envelope.extremes(), Extremes { low: 1.0, high: 2.0 });
    }
}
