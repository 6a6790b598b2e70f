//! The table of verdicts: joints that are broken, unfinished or not seen whole, and sound ones beside them.
//!
//! Decides: for each row what the program must say: its exit code, the outcome, and the rules or reasons named.
//! Assumes: the joints are made from formulas (`bandward_tests::plain_joint`, `spoilt`), which share nothing with
//! the program's own process; the procedure holds the plain one (`data/procedures/plain-joint.toml`).
//! `cargo test -p bandward-tests --test verdict_table -- --nocapture` prints the table.

use bandward::Channel::{Carriage, Coolant, Current, Gas, Spindle, Torch, Voltage, Wire, Work};
use bandward::Sample;
use bandward_sim::trace::Row;
use bandward_tests::heard;
use bandward_tests::plain_joint::{GAS_LPM, POSTFLOW_S, PREFLOW_S, PlainJoint, WEAVE_MM};
use bandward_tests::said::{Said, procedure, write};
use bandward_tests::spoilt::{ALWAYS, BAND_S, Spoilt, in_band};
use std::collections::BTreeSet;
use std::f64::consts::TAU;
use std::fmt::Write;

/// A row of the table.
struct Case {
    name: &'static str,
    joint: Spoilt,
    expected: Expected,
}

enum Expected {
    /// Exit 1, with exactly these rules broken and all else held.
    Broken(&'static [&'static str]),
    /// Exit 1, with exactly these rules broken, and these reasons named.
    BrokenOff(&'static [&'static str], &'static [&'static str]),
    /// Exit 3, nothing broken, with these rules not proven or reasons named.
    NotProven(&'static [&'static str]),
    /// Exit 0, and no alarm that warns or stops.
    Proven,
}

use Expected::{Broken, BrokenOff, NotProven, Proven};

fn case(name: &'static str, joint: impl Into<Spoilt>, expected: Expected) -> Case {
    Case { name, joint: joint.into(), expected }
}

const PLAIN: PlainJoint = PlainJoint::PLAIN;

fn plain() -> Spoilt {
    PLAIN.into()
}

/// The second band runs on to this angle by the clock.
fn to_deg(last_band_deg: f64) -> Spoilt {
    PlainJoint { last_band_deg, ..PLAIN }.into()
}

/// Short circuits are counted from 2000 samples a second on.
fn fast() -> Spoilt {
    PlainJoint { rate_hz: 2000.0, ..PLAIN }.into()
}

/// Twenty seconds in the middle of the second band.
fn middle() -> std::ops::Range<f64> {
    in_band(1, 15.0, 35.0)
}

/// In the window the torch swings so often a minute.
fn weaving(per_min: f64) -> Spoilt {
    plain().reads(Torch, middle(), move |since_s, _| WEAVE_MM / 2.0 * (TAU * per_min / 60.0 * since_s).sin())
}

/// Arc and gas: each end of each range broken once, in the second band.
fn arc_and_gas() -> Vec<Case> {
    let gas = |from_s, to_s| plain().times(Gas, 0.0, in_band(1, from_s, to_s));
    let more_gas = |from_s: f64, to_s: f64| plain().reads(Gas, in_band(1, from_s, to_s), |_, _| GAS_LPM);
    vec![
        case("current low", plain().times(Current, 0.85, middle()), Broken(&["current-low"])),
        case("current high", plain().times(Current, 1.15, middle()), Broken(&["current-high"])),
        case("voltage low", plain().plus(Voltage, -2.3, middle()), Broken(&["voltage-low"])),
        case(
            "voltage under its floor",
            plain().plus(Voltage, -5.5, middle()),
            Broken(&["transfer-low-voltage"]),
        ),
        case("voltage high", plain().plus(Voltage, 2.3, middle()), Broken(&["voltage-high"])),
        case(
            "short circuits many",
            fast().reads(
                Voltage,
                middle(),
                |since_s, volts| if (since_s * 12.0).fract() < 0.024 { 5.0 } else { volts },
            ),
            Broken(&["transfer-short-circuits"]),
        ),
        case(
            "short circuits few",
            fast().reads(Voltage, middle(), |_, volts| if volts < 10.0 { 31.5 } else { volts }),
            Broken(&["transfer-short-circuits-low"]),
        ),
        case("gas low", plain().times(Gas, 0.75, middle()), Broken(&["gas-low"])),
        case("no gas", plain().times(Gas, 0.0, middle()), BrokenOff(&["gas-low"], &["gas-high"])),
        case("gas high", plain().times(Gas, 1.4, middle()), Broken(&["gas-high"])),
        case("pre-flow short", gas(-PREFLOW_S - 1.0, -0.3), Broken(&["gas-preflow"])),
        case("pre-flow long", more_gas(-9.0, 0.0), Broken(&["gas-preflow-long"])),
        case("post-flow short", gas(BAND_S + 1.0, BAND_S + POSTFLOW_S + 1.0), Broken(&["gas-postflow"])),
        case("post-flow long", more_gas(BAND_S, BAND_S + 20.0), Broken(&["gas-postflow-long"])),
        case("arc out for a second", plain().dark(in_band(1, 30.0, 31.0)), Broken(&["arc-outage"])),
        case(
            "leads swapped",
            plain().times(Current, -1.0, middle()).times(Voltage, -1.0, middle()),
            // Amps and volts below zero are below their ranges as well.
            Broken(&["polarity-wrong", "current-low", "voltage-low"]),
        ),
    ]
}

/// Weave, turning, place.
fn motion() -> Vec<Case> {
    vec![
        case("weave slow", weaving(55.0), Broken(&["weave-rate-low"])),
        case("weave fast", weaving(108.0), Broken(&["weave-rate-high"])),
        case("weave narrow", plain().times(Torch, 0.91, middle()), Broken(&["weave-width-low"])),
        case("weave wide", plain().times(Torch, 1.09, middle()), Broken(&["weave-width-high"])),
        case("weave wanders", plain().plus(Torch, 4.0, middle()), Broken(&["weave-centre-drift"])),
        // The arc's time is such that the overlap is right all the same.
        case("turning fast", to_deg(355.6).turning(1.12, middle()), Broken(&["turn-time-fast"])),
        case("turning slow", to_deg(382.0).turning(0.9, middle()), Broken(&["turn-time-slow"])),
        case(
            "pipe slips by 70 % for 3 s",
            to_deg(382.6).turning(0.3, in_band(1, 30.0, 33.0)),
            Broken(&["spindle-slip"]),
        ),
        case(
            "pipe stands for 5 s",
            to_deg(400.0).turning(0.0, in_band(1, 30.0, 35.0)),
            Broken(&["spindle-stall"]),
        ),
        case(
            "second band turned the other way",
            PlainJoint { falls_from_band: Some(1), ..PLAIN },
            Broken(&["spindle-reversed"]),
        ),
        case(
            "step-over short",
            plain().plus(Carriage, -2.0, in_band(1, -15.0, 1e3)),
            Broken(&["step-over-low"]),
        ),
        case(
            "step-over long",
            plain().plus(Carriage, 2.0, in_band(1, -15.0, 1e3)),
            Broken(&["step-over-high"]),
        ),
        case("overlap short", to_deg(361.0), Broken(&["overlap-short"])),
        case("overlap long", to_deg(395.0), Broken(&["overlap-long"])),
        case(
            "arc off for good at 200 degrees",
            to_deg(200.0),
            BrokenOff(&["arc-outage"], &["band-broken-off"]),
        ),
    ]
}

/// Wire, metal, heat, coolant.
fn metal_and_heat() -> Vec<Case> {
    let before = |band| in_band(band, -15.0, 15.0);
    vec![
        case("wire feed low", plain().times(Wire, 0.92, middle()), Broken(&["wire-feed-low"])),
        case("wire feed high", plain().times(Wire, 1.08, middle()), Broken(&["wire-feed-high"])),
        case(
            "band low, each setting in its range",
            to_deg(342.6)
                .times(Wire, 0.96, in_band(1, 0.0, BAND_S))
                .times(Torch, 1.04, in_band(1, 0.0, BAND_S))
                .turning(1.08, in_band(1, 0.0, BAND_S)),
            Broken(&["band-height-low"]),
        ),
        case(
            "band high, each setting in its range",
            to_deg(397.8)
                .times(Wire, 1.04, in_band(1, 0.0, 99.0))
                .times(Torch, 0.96, in_band(1, 0.0, 99.0))
                .turning(0.93, in_band(1, 0.0, 99.0)),
            Broken(&["band-height-high"]),
        ),
        case("preheat low", plain().plus(Work, -100.0, before(0)), Broken(&["preheat-low"])),
        case("preheat high", plain().plus(Work, 100.0, before(0)), Broken(&["preheat-high"])),
        case("between bands too cold", plain().plus(Work, -130.0, before(1)), Broken(&["interpass-low"])),
        case("between bands too hot", plain().plus(Work, 130.0, before(1)), Broken(&["interpass-high"])),
        case("coolant low", plain().times(Coolant, 0.5, middle()), Broken(&["coolant-low"])),
        case(
            "coolant gone",
            plain().times(Coolant, 0.0, middle()),
            BrokenOff(&["coolant-low"], &["coolant-high"]),
        ),
        case("coolant high", plain().times(Coolant, 1.5, middle()), Broken(&["coolant-high"])),
    ]
}

/// Unfinished joints, and joints that were not seen whole.
fn unfinished_and_unseen() -> Vec<Case> {
    let without = |channel| PlainJoint { without: Some(channel), ..PLAIN };
    vec![
        case(
            "data end inside a band",
            PlainJoint { ends_s: PlainJoint::strike_s(1) + 30.0, ..PLAIN },
            NotProven(&["data-ended-in-band"]),
        ),
        case(
            "data begin inside a band",
            plain().hole(f64::NEG_INFINITY..PlainJoint::strike_s(0) + 20.0),
            NotProven(&["start-unseen"]),
        ),
        case("a band missing", PlainJoint { bands: 1, ..PLAIN }, NotProven(&["bands-missing"])),
        case("a band too many", PlainJoint { bands: 3, ..PLAIN }, NotProven(&["bands-extra"])),
        case(
            "current and voltage columns swapped",
            plain().with(|_, sample| Some(swapped(sample))),
            NotProven(&["welding-unseen"]),
        ),
        case("current and voltage at zero", plain().dark(ALWAYS), NotProven(&["welding-unseen"])),
        case("no current", without(Current), NotProven(&["current-low"])),
        case("no voltage", without(Voltage), NotProven(&["voltage-low", "transfer-low-voltage"])),
        case("no gas flow", without(Gas), NotProven(&["gas-low", "gas-preflow", "gas-postflow"])),
        case("no torch position", without(Torch), NotProven(&["weave-rate-low", "weave-width-high"])),
        case("no angle", without(Spindle), NotProven(&["turn-time-slow", "spindle-slip", "overlap-short"])),
        case("no wire feed", without(Wire), NotProven(&["wire-feed-low", "band-height-high"])),
        case("no coolant flow", without(Coolant), NotProven(&["coolant-low"])),
        case("no work temperature", without(Work), NotProven(&["preheat-low", "interpass-high"])),
        case("no carriage position", without(Carriage), NotProven(&["step-over-low", "step-over-high"])),
        case(
            "gas meter gone from the second band on",
            PlainJoint { blind_from_s: Some((Gas, PlainJoint::strike_s(1) + 10.0)), ..PLAIN },
            NotProven(&["gas-low"]),
        ),
        case(
            "a hole of 6 s in a band",
            plain().hole(in_band(1, 30.0, 36.0)),
            NotProven(&["current-low", "voltage-low", "signal-late"]),
        ),
        case(
            "turning the other way on every band",
            PlainJoint { falls_from_band: Some(0), ..PLAIN },
            NotProven(&["spindle-reversed"]),
        ),
    ]
}

/// One reading in ten seconds.
fn spiked(now_s: f64, sample: Sample) -> Sample {
    let is_spike = (now_s * 50.0).round() as u64 % 500 == 250;
    if is_spike { heard::with(sample, Current, 2000.0) } else { sample }
}

fn swapped(sample: Sample) -> Sample {
    let row = Row::of_sample(&sample);
    let mut other = row;
    (other.values[Current as usize], other.values[Voltage as usize]) = (row.get(Voltage), row.get(Current));
    other.to_sample()
}

/// A flow whose meter shows hundredths while it is shut, or while it opens, and one and the same figure under the arc.
fn flat(channel: bandward::Channel, lpm: f64) -> Spoilt {
    let strikes: Vec<_> = (0..2).map(PlainJoint::strike_s).collect();
    plain().with(move |now_s, sample| {
        let is_lit =
            strikes.iter().any(|strike_s| (strike_s - 2.5..strike_s + BAND_S + POSTFLOW_S).contains(&now_s));
        let hundredths = 0.01 * f64::from((now_s * 50.0).round() as u32 % 3);
        Some(heard::with(sample, channel, if is_lit { lpm } else { hundredths }))
    })
}

/// Readings that never move, pipes that stand for a moment, and a weave that leaves its place at once: green once.
fn still_or_for_a_moment() -> Vec<Case> {
    vec![
        // The arc moves a voltage, however coarsely it is read; a flow that is read finely never rests.
        case(
            "voltage that reads its set value",
            plain().reads(Voltage, ALWAYS, |_, volts| if volts > 8.0 { 31.5 } else { volts }),
            NotProven(&["voltage-low", "voltage-high", "transfer-low-voltage"]),
        ),
        case(
            "voltage meter at the end of its converter",
            plain().reads(Voltage, ALWAYS, |_, volts| volts.min(31.0)),
            NotProven(&["voltage-low", "voltage-high", "transfer-low-voltage"]),
        ),
        case("gas that reads 17.53 L/min", flat(Gas, 17.53), NotProven(&["gas-low", "gas-high"])),
        case("gas that reads 18 L/min by a fine meter", flat(Gas, 18.0), NotProven(&["gas-low", "gas-high"])),
        case("coolant that reads 6 L/min by a fine meter", flat(Coolant, 6.0), NotProven(&["coolant-low"])),
        case(
            "pipe stands for 0.6 s in mid band",
            to_deg(373.6).turning(0.0, in_band(1, 30.0, 30.6)),
            Broken(&["spindle-slip"]),
        ),
        case(
            "pipe stands for 0.8 s in mid band",
            to_deg(374.8).turning(0.0, in_band(1, 30.0, 30.8)),
            Broken(&["spindle-slip"]),
        ),
        case(
            "pipe stands for 1 s in mid band",
            to_deg(376.0).turning(0.0, in_band(1, 30.0, 31.0)),
            Broken(&["spindle-slip"]),
        ),
        case(
            "weave off its place by 4 mm from 2.6 s to 40 s of the first band",
            plain().plus(Torch, 4.0, in_band(0, 2.6, 40.0)),
            Broken(&["weave-centre-drift"]),
        ),
        case(
            "weave off its place by 4 mm from 3 s to 40 s of the first band",
            plain().plus(Torch, 4.0, in_band(0, 3.0, 40.0)),
            Broken(&["weave-centre-drift"]),
        ),
        case(
            "weave off its place by 4 mm from 3.4 s to 40 s of the first band",
            plain().plus(Torch, 4.0, in_band(0, 3.4, 40.0)),
            Broken(&["weave-centre-drift"]),
        ),
    ]
}

/// What attacks from outside once found green, or broken by the wrong rule.
fn found_by_attack() -> Vec<Case> {
    let whole = || in_band(1, -1.0, BAND_S);
    vec![
        case("current in kA", plain().times(Current, 0.001, ALWAYS), NotProven(&["current-low"])),
        case(
            "a hole of 20 s between bands",
            plain().hole(in_band(0, BAND_S + 8.0, BAND_S + 28.0)),
            NotProven(&["unseen-between-bands"]),
        ),
        case(
            "a hole of 6 s in a band, each limit",
            plain().hole(in_band(1, 30.0, 36.0)),
            NotProven(&["current-low", "gas-low", "spindle-stall", "band-height-low"]),
        ),
        case(
            "no gas for 3.5 s from the strike",
            plain().times(Gas, 0.0, in_band(1, 0.0, 3.5)),
            Broken(&["gas-low"]),
        ),
        case(
            "pipe stands for 4.5 s from the strike",
            to_deg(397.0).turning(0.0, in_band(1, 0.0, 4.5)),
            Broken(&["spindle-stall"]),
        ),
        case(
            "arc out for 0.4 s, 2 s after the strike",
            plain().dark(in_band(1, 2.0, 2.4)),
            Broken(&["arc-outage"]),
        ),
        case(
            "weave off its place for a band",
            plain().plus(Torch, 6.0, whole()),
            Broken(&["weave-centre-drift"]),
        ),
        case(
            "carriage creeps by 6 mm in a band",
            plain().reads(Carriage, whole(), |since_s, mm| mm + 0.1 * since_s),
            Broken(&["step-over-high", "weave-centre-drift"]),
        ),
        case(
            "wire feed stands still",
            plain().reads(Wire, ALWAYS, |_, _| 7250.0),
            NotProven(&["wire-feed-low"]),
        ),
        case(
            "gas meter frozen for 15 s",
            plain().reads(Gas, in_band(1, 15.0, 30.0), |_, _| GAS_LPM + 0.01),
            NotProven(&["gas-low"]),
        ),
        case(
            "wire meter frozen for 10 s",
            plain().reads(Wire, in_band(1, 20.0, 30.0), |_, _| 7251.0),
            NotProven(&["wire-feed-low"]),
        ),
        case(
            "a hand over the pyrometer at the strike of a hot band",
            plain().plus(Work, 250.0, in_band(1, 10.0, BAND_S + 15.0)),
            NotProven(&["interpass-high"]),
        ),
        case(
            "a pyrometer that shows the flame, and cold work after the strike",
            plain().plus(Work, -170.0, in_band(0, 3.0, BAND_S)),
            NotProven(&["preheat-low"]),
        ),
        case(
            "carriage comes to its place 3 s after the strike",
            plain().plus(Carriage, 12.0, in_band(1, -2.0, 3.0)),
            Broken(&["step-over-high", "weave-centre-drift"]),
        ),
        case(
            "too little gas before the strike",
            plain().reads(Gas, in_band(1, -PREFLOW_S, -0.2), |_, _| 9.0),
            Broken(&["gas-preflow"]),
        ),
        case(
            "too little gas after the arc",
            plain().reads(Gas, in_band(1, BAND_S + 0.2, BAND_S + POSTFLOW_S), |_, _| 9.0),
            Broken(&["gas-postflow"]),
        ),
        case(
            "single spikes of 2000 A",
            plain().with(|now_s, sample| Some(spiked(now_s, sample))),
            NotProven(&["signal-implausible"]),
        ),
    ]
}

/// Sound joints with the habits of everyday welding.
fn sound() -> Vec<Case> {
    let strike = PlainJoint::strike_s;
    let both = |joint: Spoilt, change: fn(Spoilt, u32) -> Spoilt| (0..2).fold(joint, change);
    let restrikes = both(plain(), |joint, band| {
        let out = [(0.14, 0.18), (0.4, 0.48), (0.8, 0.86)];
        out.into_iter().fold(joint, |joint, (from_s, to_s)| joint.dark(in_band(band, from_s, to_s)))
    });
    let crater = both(plain(), |joint, band| {
        let window = || in_band(band, 60.2, BAND_S);
        joint.reads(Current, window(), |since_s, amps| amps * (1.0 - 0.35 * since_s)).reads(
            Voltage,
            window(),
            |since_s, volts| volts - 4.0 * since_s,
        )
    });
    let surge = both(plain(), |joint, band| {
        joint.reads(Gas, in_band(band, -PREFLOW_S, BAND_S), |since_s, lpm| {
            lpm * (1.0 + 0.8 * (-since_s / 2.5).exp())
        })
    });
    let slow_meter = both(plain(), |joint, band| {
        joint
            .reads(Gas, in_band(band, -PREFLOW_S, BAND_S + POSTFLOW_S), |since_s, lpm| {
                lpm * (1.0 - (-since_s / 1.5).exp())
            })
            .reads(Gas, in_band(band, BAND_S + POSTFLOW_S, BAND_S + 14.0), |since_s, _| {
                GAS_LPM * (-since_s / 1.5).exp()
            })
    });
    vec![
        case("plain", plain(), Proven),
        case(
            "a coolant meter that shows tenths and stands",
            plain().reads(Coolant, ALWAYS, |_, _| 6.0),
            Proven,
        ),
        case(
            "tacks before and between bands",
            plain().tack(3.0..4.2).tack(strike(1) - 10.0..strike(1) - 9.2),
            Proven,
        ),
        case(
            "failed starts while the pipe turns",
            plain().tack(strike(0) - 3.1..strike(0) - 2.5).tack(strike(1) - 3.5..strike(1) - 2.0),
            Proven,
        ),
        case("three restrikes of 40 to 80 ms", restrikes, Proven),
        case(
            "angle in whole degrees",
            plain().reads(Spindle, ALWAYS, |_, angle_deg| angle_deg.floor()),
            Proven,
        ),
        case("gas in whole litres", plain().reads(Gas, ALWAYS, |_, lpm| lpm.round()), Proven),
        case("crater fill", crater, Proven),
        case("surge of the regulator", surge, Proven),
        case("slow gas meter", slow_meter, Proven),
        case(
            "pipe starts 1 s late",
            both(to_deg(376.0), |joint, band| joint.turning(0.0, in_band(band, 0.0, 1.0))),
            Proven,
        ),
        case(
            "pipe stops 0.5 s early",
            both(plain(), |joint, band| joint.turning(0.0, in_band(band, BAND_S - 0.5, BAND_S + 0.5))),
            Proven,
        ),
        case(
            "turned back between bands",
            plain().turning(-4.0, in_band(0, BAND_S + 10.0, BAND_S + 14.0)),
            Proven,
        ),
        case("flame over the pyrometer", plain().plus(Work, 400.0, in_band(1, -6.0, 1.0)), Proven),
        case(
            "correction by hand",
            plain().times(Current, 1.03, in_band(1, 30.0, 99.0)).plus(Voltage, 0.5, in_band(1, 30.0, 99.0)),
            Proven,
        ),
        case(
            "encoder set to zero at the strike",
            plain().reads(Spindle, strike(1)..1e3, |since_s, _| 6.0 * since_s.min(BAND_S + 0.5)),
            Proven,
        ),
        case("outside the recommended range only", plain().plus(Voltage, 1.2, middle()), Proven),
    ]
}

impl Case {
    /// What is wrong with what was said, if anything is.
    fn judge(&self, said: &Said) -> Result<(), String> {
        let of = |list: &[&str]| list.iter().map(|&name| name.to_owned()).collect::<BTreeSet<_>>();
        let (broken, open, loud) = (said.broken(), said.open(), said.loud());
        let (exit, outcome, is_right) = match self.expected {
            Broken(rules) => (1, "broken", broken == of(rules) && open.is_empty()),
            BrokenOff(rules, named) => (1, "broken", broken == of(rules) && of(named).is_subset(&open)),
            NotProven(named) => (3, "not proven", broken.is_empty() && of(named).is_subset(&open)),
            Proven => (0, "proven", broken.is_empty() && open.is_empty() && loud.is_empty()),
        };
        if said.exit == Some(exit) && said.outcome() == outcome && is_right {
            return Ok(());
        }
        Err(format!(
            "{}: wanted exit {exit}, {outcome}; is {:?}, {}, broken {broken:?}, open {open:?}, alarms {loud:?}",
            self.name,
            said.exit,
            said.outcome()
        ))
    }
}

/// Replays the rows, prints them, and returns the name of each and what was wrong with it, if anything was.
fn judged(cases: Vec<Case>) -> Vec<(&'static str, Result<(), String>)> {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("joint.csv");
    let procedure = procedure("procedures/plain-joint.toml");
    let mut table = String::from(
        "| joint | exit | outcome | broken | not proven, or not complete |\n|---|--:|---|---|---|\n",
    );
    let results = cases.into_iter().map(|case| {
        write(case.joint.samples().map(|sample| Row::of_sample(&sample)), &path);
        let said = Said::of(&path, &procedure);
        let listed = |names: BTreeSet<String>| match names.len() {
            0..=4 => names.into_iter().collect::<Vec<_>>().join(", "),
            many => format!("{many} limits or reasons"),
        };
        let (exit, outcome) = (said.exit.unwrap_or(-1), said.outcome());
        let row = format!(
            "{} | {exit} | {outcome} | {} | {}",
            case.name,
            listed(said.broken()),
            listed(said.open())
        );
        let _ = writeln!(table, "| {row} |");
        (case.name, case.judge(&said))
    });
    let results = results.collect();
    println!("{table}");
    results
}

fn all_right(cases: Vec<Case>) {
    let wrong: Vec<String> = judged(cases).into_iter().filter_map(|(_, result)| result.err()).collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn each_end_of_each_range_of_arc_and_gas_alone() {
    all_right(arc_and_gas());
}

#[test]
fn each_end_of_each_range_of_weave_turning_and_place_alone() {
    all_right(motion());
}

#[test]
fn each_end_of_each_range_of_metal_heat_and_coolant_alone() {
    all_right(metal_and_heat());
}

#[test]
fn unfinished_and_unseen_joints_are_not_green() {
    all_right(unfinished_and_unseen());
}

#[test]
fn sound_joints_are_proven_and_silent() {
    all_right(sound());
}

#[test]
fn what_attacks_found_is_mended() {
    all_right(found_by_attack());
    all_right(still_or_for_a_moment());
}
