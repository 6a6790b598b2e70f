//! How large a difference operators and warmth are expected to make, before any is known of this one.
//!
//! Decides: for each quantity, how far an operator or 10 degC may be off before it counts as a drift.
//! Assumes: the quantities of the same joints resemble each other: in a shop whose operators make no
//! difference to any of them, the next operator makes none either.
//! Never: rules a difference out; a share of each size is kept.
//!
//! Empirical Bayes with a few sizes: the share of quantities that have each is that under which their
//! baselines are likeliest (Laird 1978, "Nonparametric maximum likelihood estimation of a mixing
//! distribution", Journal of the American Statistical Association 73, 805-811; by the steps of Dempster,
//! Laird and Rubin 1977; from memory). What is modelled and makes no difference then costs next to nothing.

use super::known::{Kind, Known, USUAL};
use super::reference::Reference;

/// Sizes tried, in standard deviations of a joint; no operator is more than three off (common practice,
/// no source).
const SIZES: [f64; 4] = [0.1, 0.3, 1.0, USUAL];
/// Turns after which the shares move no more.
const TURNS: usize = 40;

/// The baseline of a quantity.
pub struct Own<'b> {
    /// What is known of its joints.
    pub known: &'b mut Known,
    /// Its points.
    pub kept: &'b [usize],
    /// Its readings.
    pub values: &'b [f64],
    /// A smaller spread is taken as this one.
    pub least_deviation: f64,
}

impl Own<'_> {
    /// Logarithm of the likelihood, level and spread unknown (the integrated likelihood of a linear model
    /// with a normal prior; any textbook of Bayesian statistics), but for a constant.
    fn likelihood(&self) -> f64 {
        let (rows, expected) = self.known.with_levels(self.kept);
        let width = rows.first().map_or(1, Vec::len);
        let mut fit = Reference::expecting(&expected, width, self.least_deviation);
        rows.iter().zip(self.kept).for_each(|(row, &at)| fit.learn(row, self.values[at]));
        let degrees = fit.degrees().max(1.0);
        let squares = fit.squares() + degrees * self.least_deviation.powi(2) / 12.0;
        let prior: f64 = self.known.sizes.iter().map(|size| size.ln()).sum();
        -0.5 * degrees * squares.ln() - fit.log_volume() - prior
    }
}

/// Sets what is expected of each kind of regressor, for all quantities of the same joints.
pub fn set(quantities: &mut [Own<'_>]) {
    for kind in [Kind::Operator, Kind::Ambient, Kind::Work] {
        let mut own: Vec<&mut Own> =
            quantities.iter_mut().filter(|own| own.known.kinds.contains(&kind)).collect();
        let likely: Vec<[f64; SIZES.len()]> = own
            .iter_mut()
            .map(|own| {
                let logs = SIZES.map(|size| {
                    own.known.set_size(kind, size);
                    own.likelihood()
                });
                let best = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
                logs.map(|log| (log - best).exp())
            })
            .collect();
        let shares = shares(&likely);
        for (own, likely) in own.iter_mut().zip(&likely) {
            let posterior = weighted(&shares, likely);
            let square: f64 = posterior.iter().zip(SIZES).map(|(part, size)| part * size * size).sum();
            own.known.set_size(kind, square.sqrt());
        }
    }
}

/// The share of quantities with each size; each keeps that of one quarter of a quantity.
fn shares(likely: &[[f64; SIZES.len()]]) -> [f64; SIZES.len()] {
    let each = (SIZES.len() as f64).recip();
    let mut shares = [each; SIZES.len()];
    for _ in 0..TURNS {
        let mut sums = [each; SIZES.len()];
        for one in likely {
            sums.iter_mut().zip(weighted(&shares, one)).for_each(|(sum, part)| *sum += part);
        }
        let all: f64 = sums.iter().sum();
        shares = sums.map(|sum| sum / all);
    }
    shares
}

fn weighted(shares: &[f64; SIZES.len()], likely: &[f64; SIZES.len()]) -> [f64; SIZES.len()] {
    let mut parts = *shares;
    parts.iter_mut().zip(likely).for_each(|(part, likely)| *part *= likely);
    let all: f64 = parts.iter().sum();
    parts.map(|part| part / all)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::process::random::Noise;

    /// What is expected of two operators in ten quantities, where the second is `off` standard deviations off.
    fn sizes(off: f64) -> Vec<f64> {
        const JOINTS: usize = 24;
        let mut noise = Noise::new(11, 1);
        let kept: Vec<usize> = (0..JOINTS).collect();
        let second = |joint: usize| f64::from(u8::from(joint / 6 % 2 == 1));
        let mut quantities: Vec<(Known, Vec<f64>)> = (0..10)
            .map(|_| {
                let known = Known {
                    rows: (0..JOINTS).map(|joint| vec![1.0, second(joint)]).collect(),
                    restarts: vec![None; JOINTS],
                    names: vec!["operator"],
                    kinds: vec![Kind::Operator],
                    sizes: vec![USUAL],
                    ..Known::default()
                };
                let values = (0..JOINTS).map(|joint| 50.0 + off * second(joint) + noise.normal()).collect();
                (known, values)
            })
            .collect();
        let own = quantities.iter_mut().map(|(known, values)| Own {
            known,
            kept: &kept,
            values,
            least_deviation: 0.01,
        });
        set(&mut own.collect::<Vec<_>>());
        quantities.iter().map(|(known, _)| known.sizes[0]).collect()
    }

    #[test]
    fn little_is_expected_of_operators_who_make_no_difference_and_much_of_those_who_do() {
        assert!(sizes(0.0).iter().all(|size| *size < 0.6), "{:?}", sizes(0.0));
        assert!(sizes(2.5).iter().all(|size| *size > 1.5), "{:?}", sizes(2.5));
    }
}
