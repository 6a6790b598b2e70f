//! What a log may do to a monitor: low rates, holes, a clock set back, meters that freeze or fail.

use bandward::procedure::{Limits, Polarity, Range};
use bandward::record::band::Ending;
use bandward::sample::ChannelSet;
use bandward::units::FlowRate;
use bandward::{AlarmKind, Channel, NotJudged, Phase, Procedure, Quantity, Rule, Sample};
use bandward_tests::heard::{Heard, acquisition, arc, raw, watch, with};

const ELECTRICAL: [Channel; 2] = [Channel::Current, Channel::Voltage];
const GAS: [Channel; 3] = [Channel::Current, Channel::Voltage, Channel::Gas];

fn seconds(sample: &Sample) -> f64 {
    sample.time_us as f64 / 1e6
}

/// Empty samples every `period_us`, up to `end_s`.
fn times(period_us: u64, end_s: f64) -> impl Iterator<Item = Sample> {
    (0..(end_s * 1e6) as u64 / period_us).map(move |index| Sample::at(index * period_us))
}

fn limits(low: f64, high: f64, fraction_bits: u32) -> Limits {
    let (low, high) = (raw(low, fraction_bits), raw(high, fraction_bits));
    Limits { recommended: None, allowed: Some(Range { low, high }), floor: None }
}

fn at_least(low: f64) -> Limits {
    Limits { allowed: Some(Range { low: raw(low, 12), high: i32::MAX }), ..limits(0.0, 0.0, 12) }
}

fn gas_procedure() -> Procedure {
    Procedure::new()
        .with_limits(Quantity::GasFlow, limits(12.0, 20.0, 12))
        .and_then(|procedure| procedure.with_limits(Quantity::GasPreflow, at_least(1.0)))
        .and_then(|procedure| procedure.with_limits(Quantity::GasPostflow, at_least(2.0)))
        .unwrap()
}

fn rules(heard: &Heard) -> Vec<&'static str> {
    Rule::ALL.into_iter().filter(|&rule| heard.raised_s(rule).is_some()).map(Rule::name).collect()
}

/// The arc burns from the first row to the last, at every rate of the range: one band, its mean right.
#[test]
fn rates_from_a_fifth_of_a_hertz_to_50_khz_run() {
    for period_us in [20, 50, 500, 10_000, 111_000, 1_000_000, 5_000_000] {
        let count = (30_000_000 / period_us).max(40);
        let samples = (0..count)
            .map(|index| arc(Sample::at(index * period_us), 272.5, if index % 2 == 0 { 22.0 } else { 23.0 }));
        let (heard, monitor) = watch(Procedure::new(), acquisition(period_us as u32, &ELECTRICAL), samples);
        let [band] = heard.bands[..] else { panic!("{} bands, {period_us} us", heard.bands.len()) };
        assert_eq!(u64::from(band.samples), count);
        assert_eq!((band.start_us, band.end_us), (0, (count - 1) * period_us));
        assert_eq!((band.start_unseen, band.ending), (true, Ending::DataEnded));
        let mean = band.voltage.unwrap().mean.to_milli();
        assert!((22_495..=22_505).contains(&mean), "{mean} mV at {period_us} us");
        assert_eq!((monitor.gaps(), monitor.out_of_order()), (0, 0));
        assert_eq!(rules(&heard), Vec::<&str>::new());
    }
}

/// A hole shorter than `gap_join` with the arc burning on both sides belongs to one band; a longer one
/// ends it, and what follows is a band whose start was not seen: the work is hot from the first, and
/// that is no wrong interpass temperature.
#[test]
fn a_long_hole_parts_bands_and_judges_no_start() {
    let procedure = gas_procedure().with_limits(Quantity::Interpass, limits(0.0, 200.0, 12)).unwrap();
    let wired = [Channel::Current, Channel::Voltage, Channel::Gas, Channel::Work];
    for (hole_s, bands) in [(4.0, 1), (60.0, 2)] {
        let samples = times(20_000, 60.0).map(|sample| {
            let s = seconds(&sample);
            let gas = if s > 1.0 { 16.0 } else { 0.0 };
            let (amps, volts) = if s > 4.0 { (250.0, 28.0) } else { (0.0, 0.0) };
            let shift_us = if s > 30.0 { (hole_s * 1e6) as u64 } else { 0 };
            let work = if s < 10.0 { 150.0 } else { 400.0 };
            let sample = Sample::at(sample.time_us + shift_us);
            with(with(arc(sample, amps, volts), Channel::Gas, gas), Channel::Work, work)
        });
        let (heard, _) = watch(procedure.clone(), acquisition(20_000, &wired), samples);
        assert_eq!(heard.bands.len(), bands, "{hole_s} s");
        let last = heard.bands.last().unwrap();
        let arc_s = heard.bands.iter().map(|band| band.arc_time_us as f64 / 1e6).sum::<f64>();
        // The hole counts for no more than the tolerance of 0.5 s.
        assert!((arc_s - 56.0).abs() < 0.6, "{arc_s} s of arc, {hole_s} s of hole");
        assert_eq!(last.end_us, 59_980_000 + (hole_s * 1e6) as u64);
        let starts: Vec<bool> = heard.bands.iter().map(|band| band.start_unseen).collect();
        assert_eq!(starts, [false, true][..bands]);
        assert_eq!(rules(&heard), ["signal-late"], "{hole_s} s");
    }
}

/// Data that stop before the post-flow is over say nothing of it once they go on an hour later, whether
/// the band was given up by then (3 s after the arc) or not.
#[test]
fn a_hole_in_the_post_flow_ends_the_watch_for_it() {
    let procedure = gas_procedure().with_limits(Quantity::GasPostflow, at_least(5.0)).unwrap();
    for hole_s in [16.0, 18.5] {
        let samples = times(20_000, 30.0).map(|sample| {
            let s = seconds(&sample);
            let (amps, volts) = if (4.0..15.0).contains(&s) { (250.0, 28.0) } else { (0.0, 0.0) };
            let shift_us = if s > hole_s { 3_600_000_000 } else { 0 };
            let gas = if (2.0..18.8).contains(&s) { 16.0 } else { 0.0 };
            with(arc(Sample::at(sample.time_us + shift_us), amps, volts), Channel::Gas, gas)
        });
        let (heard, monitor) = watch(procedure.clone(), acquisition(20_000, &GAS), samples);
        let [band] = heard.bands[..] else { panic!("{} bands", heard.bands.len()) };
        assert_eq!((band.gas_postflow, band.ending), (None, Ending::ArcOff), "{hole_s}");
        assert_eq!(monitor.not_judged(Rule::GasPostflow), Some(NotJudged::EndUnseen), "{hole_s}");
    }
}

/// Gas that flows on to the next strike has flowed long enough, and that is known.
#[test]
fn gas_that_never_stops_is_post_flow() {
    let samples = times(20_000, 60.0).map(|sample| {
        let s = seconds(&sample);
        let burns = (4.0..20.0).contains(&s) || (30.0..50.0).contains(&s);
        let (amps, volts) = if burns { (250.0, 28.0) } else { (0.0, 0.0) };
        let gas = if s > 1.0 { 16.0 } else { 0.0 };
        with(arc(sample, amps, volts), Channel::Gas, gas)
    });
    let (heard, monitor) = watch(gas_procedure(), acquisition(20_000, &GAS), samples);
    let flowed: Vec<_> =
        heard.bands.iter().map(|band| band.gas_postflow.map(|time| time.to_milli() / 100)).collect();
    assert_eq!(flowed.len(), 2);
    assert!(flowed[0].is_some_and(|tenths| (99..=101).contains(&tenths)), "{flowed:?}");
    assert_eq!(monitor.not_judged(Rule::GasPostflow), None);
    assert_eq!(rules(&heard), Vec::<&str>::new());
}

/// The clock of a logger is set back by an hour under the arc; all goes on, and the gas that fails
/// afterwards is still found.
#[test]
fn a_clock_set_back_ends_a_band_and_blinds_nothing() {
    let hour_us = 3_600_000_000;
    let samples = times(20_000, 60.0).map(|sample| {
        let s = seconds(&sample);
        let shift_us = if s < 30.0 { 2 * hour_us } else { hour_us };
        let gas = if (1.0..50.0).contains(&s) { 16.0 } else { 5.0 };
        let (amps, volts) = if s > 4.0 { (250.0, 28.0) } else { (0.0, 0.0) };
        with(arc(Sample::at(sample.time_us + shift_us), amps, volts), Channel::Gas, gas)
    });
    let (heard, monitor) = watch(gas_procedure(), acquisition(20_000, &GAS), samples);
    assert_eq!(heard.bands.len(), 2);
    assert!(heard.bands[1].start_unseen && heard.bands[1].start_us > hour_us);
    assert_eq!(rules(&heard), ["gas-low", "signal-late"]);
    let gas_low_s = heard.raised_s(Rule::GasLow).unwrap() - 3600.0;
    assert!((50.5..52.0).contains(&gas_low_s), "{gas_low_s}");
    assert!(heard.alarms(Rule::SignalLate).iter().all(|alarm| alarm.onset_us <= alarm.time_us));
    assert_eq!(monitor.out_of_order(), 8);
}

/// Gas readings cease under the arc: the mean of what was read last is not held against the range for
/// ever.
#[test]
fn a_channel_that_ceases_is_not_judged_by_its_last_reading() {
    let procedure = Procedure::new().with_limits(Quantity::GasFlow, limits(12.0, 20.0, 12)).unwrap();
    let samples = times(20_000, 40.0).map(|sample| {
        let s = seconds(&sample);
        let lit = arc(sample, 250.0, 28.0);
        if s < 20.0 { with(lit, Channel::Gas, 16.0) } else { lit }
    });
    let (heard, monitor) = watch(procedure, acquisition(20_000, &GAS), samples);
    assert_eq!(rules(&heard), ["signal-missing"]);
    assert_eq!(monitor.not_judged(Rule::GasLow), Some(NotJudged::ChannelLost(Channel::Gas)));
    assert!(heard.bands[0].not_proven().contains(Rule::GasLow));
}

/// An alarm keeps its channel from its raising to its clearing, so that they can be matched.
#[test]
fn raised_and_cleared_name_the_same_channel() {
    let mut procedure = Procedure::new();
    procedure.polarity = Some(Polarity::ElectrodePositive);
    let samples = times(20_000, 30.0).map(|sample| {
        let amps = if (10.0..15.0).contains(&seconds(&sample)) { -250.0 } else { 250.0 };
        arc(sample, amps, 28.0)
    });
    let (heard, _) = watch(procedure, acquisition(20_000, &ELECTRICAL), samples);
    let told: Vec<_> =
        heard.alarms(Rule::PolarityWrong).iter().map(|alarm| (alarm.kind, alarm.channel)).collect();
    assert_eq!(
        told,
        [(AlarmKind::Raised, Some(Channel::Current)), (AlarmKind::Cleared, Some(Channel::Current))]
    );
}

/// No current is wired: the voltage alone tells of the arc, and its short circuits are no outages.
#[test]
fn a_voltage_alone_tells_of_the_arc() {
    let samples = times(500, 30.0).map(|sample| {
        let s = seconds(&sample);
        let volts = match s {
            _ if !(5.0..20.0).contains(&s) => 0.1,
            _ if (s % 0.05) < 0.004 => 3.0,
            _ => 28.0,
        };
        with(sample, Channel::Voltage, volts)
    });
    let (heard, _) = watch(Procedure::new(), acquisition(500, &[Channel::Voltage]), samples);
    let [band] = heard.bands[..] else { panic!("{} bands", heard.bands.len()) };
    assert_eq!((band.start_us / 10_000, band.outages), (500, 0));
    assert!((19.99..20.02).contains(&(band.end_us as f64 / 1e6)), "{}", band.end_us);
}

/// The current meter fails under the arc: the band still ends when the voltage does.
#[test]
fn a_band_ends_though_the_current_meter_failed() {
    let samples = times(20_000, 40.0).map(|sample| {
        let s = seconds(&sample);
        let lit = if s < 20.0 { arc(sample, 250.0, 28.0) } else { arc(sample, 0.0, 0.0) };
        let voltage = lit.raw(Channel::Voltage).unwrap();
        if s < 10.0 { lit } else { Sample::at(sample.time_us).with_raw(Channel::Voltage, voltage) }
    });
    let (heard, _) = watch(Procedure::new(), acquisition(20_000, &ELECTRICAL), samples);
    let [band] = heard.bands[..] else { panic!("{} bands", heard.bands.len()) };
    assert_eq!(band.ending, Ending::ArcOff);
    assert!((19.9..20.1).contains(&(band.end_us as f64 / 1e6)), "{}", band.end_us);
}

/// The current meter freezes at its last reading as the arc goes out, beside no voltage or beside the
/// open circuit: there is one band.
#[test]
fn a_current_meter_that_froze_burns_no_arc() {
    for idle_volts in [0.4, 62.0] {
        let samples = times(20_000, 60.0).map(|sample| {
            let lit = seconds(&sample) < 20.0;
            let at = Sample::at(sample.time_us.min(20_000_000));
            let amps = arc(at, 250.0, 28.0).raw(Channel::Current).unwrap();
            let volts = if lit { 28.0 + (sample.time_us / 20_000 % 7) as f64 / 10.0 } else { idle_volts };
            with(sample.with_raw(Channel::Current, amps), Channel::Voltage, volts)
        });
        let (heard, _) = watch(Procedure::new(), acquisition(20_000, &ELECTRICAL), samples);
        let [band] = heard.bands[..] else { panic!("{} bands beside {idle_volts} V", heard.bands.len()) };
        assert_eq!((band.ending, band.outages), (Ending::ArcOff, 0));
        assert!((19.9..20.1).contains(&(band.end_us as f64 / 1e6)), "{}", band.end_us);
        assert_eq!(rules(&heard), Vec::<&str>::new());
    }
}

/// Both meters freeze under the arc: a stop, and no flicker of arcs that go out and come back.
#[test]
fn a_logger_that_froze_is_one_fault() {
    let samples = times(20_000, 60.0).map(|sample| {
        let at = Sample::at(sample.time_us.min(20_000_000));
        let seen = arc(at, 250.0, 28.0);
        Channel::ALL[..2]
            .iter()
            .fold(sample, |sample, &channel| sample.with_raw(channel, seen.raw(channel).unwrap()))
    });
    let (heard, _) = watch(Procedure::new(), acquisition(20_000, &ELECTRICAL), samples);
    assert_eq!(rules(&heard), ["signal-stuck"]);
    assert_eq!(heard.alarms(Rule::SignalStuck).len(), 2, "one a channel, not cleared");
    assert_eq!(heard.bands.len(), 1);
    assert_eq!(heard.bands[0].outages, 0);
    assert_eq!(
        heard.phases().into_iter().map(|(_, phase)| phase).collect::<Vec<_>>(),
        [Phase::Strike, Phase::Arc, Phase::Idle],
        "the last with the end of the data"
    );
}

/// A strike that never settles is no band, and its gas is nobody's post-flow.
#[test]
fn a_failed_strike_is_no_band() {
    let samples = times(20_000, 30.0).map(|sample| {
        let s = seconds(&sample);
        let (amps, volts) = if (10.0..10.4).contains(&s) { (250.0, 28.0) } else { (0.0, 0.0) };
        let gas = if (5.0..10.5).contains(&s) { 16.0 } else { 0.0 };
        with(arc(sample, amps, volts), Channel::Gas, gas)
    });
    let (heard, monitor) = watch(gas_procedure(), acquisition(20_000, &GAS), samples);
    assert_eq!(heard.bands, []);
    assert_eq!(rules(&heard), Vec::<&str>::new());
    assert_eq!(monitor.not_judged(Rule::GasPostflow), Some(NotJudged::NeverApplied));
}

/// Readings of channels that are not wired change nothing.
#[test]
fn what_is_not_wired_is_not_looked_at() {
    let lit = |sample| arc(sample, 250.0, 28.0);
    let wired = acquisition(20_000, &ELECTRICAL);
    let (plain, _) = watch(gas_procedure(), wired, times(20_000, 10.0).map(lit));
    let (more, _) = watch(
        gas_procedure(),
        wired,
        times(20_000, 10.0).map(|sample| lit(sample).gas(FlowRate::MAX).with_raw(Channel::Torch, i32::MIN)),
    );
    assert_eq!(plain, more);
    assert!(!wired.channels.contains_all(ChannelSet::ALL));
}
