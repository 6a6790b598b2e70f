//! A watch of a board ends with 0 where what was watched is proven, and with nothing else: no link, no state, a fault of
//! the board, a stop that nobody acknowledged or a joint that was not told prove nothing.

use bandward::flash::journal::Kept;
use bandward::link::{BoardFaults, Outputs, Report, Telemetry};
use bandward::record::stamp::Stamp;
use bandward::rule::RuleSet;
use bandward::sample::ChannelSet;
use bandward::{BandRecord, Channel, JointRecord, Outcome, Phase, Rule, SoFar};
use bandward_tests::fake_board::{self, Voice, telemetry};
use bandward_tests::program;
use serde_json::Value;
use std::io::{BufRead as _, BufReader, Read as _};
use std::process::{Command, Stdio};
use std::time::Duration;

/// From the link to the end.
const WATCHED: Duration = Duration::from_millis(3500);

/// Joint 1 is done and proven, joint 2 not begun, nothing is wrong.
fn sound(time_us: u64) -> Telemetry {
    let so_far = SoFar { joint_number: 2, joint: Outcome::NotProven, ..SoFar::default() };
    let outputs = Outputs { relay_energised: true, ..Outputs::default() };
    Telemetry { so_far, outputs, ..telemetry(time_us) }
}

fn proven() -> Report<&'static [u8]> {
    let record = JointRecord { joint: 1, bands: 3, outcome: Outcome::Proven, ..JointRecord::default() };
    Report::Joint { record, stamp: Stamp::NONE }
}

/// Tells states until the host is gone.
fn tells(voice: &mut Voice, state: fn(u64) -> Telemetry) {
    let mut index = 1;
    while voice.say(&Report::Telemetry(state(index * 200_000))) {
        if voice.answer(Duration::from_millis(100)).as_deref() == Some("gone") {
            return;
        }
        index += 1;
    }
}

/// What was told at the end of a watch of such a board: exit code, last line, and standard error.
fn watched(talk: impl FnMut(&mut Voice) + Send + 'static) -> (Option<i32>, Value, String) {
    let mut child = Command::new(program::path())
        .args(["watch", "--json", "--tcp", &fake_board::start(talk)])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it runs");
    let mut lines = BufReader::new(child.stdout.take().expect("piped")).lines().map_while(Result::ok);
    assert!(lines.next().is_some_and(|line| line.contains("linked")));
    let id = child.id().to_string();
    std::thread::spawn(move || {
        std::thread::sleep(WATCHED);
        Command::new("kill").arg(id).status().is_ok()
    });
    let last = lines.last().and_then(|line| serde_json::from_str(&line).ok()).expect("an end");
    let ended = program::ended_within(&mut child, Duration::from_secs(20)).expect("it ends");
    let mut said = String::new();
    child.stderr.take().expect("piped").read_to_string(&mut said).expect("text");
    (ended.code(), last, said)
}

/// A proven joint, and then such states.
fn after_a_proven_joint(state: fn(u64) -> Telemetry) -> (Option<i32>, Value, String) {
    watched(move |voice| {
        voice.say(&proven());
        tells(voice, state);
    })
}

#[test]
fn a_proven_joint_on_a_board_without_a_fault_is_proven() {
    let (code, last, said) = after_a_proven_joint(sound);
    assert_eq!((code, &last["outcome"]), (Some(0), &"proven".into()), "{last} {said}");
    assert_eq!(
        (&last["within_procedure"], &last["reasons"]),
        (&true.into(), &serde_json::json!([])),
        "{last}"
    );
}

#[test]
fn whatever_is_wrong_with_the_board_leaves_even_a_proven_joint_not_proven() {
    fn with(time_us: u64, faults: BoardFaults) -> Telemetry {
        Telemetry { faults, ..sound(time_us) }
    }
    fn joint_2(time_us: u64, joint_number: u16, bands: u16) -> Telemetry {
        let so_far = SoFar { joint_number, bands, joint: Outcome::NotProven, ..SoFar::default() };
        Telemetry { so_far, ..sound(time_us) }
    }

    type Case = (&'static str, &'static str, fn(u64) -> Telemetry);
    let cases: [Case; 13] = [
        ("silent-channel", "gas", |at| {
            with(at, BoardFaults { silent: ChannelSet::EMPTY.with(Channel::Gas), ..BoardFaults::default() })
        }),
        ("bad-clock", "stood still", |at| {
            with(at, BoardFaults { bad_clock: true, ..BoardFaults::default() })
        }),
        ("wrong-rate", "as often as declared", |at| {
            with(at, BoardFaults { wrong_rate: true, ..BoardFaults::default() })
        }),
        ("watchdog-reset", "watchdog", |at| {
            with(at, BoardFaults { watchdog_reset: true, ..BoardFaults::default() })
        }),
        // Told once, and over.
        ("missed-deadline", "too late", |at| {
            with(at, BoardFaults { missed_deadline: at == 200_000, ..BoardFaults::default() })
        }),
        ("bad-configuration", "upload one", |at| {
            with(at, BoardFaults { bad_configuration: true, ..BoardFaults::default() })
        }),
        ("not-acknowledged", "gas-low", |at| Telemetry {
            returned: RuleSet::EMPTY.with(Rule::GasLow),
            ..sound(at)
        }),
        ("relay-released", "relay", |at| Telemetry { outputs: Outputs::default(), ..sound(at) }),
        ("bench-test", "bench test", |at| Telemetry { is_bench: true, ..sound(at) }),
        ("started-anew", "ran back", |at| sound(at % 1_000_000)),
        // A procedure came only after an arc.
        ("nothing-judged", "no procedure", |at| {
            let so_far = SoFar { joint: Outcome::NotAsked, ..sound(at).so_far };
            if at == 200_000 { Telemetry { phase: Phase::Arc, so_far, ..sound(at) } } else { sound(at) }
        }),
        ("joint-under-way", "under way at the end", |at| joint_2(at, 2, 1)),
        (
            "joint-not-told",
            "joint 2",
            |at| if at < 1_000_000 { joint_2(at, 2, 1) } else { joint_2(at, 3, 0) },
        ),
    ];
    std::thread::scope(|scope| {
        for (name, words, state) in cases {
            scope.spawn(move || {
                let (code, last, said) = after_a_proven_joint(state);
                assert_eq!(
                    (code, &last["outcome"]),
                    (Some(3), &"not proven".into()),
                    "{name}: {last} {said}"
                );
                assert_eq!(last["within_procedure"], false, "{name}: {last}");
                let reasons = last["reasons"].as_array().expect("a list");
                assert!(reasons.contains(&name.into()), "{name}: {last}");
                assert!(said.starts_with("not proven: ") && said.contains(words), "{name}: {said}");
            });
        }
    });
}

#[test]
fn what_was_not_seen_is_not_proven() {
    let is_there = |(code, last, said): (Option<i32>, Value, String), reason: &str| {
        assert_eq!((code, &last["within_procedure"]), (Some(3), &false.into()), "{reason}: {last} {said}");
        let reasons = last["reasons"].as_array().expect("a list");
        assert!(
            reasons.contains(&reason.into()) && said.starts_with("not proven: "),
            "{reason}: {last} {said}"
        );
    };
    std::thread::scope(|scope| {
        // Without a procedure, under the arc.
        scope.spawn(move || {
            let state = |at| Telemetry {
                phase: Phase::Arc,
                so_far: SoFar { joint_number: 1, ..SoFar::default() },
                ..sound(at)
            };
            is_there(watched(move |voice| tells(voice, state)), "nothing-judged");
        });
        // Cut once, and there again.
        scope.spawn(move || {
            let mut is_first = true;
            let cut = watched(move |voice| {
                voice.say(&proven());
                if std::mem::take(&mut is_first) {
                    voice.say(&Report::Telemetry(sound(1)));
                } else {
                    tells(voice, sound);
                }
            });
            is_there(cut, "link-lost");
        });
        // A joint that its own record does not prove, and none at all.
        scope.spawn(move || {
            let unproven = watched(move |voice| {
                let record = JointRecord { joint: 1, outcome: Outcome::NotProven, ..JointRecord::default() };
                voice.say(&Report::Joint { record, stamp: Stamp::NONE });
                tells(voice, sound);
            });
            is_there(unproven, "joint-not-proven");
        });
        scope.spawn(move || {
            let state = |at| {
                let so_far = SoFar { joint_number: 1, joint: Outcome::NotProven, ..SoFar::default() };
                Telemetry { so_far, ..sound(at) }
            };
            is_there(watched(move |voice| tells(voice, state)), "no-joint");
        });
        // It answers, and tells no state; or no more.
        let answers =
            |voice: &mut Voice| while voice.answer(Duration::from_millis(50)).as_deref() != Some("gone") {};
        scope.spawn(move || is_there(watched(answers), "no-state"));
        scope.spawn(move || {
            let stops = watched(move |voice| {
                voice.say(&proven());
                voice.say(&Report::Telemetry(sound(1)));
                answers(voice);
            });
            is_there(stops, "silent");
        });
    });
}

/// Before, a looker-on took the records of somebody else's bench test for welds, and ended with 0 where no state of the
/// test was heard.
#[test]
fn a_bench_test_of_somebody_else_proves_nothing_and_breaks_nothing() {
    for outcome in [Outcome::Proven, Outcome::Broken] {
        let (code, end, said) = watched(move |voice| {
            let joint = JointRecord { joint: 1, bands: 1, outcome, ..JointRecord::default() };
            let band = BandRecord { joint: 1, band: 1, outcome, ..BandRecord::empty() };
            voice.say(&Report::Bench { record: Kept::BenchBand(band), stamp: Stamp::NONE });
            voice.say(&Report::Bench { record: Kept::BenchJoint(joint), stamp: Stamp::NONE });
            tells(voice, sound);
        });
        assert_eq!((code, &end["outcome"]), (Some(3), &"not proven".into()), "{said}");
        let reasons = end["reasons"].as_array().expect("reasons");
        assert!(reasons.contains(&"bench-test".into()), "{end}");
    }
}
