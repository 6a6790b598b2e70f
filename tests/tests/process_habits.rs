//! Habits of everyday good welding in made rows, each against the size its scenario states.

use bandward::{Channel, Procedure};
use bandward_sim::process::habit::Between;
use bandward_sim::process::truth::HabitTruth;
use bandward_sim::process::{Carriage, HabitKind, Habits, Laying, Scenario, Shift, Targets, Truth};
use bandward_sim::trace::Row;
use rustfft::FftPlanner;
use rustfft::num_complex::Complex;

/// One band a turn of 24 s, instruments without errors.
fn quiet(sample_rate_hz: f64, bands: u16) -> Scenario {
    let mut scenario = Scenario::good(Targets::new(Procedure::new()), sample_rate_hz).with_seed(11);
    (scenario.joint.turn_time_s, scenario.joint.bands) = (24.0, bands);
    (scenario.joint.unevenness, scenario.joint.overlap_deg) = (0.0, 45.0);
    for sensor in &mut scenario.sensors {
        (sensor.noise, sensor.resolution) = (0.0, 0.0);
    }
    scenario.spindle_wraps = false;
    scenario
}

fn with(sample_rate_hz: f64, bands: u16, habits: Habits) -> (Vec<Row>, Truth) {
    Scenario { habits, ..quiet(sample_rate_hz, bands) }.make()
}

fn of(truth: &Truth, kind: HabitKind) -> Vec<HabitTruth> {
    truth.habits.iter().filter(|habit| habit.habit == kind.description().name).cloned().collect()
}

fn points(rows: &[Row], channel: Channel) -> Vec<(f64, f64)> {
    rows.iter().map(|row| (row.time_us as f64 / 1e6, row.get(channel).expect("wired"))).collect()
}

fn at(rows: &[Row], channel: Channel, time_s: f64) -> f64 {
    let row = rows.iter().find(|row| row.time_us as f64 / 1e6 >= time_s).expect("in the trace");
    row.get(channel).expect("wired")
}

fn mean(rows: &[Row], channel: Channel, from_s: f64, to_s: f64) -> f64 {
    let values: Vec<_> =
        points(rows, channel).into_iter().filter(|(t, _)| (from_s..to_s).contains(t)).collect();
    values.iter().map(|(_, value)| value).sum::<f64>() / values.len() as f64
}

/// Amplitude at each whole bin of the spectrum (Hann window), and the width of a bin, Hz.
fn spectrum(values: &[f64], rate_hz: f64) -> (Vec<f64>, f64) {
    let count = values.len();
    let centre = values.iter().sum::<f64>() / count as f64;
    let mut bins: Vec<_> = values
        .iter()
        .enumerate()
        .map(|(index, value)| {
            let turn = std::f64::consts::TAU * index as f64 / count as f64;
            Complex::new((value - centre) * (1.0 - turn.cos()), 0.0)
        })
        .collect();
    FftPlanner::new().plan_fft_forward(count).process(&mut bins);
    (bins[..count / 2].iter().map(|bin| 2.0 * bin.norm() / count as f64).collect(), rate_hz / count as f64)
}

#[test]
fn the_arc_goes_out_for_40_to_80_ms_in_the_first_second() {
    let (rows, truth) = with(1000.0, 4, Habits { restrikes: 3, ..Habits::NONE });
    let mut found = 0;
    for band in &truth.bands {
        let mut out = 0;
        let mut gaps = Vec::new();
        for (time_s, current_a) in points(&rows, Channel::Current) {
            if !(band.start_s + 0.01..band.end_s - 0.01).contains(&time_s) {
                continue;
            }
            if current_a == 0.0 {
                out += 1;
                assert!(time_s < band.start_s + 1.0, "{time_s}");
            } else if out > 0 {
                gaps.push(f64::from(std::mem::take(&mut out)));
            }
        }
        let stated: Vec<_> = of(&truth, HabitKind::Restrike)
            .into_iter()
            .filter(|habit| habit.band == Some(band.band))
            .collect();
        assert!(gaps.len() == stated.len() && gaps.len() <= 3);
        for (gap_ms, habit) in gaps.iter().zip(&stated) {
            assert!(
                (39.0..=81.0).contains(gap_ms) && (gap_ms - 1000.0 * habit.size).abs() <= 1.5,
                "{gap_ms}"
            );
        }
        found += gaps.len();
    }
    assert!(found >= 3, "{found}");
}

#[test]
fn a_tack_is_a_short_arc_that_hardly_turns_and_no_band() {
    let (rows, truth) = with(100.0, 2, Habits { tack_chance: 1.0, ..Habits::NONE });
    let tacks = of(&truth, HabitKind::Tack);
    assert!(tacks.len() >= 2 && truth.bands.len() == 2);
    for tack in tacks {
        let burning = |time_s: f64| at(&rows, Channel::Current, time_s) > 50.0;
        assert!(burning(tack.start_s + 0.1) && burning(tack.end_s - 0.05));
        assert!(!burning(tack.start_s - 0.05) && !burning(tack.end_s + 0.05));
        assert!((0.2..=1.5).contains(&tack.size));
        let turned = at(&rows, Channel::Spindle, tack.end_s) - at(&rows, Channel::Spindle, tack.start_s);
        assert!(turned.abs() < 3.0, "{turned}");
    }
}

#[test]
fn a_crater_is_filled_on_a_ramp_past_a_full_turn() {
    let habits = Habits { crater_s: 2.0, crater_current: 0.6, crater_voltage: 0.92, ..Habits::NONE };
    let (rows, truth) = with(100.0, 1, habits);
    let (fill, band) = (&of(&truth, HabitKind::CraterFill)[0], &truth.bands[0]);
    let turned = at(&rows, Channel::Spindle, fill.start_s) - at(&rows, Channel::Spindle, band.start_s);
    assert!(turned >= 359.0, "{turned}");
    assert!((fill.end_s - band.end_s).abs() < 0.05, "{} and {}", fill.end_s, band.end_s);
    assert!((1.0..=2.0).contains(&(fill.end_s - fill.start_s)));
    for (channel, left) in [(Channel::Current, 0.6), (Channel::Voltage, 0.92)] {
        let before = mean(&rows, channel, fill.start_s - 3.0, fill.start_s);
        // The mean of the last tenth lies a twentieth of the ramp above its end.
        let tenth_s = 0.1 * (fill.end_s - fill.start_s);
        let due = left + 0.05 * (1.0 - left);
        let end = mean(&rows, channel, fill.end_s - tenth_s, fill.end_s) / before;
        assert!((end - due).abs() < 0.05, "{channel:?}: {end} against {due}");
    }
}

#[test]
fn a_regulator_surges_and_settles_in_its_time() {
    let habits = Habits { gas_surge: 0.6, gas_surge_s: 8.0, ..Habits::NONE };
    let (rows, truth) = with(100.0, 1, habits);
    let surge = &of(&truth, HabitKind::GasSurge)[0];
    assert!((0.36..=0.6).contains(&surge.size));
    let over =
        |after_s: f64| at(&rows, Channel::Gas, surge.start_s + after_s) / at(&rows, Channel::Gas, 25.0) - 1.0;
    // Exponential, a twentieth left after its time; the line itself lags by 0.15 s.
    for after_s in [2.0, 4.0, 8.0] {
        let due = surge.size * 0.05_f64.powf((after_s - 0.15) / 8.0);
        assert!((over(after_s) - due).abs() < 0.02, "{after_s} s: {} against {due}", over(after_s));
    }
}

#[test]
fn a_slow_meter_follows_with_its_time_constant() {
    let mut scenario = quiet(100.0, 1);
    scenario.sensors[Channel::Gas as usize].lag_s = 2.0;
    let (rows, truth) = scenario.make();
    let opened_s = truth.bands[0].start_s - scenario.joint.gas_preflow_s;
    let reached = at(&rows, Channel::Gas, opened_s + 2.0 + 0.15) / scenario.joint.gas_lpm;
    assert!((reached - (1.0 - (-1.0_f64).exp())).abs() < 0.02, "{reached}");
    assert_eq!(of(&truth, HabitKind::SlowMeter)[0].of.as_deref(), Some("gas"));
}

#[test]
fn the_pipe_turns_on_or_back_between_bands_as_stated() {
    for (between, sign) in [(Between::Faster, 1.0), (Between::Back, -1.0)] {
        let mut scenario = quiet(50.0, 2);
        scenario.habits = Habits { between, ..Habits::NONE };
        scenario.timing.between_bands_s = 12.0;
        let (rows, truth) = scenario.make();
        let turned = &of(&truth, HabitKind::TurningBetween)[0];
        let read = at(&rows, Channel::Spindle, turned.end_s) - at(&rows, Channel::Spindle, turned.start_s);
        assert!((read - turned.size).abs() < 1.0, "{read} against {}", turned.size);
        // Ten of the twelve seconds at 1 to 4 times 15 degrees a second.
        assert!((148.0..=602.0).contains(&(sign * read)), "{read}");
    }
}

#[test]
fn the_spindle_starts_after_the_arc_and_stops_before_its_end() {
    let habits = Habits { spindle_late_s: 1.0, spindle_early_s: 0.8, ..Habits::NONE };
    let (rows, truth) = with(100.0, 1, habits);
    let (late, early) = (&of(&truth, HabitKind::SpindleLate)[0], &of(&truth, HabitKind::SpindleEarly)[0]);
    let band = &truth.bands[0];
    let angle = |time_s| at(&rows, Channel::Spindle, time_s);
    assert!((0.2..=1.0).contains(&late.size) && (0.15..=0.82).contains(&early.size));
    assert!((angle(band.start_s + late.size - 0.02) - angle(band.start_s)).abs() < 1e-6);
    assert!(angle(band.start_s + late.size + 0.2) - angle(band.start_s) > 1.0);
    // What the drive still turns as it stops: its lag of 0.05 s at 15 degrees a second.
    assert!(angle(band.end_s) - angle(band.end_s - early.size) < 0.9);
    assert!(angle(band.end_s - early.size) - angle(band.end_s - early.size - 0.2) > 2.0);
}

#[test]
fn corrections_by_hand_move_a_setting_where_they_say() {
    let hand = Habits { hand_current: 0.1, hand_voltage: 0.0, hand_every_s: 3.0, ..Habits::NONE };
    let (rows, truth) = with(50.0, 2, hand);
    let usual_a = quiet(50.0, 2).joint.current_a;
    let corrections = of(&truth, HabitKind::HandCorrection);
    assert!(corrections.len() >= 3 && corrections.iter().all(|one| one.of.as_deref() == Some("current")));
    let mut checked = 0;
    for (index, one) in corrections.iter().enumerate() {
        let until_s = corrections.get(index + 1).map_or(f64::INFINITY, |next| next.start_s);
        let band = truth.bands.iter().find(|band| Some(band.band) == one.band).expect("it was laid");
        let to_s = until_s.min(band.end_s);
        if to_s - one.start_s > 3.0 {
            let due_a = one.size * usual_a;
            let read_a = mean(&rows, Channel::Current, one.start_s + 1.5, to_s);
            assert!(
                (0.9..=1.1).contains(&one.size) && (read_a / due_a - 1.0).abs() < 0.02,
                "{read_a}, {due_a}"
            );
            checked += 1;
        }
    }
    assert!(checked >= 2, "{checked}");
}

#[test]
fn a_flame_shows_on_the_pyrometer_and_not_in_the_work() {
    let flame = Habits { flame_chance: 1.0, flame_rise_c: 200.0, ..Habits::NONE };
    let (rows, truth) = with(50.0, 3, flame);
    let (plain, _) = with(50.0, 3, Habits::NONE);
    let flames = of(&truth, HabitKind::Flame);
    assert!(!flames.is_empty());
    for (row, other) in rows.iter().zip(&plain) {
        let time_s = row.time_us as f64 / 1e6;
        let above = row.get(Channel::Work).expect("wired") - other.get(Channel::Work).expect("wired");
        let burning = flames.iter().any(|one| (one.start_s - 0.03..one.end_s + 0.03).contains(&time_s));
        assert!(burning || above.abs() < 1e-9, "{time_s} s: {above}");
    }
    for one in flames.iter().filter(|one| one.end_s - one.start_s > 1.5) {
        let above = |rows: &[Row]| mean(rows, Channel::Work, one.start_s + 0.4, one.end_s - 0.4);
        // It flickers by 15 %.
        assert!(((above(&rows) - above(&plain)) / one.size - 1.0).abs() < 0.3);
    }
}

#[test]
fn the_carriage_goes_home_after_the_joint() {
    let (rows, truth) = with(50.0, 3, Habits { carriage_home: true, ..Habits::NONE });
    let away = &of(&truth, HabitKind::CarriageAway)[0];
    let way =
        at(&rows, Channel::Carriage, away.start_s - 0.05) - at(&rows, Channel::Carriage, away.end_s + 0.05);
    assert!((way - away.size).abs() < 0.1 && away.size > 10.0, "{way} against {}", away.size);
    assert!(rows[rows.len() - 1].get(Channel::Carriage).expect("wired").abs() < 1e-6);
}

/// Power over frequency on double logarithmic paper falls with a slope of -1.
#[test]
fn pink_noise_falls_with_one_over_the_frequency() {
    let mut scenario = quiet(50.0, 1);
    scenario.timing.lead_in_s = 1400.0;
    scenario.sensors[Channel::Coolant as usize].pink = 0.5;
    let (rows, _) = scenario.make();
    // The pump stands: what is read is the instrument alone.
    let values: Vec<_> =
        points(&rows, Channel::Coolant).into_iter().take(1 << 16).map(|(_, value)| value).collect();
    let (bins, width_hz) = spectrum(&values, 50.0);
    let mut octaves = Vec::new();
    let mut from_hz = 0.03;
    while from_hz < 8.0 {
        let within = |index: usize| (from_hz..2.0 * from_hz).contains(&(index as f64 * width_hz));
        let power: Vec<_> =
            (1..bins.len()).filter(|&index| within(index)).map(|index| bins[index].powi(2)).collect();
        octaves.push((from_hz.ln(), (power.iter().sum::<f64>() / power.len() as f64).ln()));
        from_hz *= 2.0;
    }
    let count = octaves.len() as f64;
    let (x, y) = octaves.iter().fold((0.0, 0.0), |(x, y), point| (x + point.0 / count, y + point.1 / count));
    let slope = octaves.iter().map(|point| (point.0 - x) * (point.1 - y)).sum::<f64>()
        / octaves.iter().map(|point| (point.0 - x).powi(2)).sum::<f64>();
    assert!((slope + 1.0).abs() < 0.2, "{slope}");
    let spread = (values.iter().map(|value| value * value).sum::<f64>() / values.len() as f64).sqrt();
    assert!((0.35..0.65).contains(&spread), "{spread}");
}

/// 300.4 Hz seen 50 times a second is 0.4 Hz.
#[test]
fn ripple_aliases_at_the_log_rate() {
    let mut scenario = quiet(50.0, 1);
    scenario.timing.lead_in_s = 60.0;
    let sensor = &mut scenario.sensors[Channel::Current as usize];
    (sensor.ripple, sensor.ripple_hz) = (6.0, 300.4);
    let (rows, _) = scenario.make();
    let values: Vec<_> =
        points(&rows, Channel::Current).into_iter().take(2500).map(|(_, value)| value).collect();
    let (bins, width_hz) = spectrum(&values, 50.0);
    let (peak, amplitude) = bins
        .iter()
        .enumerate()
        .max_by(|a, b| a.1.total_cmp(b.1))
        .map(|(index, bin)| (index, *bin))
        .expect("bins");
    assert!((peak as f64 * width_hz - 0.4).abs() < 1e-9, "{peak}");
    assert!((amplitude - 6.0).abs() < 0.05, "{amplitude}");
}

/// The reading against an even turn swings once a turn by the stated amplitude.
#[test]
fn an_eccentric_encoder_swings_once_a_turn() {
    let mut scenario = quiet(50.0, 1);
    let plain = scenario.make().0;
    scenario.sensors[Channel::Spindle as usize].eccentricity_deg = 0.3;
    let (rows, truth) = scenario.make();
    let band = &truth.bands[0];
    let errors = points(&rows, Channel::Spindle).into_iter().zip(points(&plain, Channel::Spindle));
    let turn = errors.filter(|((time_s, _), _)| (band.start_s + 1.0..band.start_s + 25.0).contains(time_s));
    let errors: Vec<_> = turn.map(|((_, read), (_, even))| read - even).collect();
    let (high, low) = errors.iter().fold((f64::MIN, f64::MAX), |(h, l), &e| (h.max(e), l.min(e)));
    assert!((high - 0.3).abs() < 1e-3 && (low + 0.3).abs() < 1e-3, "{low} to {high}");
    assert!(errors.iter().sum::<f64>().abs() / (errors.len() as f64) < 0.01, "whole turns have no mean");
}

#[test]
fn a_shift_is_joints_with_idle_and_carriage_between() {
    let mut scenario = quiet(20.0, 2);
    let fewer_bands = vec![(2, 1)];
    scenario.shift = Shift { joints: 3, idle_s: 60.0, carriage: Carriage::Far(1500.0), fewer_bands };
    let (rows, truth) = scenario.make();
    let laid: Vec<_> = truth.joints.iter().map(|joint| (joint.joint, joint.bands, joint.bands_due)).collect();
    assert_eq!(laid, [(1, 2, 2), (2, 1, 2), (3, 2, 2)]);
    let bands: Vec<_> = truth.bands.iter().map(|band| (band.joint, band.band)).collect();
    assert_eq!(bands, [(Some(1), 1), (Some(1), 2), (Some(2), 1), (Some(3), 1), (Some(3), 2)]);
    for pair in truth.joints.windows(2) {
        let between: Vec<_> = points(&rows, Channel::Carriage)
            .into_iter()
            .filter(|(time_s, _)| (pair[0].end_s..pair[1].start_s).contains(time_s))
            .collect();
        assert!(between.iter().any(|(_, mm)| (mm - 1500.0).abs() < 1e-6));
        assert!(between[between.len() - 1].1.abs() < 1e-6, "it is back for the next joint");
        // Idle of 42 to 78 s, and gas, lead-in and pre-flow around it.
        assert!((50.0..95.0).contains(&(pair[1].start_s - pair[0].end_s)));
    }
}

#[test]
fn bands_under_one_arc_step_or_spiral_while_it_burns() {
    for laying in [Laying::Stepped, Laying::Spiral] {
        let mut scenario = quiet(50.0, 3);
        scenario.joint.laying = laying;
        let (rows, truth) = scenario.make();
        assert_eq!(truth.bands.len(), 3);
        let (start_s, end_s) = (truth.bands[0].start_s, truth.bands[2].end_s);
        let never_out = |(time_s, current_a): &(f64, f64)| {
            !(start_s + 0.1..end_s - 0.05).contains(time_s) || *current_a > 50.0
        };
        assert!(points(&rows, Channel::Current).iter().all(never_out));
        let step_mm = scenario.joint.step_over_mm;
        let carriage = |turns: f64| at(&rows, Channel::Carriage, start_s + 24.0 * turns);
        for (turns, stepped) in [(0.5, 0.0), (0.9, 0.0), (1.5, 1.0), (2.5, 2.0)] {
            let due = if laying == Laying::Stepped { stepped } else { turns };
            assert!((carriage(turns) - due * step_mm).abs() < 0.3, "{laying:?} {turns}: {}", carriage(turns));
        }
    }
}

/// A habit leaves the noise of everything else as it was.
#[test]
fn a_habit_changes_only_what_it_is_about() {
    let plain = Scenario::good(Targets::new(Procedure::new()), 20.0).make().0;
    let mut scenario = Scenario::good(Targets::new(Procedure::new()), 20.0);
    scenario.habits = Habits { gas_surge: 0.6, ..Habits::NONE };
    for (row, other) in scenario.make().0.iter().zip(&plain) {
        for channel in Channel::ALL.into_iter().filter(|&channel| channel != Channel::Gas) {
            assert_eq!(row.get(channel), other.get(channel));
        }
    }
}
