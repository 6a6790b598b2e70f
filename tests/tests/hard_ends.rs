//! What ended badly, or not at all: terminals that are gone, boards that fall silent, pipes without data, files
//! made to fill memory or time, outputs that would take the place of what is read.

use bandward::link::{Refusal, Report as Told, Telemetry};
use bandward_tests::fake_board::{self, Voice, telemetry};
use bandward_tests::program;
use std::fs;
use std::io::Write as _;
use std::os::unix::fs::symlink;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::time::{Duration, Instant};
use tempfile::TempDir;

/// The machine may be very busy; what it must not do is wait for what never comes, or look for ever.
const SOON: Duration = Duration::from_secs(30);

fn shipped(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sim").join(name);
    path.canonicalize().expect("shipped").to_str().expect("plain").to_owned()
}

struct Shop(TempDir);

impl Shop {
    fn new() -> Self {
        Self(tempfile::tempdir().expect("a folder"))
    }
    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }
    fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(program::path());
        command.args(arguments).current_dir(self.0.path()).env("XDG_CONFIG_HOME", self.0.path());
        command
    }
    fn run(&self, arguments: &[&str]) -> Output {
        self.command(arguments).output().expect("it runs")
    }
    /// As [`Self::run`], with no more memory than this.
    fn run_within(&self, megabytes: u32, arguments: &[&str]) -> Output {
        let mut command = Command::new("sh");
        let script = format!("ulimit -v {}; exec \"$0\" \"$@\"", megabytes * 1000);
        command.args(["-c", &script]).arg(program::path()).args(arguments);
        command.current_dir(self.0.path()).output().expect("it runs")
    }
    fn refused(&self, arguments: &[&str], words: &str) {
        let before = self.files();
        let output = self.run(arguments);
        let told = text(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {told}");
        assert!(told.contains(words), "{arguments:?}: {told}");
        assert!(output.stdout.is_empty(), "{arguments:?}: {}", text(&output.stdout));
        assert_eq!(self.files(), before, "{arguments:?}");
    }
    /// Every file with its bytes.
    fn files(&self) -> Vec<(PathBuf, Vec<u8>)> {
        let (mut files, mut folders) = (Vec::new(), vec![self.0.path().to_owned()]);
        while let Some(folder) = folders.pop() {
            for entry in fs::read_dir(folder).expect("a folder") {
                let path = entry.expect("an entry").path();
                if path.is_dir() {
                    folders.push(path);
                } else {
                    files.push((path.clone(), fs::read(&path).unwrap_or_default()));
                }
            }
        }
        files.sort();
        files
    }
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// The program at a terminal of its own, which `script` holds.
struct Seat {
    script: Child,
    program: u32,
}

impl Seat {
    fn take(shop: &Shop, arguments: &str) -> Self {
        let line = format!("exec {} {arguments}", program::path().display());
        let mut script = Command::new("script")
            .args(["-q", "-c", &line, "/dev/null"])
            .current_dir(shop.0.path())
            .env("XDG_CONFIG_HOME", shop.0.path())
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .spawn()
            .expect("`script` runs");
        let until = Instant::now() + SOON;
        let children = format!("/proc/{0}/task/{0}/children", script.id());
        while Instant::now() < until {
            let program = fs::read_to_string(&children).ok().and_then(|text| text.trim().parse().ok());
            if let Some(program) = program.filter(|&program| is_ours(program)) {
                return Self { script, program };
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        let _ = script.kill();
        let _ = script.wait();
        panic!("it does not start: {arguments}");
    }
    fn press(&mut self, key: u8) {
        self.script.stdin.as_mut().expect("piped").write_all(&[key]).expect("taken");
    }
    /// Takes the terminal away, as a closed window does.
    fn close(&mut self) {
        self.script.kill().expect("it runs");
        self.script.wait().expect("ended");
    }
    /// Has the program ended, or does it so soon?
    fn ends(&self) -> bool {
        let until = Instant::now() + SOON;
        while Instant::now() < until {
            let state = fs::read_to_string(format!("/proc/{}/stat", self.program));
            // One that nobody asks for any more has ended too.
            if state.map_or(true, |state| state.contains(") Z ")) {
                return true;
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        false
    }
}

/// Is it the program, and not yet gone?
fn is_ours(program: u32) -> bool {
    fs::read_to_string(format!("/proc/{program}/comm")).is_ok_and(|name| name.starts_with("bandward"))
}

impl Drop for Seat {
    fn drop(&mut self) {
        // Its number may be another's once it has ended.
        if is_ours(self.program) {
            let _ = Command::new("kill").args(["-9", &self.program.to_string()]).status();
        }
        let _ = self.script.kill();
        let _ = self.script.wait();
    }
}

/// Answers every greeting, and tells its state some times a second.
fn talks(voice: &mut Voice) {
    let mut time_us = 0;
    while voice.say(&Told::Telemetry(telemetry(time_us))) {
        voice.answer(Duration::from_millis(100));
        time_us += 200_000;
    }
}

/// Tells its state once, and nothing after.
fn falls_silent(voice: &mut Voice) {
    voice.say(&Told::Telemetry(telemetry(0)));
    std::thread::sleep(Duration::from_mins(1));
}

#[test]
fn the_end_of_the_terminal_ends_a_watch() {
    let shop = Shop::new();
    let address = fake_board::start(talks);
    let watches = ["watch".to_owned(), format!("watch --tcp {address}")];
    let mut seats = watches.map(|arguments| Seat::take(&shop, &arguments));
    std::thread::sleep(Duration::from_millis(1500));
    seats.iter_mut().for_each(Seat::close);
    assert_eq!(seats.each_ref().map(Seat::ends), [true; 2]);
}

#[test]
fn q_ends_a_watch_of_a_pipe_before_its_first_byte() {
    let shop = Shop::new();
    let pipe = shop.path("pipe");
    assert!(Command::new("mkfifo").arg(&pipe).status().expect("it runs").success());
    let mut seat = Seat::take(&shop, "watch pipe");
    std::thread::sleep(Duration::from_secs(1));
    seat.press(b'q');
    assert!(seat.ends());
    // The same where a script reads along, and is asked to end.
    let mut child = shop.command(&["watch", "pipe"]).stdout(Stdio::piped()).spawn().expect("it runs");
    std::thread::sleep(Duration::from_millis(500));
    assert!(Command::new("kill").arg(child.id().to_string()).status().expect("it runs").success());
    assert!(program::ended_within(&mut child, SOON).is_some());
}

#[test]
fn rows_of_a_pipe_are_judged_as_those_of_a_file() {
    let shop = Shop::new();
    let made = shop.run(&["synth", &shipped("scenarios/gas-low.toml"), "-o", "joint.csv"]);
    assert!(made.status.success());
    let procedure = shipped("scenarios/procedures/127.toml");
    let of_file = shop.run(&["watch", "--json", "joint.csv", "-p", &procedure]);
    let trace = fs::File::open(shop.path("joint.csv")).expect("made");
    let of_pipe = shop.command(&["watch", "--json", "-", "-p", &procedure]).stdin(trace).output();
    let of_pipe = of_pipe.expect("it runs");
    assert_eq!(of_pipe.status.code(), Some(1));
    assert_eq!(text(&of_pipe.stdout), text(&of_file.stdout));
}

/// Ten rows a second, and the stream stays open: nobody waits for two thousand of them.
#[test]
fn some_seconds_of_a_stream_are_enough_to_begin_and_another_clock_later_is_told() {
    let shop = Shop::new();
    let mut child = shop.command(&["watch", "--json", "-", "--speed", "max"]);
    child.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = child.spawn().expect("it runs");
    let mut to = child.stdin.take().expect("piped");
    let row = |time_s: f64| format!("{time_s:.2},300,25\n");
    let rows: String = (0..60).map(|tenth| row(f64::from(tenth) / 10.0)).collect();
    std::io::Write::write_all(&mut to, format!("time_s,current_a,voltage_v\n{rows}").as_bytes())
        .expect("it reads");
    let mut told = std::io::BufReader::new(child.stdout.take().expect("piped"));
    let (said, heard) = std::sync::mpsc::channel();
    std::thread::spawn(move || {
        let mut line = String::new();
        let _ = std::io::BufRead::read_line(&mut told, &mut line);
        let _ = said.send(line);
        let _ = std::io::Read::read_to_string(&mut told, &mut String::new());
    });
    let first = heard.recv_timeout(SOON).expect("something is said while the stream is open");
    assert!(first.contains("phase") || first.contains("event"), "{first}");
    // Twice as many rows a second: what was told does not hold.
    let rows: String = (0..600).map(|row_number| row(6.0 + f64::from(row_number) / 50.0)).collect();
    let _ = std::io::Write::write_all(&mut to, rows.as_bytes());
    drop(to);
    let ended = child.wait_with_output().expect("it ends");
    let why = text(&ended.stderr);
    assert_eq!(ended.status.code(), Some(2), "{why}");
    assert!(why.contains("first rows of this stream are 0.1 s apart"), "{why}");
}

#[test]
fn a_board_that_falls_silent_keeps_nobody_waiting() {
    let shop = Shop::new();
    let (at_screen, to_script) = (fake_board::start(falls_silent), fake_board::start(falls_silent));
    let mut seat = Seat::take(&shop, &format!("watch --tcp {at_screen}"));
    let mut child = shop.command(&["watch", "--tcp", &to_script, "--json"]).stdout(Stdio::null()).spawn();
    let child = child.as_mut().expect("it runs");
    // By then both have asked whether it is still there, and wait for the answer.
    std::thread::sleep(Duration::from_millis(2500));
    seat.press(b'q');
    assert!(Command::new("kill").arg(child.id().to_string()).status().expect("it runs").success());
    assert!(program::ended_within(child, SOON).is_some_and(|ended| ended.code() == Some(3)));
    assert!(seat.ends());
}

/// Twice key x fetches the black box and re-arms it: the second does not where nothing was fetched.
#[test]
fn a_second_key_re_arms_no_black_box_that_was_not_fetched() {
    let shop = Shop::new();
    let (to, asked) = std::sync::mpsc::channel();
    let address = fake_board::start(move |voice| {
        let frozen = |time_us| Telemetry { black_box_frozen: true, ..telemetry(time_us) };
        let mut time_us = 0;
        while voice.say(&Told::Telemetry(frozen(time_us))) {
            time_us += 100_000;
            let Some(what) = voice.answer(Duration::from_millis(100)) else { continue };
            if what == "black box" {
                voice.say(&Told::Refused(Refusal::ArcBurning));
            }
            let _ = to.send(what);
        }
    });
    let mut seat = Seat::take(&shop, &format!("watch --tcp {address}"));
    std::thread::sleep(Duration::from_secs(2));
    for _ in 0..2 {
        seat.press(b'x');
        assert_eq!(asked.recv_timeout(SOON).as_deref(), Ok("black box"));
        std::thread::sleep(Duration::from_millis(500));
    }
    seat.press(b'q');
    assert!(seat.ends());
    assert!(asked.try_iter().all(|what| what == "gone"));
}

#[test]
fn what_a_board_does_not_answer_is_not_told_as_done() {
    let shop = Shop::new();
    let asked = ["--acknowledge", "--release-blackbox"].map(|option| {
        let address = fake_board::start(talks);
        let arguments = ["watch", "--tcp", &address, option];
        shop.command(&arguments).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().expect("it runs")
    });
    for child in asked {
        let output = child.wait_with_output().expect("it ends");
        assert_eq!(output.status.code(), Some(2), "{}", text(&output.stdout));
        assert!(output.stdout.is_empty(), "{}", text(&output.stdout));
        assert!(text(&output.stderr).contains("has not answered"), "{}", text(&output.stderr));
    }
}

#[test]
fn faults_without_number_are_told_as_a_few_and_soon() {
    let shop = Shop::new();
    let mut keys = String::new();
    keys.extend((0..20_000).map(|index| format!("key_{index} = 1\n")));
    fs::write(shop.path("keys.toml"), keys).expect("written");
    fs::write(shop.path("long.toml"), format!("{} = \"{}\"\n", "k".repeat(300_000), "v".repeat(300_000)))
        .expect("written");
    fs::write(shop.path("huge.toml"), "# x\n".repeat(300_000)).expect("written");
    let rows = "time_s,current_a\n".to_owned() + &"x,y\n".repeat(20_000);
    fs::write(shop.path("rows.csv"), rows).expect("written");
    fs::write(shop.path("events.csv"), "joint,kind\n".to_owned() + &"3,spoon\n".repeat(20_000))
        .expect("written");
    let marks = format!("{{ \"faults\": [ {} 7 ] }}", "7,\n".repeat(20_000));
    fs::write(shop.path("rows.truth.json"), marks).expect("written");
    let joints = shipped("demo/joints.json");
    let procedure = shipped("demo/procedure.toml");
    let cases: [(&[&str], &str); 7] = [
        (&["replay", "-p", "keys.toml"], "more faults"),
        (&["synth", "keys.toml", "-o", "x.csv"], "more faults"),
        (&["replay", "-p", "long.toml"], "not known"),
        (&["replay", "-p", "huge.toml"], "is longer than 1 MiB"),
        (&["replay", "rows.csv"], "such cells"),
        (&["trend", &joints, "--events", "events.csv"], "more faults"),
        (&["trial", "-p", &procedure, "rows.csv"], "more faults"),
    ];
    for (arguments, words) in cases {
        let begun = Instant::now();
        let output = shop.run(arguments);
        let told = text(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        assert!(told.contains(words), "{arguments:?}: {}", &told[told.len().saturating_sub(400)..]);
        assert!(told.len() < 60_000, "{arguments:?}: {} bytes", told.len());
        assert!(begun.elapsed() < SOON, "{arguments:?}: {:?}", begun.elapsed());
    }
}

#[test]
fn records_made_to_fill_the_memory_are_refused() {
    let shop = Shop::new();
    let joints = fs::read_to_string(shipped("demo/joints.json")).expect("shipped");
    let ones = "1,".repeat(2_000_000);
    let path = format!(
        "{{\"trace\":{{\"path\":\"{}\"}},\"outcome\":\"proven\",\"bands\":[]}}",
        "a".repeat(20 << 20)
    );
    let bands = format!("{{\"outcome\":\"proven\",\"bands\":[{ones}1]}}");
    let few = format!("{{\"outcome\":\"proven\",\"bands\":[{}1]}}", "1,".repeat(100_000));
    let cases = [
        ("ones.json", format!("[{ones}1]"), "more faults"),
        ("path.json", path, "bytes long"),
        ("bands.json", bands, "more faults"),
        ("few.json", few, "more faults"),
        ("line.json", format!("[{ones}x]"), "this is no JSON"),
        ("twice.json", "{\"bands\":[],\"bands\":[]}".to_owned(), "duplicate field"),
    ];
    for (name, written, words) in cases {
        fs::write(shop.path(name), written).expect("written");
        let begun = Instant::now();
        let output = shop.run_within(600, &["trend", name]);
        let told = text(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{name}: {}", &told[..told.len().min(400)]);
        assert!(told.contains(words) && told.len() < 60_000, "{name}: {}", &told[..told.len().min(400)]);
        assert!(begun.elapsed() < SOON, "{name}: {:?}", begun.elapsed());
    }
    // What is passed over may be as long as it likes.
    let mut padded = joints.clone();
    let at = padded.find("\"bands\"").expect("bands");
    padded.insert_str(at, &format!("\"alarms\": [{ones}1], "));
    fs::write(shop.path("padded.json"), padded).expect("written");
    fs::write(shop.path("plain.json"), joints).expect("written");
    let [plain, padded] = ["plain.json", "padded.json"].map(|name| shop.run(&["trend", "--json", name]));
    assert_eq!(text(&padded.stdout), text(&plain.stdout));
    assert_eq!(padded.status.code(), plain.status.code());
}

#[test]
fn blank_lines_without_end_are_refused_with_their_line() {
    let shop = Shop::new();
    let head = "time_s,current_a\n0,1\n1,2\n";
    for (name, blank) in [("lines.csv", "\n"), ("cells.csv", ",\n")] {
        fs::write(shop.path(name), head.to_owned() + &blank.repeat(1_100_000) + "2,3\n").expect("written");
        shop.refused(&["replay", name], "line 1000004: 1000000 blank lines");
    }
    fs::write(shop.path("few.csv"), head.to_owned() + &"\n".repeat(100_000) + "2,3\n").expect("written");
    assert_eq!(shop.run(&["replay", "few.csv"]).status.code(), Some(0));
}

#[test]
fn outputs_that_would_take_the_place_of_what_is_read_are_refused() {
    let shop = Shop::new();
    assert!(shop.run(&["synth", &shipped("scenarios/good-25-10hz.toml"), "-o", "kept.csv"]).status.success());
    fs::create_dir_all(shop.path("q/bands/joint=bands")).expect("made");
    assert!(
        shop.run(&[
            "synth",
            &shipped("scenarios/good-25-10hz.toml"),
            "-o",
            "q/bands/joint=bands/bands.parquet"
        ])
        .status
        .success()
    );
    shop.refused(&["replay", "q/bands/joint=bands/bands.parquet", "--parquet", "q"], "lies among the tables");
    shop.refused(
        &["replay", "q/bands/joint=bands/bands.parquet", "--parquet", "./q/../q"],
        "lies among the tables",
    );
    // The procedure of a scenario is read too.
    fs::copy(shipped("demo/procedure.toml"), shop.path("p.truth.json")).expect("copied");
    let scenario = "[scenario]\nname = \"x\"\nprocedure = \"p.truth.json\"\n";
    fs::write(shop.path("s.toml"), scenario).expect("written");
    shop.refused(&["synth", "s.toml", "-o", "p.csv"], "the procedure");
    shop.refused(&["plan", "--report", "x.html", "--heat-picture", "./x.html"], "is the same file as");
    for arguments in [
        &["replay", "kept.csv", "--report", "-"][..],
        &["plan", "--report", "-"],
        &["trend", "kept.csv", "--report", "-"],
    ] {
        shop.refused(arguments, "name a file");
    }
    symlink("round.html", shop.path("round.html")).expect("linked");
    let output = shop.run(&["plan", "--report", "round.html"]);
    assert_eq!(output.status.code(), Some(2));
}

#[test]
fn whoever_reads_the_first_line_only_still_has_the_page() {
    let shop = Shop::new();
    let setup = shipped("demo/setup.toml");
    let joints = shipped("demo/joints.json");
    let cases: [&[&str]; 3] = [
        &["plan", "--report", "page.html"],
        &["trend", &joints, "--report", "page.html"],
        &["setup", "--from", &setup, "--card", "page.html"],
    ];
    for arguments in cases {
        let mut child =
            shop.command(arguments).stdout(Stdio::piped()).stderr(Stdio::null()).spawn().expect("it runs");
        drop(child.stdout.take());
        let ended = child.wait().expect("it ends");
        assert_eq!(ended.code(), Some(2), "{arguments:?}");
        let page = fs::read_to_string(shop.path("page.html"));
        assert!(page.is_ok_and(|page| page.trim_end().ends_with("</html>")), "{arguments:?}");
        fs::remove_file(shop.path("page.html")).expect("there");
    }
}
