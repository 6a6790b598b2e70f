//! Stretches of a circumference.
//!
//! Decides: which stretches are one.
//! Assumes: angles in degrees from the tie-in; a stretch may run on past a full turn.
//! Never: leaves a degree out that one of them covers.

/// Stretches closer than this are ground as one, degrees: 17 mm (some 5/8 in) on a joint of 127 mm. Invented.
pub const JOIN_DEG: f64 = 15.0;
/// What is left between the ends of a stretch that goes nearly all round is no sound rest.
const ALL_ROUND_DEG: f64 = 360.0 - JOIN_DEG;

/// From an angle on, so far.
#[derive(Clone, Debug, PartialEq)]
pub struct Arc<T> {
    /// Where it begins, 0 to 360 degrees.
    pub from_deg: f64,
    /// How long it is, 0 to 360 degrees.
    pub length_deg: f64,
    /// What it stands for.
    pub of: Vec<T>,
}

impl<T> Arc<T> {
    /// From an angle to a later one, both counted on over full turns.
    pub fn new(from_deg: f64, to_deg: f64, of: T) -> Self {
        let length_deg = (to_deg - from_deg).clamp(0.0, 360.0);
        Self { from_deg: from_deg.rem_euclid(360.0), length_deg, of: vec![of] }
    }
    fn end_deg(&self) -> f64 {
        self.from_deg + self.length_deg
    }
    /// Where it ends, 0 to 360 degrees.
    pub fn to_deg(&self) -> f64 {
        let end = self.end_deg();
        if end > 360.0 { end - 360.0 } else { end }
    }
    /// Does it go all round?
    pub fn is_all_round(&self) -> bool {
        self.length_deg >= ALL_ROUND_DEG
    }
    /// Takes in one that begins at or after its own beginning, counted on.
    fn take(&mut self, other: Self, other_end_deg: f64) {
        self.length_deg = (self.end_deg().max(other_end_deg) - self.from_deg).min(360.0);
        self.of.extend(other.of);
    }
}

/// Those that overlap, or nearly meet, as one; in the order of their beginnings.
pub fn joined<T>(mut arcs: Vec<Arc<T>>) -> Vec<Arc<T>> {
    arcs.sort_by(|one, other| one.from_deg.total_cmp(&other.from_deg));
    let mut joined: Vec<Arc<T>> = Vec::new();
    for arc in arcs {
        match joined.last_mut() {
            Some(last) if arc.from_deg <= last.end_deg() + JOIN_DEG => {
                let end_deg = arc.end_deg();
                last.take(arc, end_deg);
            }
            _ => joined.push(arc),
        }
    }
    // The last may run over the tie-in into the first ones.
    while joined.len() > 1 && joined[0].from_deg + 360.0 <= joined[joined.len() - 1].end_deg() + JOIN_DEG {
        let first = joined.remove(0);
        let end_deg = first.end_deg() + 360.0;
        if let Some(last) = joined.last_mut() {
            last.take(first, end_deg);
        }
    }
    joined
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(arcs: &[(f64, f64)]) -> Vec<(f64, f64, usize)> {
        let arcs = arcs.iter().map(|&(from, to)| Arc::new(from, to, ())).collect();
        joined(arcs).iter().map(|arc| (arc.from_deg, arc.to_deg(), arc.of.len())).collect()
    }

    #[test]
    fn what_meets_is_one_also_over_the_tie_in() {
        assert_eq!(told(&[]), []);
        assert_eq!(told(&[(100.0, 110.0), (125.0, 150.0)]), [(100.0, 150.0, 2)]);
        assert_eq!(told(&[(100.0, 110.0), (125.1, 150.0)]), [(100.0, 110.0, 1), (125.1, 150.0, 1)]);
        assert_eq!(told(&[(100.0, 200.0), (120.0, 130.0)]), [(100.0, 200.0, 2)]);
        // The second pass over the start is the same place as the first.
        assert_eq!(told(&[(355.0, 370.0), (20.0, 30.0)]), [(355.0, 30.0, 2)]);
        assert_eq!(told(&[(365.0, 370.0), (8.0, 20.0)]), [(5.0, 20.0, 2)]);
        assert_eq!(told(&[(340.0, 350.0), (0.0, 5.0), (100.0, 100.0)]), [(100.0, 100.0, 1), (340.0, 5.0, 2)]);
        let round = joined(vec![Arc::new(10.0, 400.0, ()), Arc::new(200.0, 210.0, ())]);
        assert!(round.len() == 1 && round[0].is_all_round(), "{round:?}");
    }

    /// Whatever the stretches: each degree that one covers is covered by what is joined, and no two of those are
    /// closer than they may be.
    #[test]
    fn no_degree_is_lost() {
        let mut state = 7_u64;
        let mut next = |below: u64| {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            ((state >> 33) % below) as f64
        };
        for _ in 0..2000 {
            let count = 1 + next(5) as usize;
            let spans: Vec<_> = (0..count).map(|_| (next(720), next(120))).collect();
            let arcs = spans.iter().map(|&(from, length)| Arc::new(from, from + length, ())).collect();
            let joined = joined(arcs);
            assert_eq!(joined.iter().map(|arc| arc.of.len()).sum::<usize>(), count);
            let covers = |arc: &Arc<()>, deg: f64| {
                (deg - arc.from_deg).rem_euclid(360.0) <= arc.length_deg + 1e-9 || arc.length_deg >= 360.0
            };
            for &(from, length) in &spans {
                for step in 0..=4 {
                    let deg = from + length * f64::from(step) / 4.0;
                    assert!(joined.iter().any(|arc| covers(arc, deg)), "{spans:?} at {deg}: {joined:?}");
                }
            }
            for (at, arc) in joined.iter().enumerate() {
                let next = &joined[(at + 1) % joined.len()];
                let gap = (next.from_deg - arc.end_deg()).rem_euclid(360.0);
                assert!(joined.len() == 1 || gap > JOIN_DEG, "{spans:?}: {joined:?}");
            }
        }
    }
}
