//! Logs of few rows, or of rows in batches: a sound joint is not broken by the way its log was written, and one with too
//! little current is, or is not proven. A made joint, written as a shop's logger would.

use bandward_tests::logged::{ANGLE, LAYOUT, Made, made};

/// The joint, or the same with 40 A less: a bad one.
fn rows(made: &Made, is_bad: bool) -> Vec<Vec<f64>> {
    let current = made.at("current_a");
    let less = |row: &Vec<f64>| {
        let mut row = row.clone();
        row[current] *= if is_bad { 240.0 / 280.0 } else { 1.0 };
        row
    };
    made.rows.iter().map(less).collect()
}

/// Each row the mean of half a second to a second, from several rows of the trace on: the arc goes out within one.
#[test]
fn the_row_in_which_the_arc_goes_out_breaks_nothing() {
    let made = made();
    let layout = format!("[time]\nseconds = \"time_s\"\n{LAYOUT}{ANGLE}");
    let period_s = made.rows[1][0] - made.rows[0][0];
    for mean_s in [0.5, 1.0] {
        let count = (mean_s / period_s).round() as usize;
        for offset in (0..count).step_by(count / 5) {
            for is_bad in [false, true] {
                let angle = made.at("spindle_deg");
                let averaged: Vec<(String, Vec<f64>)> = rows(&made, is_bad)[offset..]
                    .chunks_exact(count)
                    .map(|chunk| {
                        let mut row = chunk[0].clone();
                        for column in (1..row.len()).filter(|column| *column != angle) {
                            row[column] = chunk.iter().map(|row| row[column]).sum::<f64>() / count as f64;
                        }
                        (format!("{:.3}", row[0]), row)
                    })
                    .collect();
                let (code, told) = made.replay(&layout, averaged.into_iter());
                assert_eq!(code, if is_bad { 1 } else { 3 }, "{mean_s} s from {offset} on: {told}");
            }
        }
    }
}

/// Rows are written in batches, all of one stamp: they are spread over what lies between two stamps.
#[test]
fn rows_in_batches_are_spread_over_their_batch() {
    let made = made();
    let layout = format!("[time]\nseconds = \"time_s\"\n{LAYOUT}{ANGLE}");
    for step_s in [0.1, 0.5, 1.0, 1.5, 4.0, 5.0, 10.0] {
        for is_bad in [false, true] {
            let stamped = rows(&made, is_bad).into_iter().map(|row| {
                let stamp_s = ((row[0] + 1e-6) / step_s).floor() * step_s;
                (format!("{stamp_s:.2}"), row)
            });
            let (code, told) = made.replay(&layout, stamped);
            assert_eq!(code, i32::from(is_bad), "{step_s} s: {told}");
            assert!(told.contains("are spread evenly over it"), "{told}");
        }
    }
}

/// One row in so many seconds, picked or averaged: when in between the valve opened and the arc was struck is not known.
/// Gas that flowed for two seconds before the arc is not too little, and where the arc went out is no outage.
#[test]
fn a_time_of_gas_is_known_only_to_within_the_rows_about_it() {
    let made = made();
    let layout = format!("[time]\nseconds = \"time_s\"\n{LAYOUT}{ANGLE}");
    let (angle, gas) = (made.at("spindle_deg"), made.at("gas_lpm"));
    let period_s = made.rows[1][0] - made.rows[0][0];
    for every_s in [2.0, 2.5, 3.0, 4.0, 5.0] {
        let count = (every_s / period_s).round() as usize;
        for offset in (0..count).step_by(count / 7) {
            for is_averaged in [false, true] {
                let rows = made.rows[offset..].chunks_exact(count).map(|chunk| {
                    let mut row = chunk[0].clone();
                    for column in (1..row.len()).filter(|column| is_averaged && *column != angle) {
                        row[column] = chunk.iter().map(|row| row[column]).sum::<f64>() / count as f64;
                    }
                    (format!("{:.3}", row[0]), row)
                });
                let (code, told) = made.replay(&layout, rows);
                assert_eq!(code, 3, "{every_s} s from {offset} on, averaged: {is_averaged}: {told}");
            }
        }
    }
    // No gas before the arc: a row in 0.4 s tells that it was less than half a second, a row a second does not. And gas for
    // two seconds, of which a row in half a second shows one and a half at least.
    let ahead = (4.0 / period_s).round() as usize;
    let current = made.at("current_a");
    let is_soon = |at: usize| made.rows[at..].iter().take(ahead).any(|row| row[current] > 50.0);
    let late: Vec<Vec<f64>> = (0..made.rows.len())
        .map(|at| {
            let mut row = made.rows[at].clone();
            row[gas] = if row[current] < 50.0 && is_soon(at) { 0.0 } else { row[gas] };
            row
        })
        .collect();
    let told = |rows: &[Vec<f64>], every_s: f64| {
        let count = (every_s / period_s).round() as usize;
        made.replay(&layout, rows.iter().step_by(count).map(|row| (format!("{:.3}", row[0]), row.clone())))
    };
    let (code, said) = told(&late, 0.4);
    assert!(code == 1 && said.contains("gas-preflow"), "{said}");
    let (code, said) = told(&late, 1.0);
    assert!(code == 3 && said.contains("gas-preflow,"), "{said}");
    let (code, said) = told(&made.rows, 0.5);
    assert!(code == 3 && !said.contains("gas-preflow,") && !said.contains("gas-preflow:"), "{said}");
}
