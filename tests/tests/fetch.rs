//! What is fetched from a board that does not give all of it, or gives it twice: told, kept, and never wiped there.

use bandward::delta::Encoder;
use bandward::flash::journal::Kept;
use bandward::link::{Refusal, Report};
use bandward::record::stamp::Stamp;
use bandward::{BandRecord, JointRecord, Outcome, Sample};
use bandward_tests::fake_board;
use bandward_tests::program::{ended_within, path, ran, run_in};
use serde_json::Value;
use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;
use tempfile::TempDir;

/// The machine may be very busy; what must not be is that it asks for ever.
const SOON: Duration = Duration::from_secs(30);

fn folder() -> TempDir {
    tempfile::tempdir().expect("a folder")
}

/// Samples as a block of a black box, with what is wrong with it at its end.
fn block(from_us: u64, wrong: &[u8]) -> Vec<u8> {
    let (mut encoder, mut bytes, mut used) = (Encoder::new(), [0; 256], 0);
    for index in 0..10 {
        let sample = Sample::at(from_us + index * 1000).current(bandward::units::Current::amps(300));
        used += encoder.push(&sample, &mut bytes[used..]).expect("room");
    }
    [&bytes[..used], wrong].concat()
}

/// A board that answers each question for its black box with the next of these, then with an end; and whether it was
/// told to re-arm it.
fn box_of(answers: Vec<Option<(u32, Vec<u8>)>>) -> (String, Arc<AtomicBool>) {
    let is_released = Arc::<AtomicBool>::default();
    let told = is_released.clone();
    let address = fake_board::start(move |voice| {
        let mut answers = answers.iter();
        loop {
            match voice.answer(Duration::from_millis(20)).as_deref() {
                Some("gone") => return,
                Some("black box") => {
                    voice.say(&match answers.next() {
                        Some(Some((number, bytes))) => Report::BlackBox { number: *number, bytes },
                        Some(None) => Report::Refused(Refusal::ArcBurning),
                        None => Report::BlackBoxEnd,
                    });
                }
                Some("release") => {
                    told.store(true, Ordering::Relaxed);
                    voice.say(&Report::BlackBoxReleased);
                }
                _ => {}
            }
        }
    });
    (address, is_released)
}

/// Fetches the black box into this file and re-arms it; the exit code, what was said, and whether it was re-armed.
fn fetched(folder: &Path, answers: Vec<Option<(u32, Vec<u8>)>>, file: &str) -> (Option<i32>, String, bool) {
    let (address, is_released) = box_of(answers);
    let options = ["watch", "--tcp", &address, "--fetch-blackbox", file, "--release-blackbox"];
    let output = run_in(folder, &options);
    let said = [output.stdout, output.stderr].concat();
    (output.status.code(), String::from_utf8_lossy(&said).into_owned(), is_released.load(Ordering::Relaxed))
}

#[test]
fn a_black_box_is_re_armed_once_its_file_is_whole_and_not_before() {
    let sound = |number: u32| Some((number, block(u64::from(number) * 10_000, &[])));
    let desk = folder();
    let (code, said, is_released) = fetched(desk.path(), vec![sound(2), sound(3)], "whole.csv");
    assert_eq!((code, is_released), (Some(0), true), "{said}");
    assert!(said.contains("20 samples") && said.contains("re-armed"), "{said}");
    let malformed = Some((3, block(30_000, &[0xff; 3])));
    let cases = [
        (vec![None], "stop.csv", "refuses while the arc burns", None),
        (vec![sound(2), None], "stop.csv", "10 samples", Some(10)),
        (vec![sound(2), sound(3)], "no/such/stop.csv", "cannot be written", None),
        (vec![sound(2), malformed, sound(4)], "stop.csv", "block 3 of the black box is malformed", Some(20)),
        (vec![sound(2), sound(5)], "stop.csv", "missing in between: number 3 to 4", Some(20)),
        (vec![sound(2), sound(2), sound(2)], "stop.csv", "number 2 where 3 or a later one", Some(10)),
        (Vec::new(), "stop.csv", "is empty", None),
    ];
    for (answers, file, words, kept) in cases {
        let desk = folder();
        let (code, said, is_released) = fetched(desk.path(), answers, file);
        assert_eq!((code, is_released), (Some(2), false), "{words}: {said}");
        assert!(said.contains(words) && said.contains("NOT re-armed"), "{words}: {said}");
        let rows = fs::read_to_string(desk.path().join("stop.csv")).ok().map(|text| text.lines().count() - 1);
        assert_eq!(rows, kept, "{words}: {said}");
    }
}

/// A board whose journal has these numbers, the fourth a joint; after the last it repeats it, or ends.
fn journal_of(numbers: &'static [u32], repeats: bool) -> String {
    fake_board::start(move |voice| {
        let mut next = 0;
        loop {
            match voice.answer(Duration::from_millis(20)).as_deref() {
                Some("gone") => return,
                Some("journal") => {
                    let index = if repeats { next.min(numbers.len() - 1) } else { next };
                    next += 1;
                    let band = index as u16 + 1;
                    let record = match index {
                        3 => Kept::Joint(JointRecord { joint: 1, bands: 3, ..JointRecord::default() }),
                        _ => Kept::Band(BandRecord { joint: 1, band, ..BandRecord::empty() }),
                    };
                    let told = numbers.get(index).map(|&number| Report::Journal {
                        number,
                        record,
                        stamp: Stamp::NONE,
                    });
                    voice.say(&told.unwrap_or(Report::JournalEnd));
                }
                _ => {}
            }
        }
    })
}

#[test]
fn a_journal_that_repeats_a_number_comes_to_an_end_and_what_came_is_kept() {
    let desk = folder();
    fs::write(desk.path().join("bands.json"), "of yesterday").expect("written");
    let mut child = Command::new(path())
        .args(["watch", "--tcp", &journal_of(&[0, 1, 2], true), "--fetch-journal", "bands.json"])
        .current_dir(desk.path())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it runs");
    let ended = ended_within(&mut child, SOON).expect("it ends");
    let said = std::io::read_to_string(child.stderr.take().expect("piped")).expect("text");
    assert_eq!(ended.code(), Some(2), "{said}");
    assert!(said.contains("number 2 where 3 or a later one was asked for"), "{said}");
    assert!(said.contains("NOT WHOLE") && said.contains("3 bands, 0 joints, to bands-2.json"), "{said}");
    let text = |name: &str| fs::read_to_string(desk.path().join(name)).expect("there");
    assert_eq!(text("bands.json"), "of yesterday");
    let kept: Value = serde_json::from_str(&text("bands-2.json")).expect("JSON");
    assert_eq!(kept[0]["bands"].as_array().map(Vec::len), Some(3));
}

#[test]
fn bands_and_joints_are_counted_and_missing_numbers_told() {
    let desk = folder();
    let fetch = |numbers, more: &str| {
        ran(
            desk.path(),
            &format!("watch --tcp {} --fetch-journal j.json{more}", journal_of(numbers, false)),
            0,
        )
    };
    let whole = fetch(&[7, 8, 9, 10], "");
    assert_eq!(whole.out, "journal: 3 bands, 1 joint, to j.json\n");
    let torn = fetch(&[0, 1, 5, 7], "");
    assert_eq!(torn.out, "journal: 3 bands, 1 joint, to j.json; missing in between: number 2 to 4, 6\n");
    let told = fetch(&[0, 1, 5, 7], " --json").out;
    let done = told.lines().find(|line| line.contains("fetch-journal")).expect("it is told");
    let line: Value = serde_json::from_str(done).expect("JSON");
    assert_eq!((&line["bands"], &line["joints"]), (&3.into(), &1.into()), "{line}");
    assert_eq!(line["missing"], serde_json::json!([[2, 4], [6, 6]]), "{line}");
}

#[test]
fn what_is_said_of_a_joint_is_refused_where_it_can_be_of_none() {
    let desk = folder();
    let address = journal_of(&[0, 1, 2, 3], false);
    let joint_file = desk.path().join("x.csv");
    fs::write(&joint_file, "time_s,current_a\n0,1\n").expect("written");
    let fetch = format!("watch --tcp {address} --fetch-journal j.json --register shop.register");
    for (words, expected) in [
        (format!("{fetch} --serial X1"), "--serial is of the joint under way"),
        (format!("{fetch} --serial X1 --of-joint 1"), "--serial is of the joint under way"),
        (format!("{fetch} --machine bay-2 --operator AB"), "--operator is of the joint under way"),
        (format!("{fetch} --of-joint 1"), "--of-joint is of the joint under way"),
        (
            format!("watch --tcp {address} --register shop.register --serial X1 --of-joint 1"),
            "--of-joint is for a log",
        ),
        (format!("watch --tcp {address} --of-joint 1"), "--register"),
        ("watch x.csv --serial X1".to_owned(), "--serial is of the joint under way"),
    ] {
        let refused = ran(desk.path(), &words, 2);
        assert!(refused.err.contains(expected), "{words}: {}", refused.err);
        for name in ["j.json", "shop.register"] {
            assert!(!desk.path().join(name).exists(), "{words}: {name}");
        }
    }
    // The machine is of every joint.
    ran(desk.path(), &format!("{fetch} --machine bay-2"), 0);
}

/// A board whose journal answers with these, then ends.
fn journal_that_says(answers: Vec<Report<&'static [u8]>>) -> String {
    fake_board::start(move |voice| {
        let mut answers = answers.iter();
        loop {
            match voice.answer(Duration::from_millis(20)).as_deref() {
                Some("gone") => return,
                Some("journal") => {
                    voice.say(answers.next().unwrap_or(&Report::JournalEnd));
                }
                _ => {}
            }
        }
    })
}

/// Before, a damaged record at either end, or all of them, went by without a word, exit 0, and one in between was called
/// missing.
#[test]
fn a_damaged_record_is_told_with_its_number_and_its_joint_is_not_proven() {
    let outcome = Outcome::Proven;
    let band = |number: u32| {
        let band = BandRecord { joint: 1, band: number as u16 + 1, outcome, ..BandRecord::empty() };
        Report::Journal { number, record: Kept::Band(band), stamp: Stamp::NONE }
    };
    let joint = JointRecord { joint: 1, bands: 2, outcome, ..JointRecord::default() };
    let joint = Report::Journal { number: 2, record: Kept::Joint(joint), stamp: Stamp::NONE };
    let damaged = |number| Report::JournalDamaged { number };
    let cases = [
        (
            vec![damaged(0), band(1), joint],
            "journal: 1 band, 1 joint, to j.json; DAMAGED on the board: number 0\n",
        ),
        (
            vec![band(0), damaged(1), joint],
            "journal: 1 band, 1 joint, to j.json; DAMAGED on the board: number 1\n",
        ),
        (
            vec![band(0), band(1), damaged(2)],
            "journal: 2 bands, 0 joints, to j.json; DAMAGED on the board: number 2\n",
        ),
    ];
    for (answers, words) in cases {
        let desk = folder();
        let fetch = |more: &str, code| {
            let address = journal_that_says(answers.clone());
            ran(desk.path(), &format!("watch --tcp {address} --fetch-journal j.json{more}"), code)
        };
        assert_eq!(fetch("", 3).out, words);
        let text = fs::read_to_string(desk.path().join("j.json")).expect("there");
        let kept: Value = serde_json::from_str(&text).expect("JSON");
        assert_eq!(kept[0]["outcome"], "not proven", "{words}");
        let line = fetch(" --json", 3).out;
        let line: Value = serde_json::from_str(line.lines().last().expect("a line")).expect("JSON");
        assert_eq!(line["missing"], serde_json::json!([]), "{line}");
        assert_eq!(line["damaged"].as_array().map(Vec::len), Some(1), "{line}");
    }
    let desk = folder();
    let address = journal_that_says(vec![damaged(0), damaged(1), damaged(2), damaged(5)]);
    let none = ran(desk.path(), &format!("watch --tcp {address} --fetch-journal j.json"), 2);
    assert!(none.err.contains("no record of the journal can be read"), "{}", none.err);
    assert!(none.err.contains("number 0 to 2, 5"), "{}", none.err);
    assert!(!desk.path().join("j.json").exists());
}

/// Every session tells the date; `--serial` names the joint on the board.
#[test]
fn a_board_is_told_the_date_and_which_joint_it_is() {
    let told = Arc::new(std::sync::Mutex::new((None, None)));
    let heard = Arc::clone(&told);
    let address = fake_board::start(move |voice| {
        loop {
            match voice.answer(Duration::from_millis(20)).as_deref() {
                Some("gone") => return,
                Some("journal") => {
                    *heard.lock().expect("nobody panics") = (voice.utc_s, voice.serial.take());
                    voice.say(&Report::JournalEnd);
                }
                _ => {}
            }
        }
    });
    let desk = folder();
    let now_s = || {
        let since = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH);
        u32::try_from(since.expect("a clock").as_secs()).expect("before 2106")
    };
    let fetch = format!("watch --tcp {address} --fetch-journal j.json");
    for (options, serial) in [("", None), (" --serial TJ-7", Some("TJ-7".to_owned()))] {
        let before_s = now_s();
        ran(desk.path(), &format!("{fetch}{options}"), 0);
        let (utc_s, named) = told.lock().expect("nobody panics").clone();
        assert!(utc_s.is_some_and(|utc_s| (before_s..=now_s() + 1).contains(&utc_s)), "{utc_s:?}");
        assert_eq!(named, serial);
    }
    let refused = ran(desk.path(), &format!("{fetch} --serial 1234567890123456789012345"), 2);
    assert!(refused.err.contains("allowed: 1 to 24 printable characters of ASCII"), "{}", refused.err);
    let refused = ran(desk.path(), &format!("{fetch} --serial TJ-\u{1b}[31m7"), 2);
    assert!(refused.err.contains("cannot be printed"), "{}", refused.err);
    fs::write(desk.path().join("x.csv"), "time_s,current_a\n0,1\n1,1\n").expect("written");
    let refused = ran(desk.path(), &format!("watch x.csv --tcp {address} --serial TJ-7"), 2);
    assert!(refused.err.contains("--register"), "a bench test is of no joint: {}", refused.err);
}

/// Starts orders alone, and asks them to end with this signal after so long; the exit code and what was said.
fn ended_by(
    desk: &Path,
    address: &str,
    orders: &[&str],
    signal: &str,
    after: Duration,
) -> (Option<i32>, String) {
    let mut child = Command::new(path())
        .args(["watch", "--tcp", address])
        .args(orders)
        .current_dir(desk)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it runs");
    std::thread::sleep(after);
    let told = Command::new("kill").args([signal, &child.id().to_string()]).status();
    assert!(told.expect("it runs").success(), "{orders:?}: it was over before");
    let ended = ended_within(&mut child, Duration::from_secs(5)).expect("it ends soon");
    let output = child.wait_with_output().expect("ended");
    let said = [output.stdout, output.stderr].concat();
    (ended.code(), String::from_utf8_lossy(&said).into_owned())
}

/// Orders, each with its options.
fn orders(procedure: &str) -> [(&'static str, Vec<&str>); 5] {
    [
        ("fetch-journal", vec!["--fetch-journal", "bands.json"]),
        ("fetch-blackbox", vec!["--fetch-blackbox", "stop.csv"]),
        ("acknowledge", vec!["--acknowledge"]),
        ("release-blackbox", vec!["--release-blackbox"]),
        ("upload", vec!["--upload", procedure]),
    ]
}

fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).expect("a folder").flatten();
    entries.map(|entry| entry.file_name().to_string_lossy().into_owned()).collect()
}

/// Before, they died by the signal without a word.
#[test]
fn orders_that_are_ended_say_so_and_leave_no_half_file() {
    let procedure = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/procedures/quick-joint.toml");
    let procedure = procedure.to_str().expect("plain");
    std::thread::scope(|scope| {
        for signal in ["-TERM", "-INT", "-HUP"] {
            for (name, options) in orders(procedure) {
                scope.spawn(move || {
                    let desk = folder();
                    // A board that takes the call and is silent, and one that greets and does nothing else.
                    let silent = std::net::TcpListener::bind("127.0.0.1:0").expect("a port");
                    let address = silent.local_addr().expect("bound").to_string();
                    let after = Duration::from_millis(1500);
                    let (code, said) = ended_by(desk.path(), &address, &options, signal, after);
                    assert_eq!(code, Some(2), "{name}, {signal}: {said}");
                    assert!(said.contains("nothing was done"), "{name}, {signal}: {said}");
                    drop(silent);
                    let idle = fake_board::start(|voice| {
                        while voice.answer(Duration::from_millis(50)).as_deref() != Some("gone") {}
                    });
                    let (code, said) = ended_by(desk.path(), &idle, &options, signal, after);
                    assert_eq!(code, Some(2), "{name}, {signal}: {said}");
                    let word = if name.starts_with("fetch") { "the board is silent" } else { "is not known" };
                    assert!(said.contains(word), "{name}, {signal}: {said}");
                    assert_eq!(names(desk.path()), [""; 0], "{name}, {signal}");
                });
            }
        }
    });
}

/// A journal that takes long is left where it is, and what came is kept as what it is; what comes after it is not done.
#[test]
fn a_fetch_that_is_ended_is_cut_and_told() {
    let desk = folder();
    let address = fake_board::start(|voice| {
        let mut number = 0;
        loop {
            match voice.answer(Duration::from_millis(20)).as_deref() {
                Some("gone") => return,
                Some("journal") => {
                    std::thread::sleep(Duration::from_millis(50));
                    let record = Kept::Band(BandRecord { joint: 1, band: 1, ..BandRecord::empty() });
                    voice.say(&Report::Journal { number, record, stamp: Stamp::NONE });
                    number += 1;
                }
                _ => {}
            }
        }
    });
    let options = ["--fetch-journal", "bands.json"];
    let (code, said) = ended_by(desk.path(), &address, &options, "-TERM", Duration::from_secs(3));
    assert_eq!(code, Some(2), "{said}");
    assert!(said.contains("it was ended before number") && said.contains("NOT WHOLE"), "{said}");
    assert_eq!(names(desk.path()), ["bands.json"]);
    let kept: Value =
        serde_json::from_str(&fs::read_to_string(desk.path().join("bands.json")).expect("there"))
            .expect("JSON");
    assert!(kept.as_array().is_some_and(|joints| joints.len() > 5), "{kept}");
}
