//! Causes that another generator of joints showed to be mistaken for each other: each is put into the rows of a sound
//! joint by hand, by what it does to them.
//!
//! Decides: what tells one cause from its neighbour. Common practice of the trade, no source, but for the first-order
//! lag of a meter.

use bandward::{BandRecord, Channel};
use bandward_sim::process::random::Noise;
use bandward_sim::process::{Scenario, Targets};
use bandward_sim::replay::{Replay, Replayer};
use bandward_sim::trace::Row;
use bandward_tests::made::{header, quick_procedure};

/// The joint's bands as they are welded, s from the start of the trace.
struct Bands(Vec<(f64, f64)>);

impl Bands {
    fn of(records: &[BandRecord]) -> Self {
        Self(records.iter().map(|band| (band.start_us as f64 / 1e6, band.end_us as f64 / 1e6)).collect())
    }
    /// Time since a band (from 1) was begun, s, while it is welded.
    fn elapsed_s(&self, band: usize, time_s: f64) -> Option<f64> {
        let (start_s, end_s) = self.0[band - 1];
        (start_s..end_s).contains(&time_s).then_some(time_s - start_s)
    }
}

/// A sound joint at 50 rows a second with its rows changed.
fn changed(seed: u64, mut change: impl FnMut(&mut Row, f64, &Bands)) -> Replay {
    let file = quick_procedure();
    let scenario = Scenario::good(Targets::of_file(&file), 50.0).with_seed(seed);
    let replay = |change: &mut dyn FnMut(&mut Row)| {
        let mut replayer = Replayer::new(&file.procedure, &header(&scenario));
        for mut row in scenario.rows() {
            change(&mut row);
            replayer.step(&row);
        }
        replayer.finish()
    };
    let sound = replay(&mut |_| {});
    assert!(sound.findings.is_empty(), "{:?}", sound.findings);
    let bands = Bands::of(&sound.bands);
    replay(&mut |row| {
        let time_s = row.time_us as f64 / 1e6;
        change(row, time_s, &bands);
    })
}

fn edit(row: &mut Row, channel: Channel, to: impl FnOnce(f64) -> f64) {
    let value = &mut row.values[channel as usize];
    *value = value.map(to);
}

/// Causes and scores, the most likely first.
fn causes(replay: &Replay) -> Vec<(&'static str, f64)> {
    replay.findings.iter().map(|finding| (finding.cause, finding.score)).collect()
}

fn score(replay: &Replay, cause: &str) -> f64 {
    causes(replay).iter().find(|(name, _)| *name == cause).map_or(0.0, |&(_, score)| score)
}

const SEEDS: [u64; 3] = [71_001, 71_002, 71_003];

/// A feeder that is set wrong is so on every band: no band is a measure for the others, and the cause is told once.
#[test]
fn a_feed_that_is_off_on_every_band_is_the_setting_told_once() {
    for seed in SEEDS {
        for (share, cause) in [(0.8, "feed-set-low"), (1.2, "feed-set-high")] {
            let replay = changed(seed, |row, _, _| {
                edit(row, Channel::Wire, |feed| feed * share);
                edit(row, Channel::Current, |amps| amps * f64::midpoint(share, 1.0));
            });
            let first = replay.findings.first().expect("there is a cause");
            assert_eq!(first.cause, cause, "seed {seed}: {:?}", causes(&replay));
            assert_eq!((first.place.band, first.other_bands()), (1, vec![2]), "seed {seed}");
            let times = causes(&replay).iter().filter(|(name, _)| *name == cause).count();
            assert_eq!(times, 1, "seed {seed}");
        }
    }
}

/// A loss that comes at once through a meter of 2 s, and is over after 13 s, is no bottle; one that takes 12 s is.
#[test]
fn gas_that_goes_as_fast_as_it_comes_back_is_no_bottle() {
    for seed in SEEDS {
        for (comes_s, cause) in [(0.0, "gas-leak"), (12.0, "bottle-running-out")] {
            let mut shown = 1.0_f64;
            let replay = changed(seed, |row, time_s, bands| {
                let lost = match bands.elapsed_s(2, time_s) {
                    Some(into_s) if (6.0..6.0 + comes_s).contains(&into_s) => (into_s - 6.0) / comes_s,
                    Some(into_s) if (6.0 + comes_s..19.0).contains(&into_s) => 1.0,
                    _ => 0.0,
                };
                shown += (1.0 - 0.5 * lost - shown) * 0.02 / 2.0;
                edit(row, Channel::Gas, |flow| flow * shown);
            });
            assert_eq!(
                causes(&replay).first().map(|it| it.0),
                Some(cause),
                "seed {seed}: {:?}",
                causes(&replay)
            );
        }
    }
}

/// A weave at half its rate for 3 s of every 6 s is a drive that slips; one that is slow for good is set so.
#[test]
fn a_weave_that_is_slow_again_and_again_slips() {
    for (again, cause) in [(true, "weave-drive-slipping"), (false, "weave-slow")] {
        let mut cycles = 0.0;
        let replay = changed(SEEDS[0], |row, time_s, bands| {
            let off = bands.elapsed_s(2, time_s).filter(|into_s| *into_s > 6.0);
            let slow = off.is_some_and(|into_s| !again || into_s % 6.0 < 3.0);
            cycles += 0.02 * 80.0 / 60.0 * if slow { 0.5 } else { 1.0 };
            let place = 12.5 * (std::f64::consts::TAU * cycles).sin();
            edit(row, Channel::Torch, |_| place);
        });
        assert_eq!(causes(&replay).first().map(|it| it.0), Some(cause), "{:?}", causes(&replay));
    }
}

/// Where a timer ends the band, a pipe that slips and an encoder that loses counts read the same: the slip is told
/// first, neither is told for sure, and both say that a mark on the pipe tells them apart.
#[test]
fn a_slip_that_a_timer_hides_is_not_called_lost_counts() {
    for seed in SEEDS {
        let mut lost = 0.0;
        let mut before: Option<f64> = None;
        let replay = changed(seed, |row, time_s, bands| {
            let slips = bands.elapsed_s(2, time_s).is_some_and(|into_s| (8.0..9.4).contains(&into_s));
            edit(row, Channel::Spindle, |angle| {
                let turned = before.map_or(0.0, |before| (angle - before + 180.0).rem_euclid(360.0) - 180.0);
                before = Some(angle);
                lost += if slips { 0.7 * turned } else { 0.0 };
                angle - lost
            });
        });
        let told = causes(&replay);
        let place = |cause| told.iter().position(|(name, _)| *name == cause);
        let (slip, counts) = (place("chuck-slip"), place("encoder-losing-counts"));
        assert!(slip.is_some() && slip < counts, "seed {seed}: {told:?}");
        assert!(score(&replay, "encoder-losing-counts") <= 0.5, "seed {seed}: {told:?}");
        for cause in ["chuck-slip", "encoder-losing-counts"] {
            let finding = replay.findings.iter().find(|finding| finding.cause == cause).expect("told");
            assert!(finding.look_at.contains("mark"), "{}", finding.look_at);
        }
    }
}

/// Without a range of the sensor: what stands still beyond all that was read is at its end, what stands at what was
/// last read hangs, and what shows nothing has lost its cable.
#[test]
fn a_reading_that_stands_at_its_end_hangs_or_shows_nothing_is_told_apart() {
    for (channel, end) in [(Channel::Voltage, 60.0), (Channel::Gas, 30.0), (Channel::Torch, 60.0)] {
        for (hangs, cause) in [(false, "reading-railed"), (true, "reading-frozen")] {
            // A gas flow that stands for so short a time, at what it was, raises no alarm.
            if hangs && channel == Channel::Gas {
                continue;
            }
            let mut held = None;
            let replay = changed(SEEDS[1], |row, time_s, bands| {
                let is_on = bands.elapsed_s(2, time_s).is_some_and(|into_s| (6.0..18.0).contains(&into_s));
                if !is_on {
                    return;
                }
                let now = row.get(channel);
                let value = if hangs { *held.get_or_insert(now) } else { Some(end) };
                row.values[channel as usize] = value;
            });
            let told = causes(&replay);
            assert_eq!(told.first().map(|it| it.0), Some(cause), "{}: {told:?}", channel.name());
        }
    }
    let mut noise = Noise::new(SEEDS[2], 0);
    let replay = changed(SEEDS[2], |row, time_s, bands| {
        if bands.elapsed_s(2, time_s).is_some_and(|into_s| (6.0..18.0).contains(&into_s)) {
            edit(row, Channel::Torch, |_| 0.02 * noise.normal());
        }
    });
    let told = causes(&replay);
    let dead = told.iter().position(|(name, _)| *name == "reading-dead");
    assert!(dead.is_some_and(|at| at < 3), "{told:?}");
}

/// Rolls that slip move the current; a worn contact moves current and voltage, from one reading to the next.
#[test]
fn a_restless_contact_is_no_slipping_wire() {
    for seed in SEEDS {
        let mut noise = Noise::new(seed, 7);
        let replay = changed(seed, |row, time_s, bands| {
            let grown = bands.elapsed_s(2, time_s).map_or(0.0, |into_s| (into_s / 20.0).min(1.0));
            let (amps, volts) = (14.0 * grown * noise.normal(), 0.9 * grown * noise.normal());
            edit(row, Channel::Current, |value| value - 48.0 * grown + amps);
            edit(row, Channel::Voltage, |value| value + volts);
        });
        let told = causes(&replay);
        assert_eq!(told.first().map(|it| it.0), Some("contact-tip-wear"), "seed {seed}: {told:?}");
    }
}

/// Rolls that slip and bite every second move the current by a third, and the voltage not at all.
#[test]
fn a_wire_that_slips_and_bites_is_no_worn_contact() {
    for seed in SEEDS {
        let replay = changed(seed, |row, time_s, bands| {
            if let Some(into_s) = bands.elapsed_s(2, time_s).filter(|into_s| (6.0..16.0).contains(into_s)) {
                let kept = if into_s % 1.7 < 0.85 { 0.9 } else { 0.6 };
                edit(row, Channel::Current, |amps| amps * kept);
            }
        });
        let told = causes(&replay);
        assert_eq!(told.first().map(|it| it.0), Some("wire-slipping"), "seed {seed}: {told:?}");
    }
}

/// A pipe that stands for two seconds is dragged by nothing: a stall, not a slip.
#[test]
fn a_short_stand_is_a_stall() {
    for seed in SEEDS {
        let mut held: Option<f64> = None;
        let mut behind = 0.0;
        let replay = changed(seed, |row, time_s, bands| {
            let stands = bands.elapsed_s(2, time_s).is_some_and(|into_s| (8.0..10.2).contains(&into_s));
            edit(row, Channel::Spindle, |angle| {
                if stands {
                    let at = *held.get_or_insert(angle - behind);
                    behind = angle - at;
                    at
                } else {
                    held = None;
                    angle - behind
                }
            });
        });
        let told = causes(&replay);
        assert!(score(&replay, "chuck-stall") > score(&replay, "chuck-slip"), "seed {seed}: {told:?}");
    }
}

/// Current and voltage that fall in the last seconds are a crater fill, not a setting.
#[test]
fn a_crater_filled_short_of_the_turn_is_no_setting() {
    let mut lost = 0.0;
    let mut before: Option<f64> = None;
    let replay = changed(SEEDS[0], |row, time_s, bands| {
        let into_s = bands.elapsed_s(2, time_s);
        let slips = into_s.is_some_and(|into_s| (8.0..11.0).contains(&into_s));
        edit(row, Channel::Spindle, |angle| {
            let turned = before.map_or(0.0, |before| (angle - before + 180.0).rem_euclid(360.0) - 180.0);
            before = Some(angle);
            lost += if slips { 0.6 * turned } else { 0.0 };
            angle - lost
        });
        let left_s = bands.0[1].1 - time_s;
        if into_s.is_some() && left_s < 2.0 {
            edit(row, Channel::Current, |amps| amps * (0.6 + 0.2 * left_s));
            edit(row, Channel::Voltage, |volts| volts * (0.85 + 0.075 * left_s));
        }
    });
    assert_eq!(causes(&replay).first().map(|it| it.0), Some("chuck-slip"), "{:?}", causes(&replay));
}

/// No arc burns at no volts: the meter's lead is off, and nobody should turn up the source for it.
#[test]
fn a_voltage_of_nothing_under_a_burning_arc_is_the_meter() {
    for seed in SEEDS {
        let replay = changed(seed, |row, time_s, bands| {
            if bands.elapsed_s(2, time_s).is_some() {
                edit(row, Channel::Voltage, |_| 0.0);
            }
        });
        let told = causes(&replay);
        assert_eq!(told.first().map(|&(cause, _)| cause), Some("reading-dead"), "seed {seed}: {told:?}");
        assert!(score(&replay, "reading-dead") > score(&replay, "voltage-set-low"), "seed {seed}: {told:?}");
    }
}

/// Nothing alarms where the angle runs the other way on all bands; two causes can be, and no trace tells which.
#[test]
fn an_angle_that_always_runs_the_other_way_is_pipe_or_encoder() {
    for seed in SEEDS {
        let replay = changed(seed, |row, _, _| edit(row, Channel::Spindle, |angle| -angle));
        assert!(replay.alarms.is_empty(), "{:?}", replay.alarms);
        for cause in ["turning-the-wrong-way", "encoder-wired-the-other-way"] {
            assert!((score(&replay, cause) - 0.5).abs() < 1e-9, "seed {seed}: {:?}", causes(&replay));
        }
        assert_eq!(replay.findings[0].other_bands(), [2]);
    }
}
