//! Rows that cannot be judged because of their times.
//!
//! Decides: which rows come from the past and are left out, when a clock stands, and that how long that took is not
//! known; that a proof is lost by such rows
//! where an arc may burn in them, or where there are many, and by a clock that was set back.
//! Assumes: the core sees the rows as they are given, and leaves out those from the past.
//! Never: takes a row without current and voltage for one without an arc.

use super::Row;
use super::set_back::{HOLE_US, SetBack};

/// Rows left out, one in so many, cost the proof though no arc is seen in them. Invented.
const MANY_ONE_IN: u64 = 10;
/// From the third row on at one time, where times are so far apart, when a row was read is not known. Invented.
const CROWD: u64 = 3;
const CROWDED_FROM_US: u64 = 100_000;

/// A clock that stands while rows of so much time come hides what a pipe does meanwhile, µs. Invented.
const HIDES_US: u64 = 250_000;

/// Follows the times of the rows.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct RowTimes {
    /// Nominal time between rows, and the longest wait that is no gap, µs.
    period_us: u64,
    gap_tolerance_us: u64,
    newest_us: Option<u64>,
    /// Rows at the newest time.
    at_once: u64,
    rows: u64,
    /// Times there were, each counted once.
    times: u64,
    left_out: u64,
    left_out_lit: u64,
    standing_lit: u64,
    crowded_lit: u64,
    /// Places from which on a wait is not known.
    unknown_lit: u64,
    was_unknown: bool,
}

impl RowTimes {
    /// For rows that are so far apart.
    pub fn new(period_us: u32, gap_tolerance_us: u32) -> Self {
        let (period_us, gap_tolerance_us) = (u64::from(period_us), u64::from(gap_tolerance_us));
        Self { period_us, gap_tolerance_us, ..Self::default() }
    }
    /// Takes the next row.
    #[inline]
    pub fn take(&mut self, row: &mut Row) {
        self.rows += 1;
        let is_later = self.newest_us.is_none_or(|newest_us| row.time_us > newest_us);
        row.is_wait_unknown |= is_later && self.lasted(self.period_us.saturating_add(HIDES_US));
        self.unknown_lit += u64::from(row.is_wait_unknown && !self.was_unknown && row.may_burn());
        self.was_unknown = row.is_wait_unknown;
        match self.newest_us {
            Some(newest_us) if row.time_us < newest_us => self.take_late(row),
            Some(newest_us) if row.time_us == newest_us => {
                self.at_once += 1;
                self.standing_lit += u64::from(self.stands() && row.may_burn());
                let is_crowd = self.at_once >= CROWD && self.period_us >= CROWDED_FROM_US;
                self.crowded_lit += u64::from(is_crowd && row.may_burn());
            }
            _ => self.start_time(row.time_us),
        }
    }
    #[inline]
    const fn start_time(&mut self, time_us: u64) {
        self.newest_us = Some(time_us);
        self.times += 1;
        self.at_once = 1;
    }
    fn take_late(&mut self, row: &Row) {
        self.left_out += 1;
        self.left_out_lit += u64::from(row.may_burn());
    }
    /// Have more rows come at one time than usual, for longer than a gap?
    const fn stands(&self) -> bool {
        self.lasted(self.gap_tolerance_us)
    }
    /// Do the rows of the newest time come to more than so much time?
    const fn lasted(&self, time_us: u64) -> bool {
        let lasted_us = self.at_once.saturating_mul(self.period_us);
        lasted_us.saturating_mul(self.times) > time_us.saturating_mul(self.rows)
    }
    /// Why it costs the proof, in words; empty where it does not.
    pub fn costs(&self, set_backs: &[SetBack]) -> Vec<String> {
        let mut costs = Vec::new();
        if self.left_out_lit > 0 || self.left_out * MANY_ONE_IN > self.rows {
            costs.push(format!(
                "{} of {} rows were out of order in time and not judged; {}",
                self.left_out,
                self.rows,
                match self.left_out_lit {
                    0 => "no arc is seen in them".to_owned(),
                    lit => format!("an arc may burn in {lit} of them"),
                }
            ));
        }
        if self.standing_lit > 0 {
            costs.push(format!(
                "the time stands still for {} of {} rows in which an arc may burn: they were not judged",
                self.standing_lit, self.rows
            ));
        }
        if self.unknown_lit > 0 {
            let places = if self.unknown_lit == 1 { "place" } else { "places" };
            costs.push(format!(
                "a clock that stands, or rows of a batch that are missing, at {} {places} where an arc may burn: how long \
                 that took is not known, and no speed, angle or time is worked out across",
                self.unknown_lit
            ));
        }
        if self.crowded_lit * MANY_ONE_IN > self.rows {
            costs.push(format!(
                "{} of {} rows have the time of those before them, and times are {} s apart: when they were read is not known",
                self.crowded_lit,
                self.rows,
                self.period_us as f64 / 1e6
            ));
        }
        if let Some(first) = set_backs.first() {
            costs.push(format!(
                "the clock was set back after {:.1} s: how much time went by there, and what was done in it, is not known",
                before_s(first)
            ));
        }
        costs
    }
}

/// What a person should know besides of a clock that was set back.
pub fn warning(set_backs: &[SetBack]) -> Option<String> {
    let first = set_backs.first()?;
    let times = match set_backs.len() {
        1 => String::new(),
        times => format!(", and {} more", times - 1),
    };
    Some(format!(
        "the time jumps back after {:.1} s{times}: a clock that was set, or a log that was begun anew; it is taken as a hole \
         of {} s, and bands on both sides may be counted as of one joint",
        before_s(first),
        HOLE_US / 1_000_000
    ))
}

/// The last time before it, s.
fn before_s(set_back: &SetBack) -> f64 {
    set_back.at_us.saturating_sub(HOLE_US) as f64 / 1e6
}

#[cfg(test)]
mod tests {
    use super::*;
    use bandward::Channel;

    fn order(rows: impl Iterator<Item = (u64, f64)>) -> RowTimes {
        let mut order = RowTimes::new(20_000, 250_000);
        rows.for_each(|(time_us, amps)| order.take(&mut Row::at(time_us).with(Channel::Current, amps)));
        order
    }
    fn at_50_hz(rows: u64) -> impl Iterator<Item = u64> {
        (0..rows).map(|row| row * 20_000)
    }

    #[test]
    fn a_row_from_the_past_costs_the_proof_by_its_arc() {
        for (amps, costs) in [(0.0, false), (4.9, false), (280.0, true), (f64::NAN, true)] {
            let rows = at_50_hz(100).map(|us| (us, 280.0)).chain([(1_000_000, amps)]);
            assert_eq!(order(rows).costs(&[]).is_empty(), !costs, "{amps}");
        }
        let every_fifth = at_50_hz(100).map(|us| if us % 100_000 == 0 { (0, 0.0) } else { (us, 0.0) });
        assert!(order(every_fifth).costs(&[])[0].contains("19 of 100 rows"));
    }

    #[test]
    fn a_clock_that_is_set_back_is_told_and_costs_the_proof() {
        let order = order(at_50_hz(1000).map(|us| (us, 0.0)));
        let set_back = [SetBack { at_us: 20_000_000 + HOLE_US, by_us: 0 }];
        assert_eq!(order.costs(&[]), Vec::<String>::new());
        assert!(order.costs(&set_back)[0].contains("set back after 20.0 s"), "{order:?}");
        assert!(warning(&set_back).is_some_and(|told| told.contains("after 20.0 s:")));
    }

    #[test]
    fn rows_that_share_times_far_apart_cost_the_proof() {
        let costs = |period_us: u32, rows_at_once: u64| {
            let mut order = RowTimes::new(period_us, 2_500_000);
            for row in 0..1000 {
                let time_us = row / rows_at_once * u64::from(period_us);
                order.take(&mut Row::at(time_us).with(Channel::Current, 280.0));
            }
            order.costs(&[]).concat()
        };
        assert!(costs(500_000, 10).contains("800 of 1000 rows have the time of those before them"));
        // Each row twice, and a clock that counts in 20 ms.
        assert_eq!(costs(500_000, 2) + &costs(20_000, 10), "");
    }

    #[test]
    fn how_long_a_clock_stood_is_not_known() {
        // Rows at one time; the first behind them is told.
        for (period_us, rows, is_told) in
            [(20_000, 13, false), (20_000, 15, true), (200_000, 3, true), (200_000, 2, false)]
        {
            let mut order = RowTimes::new(period_us, 10 * period_us);
            let period_us = u64::from(period_us);
            let stood = std::iter::repeat_n(1000 * period_us, rows);
            let times =
                (0..1000).map(|row| row * period_us).chain(stood).chain([1001 * period_us, 1002 * period_us]);
            let told: Vec<u64> = times
                .filter(|&time_us| {
                    let mut row = Row::at(time_us).with(Channel::Current, 280.0);
                    order.take(&mut row);
                    row.is_wait_unknown
                })
                .collect();
            assert_eq!(told, if is_told { vec![1001 * period_us] } else { Vec::new() }, "{period_us} {rows}");
            assert_eq!(order.costs(&[]).concat().contains("a clock that stands"), is_told);
        }
    }

    #[test]
    fn a_clock_that_stands_under_an_arc_costs_the_proof() {
        let stands = |rows: usize, amps: f64| {
            let stood = std::iter::repeat_n((1_980_000, amps), rows);
            order(at_50_hz(100).map(|us| (us, 280.0)).chain(stood)).costs(&[])
        };
        // A stutter of a quarter of a second is none.
        assert_eq!(stands(11, 280.0), Vec::<String>::new());
        assert_eq!(stands(500, 0.0), Vec::<String>::new());
        assert_eq!(stands(500, 280.0).len(), 1);
        // Ten rows a stamp, all along.
        let stamped = (0..5000).map(|row| (row / 10 * 20_000, 280.0));
        assert_eq!(order(stamped).costs(&[]), Vec::<String>::new());
    }
}
