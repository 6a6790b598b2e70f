//! Band records of made traces against reference libraries: `statrs` for means, deviations and extremes,
//! `rustfft` for the weave rate.

use bandward::record::band::Spread;
use bandward::units::FixedPoint;
use bandward::{BandRecord, Channel, Sample};
use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_sim::process::scenario::Scenario;
use bandward_sim::process::targets::Targets;
use bandward_sim::trace::row::value_from_raw;
use bandward_tests::heard::{acquisition, watch};
use rustfft::FftPlanner;
use rustfft::num_complex::Complex;
use statrs::statistics::Statistics;
use std::path::Path;

/// A made joint: its samples and the records of its bands.
fn joint(rate_hz: f64, seed: u64) -> (Vec<Sample>, Vec<BandRecord>) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/procedures/quick-joint.toml");
    let file = ProcedureFile::read(&path).expect("the procedure is sound");
    let scenario = Scenario::good(Targets::of_file(&file), rate_hz).with_seed(seed);
    let samples: Vec<Sample> = scenario.rows().map(|row| row.to_sample()).collect();
    let channels: Vec<Channel> = scenario.channels.iter().collect();
    let wired = acquisition((1e6 / rate_hz).round() as u32, &channels);
    let (heard, _) = watch(file.procedure, wired, samples.iter().copied());
    assert!(heard.bands.len() >= 2);
    (samples, heard.bands)
}

/// The readings of a channel while the arc burned, in its unit.
fn burning(samples: &[Sample], band: &BandRecord, channel: Channel) -> Vec<f64> {
    let within = samples.iter().filter(|sample| (band.start_us..=band.end_us).contains(&sample.time_us));
    within.filter_map(|sample| sample.raw(channel)).map(|raw| value_from_raw(channel, raw)).collect()
}

/// The spread of a band: mean, least, most, deviation.
fn spread(band: &BandRecord, channel: Channel) -> [f64; 4] {
    let bits = match channel {
        Channel::Current => of(band.current.unwrap()),
        Channel::Voltage => of(band.voltage.unwrap()),
        _ => of(band.gas.unwrap()),
    };
    bits.map(|raw| value_from_raw(channel, raw))
}

fn of<Q: FixedPoint>(spread: Spread<Q>) -> [i32; 4] {
    [spread.mean, spread.minimum, spread.maximum, spread.deviation].map(Q::bits)
}

/// Half a raw step, and what the reference loses in floating point.
const STEP: f64 = 0.5 / 4096.0 + 1e-9;

#[test]
fn means_deviations_and_extremes_are_those_of_statrs() {
    for (rate_hz, seed) in [(10.0, 1), (50.0, 2), (2000.0, 3)] {
        let (samples, bands) = joint(rate_hz, seed);
        for band in &bands {
            for channel in [Channel::Current, Channel::Voltage, Channel::Gas] {
                let values = burning(&samples, band, channel);
                assert_eq!(values.len(), band.samples as usize, "no outage in a good joint");
                let [mean, minimum, maximum, deviation] = spread(band, channel);
                let told = format!("{} of band {} at {rate_hz} Hz", channel.name(), band.band);
                assert!((mean - values.iter().mean()).abs() <= STEP, "mean: {told}");
                assert!((deviation - values.iter().std_dev()).abs() <= STEP, "deviation: {told}");
                assert_eq!(
                    (minimum, maximum),
                    (Statistics::min(values.iter()), Statistics::max(values.iter())),
                    "{told}"
                );
            }
            let [amps, volts] =
                [Channel::Current, Channel::Voltage].map(|channel| burning(&samples, band, channel));
            let watts: Vec<f64> = amps.iter().zip(&volts).map(|(amps, volts)| amps * volts).collect();
            let power = f64::from(band.arc_power.unwrap().to_bits()) / 256.0;
            assert!((power - watts.iter().mean()).abs() <= 0.5 / 256.0 + 1e-6, "{power} W at {rate_hz} Hz");
        }
    }
}

/// Cycles a second where the spectrum of `values` peaks: the mean taken out, a Hann window over them,
/// padded with zeros to eight times the length, and a parabola through the logarithms around the peak.
fn peak_hz(values: &[f64], rate_hz: f64) -> f64 {
    let (mean, count) = (values.iter().mean(), values.len());
    let hann = |index: usize| 0.5 - 0.5 * (std::f64::consts::TAU * index as f64 / count as f64).cos();
    let mut line: Vec<Complex<f64>> = values
        .iter()
        .enumerate()
        .map(|(index, value)| Complex::new((value - mean) * hann(index), 0.0))
        .collect();
    line.resize(8 * count, Complex::default());
    FftPlanner::new().plan_fft_forward(line.len()).process(&mut line);
    let power = |bin: usize| line[bin].norm_sqr().ln();
    // Slower than 20 cycles a minute is no weave.
    let lowest = (line.len() as f64 / rate_hz / 3.0) as usize;
    let peak = (lowest..line.len() / 2).max_by(|&one, &other| power(one).total_cmp(&power(other))).unwrap();
    let [before, at, after] = [power(peak - 1), power(peak), power(peak + 1)];
    let shift = 0.5 * (before - after) / (before - 2.0 * at + after);
    (peak as f64 + shift) * rate_hz / line.len() as f64
}

#[test]
fn the_peak_is_found_where_it_is() {
    let line: Vec<f64> =
        (0..3000).map(|index| 5.0 + (f64::from(index) / 50.0 * 1.37 * std::f64::consts::TAU).sin()).collect();
    assert!((peak_hz(&line, 50.0) - 1.37).abs() < 1e-4);
}

/// The weave rate of a band is where the spectrum of the torch positions under its arc peaks.
#[test]
fn the_weave_rate_is_the_peak_of_the_spectrum() {
    for (rate_hz, seed) in [(25.0, 4), (50.0, 5), (50.0, 6), (400.0, 7)] {
        let (samples, bands) = joint(rate_hz, seed);
        for band in &bands {
            let torch = burning(&samples, band, Channel::Torch);
            let spectrum = 60.0 * peak_hz(&torch, rate_hz);
            let record = f64::from(band.weave_rate.unwrap().mean.to_bits()) / 4096.0;
            // A bin of the unpadded spectrum is a cycle over the band; a tenth of it can be told.
            let resolution = 0.1 * 60.0 * rate_hz / torch.len() as f64;
            let told = format!("{record}, spectrum {spectrum} a minute, {rate_hz} Hz");
            assert!((record - spectrum).abs() < resolution.max(0.005 * record), "{told}");
        }
    }
}
