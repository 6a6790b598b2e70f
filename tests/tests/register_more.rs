//! What else goes into a register: setups and inspections on their own, joints that end on a board; and what names a joint
//! in a log and a chart in a trend.
//!
//! All joints, serials and readings are invented.

use bandward::flash::journal::Kept;
use bandward::link::Report;
use bandward::record::stamp::{Serial, Stamp};
use bandward_sim::demo;
use bandward_sim::process::{Scenario, Targets};
use bandward_sim::register::{Register, VERSION};
use bandward_sim::replay::Replay;
use bandward_tests::fake_board::{self, Voice, telemetry};
use bandward_tests::program::Ran;
use bandward_tests::said::write;
use bandward_tests::second::random::Chance;
use bandward_tests::{made, program, registered};
use rusqlite::Connection;
use serde_json::{Value, json};
use std::fs;
use std::io::{BufRead as _, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::LazyLock;
use std::time::Duration;
use tempfile::TempDir;

struct Shop(TempDir);

impl Shop {
    fn new() -> Self {
        let shop = Self(tempfile::tempdir().expect("a folder"));
        let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sim/demo");
        fs::copy(demo.join("procedure.toml"), shop.path("p.toml")).expect("copied");
        fs::copy(demo.join("setup.toml"), shop.path("s.toml")).expect("copied");
        shop
    }
    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }
    /// Runs the program; `words` are parted by blanks.
    fn run(&self, words: &str, code: i32) -> Ran {
        program::ran(self.0.path(), words, code)
    }
    /// A register with an invented joint that was proven.
    fn with_sound_joint(&self, serial: &str) {
        let mut record = registered::record(serial);
        record["outcome"] = "proven".into();
        record["joints"][0]["outcome"] = "proven".into();
        let mut register = Register::open(&self.path("shop.register")).expect("a register");
        assert!(registered::add_record(&mut register, serial, &record).expect("added"));
    }
    fn find(&self, more: &str) -> Vec<Value> {
        let ran = self.run(&format!("register find shop.register --json{more}"), 0);
        ran.out.lines().map(|line| serde_json::from_str(line).expect("an object a line")).collect()
    }
}

fn good() -> &'static Replay {
    static GOOD: LazyLock<Replay> = LazyLock::new(|| made::replay(&scenario(), &file().procedure).0);
    &GOOD
}

fn file() -> bandward_sim::input::procedure_file::ProcedureFile {
    demo::procedure().expect("the demo is sound")
}

fn scenario() -> Scenario {
    Scenario::good(Targets::of_file(&file()), 10.0)
}

#[test]
fn a_setup_without_a_log_is_kept_for_its_joint_once() {
    let shop = Shop::new();
    let setup = "setup -p p.toml --from s.toml --joint TJ-7 --register shop.register";
    let code =
        program::run_in(shop.0.path(), &setup.split(' ').collect::<Vec<_>>()).status.code().expect("a code");
    let again = shop.run(setup, code);
    assert!(
        again.err.contains("recorded in shop.register: nothing new; this setup was there already"),
        "{}",
        again.err
    );
    let found = shop.find("");
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!(found[0]["without_joint"]["serial"], "TJ-7");
    let told = shop.run("register find shop.register --serial tj-*", 0);
    assert!(told.out.contains("no joint yet: setup of TJ-7"), "{}", told.out);
    assert!(shop.find(" --machine bay-2").is_empty(), "asked for something else");
    let missing = shop.run("register show shop.register --serial TJ-7", 2);
    assert!(missing.err.contains("without a joint there is: setup of TJ-7"), "{}", missing.err);
    // The joint comes; other letters are the same serial.
    shop.with_sound_joint("tj-7");
    let found = shop.find("");
    assert_eq!((found.len(), &found[0]["serial"]), (1, &"tj-7".into()), "{found:?}");
    let words = found[0]["recorded_alone"][0].as_str().expect("the setup");
    assert!(words.starts_with("setup "), "{words}");
    assert_eq!(found[0]["outcome_of_judgement"], "proven");
    shop.run("register check shop.register", 0);
    // Signed it is another text, and the newest one counts. It is signed now, so that it is given as a file again.
    shop.run("setup -p p.toml --from s.toml --joint TJ-7 --save own.toml --initials AB", code);
    let signed = shop.run("setup -p p.toml --from own.toml --register shop.register", code);
    assert!(signed.err.contains("setup of TJ-7, which is joint 1"), "{}", signed.err);
    assert!(
        shop.run("setup -p p.toml --from own.toml --register shop.register", code)
            .err
            .contains("nothing new")
    );
    assert!(shop.run("register show shop.register --serial TJ-7", 0).out.contains("signed by AB at "));
    // A register that cannot be written takes nothing from what is shown, and is told.
    let failed = shop.run("setup -p p.toml --from own.toml --register no/such/folder.register", 2);
    assert!(
        failed.err.contains("NOT RECORDED: the setup is shown")
            && failed.out.starts_with("Before anything else"),
        "{}",
        failed.err
    );
    let wrong = shop.run("setup -p p.toml --from own.toml --register p.toml", 2);
    assert!(
        wrong.err.contains("p.toml is no register") && wrong.out.is_empty(),
        "{}{}",
        wrong.out,
        wrong.err
    );
}

#[test]
fn an_inspection_counts_for_the_joint_of_its_serial() {
    let shop = Shop::new();
    shop.with_sound_joint("TJ-8");
    shop.with_sound_joint("TJ-9");
    let bands = |height: &str| {
        let band = |band: u32| {
            format!(
                "[[band]]\nband = {band}\nheight = [\"{height}\", \"{height}\", \"{height}\", \"{height}\"]\n"
            )
        };
        format!(
            "[inspection]\nserial = \"TJ-8\"\nby = \"CD\"\ndate = \"2026-03-05\"\n{}",
            (1..=3).map(band).collect::<String>()
        )
    };
    fs::write(shop.path("low.toml"), bands("0.2 mm")).expect("written");
    let inspect = "inspect -p p.toml --from low.toml --register shop.register";
    let first = shop.run(inspect, 1);
    assert!(first.err.contains("inspection of TJ-8, which is joint 1"), "{}", first.err);
    assert!(shop.run(inspect, 1).err.contains("nothing new; this inspection was there already"));
    let broken = shop.find(" --outcome broken");
    assert_eq!((broken.len(), &broken[0]["serial"]), (1, &"TJ-8".into()), "{broken:?}");
    assert_eq!(broken[0]["recorded_alone"], json!(["inspection broken"]));
    assert_eq!(shop.find(" --outcome proven").len(), 1, "the other one is not touched");
    let told = shop.run("register find shop.register --serial TJ-8", 0);
    let flat = told.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("OUTSIDE; ") && flat.contains("inspection recorded on its own: OUTSIDE"), "{flat}");
    let told = shop.run("register show shop.register --serial TJ-8", 0);
    assert!(
        told.out.contains("inspection of TJ-8: OUTSIDE, signed by CD at 2026-03-05 (low.toml)"),
        "{}",
        told.out
    );
    // What was judged stays as it was judged.
    shop.run("register check shop.register", 0);
}

#[test]
fn a_register_of_version_3_gets_the_new_table_and_keeps_its_joints() {
    let shop = Shop::new();
    shop.with_sound_joint("TJ-3");
    let older = Connection::open(shop.path("shop.register")).expect("opened");
    older
        .execute_batch(
            "DROP TABLE documents; ALTER TABLE joints DROP COLUMN recorded; \
         ALTER TABLE joints DROP COLUMN outcome_of_judgement; PRAGMA user_version = 3;",
        )
        .expect("made older");
    drop(older);
    let told = shop.run("register check shop.register", 0);
    assert!(
        told.out.contains(&format!("1 logs, 1 judgements, 1 joints; schema version {VERSION}")),
        "{}",
        told.out
    );
    assert_eq!(shop.find("")[0]["serial"], "TJ-3");
    // A text that was changed by hand is found.
    // What was measured is not within the demo's procedure.
    shop.run("setup -p p.toml --from s.toml --register shop.register", 1);
    let by_hand = Connection::open(shop.path("shop.register")).expect("opened");
    by_hand.execute("UPDATE documents SET text = text || ' '", []).expect("changed");
    drop(by_hand);
    assert!(
        shop.run("register check shop.register", 1).out.contains("setup 1 is not the text whose SHA-256")
    );
}

/// Says nothing more until the host is gone.
fn wait(voice: &mut Voice) {
    while voice.answer(Duration::from_millis(50)).as_deref() != Some("gone") {}
}

/// A board on which the good joint ends, told from its band `first` on; its journal has it too, once.
fn board(first: usize) -> String {
    board_told(first, Stamp::NONE)
}

/// As [`board`], with this of every record.
fn board_told(first: usize, stamp: Stamp) -> String {
    let replay = good();
    fake_board::start(move |voice| {
        voice.say(&Report::Telemetry(telemetry(1)));
        for band in &replay.bands[first..] {
            voice.say(&Report::Band { record: *band, stamp });
        }
        voice.say(&Report::Joint { record: replay.joints[0], stamp });
        let kept: Vec<Kept> = replay
            .bands
            .iter()
            .map(|band| Kept::Band(*band))
            .chain([Kept::Joint(replay.joints[0])])
            .collect();
        let mut next = 0;
        loop {
            match voice.answer(Duration::from_millis(50)).as_deref() {
                Some("gone") => return,
                Some("journal") => {
                    let record = kept.get(next).copied();
                    next += 1;
                    voice.say(&record.map_or(Report::JournalEnd, |record| Report::Journal {
                        number: next as u32,
                        record,
                        stamp,
                    }));
                }
                _ => {}
            }
        }
    })
}

/// What the board was told goes into the register, whichever way the joint comes, and what is said here before that.
#[test]
fn the_date_and_the_serial_of_the_board_are_recorded() {
    let shop = Shop::new();
    // 11,016 days after the first of 1970 is the leap day of 2000.
    let stamp = Stamp { began_utc_s: Some(11_016 * 86_400 + 3_600), serial: Serial::new(b"TJ-9") };
    let address = board_told(0, stamp);
    let fetch = |register: &str| {
        shop.run(&format!("watch --tcp {address} --fetch-journal j.json --register {register}"), 0)
    };
    let found = |register: &str| -> Value {
        let ran = shop.run(&format!("register find {register} --json"), 0);
        serde_json::from_str(ran.out.lines().next().expect("a joint")).expect("an object a line")
    };
    let fetched = fetch("of-journal.register");
    assert!(fetched.out.contains("joint 1, serial TJ-9"), "{}{}", fetched.out, fetched.err);
    let (told, _) = watched(&shop, &address, "--register live.register");
    assert_eq!(told, ["recorded in live.register: joint 1, serial TJ-9"]);
    for register in ["of-journal.register", "live.register"] {
        let one = found(register);
        assert_eq!((&one["serial"], &one["welded_at"]), (&"TJ-9".into(), &"2000-02-29T01:00:00Z".into()));
    }
    let said = "--register said.register --serial TJ-5 --welded-at 2000-02-28T23:00:00Z";
    let (told, _) = watched(&shop, &address, said);
    assert_eq!(told, ["recorded in said.register: joint 1, serial TJ-5"]);
    assert_eq!(found("said.register")["welded_at"], "2000-02-28T23:00:00Z");
    // The file that was fetched tells it too, and `trend` orders by it.
    let text = fs::read_to_string(shop.path("j.json")).expect("written");
    let [one] = &serde_json::from_str::<Vec<Value>>(&text).expect("JSON")[..] else { panic!("{text}") };
    for place in [&one["context"], &one["joints"][0], &one["bands"][0]] {
        assert_eq!((&place["serial"], &place["welded_at"]), (&"TJ-9".into(), &"2000-02-29T01:00:00Z".into()));
    }
    let records = bandward_sim::trend::record::parse("j.json", &text).expect("records");
    assert_eq!(
        records.iter().map(|record| record.begun()).collect::<Vec<_>>(),
        [Some("2000-02-29T01:00:00Z")]
    );
}

/// Watches until something is told of the register, ends it, and gives all that was told of it and the exit code.
fn watched(shop: &Shop, address: &str, more: &str) -> (Vec<String>, Option<i32>) {
    let mut child = Command::new(program::path())
        .args(["watch", "--tcp", address, "-p", "p.toml"])
        .args(more.split(' '))
        .current_dir(shop.0.path())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("it runs");
    let lines = BufReader::new(child.stdout.take().expect("piped")).lines().map_while(Result::ok);
    let mut told = Vec::new();
    for line in lines {
        let line: Value = serde_json::from_str(&line).expect("an object a line");
        if line["event"] == "register" {
            told.push(line["words"].as_str().expect("words").to_owned());
            let is_last = told.iter().any(|words| words.contains("joint "));
            if is_last {
                Command::new("kill").arg(child.id().to_string()).status().expect("it runs");
            }
        }
    }
    let ended = program::ended_within(&mut child, Duration::from_secs(5)).expect("it ends");
    (told, ended.code())
}

#[test]
fn a_joint_that_ends_on_a_board_is_recorded_once() {
    let shop = Shop::new();
    let address = board(0);
    let options = "--register shop.register --serial TJ-5 --machine bay-2 --operator AB";
    let (told, _) = watched(&shop, &address, options);
    assert_eq!(told, ["recorded in shop.register: joint 1, serial TJ-5"]);
    let found = shop.find("");
    assert_eq!(
        (&found[0]["serial"], &found[0]["machine"], &found[0]["bands"]),
        (&"TJ-5".into(), &"bay-2".into(), &3.into())
    );
    assert_eq!(found[0]["outcome_of_judgement"], good().joints[0].outcome.name());
    let shown = shop.run("register show shop.register --serial TJ-5", 0);
    // The fake board judges by another procedure than the one named.
    assert!(shown.out.contains("judged by another procedure than the one named"), "{}", shown.out);
    // Connected again it is the same joint, and so it is out of the journal.
    let (told, _) = watched(&shop, &address, options);
    assert_eq!(told.len(), 1);
    assert!(told[0].contains("nothing new") && told[0].ends_with("is joint 1"), "{told:?}");
    let journal = format!("watch --tcp {address} --fetch-journal j.json --register shop.register");
    let fetched = shop.run(&journal, 0);
    assert!(fetched.out.contains("nothing new"), "{}{}", fetched.out, fetched.err);
    assert_eq!(shop.find("").len(), 1);
    // The journal alone is enough.
    let alone = shop.run(&journal.replace("shop.register", "other.register"), 0);
    assert!(alone.out.contains("recorded in other.register: joint 1, no serial was told"), "{}", alone.out);
    shop.run("register check shop.register", 0);
}

#[test]
fn a_joint_of_which_a_band_was_not_heard_is_told_and_a_failing_register_ends_no_watch() {
    let shop = Shop::new();
    let (told, _) = watched(&shop, &board(1), "--register shop.register --serial TJ-5");
    assert_eq!(told.len(), 1);
    assert!(told[0].contains("NOT RECORDED: 2 of its 3 bands were heard"), "{told:?}");
    assert!(shop.find("").is_empty());
    let (told, code) = watched(&shop, &board(0), "--register no/such/folder.register");
    assert!(told[0].contains("no such folder; the watch goes on"), "{told:?}");
    assert!(told.last().is_some_and(|words| words.contains("joint 1 is NOT RECORDED")), "{told:?}");
    assert_eq!(code, Some(2));
    // A file that is no register is refused before anything is watched.
    let silent = fake_board::start(wait);
    let wrong = shop.run(&format!("watch --tcp {silent} -p p.toml --register s.toml"), 2);
    assert!(wrong.err.contains("s.toml is no register"), "{}", wrong.err);
    let without = shop.run(&format!("watch --tcp {silent} --operator AB"), 2);
    assert!(without.err.contains("--register"), "{}", without.err);
}

/// The good joint's trace with a column of serials that changes at a time, and the layout for it.
fn with_serials(shop: &Shop, change_s: f64) {
    write(scenario().rows(), &shop.path("plain.csv"));
    let text = fs::read_to_string(shop.path("plain.csv")).expect("the trace");
    let of = |line: &str| {
        let time_s: f64 = line.split(',').next().and_then(|cell| cell.parse().ok()).expect("a time");
        if time_s < change_s { "TJ-1" } else { "TJ-2" }
    };
    let lines = text.lines().enumerate().map(|(index, line)| match index {
        0 => format!("{line},Joint no\n"),
        _ => format!("{line},{}\n", of(line)),
    });
    fs::write(shop.path("log.csv"), lines.collect::<String>()).expect("written");
    let channel = |(key, column, unit): (&str, &str, &str)| {
        format!("{key} = {{ column = \"{column}\", unit = \"{unit}\" }}\n")
    };
    let channels = [
        ("current", "current_a", "A"),
        ("voltage", "voltage_v", "V"),
        ("gas", "gas_lpm", "L/min"),
        ("torch", "torch_mm", "mm"),
        ("spindle", "spindle_deg", "deg"),
        ("carriage", "carriage_mm", "mm"),
    ];
    let channels: String = channels.into_iter().map(channel).collect();
    let layout =
        format!("[time]\nseconds = \"time_s\"\n[channels]\n{channels}[joint]\nserial = \"Joint no\"\n");
    fs::write(shop.path("layout.toml"), layout).expect("written");
}

#[test]
fn a_serial_that_changes_in_the_log_begins_a_new_joint() {
    let shop = Shop::new();
    let bands = &good().bands;
    let seconds = |micros: u64| micros as f64 / 1e6;
    let between = f64::midpoint(seconds(bands[0].end_us), seconds(bands[1].start_us));
    let within = f64::midpoint(seconds(bands[1].start_us), seconds(bands[1].end_us));
    for (change_s, sizes, disagree) in [(between, [1, 2], 0), (within, [2, 1], 1)] {
        with_serials(&shop, change_s);
        let output = program::run_in(
            shop.0.path(),
            &["replay", "log.csv", "--layout", "layout.toml", "-p", "p.toml", "--json"],
        );
        let told: Value = serde_json::from_slice(&output.stdout).expect("an object");
        let joints = told["joints"].as_array().expect("joints");
        let found: Vec<_> =
            joints.iter().map(|joint| (joint["serial"].clone(), joint["bands"].clone())).collect();
        let wanted =
            [("TJ-1", sizes[0]), ("TJ-2", sizes[1])].map(|(serial, size)| (json!(serial), json!(size)));
        assert_eq!(found, wanted, "change at {change_s} s");
        assert_eq!(told["identity"]["disagreements"].as_array().expect("a list").len(), disagree);
        let notes = told["identity"]["notes"].to_string();
        assert!(notes.contains("the serial changes from TJ-1 to TJ-2 (the log, line "), "{notes}");
    }
}

/// A record of a joint with this mean voltage in its bands.
fn record(machine: &str, number: u32, volts: f64) -> Value {
    let mut record = registered::record(&format!("{machine}-{number}"));
    record["outcome"] = "proven".into();
    record["trace"]["path"] = format!("{machine}-{number}.csv").into();
    record["trace"]["start"] = format!("2026-03-{:02}T{:02}:00:00", 1 + number / 20, number % 20).into();
    record["context"] = json!({ "machine": machine, "procedure": "A", "outside_diameter_mm": 165.0 });
    for band in record["bands"].as_array_mut().expect("bands") {
        band["outcome"] = "proven".into();
        band["voltage_v"] = json!({ "mean": volts, "min": volts - 2.0, "max": volts + 2.0, "sd": 0.4 });
    }
    record
}

#[test]
fn a_drift_names_its_machine_and_not_the_number_of_its_chart() {
    let shop = Shop::new();
    let mut chance = Chance::new(5, 7);
    let mut records = Vec::new();
    for number in 0..80_u32 {
        for (machine, slope) in [("bay-1", 0.0), ("bay-2", 0.05)] {
            let drift = slope * f64::from(number.saturating_sub(40));
            records.push(record(machine, number, 31.0 + chance.between(-0.2, 0.2) - drift));
        }
    }
    fs::write(shop.path("records.json"), Value::from(records).to_string()).expect("written");
    let told = shop.run("trend records.json", 1).out;
    let flat = told.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("DRIFTING: mean voltage (machine bay-2)"), "{told}");
    // What the charts have in common, procedure and diameter, tells nothing.
    assert!(!flat.contains("(machine bay-2, ") && !flat.contains("(machine bay-1"), "{told}");
}
