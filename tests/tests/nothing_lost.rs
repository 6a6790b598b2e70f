//! Every output of every command is the old file or the new one, never half of either: the disk is full at
//! the first write or at a later one, the program is ended at a write, an output is an input too.

use bandward_tests::program;
use std::fs;
use std::os::unix::fs::{MetadataExt as _, symlink};
use std::os::unix::process::ExitStatusExt as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::Duration;
use tempfile::TempDir;

const OLD: &str = "the good old file\n";

fn scenario(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sim/scenarios").join(name);
    path.canonicalize().expect("shipped").to_str().expect("plain").to_owned()
}

/// A folder with a trace, its truth and its procedure.
struct Shop {
    folder: TempDir,
    procedure: String,
}

impl Shop {
    fn new() -> Self {
        let shop = Self {
            folder: tempfile::tempdir().expect("a folder"),
            procedure: scenario("procedures/127.toml"),
        };
        shop.run(&["synth", &scenario("gas-low.toml"), "-o", "joint.csv"]).expect(0);
        fs::copy(shop.path("joint.truth.json"), shop.path("kept.truth.json")).expect("copied");
        fs::rename(shop.path("joint.csv"), shop.path("kept.csv")).expect("renamed");
        fs::remove_file(shop.path("joint.truth.json")).expect("it was made");
        shop
    }
    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }
    fn command(&self, program: impl AsRef<std::ffi::OsStr>) -> Command {
        let mut command = Command::new(program);
        command.current_dir(self.folder.path()).env("XDG_CONFIG_HOME", self.path("config"));
        command
    }
    fn run(&self, arguments: &[&str]) -> Done {
        Done(self.command(program::path()).args(arguments).output().expect("it runs"))
    }
    /// Runs with files that can grow to `blocks` of 512 bytes only, as on a full disk.
    fn run_short(&self, arguments: &[&str], blocks: u32) -> Done {
        let script = format!("ulimit -f {blocks}; exec \"$0\" \"$@\"");
        let mut command = self.command("sh");
        Done(command.args(["-c", &script]).arg(program::path()).args(arguments).output().expect("it runs"))
    }
    /// Runs, and is killed (kill -9) in the middle of it, if it takes that long.
    fn run_killed(&self, arguments: &[&str], after: Duration) -> Done {
        let mut command = self.command(program::path());
        let mut running =
            command.args(arguments).stdout(Stdio::null()).stderr(Stdio::null()).spawn().expect("it starts");
        std::thread::sleep(after);
        // It may have ended by itself.
        let _ = running.kill();
        Done(running.wait_with_output().expect("it ends"))
    }
    /// All that is in the folder and below.
    fn paths(&self) -> Vec<PathBuf> {
        let mut paths = Vec::new();
        let mut folders = vec![self.folder.path().to_owned()];
        while let Some(folder) = folders.pop() {
            for entry in fs::read_dir(folder).expect("a folder") {
                let path = entry.expect("an entry").path();
                if path.is_dir() {
                    folders.push(path.clone());
                }
                paths.push(path);
            }
        }
        paths
    }
    fn drafts(&self) -> Vec<PathBuf> {
        self.paths().into_iter().filter(|path| path.extension().is_some_and(|end| end == "draft")).collect()
    }
}

struct Done(Output);

impl Done {
    fn words(&self) -> String {
        String::from_utf8_lossy(&self.0.stderr).into_owned()
    }
    fn expect(self, code: i32) -> Self {
        assert_eq!(self.0.status.code(), Some(code), "{}", self.words());
        self
    }
}

/// Each output: what makes it, and its name.
fn outputs(shop: &Shop) -> Vec<(Vec<String>, Vec<&'static str>)> {
    let folder = "fleet/bands/machine=unnamed/day=undated/joint=kept/bands.parquet";
    let alarms = "fleet/alarms/machine=unnamed/day=undated/joint=kept/alarms.parquet";
    let (gas, procedure) = (scenario("gas-low.toml"), shop.procedure.clone());
    let setup = scenario("../demo/setup.toml");
    let sweep = "gas-low.on_delay=0:1:1";
    let trial = ["trial", "-p", &procedure, "kept.csv", "--sweep", sweep];
    let joints = scenario("../demo/joints.json");
    let lists: Vec<(Vec<&str>, Vec<&'static str>)> = vec![
        (vec!["replay", "kept.csv", "-p", &procedure, "--report", "page.html"], vec!["page.html"]),
        (vec!["replay", "kept.csv", "-p", &procedure, "--png", "page.png"], vec!["page.png"]),
        (vec!["replay", "kept.csv", "-p", &procedure, "--parquet", "fleet"], vec![folder, alarms]),
        (vec!["synth", &gas, "-o", "new.csv"], vec!["new.csv", "new.truth.json"]),
        (vec!["synth", &gas, "-o", "new.csv.gz"], vec!["new.csv.gz", "new.truth.json"]),
        (vec!["synth", &gas, "-o", "new.csv.zst"], vec!["new.csv.zst", "new.truth.json"]),
        (vec!["synth", &gas, "-o", "new.parquet"], vec!["new.parquet", "new.truth.json"]),
        (vec!["trend", &joints, "--report", "trend.html"], vec!["trend.html"]),
        (vec!["trend", &joints, "--table", "trend.parquet"], vec!["trend.parquet"]),
        ([&trial[..], &["--svg", "curve.svg"]].concat(), vec!["curve.svg"]),
        ([&trial[..], &["--png", "curve.png"]].concat(), vec!["curve.png"]),
        (vec!["manual", "man"], vec!["man/bandward.1", "man/bandward-plan.1"]),
        (vec!["config", "units", "inch"], vec!["config/bandward/config.toml"]),
        (vec!["setup", "--from", &setup, "--save", "saved.toml", "--initials", "AB"], vec!["saved.toml"]),
    ];
    let owned = |list: Vec<&str>| list.into_iter().map(str::to_owned).collect::<Vec<_>>();
    lists.into_iter().map(|(arguments, names)| (owned(arguments), names)).collect()
}

/// What must be new is never there before.
fn must_be_new(name: &str) -> bool {
    name == "saved.toml"
}

fn lay_old(shop: &Shop, name: &str) {
    let path = shop.path(name);
    fs::create_dir_all(path.parent().expect("a folder")).expect("made");
    // What is read before it is written must be sound.
    let text = if name.ends_with("config.toml") { "units = \"metric\"\n" } else { OLD };
    if !must_be_new(name) {
        fs::write(path, text).expect("written");
    }
}

fn is_old(shop: &Shop, name: &str) -> bool {
    let now = fs::read_to_string(shop.path(name)).ok();
    if must_be_new(name) {
        now.is_none()
    } else {
        now.is_some_and(|text| text == OLD || text.contains("metric"))
    }
}

#[test]
fn a_disk_that_is_full_leaves_every_old_file_as_it_was() {
    let shop = Shop::new();
    for (arguments, names) in outputs(&shop) {
        let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
        for blocks in [0, 1] {
            for name in &names {
                lay_old(&shop, name);
            }
            let done = shop.run_short(&arguments, blocks);
            // What is shorter than a block may be written, and is whole then.
            let is_short = blocks == 1 && done.0.status.code() != Some(2);
            let spoilt: Vec<_> = names.iter().filter(|name| !is_old(&shop, name)).collect();
            assert!(spoilt.is_empty() || is_short, "{arguments:?} {blocks}: {spoilt:?}");
            if !is_short {
                assert_eq!(done.0.status.code(), Some(2), "{arguments:?} {blocks}: {}", done.words());
            }
            assert!(shop.drafts().is_empty(), "{arguments:?} {blocks}: {:?}", shop.paths());
            clear(&shop, &names);
        }
    }
}

#[test]
fn a_kill_at_any_moment_leaves_every_old_file_or_the_whole_new_one() {
    let shop = Shop::new();
    let mut killed = 0;
    for (arguments, names) in outputs(&shop) {
        let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
        for after_ms in [3, 12, 30] {
            for name in &names {
                lay_old(&shop, name);
            }
            let done = shop.run_killed(&arguments, Duration::from_millis(after_ms));
            killed += usize::from(done.0.status.signal().is_some());
            for name in &names {
                let is_whole = || fs::metadata(shop.path(name)).is_ok_and(|new| new.len() > OLD.len() as u64);
                assert!(is_old(&shop, name) || is_whole(), "{arguments:?} {after_ms} ms: {name}");
            }
            // Whoever is killed cannot tidy up, and does not have to.
            assert!(shop.drafts().len() <= names.len(), "{arguments:?}: {:?}", shop.paths());
            clear(&shop, &names);
        }
    }
    assert!(killed > 0, "none was killed before its end");
}

/// Away with drafts, and with what was short enough to be made.
fn clear(shop: &Shop, names: &[&str]) {
    shop.drafts().iter().for_each(|draft| fs::remove_file(draft).expect("it is there"));
    for name in names {
        let _ = fs::remove_file(shop.path(name));
    }
}

#[test]
fn an_output_that_goes_well_takes_the_place_of_the_old_one() {
    let shop = Shop::new();
    for (arguments, names) in outputs(&shop) {
        let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
        for name in &names {
            lay_old(&shop, name);
        }
        let done = shop.run(&arguments);
        assert!(done.0.status.code() != Some(2), "{arguments:?}: {}", done.words());
        for name in &names {
            let path = shop.path(name);
            assert!(path.exists() && fs::read(&path).expect("readable") != OLD.as_bytes(), "{name}");
        }
        assert!(shop.drafts().is_empty(), "{arguments:?}");
    }
}

#[test]
fn a_link_still_leads_to_the_new_file_and_its_permissions_stay() {
    use std::os::unix::fs::PermissionsExt as _;
    let shop = Shop::new();
    fs::create_dir(shop.path("elsewhere")).expect("made");
    fs::write(shop.path("elsewhere/real.html"), OLD).expect("written");
    fs::set_permissions(shop.path("elsewhere/real.html"), fs::Permissions::from_mode(0o640)).expect("set");
    symlink("elsewhere/real.html", shop.path("link.html")).expect("linked");
    shop.run(&["replay", "--report", "link.html"]).expect(1);
    assert!(shop.path("link.html").symlink_metadata().expect("there").is_symlink());
    let real = shop.path("elsewhere/real.html");
    assert!(fs::read_to_string(&real).expect("written").starts_with("<!DOCTYPE html>"));
    assert_eq!(real.metadata().expect("there").mode() & 0o777, 0o640);
}

#[test]
fn an_output_that_is_an_input_or_another_output_is_refused_before_anything_is_written() {
    let shop = Shop::new();
    let trace = fs::read(shop.path("kept.csv")).expect("made");
    symlink("kept.csv", shop.path("link.csv")).expect("linked");
    fs::hard_link(shop.path("kept.csv"), shop.path("hard.csv")).expect("linked");
    fs::copy(scenario("../demo/joints.json"), shop.path("joints.json")).expect("copied");
    fs::copy(&shop.procedure, shop.path("p.toml")).expect("copied");
    fs::copy(scenario("../demo/setup.toml"), shop.path("s.toml")).expect("copied");
    // What `replay` reads of itself, because it lies beside the trace.
    fs::write(shop.path("kept.joint.toml"), "[joint]\nserial = \"invented 7\"\n").expect("written");
    fs::write(shop.path("kept.inspection.toml"), "invented, and not read before it is refused")
        .expect("written");
    for name in ["login", "c.pem"] {
        fs::write(shop.path(name), "invented\nand not read before it is refused\n").expect("written");
    }
    // Of a register that was exported.
    fs::create_dir_all(shop.path("ex/records")).expect("made");
    fs::write(shop.path("ex/records/a.parquet"), OLD).expect("written");
    // What lies in the folder of pages by the name of one.
    fs::create_dir(shop.path("pg")).expect("made");
    for name in ["pg/a.csv", "pg/b.csv"] {
        fs::copy(shop.path("kept.csv"), shop.path(name)).expect("copied");
    }
    for name in ["pg/a.html", "pg/index.html"] {
        fs::write(shop.path(name), OLD).expect("written");
    }
    let kept = shop.folder.path().join("kept.csv");
    let pages = ["replay", "pg/a.csv", "pg/b.csv", "--report", "pg"];
    let sweep = ["trial", "-p", "p.toml", "kept.csv", "--sweep", "gas-low.on_delay=0:1:1"];
    let set_up = ["setup", "-p", "p.toml", "--from", "s.toml", "--initials", "AB"];
    let serve = ["watch", "kept.csv", "--serve", "127.0.0.1:0", "--publish", "mqtts://127.0.0.1:1/invented"];
    let board = ["watch", "--tcp", "127.0.0.1:1", "--register", "r"];
    let cases: Vec<Vec<&str>> = vec![
        vec!["replay", "kept.csv", "--report", "kept.csv"],
        vec!["replay", "kept.csv", "--report", "./kept.csv"],
        vec!["replay", "kept.csv", "--report", "link.csv"],
        vec!["replay", "link.csv", "--png", "hard.csv"],
        vec!["replay", "kept.csv", "--png", kept.to_str().expect("plain")],
        vec!["replay", "kept.csv", "-p", "p.toml", "--report", "p.toml"],
        vec!["replay", "kept.csv", "-p", "p.toml", "--setup", "s.toml", "--report", "s.toml"],
        vec!["replay", "kept.csv", "--report", "new.out", "--png", "./new.out"],
        vec!["replay", "kept.csv", "--report", "kept.joint.toml"],
        vec!["replay", "link.csv", "--png", "./kept.inspection.toml"],
        vec!["replay", "kept.csv", "--register", "r", "--png", "r-wal"],
        vec!["replay", "kept.csv", "--register", "r", "--report", "./r-journal"],
        [&pages[..], &["--register", "pg/a.html"]].concat(),
        [&pages[..], &["--register", "./pg/../pg/index.html"]].concat(),
        [&pages[..], &["-p", "pg/a.html"]].concat(),
        [&pages[..], &["--layout", "pg/index.html"]].concat(),
        [&pages[..], &["pg/a.html"]].concat(),
        vec!["watch", "kept.csv", "--serve", "127.0.0.1:0", "--serve-log", "./kept.csv"],
        vec!["watch", "kept.csv", "-p", "p.toml", "--serve", "127.0.0.1:0", "--serve-log", "p.toml"],
        [&serve[..], &["--serve-log", "login", "--publish-login", "login"]].concat(),
        [&serve[..], &["--serve-log", "./c.pem", "--publish-ca", "c.pem"]].concat(),
        [&board[..], &["--fetch-journal", "s.toml", "--setup", "s.toml", "-p", "p.toml"]].concat(),
        [&board[..], &["--fetch-blackbox", "kept.csv", "--inspection", "link.csv"]].concat(),
        [&board[..], &["--fetch-journal", "login", "--joint-file", "login"]].concat(),
        [&board[..], &["--record", "new.csv", "--fetch-journal", "./new.csv"]].concat(),
        [&board[..], &["--record", "new.parquet", "--fetch-journal", "new.parquet.rows.csv"]].concat(),
        [&board[..], &["--record", "new.csv", "--serve", "127.0.0.1:0", "--serve-log", "new.csv"]].concat(),
        [&board[..], &["--record", "kept.csv", "--fetch-blackbox", "kept-2.csv"]].concat(),
        vec!["watch", "--tcp", "127.0.0.1:1", "--record", "new.csv", "--register", "new.csv"],
        vec!["trend", "-p", "p.toml", "kept.csv", "--report", "kept.joint.toml"],
        vec!["trend", "link.csv", "--table", "./kept.inspection.toml"],
        vec!["trend", "--register", "r", "--table", "r-wal"],
        vec!["trend", "--register", "r", "--report", "./r-journal"],
        vec!["trend", "ex", "--table", "ex/records/a.parquet"],
        vec!["register", "show", "r", "--joint", "1", "--report", "r-wal"],
        vec!["register", "show", "r", "--joint", "1", "--report", "r-shm"],
        vec!["register", "show", "r", "--joint", "1", "--report", "kept.joint.toml", "--log", "kept.csv"],
        vec!["replay", "kept.csv", "--parquet", "new", "--report", "new"],
        vec!["replay", "kept.csv", "--parquet", "./new", "--png", "new"],
        vec!["replay", "kept.csv", "--parquet", "new", "--register", "new"],
        [&sweep[..], &["--parquet", "new", "--png", "./new"]].concat(),
        [&set_up[..], &["--save", "new.toml", "--register", "new.toml"]].concat(),
        [&set_up[..], &["--save", "new.toml", "--card", "new.html", "--register", "./new.html"]].concat(),
        [&sweep[..], &["--png", "kept.joint.toml"]].concat(),
        vec!["trend", "joints.json", "--report", "joints.json"],
        vec!["trend", "joints.json", "--table", "new.out", "--report", "new.out"],
        [&sweep[..], &["--svg", "new.out", "--png", "new.out"]].concat(),
        [&sweep[..], &["--png", "kept.csv"]].concat(),
        [&sweep[..], &["--png", "kept.truth.json"]].concat(),
        [&sweep[..], &["--svg", "p.toml"]].concat(),
    ];
    let before = shop.paths().len();
    for arguments in cases {
        let done = shop.run(&arguments).expect(2);
        assert!(done.words().contains("is the same file as"), "{arguments:?}: {}", done.words());
        assert!(done.0.stdout.is_empty(), "{arguments:?}");
        assert_eq!(shop.paths().len(), before, "{arguments:?}: {:?}", shop.paths());
        assert_eq!(fs::read(shop.path("kept.csv")).expect("there"), trace, "{arguments:?}");
        assert!(is_old(&shop, "pg/a.html") && is_old(&shop, "pg/index.html"), "{arguments:?}");
    }
    let table = "tables/bands/joint=kept/bands.parquet";
    let done = shop.run(&["replay", "kept.csv", "--parquet", "tables", "--report", table]).expect(2);
    assert!(done.words().contains("is a table that --parquet writes"), "{}", done.words());
    assert_eq!(shop.paths().len(), before, "{:?}", shop.paths());
    // Standard output that is directed to a file is an output too.
    let directed = fs::File::options().append(true).open(shop.path("kept.csv")).expect("there");
    let mut command = shop.command(program::path());
    let done = command.args(["replay", "kept.csv"]).stdout(directed).stderr(Stdio::piped()).output();
    Done(done.expect("it runs")).expect(2);
    assert_eq!(fs::read(shop.path("kept.csv")).expect("there"), trace);
}

/// Nobody names them: the log that a register knows, and the one that standard input is directed to.
#[test]
fn a_page_is_written_over_no_log_that_is_read_unnamed() {
    let shop = Shop::new();
    let trace = fs::read(shop.path("kept.csv")).expect("made");
    shop.run(&["replay", "kept.csv", "--register", "r"]).expect(0);
    let show = ["register", "show", "r", "--joint", "1", "--report"];
    fs::write(shop.path("kept.joint.toml"), "[joint]\nserial = \"invented 7\"\n").expect("written");
    for name in ["kept.csv", "kept.joint.toml"] {
        let before = fs::read(shop.path(name)).expect("there");
        let done = shop.run(&[&show[..], &[name]].concat()).expect(2);
        assert!(done.words().contains("is the same file as"), "{}", done.words());
        assert!(done.0.stdout.is_empty());
        assert_eq!(fs::read(shop.path(name)).expect("there"), before, "{name}");
    }
    let directed = fs::File::open(shop.path("kept.csv")).expect("there");
    let mut command = shop.command(program::path());
    let done = command.args(["replay", "-", "--report", "kept.csv"]).stdin(directed).output();
    let done = Done(done.expect("it runs")).expect(2);
    assert!(done.words().contains("is the same file as"), "{}", done.words());
    assert_eq!(fs::read(shop.path("kept.csv")).expect("there"), trace);
    shop.run(&[&show[..], &["new.html"]].concat()).expect(0);
}

#[test]
fn what_must_be_new_and_is_there_says_what_to_do() {
    let shop = Shop::new();
    let procedure = shop.procedure.clone();
    for name in ["old", "old.rs"] {
        fs::write(shop.path(name), OLD).expect("written");
    }
    for arguments in [
        vec![
            "plan",
            "--procedure",
            &procedure,
            "--diameter",
            "127 mm",
            "--total-width",
            "76 mm",
            "--report",
            "old",
        ],
        vec!["layout", "kept.csv", "-o", "old"],
        vec!["keys", "-o", "old"],
        vec!["procedure", "--diameter", "127 mm", "--wire", "1.6 mm", "-o", "old"],
        vec!["embed", &procedure, "-o", "old.rs"],
        vec!["setup", "--procedure", &procedure, "--from", &scenario("../demo/setup.toml"), "--save", "old"],
    ] {
        let done = shop.run(&arguments).expect(2);
        let words = done.words();
        assert!(
            words.contains("is already there; choose another name, or move it away"),
            "{arguments:?}: {words}"
        );
        assert!(is_old(&shop, "old") && is_old(&shop, "old.rs"), "{arguments:?}");
    }
}

#[test]
fn a_trace_by_two_paths_has_tables_once() {
    let shop = Shop::new();
    for folder in ["a", "b"] {
        fs::create_dir(shop.path(folder)).expect("made");
        fs::copy(shop.path("kept.csv"), shop.path(folder).join("kept.csv")).expect("copied");
    }
    let done = shop.run(&["replay", "a/kept.csv", "b/kept.csv", "--parquet", "fleet"]);
    assert_ne!(done.0.status.code(), Some(2), "{}", done.words());
    assert!(done.words().contains("b/kept.csv: it is the same log as a/kept.csv"), "{}", done.words());
    let joints = fs::read_dir(shop.path("fleet/bands/machine=unnamed/day=undated")).expect("written");
    assert_eq!(joints.count(), 1);
}

#[test]
fn pipes_devices_and_standard_output_still_take_outputs() {
    let shop = Shop::new();
    let page = |output: &[u8]| {
        let text = String::from_utf8_lossy(output).into_owned();
        text.contains("<!DOCTYPE html>") && text.contains("</html>")
    };
    let done = shop.run(&["replay", "--report", "/dev/stdout"]).expect(1);
    assert!(page(&done.0.stdout));
    // Directed to a file, it stands behind the text.
    let both = fs::File::create(shop.path("both")).expect("made");
    let mut command = shop.command(program::path());
    let status = command.args(["replay", "--report", "/dev/stdout"]).stdout(both).status().expect("it runs");
    assert_eq!(status.code(), Some(1));
    let both = fs::read(shop.path("both")).expect("written");
    assert!(page(&both) && both.starts_with(b"demo"), "{}", String::from_utf8_lossy(&both[..200]));
    shop.run(&["replay", "--report", "/dev/null", "--png", "/dev/null"]).expect(1);
    let made = Command::new("mkfifo").arg(shop.path("pipe")).status().expect("it runs");
    assert!(made.success());
    let reader = std::thread::spawn({
        let path = shop.path("pipe");
        move || fs::read(path).expect("readable")
    });
    shop.run(&["replay", "--report", "pipe"]).expect(1);
    assert!(page(&reader.join().expect("read")));
    let full = shop.run(&["replay", "--report", "/dev/full"]).expect(2);
    assert!(full.words().contains("/dev/full"), "{}", full.words());
    assert!(Path::new("/dev/full").exists());
}
