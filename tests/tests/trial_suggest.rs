//! Proposals where the right answer follows from how the traces were made.
//!
//! Gas flow is judged as the mean over a second (README). A flow of 17.5 L/min that breaks off for
//! `d` seconds, with 15 L/min allowed, is under its range once 1 - 15 / 17.5 = 1/7 of that second is
//! without gas: from 1/7 s after the break until 6/7 s after its end, which makes d + 5/7 s. The mean is
//! made of parts of 0.2 s, so that each end may lie that far off.

use bandward::sample::ChannelSet;
use bandward::{Acquisition, Channel, Severity};
use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_sim::trace::{Row, TraceHeader};
use bandward_sim::trial::Sums;
use bandward_sim::trial::cost::Costs;
use bandward_sim::trial::marks::Marks;
use bandward_sim::trial::pass::Pass;
use bandward_sim::trial::plan::Plan;
use bandward_sim::trial::suggest::{LEAST_FAULTS, Suggestion, add_usual_settings, suggest as suggest_from};
use bandward_sim::trial::sweep::Sweep;
use bandward_sim::trial::tunable::Tunable;
use bandward_sim::trial::wish::{BUDGET_PER_HOUR, Wish};

const LENGTH_S: f64 = 600.0;

fn procedure(alarm: &str) -> ProcedureFile {
    let text = format!("[gas_flow]\nallowed = [\"15 L/min\", \"25 L/min\"]\n[alarm.gas-low]\n{alarm}\n");
    ProcedureFile::parse("made.toml", &text).expect("it is sound")
}

/// Ten minutes of arc with the flow that `gas` tells for each second, and faults of the gas as marked.
fn run(plan: &Plan, gas: impl Fn(f64) -> f64, faults_s: &[(f64, f64)]) -> Sums {
    let header = TraceHeader {
        path: String::new(),
        acquisition: Acquisition {
            gap_tolerance_us: 250_000,
            ..Acquisition::every(20_000, ChannelSet::EMPTY.with(Channel::Current).with(Channel::Gas))
        },
        evenly_spaced: true,
        unknown_columns: Vec::new(),
        start: None,
    };
    let faults: Vec<_> = faults_s
        .iter()
        .map(|(start_s, end_s)| serde_json::json!({ "rule": "gas-low", "start_s": start_s, "end_s": end_s }))
        .collect();
    let marks =
        Marks::parse("made", &serde_json::json!({ "faults": faults }).to_string(), 5.0, 180.0).unwrap();
    let mut pass = Pass::new(plan, &header, &marks, Severity::Warn);
    for index in 0..(LENGTH_S * 50.0) as u64 {
        let time_s = index as f64 / 50.0;
        let is_fault = faults_s.iter().any(|(start_s, end_s)| (*start_s..*end_s).contains(&time_s));
        let flow = if is_fault { 10.0 } else { gas(time_s) };
        pass.step(&Row::at(index * 20_000).with(Channel::Current, 320.0).with(Channel::Gas, flow));
    }
    let mut sums = Sums::of(plan);
    sums.take(&pass.finish());
    sums
}

fn steady(_: f64) -> f64 {
    17.5
}

/// Without gas for 0.54 s every 20 s, from `phase_s` on: outside for 1.25 s, give or take 0.2 s.
fn breaks(phase_s: f64) -> impl Fn(f64) -> f64 {
    move |time_s| if (time_s + 20.0 - phase_s) % 20.0 < 0.54 { 0.0 } else { 17.5 }
}

const FAULTS_S: [(f64, f64); 6] =
    [(112.0, 124.0), (192.0, 204.0), (272.0, 284.0), (352.0, 364.0), (432.0, 444.0), (512.0, 524.0)];

fn usual(alarm: &str) -> Plan {
    let mut plan = Plan::of(&procedure(alarm).procedure);
    add_usual_settings(&mut plan).unwrap();
    plan
}

fn wish(delay_allowance_s: f64) -> Wish {
    Wish { budget_per_hour: BUDGET_PER_HOUR, delay_allowance_s, costs: Costs::USUAL, loosen: Vec::new() }
}

fn suggest(plan: &Plan, sums: &Sums, wish: &Wish) -> Suggestion {
    suggest_from(plan, sums, wish, LEAST_FAULTS)
}

fn on_delay() -> Tunable {
    Tunable::parse("gas-low.on_delay").unwrap()
}

/// The one value that is to be changed.
fn only_value(suggestion: &Suggestion) -> (String, f64) {
    let values = suggestion.values();
    assert_eq!(values.len(), 1, "{suggestion:#?}");
    (values[0].0.to_string(), values[0].1)
}

#[test]
fn an_on_delay_outlasts_what_good_welding_shows_and_never_beyond_the_allowance() {
    let plan = usual("");
    let sums = run(&plan, breaks(3.0), &FAULTS_S);
    // One in 20 s; ten minutes less six faults of 12 s with 5 s of grace.
    assert!(sums.as_it_is(on_delay().rule).false_alarms > 22, "the present 0.5 s cries wolf");
    // Of the delays that are tried 1.5 s is the shortest that is no false alarm; later ones only cost. It
    // is 1 s later than now: an allowance below that leaves everything as it is.
    for (allowance_s, expected_s) in [(0.0, None), (0.9, None), (1.1, Some(1.5)), (60.0, Some(1.5))] {
        let suggestion = suggest(&plan, &sums, &wish(allowance_s));
        let values: Vec<_> = expected_s.map(|value| (on_delay(), value)).into_iter().collect();
        assert_eq!(suggestion.values(), values, "{allowance_s} s: {suggestion:#?}");
    }
    let suggestion = suggest(&plan, &sums, &wish(60.0));
    let [thin] = suggestion.choices[0].thin[..] else { panic!("1.5 s is not twice 1.25 s: {suggestion:#?}") };
    assert!((thin.longest_s - 1.25).abs() < 0.2, "{thin:?}");
    // A trace it was not fitted on.
    let mut plan = Plan::of(&plan.variants[0]);
    plan.add(&suggestion.values()).unwrap();
    let held = run(&plan, breaks(7.0), &[(153.0, 160.0), (400.0, 407.0)]);
    let score = held.at(&plan, &plan.points[0], on_delay().rule);
    assert_eq!((score.hits(), score.missed(), score.false_alarms), (2, 0, 0));
}

/// Later alarms are paid for by the false ones they save: where a second costs as much as ten of them,
/// nothing is changed.
#[test]
fn what_is_chosen_goes_by_what_things_cost() {
    let plan = usual("");
    let sums = run(&plan, breaks(3.0), &FAULTS_S);
    let dear = Wish { costs: Costs { second: 10.0, ..Costs::USUAL }, ..wish(60.0) };
    assert_eq!(suggest(&plan, &sums, &dear).values(), []);
    let free = Wish { costs: Costs { false_alarm: 0.0, ..Costs::USUAL }, ..wish(60.0) };
    assert_eq!(suggest(&plan, &sums, &free).values(), []);
}

#[test]
fn where_nothing_is_wrong_nothing_is_changed() {
    let plan = usual("");
    let sums = run(&plan, steady, &FAULTS_S);
    assert_eq!(suggest(&plan, &sums, &wish(60.0)).values(), []);
}

/// Whatever is to be saved.
#[test]
fn without_faults_of_a_rule_or_with_few_nothing_is_proposed_about_it() {
    let plan = usual("");
    for faults_s in [&[][..], &FAULTS_S[..1], &FAULTS_S[..2]] {
        let sums = run(&plan, breaks(3.0), faults_s);
        let suggestion = suggest(&plan, &sums, &wish(60.0));
        assert_eq!(suggestion.values(), [], "{faults_s:?}");
        let own = suggestion.too_few.iter().find(|few| few.rule == on_delay().rule).expect("it says so");
        assert_eq!(own.faults, faults_s.len() as u64);
        assert!(own.false_alarms > 22, "{own:?}");
    }
    // Of every other rule there is no fault either.
    let sums = run(&plan, breaks(3.0), &FAULTS_S);
    let suggestion = suggest(&plan, &sums, &wish(60.0));
    assert!(suggestion.too_few.len() > 30 && suggestion.too_few.iter().all(|few| few.faults == 0));
}

#[test]
fn an_on_delay_far_longer_than_good_welding_asks_for_is_cut_to_the_usual_one() {
    let plan = usual("on_delay = \"5 s\"");
    let sums = run(&plan, steady, &FAULTS_S);
    let suggestion = suggest(&plan, &sums, &wish(1.0));
    assert_eq!(only_value(&suggestion), ("gas-low.on_delay".to_owned(), 0.5));
    // Nothing was ever found or missed: no reason to be less guarded.
    let sums = run(&plan, steady, &[]);
    assert_eq!(suggest(&plan, &sums, &wish(1.0)).values(), []);
}

#[test]
fn an_on_delay_that_misses_short_faults_is_cut() {
    let plan = usual("on_delay = \"3 s\"");
    let sums = run(&plan, steady, &[(112.0, 113.2), (311.0, 323.0), (411.0, 423.0)]);
    let suggestion = suggest(&plan, &sums, &wish(1.0));
    assert_eq!(only_value(&suggestion), ("gas-low.on_delay".to_owned(), 0.5));
    let choice = &suggestion.choices[0];
    let score = sums.at(&plan, &plan.points[choice.point], on_delay().rule);
    assert_eq!((sums.as_it_is(on_delay().rule).hits(), score.hits()), (2, 3));
}

/// A stop waits for nothing: the delay of `gas-low` is that of its floor too.
#[test]
fn the_delay_of_a_rule_with_a_floor_is_never_lengthened_unless_named() {
    let text = "[gas_flow]\nallowed = [\"15 L/min\", \"25 L/min\"]\nfloor = \"8 L/min\"\n";
    let mut plan = Plan::of(&ProcedureFile::parse("made.toml", text).expect("it is sound").procedure);
    add_usual_settings(&mut plan).unwrap();
    let sums = run(&plan, breaks(3.0), &FAULTS_S);
    assert_eq!(suggest(&plan, &sums, &wish(60.0)).values(), []);
    let named = Wish { loosen: vec![on_delay()], ..wish(60.0) };
    assert_eq!(only_value(&suggest(&plan, &sums, &named)), ("gas-low.on_delay".to_owned(), 1.5));
}

/// A sweep is chosen from in the same way: the shortest that good welding does not outlast.
#[test]
fn a_sweep_is_chosen_from_in_the_same_way() {
    let sweep = |text| Sweep::parse(text).unwrap();
    let file = procedure("");
    let plan = Plan::of_sweeps(&file.procedure, &[sweep("gas-low.on_delay=0:4:0.25")]).unwrap();
    let quiet = run(&plan, steady, &FAULTS_S);
    assert_eq!(suggest(&plan, &quiet, &wish(1.0)).values(), []);
    let sums = run(&plan, breaks(3.0), &FAULTS_S);
    let (_, value) = only_value(&suggest(&plan, &sums, &wish(60.0))).clone();
    // The shortest of the grid that is longer than 1.25 s, which is 0.2 s off at most.
    assert!((1.25..=1.5).contains(&value), "{value}");
}
