//! `bandward register` and `replay --register`: what goes in comes out, once, and a failure takes nothing with it.

use bandward_sim::register::{APPLICATION_ID, Filter, Register, RegisterError, Trouble, VERSION};
use bandward_tests::{program, registered};
use rusqlite::Connection;
use serde_json::{Value, json};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::Duration;
use tempfile::TempDir;

fn shipped(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..").join(name)
}

/// A folder with the demo's log, its procedure, and the same procedure with another text.
struct Shop(TempDir);

impl Shop {
    fn new() -> Self {
        let shop = Self(tempfile::tempdir().expect("a folder"));
        fs::copy(shipped("sim/demo/joint.csv.gz"), shop.path("joint.csv.gz")).expect("copied");
        let procedure = fs::read_to_string(shipped("sim/demo/procedure.toml")).expect("read");
        fs::write(shop.path("p.toml"), &procedure).expect("written");
        fs::write(shop.path("p2.toml"), procedure + "\n# of another day\n").expect("written");
        shop
    }
    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }
    fn run(&self, arguments: &[&str]) -> Ran {
        Ran(program::run_in(self.0.path(), arguments))
    }
    /// With files that can grow to so many blocks of 512 bytes only.
    fn run_short(&self, blocks: u32, arguments: &[&str]) -> Ran {
        let script = format!("trap '' XFSZ; ulimit -f {blocks}; exec \"$0\" \"$@\"");
        let mut command = Command::new("sh");
        command.args(["-c", &script]).arg(program::path()).args(arguments);
        Ran(command
            .current_dir(self.0.path())
            .env("XDG_CONFIG_HOME", self.0.path())
            .output()
            .expect("it runs"))
    }
    /// A register of some invented joints.
    fn filled(&self, serials: &[&str]) -> PathBuf {
        let path = self.path("shop.register");
        let mut register = Register::open(&path).expect("a new one");
        for serial in serials {
            assert!(registered::add(&mut register, serial).expect("added"));
        }
        path
    }
}

struct Ran(Output);

impl Ran {
    fn out(&self) -> String {
        String::from_utf8(self.0.stdout.clone()).expect("text")
    }
    fn err(&self) -> String {
        String::from_utf8(self.0.stderr.clone()).expect("text")
    }
    fn expect(self, code: i32) -> Self {
        assert_eq!(self.0.status.code(), Some(code), "{}\n{}", self.out(), self.err());
        self
    }
    fn lines(&self) -> Vec<Value> {
        self.out().lines().map(|line| serde_json::from_str(line).expect("an object a line")).collect()
    }
}

const TOLD: [&str; 6] = ["--machine", "bay-2", "--operator", "A. Example", "--units", "metric"];
const REPLAY: [&str; 6] = ["replay", "joint.csv.gz", "--register", "shop.register", "-p", "p.toml"];

#[test]
fn a_log_goes_in_once_and_comes_out_as_it_was_shown() {
    let shop = Shop::new();
    let plain = shop.run(&[&["replay", "joint.csv.gz", "-p", "p.toml"], &TOLD[..]].concat()).expect(1);
    let first = shop.run(&[&REPLAY[..], &TOLD].concat()).expect(1);
    assert_eq!(first.out(), plain.out(), "what is shown does not change");
    assert!(first.err().contains("recorded in shop.register: joint 1\n"), "{}", first.err());
    // From another place as well, it is the same.
    fs::rename(shop.path("joint.csv.gz"), shop.path("moved.csv.gz")).expect("renamed");
    let again: Vec<_> = [&REPLAY[..], &TOLD]
        .concat()
        .into_iter()
        .map(|word| word.replace("joint.csv", "moved.csv"))
        .collect();
    let again = shop.run(&again.iter().map(String::as_str).collect::<Vec<_>>()).expect(1);
    assert!(again.err().contains("nothing new; 1 log was there already"), "{}", again.err());
    // Another procedure is another judgement, and so is another operator.
    for (procedure, operator) in [("p2.toml", "A. Example"), ("p2.toml", "B. Example")] {
        let words = ["replay", "moved.csv.gz", "--register", "shop.register", "-p", procedure];
        shop.run(&[&words[..], &["--machine", "bay-2", "--operator", operator]].concat()).expect(1);
    }
    let numbers = |more: &[&str]| -> Vec<i64> {
        let found = shop.run(&[&["register", "find", "shop.register", "--json"], more].concat()).expect(0);
        found.lines().iter().map(|joint| joint["number"].as_i64().expect("a number")).collect()
    };
    assert_eq!(numbers(&[]), [3], "the newest alone");
    assert_eq!(numbers(&["--all"]), [3, 2, 1], "and then the older ones");
    assert_eq!(numbers(&["--operator", "b. ex*"]), [3]);
    assert_eq!(numbers(&["--operator", "A. Example"]), [0; 0], "of the newest only");
    assert_eq!(numbers(&["--operator", "A. Example", "--all"]), [2, 1]);
    // The log lies elsewhere by now, but the text is as it was.
    let show =
        shop.run(&["register", "show", "shop.register", "--joint", "1", "--units", "metric"]).expect(0);
    assert!(show.out().ends_with(&plain.out()), "{}\n---\n{}", show.out(), plain.out());
    let inch = shop.run(&["register", "show", "shop.register", "--joint", "1", "--units", "inch"]).expect(0);
    assert!(inch.out().contains(" in ") && inch.out() != show.out());
    let json = shop.run(&["register", "show", "shop.register", "--joint", "1", "--json"]).expect(0).lines();
    let record =
        shop.run(&[&["replay", "moved.csv.gz", "-p", "p.toml", "--json"], &TOLD[..]].concat()).expect(1);
    let record: Value = serde_json::from_str(&record.out()).expect("an object");
    for key in ["bands", "alarms", "findings", "joints", "context", "not_judged"] {
        assert_eq!(json[0][key], record[key], "{key}");
    }
    page_of(&shop);
}

/// The page from the log while it is the same, and from the register alone when it is not.
fn page_of(shop: &Shop) {
    let log = shop.path("moved.csv.gz");
    let page = |more: &[&str]| {
        let words =
            ["register", "show", "shop.register", "--joint", "1", "--units", "metric", "--report", "j.html"];
        let ran = shop.run(&[&words[..], more].concat()).expect(0);
        (fs::read_to_string(shop.path("j.html")).expect("a page"), ran.err())
    };
    let whole = log.to_str().expect("plain");
    shop.run(&[&["replay", whole, "-p", "p.toml", "--report", "own.html"], &TOLD[..]].concat()).expect(1);
    let own = fs::read_to_string(shop.path("own.html")).expect("a page");
    assert_eq!(page(&[]).0, own, "the same page as that of `replay`");
    fs::rename(&log, shop.path("far.csv.gz")).expect("renamed");
    let (alone, told) = page(&[]);
    assert!(told.contains("no longer at") && alone.contains("From the register alone"), "{told}");
    for part in ["OUTSIDE THE PROCEDURE", "Alarms", "Likely causes", "SHA-256 of the log"] {
        assert!(alone.contains(part), "{part}");
    }
    assert!(page(&["--log", "far.csv.gz"]).0.contains("id=\"panels\""));
    let mut bytes = fs::read(shop.path("far.csv.gz")).expect("read");
    bytes.push(0);
    fs::write(&log, bytes).expect("written");
    assert!(page(&[]).1.contains("is not the log that was recorded"));
    // It is there, and cannot be read.
    fs::remove_file(&log).expect("it was there");
    fs::create_dir(&log).expect("made");
    let told = page(&[]).1;
    assert!(told.contains("cannot be read: ") && !told.contains("no longer at"), "{told}");
}

#[test]
fn joints_are_found_by_what_is_known_of_them() {
    let shop = Shop::new();
    shop.filled(&["TJ-1042", "TJ-1043", "XX_7"]);
    let serials = |wish: &[&str]| -> Vec<String> {
        let found = shop.run(&[&["register", "find", "shop.register", "--json"], wish].concat()).expect(0);
        let mut serials: Vec<_> =
            found.lines().iter().filter_map(|joint| Some(joint["serial"].as_str()?.to_owned())).collect();
        serials.sort();
        serials
    };
    let all = ["TJ-1042", "TJ-1043", "XX_7"];
    for (wish, found) in [
        (&["--serial", "tj-1042"][..], &all[..1]),
        (&["--serial", "TJ-*"], &all[..2]),
        (&["--serial", "TJ-104?"], &all[..2]),
        (&["--serial", "XX?7"], &all[2..]),
        (&["--serial", "XX%7"], &[]),
        (&["--machine", "bay-2", "--operator", "A. Example"], &all),
        (&["--machine", "bay-3"], &[]),
        (&["--from", "2026-03-04", "--to", "2026-03-04"], &all),
        (&["--from", "2026-03-05"], &[]),
        (&["--to", "2026-03-03"], &[]),
        (&["--rule", "gas-low", "--outcome", "broken"], &all),
        (&["--rule", "gas-high"], &[]),
        (&["--outcome", "proven"], &[]),
        (&["--procedure", "none"], &[]),
    ] {
        assert_eq!(serials(wish), found, "{wish:?}");
    }
    let table = shop.run(&["register", "find", "shop.register", "--limit", "2"]).expect(0);
    assert_eq!(table.out().lines().filter(|line| line.starts_with(['2', '3'])).count(), 2, "{}", table.out());
    let words: Vec<_> = table.out().split_whitespace().map(str::to_owned).collect();
    assert!(words.join(" ").contains("OUTSIDE; gas-low; cause gas-bottle-empty"), "{}", table.out());
    assert!(table.err().contains("more than 2"), "{}", table.err());
    let show =
        shop.run(&["register", "show", "shop.register", "--serial", "TJ-1043", "--units", "inch"]).expect(0);
    assert!(show.out().ends_with("TJ-1043, inch\n"), "{}", show.out());
    let several = ["register", "show", "shop.register", "--serial", "TJ-*", "--report", "j.html"];
    assert!(shop.run(&several).expect(2).err().contains("one of 2, 1"));
    assert!(
        shop.run(&["register", "show", "shop.register", "--joint", "9"])
            .expect(2)
            .err()
            .contains("no joint 9")
    );
    assert!(shop.run(&["register", "find", "none.register"]).expect(2).err().contains("no such file"));
    assert!(!shop.path("none.register").exists(), "looking makes no file");
    assert!(
        shop.run(&["register", "find", "shop.register", "--rule", "gas-lo"])
            .expect(2)
            .err()
            .contains("gas-low")
    );
}

#[test]
fn a_file_that_is_no_register_is_told_and_left_alone() {
    let shop = Shop::new();
    let sql = |name: &str, batch: &str| {
        Connection::open(shop.path(name)).and_then(|file| file.execute_batch(batch)).expect("made");
    };
    fs::write(shop.path("text"), "time_s,current_a\n".repeat(100)).expect("written");
    sql("foreign", "CREATE TABLE birds (name TEXT)");
    sql(
        "newer",
        &format!(
            "PRAGMA application_id = {APPLICATION_ID}; PRAGMA user_version = {}; \
                           CREATE TABLE joints (id INTEGER)",
            VERSION + 1
        ),
    );
    for (name, words) in [
        ("text", "it is no SQLite file"),
        ("foreign", "the SQLite file of another program"),
        (
            "newer",
            &format!("its schema is version {}, and this one knows up to version {VERSION}", VERSION + 1),
        ),
    ] {
        let before = fs::read(shop.path(name)).expect("read");
        for arguments in [&["register", "find", name][..], &["replay", "joint.csv.gz", "--register", name]] {
            let ran = shop.run(arguments).expect(2);
            assert!(ran.err().contains(words), "{name}: {}", ran.err());
            assert_eq!(ran.out(), "", "told before any work");
        }
        assert_eq!(fs::read(shop.path(name)).expect("read"), before, "{name}");
    }
    let ran = shop.run(&["replay", "joint.csv.gz", "--register", "./joint.csv.gz"]).expect(2);
    assert!(ran.err().contains("--register"), "an input is no output: {}", ran.err());
}

/// The dump is of a register that the first version of the schema wrote, with a setup and an inspection in a record.
#[test]
fn an_older_register_is_brought_up_to_date_whole() {
    let shop = Shop::new();
    let path = shop.path("old.register");
    let dump = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("data/register-1.sql"));
    let old = Connection::open(&path).expect("made");
    old.execute_batch(&dump.expect("the dump")).expect("written");
    let rows = |file: &Connection, table: &str| -> i64 {
        file.query_row(&format!("SELECT count(*) FROM {table}"), [], |row| row.get(0)).expect("counted")
    };
    let tables = [
        "logs",
        "procedures",
        "judgements",
        "joints",
        "groups",
        "bands",
        "limits_not_held",
        "alarms",
        "findings",
    ];
    let before = tables.map(|table| rows(&old, table));
    assert!(before.iter().all(|&count| count > 0), "{before:?}");
    drop(old);
    let register = Register::open(&path).expect("brought up to date");
    assert_eq!(register.faults().expect("looked at"), [] as [String; 0]);
    assert_eq!(register.find(&Filter::default()).expect("found")[0].serial.as_deref(), Some("TJ-7"));
    drop(register);
    let new = Connection::open(&path).expect("opened");
    assert_eq!(tables.map(|table| rows(&new, table)), before);
    let version: i64 = new.pragma_query_value(None, "user_version", |row| row.get(0)).expect("a number");
    assert_eq!(version, VERSION);
    let word = |query: &str| -> String { new.query_row(query, [], |row| row.get(0)).expect("a row") };
    assert_eq!(word("SELECT signed_by FROM setups"), "AE");
    assert_eq!(word("SELECT inspected_by || ' ' || inspected_on FROM inspections"), "BE 2026-03-05");
}

#[test]
fn another_program_that_writes_is_waited_for() {
    let shop = Shop::new();
    let other = Connection::open(shop.filled(&["TJ-1"])).expect("opened");
    other.execute_batch("BEGIN IMMEDIATE").expect("held");
    let mut waiting = Command::new(program::path());
    let waiting = waiting.args(REPLAY).current_dir(shop.0.path()).env("XDG_CONFIG_HOME", shop.0.path());
    let waiting = waiting.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().expect("it runs");
    std::thread::sleep(Duration::from_millis(2500));
    // Readers are not held up.
    assert_eq!(shop.run(&["register", "find", "shop.register", "--json"]).expect(0).lines().len(), 1);
    other.execute_batch("COMMIT").expect("let go");
    let ran = Ran(waiting.wait_with_output().expect("ended")).expect(1);
    assert!(ran.err().contains("waiting for another program"), "{}", ran.err());
    assert!(ran.err().contains("joint 2"), "{}", ran.err());
}

#[test]
fn where_nothing_can_be_written_the_replay_is_shown_all_the_same() {
    let shop = Shop::new();
    let plain = shop.run(&["replay", "joint.csv.gz", "-p", "p.toml"]).expect(1);
    let shown = |ran: Ran, words: &str| {
        assert_eq!(ran.out(), plain.out(), "{}", ran.err());
        assert!(ran.err().contains(words) && ran.err().contains("NOT RECORDED: 1 log"), "{}", ran.err());
    };
    // The folder of the register is not there; then a file cannot grow, at first and when a register is there.
    let mut words = REPLAY;
    words[3] = "no/such/folder/shop.register";
    shown(shop.run(&words).expect(2), "cannot be opened or written");
    shown(shop.run_short(4, &REPLAY).expect(2), "cannot be read or written");
    let _ = fs::remove_file(shop.path("shop.register-wal"));
    let mut other = REPLAY;
    other[5] = "p2.toml";
    assert!(shop.run(&other).expect(1).err().contains("recorded in shop.register: joint 1"));
    shown(shop.run_short(40, &REPLAY).expect(2), "cannot be read or written");
    // There is room again: the same command is enough.
    assert!(shop.run(&REPLAY).expect(1).err().contains("recorded in shop.register: joint 2"));
    assert!(shop.run(&["register", "check", "shop.register"]).expect(0).out().starts_with("whole: "));
}

/// A disk that is full, and one that is read only, as the system has them: needs the right to mount one.
#[test]
fn a_full_disk_and_a_read_only_one_are_told_apart() {
    let shop = Shop::new();
    fs::create_dir(shop.path("disk")).expect("a folder");
    let script = "mount -t tmpfs -o size=160k none disk || exit 99; cp seed.register disk/shop.register; \
                  \"$@\"; echo \"ended $?\" >&2; mount -o remount,ro none disk; \"$@\"; echo \"ended $?\" >&2; \
                  \"$1\" register find disk/shop.register --json";
    fs::rename(shop.filled(&["TJ-1"]), shop.path("seed.register")).expect("renamed");
    let mut words = REPLAY;
    words[3] = "disk/shop.register";
    let mut command = Command::new("unshare");
    command.args(["-m", "sh", "-c", script, "sh"]).arg(program::path()).args(words);
    let ran = command.current_dir(shop.0.path()).env("XDG_CONFIG_HOME", shop.0.path()).output();
    let Some(ran) = ran.ok().filter(|ran| ran.status.code() != Some(99) && ran.status.code() != Some(1))
    else {
        eprintln!("skipped: no right to mount a disk");
        return;
    };
    let ran = Ran(ran);
    let told: Vec<_> =
        ran.err().lines().filter(|line| line.contains("register disk")).map(str::to_owned).collect();
    assert!(ran.err().contains("cannot be written: the disk is full"), "{}", ran.err());
    assert!(ran.err().contains("a read-only disk"), "{told:?}");
    assert_eq!(ran.err().matches("ended 2").count(), 2, "{}", ran.err());
    assert_eq!(ran.out().matches("OUTSIDE THE PROCEDURE").count(), 2, "both replays are shown");
    assert!(ran.out().contains("TJ-1"), "and what was recorded is found: {}", ran.out());
}

/// Reading needs no room: what was recorded is found, and what is refused says why.
#[test]
fn on_a_full_disk_what_was_recorded_can_be_looked_up() {
    let shop = Shop::new();
    fs::create_dir(shop.path("disk")).expect("a folder");
    // Once as the last program left it, once with what a killed one left in the write-ahead log.
    let script = "mount -t tmpfs -o size=600k none disk || exit 99; cp $2* disk/; \
                  dd if=/dev/zero of=disk/fill bs=1k 2>/dev/null; r=disk/$2; \
                  for words in 'find R' 'check R' 'show R --serial TJ-1' 'export R tables' ; do \
                  \"$1\" register $(echo \"$words\" | sed s,R,$r,); echo \"ended $?\" >&2; done; \
                  \"$1\" trend --register $r >&2; echo \"trend $?\" >&2; \
                  \"$1\" replay joint.csv.gz -p p.toml --register $r >/dev/null; echo \"replay $?\" >&2; \
                  cmp $2 $r && cmp $2-wal $r-wal";
    let (whole, cut) = (shop.filled(&["TJ-1", "TJ-2"]), shop.path("cut.register"));
    let mut register = Register::open(&whole).expect("it is one");
    for serial in ["TJ-3", "TJ-4"] {
        assert!(registered::add(&mut register, serial).expect("added"));
    }
    for ending in ["", "-wal"] {
        let beside = |path: &Path| PathBuf::from(format!("{}{ending}", path.display()));
        fs::copy(beside(&whole), beside(&cut)).expect("copied");
    }
    drop(register);
    fs::write(shop.path("shop.register-wal"), "").expect("written");
    assert!(fs::metadata(shop.path("cut.register-wal")).expect("there").len() > 0);
    for name in ["shop.register", "cut.register"] {
        let _ = fs::remove_dir_all(shop.path("tables"));
        let mut command = Command::new("unshare");
        command.args(["-m", "sh", "-c", script, "sh"]).arg(program::path()).arg(name);
        let ran = command.current_dir(shop.0.path()).env("XDG_CONFIG_HOME", shop.0.path()).output();
        let Some(ran) = ran.ok().filter(|ran| ran.status.code() != Some(99)) else {
            eprintln!("skipped: no right to mount a disk");
            return;
        };
        let ran = Ran(ran);
        let (out, err) = (ran.out(), ran.err());
        assert_eq!(err.matches("ended 0").count(), 4, "{name}: {out}{err}");
        for serial in ["TJ-1", "TJ-2", "TJ-3", "TJ-4"] {
            assert!(out.contains(serial), "{name}, {serial}: {out}{err}");
        }
        assert!(out.contains("4 logs, 4 judgements, 4 joints"), "{name}: {out}");
        assert!(!err.contains("trend 2"), "{name}: {err}");
        assert!(err.contains("the disk is full") && err.contains("replay 2"), "{name}: {err}");
        assert!(!err.contains("I/O"), "{name}: {err}");
    }
}

#[test]
fn damage_is_told() {
    let shop = Shop::new();
    let serials: Vec<String> = (0..40).map(|number| format!("TJ-{number}")).collect();
    let path = shop.filled(&serials.iter().map(String::as_str).collect::<Vec<_>>());
    let whole = fs::read(&path).expect("read");
    fs::write(&path, &whole[..whole.len() / 2]).expect("written");
    let ran = shop.run(&["register", "find", "shop.register"]).expect(2);
    assert!(ran.err().contains("is damaged") && ran.err().contains("next: restore it"), "{}", ran.err());
    let ran = shop.run(&["register", "check", "shop.register"]).expect(1);
    assert!(ran.out().contains("DAMAGED"), "{}", ran.out());
    // A page in the middle with other bytes: opening does not see it, a whole look does.
    let mut spoilt = whole.clone();
    let at = whole.len() / 2 / 4096 * 4096;
    spoilt[at..at + 4096].fill(0x5A);
    fs::write(&path, &spoilt).expect("written");
    let ran = shop.run(&["register", "check", "shop.register"]).expect(1);
    assert!(ran.out().contains("DAMAGED"), "{}{}", ran.out(), ran.err());
    // A row taken out by another program.
    fs::write(&path, &whole).expect("written");
    Connection::open(&path)
        .and_then(|file| file.execute("DELETE FROM bands WHERE joint_id = 3", []))
        .expect("taken out");
    let ran = shop.run(&["register", "check", "shop.register"]).expect(1);
    assert!(ran.out().contains("judgement 3: its rows are not those of its record"), "{}", ran.out());
}

#[test]
fn two_that_make_a_register_at_once_make_one() {
    let shop = Shop::new();
    let path = shop.path("new.register");
    let opened: Vec<Result<bool, RegisterError>> = std::thread::scope(|scope| {
        let open = |number: usize| {
            let path = &path;
            scope.spawn(move || registered::add(&mut Register::open(path)?, &format!("S-{number}")))
        };
        let threads: Vec<_> = (0..4).map(open).collect();
        threads.into_iter().map(|thread| thread.join().expect("no panic")).collect()
    });
    assert!(opened.iter().all(|added| matches!(added, Ok(true))), "{opened:?}");
    assert_eq!(Register::read(&path).expect("opened").counts().expect("counted"), [4, 4, 4]);
    fs::write(shop.path("empty"), "").expect("written");
    assert!(Register::open(&shop.path("empty")).is_ok(), "a new file that has nothing in it yet");
    let missing = Register::read(&shop.path("none")).err().map(|error| error.trouble);
    assert!(matches!(missing, Some(Trouble::Missing)));
}

/// Serials by markers, and a shift over midnight.
#[test]
fn every_joint_of_a_log_has_its_own_row_and_time() {
    let shop = Shop::new();
    let mut record = registered::record("none");
    record["context"]["serial"] = Value::Null;
    record["trace"]["start"] = "2026-03-04T23:50:00-06:00".into();
    let mut second = record["joints"][0].clone();
    second["joint"] = 2.into();
    second["start_s"] = 1200.4.into();
    record["joints"].as_array_mut().expect("an array").push(second);
    for (joint, serial) in [(0, "TJ-8"), (1, "TJ-9")] {
        record["joints"][joint]["serial"] = serial.into();
    }
    record["alarms"][0]["joint"] = 3.into();
    let path = shop.path("shop.register");
    let mut register = Register::open(&path).expect("a new one");
    assert!(registered::add_record(&mut register, "shift", &record).expect("added"));
    assert_eq!(register.faults().expect("looked at"), [] as [String; 0]);
    let found =
        register.find(&Filter { from: Some("2026-03-05".to_owned()), ..Filter::default() }).expect("found");
    let [joint] = &found[..] else { panic!("{found:?}") };
    assert_eq!((joint.joint, joint.serial.as_deref(), joint.bands), (2, Some("TJ-9"), 3));
    assert_eq!(joint.welded_at.as_deref(), Some("2026-03-05T00:10:00-06:00"));
    drop(register);
    // An alarm after the last joint belongs to the log, and is not lost.
    let lone = "SELECT count(*) FROM alarms WHERE joint_id IS NULL";
    let file = Connection::open(&path).expect("opened");
    assert_eq!(file.query_row(lone, [], |row| row.get(0)), Ok(1));
}

/// `trend` says the same from a register as from the records, and passes over what was judged anew.
#[test]
fn trend_and_trial_read_from_it() {
    let shop = Shop::new();
    let records = fs::read_to_string(shipped("sim/demo/joints.json")).expect("read");
    let mut records: Vec<Value> = serde_json::from_str(&records).expect("an array");
    for record in &mut records {
        // Of an older form, without joints.
        let outcome = if record["within_procedure"] == true { "proven" } else { "broken" };
        record["outcome"] = outcome.into();
        record["joints"] = json!([{ "joint": 1, "bands": 3, "outcome": outcome, "reasons": [] }]);
        record["context"]["operator"] = "A. Example".into();
    }
    let mut register = Register::open(&shop.path("shop.register")).expect("a new one");
    for (number, record) in records.iter().enumerate() {
        let mut other = record.clone();
        other["context"]["operator"] = "another".into();
        for record in [&other, record] {
            registered::add_record(&mut register, &format!("log {number}"), record).expect("added");
        }
    }
    drop(register);
    fs::write(shop.path("joints.json"), Value::from(records).to_string()).expect("written");
    let from_file = shop.run(&["trend", "joints.json", "--json"]);
    let from_register = shop.run(&["trend", "--register", "shop.register", "--json"]);
    assert_eq!(from_register.0.status, from_file.0.status, "{}", from_register.err());
    assert_eq!(from_register.out(), from_file.out());
    assert!(
        shop.run(&["trend", "--register", "shop.register", "--from", "2999-01-01"])
            .expect(2)
            .err()
            .contains("no joint")
    );
    // A log that was recorded, with what was wrong in it.
    let trial = ["trial", "-p", "p.toml", "--register", "logs.register", "--json"];
    let mut words = REPLAY;
    words[3] = "logs.register";
    shop.run(&words).expect(1);
    assert!(shop.run(&trial).expect(2).err().contains("no log of it lies"), "it has no faults beside it");
    fs::copy(shipped("sim/demo/joint.truth.json"), shop.path("joint.truth.json")).expect("copied");
    let named = shop.run(&["trial", "-p", "p.toml", "joint.csv.gz", "--json"]);
    let found = shop.run(&trial);
    assert_eq!((found.0.status, found.out()), (named.0.status, named.out()), "{}", found.err());
}

/// The queries of its page, by this program's `SQLite` and by Python's.
#[test]
fn the_queries_of_the_page_run_on_a_real_register() {
    let shop = Shop::new();
    shop.run(&REPLAY).expect(1);
    let path = shop.filled(&["TJ-1042"]);
    let page = fs::read_to_string(shipped("sim/src/register/README.md")).expect("the page");
    let queries: Vec<&str> =
        page.split("```sql\n").skip(1).filter_map(|part| part.split("```").next()).collect();
    assert_eq!(queries.len(), 5);
    let file = Connection::open(&path).expect("opened");
    for query in queries {
        let count = file.prepare(query).and_then(|mut select| {
            let mut rows = select.query([])?;
            let mut count = 0;
            while rows.next()?.is_some() {
                count += 1;
            }
            Ok(count)
        });
        assert!(count.as_ref().is_ok_and(|count| *count > 0), "{query}: {count:?}");
        let script = "import sqlite3, sys\n\
                      print(len(sqlite3.connect(sys.argv[1]).execute(sys.argv[2]).fetchall()))";
        let python = Command::new("python3").args(["-c", script]).arg(&path).arg(query).output();
        let python = Ran(python.expect("python3 is there")).expect(0);
        assert_eq!(python.out().trim().parse().ok(), count.ok(), "{query}");
    }
    let words: Vec<&str> = page.split_whitespace().collect();
    assert!(words.join(" ").contains(&format!("version of its schema, now {VERSION}")));
    for table in
        ["logs", "judgements", "joints", "groups", "bands", "alarms", "findings", "setups", "inspections"]
    {
        assert!(page.contains(&format!("| `{table}` |")), "{table}");
    }
}
