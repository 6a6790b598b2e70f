//! `watch --record`: what was told a second ago is on the disk, whatever happens then: the program is ended,
//! the disk is full, there is a file of that name, the time of the board jumps.

use bandward::link::{Outputs, Report, Telemetry};
use bandward::record::stamp::Stamp;
use bandward::{JointRecord, Outcome, SoFar};
use bandward_sim::trace;
use bandward_tests::fake_board::{self, telemetry};
use bandward_tests::program;
use serde_json::Value;
use std::fs::{self, File};
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::sync::mpsc::channel;
use std::time::{Duration, Instant};
use tempfile::TempDir;

/// Between two telemetries of a board.
const TOLD_US: u64 = 200_000;

/// A board whose telemetry has these times, as fast as it is `paced`; then it goes away for good.
fn board(times_us: impl Iterator<Item = u64> + Clone + Send + 'static, pace: Duration) -> String {
    let mut is_done = false;
    fake_board::start(move |voice| {
        if std::mem::replace(&mut is_done, true) {
            return;
        }
        for time_us in times_us.clone() {
            if !voice.say(&Report::Telemetry(telemetry(time_us))) {
                return;
            }
            voice.answer(pace);
        }
        while voice.answer(Duration::from_millis(200)).as_deref() != Some("gone") {}
    })
}

fn steady() -> impl Iterator<Item = u64> + Clone + Send {
    (1_u64..).map(|index| index * TOLD_US)
}

struct Recording {
    folder: TempDir,
    child: Child,
}

impl Recording {
    /// Starts to watch; `limit` is how far files can grow, in blocks of 512 bytes.
    fn start(address: &str, name: &str, limit: Option<u32>, folder: TempDir) -> Self {
        let ulimit = limit.map_or(String::new(), |blocks| format!("trap '' XFSZ; ulimit -f {blocks};"));
        let child = Command::new("sh")
            .args(["-c", &format!("{ulimit} exec \"$0\" \"$@\"")])
            .arg(program::path())
            .args(["watch", "--tcp", address, "--record", name])
            .current_dir(folder.path())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("it runs");
        Self { folder, child }
    }
    /// Where the rows stand as it goes on.
    fn rows(&self, name: &str) -> PathBuf {
        let rows = if name.ends_with("parquet") { format!("{name}.rows.csv") } else { name.to_owned() };
        self.folder.path().join(rows)
    }
    /// Waits, and ends it with a signal.
    fn end(self, after: Duration, signal: &str) -> (TempDir, Output) {
        std::thread::sleep(after);
        let told = Command::new("kill").args([signal, &self.child.id().to_string()]).status();
        assert!(told.expect("it runs").success(), "it went on until it was asked to end");
        (self.folder, self.child.wait_with_output().expect("it ends"))
    }
}

fn folder() -> TempDir {
    tempfile::tempdir().expect("a folder")
}

fn files(folder: &TempDir) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder.path()).expect("a folder");
    let mut paths: Vec<_> = entries.map(|entry| entry.expect("an entry").path()).collect();
    paths.sort();
    paths
}

fn times_us(path: &Path) -> Vec<u64> {
    let reader = trace::open(path, None).unwrap_or_else(|errors| panic!("{errors}"));
    reader.map(|row| row.unwrap_or_else(|errors| panic!("{errors}")).time_us).collect()
}

fn words(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// The last line where a recording ended by itself.
fn not_within(end: &Value) {
    assert_eq!((&end["event"], &end["within_procedure"]), (&"end".into(), &false.into()), "{end}");
    let reasons = end["reasons"].as_array().expect("a list");
    assert!(reasons.contains(&"recording-ended".into()) && !end["recording_ended"].is_null(), "{end}");
}

/// The same with each form at one time: most of it is waiting.
fn in_every_form(check: impl Fn(&str) + Sync) {
    std::thread::scope(|scope| {
        for name in ["live.csv", "live.csv.gz", "live.csv.zst", "live.parquet"] {
            let check = &check;
            scope.spawn(move || check(name));
        }
    });
}

#[test]
fn what_was_told_a_second_before_the_program_was_killed_can_be_read() {
    in_every_form(|name| {
        let address = board(steady(), Duration::from_millis(200));
        let (folder, _) = Recording::start(&address, name, None, folder()).end(Duration::from_secs(5), "-9");
        let files = files(&folder);
        assert_eq!(files.len(), 1, "{name}: {files:?}");
        let kept = times_us(&files[0]).len();
        // Five a second for five seconds, but for the start of the program and the last second.
        assert!((15..=25).contains(&kept), "{name}: {kept} rows");
    });
}

#[test]
fn a_recording_that_is_ended_is_whole_in_every_form() {
    in_every_form(|name| {
        let address = board(steady().take(12), Duration::from_millis(20));
        let (folder, output) =
            Recording::start(&address, name, None, folder()).end(Duration::from_secs(2), "-TERM");
        // The board judged nothing.
        assert_eq!(output.status.code(), Some(3), "{}", words(&output.stderr));
        assert_eq!(files(&folder), [folder.path().join(name)]);
        assert_eq!(times_us(&folder.path().join(name)), steady().take(12).collect::<Vec<_>>(), "{name}");
        assert!(words(&output.stdout).contains("12 rows"), "{}", words(&output.stdout));
    });
}

#[test]
fn a_file_that_is_there_is_never_written_over() {
    let folder = folder();
    for name in ["live.csv", "live-2.csv"] {
        fs::write(folder.path().join(name), "of yesterday").expect("written");
    }
    let address = board(steady().take(12), Duration::from_millis(20));
    let (folder, output) =
        Recording::start(&address, "live.csv", None, folder).end(Duration::from_secs(2), "-TERM");
    for name in ["live.csv", "live-2.csv"] {
        assert_eq!(fs::read_to_string(folder.path().join(name)).expect("there"), "of yesterday");
    }
    assert_eq!(times_us(&folder.path().join("live-3.csv")).len(), 12);
    assert!(words(&output.stdout).contains("live-3.csv"), "{}", words(&output.stdout));
}

#[test]
fn a_full_disk_ends_the_recording_and_not_the_watch() {
    in_every_form(|name| {
        // Packed, more goes into a block.
        let blocks = if name.ends_with('z') || name.ends_with("st") { 1 } else { 2 };
        let address = board(steady(), Duration::from_millis(5));
        let (folder, output) =
            Recording::start(&address, name, Some(blocks), folder()).end(Duration::from_secs(5), "-TERM");
        let told: Vec<Value> =
            words(&output.stdout).lines().map(|line| serde_json::from_str(line).expect("JSON")).collect();
        let failed = told.iter().position(|line| line["event"] == "recording-ended").expect("it is told");
        let states = told[failed..].iter().filter(|line| line["event"] == "state").count();
        assert!(states > 3, "{name}: {states} states after it");
        assert_eq!(output.status.code(), Some(2), "{name}");
        assert!(words(&output.stderr).contains("recording ended"), "{}", words(&output.stderr));
        not_within(told.last().expect("lines"));
        // What is there is whole.
        let files = files(&folder);
        assert_eq!(files.len(), 1, "{name}: {files:?}");
        assert!(times_us(&files[0]).len() > 5, "{name}");
    });
}

#[test]
fn a_time_that_jumps_makes_no_heap_of_files() {
    // Every other row comes from two seconds before.
    let jumping = (0..240_u64).map(|index| 10_000_000 + index * TOLD_US - (index % 2) * 10 * TOLD_US);
    let address = board(jumping.clone(), Duration::from_millis(1));
    let (folder, output) =
        Recording::start(&address, "live.csv", None, folder()).end(Duration::from_secs(4), "-TERM");
    let files = files(&folder);
    assert_eq!(files.len(), 1, "{}", files.len());
    assert_eq!(times_us(&files[0]).len(), 120, "the rows that go on");
    assert!(words(&output.stdout).contains("left out"), "{}", words(&output.stdout));
}

#[test]
fn a_board_that_starts_anew_goes_on_in_another_file() {
    let twice = steady().take(30).chain(steady().take(30));
    let address = board(twice, Duration::from_millis(5));
    let (folder, _) =
        Recording::start(&address, "live.csv", None, folder()).end(Duration::from_secs(3), "-TERM");
    let names: Vec<_> = files(&folder);
    assert_eq!(names, [folder.path().join("live-2.csv"), folder.path().join("live.csv")]);
    for name in names {
        assert_eq!(times_us(&name).len(), 30, "{}", name.display());
    }
}

/// A board that takes the call and never answers: the screen does.
#[test]
fn a_screen_answers_before_there_is_a_link() {
    let listener = std::net::TcpListener::bind("127.0.0.1:0").expect("a free port");
    let address = listener.local_addr().expect("bound").to_string();
    let mut child = Command::new("script")
        .args(["-qefc", &format!("{} watch --tcp {address}", program::path().display()), "/dev/null"])
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .expect("it runs");
    std::thread::sleep(Duration::from_millis(1500));
    child.stdin.as_mut().expect("a pipe").write_all(b"q").expect("written");
    let ended = program::ended_within(&mut child, Duration::from_secs(4));
    // There was nothing to see.
    assert_eq!(ended.and_then(|status| status.code()), Some(3));
    drop(listener);
}

/// A board whose first joint is proven and on which nothing is wrong, with a state every few milliseconds.
fn sound() -> String {
    fake_board::start(|voice| {
        let record = JointRecord { joint: 1, bands: 3, outcome: Outcome::Proven, ..JointRecord::default() };
        voice.say(&Report::Joint { record, stamp: Stamp::NONE });
        for time_us in steady() {
            let so_far = SoFar { joint_number: 2, joint: Outcome::NotProven, ..SoFar::default() };
            let outputs = Outputs { relay_energised: true, ..Outputs::default() };
            voice.say(&Report::Telemetry(Telemetry { so_far, outputs, ..telemetry(time_us) }));
            if voice.answer(Duration::from_millis(10)).as_deref() == Some("gone") {
                return;
            }
        }
    })
}

/// What becomes of the file of a recording under way: its words, and how; the file has this name and lies in this folder.
type Loss = (&'static str, fn(&Path, &Path));

/// Before, a recording whose file was gone was told as recorded, and all was within.
#[test]
fn a_recording_whose_file_is_gone_ends_and_proves_nothing() {
    let losses: [Loss; 6] = [
        ("", |_, _| ()),
        ("there no more", |file, _| fs::remove_file(file).expect("there")),
        ("there no more", |_, folder| fs::remove_dir_all(folder).expect("there")),
        ("there no more", |_, folder| fs::rename(folder, folder.with_extension("old")).expect("there")),
        ("another file", |file, folder| {
            fs::write(folder.join("other"), "of somebody else").expect("written");
            fs::rename(folder.join("other"), file).expect("there");
        }),
        ("it has 0 bytes", |file, _| {
            File::options().write(true).open(file).and_then(|file| file.set_len(0)).expect("there");
        }),
    ];
    in_every_form(|name| {
        for (told, lose) in losses {
            let inner = format!("rec/{name}");
            let folder = folder();
            fs::create_dir(folder.path().join("rec")).expect("made");
            let recording = Recording::start(&sound(), &inner, None, folder);
            std::thread::sleep(Duration::from_secs(3));
            let rec = recording.folder.path().join("rec");
            lose(&recording.rows(&inner), &rec);
            let (folder, output) = recording.end(Duration::from_millis(2500), "-TERM");
            let err = words(&output.stderr);
            let lines: Vec<Value> =
                words(&output.stdout).lines().map(|line| serde_json::from_str(line).expect("JSON")).collect();
            let end = lines.last().expect("lines");
            let is_recorded = lines.iter().any(|line| line["event"] == "recorded");
            if told.is_empty() {
                assert_eq!(
                    (output.status.code(), &end["outcome"]),
                    (Some(0), &"proven".into()),
                    "{err}{end}"
                );
                assert!(is_recorded && times_us(&folder.path().join(&inner)).len() > 50, "{name}");
                continue;
            }
            assert_eq!(output.status.code(), Some(2), "{name}, {told}: {err}");
            not_within(end);
            assert_eq!(end["outcome"], "not proven");
            assert!(!is_recorded && !err.contains("rows are in"), "{name}, {told}: {err}");
            assert!(err.contains("the recording ended: ") && err.contains(told), "{name}, {told}: {err}");
            // Told as it goes on, not only at the end.
            let at = lines.iter().position(|line| line["event"] == "recording-ended").expect("it is told");
            assert!(lines[at..].iter().any(|line| line["event"] == "state"), "{name}, {told}");
        }
    });
}

#[test]
fn a_recording_whose_file_is_gone_after_its_last_row_is_not_told_as_recorded() {
    in_every_form(|name| {
        let address = board(steady().take(12), Duration::from_millis(20));
        let recording = Recording::start(&address, name, None, folder());
        std::thread::sleep(Duration::from_secs(3));
        for file in files(&recording.folder) {
            fs::remove_file(file).expect("there");
        }
        let (folder, output) = recording.end(Duration::from_millis(500), "-TERM");
        let (out, err) = (words(&output.stdout), words(&output.stderr));
        assert_eq!(output.status.code(), Some(2), "{name}: {err}");
        assert!(!out.contains("recorded: ") && err.contains("there no more"), "{name}: {out}{err}");
        not_within(&serde_json::from_str(out.lines().last().expect("lines")).expect("JSON"));
        assert!(files(&folder).is_empty(), "{name}");
    });
}

/// Before, the recording stood still with whoever read the lines, and no signal ended it.
#[test]
fn nobody_who_reads_the_lines_is_waited_for() {
    in_every_form(|name| {
        // A state of the next second every few milliseconds, so that a pipe is soon full.
        let address = board((1_u64..).map(|index| index * 1_000_000), Duration::from_millis(5));
        let mut recording = Recording::start(&address, name, None, folder());
        std::thread::sleep(Duration::from_secs(6));
        let kept = times_us(&recording.rows(name)).len();
        // The pipe holds some hundred lines.
        assert!(kept > 250, "{name}: {kept} rows");
        let told = Command::new("kill").arg(recording.child.id().to_string()).status();
        assert!(told.expect("it runs").success());
        let ended = program::ended_within(&mut recording.child, Duration::from_secs(10));
        let output = recording.child.wait_with_output().expect("ended");
        assert_eq!(ended.and_then(|status| status.code()), Some(2), "{name}: {}", words(&output.stderr));
        assert!(words(&output.stderr).contains("nobody reads it"), "{name}: {}", words(&output.stderr));
        assert!(times_us(&recording.folder.path().join(name)).len() >= kept, "{name}");
    });
}

/// The same where what is remarked goes to that pipe too, as in `2>&1 | less`: before, the last remark waited for ever.
#[test]
fn nobody_who_reads_the_remarks_is_waited_for() {
    let address = board((1_u64..).map(|index| index * 1_000_000), Duration::from_millis(5));
    let folder = folder();
    let (unread, pipe) = std::io::pipe().expect("a pipe");
    let mut child = Command::new(program::path())
        .args(["watch", "--tcp", &address, "--record", "live.csv"])
        .current_dir(folder.path())
        .stdout(pipe.try_clone().expect("its other end"))
        .stderr(pipe)
        .spawn()
        .expect("it runs");
    std::thread::sleep(Duration::from_secs(6));
    let told = Command::new("kill").arg(child.id().to_string()).status();
    assert!(told.expect("it runs").success());
    let ended = program::ended_within(&mut child, Duration::from_secs(10));
    assert_eq!(ended.and_then(|status| status.code()), Some(2));
    assert!(times_us(&folder.path().join("live.csv")).len() > 250);
    drop(unread);
}

/// Whoever reads late gets all of it, in its order.
#[test]
fn whoever_reads_late_gets_every_line() {
    let address = board((1_u64..).map(|index| index * 1_000_000), Duration::from_millis(5));
    let recording = Recording::start(&address, "live.csv", None, folder());
    std::thread::sleep(Duration::from_secs(4));
    let (folder, output) = recording.end(Duration::ZERO, "-TERM");
    let lines: Vec<Value> =
        words(&output.stdout).lines().map(|line| serde_json::from_str(line).expect("JSON")).collect();
    assert_eq!(lines.last().expect("lines")["event"], "end");
    let states = lines.iter().filter(|line| line["event"] == "state");
    let mut times_s: Vec<_> = states.map(|line| line["time_s"].as_f64().expect("a time")).collect();
    // The last one is told again at the end.
    times_s.dedup();
    assert!(times_s.len() > 200 && times_s.is_sorted(), "{}", times_s.len());
    assert_eq!(times_s.len(), times_us(&folder.path().join("live.csv")).len());
}

/// Whoever reads no more ends the watch, and what came until then is recorded.
#[test]
fn a_reader_who_leaves_takes_no_row_along() {
    in_every_form(|name| {
        let mut recording = Recording::start(&sound(), name, None, folder());
        std::thread::sleep(Duration::from_secs(3));
        drop(recording.child.stdout.take());
        let ended = program::ended_within(&mut recording.child, Duration::from_secs(10));
        let output = recording.child.wait_with_output().expect("ended");
        let err = words(&output.stderr);
        assert_eq!(ended.and_then(|status| status.code()), Some(2), "{name}: {err}");
        let rows = times_us(&recording.folder.path().join(name)).len();
        assert!(err.contains(&format!("recorded: {rows} rows")), "{name}: {rows}: {err}");
        assert!(err.contains("whoever read it has ended"), "{name}: {err}");
    });
}

/// Before, the second one killed it: no last word, and the rows of the last second were lost.
#[test]
fn signals_that_come_together_are_one() {
    std::thread::scope(|scope| {
        for (first, second) in [("TERM", "HUP"), ("INT", "INT"), ("HUP", "TERM")] {
            for gap_s in ["0", "0.01", "0.03", "0.1"] {
                scope.spawn(move || {
                    let recording = Recording::start(
                        &board(steady(), Duration::from_millis(50)),
                        "live.csv",
                        None,
                        folder(),
                    );
                    std::thread::sleep(Duration::from_millis(1500));
                    let id = recording.child.id();
                    // The second one may find nobody.
                    let both =
                        format!("kill -{first} {id} && sleep {gap_s} && {{ kill -{second} {id} || true; }}");
                    assert!(Command::new("sh").args(["-c", &both]).status().expect("it runs").success());
                    let output = recording.child.wait_with_output().expect("it ends");
                    let out = words(&output.stdout);
                    // The board judged nothing.
                    assert_eq!(output.status.code(), Some(3), "{first} {second} {gap_s}: {out}");
                    let rows = times_us(&recording.folder.path().join("live.csv")).len();
                    assert!(
                        out.contains(&format!("recorded: {rows} rows")),
                        "{first} {second} {gap_s}: {out}"
                    );
                });
            }
        }
    });
}

/// Nobody reads what it says: it waits for that two seconds after the first signal, and after the second no longer.
#[test]
fn a_signal_some_time_after_another_ends_it_at_once() {
    let address = board((1_u64..).map(|index| index * 1_000_000), Duration::from_millis(2));
    let mut recording = Recording::start(&address, "live.csv", None, folder());
    std::thread::sleep(Duration::from_secs(4));
    for wait in [Duration::from_millis(900), Duration::ZERO] {
        let told = Command::new("kill").arg(recording.child.id().to_string()).status();
        assert!(told.expect("it runs").success(), "it waits");
        std::thread::sleep(wait);
    }
    let ended = program::ended_within(&mut recording.child, Duration::from_millis(800));
    assert_eq!(ended.and_then(|status| status.code()), Some(128 + 15));
}

/// Before, a link that broke while the board was told the date or the serial ended the watch, which said nothing of it.
#[test]
fn a_link_that_breaks_in_its_first_moment_is_opened_anew() {
    for serial in [None, Some("TJ-7")] {
        let mut next = 1_u64;
        let address = fake_board::start_deaf(move |voice| {
            let is_first = next == 1;
            let count = if is_first { 5 } else { u64::MAX };
            voice.is_deaf = is_first;
            for _ in 0..count {
                if !voice.say(&Report::Telemetry(telemetry(next * TOLD_US)))
                    || voice.answer(Duration::from_millis(40)).as_deref() == Some("gone")
                {
                    return;
                }
                next += 1;
            }
        });
        let folder = folder();
        let child = Command::new(program::path())
            .args(["watch", "--json", "--tcp", &address, "--record", "live.csv"])
            .args(serial.iter().flat_map(|serial| ["--serial", serial]))
            .current_dir(folder.path())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("it runs");
        let (folder, output) = Recording { folder, child }.end(Duration::from_secs(5), "-TERM");
        let (out, err) = (words(&output.stdout), words(&output.stderr));
        assert_eq!(output.status.code(), Some(3), "{serial:?}: {out}{err}");
        let lines: Vec<Value> = out.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect();
        let events: Vec<_> = lines.iter().filter_map(|line| line["event"].as_str()).collect();
        let at = |event: &str| events.iter().position(|told| *told == event);
        let lost = at("link-lost").unwrap_or_else(|| panic!("{serial:?}: {out}"));
        assert!(events[lost..].contains(&"linked") && events.last() == Some(&"end"), "{serial:?}: {out}");
        // What was told before is kept, and it goes on.
        let times_us = times_us(&folder.path().join("live.csv"));
        assert!(times_us.starts_with(&[1, 2, 3, 4, 5].map(|index| index * TOLD_US)), "{times_us:?}");
        assert!(times_us.len() > 20, "{}", times_us.len());
        assert_eq!(out.contains("forgotten the serial TJ-7"), serial.is_some(), "{out}");
    }
}

/// Before, a board that does not answer the date was waited for, and its first rows with it.
#[test]
fn the_first_rows_are_on_the_disk_a_second_after_they_came() {
    let (to, told) = channel();
    let address = fake_board::start_deaf(move |voice| {
        let _ = to.send(Instant::now());
        for time_us in steady() {
            if !voice.say(&Report::Telemetry(telemetry(time_us)))
                || voice.answer(Duration::from_millis(50)).as_deref() == Some("gone")
            {
                return;
            }
        }
    });
    let recording = Recording::start(&address, "live.csv", None, folder());
    let first = told.recv_timeout(Duration::from_secs(10)).expect("a link");
    let path = recording.rows("live.csv");
    // A line for the columns, and a row.
    while fs::read_to_string(&path).unwrap_or_default().lines().count() < 2 {
        assert!(first.elapsed() < Duration::from_secs(10), "nothing is recorded");
        std::thread::sleep(Duration::from_millis(10));
    }
    let waited = first.elapsed();
    recording.end(Duration::ZERO, "-TERM");
    // A busy machine may take its time.
    assert!(waited < Duration::from_millis(1500), "{waited:?}");
}

/// Before, bytes of somebody else in the place of its own were told as recorded.
#[test]
fn a_recording_that_is_written_over_is_not_told_as_recorded() {
    use std::os::unix::fs::FileExt as _;
    in_every_form(|name| {
        let address = board(steady().take(12), Duration::from_millis(20));
        let recording = Recording::start(&address, name, None, folder());
        std::thread::sleep(Duration::from_secs(3));
        let file = File::options().write(true).open(recording.rows(name)).expect("there");
        file.write_all_at(b"X", 30).expect("written");
        let (_, output) = recording.end(Duration::from_millis(200), "-TERM");
        let (out, err) = (words(&output.stdout), words(&output.stderr));
        assert_eq!(output.status.code(), Some(2), "{name}: {err}");
        assert!(!out.contains("recorded: ") && !err.contains("rows are in"), "{name}: {out}{err}");
        assert!(err.contains("written over by somebody else"), "{name}: {err}");
        not_within(&serde_json::from_str(out.lines().last().expect("lines")).expect("JSON"));
    });
}
