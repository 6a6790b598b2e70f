//! Reading a trace alone, beside the crate `csv` with each cell made a float by `fast-float2`.

use bandward_sim::trace;
use std::hint::black_box;
use std::path::Path;
use std::time::Instant;

/// How many times as long the other takes: the median of so many turns, each of both.
///
/// # Errors
/// The trace cannot be read.
pub fn ratio(path: &Path, turns: usize) -> Result<f64, String> {
    let mut ratios = Vec::new();
    for _ in 0..turns {
        let begun = Instant::now();
        read(path)?;
        let own_s = begun.elapsed().as_secs_f64();
        let begun = Instant::now();
        read_with_csv(path)?;
        ratios.push(begun.elapsed().as_secs_f64() / own_s);
    }
    ratios.sort_by(f64::total_cmp);
    Ok(ratios.get(turns / 2).copied().unwrap_or(f64::NAN))
}

/// Reads the trace with the project's reader: times checked, readings by channel.
///
/// # Errors
/// It has faults.
pub fn read(path: &Path) -> Result<(), String> {
    for row in trace::open(path, None).map_err(|errors| errors.to_string())? {
        black_box(&row.map_err(|errors| errors.to_string())?);
    }
    Ok(())
}

/// Reads every cell as a float, and does nothing with it.
///
/// # Errors
/// It is no table of numbers.
pub fn read_with_csv(path: &Path) -> Result<(), String> {
    let mut reader = csv::Reader::from_path(path).map_err(|error| error.to_string())?;
    let mut record = csv::ByteRecord::new();
    while reader.read_byte_record(&mut record).map_err(|error| error.to_string())? {
        for cell in &record {
            black_box(fast_float2::parse::<f64, _>(cell).map_err(|error| error.to_string())?);
        }
    }
    Ok(())
}
