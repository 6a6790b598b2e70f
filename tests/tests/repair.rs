//! The repair list: each bad stretch where the fault was put in, and how far round that is.
//!
//! Angles and lengths are held against the truth of the made trace and against the circumference of a circle.

use bandward::{Channel, Rule, Severity};
use bandward_sim::demo;
use bandward_sim::dossier::Sources;
use bandward_sim::process::fault::{Fault, Kind, Start};
use bandward_sim::process::truth::FaultTruth;
use bandward_sim::process::{Scenario, Targets};
use bandward_sim::repair::Whereabouts;
use bandward_sim::replay::{Replay, Replayer};
use bandward_sim::report;
use bandward_tests::{made, program};
use serde_json::Value;
use std::cell::Cell;
use std::f64::consts::PI;

fn replayed(
    rules: &[(Rule, u64)],
    change: impl Fn(&mut bandward_sim::trace::Row),
) -> (Replay, Vec<FaultTruth>) {
    let file = demo::procedure().expect("the demo is sound");
    let mut scenario = Scenario::good(Targets::of_file(&file), 50.0);
    for &(rule, seed) in rules {
        scenario = scenario.with_default_fault(rule, seed).expect("a fault is made for it");
    }
    let mut replayer = Replayer::new(&file.procedure, &made::header(&scenario));
    let mut rows = scenario.rows();
    for mut row in rows.by_ref() {
        change(&mut row);
        replayer.step(&row);
    }
    let mut replay = replayer.finish();
    replay.attach(&Sources { procedure: Some(&file), ..Sources::default() });
    (replay, rows.truth().faults)
}

#[test]
fn a_good_joint_needs_no_repair() {
    assert!(replayed(&[], |_| {}).0.dossier.repairs.is_empty());
}

/// Alarms come late by their delays, and the last reading a delay ago is the last bad one: some ten degrees at 84 s a
/// turn.
#[test]
fn a_bad_stretch_is_where_the_fault_was_put_in() {
    for (rule, defect) in
        [(Rule::GasLow, "porosity"), (Rule::CurrentLow, "cold lap"), (Rule::VoltageHigh, "heat")]
    {
        let (replay, truth) = replayed(&[(rule, 3)], |_| {});
        let fault = truth.first().expect("it was put in");
        let repairs = &replay.dossier.repairs;
        let found = repairs.iter().find(|repair| repair.rules.contains(&rule));
        let found = found.unwrap_or_else(|| panic!("{}: {repairs:?}", rule.name()));
        assert_eq!((found.joint, found.band), (1, fault.band), "{}", rule.name());
        assert!(found.actions.iter().any(|action| action.defect.contains(defect)), "{found:?}");
        let Whereabouts::Stretch { from_deg, to_deg, along_mm } = found.whereabouts else {
            panic!("{}: {found:?}", rule.name())
        };
        let [low, high] = [fault.from_deg, fault.to_deg].map(|angle| angle.expect("within the arc"));
        assert!((low - 5.0..high).contains(&from_deg), "{}: {from_deg} of {low} to {high}", rule.name());
        let length = (to_deg - from_deg).rem_euclid(360.0);
        assert!(length > 0.3 * (high - low) && length < high - low + 30.0, "{}: {length}", rule.name());
        // Along the top of the band: the circle of 88.9 mm and a band's height on both sides.
        let band = &replay.bands[usize::from(found.band) - 1];
        let height_mm = f64::from(band.band_height.expect("worked out").to_bits()) / 4096.0;
        let (from_mm, to_mm) = along_mm.expect("the diameter is given");
        for (deg, mm) in [(from_deg, from_mm), (to_deg, to_mm)] {
            assert!((mm - PI * (88.9 + 2.0 * height_mm) * deg / 360.0).abs() < 0.1, "{deg}: {mm}");
        }
    }
}

/// The arc is out for so long, and the pipe turns on by 360 degrees in 84 s: what is bare is told from end to end.
#[test]
fn what_is_bare_where_the_arc_was_out_is_told_from_end_to_end() {
    for out_s in [0.7, 1.5, 2.2] {
        let (first_lit_s, bare) = (Cell::new(None), Cell::new(0_u32));
        let (replay, _) = replayed(&[], |row| {
            let s = row.time_us as f64 / 1e6;
            if first_lit_s.get().is_none() && row.get(Channel::Current).is_some_and(|amps| amps > 100.0) {
                first_lit_s.set(Some(s));
            }
            let Some(struck_s) = first_lit_s.get() else { return };
            if (struck_s + 40.0..struck_s + 40.0 + out_s).contains(&s) {
                row.values[Channel::Current as usize] = Some(0.0);
                row.values[Channel::Voltage as usize] = Some(62.0);
                bare.set(bare.get() + 1);
            }
        });
        assert!(bare.get() > 30);
        let repairs = &replay.dossier.repairs;
        let found = repairs.iter().find(|repair| repair.rules.contains(&Rule::ArcOutage));
        let Some(&Whereabouts::Stretch { from_deg, to_deg, .. }) = found.map(|found| &found.whereabouts)
        else {
            panic!("{out_s}: {repairs:?}")
        };
        let [from, to] = [40.0, 40.0 + out_s].map(|s: f64| 360.0 * s / 84.0);
        assert!((from_deg - from).abs() < 2.0, "{out_s}: from {from_deg}, and not {from}");
        assert!((to_deg - to).abs() < 2.0, "{out_s}: to {to_deg}, and not {to}");
        assert!(to_deg - from_deg > 0.8 * (to - from), "{out_s}: {from_deg} to {to_deg}");
    }
}

/// What begins with the band, or within the seconds after it in which nothing is judged yet, is listed from where it began
/// on: an alarm that is raised later knows since when (`onset_us`). The pipe turns by 360 degrees in 84 s.
#[test]
fn what_is_wrong_from_the_strike_is_repaired_from_the_tie_in() {
    let start_us = replayed(&[], |_| {}).0.bands[1].start_us;
    let deg_s = 360.0 / 84.0;
    let place = |rule: Rule, change: &dyn Fn(&mut bandward_sim::trace::Row, f64)| {
        let (replay, _) = replayed(&[], |row| change(row, (row.time_us as f64 - start_us as f64) / 1e6));
        let repairs = &replay.dossier.repairs;
        let found = repairs.iter().find(|repair| repair.band == 2 && repair.rules.contains(&rule));
        match found.map(|found| found.whereabouts) {
            Some(Whereabouts::Stretch { from_deg, to_deg, .. }) => (from_deg, to_deg),
            _ => panic!("{}: {repairs:?}", rule.name()),
        }
    };
    let leaks = |from_s: f64, to_s: f64| {
        place(Rule::GasLow, &|row, since_s| {
            if (from_s..to_s).contains(&since_s) {
                row.values[Channel::Gas as usize] = Some(9.0);
            }
        })
    };
    for (from_s, to_s) in [(0.0, 2.0), (0.0, 5.0), (1.0, 4.0), (2.0, 7.0)] {
        let (from_deg, to_deg) = leaks(from_s, to_s);
        assert!((from_deg - from_s * deg_s).abs() < 1.5, "{from_s} s: {from_deg} deg");
        assert!(to_deg > to_s * deg_s, "{to_s} s: {to_deg} deg");
    }
    let none = place(Rule::GasPreflow, &|row, since_s| {
        if (-5.0..3.0).contains(&since_s) {
            row.values[Channel::Gas as usize] = Some(0.0);
        }
    });
    assert!(none.0 == 0.0 && (3.0 * deg_s..5.0 * deg_s).contains(&none.1), "{none:?}");
    let stood = place(Rule::SpindleStall, &|row, since_s| {
        let stood_s = (since_s - 2.5).clamp(0.0, 2.5);
        if let Some(angle) = &mut row.values[Channel::Spindle as usize] {
            *angle = (*angle - stood_s * deg_s).rem_euclid(360.0);
        }
    });
    // It is short of its overlap for that too, over the tie-in.
    assert!(
        (stood.0 <= 2.5 * deg_s || stood.0 > 350.0) && (2.5 * deg_s..40.0).contains(&stood.1),
        "{stood:?}"
    );
}

/// The wire slips more and more for 25 s of a turn of 84 s: the band is low there, and not all round.
#[test]
fn a_low_band_is_repaired_where_it_is_low() {
    let file = demo::procedure().expect("the demo is sound");
    let scenario = Scenario::good(Targets::of_file(&file), 50.0);
    let fault = Fault {
        kind: Kind::WireSlipping,
        joint: 1,
        band: 2,
        start: Start::Degrees(100.0),
        duration_s: 25.0,
        size: 200.0,
        channel: None,
    };
    let (mut replay, truth) = made::replay(&scenario.with_fault(fault), &file.procedure);
    replay.attach(&Sources { procedure: Some(&file), ..Sources::default() });
    let repairs = &replay.dossier.repairs;
    let low: Vec<_> = repairs.iter().filter(|repair| repair.rules.contains(&Rule::BandHeightLow)).collect();
    let [repair] = &low[..] else { panic!("{repairs:?}") };
    let Whereabouts::Stretch { from_deg, to_deg, .. } = repair.whereabouts else { panic!("{repair:?}") };
    let [from, to] = [truth[0].from_deg, truth[0].to_deg].map(|angle| angle.expect("within the arc"));
    assert!(from_deg > from - 5.0 && to_deg < to + 30.0, "{from_deg} to {to_deg}, put in at {from} to {to}");
}

#[test]
fn low_amps_are_gouged_rewelded_and_tested() {
    let (replay, _) = replayed(&[(Rule::CurrentLow, 3)], |_| {});
    let text = report::text::replay(&replay, None, bandward_sim::input::quantity::UnitSystem::Inch);
    let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
    for words in [
        "The shop's own qualified repair procedure comes first",
        "cold lap: low amps do not melt the joint: gouge out to sound metal, preheat, reweld, test by penetrant",
        " in along the band)",
    ] {
        assert!(flat.contains(words), "{words}: {flat}");
    }
}

#[test]
fn without_a_spindle_the_place_is_a_time() {
    let (replay, truth) = replayed(&[(Rule::GasLow, 3)], |row| row.values[Channel::Spindle as usize] = None);
    let fault = truth.first().expect("it was put in");
    let found = replay.dossier.repairs.iter().find(|repair| repair.rules.contains(&Rule::GasLow));
    let Some(Whereabouts::Unknown { from_us, to_us }) = found.map(|found| found.whereabouts) else {
        panic!("{found:?}")
    };
    let (from_s, to_s) = (from_us as f64 / 1e6, to_us as f64 / 1e6);
    assert!((fault.start_s - 1.0..fault.end_s).contains(&from_s), "{from_s}");
    assert!(to_s > from_s && to_s < fault.end_s + 8.0, "{to_s}");
}

/// Each alarm about the weld that warned or stopped is in the list once, and nothing else is.
#[test]
fn no_alarm_is_left_out() {
    let rules = [(Rule::GasLow, 3), (Rule::SpindleSlip, 5), (Rule::ArcOutage, 2), (Rule::StepOverHigh, 4)];
    let (replay, _) = replayed(&rules, |_| {});
    let loud = replay.alarms.iter().filter(|alarm| alarm.severity >= Severity::Warn);
    let mut wanted: Vec<_> = loud
        .filter(|alarm| bandward_sim::repair::table::action(alarm.rule).is_some())
        .map(|alarm| (alarm.band, alarm.rule))
        .collect();
    let listed = |repair: &bandward_sim::repair::Repair| {
        repair.rules.iter().map(|rule| (repair.band, *rule)).collect::<Vec<_>>()
    };
    let mut found: Vec<_> = replay.dossier.repairs.iter().flat_map(listed).collect();
    for list in [&mut wanted, &mut found] {
        list.sort_unstable_by_key(|(band, rule)| (*band, rule.name()));
        list.dedup();
    }
    assert!(wanted.len() >= 4, "{wanted:?}");
    assert_eq!(found, wanted);
    let step = replay.dossier.repairs.iter().find(|repair| repair.rules.contains(&Rule::StepOverHigh));
    let step = step.expect("listed");
    // The demo's bands are counted from the shoulder.
    assert_eq!(step.side, Some(bandward_sim::repair::BandSide::Shoulder));
    assert_eq!(step.whereabouts, Whereabouts::AllRound);
}

#[test]
fn the_demo_has_its_list_as_text_json_and_on_the_page() {
    let folder = tempfile::tempdir().expect("a folder");
    let output = program::run_in(folder.path(), &["replay", "--json", "--report", "page.html"]);
    let told: Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let repairs = told["repairs"].as_array().expect("a list");
    assert!(!repairs.is_empty());
    for repair in repairs {
        // All of the demo's faults are on its second band.
        assert_eq!((&repair["band"], &repair["extent"]), (&2.into(), &"stretch".into()), "{repair}");
        assert!(repair["to_deg"].as_f64() > repair["from_deg"].as_f64(), "{repair}");
        assert!(repair["actions"][0]["do"].as_str().is_some_and(|what| what.len() > 10), "{repair}");
    }
    let page = std::fs::read_to_string(folder.path().join("page.html")).expect("the page");
    assert_eq!(page.matches("<h2 id=\"repairs-title\">Repair list</h2>").count(), 1);
    let rows = page.split("id=\"repairs\"").nth(1).and_then(|rest| rest.split("</section>").next());
    let rows = rows.expect("the section").matches("<th scope=\"row\">band 2</th>").count();
    assert_eq!(rows, repairs.len());
}
