//! What `bandward watch` shows: its screen at moments of the demo joint, and its lines against replay's.

use bandward::link::upload::crc_of;
use bandward::link::{BoardFaults, Counts, Lamp, MOST_ALARMS, Outputs, Telemetry};
use bandward::rule::RuleSet;
use bandward::sample::ChannelSet;
use bandward::units::Degrees;
use bandward::{
    Acquisition, ActiveAlarm, Channel, Outcome, Phase, Position, Quantity, Rule, Severity, SoFar,
};
use bandward_sim::demo;
use bandward_sim::link::Report;
use bandward_sim::process::scenario::Scenario;
use bandward_sim::process::targets::Targets;
use bandward_sim::raw::seconds;
use bandward_sim::replay::Replayer;
use bandward_sim::report;
use bandward_sim::trace::Row;
use bandward_sim::watch::due::Rows;
use bandward_sim::watch::keeper::LinkNews;
use bandward_sim::watch::ledger::Ledger;
use bandward_sim::watch::lines;
use bandward_sim::watch::player::Player;
use bandward_sim::watch::remote::{Remote, SILENCE};
use bandward_sim::watch::screen::text;
use bandward_sim::watch::snapshot;
use bandward_sim::watch::tone::Tone;
use bandward_sim::watch::view::View;
use serde_json::Value;
use std::time::{Duration, Instant};

fn player(rule: Option<Rule>) -> Player {
    let file = demo::procedure().unwrap();
    let (rows, acquisition): (Rows, _) = match rule {
        None => {
            let reader = demo::trace().unwrap();
            let header = reader.header().clone();
            let (period_us, channels) = (header.acquisition.period_us, header.acquisition.channels);
            let gap_tolerance_us = header.acquisition.gap_tolerance_us;
            (Box::new(reader), Acquisition { gap_tolerance_us, ..Acquisition::every(period_us, channels) })
        }
        Some(rule) => {
            let good = Scenario::good(Targets::of_file(&file), 50.0).with_seed(7);
            let scenario = good.with_default_fault(rule, 7).expect("a fault is made for the rule");
            let channels = scenario.channels;
            let rows: Vec<_> = scenario.rows().map(Ok).collect();
            (
                Box::new(rows.into_iter()),
                Acquisition { gap_tolerance_us: 250_000, ..Acquisition::every(20_000, channels) },
            )
        }
    };
    Player::new(rows, acquisition, file.procedure)
}

fn view(player: &Player) -> View {
    let file = demo::procedure().unwrap();
    let system = bandward_sim::input::quantity::UnitSystem::Metric;
    let mut view = View::new("demo joint (invented)".into(), system, " q quit   a acknowledge");
    view.procedure = Some(file.title());
    view.time_s = seconds(player.now_us());
    view.pace = "speed 1".into();
    view.is_over = player.is_over();
    view.turned_deg = player.turned_deg();
    view.gauges = player.gauges(&file);
    view.take(player.ledger());
    view
}

fn at(rule: Option<Rule>, time_s: f64) -> View {
    let mut player = player(rule);
    player.advance((time_s * 1e6) as u64, None).unwrap();
    view(&player)
}

fn looks_as_kept(name: &str, screen: &str) {
    insta::with_settings!({ prepend_module_to_snapshot => false, omit_expression => true }, {
        insta::assert_snapshot!(format!("watch__{name}"), screen);
    });
}

#[test]
fn the_screen_at_moments_of_the_demo_joint() {
    for (name, time_s) in [("waiting", 2.0), ("good", 60.0), ("alarm", 165.0), ("end", 1e6)] {
        let view = at(None, time_s);
        looks_as_kept(&format!("{name}_80"), &text(&view, 80, 24));
        looks_as_kept(&format!("{name}_120"), &text(&view, 120, 40));
    }
}

/// A stop is written over the whole width, and stays in the words when it is seen.
#[test]
fn a_stop_is_told_until_it_is_gone() {
    let mut player = player(Some(Rule::TransferLowVoltage));
    let mut stopped = None;
    for tenth in 0..20_000_u64 {
        player.advance(tenth * 100_000, None).unwrap();
        if view(&player).verdict().word == "STOP" {
            stopped = Some(tenth);
            break;
        }
    }
    assert!(stopped.is_some(), "the fault raises a stop");
    looks_as_kept("stop_80", &text(&view(&player), 80, 24));
    player.acknowledge();
    let seen = text(&view(&player), 80, 24);
    assert!(seen.contains("STOP   (seen) voltage under its floor"), "{seen}");
}

/// A minute is a minute of whoever says so, however fast the trace is played and where it stands.
#[test]
fn a_shelf_counts_in_the_time_of_the_person() {
    let (mut player, mut tenth, now) = (player(None), 0_u64, Instant::now());
    player.shelve(Rule::GasLow, 60, now);
    while !player.ledger().active.iter().any(|alarm| alarm.rule == Rule::GasLow) {
        tenth += 1;
        assert!(tenth < 20_000, "the demo has too little gas for a while");
        player.advance(tenth * 100_000, None).unwrap();
    }
    let is_shelved = |player: &Player| {
        player.ledger().active.iter().find(|alarm| alarm.rule == Rule::GasLow).map(|alarm| alarm.shelved)
    };
    assert_eq!(is_shelved(&player), Some(true), "put away before it was raised");
    player.shelve(Rule::GasLow, 0, now);
    assert_eq!(is_shelved(&player), Some(false), "taken back");
    player.shelve(Rule::GasLow, 1, now);
    assert_eq!(is_shelved(&player), Some(true));
    // Two seconds of the trace in half a second of the person's.
    player.advance((tenth + 20) * 100_000, None).unwrap();
    player.end_shelving(now + Duration::from_millis(500));
    assert_eq!(is_shelved(&player), Some(true), "not shorter than was said");
    // The trace stands.
    player.end_shelving(now + Duration::from_secs(1));
    assert_eq!(is_shelved(&player), Some(false), "not longer than was said");
}

/// At the end of every band the arc goes out: the screen says so without a word of alarm.
#[test]
fn an_ordinary_end_of_a_band_is_no_arc_outage() {
    let mut player = player(None);
    let mut outages = 0;
    for tenth in 0..4_000_u64 {
        player.advance(tenth * 100_000, None).unwrap();
        if player.ledger().phase == Phase::Outage {
            outages += 1;
            let shown = text(&view(&player), 80, 24);
            assert!(shown.contains("arc off") && !shown.contains("ARC OUT"), "{shown}");
        }
    }
    assert!(outages > 0, "the arc went out");
    let rule = Rule::ArcOutage;
    let mut view = view(&player);
    view.phase = Phase::Outage;
    view.alarms = vec![ActiveAlarm {
        rule,
        channel: None,
        severity: Severity::Warn,
        acknowledged: false,
        shelved: true,
    }];
    assert_eq!(view.phase_words(), "ARC OUT");
}

/// What was in range in a band that is not proven does not look like what is proven.
#[test]
fn a_band_that_is_not_proven_has_a_look_of_its_own_in_the_unrolled_joint() {
    let mut player = player(None);
    player.advance(40_000_000, None).unwrap();
    let sectors = |view: &View| snapshot::of(view, &[])["unrolled"]["bands"][0]["sectors"].to_string();
    let mut of_band = view(&player);
    for step in 0..40 {
        (of_band.turned_deg, of_band.band) = (Some(f64::from(step)), 1);
        (of_band.phase, of_band.so_far.joint_number) = (Phase::Arc, 1);
        of_band.alarms.clear();
        of_band.settle(player.ledger());
    }
    of_band.so_far.band = Outcome::Proven;
    let good = sectors(&of_band);
    assert!(good.contains("iii") && !good.contains('p'), "{good}");
    of_band.so_far.band = Outcome::NotProven;
    let open = sectors(&of_band);
    assert_eq!(open, good.replace('i', "p"), "while it is welded");
    of_band.band = 2;
    assert_eq!(sectors(&of_band), good, "another band is welded now");
    of_band.bands = vec![(1, 1, Outcome::NotProven)];
    assert_eq!(sectors(&of_band), open, "once it is done");
}

/// The demo joint as a watch has it: what is said is heard as it comes.
fn watched(until_s: u32) -> (View, Vec<Value>) {
    let mut player = player(None);
    let (mut shown, mut said) = (view(&player), Vec::new());
    for second in 1..=until_s {
        player.advance(u64::from(second) * 1_000_000, None).unwrap();
        let news = player.ledger_mut().take_news();
        said.extend(news.iter().map(lines::line));
        shown.hear(&news, player.ledger());
        let history = shown.history;
        shown = View { history, ..view(&player) };
        shown.settle(player.ledger());
    }
    (shown, said)
}

#[test]
fn cleared_alarms_stay_on_the_screen_with_their_times() {
    let (view, said) = watched(240);
    assert!(view.alarms.is_empty() && !view.is_over, "none is active");
    let clock = |line: &Value| {
        let whole = line["time_s"].as_f64().unwrap().round() as u64;
        format!("{}:{:02}", whole / 60, whole % 60)
    };
    let of = |kind: &str| said.iter().filter(|line| line["kind"] == kind).map(clock).collect::<Vec<_>>();
    let (raised, cleared) = (of("raised"), of("cleared"));
    assert!(!raised.is_empty() && raised.len() == cleared.len(), "{raised:?} {cleared:?}");
    let screen = text(&view, 120, 40);
    for (from, to) in raised.iter().zip(&cleared) {
        assert!(screen.contains(&format!(" {from} to {to}, joint 1 band 2 ")), "{from} {to}\n{screen}");
    }
    // The page lists the same, out of the same list.
    assert_eq!(view.history.json().len(), raised.len());
    looks_as_kept("cleared_80", &text(&view, 80, 24));
    looks_as_kept("cleared_120", &screen);
}

#[test]
fn many_cleared_alarms_leave_room_for_the_values_and_are_counted() {
    let (mut view, _) = watched(240);
    let before = text(&view, 80, 24);
    let alarm = ActiveAlarm {
        rule: Rule::VoltageLow,
        channel: None,
        severity: Severity::Stop,
        acknowledged: false,
        shelved: false,
    };
    let (mut with, mut ledger) = (Ledger::default(), Ledger::default());
    with.active.push(alarm);
    for round in 0..100 {
        view.history.correct(&with, f64::from(round));
        view.history.correct(&ledger, f64::from(round) + 0.5);
    }
    ledger.active.push(alarm);
    view.take(&ledger);
    view.settle(&ledger);
    let after = text(&view, 80, 24);
    let values = |screen: &str| screen.lines().filter(|line| line.contains("in range")).count();
    assert!(values(&after) >= values(&before) - 1, "{before}\n{after}");
    assert!(after.contains("STOP   "), "{after}");
    let told = after.lines().find(|line| line.contains("cleared before")).expect("how many there are");
    assert!(told.starts_with("39 alarms") || told.starts_with("and 3"), "{told}");
    let large = text(&view, 120, 60);
    assert!(large.lines().filter(|line| line.starts_with("cleared STOP")).count() >= 4, "{large}");
    for (columns, rows) in
        (0..130).step_by(7).flat_map(|wide| (0..50).step_by(3).map(move |high| (wide, high)))
    {
        text(&view, columns, rows);
    }
}

#[test]
fn every_size_of_window_is_drawn_or_says_what_it_lacks() {
    let view = at(None, 165.0);
    for columns in [1, 20, 59, 60, 61, 80, 109, 110, 200] {
        for rows in [1, 5, 17, 18, 19, 33, 34, 80] {
            let text = text(&view, columns, rows);
            assert_eq!(text.lines().count(), usize::from(rows));
            let is_whole = columns >= 60 && rows >= 18;
            assert_eq!(text.contains("gas flow"), is_whole, "{columns} x {rows}:\n{text}");
        }
    }
    assert!(text(&view, 90, 10).contains("at least 60 and 18"));
}

/// The lines say the same as a replay: every alarm, and every band to the last digit.
#[test]
fn the_lines_are_what_replay_finds() {
    let mut player = player(None);
    player.advance(u64::MAX, None).unwrap();
    assert!(player.is_over());
    let said: Vec<Value> = player.ledger_mut().take_news().iter().map(lines::line).collect();
    let reader = demo::trace().unwrap();
    let mut replayer = Replayer::new(&demo::procedure().unwrap().procedure, reader.header());
    for row in reader {
        replayer.step(&row.unwrap());
    }
    let found = report::json::replay(&replayer.finish());
    let of = |event: &str| said.iter().filter(|line| line["event"] == event).collect::<Vec<_>>();
    let bands: Vec<_> = of("band").iter().map(|line| line["record"].clone()).collect();
    // A gauge is set to finished bands: while they are laid there is no such figure.
    let mut finished = found["bands"].clone();
    for band in finished.as_array_mut().unwrap() {
        band.as_object_mut().unwrap().remove("gauged_less_expected_mm");
    }
    assert_eq!(Value::from(bands), finished);
    let (mut raised, mut cleared) = (Vec::new(), Vec::new());
    for line in of("alarm") {
        let told = (line["rule"].clone(), line["time_s"].clone());
        match line["kind"].as_str() {
            Some("raised") => raised.push(told),
            Some("cleared") => cleared.push(told),
            _ => {}
        }
    }
    let alarms = found["alarms"].as_array().unwrap();
    let expect = |field: &str| -> Vec<_> {
        alarms.iter().map(|alarm| (alarm["rule"].clone(), alarm[field].clone())).collect()
    };
    assert!(raised.len() >= 2);
    assert_eq!(raised, expect("raised_s"));
    let gone: Vec<_> = expect("cleared_s").into_iter().filter(|(_, time)| !time.is_null()).collect();
    assert_eq!(cleared, gone);
    assert_eq!(player.ledger().outcome().name(), found["outcome"]);
    assert_eq!(player.ledger().outcome() == Outcome::Proven, found["within_procedure"]);
}

/// A band on a board: the gas is too low, and somebody has seen it.
fn telemetry() -> Telemetry {
    let values = [(Quantity::Current, 322.0), (Quantity::Voltage, 31.5), (Quantity::GasFlow, 11.0)];
    let mut judged = [None; Quantity::COUNT];
    for (quantity, value) in values {
        judged[quantity as usize] = Some((value * f64::from(1_u32 << quantity.fraction_bits())) as i32);
    }
    let mut alarms = [None; MOST_ALARMS];
    alarms[0] = Some(ActiveAlarm {
        rule: Rule::GasLow,
        channel: None,
        severity: Severity::Warn,
        acknowledged: true,
        shelved: false,
    });
    Telemetry {
        readings: Row::at(165_000_000).with(Channel::Gas, 11.0).with(Channel::Work, 250.0).to_sample(),
        judged,
        phase: Phase::Arc,
        position: Position { band: 2, turned: Some(Degrees::from_milli(90_000)) },
        alarms,
        returned: RuleSet::EMPTY,
        faults: BoardFaults::default(),
        is_bench: false,
        so_far: SoFar {
            joint_number: 1,
            bands: 1,
            band: Outcome::Broken,
            joint: Outcome::Broken,
            broken_in_band: RuleSet::EMPTY.with(Rule::GasLow),
            broken_in_joint: RuleSet::EMPTY.with(Rule::GasLow),
            not_proven: RuleSet::EMPTY,
        },
        outputs: Outputs { relay_energised: true, lamp: Lamp::On, horn: false },
        counts: Counts::default(),
        dropped: 0,
        black_box_frozen: false,
    }
}

fn on_a_board(said: Vec<LinkNews>, later_s: u64) -> View {
    let (file, now) = (demo::procedure().unwrap(), Instant::now());
    let mut remote = Remote::new(now, SILENCE, false);
    remote.take(LinkNews::Linked { procedure_crc: crc_of(&file.procedure) }, now);
    for one in said {
        remote.take(one, now);
    }
    let system = bandward_sim::input::quantity::UnitSystem::Metric;
    let mut view = View::new("tcp:board:5555".into(), system, "q quit");
    remote.show(&mut view, Some(&file), now + Duration::from_secs(later_s));
    view
}

fn told(telemetry: &Telemetry) -> LinkNews {
    LinkNews::Report(Box::new(Report::Telemetry(*telemetry)))
}

/// Whoever connects in the middle of a band with an alarm sees all of it at once.
#[test]
fn one_telemetry_is_enough_for_the_whole_screen() {
    let view = on_a_board(vec![told(&telemetry())], 1);
    assert_eq!(view.outcome, Outcome::Broken, "what was raised before counts");
    looks_as_kept("board_80", &text(&view, 80, 24));
}

#[test]
fn no_data_is_never_good_data() {
    let so_far = SoFar {
        joint_number: 1,
        bands: 1,
        band: Outcome::Proven,
        joint: Outcome::Proven,
        ..SoFar::default()
    };
    let good = Telemetry { alarms: [None; MOST_ALARMS], so_far, ..telemetry() };
    let calm = on_a_board(vec![told(&good)], 1);
    assert_eq!(calm.verdict().word, "IN RANGE");
    let silent = on_a_board(vec![told(&good)], 7);
    let lost = on_a_board(vec![told(&good), LinkNews::Lost("the other end closed it".into())], 7);
    let again = on_a_board(
        vec![
            told(&good),
            LinkNews::Lost("the other end closed it".into()),
            LinkNews::Linked { procedure_crc: crc_of(&demo::procedure().unwrap().procedure) },
        ],
        1,
    );
    for (view, word) in [(&silent, "NO DATA"), (&lost, "NO LINK"), (&again, "NO DATA")] {
        let verdict = view.verdict();
        assert_eq!((verdict.word, verdict.tone), (word, Tone::Stop));
        let shown = text(view, 80, 24);
        assert!(
            !shown.contains("in range") && !shown.contains("322") && !shown.contains("energised"),
            "{shown}"
        );
    }
    looks_as_kept("no_link_80", &text(&lost, 80, 24));
    // The relay has let go, and no alarm says why: the faults of the board do, and what nobody acknowledged.
    let outputs = Outputs { relay_energised: false, lamp: Lamp::On, horn: false };
    let faults =
        BoardFaults { silent: ChannelSet::EMPTY.with(Channel::Gas), journal: true, ..BoardFaults::default() };
    let returned = RuleSet::EMPTY.with(Rule::GasLow);
    for (why, words) in [
        (Telemetry { outputs, ..good }, "judged nothing"),
        (Telemetry { outputs, faults, ..good }, "no valid reading of gas"),
        (Telemetry { outputs, faults, ..good }, "journal fails"),
        (Telemetry { outputs, returned, ..good }, "gas-low over but not acknowledged"),
    ] {
        let verdict = on_a_board(vec![told(&why)], 1).verdict();
        assert_eq!((verdict.word, verdict.tone), ("STOP", Tone::Stop));
        assert!(verdict.rest.contains(words), "{}", verdict.rest);
    }
    // A fault that holds no weld is told too.
    let faults = BoardFaults { journal: true, ..BoardFaults::default() };
    let failing = on_a_board(vec![told(&Telemetry { faults, ..good })], 1).verdict();
    assert_eq!((failing.word, failing.tone), ("FAULT", Tone::Bad));
    // In a bench test it is released for that alone.
    let bench = on_a_board(vec![told(&Telemetry { outputs, is_bench: true, ..good })], 1);
    assert_eq!(bench.verdict().word, "IN RANGE");
    // Another procedure is in force: its ranges are not those of the file.
    let other = on_a_board(vec![LinkNews::Linked { procedure_crc: 7 }, told(&good)], 1);
    assert_eq!(other.verdict().tone, Tone::Careful);
    let shown = text(&other, 110, 34);
    assert!(shown.contains("no range") && shown.contains("NOT Small joint"), "{shown}");
}

/// A wrong polarity is put away before it is known which pole is wrong, and taken back when it is.
#[test]
fn a_wrong_polarity_is_taken_from_the_shelf_whichever_pole_it_was() {
    use bandward::{AlarmEvent, AlarmKind, Event, Sink as _};
    use bandward_sim::watch::ledger::Ledger;
    let event = |kind, channel| {
        Event::Alarm(AlarmEvent {
            time_us: 1_000_000,
            kind,
            rule: Rule::PolarityWrong,
            channel,
            severity: Severity::Stop,
            onset_us: 0,
            position: Position { band: 1, turned: None },
            worst: 0,
            limit: None,
        })
    };
    let mut ledger = Ledger::default();
    ledger.event(&event(AlarmKind::Shelved, None));
    assert!(ledger.active.is_empty(), "what is put away before it is raised is not active");
    ledger.event(&event(AlarmKind::Raised, Some(Channel::Current)));
    ledger.event(&event(AlarmKind::Shelved, None));
    assert_eq!(ledger.active.iter().map(|alarm| alarm.shelved).collect::<Vec<_>>(), [true]);
    ledger.event(&event(AlarmKind::Unshelved, Some(Channel::Current)));
    assert_eq!(ledger.active.iter().map(|alarm| alarm.shelved).collect::<Vec<_>>(), [false]);
    ledger.event(&event(AlarmKind::Cleared, Some(Channel::Current)));
    assert!(ledger.active.is_empty());
}
