//! What comes in any amount is taken in a bounded one: alarms on a page, reports of a board that never stops
//! talking, files without an end.

use bandward::link::Report as Told;
use bandward::{Channel, Event, Phase, Rule, Severity};
use bandward_sim::alarm::Alarm;
use bandward_sim::findings::{self, band_history::Live};
use bandward_sim::input::quantity::UnitSystem;
use bandward_sim::process::scenario::Scenario;
use bandward_sim::process::targets::Targets;
use bandward_sim::recording::Recorder;
use bandward_sim::replay::Replayer;
use bandward_sim::report::{Report, page, picture};
use bandward_tests::fake_board::{self, telemetry};
use bandward_tests::made::{header, quick_procedure};
use bandward_tests::program;
use std::fmt::Write as _;
use std::fs;
use std::io::Read as _;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

/// The largest page that a browser draws at once, bytes: that of a long joint is half of it.
const LARGEST_PAGE: usize = 3 << 20;

#[test]
fn a_page_of_a_hundred_thousand_alarms_can_be_drawn_and_says_where_the_others_are() {
    let file = quick_procedure();
    let good = Scenario::good(Targets::of_file(&file), 10.0).with_seed(7);
    let scenario = good.with_default_fault(Rule::GasLow, 7).expect("a fault is made for the rule");
    let header = header(&scenario);
    let (mut replayer, mut recorder) = (Replayer::new(&file.procedure, &header), Recorder::new(&header));
    for row in scenario.rows() {
        replayer.step(&row);
        recorder.take(&row, replayer.monitor());
    }
    let mut replay = replayer.finish();
    let alarm = *replay.alarms.iter().find(|alarm| alarm.rule == Rule::GasLow).expect("it is raised");
    let recording = recorder.finish().expect("rows");
    let report = |replay: &_| {
        page::page(&Report {
            replay,
            recording: &recording,
            procedure: Some(&file),
            setup: None,
            provenance: None,
            system: UnitSystem::Metric,
        })
    };
    let few = report(&replay).len();
    let mild = Alarm { severity: Severity::Advise, ..alarm };
    replay.alarms = (0..100_000).map(|index| Alarm { onset_us: alarm.onset_us + index, ..mild }).collect();
    replay.alarms[90_000] = Alarm { severity: Severity::Stop, rule: Rule::CoolantLow, ..alarm };
    let page = report(&replay);
    assert!(page.len() < LARGEST_PAGE && page.len() < 3 * few, "{} bytes, {few} with few", page.len());
    assert!(page.contains("And 99500 more: 99500 in band"), "it says how many more, and where");
    assert!(
        page.contains("id=\"alarm-0\"") && page.contains("id=\"alarm-90000\""),
        "the first and the worst"
    );
    let drawn = picture::png(&Report {
        replay: &replay,
        recording: &recording,
        procedure: Some(&file),
        setup: None,
        provenance: None,
        system: UnitSystem::Metric,
    });
    assert!(drawn.expect("a picture").len() < LARGEST_PAGE);
}

/// A trace may make thousands of bands of one joint, with alarms that come and go in each: each is held against the
/// other bands, which would take hours.
#[test]
fn causes_of_any_number_of_alarms_are_looked_for_in_a_bounded_number() {
    let file = quick_procedure();
    let good = Scenario::good(Targets::of_file(&file), 10.0).with_seed(7);
    let scenario = good.with_default_fault(Rule::GasLow, 7).expect("a fault is made for the rule");
    let mut replayer = Replayer::new(&file.procedure, &header(&scenario));
    for row in scenario.rows() {
        replayer.step(&row);
    }
    let alarm =
        *replayer.finish().alarms.iter().find(|alarm| alarm.rule == Rule::GasLow).expect("it is raised");
    let found = |bands: u16, of_each: u64| -> usize {
        let each = |band| (0..of_each).map(move |n| Alarm { band, onset_us: alarm.onset_us + n, ..alarm });
        let alarms: Vec<Alarm> = (1..=bands).flat_map(each).collect();
        let causes = findings::find(&file.procedure, &[], &alarms, &[], &[Live::NOTHING; Channel::COUNT]);
        causes.iter().map(|cause| cause.places().count()).max().unwrap_or(0)
    };
    assert_eq!(found(5, 1), 5, "every band of a joint");
    assert_eq!((found(300, 1), found(300, 100)), (300, 250), "16 of each band, 4,000 together");
    assert_eq!(found(9_000, 1), 4_000);
}

/// A log at 10 rows a second in which amps, volts and gas go out and come back every two or three seconds: arcs of so many
/// seconds, 5 s apart.
fn flickering(rows: u32, arc_s: f64) -> String {
    let mut log = "time_s,current_a,voltage_v,gas_lpm,spindle_deg,torch_mm\n".to_owned();
    for row in 0..rows {
        let (time_s, noise) = (f64::from(row) / 10.0, f64::from(row).sin());
        let is_on = |every_s: f64| (time_s / every_s) as u32 % 2 == 1;
        let (amps, volts) = if time_s % (arc_s + 5.0) > arc_s {
            (0.0, 0.0)
        } else {
            (
                if is_on(2.0) { 320.0 } else { 200.0 } + 5.0 * noise,
                if is_on(2.5) { 31.5 } else { 24.0 } + 0.2 * noise,
            )
        };
        let gas = if is_on(3.0) { 17.0 } else { 5.0 } + 0.1 * noise;
        let (spindle, torch) =
            ((time_s * 4.28) % 360.0, 12.5 * (time_s * std::f64::consts::TAU * 80.0 / 60.0).sin());
        writeln!(log, "{time_s:.1},{amps:.1},{volts:.2},{gas:.2},{spindle:.3},{torch:.3}")
            .expect("in memory");
    }
    log
}

/// What a replay of a log took when all is told and nobody has read it yet: its alarms, the most memory (bytes) and its time
/// on a processor (hundredths of a second, as Linux counts).
fn cost(log: &str) -> (usize, f64, i64) {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("log.csv"), log).expect("written");
    let procedure = concat!(env!("CARGO_MANIFEST_DIR"), "/../sim/demo/procedure.toml");
    let mut child = Command::new(program::path())
        .args(["replay", "log.csv", "--json", "--procedure", procedure])
        .current_dir(folder.path())
        .stdout(Stdio::piped())
        .spawn()
        .expect("it runs");
    let mut said = child.stdout.take().expect("piped");
    let mut text = vec![0];
    said.read_exact(&mut text).expect("it tells something");
    let memory = peak_mb(&child) * 1_048_576.0;
    let times = fs::read_to_string(format!("/proc/{}/stat", child.id())).expect("it runs");
    let times: Vec<i64> = times.split(' ').filter_map(|word| word.parse().ok()).collect();
    said.read_to_end(&mut text).expect("told");
    child.wait().expect("it ends");
    let told: serde_json::Value = serde_json::from_slice(&text).expect("an object");
    // proc(5): the number is the first, utime the fourteenth word; name and state are no numbers.
    (told["alarms"].as_array().expect("a list").len(), memory, times[11])
}

/// Alarms that come and go for days take as much time and memory each as in an hour.
#[test]
fn time_and_memory_of_a_replay_grow_with_its_alarms_and_no_faster() {
    let [few, many] = [50_000, 200_000].map(|rows| cost(&flickering(rows, 20.0)));
    let times = many.0 as f64 / few.0 as f64;
    assert!(few.0 > 1_000 && times > 2.0, "{few:?} {many:?}");
    assert!((many.2 as f64) < 1.5 * times * few.2.max(50) as f64, "{few:?} {many:?}");
    // One arc, so that nothing but rows and alarms grows.
    let [few, many] = [100_000, 300_000].map(|rows| cost(&flickering(rows, 1e9)));
    let each = (many.1 - few.1) / (many.0 - few.0) as f64;
    assert!(few.0 > 3_000 && each < 2_048.0, "{each} bytes an alarm: {few:?} {many:?}");
}

/// The most memory a running program ever had, MB.
fn peak_mb(child: &Child) -> f64 {
    let status = fs::read_to_string(format!("/proc/{}/status", child.id())).expect("it runs");
    let line = status.lines().find(|line| line.starts_with("VmHWM")).expect("a peak");
    line.split_whitespace().nth(1).expect("kB").parse::<f64>().expect("a number") / 1024.0
}

#[test]
fn a_board_that_floods_fills_no_memory_and_the_watch_still_ends() {
    let address = fake_board::start(|voice| {
        let arc = |time_us| Event::Phase { time_us, phase: Phase::Arc, band: 1 };
        let told = |time_us| [Told::Event(arc(time_us)), Told::Telemetry(telemetry(time_us))];
        let mut start_us = 0;
        while voice.say_all((0..1000).flat_map(|index| told(start_us + index * 1000))) {
            start_us += 1_000_000;
        }
    });
    let mut child = Command::new(program::path())
        .args(["watch", "--tcp", &address])
        // Nobody reads it for now.
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("it runs");
    std::thread::sleep(Duration::from_secs(4));
    let peak_mb = peak_mb(&child);
    let asked = Command::new("kill").arg(child.id().to_string()).status().expect("it runs");
    assert!(asked.success());
    let mut said = child.stdout.take().expect("piped");
    std::thread::spawn(move || std::io::copy(&mut said, &mut std::io::sink()));
    let ended = program::ended_within(&mut child, Duration::from_secs(5));
    assert!(ended.is_some(), "it ends when it is asked to");
    assert!(peak_mb < 60.0, "{peak_mb} MB");
}

#[test]
fn a_journal_and_a_black_box_without_an_end_are_refused() {
    for (option, wanted) in [("--fetch-journal", "journal"), ("--fetch-blackbox", "black box")] {
        let address = fake_board::start(move |voice| {
            while voice.answer(Duration::from_millis(100)).as_deref() != Some(wanted) {}
            let record = bandward::flash::journal::Kept::Band(bandward::BandRecord::default());
            let told = |number| match wanted {
                "journal" => Told::Journal { number, record, stamp: bandward::record::stamp::Stamp::NONE },
                _ => Told::BlackBox { number, bytes: &[0; 100][..] },
            };
            let _ = (0..1_000_000).all(|number| voice.say(&told(number)));
        });
        let folder = tempfile::tempdir().expect("a folder");
        let output = Command::new(program::path())
            .args(["watch", "--tcp", &address, option, "fetched.csv"])
            .current_dir(folder.path())
            .output()
            .expect("it runs");
        let words = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{words}");
        assert!(words.contains(&format!("no {wanted} holds so many")), "{words}");
        assert_eq!(fs::read_dir(folder.path()).expect("a folder").count(), 0);
    }
}

#[test]
fn files_without_an_end_are_refused() {
    for arguments in [
        &["replay", "--procedure", "/dev/zero"][..],
        &["replay", "--layout", "/dev/zero"],
        &["replay", "--setup", "/dev/zero"],
        &["synth", "/dev/zero", "-o", "x.csv"],
        &["setup", "--from", "/dev/zero"],
        &["replay", "/dev/zero"],
        &["trend", "/dev/zero"],
    ] {
        let folder = tempfile::tempdir().expect("a folder");
        let mut command = Command::new("sh");
        // Whoever would fill the memory is stopped by the system, at 1 GB.
        command.args(["-c", "ulimit -v 1000000; exec \"$0\" \"$@\""]).arg(program::path());
        let output = command.args(arguments).current_dir(folder.path()).output().expect("it runs");
        let words = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {words}");
        assert!(words.contains("is longer than") || words.contains("neither text"), "{arguments:?}: {words}");
    }
}
