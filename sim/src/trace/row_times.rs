//! Rows that cannot be judged because of their times.
//!
//! Decides: which rows come from the past and are left out, when a clock was set back, when it stands; and that a proof
//! is lost by such rows where an arc may burn in them, or where there are many.
//! Assumes: the core sees the rows as they are given, and takes [`SET_BACK`] in a row from the past for a clock that
//! was set back.
//! Never: takes a row without current and voltage for one without an arc.

use super::Row;

/// So many rows in a row from the past are a clock that was set back; of those before them nothing is judged.
pub const SET_BACK: u8 = 8;
/// Rows left out, one in so many, cost the proof though no arc is seen in them. Invented.
const MANY_ONE_IN: u64 = 10;

/// Follows the times of the rows.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct RowTimes {
    /// Nominal time between rows, and the longest wait that is no gap, µs.
    period_us: u64,
    gap_tolerance_us: u64,
    newest_us: Option<u64>,
    in_a_row: u8,
    /// Rows at the newest time.
    at_once: u64,
    rows: u64,
    /// Times there were, each counted once.
    times: u64,
    left_out: u64,
    left_out_lit: u64,
    standing_lit: u64,
    /// Where the clock was set back first, µs, and how often.
    set_back: Option<(u64, u64)>,
}

impl RowTimes {
    /// For rows that are so far apart.
    pub fn new(period_us: u32, gap_tolerance_us: u32) -> Self {
        let (period_us, gap_tolerance_us) = (u64::from(period_us), u64::from(gap_tolerance_us));
        Self { period_us, gap_tolerance_us, ..Self::default() }
    }
    /// Takes the next row.
    #[inline]
    pub fn take(&mut self, row: &Row) {
        self.rows += 1;
        match self.newest_us {
            Some(newest_us) if row.time_us < newest_us => return self.take_late(row, newest_us),
            Some(newest_us) if row.time_us == newest_us => {
                self.at_once += 1;
                self.standing_lit += u64::from(self.stands() && row.may_burn());
            }
            _ => self.start_time(row.time_us),
        }
        self.in_a_row = 0;
    }
    #[inline]
    const fn start_time(&mut self, time_us: u64) {
        self.newest_us = Some(time_us);
        self.times += 1;
        self.at_once = 1;
    }
    fn take_late(&mut self, row: &Row, newest_us: u64) {
        self.in_a_row += 1;
        if self.in_a_row == SET_BACK {
            self.in_a_row = 0;
            let (first_us, times) = self.set_back.unwrap_or((newest_us, 0));
            self.set_back = Some((first_us, times + 1));
            self.start_time(row.time_us);
        } else {
            self.left_out += 1;
            self.left_out_lit += u64::from(row.may_burn());
        }
    }
    /// Have more rows come at one time than usual, for longer than a gap?
    const fn stands(&self) -> bool {
        let lasted_us = self.at_once.saturating_mul(self.period_us);
        lasted_us.saturating_mul(self.times) > self.gap_tolerance_us.saturating_mul(self.rows)
    }
    /// Why it costs the proof, in words; empty where it does not.
    pub fn costs(&self) -> Vec<String> {
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
        if let Some((first_us, _)) = self.set_back {
            costs.push(format!(
                "the clock was set back after {:.1} s: how much time went by there, and what was done in it, is not known",
                first_us as f64 / 1e6
            ));
        }
        costs
    }
    /// What a person should know besides.
    pub fn warning(&self) -> Option<String> {
        let (first_us, times) = self.set_back?;
        let times = if times == 1 { String::new() } else { format!(", and {} more", times - 1) };
        Some(format!(
            "the time jumps back after {:.1} s{times}: a clock that was set, or a log that was begun anew; bands and joints \
             on both sides may be counted as of one, and a serial be that of the other side",
            first_us as f64 / 1e6
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use bandward::Channel;

    fn order(rows: impl Iterator<Item = (u64, f64)>) -> RowTimes {
        let mut order = RowTimes::new(20_000, 250_000);
        rows.for_each(|(time_us, amps)| order.take(&Row::at(time_us).with(Channel::Current, amps)));
        order
    }
    fn at_50_hz(rows: u64) -> impl Iterator<Item = u64> {
        (0..rows).map(|row| row * 20_000)
    }

    #[test]
    fn a_row_from_the_past_costs_the_proof_by_its_arc() {
        for (amps, costs) in [(0.0, false), (4.9, false), (280.0, true), (f64::NAN, true)] {
            let rows = at_50_hz(100).map(|us| (us, 280.0)).chain([(1_000_000, amps)]);
            assert_eq!(order(rows).costs().is_empty(), !costs, "{amps}");
        }
        let every_fifth = at_50_hz(100).map(|us| if us % 100_000 == 0 { (0, 0.0) } else { (us, 0.0) });
        assert!(order(every_fifth).costs()[0].contains("19 of 100 rows"));
    }

    #[test]
    fn a_clock_that_is_set_back_is_told_and_costs_the_proof() {
        let order = order(at_50_hz(1000).chain(at_50_hz(1000)).map(|us| (us, 0.0)));
        assert!(order.costs()[0].contains("set back after 20.0 s"), "{order:?}");
        assert!(order.warning().is_some_and(|told| told.contains("after 20.0 s:")), "{order:?}");
    }

    #[test]
    fn a_clock_that_stands_under_an_arc_costs_the_proof() {
        let stands = |rows: usize, amps: f64| {
            let stood = std::iter::repeat_n((1_980_000, amps), rows);
            order(at_50_hz(100).map(|us| (us, 280.0)).chain(stood)).costs()
        };
        // A stutter of a quarter of a second is none.
        assert_eq!(stands(11, 280.0), Vec::<String>::new());
        assert_eq!(stands(500, 0.0), Vec::<String>::new());
        assert_eq!(stands(500, 280.0).len(), 1);
        // Ten rows a stamp, all along.
        let stamped = (0..5000).map(|row| (row / 10 * 20_000, 280.0));
        assert_eq!(order(stamped).costs(), Vec::<String>::new());
    }
}
