//! Which traces are kept out of the fitting together.
//!
//! Decides: the parts that settings are tried on in turn while they are fitted on the others.
//! Never: draws lots: the same traces make the same parts.

use super::marks::{Mark, Marks};

/// So many parts where nothing else is said.
pub const FOLDS: usize = 5;

/// The part of each trace, from 0: in the order of faults, scenario, seed and place every trace goes to the
/// next part, so that traces with the same faults are spread over all.
pub fn folds(marks: &[Marks], parts: usize) -> Vec<usize> {
    let faults = |index: usize| -> Vec<_> {
        let mut rules: Vec<_> = marks[index].faults.iter().map(Mark::lead).collect();
        rules.sort_unstable();
        rules
    };
    let mut order: Vec<_> = (0..marks.len())
        .map(|index| (faults(index), marks[index].scenario.as_str(), marks[index].seed, index))
        .collect();
    order.sort_unstable();
    let mut part_of = vec![0; marks.len()];
    for (nth, (.., index)) in order.iter().enumerate() {
        part_of[*index] = nth % parts.clamp(1, marks.len().max(1));
    }
    part_of
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn traces_with_the_same_faults_are_spread_over_all_parts() {
        let of = |fault: &str, seed| {
            let faults = match fault {
                "" => String::new(),
                rule => format!("{{ \"rule\": \"{rule}\", \"start_s\": 1, \"end_s\": 2 }}"),
            };
            let text = format!("{{ \"seed\": {seed}, \"faults\": [{faults}] }}");
            Marks::parse("x", &text, 0.0, 0.0).expect("it is sound")
        };
        let rules = ["gas-low", "", "gas-low", "current-low", "", "gas-low", "", "current-low"];
        let marks: Vec<_> = (0_u32..).zip(rules).map(|(seed, rule)| of(rule, seed)).collect();
        let parts = folds(&marks, 3);
        for rule in ["gas-low", ""] {
            let mut own: Vec<_> =
                rules.iter().zip(&parts).filter(|(other, _)| **other == rule).map(|(_, part)| part).collect();
            own.sort_unstable();
            assert_eq!(own, [&0, &1, &2], "{rule}");
        }
        assert_eq!(folds(&marks[..1], 5), [0]);
        assert_eq!(folds(&[], 5), Vec::<usize>::new());
    }
}
