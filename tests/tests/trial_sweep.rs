//! Settings run over what the rules found give what running every sample through the monitor gives.

use bandward::Quantity;
use bandward::{Procedure, Rule, Severity};
use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_sim::process::scenario::Scenario;
use bandward_sim::process::targets::Targets;
use bandward_sim::process::{Kind, Truth};
use bandward_sim::trace::{Row, TraceHeader};
use bandward_sim::trial::Sums;
use bandward_sim::trial::marks::Marks;
use bandward_sim::trial::pass::{Pass, TraceScore};
use bandward_sim::trial::plan::Plan;
use bandward_sim::trial::score::RuleScore;
use bandward_sim::trial::tally::Fault;
use bandward_sim::trial::tunable::{Tunable, with_values};
use bandward_tests::made::header;
use proptest::prelude::*;
use std::path::Path;
use std::sync::LazyLock;

struct Made {
    header: TraceHeader,
    marks: Marks,
    rows: Vec<Row>,
}

static PROCEDURE: LazyLock<ProcedureFile> = LazyLock::new(|| {
    ProcedureFile::read(&Path::new(env!("CARGO_MANIFEST_DIR")).join("data/procedures/quick-joint.toml"))
        .expect("the procedure is sound")
});

/// Joints with a fault of every kind between them, six in a joint, many beside each other.
static TRACES: LazyLock<Vec<Made>> = LazyLock::new(|| {
    let together = Kind::ALL.chunks(6).enumerate().map(|(seed, kinds)| (kinds.to_vec(), seed as u64, 50.0));
    let fast = [
        (vec![Kind::VoltageSetLow, Kind::SourceSagging, Kind::Wind], 92, 100.0),
        (vec![Kind::ContactTipWear, Kind::WireSlipping], 93, 20.0),
        (Vec::new(), 94, 10.0),
    ];
    together.chain(fast).map(|(kinds, seed, rate_hz)| made(&kinds, seed, rate_hz)).collect()
});

fn made(kinds: &[Kind], seed: u64, rate_hz: f64) -> Made {
    let mut scenario = Scenario::good(Targets::of_file(&PROCEDURE), rate_hz).with_seed(seed);
    for (index, &kind) in kinds.iter().enumerate() {
        let fault = scenario.default_fault(kind, seed * 10 + index as u64);
        scenario.faults.push(fault);
    }
    let header = header(&scenario);
    let (rows, truth) = scenario.make();
    Made { header, marks: marks(&truth), rows }
}

fn marks(truth: &Truth) -> Marks {
    Marks::parse("made", &serde_json::to_string(truth).unwrap(), 5.0, 180.0).unwrap()
}

fn each_trace(plan: &Plan) -> impl Iterator<Item = TraceScore> {
    TRACES.iter().map(|trace| {
        let mut pass = Pass::new(plan, &trace.header, &trace.marks, Severity::Advise);
        for row in &trace.rows {
            pass.step(row);
        }
        pass.finish()
    })
}

fn run(plan: &Plan) -> Sums {
    let mut sums = Sums::of(plan);
    each_trace(plan).for_each(|score| sums.take(&score));
    sums
}

/// The faults of each trace, and which of them must be stopped: that goes by the procedure as it is, whatever
/// setting is tried.
static FAULTS: LazyLock<Vec<Vec<Fault>>> =
    LazyLock::new(|| each_trace(&Plan::of(&PROCEDURE.procedure)).map(|score| score.faults).collect());

/// Each sample through the monitor.
fn from_scratch(procedure: &Procedure) -> Vec<RuleScore> {
    let plan = Plan::of(procedure);
    let mut sums = Sums::of(&plan);
    for (score, faults) in each_trace(&plan).zip(FAULTS.iter()) {
        sums.take(&TraceScore { faults: faults.clone(), ..score });
    }
    Rule::ALL.into_iter().map(|rule| sums.as_it_is(rule)).collect()
}

fn check(settings: &[Vec<(Tunable, f64)>]) -> Result<(), String> {
    let procedure = &PROCEDURE.procedure;
    let mut plan = Plan::of(procedure);
    for setting in settings {
        plan.add(setting).map_err(|error| error.to_string())?;
    }
    let sums = run(&plan);
    for (point, setting) in plan.points.iter().zip(settings) {
        let changed = with_values(procedure, setting).map_err(|error| error.to_string())?;
        let expected = from_scratch(&changed);
        for rule in Rule::ALL {
            let swept = sums.at(&plan, point, rule);
            if swept != expected[rule as usize] {
                let told = setting.iter().map(|(tunable, value)| format!("{tunable} = {value}"));
                return Err(format!(
                    "{}: {} comes to {swept:?}, from scratch to {:?}",
                    told.collect::<Vec<_>>().join(", "),
                    rule.name(),
                    expected[rule as usize]
                ));
            }
        }
    }
    Ok(())
}

/// Every tunable of every rule that the procedure gives.
fn tunables() -> Vec<(Tunable, f64)> {
    let keys = ["allowed", "recommended", "floor", "deadband", "on_delay", "off_delay"];
    let names = Rule::ALL.into_iter().flat_map(|rule| keys.map(|key| format!("{}.{key}", rule.name())));
    let tunables = names.filter_map(|name| Tunable::parse(&name).ok());
    // A width, a turn time and a height that are not known well are judged by bounds: whether they are judged
    // depends on the range itself, which a sweep over what was found cannot follow.
    let by_bounds = |tunable: &Tunable| {
        let watched = tunable.rule.watches().map(|(quantity, _)| quantity);
        let of = [Quantity::WeaveWidth, Quantity::TurnTime, Quantity::BandHeight];
        watched.is_some_and(|quantity| of.contains(&quantity)) && !tunable.to_string().ends_with("delay")
    };
    let tunables = tunables.filter(|tunable| !by_bounds(tunable));
    tunables.filter_map(|tunable| Some((tunable, tunable.value(&PROCEDURE.procedure)?))).collect()
}

/// Other values of a tunable, some inside and some outside of what the traces reach.
fn others((tunable, value): (Tunable, f64)) -> Vec<f64> {
    let name = tunable.to_string();
    if name.ends_with("delay") {
        return vec![if value > 0.1 { 0.0 } else { 0.3 }, value + 1.7];
    }
    if name.ends_with("deadband") {
        return vec![4.0 * value + 0.01];
    }
    let fits = |other: &f64| with_values(&PROCEDURE.procedure, &[(tunable, *other)]).is_ok();
    [0.95, 1.02].map(|share| share * value).into_iter().filter(fits).collect()
}

fn check_rules(rules: &[Rule]) {
    let chosen = tunables().into_iter().filter(|(tunable, _)| rules.contains(&tunable.rule));
    let settings: Vec<_> = chosen
        .flat_map(|tunable| others(tunable).into_iter().map(move |value| vec![(tunable.0, value)]))
        .collect();
    assert!(!settings.is_empty());
    check(&settings).unwrap();
}

#[test]
fn every_knob_of_every_rule_of_the_weld() {
    let rules: Vec<_> = Rule::ALL.into_iter().filter(|rule| !rule.is_about_a_channel()).collect();
    check_rules(&rules);
}

#[test]
fn the_delays_of_the_rules_about_channels() {
    check_rules(&[Rule::SignalStuck, Rule::SignalRailed, Rule::SignalMissing]);
}

/// A trial that finds nothing, or a sweep that changes nothing, would pass the tests above.
#[test]
fn the_traces_and_the_values_tell_settings_apart() {
    let present = from_scratch(&PROCEDURE.procedure);
    let found: u64 = present.iter().map(RuleScore::hits).sum();
    assert!(found >= 25, "{found} found");
    let changed = |text: &str, value| {
        let changed = with_values(&PROCEDURE.procedure, &[(Tunable::parse(text).unwrap(), value)]).unwrap();
        from_scratch(&changed)
    };
    let late = changed("gas-low.on_delay", 2.0);
    let of = |scores: &[RuleScore], rule: Rule| scores[rule as usize].clone();
    assert_ne!(of(&late, Rule::GasLow), of(&present, Rule::GasLow), "a longer delay finds less");
    assert!(of(&late, Rule::GasLow).missed() > of(&present, Rule::GasLow).missed());
    let low = changed("transfer-low-voltage.floor", 26.0);
    assert_ne!(of(&low, Rule::VoltageLow), of(&present, Rule::VoltageLow), "the floor holds the range back");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 8, failure_persistence: None, ..ProptestConfig::default() })]
    /// Several tunables at once, those that reach the samples among them.
    #[test]
    fn any_knobs_together(
        picks in proptest::collection::vec((0.0..1.0_f64, 0.0..1.0_f64), 1..5),
        voltage in (0.0..1.0_f64, 0.0..1.0_f64, 0.0..2.0_f64),
    ) {
        let all = tunables();
        let mut setting: Vec<(Tunable, f64)> = Vec::new();
        for (which, value) in picks {
            let tunable = all[(which * all.len() as f64) as usize];
            let values = others(tunable);
            if let Some(&value) = values.get((value * values.len() as f64) as usize)
                && setting.iter().all(|(known, _)| *known != tunable.0)
            {
                setting.push((tunable.0, value));
            }
        }
        // The pair whose rules depend on each other, always.
        let (floor, deadband, delay_s) = voltage;
        for (name, value) in [
            ("transfer-low-voltage.floor", 27.5 + 1.5 * floor),
            ("transfer-low-voltage.deadband", 2.0 * deadband),
            ("voltage-low.on_delay", delay_s),
        ] {
            let tunable = Tunable::parse(name).unwrap();
            if setting.iter().all(|(known, _)| *known != tunable) {
                setting.push((tunable, value));
            }
        }
        prop_assume!(with_values(&PROCEDURE.procedure, &setting).is_ok());
        if let Err(told) = check(&[setting]) {
            return Err(TestCaseError::fail(told));
        }
    }
}
