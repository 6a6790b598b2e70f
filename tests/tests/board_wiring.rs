//! The wiring table of the board's README is the oracle: every row, every way from one row to another.
//!
//! Decides: how each row's state is brought about on a whole board, and how it is ended again.
//! Assumes: the table in `firmware-example/README.md`.
//! Never: holds an expected output: those are read from the table.

use bandward::event::{AlarmEvent, AlarmKind, Position};
use bandward::link::{BoardFaults, Lamp, Request};
use bandward::procedure::{Limits, Range};
use bandward::{Channel, Procedure, Quantity, Rule, Severity};
use bandward_firmware::outputs::Annunciator;
use bandward_tests::host_board::{Bench, Start};
use bandward_tests::host_machine::{
    ARC, ARC_WITHOUT_GAS, Doing, GAS_ON, IDLE, PERIOD_US, Shop, acquisition, procedure,
};
use proptest::prelude::*;

const README: &str = include_str!("../../firmware-example/README.md");

/// What a row says; where it leaves lamp or horn to something else, there is nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Row {
    is_energised: bool,
    lamp: Option<Lamp>,
    horn: Option<bool>,
}

fn rows() -> Vec<(String, Row)> {
    let table = README.lines().skip_while(|line| !line.starts_with("| state | relay")).skip(2);
    let cells = |line: &str| -> Vec<String> {
        line.trim_matches('|').split('|').map(|cell| cell.trim().trim_matches('*').to_owned()).collect()
    };
    let row = |line: &str| {
        let [state, relay, lamp, horn] = &cells(line)[..] else { panic!("{line}") };
        let is_energised = match relay.as_str() {
            "energised" => true,
            "released" => false,
            other => panic!("{other}"),
        };
        let lamp = match lamp.as_str() {
            "off" => Some(Lamp::Off),
            "slow" => Some(Lamp::Slow),
            "on" => Some(Lamp::On),
            other if other.starts_with("by ") => None,
            other => panic!("{other}"),
        };
        let horn = match horn.as_str() {
            "off" => Some(false),
            "on" => Some(true),
            other if other.starts_with("by ") => None,
            other => panic!("{other}"),
        };
        (state.clone(), Row { is_energised, lamp, horn })
    };
    table.take_while(|line| line.starts_with('|')).map(row).collect()
}

/// The row whose state begins with these words.
fn row(start: &str) -> Row {
    let found: Vec<_> = rows().into_iter().filter(|(state, _)| state.starts_with(start)).collect();
    assert_eq!(found.len(), 1, "{start}: {found:?}");
    found[0].1
}

/// A band under way.
fn strike(shop: &mut Shop) {
    shop.run(2, GAS_ON);
    shop.run(3, ARC);
}

const TOO_LOUD: Doing = Doing { volts: 33, ..ARC };

/// The gas meter of a band dies, and its alarm is of this severity.
fn lose_sensor(shop: &mut Shop, severity: Severity) {
    let rule = Rule::SignalMissing;
    let setting = bandward::procedure::AlarmSetting { severity, ..rule.default_setting() };
    shop.bench.upload(&procedure().with_alarm(rule, setting).unwrap());
    shop.run(1, IDLE);
    strike(shop);
    // Shorter than a board's own patience, longer than the alarm's.
    (0..180).for_each(|_| shop.step(Doing { gas_lpm: None, ..ARC }));
}

/// Brings about the state of a row on a calm board; false where a test of its own does.
fn enter(state: &str, shop: &mut Shop) -> bool {
    let starts = |words: &str| state.starts_with(words);
    if starts("before the first band") {
    } else if starts("all limits judged") {
        strike(shop);
    } else if starts("advise active") {
        let recommended = |quantity: Quantity| Limits {
            recommended: Some(Range {
                low: 27 << quantity.fraction_bits(),
                high: 28 << quantity.fraction_bits(),
            }),
            ..*procedure().limits(quantity).unwrap()
        };
        let quantity = Quantity::Voltage;
        shop.bench.upload(&procedure().with_limits(quantity, recommended(quantity)).unwrap());
        shop.run(1, IDLE);
        strike(shop);
        shop.run(3, ARC);
    } else if starts("no alarm, but the joint") {
        // A hole in the data: the strike of this band was not seen.
        shop.run(2, GAS_ON);
        shop.now_us += 900_000;
        shop.run(5, ARC);
    } else if starts("no alarm any more") {
        strike(shop);
        shop.run(3, TOO_LOUD);
        shop.run(3, ARC);
    } else if starts("warn active") {
        strike(shop);
        shop.run(3, TOO_LOUD);
    } else if starts("stop active") || starts("stop over") {
        strike(shop);
        shop.run(3, ARC_WITHOUT_GAS);
    } else if starts("sensor fault in a band, of warn") {
        lose_sensor(shop, Severity::Warn);
    } else if starts("sensor fault in a band, of advise") || starts("sensor fault over") {
        lose_sensor(shop, Severity::Advise);
    } else if starts("a wired channel") {
        shop.run(3, Doing { gas_lpm: None, ..IDLE });
    } else if starts("the time of the samples") {
        (0..100).for_each(|_| shop.bench.board.sample(&IDLE.at(shop.now_us), false));
    } else if starts("samples come at another rate") {
        (0..500).for_each(|_| {
            shop.now_us += 2 * PERIOD_US;
            shop.bench.board.sample(&IDLE.at(shop.now_us), false);
            shop.bench.board.poll();
        });
    } else if starts("a sample came too late") {
        shop.now_us += PERIOD_US;
        shop.bench.board.sample(&IDLE.at(shop.now_us), true);
    } else if starts("bench test under way") {
        shop.bench.ask(&Request::BenchStart(acquisition()));
    } else if starts("an arc burned") {
        shop.bench.ask(&Request::BenchStart(acquisition()));
        shop.run(1, ARC);
        shop.run(10, IDLE);
    } else if starts("the journal") {
        shop.bench.journal.is_broken.set(true);
        strike(shop);
        shop.run(20, ARC);
        shop.run(20, IDLE);
    } else {
        return false;
    }
    match state.rsplit_once(", ").map(|(_, last)| last) {
        Some("acknowledged") => shop.acknowledge(),
        Some("shelved") => {
            for rule in [Rule::VoltageHigh, Rule::GasLow] {
                shop.bench.ask(&Request::Shelve { rule, for_us: 60_000_000 });
            }
        }
        Some("not acknowledged") => {
            shop.run(3, ARC);
        }
        _ => {}
    }
    true
}

/// Ends it: the machine rests, the flash works, and somebody acknowledges. A new procedure begins a new joint,
/// so that the verdict of the old one is not shown.
fn leave(shop: &mut Shop) {
    shop.bench.journal.is_broken.set(false);
    shop.bench.ask(&Request::BenchEnd);
    shop.run(20, IDLE);
    for rule in [Rule::VoltageHigh, Rule::GasLow] {
        shop.bench.ask(&Request::Shelve { rule, for_us: 0 });
    }
    if shop.bench.board.faults().journal {
        // A record proves that the journal works again.
        strike(shop);
        shop.run(20, ARC);
        shop.run(20, IDLE);
    }
    shop.bench.upload(&procedure());
    shop.run(1, IDLE);
    shop.acknowledge();
    shop.run(1, IDLE);
}

fn assert_row(shop: &Shop, state: &str, expected: Row, way: &str) {
    let outputs = shop.bench.board.outputs();
    assert_eq!(shop.bench.is_energised(), expected.is_energised, "{way} {state}: relay, {outputs:?}");
    assert_eq!(outputs.lamp, expected.lamp.unwrap_or(outputs.lamp), "{way} {state}: lamp");
    assert_eq!(outputs.horn, expected.horn.unwrap_or(outputs.horn), "{way} {state}: horn");
    assert_eq!(shop.bench.horn.is_high(), outputs.horn, "{way} {state}: pin of the horn");
    let is_steady = outputs.lamp != Lamp::Slow;
    assert!(!is_steady || shop.bench.lamp.is_high() == (outputs.lamp == Lamp::On), "{way} {state}: pin");
}

/// From every row to every other and to itself, with calm between, on one board.
#[test]
fn every_row_and_every_way_from_row_to_row() {
    let calm = row("before the first band");
    let mut rows = rows();
    assert_eq!(rows.len(), 28);
    rows.retain(|(state, _)| enter(state, &mut Shop::open()));
    assert_eq!(rows.len(), 22, "the six others have a test of their own");
    // 0 0 1 0 2 0 3 ... 1 1 2 1 3 ...: each pair of neighbours stands in it, both ways round.
    let last = rows.len();
    let walk = (0..last)
        .flat_map(|one| [one, one].into_iter().chain((one + 1..last).flat_map(move |two| [two, one])));
    let mut shop = Shop::open();
    let (mut before, mut ways) = (None, std::collections::HashSet::new());
    for at in walk {
        let (state, expected) = &rows[at];
        enter(state, &mut shop);
        let way = before.map_or(String::new(), |before: usize| format!("from {} to", rows[before].0));
        assert_row(&shop, state, *expected, &way);
        ways.extend(before.map(|before| (before, at)));
        leave(&mut shop);
        assert_row(&shop, "calm", calm, &format!("after {state}"));
        before = Some(at);
    }
    assert_eq!(ways.len(), last * last);
}

/// The rows about the start.
#[test]
fn every_row_about_the_start() {
    let (journal, stored) = Shop::open().bench.flashes();
    let check = |bench: &Bench, state: &str| {
        let (expected, outputs) = (row(state), bench.board.outputs());
        assert_eq!(Some(outputs.lamp), expected.lamp, "{state}");
        assert_eq!(
            (bench.is_energised(), Some(outputs.horn)),
            (expected.is_energised, expected.horn),
            "{state}"
        );
    };
    // Pins that nobody drives are low: the relay is not energised.
    let none = row("no power");
    assert_eq!((none.is_energised, none.lamp, none.horn), (false, Some(Lamp::Off), Some(false)));
    let start = |is_bitten| {
        let (journal, procedure) = (journal.clone(), stored.clone());
        Bench::of(Start { journal, procedure, is_bitten, ..Start::default() })
    };
    check(&start(false), "started, no sample judged yet");
    let mut powered = start(false);
    powered.board.sample(&IDLE.at(PERIOD_US), false);
    check(&powered, "started, until acknowledged");
    powered.ask(&Request::Hello);
    powered.ask(&Request::Acknowledge);
    assert!(powered.is_energised());
    // In either order.
    let mut powered = start(false);
    powered.ask(&Request::Hello);
    powered.ask(&Request::Acknowledge);
    assert!(!powered.is_energised(), "nothing was judged");
    powered.board.sample(&IDLE.at(PERIOD_US), false);
    assert!(powered.is_energised());
    let mut bitten = start(true);
    bitten.board.sample(&IDLE.at(PERIOD_US), false);
    check(&bitten, "started by the watchdog");
    let mut empty = Bench::of(Start::default());
    empty.board.sample(&IDLE.at(PERIOD_US), false);
    empty.ask(&Request::Hello);
    empty.ask(&Request::Acknowledge);
    check(&empty, "no procedure");
    let senseless = Procedure::new();
    assert!(senseless.check().is_ok());
}

/// What one alarm may be in, as the rows name it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Life {
    Calm,
    Active(Severity, bool),
    Returned,
}

fn kinds() -> impl Strategy<Value = (usize, AlarmKind, Severity)> {
    let kind = prop_oneof![
        Just(AlarmKind::Raised),
        Just(AlarmKind::Escalated),
        Just(AlarmKind::Cleared),
        Just(AlarmKind::Acknowledged),
        Just(AlarmKind::Repeated),
    ];
    let severity = prop_oneof![Just(Severity::Advise), Just(Severity::Warn), Just(Severity::Stop)];
    (0..4_usize, kind, severity)
}

const PLACES: [(Rule, Option<Channel>); 4] = [
    (Rule::GasLow, None),
    (Rule::VoltageLow, None),
    (Rule::SignalStuck, Some(Channel::Gas)),
    (Rule::SignalMissing, Some(Channel::Torch)),
];

/// The row of an alarm in that state.
fn row_of(place: usize, life: Life) -> Row {
    let is_sensor = PLACES[place].0.is_about_a_channel();
    let seen = |row: Row, seen: bool| Row { horn: row.horn.map(|horn| horn && !seen), ..row };
    match life {
        Life::Calm => row("before the first band"),
        Life::Returned if is_sensor => row("sensor fault over"),
        Life::Returned => row("stop over"),
        Life::Active(Severity::Advise, _) if is_sensor => row("sensor fault in a band, of advise"),
        Life::Active(_, is_seen) if is_sensor => seen(row("sensor fault in a band, of warn"), is_seen),
        Life::Active(Severity::Advise, _) => row("advise active"),
        Life::Active(Severity::Warn, true) => row("warn active, acknowledged"),
        Life::Active(Severity::Stop, true) => row("stop active, acknowledged"),
        Life::Active(severity, false) => {
            let name = format!("| {} active | ", severity.name());
            assert!(README.contains(&name), "{name}");
            let rows = rows();
            rows.iter().find(|(state, _)| *state == format!("{} active", severity.name())).unwrap().1
        }
    }
}

/// The state that follows, and whether such an event can come in this one at all.
fn follow(life: Life, kind: AlarmKind, severity: Severity, is_sensor: bool) -> Option<Life> {
    let holds = |severity| severity == Severity::Stop || is_sensor;
    match (life, kind) {
        // A milder alarm that comes while a stop is not acknowledged changes nothing about it.
        (Life::Calm, AlarmKind::Raised) => Some(Life::Active(severity, false)),
        (Life::Returned, AlarmKind::Raised) if holds(severity) => Some(Life::Active(severity, false)),
        (Life::Active(before, _), AlarmKind::Escalated) if severity > before => {
            Some(Life::Active(severity, false))
        }
        (Life::Active(severity, false), AlarmKind::Cleared) if holds(severity) => Some(Life::Returned),
        (Life::Active(..), AlarmKind::Cleared) => Some(Life::Calm),
        (Life::Active(severity, false), AlarmKind::Acknowledged) => Some(Life::Active(severity, true)),
        (Life::Active(severity, true), AlarmKind::Repeated) => Some(Life::Active(severity, false)),
        _ => None,
    }
}

proptest! {
    /// Any alarms in any order: the relay follows the row that releases it, lamp and horn the worst.
    #[test]
    fn alarms_in_any_order_give_the_worst_of_their_rows(
        steps in prop::collection::vec(prop_oneof![6 => kinds().prop_map(Some), 1 => Just(None)], 1..60)
    ) {
        let mut annunciator = Annunciator::new();
        annunciator.judged();
        let mut lives = [Life::Calm; 4];
        for step in steps {
            if let Some((place, kind, severity)) = step {
                let (rule, channel) = PLACES[place];
                let Some(next) = follow(lives[place], kind, severity, channel.is_some()) else { continue };
                lives[place] = next;
                let position = Position { band: 1, turned: None };
                annunciator.take(&AlarmEvent {
                    time_us: 1, kind, rule, channel, severity, onset_us: 0, position, worst: 0, limit: None,
                });
            } else {
                // The button, as the monitor tells of it.
                annunciator.acknowledge();
                for (life, (rule, channel)) in lives.iter_mut().zip(PLACES) {
                    if let Life::Active(severity, false) = *life {
                        *life = Life::Active(severity, true);
                        let position = Position { band: 1, turned: None };
                        annunciator.take(&AlarmEvent {
                            time_us: 1, kind: AlarmKind::Acknowledged, rule, channel, severity, onset_us: 0,
                            position, worst: 0, limit: None,
                        });
                    }
                    if *life == Life::Returned {
                        *life = Life::Calm;
                    }
                }
            }
            let rows: Vec<_> = lives.iter().enumerate().map(|(place, &life)| row_of(place, life)).collect();
            let outputs = annunciator.outputs();
            prop_assert_eq!(outputs.relay_energised, rows.iter().all(|row| row.is_energised), "{:?}", lives);
            let is_on = rows.iter().any(|row| row.lamp == Some(Lamp::On));
            prop_assert_eq!(outputs.lamp == Lamp::On, is_on, "{:?}", lives);
            prop_assert_eq!(outputs.horn, rows.iter().any(|row| row.horn == Some(true)), "{:?}", lives);
        }
    }

    /// Any faults of the board, over a time or for a moment: released until over and acknowledged; a journal that
    /// fails only lights the lamp.
    #[test]
    fn faults_of_the_board_in_any_order(
        steps in prop::collection::vec((0..10_u8, any::<bool>(), any::<bool>()), 1..40)
    ) {
        let names = [
            "no procedure", "a sample came too late", "started by the watchdog", "the time of the samples",
            "samples come at another rate", "a wired channel", "an arc burned", "the journal",
            "the pin of the relay", "started, until acknowledged",
        ];
        let mut annunciator = Annunciator::new();
        annunciator.judged();
        let (mut present, mut latched, mut seen) = ([false; 10], [false; 10], [false; 10]);
        for (fault, is_there, acknowledges) in steps {
            let fault = usize::from(fault);
            if present[fault] != is_there {
                // Over, and acknowledged while it lasted; or there anew.
                latched[fault] = is_there || !seen[fault];
                seen[fault] = false;
            }
            present[fault] = is_there;
            let silent = if present[5] {
                bandward::sample::ChannelSet::ELECTRICAL
            } else {
                bandward::sample::ChannelSet::EMPTY
            };
            annunciator.take_faults(BoardFaults {
                bad_configuration: present[0], missed_deadline: present[1], watchdog_reset: present[2],
                bad_clock: present[3], wrong_rate: present[4], silent, unwatched_arc: present[6],
                journal: present[7], relay: present[8], started: present[9],
            });
            if acknowledges {
                annunciator.acknowledge();
                (latched, seen) = (present, present);
            }
            let active: Vec<_> =
                names.iter().zip(latched).filter(|(_, is_there)| *is_there).map(|(name, _)| row(name)).collect();
            let outputs = annunciator.outputs();
            prop_assert_eq!(outputs.relay_energised, active.iter().all(|row| row.is_energised));
            prop_assert_eq!(outputs.lamp == Lamp::On, active.iter().any(|row| row.lamp == Some(Lamp::On)));
            prop_assert!(!outputs.horn);
        }
    }
}
