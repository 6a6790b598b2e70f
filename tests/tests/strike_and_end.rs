//! How a band begins and ends: what is a habit of good welding, and what only looks like one.
//!
//! The joint is made from formulas (`bandward_tests::plain_joint`); what happens at its strike and at its end is
//! put into its samples here. What is a habit: common practice, no source.

use bandward::procedure::{Limits, Range, Rotation};
use bandward::rule::Quantity;
use bandward::{Channel, Outcome, Procedure, Rule, Sample};
use bandward_tests::heard::{Heard, acquisition, raw, watch, with};
use bandward_tests::plain_joint::{CURRENT_A, OVERLAP_DEG, PlainJoint, TURN_S, VOLTAGE_V, WIRE_MM_PER_MIN};

const BAND_S: f64 = TURN_S * (360.0 + OVERLAP_DEG) / 360.0;

fn asking() -> Procedure {
    let wanted = [
        (Quantity::Current, 280.0, 360.0),
        (Quantity::Voltage, 29.5, 33.5),
        (Quantity::WireFeed, 6600.0, 8000.0),
        (Quantity::TurnTime, 55.0, 65.0),
        (Quantity::Overlap, -20.0, 20.0),
    ];
    let mut procedure = Procedure::new();
    procedure.joint.rotation = Some(Rotation::Clockwise);
    for (quantity, low, high) in wanted {
        let [low, high] = [low, high].map(|value| raw(value, quantity.fraction_bits()));
        let floor = (quantity == Quantity::Voltage).then_some(raw(29.0, quantity.fraction_bits()));
        let limits = Limits { recommended: None, allowed: Some(Range { low, high }), floor };
        procedure = procedure.with_limits(quantity, limits).expect("a range");
    }
    procedure
}

/// The joint with its second band changed: `change` is told the time since the strike, s.
fn weld(change: impl Fn(Sample, f64) -> Sample) -> Heard {
    let since_s = |sample: &Sample| sample.time_us as f64 / 1e6 - PlainJoint::strike_s(1);
    let samples = PlainJoint::default().samples().map(|sample| {
        let since_s = since_s(&sample);
        if since_s < -10.0 { sample } else { change(sample, since_s) }
    });
    watch(asking(), acquisition(20_000, &Channel::ALL), samples).0
}

fn out(sample: Sample) -> Sample {
    with(with(sample, Channel::Current, 0.0), Channel::Voltage, 0.0)
}

/// What is broken of the joint; empty where it is proven.
fn broken(heard: &Heard) -> Vec<&'static str> {
    let joint = heard.joints[0];
    let names: Vec<_> = joint.broken.iter().map(Rule::name).collect();
    let shown: Vec<_> =
        heard.bands.iter().flat_map(|band| band.not_proven().iter()).map(Rule::name).collect();
    assert_ne!(joint.outcome, Outcome::NotProven, "not proven: {shown:?}");
    names
}

/// The pipe stands for so long after the strike, and the arc goes out as much later.
fn stands_s(stands_s: f64) -> Heard {
    let angle = |since_s: f64| {
        let turned_s = (since_s - stands_s).clamp(0.0, BAND_S);
        (PlainJoint::strike_s(1) + turned_s) * 360.0 / TURN_S
    };
    weld(|sample, since_s| with(sample, Channel::Spindle, angle(since_s)))
}

#[test]
fn a_pipe_that_starts_a_second_late_is_fine_and_one_that_stands_for_longer_is_a_stall() {
    assert_eq!(broken(&stands_s(1.0)), [""; 0]);
    for late_s in [2.7, 3.5, 4.9, 5.2, 8.0] {
        assert!(broken(&stands_s(late_s)).contains(&"spindle-stall"), "{late_s} s");
        assert_eq!(
            stands_s(late_s).alarms(Rule::SpindleStall).len(),
            2,
            "{late_s} s: raised and cleared once"
        );
    }
}

#[test]
fn short_restrikes_of_the_first_second_are_fine_and_an_outage_there_is_one() {
    let gone = |gaps: &'static [(f64, f64)]| {
        weld(|sample, since_s| {
            let is_out = gaps.iter().any(|&(from_s, to_s)| (from_s..to_s).contains(&since_s));
            if is_out { out(sample) } else { sample }
        })
    };
    assert_eq!(broken(&gone(&[(0.1, 0.16), (0.4, 0.48), (0.8, 0.86)])), [""; 0]);
    for gaps in [&[(0.6, 0.9)][..], &[(0.5, 1.0)], &[(1.2, 1.6)], &[(1.8, 1.95)], &[(4.2, 4.9)]] {
        let gaps: &'static [(f64, f64)] = gaps.to_vec().leak();
        let heard = gone(gaps);
        assert_eq!(broken(&heard), ["arc-outage"], "{gaps:?}");
        assert_eq!(heard.bands.len(), 2, "{gaps:?}: it is one band");
    }
}

/// An arc that is out for more than a second before it was a band was a tack, though the pipe turned on under it:
/// what comes closes the turn by itself, or is short.
#[test]
fn a_failed_start_on_a_turning_pipe_is_a_tack() {
    for out_s in [1.2, 2.0, 2.5, 2.8] {
        for burns_s in [0.3, 0.6, 1.5, 3.0] {
            let heard = weld(|sample, since_s| {
                if (-out_s - burns_s..-out_s).contains(&since_s) {
                    with(with(sample, Channel::Current, CURRENT_A), Channel::Voltage, VOLTAGE_V)
                } else {
                    sample
                }
            });
            assert_eq!(broken(&heard), [""; 0], "{burns_s} s, out for {out_s} s");
            assert_eq!(heard.bands.len(), 2, "{burns_s} s, out for {out_s} s");
        }
    }
    let heard = weld(|sample, since_s| if (3.0..5.4).contains(&since_s) { out(sample) } else { sample });
    assert_eq!(broken(&heard), ["arc-outage"], "what comes goes out before its own turn is done");
}

/// An arc of half a second with the pipe at rest, and the band two seconds later.
#[test]
fn a_tack_on_a_pipe_at_rest_is_a_tack() {
    let heard = weld(|sample, since_s| {
        if (-2.5..-2.0).contains(&since_s) {
            with(with(sample, Channel::Current, CURRENT_A), Channel::Voltage, VOLTAGE_V)
        } else {
            sample
        }
    });
    // The pipe of this joint turns all the time: in 2.5 s it turns 15 degrees, so that this one is at rest.
    let at_rest = stands_s(0.0);
    assert_eq!(broken(&at_rest), [""; 0]);
    assert!(heard.bands.len() == 2, "{} bands", heard.bands.len());
}

/// The wire still runs in under a tack; in a band a wire that is slow for its first seconds is told.
#[test]
fn a_slow_wire_is_nothing_under_a_tack_and_something_in_a_band() {
    let wire = |from_s: f64, to_s: f64, arc: bool| {
        weld(move |sample, since_s| {
            if !(from_s..to_s).contains(&since_s) {
                return sample;
            }
            let slow = with(sample, Channel::Wire, 4000.0 + 10.0 * (since_s * 40.0).sin());
            let noise = f64::from((sample.time_us / 20_000 % 7) as u32) - 3.0;
            let lit = with(slow, Channel::Current, CURRENT_A + noise);
            if arc { with(lit, Channel::Voltage, VOLTAGE_V + 0.02 * noise) } else { slow }
        })
    };
    let tack = wire(-6.5, -4.0, true);
    assert_eq!(broken(&tack), [""; 0]);
    assert_eq!(tack.alarms(Rule::WireFeedLow), []);
    assert_eq!(broken(&wire(0.0, 3.2, false)), ["wire-feed-low"]);
}

/// Current and voltage over the last `last_s` of the second band: shares of the full value, from the share of
/// the time that has gone.
fn ends(last_s: f64, amps: impl Fn(f64) -> f64, volts: impl Fn(f64) -> f64) -> Heard {
    weld(|sample, since_s| {
        let gone = (since_s - (BAND_S - last_s)) / last_s;
        if !(0.0..1.0).contains(&gone) || since_s >= BAND_S {
            return sample;
        }
        let noise = f64::from((sample.time_us / 20_000 % 7) as u32) - 3.0;
        let burning = with(sample, Channel::Current, CURRENT_A * amps(gone) + 0.2 * noise);
        with(burning, Channel::Voltage, VOLTAGE_V * volts(gone) + 0.02 * noise)
    })
}

#[test]
fn a_ramp_past_the_turn_is_a_crater_fill_and_a_step_is_none() {
    for last_s in [0.8, 1.2] {
        let ramp = ends(last_s, |gone| 1.0 - 0.45 * gone, |gone| 1.0 - 0.2 * gone);
        assert_eq!(broken(&ramp), [""; 0], "{last_s} s");
    }
    // The feed runs down, and a source of constant voltage holds it.
    let only_amps = ends(1.5, |gone| 1.0 - 0.8 * gone, |_| 1.0);
    assert_eq!(broken(&only_amps), [""; 0]);
    let step_of_amps = ends(1.5, |_| 0.4, |_| 1.0);
    assert_eq!(broken(&step_of_amps), ["current-low"]);
    let only_volts = ends(1.4, |_| 1.0, |gone| 1.0 - 0.3 * gone);
    assert_eq!(broken(&only_volts), ["transfer-low-voltage"]);
    let step = ends(1.4, |_| 0.6, |_| 0.8);
    assert_eq!(broken(&step), ["current-low", "transfer-low-voltage"]);
    let ramp_and_step = ends(1.4, |gone| 1.0 - 0.5 * gone, |_| 0.7);
    assert!(broken(&ramp_and_step).contains(&"transfer-low-voltage"));
}

/// The pipe rests under the last seconds, well past the full turn.
#[test]
fn a_pipe_may_rest_under_a_crater_fill() {
    let rest_s = 3.0;
    let angle = |since_s: f64| (PlainJoint::strike_s(1) + since_s.clamp(0.0, BAND_S)) * 360.0 / TURN_S;
    let rests = |falls: bool| {
        weld(|sample, since_s| {
            let gone = (since_s - BAND_S) / rest_s;
            let sample = with(sample, Channel::Spindle, angle(since_s));
            if !(0.0..1.0).contains(&gone) {
                return sample;
            }
            let (amps, volts) = if falls { (1.0 - 0.45 * gone, 1.0 - 0.2 * gone) } else { (1.0, 1.0) };
            let noise = f64::from((sample.time_us / 20_000 % 7) as u32) - 3.0;
            let fed = with(sample, Channel::Wire, WIRE_MM_PER_MIN + noise);
            let burning = with(fed, Channel::Current, CURRENT_A * amps + 0.2 * noise);
            with(burning, Channel::Voltage, VOLTAGE_V * volts + 0.02 * noise)
        })
    };
    assert_eq!(broken(&rests(true)), [""; 0]);
    assert_eq!(broken(&rests(false)), ["spindle-stall"]);
}

#[test]
fn an_encoder_that_is_set_to_zero_at_the_strike_is_read_on() {
    for zeroed_s in [-1.5, 0.0, 0.3] {
        let at_zero = (PlainJoint::strike_s(1) + zeroed_s) * 360.0 / TURN_S;
        let heard = weld(|sample, since_s| {
            let turned = (PlainJoint::strike_s(1) + since_s.min(BAND_S + 0.5)) * 360.0 / TURN_S;
            let angle = if since_s >= zeroed_s { turned - at_zero } else { turned };
            with(sample, Channel::Spindle, angle.rem_euclid(360.0))
        });
        assert_eq!(broken(&heard), [""; 0], "{zeroed_s} s");
        let overlap = heard.bands[1].overlap.expect("it is known");
        let off = f64::from(overlap.to_bits()) / 4096.0 - OVERLAP_DEG;
        assert!(off.abs() <= 1.0, "{zeroed_s} s: {off}");
    }
}

#[test]
fn an_angle_that_leaps_within_a_band_proves_nothing() {
    let heard = weld(|sample, since_s| {
        let turned = (PlainJoint::strike_s(1) + since_s.min(BAND_S + 0.5)) * 360.0 / TURN_S;
        with(sample, Channel::Spindle, if since_s >= 30.0 { turned + 90.0 } else { turned })
    });
    assert_eq!(heard.joints[0].outcome, Outcome::NotProven, "{:?}", heard.joints[0]);
    assert!(heard.bands[1].not_proven().contains(Rule::OverlapShort));
}
