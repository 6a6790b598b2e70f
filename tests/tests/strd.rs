//! The sums behind every mean and deviation against data sets with certified values.
//!
//! Data and certified values: Statistical Reference Datasets (`StRD`), univariate summary statistics,
//! National Institute of Standards and Technology, USA.

use bandward::statistics::Moments;

/// Holds the moments of `values`, scaled to integers, against the certified mean and deviation.
fn check(name: &str, values: &[f64], scale: f64, count: usize, mean: f64, deviation: f64) {
    assert_eq!(values.len(), count, "{name}");
    let mut moments = Moments::default();
    for value in values {
        moments.push((value * scale).round() as i32);
    }
    let scaled = |certified: f64| (certified * scale).round() as i32;
    assert_eq!(moments.mean(), Some(scaled(mean)), "mean of {name}");
    assert_eq!(moments.deviation(), Some(scaled(deviation)), "deviation of {name}");
}

fn numbers(text: &str) -> Vec<f64> {
    text.lines().map(|line| line.parse().expect("a number a line")).collect()
}

#[test]
fn observed_data() {
    let lew = numbers(include_str!("../data/strd/Lew.txt"));
    check("Lew", &lew, 1e6, 200, -177.435, 277.332_168_044_316);
    let lottery = numbers(include_str!("../data/strd/Lottery.txt"));
    check("Lottery", &lottery, 1e6, 218, 518.958_715_596_330, 291.699_727_470_969);
    let mavro = numbers(include_str!("../data/strd/Mavro.txt"));
    check("Mavro", &mavro, 1e9, 50, 2.001_856, 0.000_429_123_454_003_053);
    let michelso = numbers(include_str!("../data/strd/Michelso.txt"));
    check("Michelso", &michelso, 5e6, 100, 299.8524, 0.079_010_547_819_051_8);
}

#[test]
fn made_data() {
    let digits = numbers(include_str!("../data/strd/PiDigits.txt"));
    check("PiDigits", &digits, 1e8, 5000, 4.5348, 2.867_339_060_288_71);
    check("NumAcc1", &[10_000_001.0, 10_000_003.0, 10_000_002.0], 100.0, 3, 10_000_002.0, 1.0);
}

/// `NumAcc2` to `NumAcc4` by their published definition: base + 0.2, then base + 0.1 and base + 0.3 in
/// turn, 1001 values. Each would lose its deviation in a running sum of squares.
#[test]
fn numerical_accuracy() {
    for (name, base, scale) in [("NumAcc2", 1.0, 1e9), ("NumAcc3", 1e6, 1e3), ("NumAcc4", 1e7, 1e2)] {
        let values: Vec<f64> = (0..1001)
            .map(|index| {
                base + match index {
                    0 => 0.2,
                    _ if index % 2 == 1 => 0.1,
                    _ => 0.3,
                }
            })
            .collect();
        check(name, &values, scale, 1001, base + 0.2, 0.1);
    }
}
