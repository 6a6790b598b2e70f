//! `watch --record`: what was told a second ago is on the disk, whatever happens then: the program is ended,
//! the disk is full, there is a file of that name, the time of the board jumps.

use bandward::link::Report;
use bandward_sim::trace;
use bandward_tests::fake_board::{self, telemetry};
use bandward_tests::program;
use serde_json::Value;
use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::time::Duration;
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
        assert!(!told.last().expect("lines")["recording_ended"].is_null(), "{told:?}");
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
