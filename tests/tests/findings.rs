//! The cause that was put into a made joint is ranked first, and a good joint has no finding.
//!
//! Scored on seeds and joint sizes that were not looked at while the table of causes was written: seeds
//! 1 to 20 on the 25.4 mm joint (24 s a turn) and the demo joint (84 s a turn) were. A seed also draws
//! the place, the length and the size of its fault.

use bandward::sample::ChannelSet;
use bandward::{Channel, Procedure};
use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_sim::input::quantity::UnitSystem;
use bandward_sim::process::fault::{Course, Stage};
use bandward_sim::process::random::Noise;
use bandward_sim::process::truth::FaultTruth;
use bandward_sim::process::{Kind, Scenario, Targets};
use bandward_sim::replay::Replay;
use bandward_sim::report;
use bandward_tests::made::replay;
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;

/// The quick joint with another diameter, at the same surface speed.
fn joint(outside_diameter_mm: f64) -> ProcedureFile {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/procedures/quick-joint.toml");
    let mut text = std::fs::read_to_string(path).expect("the procedure is there");
    let scale = outside_diameter_mm / 25.4;
    let mut replace = |old: String, new: String| {
        assert!(text.contains(&old), "{old}");
        text = text.replacen(&old, &new, 1);
    };
    replace("\"25.4 mm\"".to_owned(), format!("\"{outside_diameter_mm} mm\""));
    for (low, high) in [(23.4, 24.6), (22.0, 26.0)] {
        let range = |scale: f64| format!("[\"{} s\", \"{} s\"]", low * scale, high * scale);
        replace(range(1.0), range(scale));
    }
    ProcedureFile::parse("scaled quick joint", &text).expect("the procedure is sound")
}

fn good(file: &ProcedureFile, sample_rate_hz: f64, seed: u64) -> Scenario {
    Scenario::good(Targets::of_file(file), sample_rate_hz).with_seed(seed)
}

fn told(replay: &Replay) -> String {
    replay.findings.iter().take(4).fold(String::new(), |mut text, finding| {
        let evidence: Vec<_> = finding.evidence.iter().map(|it| it.sentence(UnitSystem::Metric)).collect();
        let _ = write!(
            text,
            "\n    {:.3} {} band {} {evidence:?}",
            finding.score, finding.cause, finding.place.band
        );
        text
    })
}

/// Which cause was put in, which came first, and how often.
#[derive(Default)]
struct Score {
    first: BTreeMap<(&'static str, &'static str), usize>,
    ranked_first: usize,
    in_first_three: usize,
    all: usize,
    elsewhere: Vec<String>,
}

impl Score {
    /// Adds a joint with the default fault of its seed, changed by `change`.
    fn add(&mut self, kind: Kind, scenario: &Scenario, file: &ProcedureFile, change: fn(&mut Scenario)) {
        let mut scenario = scenario.clone().with_fault(scenario.default_fault(kind, scenario.seed));
        change(&mut scenario);
        let (replay, truth) = replay(&scenario, &file.procedure);
        let name = kind.description().name;
        let rank = replay.findings.iter().position(|finding| finding.cause == name);
        let first = replay.findings.first().map_or("nothing", |finding| finding.cause);
        *self.first.entry((name, first)).or_default() += 1;
        self.all += 1;
        self.ranked_first += usize::from(rank == Some(0));
        self.in_first_three += usize::from(rank.is_some_and(|rank| rank < 3));
        let (seed, joint_mm) = (scenario.seed, scenario.joint.outside_diameter_mm);
        if rank != Some(0) {
            println!("{name}, seed {seed}, {joint_mm} mm: {first}{}", told(&replay));
        }
        if let Some(rank) = rank
            && !is_in_place(&replay, rank, &truth[0], kind)
        {
            self.elsewhere.push(format!(
                "{name}, seed {seed}, {joint_mm} mm: {:?}{}",
                truth[0],
                told(&replay)
            ));
        }
    }
    /// First in 90 %, among the first three in 98 %, and never on another stretch. (99 % before work that is
    /// hot only as the arc is struck was told from a flame.)
    fn is_good_enough(&self) {
        assert!(self.ranked_first * 100 >= self.all * 90, "{}", self.confusion());
        assert!(self.in_first_three * 100 >= self.all * 98, "{}", self.confusion());
        assert!(self.elsewhere.is_empty(), "elsewhere than it was put: {}", self.elsewhere.join("\n"));
    }
    /// The table of what was put in against what came first.
    fn confusion(&self) -> String {
        let mut text = String::from("put in -> ranked first: times\n");
        for ((put_in, first), times) in &self.first {
            let mark = if put_in == first { "" } else { "   <-- not it" };
            let _ = writeln!(text, "{put_in:<24} -> {first:<24} {times}{mark}");
        }
        let _ = writeln!(
            text,
            "{} of {} first, {} in the first three",
            self.ranked_first, self.all, self.in_first_three
        );
        text
    }
}

/// Is the finding in the band of the fault, and on the stretch where it acted?
fn is_in_place(replay: &Replay, rank: usize, truth: &FaultTruth, kind: Kind) -> bool {
    let place = replay.findings[rank].place;
    let on_stretch = match (truth.from_deg, truth.to_deg, place.from_deg, place.to_deg) {
        // Some seconds may pass until a weave or a turning speed is known to be off.
        (Some(from), Some(to), Some(found_from), Some(found_to))
            if kind.description().stage == Stage::Weld =>
        {
            found_from <= to + 10.0 && found_to >= from - 10.0 && found_from >= from - 10.0
        }
        _ => true,
    };
    place.band == truth.band && on_stretch && place.from_us <= place.to_us
}

/// `outside_diameter_mm`, sample rate and seeds of each part of the score. None was used for tuning.
const HELD_OUT: [(f64, f64, std::ops::RangeInclusive<u64>); 3] =
    [(25.4, 50.0, 1001..=1005), (50.8, 50.0, 2001..=2002), (127.0, 20.0, 3001..=3001)];

#[test]
fn the_put_in_cause_is_ranked_first() {
    let mut score = Score::default();
    for (outside_diameter_mm, sample_rate_hz, seeds) in HELD_OUT {
        let file = joint(outside_diameter_mm);
        for seed in seeds {
            let scenario = good(&file, sample_rate_hz, seed);
            for kind in Kind::within_bands() {
                score.add(kind, &scenario, &file, |_| {});
            }
        }
    }
    // Short circuits are only counted at a high rate.
    let file = joint(25.4);
    for seed in 4001..=4002 {
        score.add(Kind::GasMixtureWrong, &good(&file, 2000.0, seed), &file, |_| {});
    }
    println!("{}", score.confusion());
    score.is_good_enough();
}

#[test]
fn what_stays_wrong_to_the_end_of_the_band_is_found_as_well() {
    let mut score = Score::default();
    let file = joint(25.4);
    for seed in 6001..=6002 {
        for kind in Kind::within_bands() {
            score.add(kind, &good(&file, 50.0, seed), &file, |scenario| {
                let fault = &mut scenario.faults[0];
                // A slip, an outage or a hole in the data is over after some seconds.
                if fault.duration_s > 4.5 {
                    fault.duration_s = f64::INFINITY;
                }
            });
        }
    }
    println!("{}", score.confusion());
    score.is_good_enough();
}

/// With the columns every trace has and no other, a slipping wire looks like a rising torch.
#[test]
fn without_a_wire_feed_reading_the_cause_is_among_the_first_three() {
    let mut score = Score::default();
    let file = joint(25.4);
    for seed in 5001..=5004 {
        for kind in [Kind::FeedSetLow, Kind::TorchCreepingUp, Kind::WireSlipping] {
            score.add(kind, &good(&file, 50.0, seed), &file, |scenario| {
                let wired =
                    [Channel::Current, Channel::Voltage, Channel::Gas, Channel::Torch, Channel::Spindle];
                scenario.channels = wired.into_iter().fold(ChannelSet::EMPTY, ChannelSet::with);
            });
        }
    }
    println!("{}", score.confusion());
    assert_eq!(score.in_first_three, score.all, "{}", score.confusion());
}

#[test]
fn a_good_joint_has_no_finding() {
    let parts: [(f64, f64, std::ops::RangeInclusive<u64>); 5] = [
        (25.4, 50.0, 1001..=1030),
        (25.4, 10.0, 1031..=1040),
        (25.4, 200.0, 1041..=1045),
        (50.8, 50.0, 2001..=2010),
        (127.0, 20.0, 3001..=3004),
    ];
    for (outside_diameter_mm, sample_rate_hz, seeds) in parts {
        let file = joint(outside_diameter_mm);
        for seed in seeds {
            let (replay, _) = replay(&good(&file, sample_rate_hz, seed), &file.procedure);
            assert!(replay.findings.is_empty(), "{outside_diameter_mm} mm, seed {seed}{}", told(&replay));
        }
    }
}

/// What a creeping fault is said to have done is what it did: from the joint's setting to its own size.
#[test]
fn evidence_gives_the_figures_that_were_put_in() {
    let file = joint(25.4);
    let creeping = [
        (Kind::TorchCreepingUp, "current fell from ", " A to "),
        (Kind::WireSlipping, "current fell from ", " A to "),
        (Kind::BottleRunningOut, "gas flow fell from ", " L/min to "),
        (Kind::WeaveScrewLoosening, "weave width fell from ", " mm to "),
    ];
    for (kind, fell_from, to) in creeping {
        assert_eq!(kind.description().course, Course::Creeping);
        let scenario = good(&file, 50.0, 1050);
        let fault = scenario.default_fault(kind, 1050);
        let usual = match kind {
            Kind::BottleRunningOut => scenario.joint.gas_lpm,
            Kind::WeaveScrewLoosening => scenario.joint.weave_width_mm,
            _ => scenario.joint.current_a,
        };
        let (replay, truth) = replay(&scenario.with_fault(fault), &file.procedure);
        let finding = &replay.findings[0];
        assert_eq!(finding.cause, kind.description().name);
        let about = finding.evidence.iter().find_map(|evidence| {
            Some((evidence, evidence.sentence(UnitSystem::Metric).strip_prefix(fell_from)?.to_owned()))
        });
        let (evidence, figures) = about.expect("one sentence tells how far it fell");
        let (before, after) = figures.split_once(to).expect("from and to");
        let number = |text: &str| text.split(' ').next().and_then(|text| text.parse::<f64>().ok());
        let (before, after) = (number(before).expect("a number"), number(after).expect("a number"));
        assert!((before / usual - 1.0).abs() < 0.02, "{figures}, set to {usual}");
        assert!((after - fault.size).abs() < 0.25 * (usual - fault.size), "{figures}, size {}", fault.size);
        let (from_s, to_s) = (evidence.from_us as f64 / 1e6, evidence.to_us as f64 / 1e6);
        assert!((from_s - truth[0].start_s).abs() < 4.0 && (to_s - truth[0].end_s).abs() < 2.0, "{figures}");
    }
}

#[test]
fn findings_in_json_keep_the_contract() {
    let file = joint(25.4);
    let scenario = good(&file, 50.0, 1060);
    let fault = scenario.default_fault(Kind::GasLeak, 1060);
    let (replay, _) = replay(&scenario.with_fault(fault), &file.procedure);
    let shown = report::json::replay(&replay);
    let finding = &shown["findings"][0];
    assert_eq!(finding["cause"], "gas-leak");
    assert_eq!(finding["band"], fault.band);
    assert!(finding["score"].as_f64().is_some_and(|score| score > 0.5 && score <= 1.0));
    let (from, to) = (finding["from_deg"].as_f64(), finding["to_deg"].as_f64());
    assert!(from.zip(to).is_some_and(|(from, to)| 0.0 < from && from < to && to < 400.0));
    let sentences = finding["evidence"].as_array().expect("a list");
    assert!(sentences.iter().all(|sentence| sentence.as_str().is_some_and(|text| text.len() > 10)));
    let text = report::text::replay(&replay, None, UnitSystem::Inch);
    assert!(text.contains("likely causes") && text.contains("gas-leak") && text.contains("cfh"), "{text}");
}

/// Without a procedure the band table says no more than the page does.
#[test]
fn without_a_procedure_no_band_is_called_within() {
    let file = joint(25.4);
    let (replay, _) = replay(&good(&file, 50.0, 1061), &Procedure::new());
    let told = |procedure| report::text::replay(&replay, procedure, UnitSystem::Metric);
    // A title makes no procedure: the core was given none.
    for told in [told(None), told(Some("any"))] {
        let (_, bands) = told.split_once("verdict").expect("a table of bands");
        let rows = bands.lines().filter(|line| line.contains("not judged") && line.contains(" mm ")).count();
        assert_eq!(rows, replay.bands.len(), "{told}");
        assert!(!told.contains("within") && !told.contains("WITHIN"), "{told}");
    }
}

/// Faults of different parts of the machine, so that each can be told from what the others do.
const THREE_AT_ONCE: [[Kind; 3]; 6] = [
    [Kind::GasLeak, Kind::WeaveNarrow, Kind::ChuckSlip],
    [Kind::BottleRunningOut, Kind::TorchCreepingUp, Kind::WeaveSlow],
    [Kind::VoltageSetHigh, Kind::CoolantLost, Kind::ChuckStall],
    [Kind::ContactTipWear, Kind::GasOpened, Kind::WeaveScrewLoosening],
    [Kind::FeedSetHigh, Kind::TurningSlow, Kind::WorkHot],
    [Kind::ArcOut, Kind::WeaveWide, Kind::StepLong],
];

#[test]
fn three_faults_at_once_are_all_found() {
    let file = joint(25.4);
    let mut missed = Vec::new();
    for seed in 7001..=7005 {
        for kinds in THREE_AT_ONCE {
            let faults = kinds.map(|kind| good(&file, 50.0, seed).default_fault(kind, seed));
            let scenario = faults.into_iter().fold(good(&file, 50.0, seed), |scenario, mut fault| {
                fault.band = 2;
                scenario.with_fault(fault)
            });
            let (replay, _) = replay(&scenario, &file.procedure);
            for kind in kinds {
                let name = kind.description().name;
                let rank = replay.findings.iter().position(|finding| finding.cause == name);
                if rank.is_none_or(|rank| rank >= 6) {
                    missed.push(format!("{name} of {kinds:?}, seed {seed}: {rank:?}{}", told(&replay)));
                }
            }
        }
    }
    assert!(missed.is_empty(), "{} missed\n{}", missed.len(), missed.join("\n"));
}

/// Some hide others: a source that sags hides a voltage set low, a stall what is lost in a slip.
#[test]
fn of_three_faults_drawn_at_random_nearly_all_are_found() {
    let file = joint(25.4);
    let drawn: Vec<Kind> = Kind::within_bands().collect();
    let mut noise = Noise::new(8000, 1);
    let (mut all, mut found) = (0, 0);
    let mut missed = String::new();
    for seed in 8001..=8060 {
        let mut kinds: Vec<Kind> = Vec::new();
        while kinds.len() < 3 {
            let kind = drawn[noise.uniform(0.0, drawn.len() as f64) as usize];
            let rule = kind.description().rule;
            // Short circuits are only counted at a high rate.
            if kind != Kind::GasMixtureWrong && kinds.iter().all(|other| other.description().rule != rule) {
                kinds.push(kind);
            }
        }
        let scenario = kinds.iter().fold(good(&file, 50.0, seed), |scenario, &kind| {
            let fault = scenario.default_fault(kind, seed);
            scenario.with_fault(fault)
        });
        let (replay, _) = replay(&scenario, &file.procedure);
        for kind in &kinds {
            let name = kind.description().name;
            let is_found = replay.findings.iter().take(6).any(|finding| finding.cause == name);
            all += 1;
            found += usize::from(is_found);
            if !is_found {
                let _ = writeln!(missed, "{name} of {kinds:?}, seed {seed}{}", told(&replay));
            }
        }
    }
    println!("{found} of {all}");
    assert!(found * 100 >= all * 95, "{found} of {all}\n{missed}");
}
