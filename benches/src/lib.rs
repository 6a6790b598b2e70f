//! What the measurements in `benches/` share: a burning arc as samples, and how often one thing takes
//! the time of another.

pub mod beside_csv;
pub mod many;
pub mod timed;

use bandward::{Channel, Sample};
use bandward_sim::process::random::Noise;
use bandward_sim::trace::Row;
use std::time::{Duration, Instant};

/// In the environment of `peer-report` it says that it is the program `bandward`, which is measured.
pub const MEASURED: &str = "BANDWARD_MEASURED";

/// Rows of a good weld under the arc, `rate_hz` a second, with readings of `channels`.
pub fn burning(rate_hz: u32, count: u64, channels: &[Channel]) -> Vec<Row> {
    let mut noise = Noise::new(1, 1);
    let mut rows = Vec::new();
    for index in 0..count {
        let time_s = index as f64 / f64::from(rate_hz);
        let weave = (std::f64::consts::TAU * time_s * 80.0 / 60.0).cos();
        let mut row = Row::at((time_s * 1e6).round() as u64);
        for &channel in channels {
            let value = match channel {
                Channel::Current => 320.0 + 8.0 * noise.normal(),
                Channel::Voltage => 31.5 + 0.4 * noise.normal(),
                Channel::Gas => 17.5 + 0.1 * noise.normal(),
                Channel::Torch => 12.5 * weave + 0.05 * noise.normal(),
                Channel::Spindle => time_s * 360.0 / 84.0 % 360.0,
                Channel::Wire => 7500.0 + 20.0 * noise.normal(),
                Channel::Coolant => 4.0 + 0.05 * noise.normal(),
                Channel::Work => 180.0 + 0.2 * noise.normal(),
                Channel::Carriage => 100.0 + 0.01 * noise.normal(),
            };
            row = row.with(channel, value);
        }
        rows.push(row);
    }
    rows
}

/// The same as samples of the core.
pub fn samples(rows: &[Row]) -> Vec<Sample> {
    rows.iter().map(Row::to_sample).collect()
}

/// Times `subject` and `floor` in turn, so that what else the machine does falls on both, and prints
/// how many times the floor the subject takes: the median of the turns.
pub fn print_ratio(name: &str, aim: f64, mut subject: impl FnMut(), mut floor: impl FnMut()) {
    const TURNS: usize = 15;
    let time = |work: &mut dyn FnMut()| {
        let start = Instant::now();
        work();
        start.elapsed().max(Duration::from_nanos(1)).as_secs_f64()
    };
    let mut ratios: Vec<f64> = (0..TURNS).map(|_| time(&mut subject) / time(&mut floor)).collect();
    ratios.sort_by(f64::total_cmp);
    let (median, low, high) = (ratios[TURNS / 2], ratios[TURNS / 4], ratios[3 * TURNS / 4]);
    println!("ratio: {name}: {median:.2} (quarters {low:.2} to {high:.2}), aim {aim}");
}
