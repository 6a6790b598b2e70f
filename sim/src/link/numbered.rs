//! What a board keeps under numbers, as it was read out.
//!
//! Decides: which answer goes on with what was read, and which numbers are missing in between.
//! Assumes: it is handed the answers in the order in which they came.
//! Never: takes a number twice: a board that gives one again would be asked for ever.

use anyhow::bail;

/// Runs of numbers that are told; of more it is told how many.
const LISTED: usize = 6;

/// What was read out, each with its number.
#[derive(Debug)]
pub struct Numbered<T> {
    /// What came.
    pub kept: Vec<(u32, T)>,
    /// Why it is not all that there is.
    pub cut: Option<anyhow::Error>,
}

impl<T> Default for Numbered<T> {
    fn default() -> Self {
        Self { kept: Vec::new(), cut: None }
    }
}

impl<T> Numbered<T> {
    /// Takes what was answered where number `from` or a later one was asked for.
    pub(super) fn take(&mut self, from: u32, number: u32, one: T) -> anyhow::Result<()> {
        if number < from {
            bail!(
                "the board told number {number} where {from} or a later one was asked for: no number is given twice"
            );
        }
        self.kept.push((number, one));
        Ok(())
    }
    /// All that there is.
    ///
    /// # Errors
    /// Why it is not all.
    pub fn whole(self) -> anyhow::Result<Vec<(u32, T)>> {
        self.cut.map_or(Ok(self.kept), Err)
    }
    /// The numbers between the first and the last that did not come, as runs from and to.
    pub fn missing(&self) -> Vec<(u32, u32)> {
        let pairs = self.kept.windows(2);
        let between = pairs.map(|pair| (pair[0].0.saturating_add(1), pair[1].0.saturating_sub(1)));
        between.filter(|(from, to)| from <= to).collect()
    }
}

impl<T> Numbered<Option<T>> {
    /// The numbers that came without anything, as runs from and to.
    pub fn damaged(&self) -> Vec<(u32, u32)> {
        let mut runs: Vec<(u32, u32)> = Vec::new();
        for &(number, _) in self.kept.iter().filter(|(_, one)| one.is_none()) {
            match runs.last_mut() {
                Some((_, to)) if to.checked_add(1) == Some(number) => *to = number,
                _ => runs.push((number, number)),
            }
        }
        runs
    }
}

/// Runs of missing numbers in words; nothing where there is none.
pub fn missing_words(missing: &[(u32, u32)]) -> Option<String> {
    (!missing.is_empty()).then(|| format!("missing in between: number {}", runs_in_words(missing)))
}

/// Runs of numbers in words.
pub fn runs_in_words(runs: &[(u32, u32)]) -> String {
    let run =
        |&(from, to): &(u32, u32)| if from == to { from.to_string() } else { format!("{from} to {to}") };
    let listed: Vec<_> = runs.iter().take(LISTED).map(run).collect();
    let more = match runs.len().saturating_sub(LISTED) {
        0 => String::new(),
        more => format!(" and {more} runs more"),
    };
    listed.join(", ") + &more
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn damaged_ones_are_no_gaps() {
        let kept = [Some(()), None, None, Some(()), None].into_iter().zip(3..).map(|(one, at)| (at, one));
        let read = Numbered { kept: kept.collect(), cut: None };
        assert_eq!((read.damaged(), read.missing()), (vec![(4, 5), (7, 7)], Vec::new()));
    }
    #[test]
    fn numbers_go_up_and_those_between_are_missed() {
        let mut read = Numbered::default();
        for (from, number) in [(0, 4), (5, 5), (6, 9), (10, 11)] {
            read.take(from, number, ()).expect("it goes up");
        }
        for number in [0, 11] {
            let words = read.take(12, number, ()).expect_err("it was asked for a later one").to_string();
            assert!(words.contains(&format!("number {number} where 12")), "{words}");
        }
        assert_eq!(read.missing(), [(6, 8), (10, 10)]);
        assert_eq!(missing_words(&read.missing()).as_deref(), Some("missing in between: number 6 to 8, 10"));
        assert_eq!(missing_words(&[]), None);
        let words = missing_words(&[(1, 1); 9]).expect("words");
        assert!(words.ends_with("1 and 3 runs more"), "{words}");
    }
}
