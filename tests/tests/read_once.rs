//! A trace is read once: the hash on the page is that of the bytes that were judged, from a file, a pipe or
//! standard input; a file that changes meanwhile is told.

use bandward_tests::program;
use std::fs::{self, File, OpenOptions};
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};
use tempfile::TempDir;

/// What `sha256sum` says of a file.
fn sha256(path: &Path) -> String {
    let output = Command::new("sha256sum").arg(path).output().expect("it runs");
    String::from_utf8(output.stdout).expect("text")[..64].to_owned()
}

struct Shop(TempDir);

impl Shop {
    fn new() -> Self {
        let shop = Self(tempfile::tempdir().expect("a folder"));
        let scenario = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sim/scenarios/good-25-10hz.toml");
        for name in ["joint.csv", "joint.csv.gz", "joint.csv.zst", "joint.parquet"] {
            let made = shop.bandward(&["synth", scenario.to_str().expect("plain"), "-o", name]).status();
            assert!(made.expect("it runs").success());
        }
        shop
    }
    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }
    fn bandward(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(program::path());
        command.args(arguments).current_dir(self.0.path()).stdout(Stdio::null()).stderr(Stdio::piped());
        command
    }
    fn page(&self) -> String {
        fs::read_to_string(self.path("page.html")).expect("a page")
    }
    fn pipe(&self) -> PathBuf {
        let path = self.path("pipe");
        assert!(Command::new("mkfifo").arg(&path).status().expect("it runs").success());
        path
    }
    /// Feeds a named pipe with a file, as whoever writes a trace does.
    fn feed(&self, name: &str, pipe: &Path) -> std::thread::JoinHandle<()> {
        let (bytes, pipe) = (fs::read(self.path(name)).expect("made"), pipe.to_owned());
        // A reader that is content early closes the pipe, which the check then finds.
        std::thread::spawn(move || {
            drop(File::options().write(true).open(pipe).map(|mut to| to.write_all(&bytes)));
        })
    }
}

/// Ends a program that waits for ever.
fn ends_in_time(mut command: Command) -> std::process::Output {
    ended_in_time(command.spawn().expect("it runs"))
}

fn ended_in_time(mut child: Child) -> std::process::Output {
    let hangs = program::ended_within(&mut child, Duration::from_secs(20)).is_none();
    let output = child.wait_with_output().expect("ended");
    assert!(!hangs, "it hangs");
    output
}

#[test]
fn the_hash_of_a_file_in_any_form_is_that_of_sha256sum() {
    let shop = Shop::new();
    for name in ["joint.csv", "joint.csv.gz", "joint.csv.zst", "joint.parquet"] {
        ends_in_time(shop.bandward(&["replay", name, "--report", "page.html"]));
        assert!(shop.page().contains(&sha256(&shop.path(name))), "{name}");
        assert!(!shop.page().contains("The file changed"), "{name}");
    }
}

#[test]
fn the_hash_of_a_pipe_is_that_of_what_came_through() {
    let shop = Shop::new();
    let pipe = shop.pipe();
    for name in ["joint.csv", "joint.csv.gz"] {
        let writer = shop.feed(name, &pipe);
        ends_in_time(shop.bandward(&["replay", "pipe", "--report", "page.html"]));
        writer.join().expect("written");
        assert!(shop.page().contains(&sha256(&shop.path(name))), "{name}");
        let mut command = shop.bandward(&["replay", "-", "--report", "page.html"]);
        command.stdin(File::open(shop.path(name)).expect("made"));
        ends_in_time(command);
        assert!(shop.page().contains(&sha256(&shop.path(name))), "standard input, {name}");
    }
}

#[test]
fn trend_takes_a_trace_from_a_named_pipe() {
    let shop = Shop::new();
    let pipe = shop.pipe();
    let writer = shop.feed("joint.csv", &pipe);
    let mut command = shop.bandward(&["trend", "pipe", "--json"]);
    command.stdout(Stdio::piped());
    let output = ends_in_time(command);
    writer.join().expect("written");
    assert!(output.status.code() != Some(2), "{}", String::from_utf8_lossy(&output.stderr));
}

/// What happens to a file that held these bytes.
type Change = fn(&Path, &[u8]);

/// How far a program has read a file that it has open.
fn read_so_far(child: &Child, path: &Path) -> Option<u64> {
    let of_child = PathBuf::from(format!("/proc/{}", child.id()));
    let entries = fs::read_dir(of_child.join("fd")).into_iter().flatten().flatten();
    let open = entries.filter(|entry| fs::read_link(entry.path()).is_ok_and(|target| target == path));
    let told = open.filter_map(|entry| {
        let told = fs::read_to_string(of_child.join("fdinfo").join(entry.file_name())).ok()?;
        told.lines().next()?.strip_prefix("pos:")?.trim().parse().ok()
    });
    told.max()
}

fn send(signal: &str, child: &Child) {
    let told = Command::new("kill").args([signal, &child.id().to_string()]).status();
    assert!(told.expect("it runs").success(), "{signal}");
}

/// Halts a program in the midst of a file; false where it was over before it could be halted.
fn halts_while_reading(child: &mut Child, path: &Path, from: u64, to: u64) -> bool {
    let until = Instant::now() + Duration::from_secs(20);
    while read_so_far(child, path).is_none_or(|so_far| so_far < from) {
        assert!(Instant::now() < until, "it is never read");
        if child.try_wait().expect("its state").is_some() {
            return false;
        }
        std::thread::yield_now();
    }
    // Nobody waits for it, so it is still there for a signal even if it has just ended.
    send("-STOP", child);
    let is_within = read_so_far(child, path).is_some_and(|so_far| so_far < to);
    if !is_within {
        send("-CONT", child);
    }
    is_within
}

#[test]
fn a_file_that_changes_while_it_is_read_is_told() {
    let shop = Shop::new();
    let whole = fs::read(shop.path("joint.csv")).expect("made");
    let changes: [(&str, Change); 2] = [
        ("it grew", |path, _| {
            let mut file = OpenOptions::new().append(true).open(path).expect("there");
            file.write_all(b"\n\n").expect("written");
        }),
        ("it shrank", |path, whole| {
            let file = OpenOptions::new().write(true).open(path).expect("there");
            // The last rows, which are read last.
            let lines = whole.len() - whole.rsplit(|&byte| byte == b'\n').nth(3).map_or(0, <[u8]>::len);
            file.set_len(lines as u64 - 10_000).expect("cut");
        }),
    ];
    for (told, change) in changes {
        // Long enough that it is still read when the change comes.
        let header = whole.iter().position(|&byte| byte == b'\n').expect("a header") + 1;
        let mut long = whole.clone();
        let last_s = 10_000.0;
        for copy in 1..60 {
            for line in String::from_utf8_lossy(&whole[header..]).lines() {
                let (time, rest) = line.split_once(',').expect("cells");
                let time_s: f64 = time.parse().expect("a time");
                writeln!(long, "{},{rest}", time_s + f64::from(copy) * last_s).expect("in memory");
            }
        }
        fs::write(shop.path("long.csv"), &long).expect("written");
        let path = shop.path("long.csv").canonicalize().expect("written");
        let halted = (0..20).find_map(|_| {
            let mut child =
                shop.bandward(&["replay", "long.csv", "--report", "page.html"]).spawn().expect("it runs");
            // What a reader looks at to know the form of a file comes first; the end, which may be cut, last.
            if halts_while_reading(&mut child, &path, 1_000_000, long.len() as u64 - 200_000) {
                return Some(child);
            }
            ended_in_time(child);
            None
        });
        let child = halted.expect("it was always over before it could be halted");
        change(&path, &long);
        send("-CONT", &child);
        let output = ended_in_time(child);
        let words = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(shop.page().contains("The file changed") && shop.page().contains(told), "{told}: {words}");
        assert!(words.contains(told), "{words}");
    }
}

/// Runs the program on a file, changes that in the midst of the reading, and lets it go on.
fn changed_while_read(
    start: impl Fn() -> Child,
    path: &Path,
    whole: &[u8],
    change: Change,
) -> std::process::Output {
    let halted = (0..20).find_map(|_| {
        let mut child = start();
        // What is said meanwhile fits into the pipe.
        if halts_while_reading(&mut child, path, 1_000_000, whole.len() as u64 - 1_000_000) {
            return Some(child);
        }
        ended_in_time(child);
        None
    });
    let child = halted.expect("it was always over before it could be halted");
    change(path, whole);
    send("-CONT", &child);
    ended_in_time(child)
}

/// Another file under its name, as editors, loggers and copies over a network put it there.
fn replace(path: &Path, whole: &[u8]) {
    let other = path.with_extension("other");
    fs::write(&other, whole).expect("written");
    fs::rename(other, path).expect("renamed");
}

impl Shop {
    /// A good log of so many rows that it is still read when a change comes.
    fn long() -> (Self, PathBuf, Vec<u8>) {
        let shop = Self::new();
        let scenarios = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sim/scenarios");
        let procedures = scenarios.join("procedures").canonicalize().expect("shipped");
        std::os::unix::fs::symlink(procedures, shop.path("procedures")).expect("linked");
        let scenario = fs::read_to_string(scenarios.join("good-89-50hz.toml")).expect("shipped");
        fs::write(shop.path("long.toml"), scenario.replace("\"50 Hz\"", "\"2 kHz\"")).expect("written");
        let made = shop.bandward(&["synth", "long.toml", "-o", "long.csv"]).status();
        assert!(made.expect("it runs").success());
        let path = shop.path("long.csv").canonicalize().expect("made");
        let whole = fs::read(&path).expect("made");
        (shop, path, whole)
    }
}

/// What was read of it is no log that anybody has, however good.
#[test]
fn a_good_log_that_changes_while_it_is_read_is_not_proven() {
    let (shop, path, whole) = Shop::long();
    let judged = ["long.csv", "-p", "procedures/88.9.toml", "--json"];
    let changes: [(&str, Change); 6] = [
        ("it grew", |path, whole| {
            let last = whole[..whole.len() - 1].iter().rposition(|&byte| byte == b'\n').expect("rows") + 1;
            let row = String::from_utf8_lossy(&whole[last..]).into_owned();
            let (time, rest) = row.split_once(',').expect("cells");
            let later = time.parse::<f64>().expect("a time") + 0.0005;
            let mut file = OpenOptions::new().append(true).open(path).expect("there");
            file.write_all(format!("{later},{rest}").as_bytes()).expect("written");
        }),
        ("it shrank", |path, whole| {
            let file = OpenOptions::new().write(true).open(path).expect("there");
            let last = whole[..whole.len() - 1].iter().rposition(|&byte| byte == b'\n').expect("rows") + 1;
            file.set_len(last as u64).expect("cut");
        }),
        ("it was written to", |path, whole| {
            use std::os::unix::fs::FileExt as _;
            let file = OpenOptions::new().write(true).open(path).expect("there");
            file.write_all_at(&whole[400_000..400_001], 400_000).expect("written");
        }),
        ("its names, times or permissions were changed", |path, whole| {
            use std::os::unix::fs::FileExt as _;
            let written = fs::metadata(path).and_then(|data| data.modified()).expect("there");
            let file = OpenOptions::new().write(true).open(path).expect("there");
            file.write_all_at(&whole[400_000..400_001], 400_000).expect("written");
            // As a copy does that keeps the times.
            file.set_modified(written).expect("put back");
        }),
        ("its name was given to another file", replace),
        ("it was deleted or renamed", |path, _| fs::remove_file(path).expect("there")),
    ];
    for command in ["replay", "watch"] {
        let words = [&[command], &judged[..]].concat();
        fs::write(&path, &whole).expect("written");
        assert_eq!(shop.bandward(&words).status().expect("it runs").code(), Some(0), "{command}: it is good");
        for (told, change) in changes {
            fs::write(&path, &whole).expect("written");
            let start = || shop.bandward(&words).stdout(Stdio::piped()).spawn().expect("it runs");
            let output = changed_while_read(start, &path, &whole, change);
            let said = String::from_utf8_lossy(&output.stdout).into_owned();
            let words = String::from_utf8_lossy(&output.stderr).into_owned();
            assert_eq!(output.status.code(), Some(3), "{command}, {told}: {words}");
            assert!(words.contains(told), "{command}, {told}: {words}");
            let end: serde_json::Value = match command {
                "replay" => serde_json::from_str(&said).expect("an object"),
                _ => serde_json::from_str(said.lines().last().expect("an end")).expect("an object"),
            };
            assert_eq!((&end["outcome"], &end["within_procedure"]), (&"not proven".into(), &false.into()));
            if command == "replay" {
                let reasons = end["joints"][0]["reasons"].as_array().expect("a list");
                assert!(reasons.contains(&"log-in-doubt".into()), "{told}: {reasons:?}");
            }
        }
    }
}

/// Thresholds are not tried on what is no log that anybody has.
#[test]
fn a_trial_refuses_a_log_that_changes_while_it_is_read() {
    let (shop, path, whole) = Shop::long();
    let words = ["trial", "long.csv", "-p", "procedures/88.9.toml"];
    let tried = shop.bandward(&words).stdout(Stdio::null()).status();
    assert_eq!(tried.expect("it runs").code(), Some(0), "it is good");
    let start = || shop.bandward(&words).stdout(Stdio::piped()).spawn().expect("it runs");
    let output = changed_while_read(start, &path, &whole, replace);
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(2), "{told}");
    assert!(told.contains("long.csv: the file changed while it was read: its name was given"), "{told}");
}

/// In a folder, through standard input, and in the register, which takes none that nobody finds again.
#[test]
fn a_good_log_that_is_replaced_while_it_is_read_is_not_proven_however_it_is_read() {
    let (shop, path, whole) = Shop::long();
    let folder = shop.path("logs");
    fs::create_dir(&folder).expect("made");
    let inner = folder.canonicalize().expect("made").join("long.csv");
    fs::copy(&path, &inner).expect("copied");
    let judged = ["replay", "-p", "procedures/88.9.toml"];
    let cases: [(&[&str], &Path, i32, &str); 4] = [
        (&["logs"], &inner, 3, "its name was given to another file"),
        (&["long.csv", "long.csv.gone"], &path, 3, "its name was given to another file"),
        (&["-"], &path, 3, "its names, times or permissions were changed"),
        (&["long.csv", "--register", "r"], &path, 2, "not recorded"),
    ];
    for (arguments, path, code, told) in cases {
        let words = [&judged[..], arguments].concat();
        let start = || {
            let mut command = shop.bandward(&words);
            let input =
                if arguments == ["-"] { File::open(path).expect("there").into() } else { Stdio::null() };
            command.stdin(input).stdout(Stdio::piped()).spawn().expect("it runs")
        };
        let output = changed_while_read(start, path, &whole, replace);
        let words = String::from_utf8_lossy(&output.stderr).into_owned();
        let said = String::from_utf8_lossy(&output.stdout).into_owned();
        assert_eq!(output.status.code(), Some(code), "{arguments:?}: {words}{said}");
        assert!(words.contains(told), "{arguments:?}: {words}");
        assert!(!said.contains("WITHIN"), "{arguments:?}: {said}");
    }
    let found = shop.bandward(&["register", "find", "r"]).stdout(Stdio::piped()).output().expect("it runs");
    assert!(String::from_utf8_lossy(&found.stdout).contains("no such joint"), "{found:?}");
}
