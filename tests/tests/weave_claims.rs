//! The weave rate from 40 to 140 cycles a minute, with noise, a drifting centre and a dwell at the ends.

use bandward::trackers::weave::WeaveTracker;
use bandward::{Channel, Procedure, Sample};
use bandward_sim::process::random::Noise;
use bandward_tests::heard::{acquisition, arc, raw, watch, with};

/// A weave across the band.
#[derive(Clone, Copy, Debug)]
struct Weave {
    per_minute: f64,
    width_mm: f64,
    /// Share of a cycle the torch rests at its two ends together.
    dwell: f64,
    /// How far the centre wanders in a minute, mm.
    drift_mm_per_min: f64,
    /// Deviation of the noise, in shares of the width.
    noise: f64,
}

impl Weave {
    /// Position at a time, without the noise, mm.
    fn at(&self, time_s: f64) -> f64 {
        let cycle = (time_s * self.per_minute / 60.0).rem_euclid(1.0);
        let way = (1.0 - self.dwell) / 2.0;
        let rest = self.dwell / 2.0;
        let across = match cycle {
            _ if cycle < way => -(std::f64::consts::PI * cycle / way).cos(),
            _ if cycle < way + rest => 1.0,
            _ if cycle < 2.0 * way + rest => (std::f64::consts::PI * (cycle - way - rest) / way).cos(),
            _ => -1.0,
        };
        across * self.width_mm / 2.0 + time_s / 60.0 * self.drift_mm_per_min
    }
}

const WIDTH_MM: f64 = 25.4;

/// The rates a band of 40 s shows, and the mean and the width of its record.
fn watched(weave: Weave, rate_hz: f64, seed: u64) -> (f64, f64, f64, f64) {
    let mut noise = Noise::new(seed, 0);
    let start_s = noise.uniform(0.0, 4.0);
    let samples = (0..(40.0 * rate_hz) as u64).map(|index| {
        let time_s = index as f64 / rate_hz;
        let place = weave.at(start_s + time_s) + noise.normal() * weave.noise * weave.width_mm;
        with(arc(Sample::at((time_s * 1e6).round() as u64), 250.0, 28.0), Channel::Torch, place)
    });
    let wired = acquisition((1e6 / rate_hz) as u32, &[Channel::Current, Channel::Voltage, Channel::Torch]);
    let (heard, _) = watch(Procedure::new(), wired, samples);
    let band = heard.bands[0];
    let rate = band.weave_rate.expect("a weave is seen");
    let per_minute = |bits: bandward::units::WeaveRate| f64::from(bits.to_bits()) / 4096.0;
    (
        per_minute(rate.minimum),
        per_minute(rate.mean),
        per_minute(rate.maximum),
        f64::from(band.weave_width.unwrap().to_bits()) / 4096.0,
    )
}

fn each(check: impl Fn(Weave, f64, u64)) {
    for rate_hz in [50.0, 200.0, 2000.0] {
        for per_minute in [40.0, 61.7, 84.3, 100.0, 140.0] {
            for (dwell, drift_mm_per_min) in [(0.0, 0.0), (0.4, 0.0), (0.0, 6.0), (0.3, -6.0)] {
                for seed in 0..if rate_hz > 1000.0 { 1 } else { 3 } {
                    let weave =
                        Weave { per_minute, width_mm: WIDTH_MM, dwell, drift_mm_per_min, noise: 0.05 };
                    check(weave, rate_hz, seed);
                }
            }
        }
    }
}

/// The mean of a band within half a percent, and no weave ever lost.
#[test]
fn the_rate_is_right_within_half_a_percent() {
    each(|weave, rate_hz, seed| {
        let (least, mean, most, _) = watched(weave, rate_hz, seed);
        let error = |got: f64| (got / weave.per_minute - 1.0) * 100.0;
        let told = format!(
            "{weave:?} {rate_hz} Hz, seed {seed}: {:.3} {:.3} {:.3} %",
            error(least),
            error(mean),
            error(most)
        );
        assert!(error(mean).abs() <= 0.5, "{told}");
        assert!(error(least) > -2.0 && error(most) < 2.0, "{told}");
    });
}

/// Noise widens what is seen from end to end: by three of its deviations each way at the very most.
#[test]
fn the_width_is_the_width_and_some_noise() {
    each(|weave, rate_hz, seed| {
        let (_, _, _, width_mm) = watched(weave, rate_hz, seed);
        let quiet = Weave { noise: 0.0, ..weave };
        let (_, _, _, quiet_mm) = watched(quiet, rate_hz, seed);
        assert!((quiet_mm / WIDTH_MM - 1.0).abs() < 0.03, "{quiet:?} {rate_hz} Hz: {quiet_mm} mm");
        assert!((0.97..1.30).contains(&(width_mm / WIDTH_MM)), "{weave:?} {rate_hz} Hz: {width_mm} mm");
    });
}

/// "No weave" within two periods of a stop, wherever the torch stops.
#[test]
fn a_stop_is_told_within_two_periods() {
    for per_minute in [40.0, 80.0, 140.0] {
        for stop in 0..20_u32 {
            let weave =
                Weave { per_minute, width_mm: WIDTH_MM, dwell: 0.2, drift_mm_per_min: 0.0, noise: 0.0 };
            let period_s = 60.0 / per_minute;
            let stop_s = 20.0 + f64::from(stop) / 20.0 * period_s;
            let mut noise = Noise::new(stop.into(), 0);
            let mut tracker = WeaveTracker::<9>::new();
            let mut told_s = None;
            for index in 0..1600 {
                let time_s = f64::from(index) / 50.0;
                let place = weave.at(time_s.min(stop_s)) + noise.normal() * 0.05 * WIDTH_MM;
                tracker.push((time_s * 1e6) as u64, raw(place, 12));
                tracker.settle();
                if time_s > 10.0 && tracker.rate() == Some(0) && told_s.is_none() {
                    told_s = Some(time_s);
                }
            }
            let after = (told_s.expect("a stop is told") - stop_s) / period_s;
            assert!((0.0..=2.0).contains(&after), "{per_minute}/min, {stop}/20: {after} periods");
        }
    }
}

/// Positions that come unevenly: a third of the spacing early or late, one in twenty missing.
#[test]
fn uneven_spacing_does_no_harm() {
    for seed in 0..5 {
        let weave =
            Weave { per_minute: 84.3, width_mm: WIDTH_MM, dwell: 0.2, drift_mm_per_min: 3.0, noise: 0.05 };
        let mut noise = Noise::new(seed, 0);
        let mut samples = Vec::new();
        for index in 0..2000 {
            let time_s = (f64::from(index) + noise.uniform(-0.33, 0.33)).max(0.0) / 50.0;
            let sample = arc(Sample::at((time_s * 1e6) as u64), 250.0, 28.0);
            let place = weave.at(time_s) + noise.normal() * 0.05 * WIDTH_MM;
            let is_missing = noise.uniform(0.0, 1.0) > 0.95;
            samples.push(if is_missing { sample } else { with(sample, Channel::Torch, place) });
        }
        let wired = acquisition(20_000, &[Channel::Current, Channel::Voltage, Channel::Torch]);
        let (heard, _) = watch(Procedure::new(), wired, samples);
        let mean = heard.bands[0].weave_rate.unwrap().mean.to_milli() as f64 / 1000.0;
        assert!((mean / 84.3 - 1.0).abs() < 0.005, "{mean}");
    }
}
