//! What a watch says of a trace that it did not see to its end: left early, or rows that stop coming.

use bandward_tests::program;
use bandward_tests::served::Served;
use std::fs::{self, File, OpenOptions};
use std::io::{Read as _, Write as _};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};
use tempfile::TempDir;

const PROCEDURE: &str = "procedure.toml";
/// Of `good-89-50hz`: the first arc burns then, s.
const IN_BAND_S: f64 = 45.0;

/// A good joint as rows, and its procedure.
struct Shop {
    folder: TempDir,
    rows: Vec<String>,
}

impl Shop {
    fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let scenarios = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sim/scenarios");
        let scenario = scenarios.join("good-89-50hz.toml");
        let made =
            program::run_in(folder.path(), &["synth", scenario.to_str().expect("plain"), "-o", "joint.csv"]);
        assert!(made.status.success());
        fs::copy(scenarios.join("procedures/88.9.toml"), folder.path().join(PROCEDURE)).expect("copied");
        let text = fs::read_to_string(folder.path().join("joint.csv")).expect("made");
        Self { folder, rows: text.lines().map(str::to_owned).collect() }
    }
    /// The header and the rows up to a time.
    fn until(&self, last_s: f64) -> String {
        let is_early = |row: &&String| {
            row.split(',').next().and_then(|cell| cell.parse::<f64>().ok()).is_none_or(|at_s| at_s <= last_s)
        };
        let early: Vec<_> = self.rows.iter().take_while(is_early).map(String::as_str).collect();
        early.join("\n") + "\n"
    }
    fn pipe(&self) -> PathBuf {
        let path = self.folder.path().join("pipe");
        assert!(Command::new("mkfifo").arg(&path).status().expect("it runs").success());
        path
    }
    /// Writes these rows into a pipe, which then stays open.
    fn feed(pipe: &Path, rows: String) -> std::thread::JoinHandle<File> {
        let pipe = pipe.to_owned();
        std::thread::spawn(move || {
            let mut to = OpenOptions::new().write(true).open(pipe).expect("somebody reads");
            to.write_all(rows.as_bytes()).expect("read");
            to
        })
    }
}

/// Whoever ends a watch in the midst of a good joint has proven nothing.
#[test]
fn a_joint_that_is_left_early_is_not_proven() {
    let shop = Shop::new();
    let whole = shop.rows.len();
    let row_s =
        |row: usize| shop.rows[row].split(',').next().and_then(|cell| cell.parse().ok()).unwrap_or(f64::MAX);
    let burns = |row: usize| {
        shop.rows[row]
            .split(',')
            .nth(1)
            .and_then(|cell| cell.parse::<f64>().ok())
            .is_some_and(|amps| amps > 100.0)
    };
    // Under the first arc, and between the bands.
    let gap = (1..whole)
        .skip_while(|&row| !burns(row))
        .find(|&row| row_s(row) > IN_BAND_S && !burns(row))
        .expect("a gap");
    let pipe = shop.pipe();
    for last_s in [IN_BAND_S, row_s(gap) + 5.0] {
        let feeding = Shop::feed(&pipe, shop.until(last_s));
        let mut child = Command::new(program::path())
            .args(["watch", "pipe", "--procedure", PROCEDURE, "--speed", "max", "--json"])
            .current_dir(shop.folder.path())
            .stdout(Stdio::piped())
            .spawn()
            .expect("it runs");
        let open = feeding.join().expect("written");
        std::thread::sleep(Duration::from_secs(1));
        assert!(
            Command::new("kill").args(["-INT", &child.id().to_string()]).status().expect("it runs").success()
        );
        let ended = program::ended_within(&mut child, Duration::from_secs(20)).expect("it ends");
        let mut told = String::new();
        child.stdout.take().expect("piped").read_to_string(&mut told).expect("text");
        drop(open);
        assert_eq!(ended.code(), Some(3), "{last_s}: {told}");
        let last = told.lines().last().expect("an end");
        assert!(
            last.contains("\"not proven\"") && last.contains("\"within_procedure\":false"),
            "{last_s}: {last}"
        );
        assert!(told.contains("\"phase\":\"arc\""), "{last_s}: the arc was seen: {told}");
    }
}

/// Rows that stop coming leave no value and no green on the page, the metrics or anywhere.
#[test]
fn rows_that_stop_coming_are_told_and_no_value_stays() {
    let shop = Shop::new();
    let pipe = shop.pipe();
    let feeding = Shop::feed(&pipe, shop.until(IN_BAND_S));
    let served = Served::start(shop.folder.path(), &["pipe", "--procedure", PROCEDURE, "--speed", "max"]);
    let mut open = feeding.join().expect("written");
    let until = Instant::now() + Duration::from_secs(20);
    let mut state = served.state();
    while state["now"]["word"] != "NO DATA" {
        assert!(Instant::now() < until, "{state}");
        std::thread::sleep(Duration::from_millis(200));
        state = served.state();
    }
    assert_eq!((&state["is_old"], &state["now"]["tone"]), (&true.into(), &"stop".into()), "{state}");
    assert!(
        state["gauges"].as_array().is_some_and(|all| all.iter().all(|one| one["value"].is_null())),
        "{state}"
    );
    let metrics = served.ask("GET /metrics", "", "");
    assert!(metrics.contains("\nbandward_live 0\n") && !metrics.contains("_amperes "), "{metrics}");
    // They come again, and so do the values.
    let later = shop.until(IN_BAND_S + 10.0);
    let more = &later[shop.until(IN_BAND_S).len()..];
    open.write_all(more.as_bytes()).expect("read");
    while served.state()["is_old"] == true {
        assert!(Instant::now() < until, "{}", served.state());
        std::thread::sleep(Duration::from_millis(50));
    }
}

/// Rows that are stamped no later than what was read are no rows of now, and it is told why.
#[test]
fn rows_whose_clock_stands_still_are_told_as_out_of_order() {
    let shop = Shop::new();
    let pipe = shop.pipe();
    let feeding = Shop::feed(&pipe, shop.until(IN_BAND_S));
    let last = shop.until(IN_BAND_S).lines().last().expect("rows").to_owned();
    let served = Served::start(shop.folder.path(), &["pipe", "--procedure", PROCEDURE]);
    let mut open = feeding.join().expect("written");
    served.state_where("rows are read", |state| state["time_s"].as_f64() > Some(IN_BAND_S - 1.0));
    let feeding = std::thread::spawn(move || {
        for _ in 0..250 {
            open.write_all(format!("{last}\n").as_bytes()).expect("read");
            std::thread::sleep(Duration::from_millis(20));
        }
        open
    });
    let begun = Instant::now();
    let mut told = 0;
    while !feeding.is_finished() {
        let state = served.state();
        // A fresh watch first catches up with what waited, and knows after a second that it has.
        if begun.elapsed() > Duration::from_millis(1500) {
            assert_eq!(
                (&state["now"]["word"], &state["is_old"]),
                (&"NO DATA".into(), &true.into()),
                "{state}"
            );
            let words = state["now"]["words"].as_str().expect("words");
            assert_eq!(words, "rows are out of order: stamped no later than the last one read");
            told += 1;
        }
        std::thread::sleep(Duration::from_millis(100));
    }
    assert!(told > 5, "{told}");
}

/// A stream is live: what waited is caught up with, told as late meanwhile, and never played at its own pace.
#[test]
fn a_stream_that_waited_is_late_until_it_is_caught_up_with() {
    let shop = Shop::new();
    let pipe = shop.pipe();
    let (begun, waited) = (shop.until(20.0), shop.until(65.0));
    let rest = shop.until(75.0)[waited.len()..].to_owned();
    let later = waited[begun.len()..].to_owned();
    let feeding = Shop::feed(&pipe, begun);
    let served = Served::start(shop.folder.path(), &["pipe", "--procedure", PROCEDURE]);
    let mut open = feeding.join().expect("written");
    served.state_where("rows are read", |state| state["time_s"].as_f64() > Some(19.0));
    // What waits comes ten times as fast as it was recorded, then the rest as fast as time passes: 50 rows a second.
    let write = |open: &mut File, text: &str, at_once: usize| {
        let rows: Vec<_> = text.lines().collect();
        for some in rows.chunks(at_once) {
            open.write_all((some.join("\n") + "\n").as_bytes()).expect("read");
            std::thread::sleep(Duration::from_millis(100));
        }
    };
    let feeding = std::thread::spawn(move || {
        write(&mut open, &later, 50);
        write(&mut open, &rest, 5);
        open
    });
    let (until, mut was_late) = (Instant::now() + Duration::from_secs(30), false);
    while !feeding.is_finished() {
        assert!(Instant::now() < until);
        let state = served.state();
        let time_s = state["time_s"].as_f64().expect("a time");
        if (25.0..60.0).contains(&time_s) {
            assert_eq!((&state["now"]["word"], &state["is_old"]), (&"LATE".into(), &true.into()), "{state}");
            was_late = true;
        }
        if time_s > 68.0 {
            assert_eq!(state["is_old"], false, "{state}");
        }
        std::thread::sleep(Duration::from_millis(100));
    }
    assert!(was_late);
    let time_s = served.state()["time_s"].as_f64().expect("a time");
    assert!(time_s > 74.0, "{time_s}");
}

/// Once the trace is over, what is shown is the joint that was judged, and no value is of now.
#[test]
fn after_the_end_the_judged_joint_is_shown() {
    let shop = Shop::new();
    let mut served =
        Served::start(shop.folder.path(), &["joint.csv", "--procedure", PROCEDURE, "--speed", "max"]);
    let end = served.expect("end");
    let until = Instant::now() + Duration::from_secs(20);
    let mut state = served.state();
    while state["is_over"] != true {
        assert!(Instant::now() < until, "{state}");
        std::thread::sleep(Duration::from_millis(50));
        state = served.state();
    }
    let words = |outcome: &str| if outcome == "proven" { "within".to_owned() } else { outcome.to_owned() };
    assert_eq!(state["joint"]["outcome"], words(end["outcome"].as_str().expect("an outcome")), "{state}");
    assert_eq!((&state["is_joint_done"], &state["joint_number"]), (&true.into(), &1.into()), "{state}");
    assert_eq!((&state["phase"], &state["is_in_band"]), (&"ended".into(), &false.into()), "{state}");
    let metrics = served.ask("GET /metrics", "", "");
    assert!(metrics.contains("\nbandward_live 0\n") && !metrics.contains("bandward_in_band 1"), "{metrics}");
}

/// A log that ends while the weld must stop: the alarm stands no more, it is told that it stood, and nothing can be asked.
#[test]
fn after_a_log_that_ends_in_a_stop_no_alarm_stands_and_nothing_can_be_done() {
    let shop = Shop::new();
    let gas = shop.rows[0].split(',').position(|name| name == "gas_lpm").expect("a column");
    let until = shop.until(IN_BAND_S);
    let without_gas = |row: &str| {
        let mut cells: Vec<_> = row.split(',').collect();
        let is_late = cells[0].parse::<f64>().is_ok_and(|at_s| at_s > IN_BAND_S - 5.0);
        if is_late {
            cells[gas] = "0";
        }
        cells.join(",") + "\n"
    };
    let rows: String = until.lines().map(without_gas).collect();
    fs::write(shop.folder.path().join("cut.csv"), rows).expect("written");
    let mut served =
        Served::start(shop.folder.path(), &["cut.csv", "--procedure", PROCEDURE, "--speed", "max"]);
    served.expect("end");
    let state = served.state_where("it is over", |state| state["is_over"] == true);
    assert_eq!(
        (&state["alarms"], &state["acts"]),
        (&serde_json::json!([]), &serde_json::json!([])),
        "{state}"
    );
    assert_eq!(
        (&state["now"]["word"], &state["band"]["outcome"]),
        (&"OUTSIDE".into(), &"none".into()),
        "{state}"
    );
    assert_eq!(state["bands_done"], 1, "{state}");
    let history = state["history"].as_array().expect("a list");
    let stood = history.iter().find(|one| one["rule"] == "gas-low").expect("it was raised");
    assert_eq!((&stood["severity"], &stood["is_active_at_end"]), (&"stop".into(), &true.into()), "{state}");
    for act in [r#"{"act":"acknowledge"}"#, r#"{"act":"new-joint"}"#] {
        let told = served.act(act);
        assert!(told.starts_with("HTTP/1.1 409 ") && told.contains("the log has ended"), "{told}");
    }
}

/// A board that never answers is left as one that has: with a last line and the exit code of what is not proven.
#[test]
fn a_watch_that_is_ended_before_the_board_has_answered_says_so() {
    let folder = tempfile::tempdir().expect("a folder");
    for signal in ["-TERM", "-INT"] {
        let silent = std::net::TcpListener::bind("127.0.0.1:0").expect("a port");
        let address = silent.local_addr().expect("bound").to_string();
        let mut child = Command::new(program::path())
            .args(["watch", "--tcp", &address, "--json"])
            .current_dir(folder.path())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("it runs");
        // It connects when it is ready for signals.
        let link = silent.accept().expect("it connects");
        let told = Command::new("kill").args([signal, &child.id().to_string()]).status();
        assert!(told.expect("it runs").success());
        let begun = Instant::now();
        let ended = program::ended_within(&mut child, Duration::from_secs(20)).expect("it ends");
        assert!(begun.elapsed() < Duration::from_secs(5), "{signal}: {:?}", begun.elapsed());
        let output = child.wait_with_output().expect("ended");
        let (said, words) =
            (String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
        drop(link);
        assert_eq!(ended.code(), Some(3), "{signal}: {said}{words}");
        let last: serde_json::Value =
            serde_json::from_str(said.lines().last().expect("a line")).expect("JSON");
        assert_eq!((&last["event"], &last["outcome"]), (&"end".into(), &"not proven".into()), "{signal}");
        assert_eq!(last["reasons"], serde_json::json!(["no-state"]), "{signal}");
        assert!(words.contains("there was no link to the board yet"), "{signal}: {words}");
    }
}
