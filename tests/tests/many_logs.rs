//! Many logs at once: which files they are, that a bad one leaves the others alone, and that everything said of
//! them is what is said of each alone.
//!
//! Decides: what each call must print and end with; counts of the summary are counted again from its lines.
//! Assumes: logs are drawn or made from formulas (`bandward_tests::drawn`, `plain_joint`); the procedures are the
//! tests' own.
//! Never: compares a verdict with one of the same code; other suites do that against things outside.

use bandward_sim::trace::Row;
use bandward_tests::drawn::Drawn;
use bandward_tests::plain_joint::PlainJoint;
use bandward_tests::program;
use bandward_tests::said::{names, procedure, write};
use flate2::Compression;
use flate2::write::GzEncoder;
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::ffi::OsStr;
use std::fs;
use std::io::{BufRead as _, BufReader, Write as _};
use std::path::Path;
use std::process::{Command, Stdio};
use tempfile::TempDir;

/// Judges current, voltage and gas of a drawn trace; it says nothing of joints.
const DRAWN: &str = "[procedure]\nname = \"Drawn (invented)\"\n[current]\nallowed = [\"290 A\", \"350 A\"]\n\
                     [voltage]\nallowed = [\"29 V\", \"34 V\"]\nfloor = \"27 V\"\n\
                     [gas_flow]\nallowed = [\"15 L/min\", \"20 L/min\"]\n";

/// A folder with the procedure of drawn traces.
fn shop() -> TempDir {
    let shop = tempfile::tempdir().expect("a folder");
    put(&shop, "p.toml", DRAWN);
    shop
}

fn put(shop: &TempDir, name: &str, bytes: impl AsRef<[u8]>) {
    let path = shop.path().join(name);
    fs::create_dir_all(path.parent().expect("it lies in a folder")).expect("a folder");
    fs::write(path, bytes).expect("a file");
}

fn good() -> String {
    Drawn::default().csv()
}

/// Gas fails for a good while.
fn leaking() -> String {
    Drawn::default().leak(30.0, 60.0).csv()
}

/// The voltage stays under its floor.
fn under_the_floor() -> String {
    Drawn::default().dip(40.0, 60.0, 20.0).csv()
}

fn packed(text: &str) -> Vec<u8> {
    let mut packer = GzEncoder::new(Vec::new(), Compression::fast());
    packer.write_all(text.as_bytes()).expect("packed");
    packer.finish().expect("packed")
}

/// What a call printed: its exit code, standard output, standard error.
fn told(shop: &TempDir, arguments: &[&str]) -> (Option<i32>, String, String) {
    let output = program::run_in(shop.path(), &[&["replay"], arguments].concat());
    let text = |bytes| String::from_utf8(bytes).expect("text");
    (output.status.code(), text(output.stdout), text(output.stderr))
}

/// The lines of a call, and its summary.
fn lines(printed: &str) -> (Vec<Value>, Value) {
    let mut lines: Vec<Value> =
        printed.lines().map(|line| serde_json::from_str(line).expect("a value a line")).collect();
    let summary = lines.pop().expect("a summary");
    (lines, summary["summary"].clone())
}

fn paths(lines: &[Value]) -> Vec<&str> {
    lines.iter().map(|line| line["trace"]["path"].as_str().expect("a path")).collect()
}

fn json(shop: &TempDir, names: &[&str]) -> (Option<i32>, Vec<Value>, Value) {
    let (code, printed, _) = told(shop, &[&["--json", "-p", "p.toml"], names].concat());
    let (lines, summary) = lines(&printed);
    (code, lines, summary)
}

/// Names of files that are logs, and of some that are not.
#[test]
fn folders_and_patterns_stand_for_the_logs_in_them() {
    let shop = shop();
    for log in
        ["day/a.csv", "day/B.CSV", "day/late/c.csv", "day/old-1.txt", "day/.hidden/d.csv", "day/.e.csv"]
    {
        put(&shop, log, good());
    }
    put(&shop, "day/d.csv.gz", packed(&good()));
    put(&shop, "day/bands/machine=x/day=undated/joint=a/bands.parquet", "a table of this program");
    put(&shop, "[x].csv", good());
    let (code, told, summary) = json(&shop, &["day"]);
    assert_eq!(paths(&told), ["day/B.CSV", "day/a.csv", "day/d.csv.gz", "day/late/c.csv"]);
    assert_eq!((&summary["passed_over"], &summary["logs"]), (&3.into(), &4.into()), "{summary}");
    assert!(code == Some(0) || code == Some(3), "{code:?}");

    let (_, told, summary) = json(&shop, &["day/*.csv", "day/late", "./day/a.csv", "day/l?te/[a-c].csv"]);
    assert_eq!(paths(&told), ["day/a.csv", "day/late/c.csv"]);
    assert_eq!(summary["named_again"], 2);
    let (_, text, _) = self::told(&shop, &["-p", "p.toml", "day/a.csv", "day/a.csv"]);
    assert!(text.contains("named more than once and counted once: 1 log"), "{text}");
    for names in [["-", "/dev/stdin"], ["/dev/stdin", "-"], ["-", "day/a.csv"], ["day/a.csv", "-"]] {
        // A file, and a pipe that leads to the same bytes and to no file.
        for input in ["< day/a.csv", ""] {
            let arguments = names.join(" ");
            let from = if input.is_empty() { "cat day/a.csv |" } else { "" };
            let script = format!("{from} \"$0\" replay -p p.toml {arguments} {input}");
            let output = Command::new("sh")
                .args(["-c", &script])
                .arg(program::path())
                .current_dir(shop.path())
                .output()
                .expect("it runs");
            let text = String::from_utf8_lossy(&output.stdout);
            let is_once = !input.is_empty() || names.contains(&"/dev/stdin");
            let is_told = text.contains("named more than once and counted once: 1 log");
            assert_eq!(is_told, is_once, "{script}: {text}");
        }
    }

    let (code, told, _) = json(&shop, &["day/*.parquet", "day/a.csv", "empty[", "day/.hidden"]);
    assert_eq!(paths(&told), ["day/*.parquet", "day/a.csv", "empty[", "day/.hidden/d.csv"]);
    let failed: Vec<&str> = told.iter().filter_map(|line| line["failed"].as_str()).collect();
    assert!(failed[0].contains("no file") && failed[1].contains("no pattern"), "{failed:?}");
    assert_eq!(code, Some(3));

    // A name that is there is meant as it stands: one log, one object.
    let (_, printed, _) = self::told(&shop, &["--json", "-p", "p.toml", "[x].csv"]);
    let single: Value = serde_json::from_str(&printed).expect("one object");
    assert_eq!(single["trace"]["path"], "[x].csv");
}

#[cfg(unix)]
#[test]
fn links_lead_to_a_log_once_and_a_circle_of_them_is_no_hang() {
    use std::os::unix::fs::symlink;
    let shop = shop();
    put(&shop, "day/a.csv", good());
    put(&shop, "elsewhere/b.csv", good());
    symlink("a.csv", shop.path().join("day/again.csv")).expect("a link");
    symlink("..", shop.path().join("day/round")).expect("a link");
    symlink("../elsewhere", shop.path().join("day/z")).expect("a link");
    symlink("nowhere.csv", shop.path().join("day/lost.csv")).expect("a link");
    symlink("nowhere", shop.path().join("day/lost.txt")).expect("a link");
    let pipe = shop.path().join("day/pipe.csv");
    assert!(Command::new("mkfifo").arg(&pipe).status().expect("it runs").success());
    let (code, told, summary) = json(&shop, &["day"]);
    let found: Vec<&str> = paths(&told).into_iter().filter(|path| !path.contains("round")).collect();
    assert_eq!(found, ["day/a.csv", "day/lost.csv", "day/z/b.csv"], "{told:?}");
    assert!(told.iter().any(|line| line["failed"].is_string() && line["trace"]["path"] == "day/lost.csv"));
    assert_eq!(summary["read"], 2, "{summary}");
    assert_eq!(code, Some(3));
}

/// Broken in every way a logger or a copy breaks files; root may read what is forbidden, so that kind is not here.
fn broken(shop: &TempDir) -> usize {
    let whole = packed(&good());
    put(shop, "day/cut.csv.gz", &whole[..whole.len() / 2]);
    put(shop, "day/empty.csv", "");
    put(shop, "day/binary.csv", [0, 1, 2, 255, 254, 7].repeat(100));
    put(shop, "day/header.csv", good().replacen("time_s", "t", 1));
    put(shop, "day/sheet.csv", "PK\u{3}\u{4} a spreadsheet");
    put(shop, "day/wide.csv", [0xff, 0xfe, b't', 0, b'i', 0]);
    put(shop, "day/words.csv", good().replacen("320", "no amps", 20));
    put(shop, "day/no.parquet", "PAR1 and no more");
    8
}

#[test]
fn a_log_that_cannot_be_read_leaves_the_others_alone() {
    let shop = shop();
    let count = broken(&shop);
    put(&shop, "day/a.csv", leaking());
    put(&shop, "day/z.csv", good());
    let (code, told, summary) = json(&shop, &["day", "not-there.csv"]);
    let failed: Vec<&Value> = told.iter().filter(|line| line["failed"].is_string()).collect();
    assert_eq!(failed.len(), count + 1);
    assert!(failed.iter().all(|line| line.as_object().map(serde_json::Map::len) == Some(2)), "{failed:?}");
    assert!(failed.iter().all(|line| line["failed"].as_str().is_some_and(|why| !why.contains('\n'))));
    let named: Vec<&str> = failed.iter().filter_map(|line| line["trace"]["path"].as_str()).collect();
    let in_summary: Vec<String> = names(&summary["failed"]).collect();
    assert_eq!(named, in_summary);
    assert_eq!((&summary["logs"], &summary["read"]), (&(count + 3).into(), &2.into()));
    // A leak is worse than what is not known.
    assert_eq!(code, Some(1));
    let (code, text, error) = self::told(&shop, &["-p", "p.toml", "day", "not-there.csv"]);
    assert_eq!(code, Some(1));
    for line in &failed {
        let (path, why) = (line["trace"]["path"].as_str(), line["failed"].as_str());
        assert!(text.contains(path.expect("a path")), "{text}");
        let first_words: Vec<&str> = why.expect("why").split(' ').take(3).collect();
        assert!(text.contains(&first_words.join(" ")), "{first_words:?}: {text}");
    }
    assert!(error.contains(&format!("{} logs could not be read", count + 1)), "{error}");

    // Of the sound one and a broken one it is not known whether all is within; of broken ones nothing is known.
    let (code, _, summary) = json(&shop, &["day/z.csv", "day/empty.csv"]);
    assert_eq!((code, &summary["outcome"]), (Some(3), &"not proven".into()));
    let (code, printed, error) =
        self::told(&shop, &["--json", "-p", "p.toml", "day/empty.csv", "day/cut.csv.gz"]);
    assert_eq!((code, lines(&printed).0.len()), (Some(2), 2));
    assert!(error.contains("none of the 2 logs could be read"), "{error}");
}

/// The joints of `plain_joint`, every limit of which is judged: proven, and exit code 0.
#[test]
fn two_sound_joints_are_proven_together() {
    let shop = shop();
    for name in ["a.csv", "b.csv"] {
        write(PlainJoint::PLAIN.samples().map(|sample| Row::of_sample(&sample)), &shop.path().join(name));
    }
    let plain = procedure("procedures/plain-joint.toml");
    let (code, text, error) = told(&shop, &["-p", plain.to_str().expect("text"), "a.csv", "b.csv"]);
    assert_eq!(code, Some(0), "{text}{error}");
    assert!(text.contains("WITHIN THE PROCEDURE: 2 joints: 2 proven\n"), "{text}");
}

/// Each line is what the log gives alone, whatever the number of cores.
#[test]
fn all_cores_say_what_one_core_says_and_what_each_log_says_alone() {
    let shop = shop();
    for number in 0..24 {
        let text = match number % 4 {
            0 => leaking(),
            1 => under_the_floor(),
            2 => good(),
            _ => good().replacen("time_s", "t", 1),
        };
        put(&shop, &format!("day/{number:02}.csv"), text);
    }
    let on = |cores: &str, more: &[&str]| {
        let mut program = Command::new(program::path());
        program.args([&["replay", "-p", "p.toml", "--machine", "bay 2", "day"], more].concat());
        program.current_dir(shop.path()).env("XDG_CONFIG_HOME", shop.path()).env("RAYON_NUM_THREADS", cores);
        program.output().expect("it runs").stdout
    };
    let printed = on("1", &["--json"]);
    for cores in ["2", "5"] {
        assert!(on(cores, &["--json"]) == printed, "{cores} cores say something else");
        assert!(on(cores, &[]) == on("1", &[]), "{cores} cores say something else");
    }
    let (told, summary) = lines(&String::from_utf8(printed).expect("text"));
    assert_eq!(told.len(), 24);
    for line in told.iter().step_by(5).filter(|line| line["failed"].is_null()) {
        let path = line["trace"]["path"].as_str().expect("a path");
        let (_, alone, _) = self::told(&shop, &["--json", "-p", "p.toml", "--machine", "bay 2", path]);
        assert_eq!(*line, serde_json::from_str::<Value>(&alone).expect("one object"), "{path}");
    }
    recount(&told, &summary);
}

/// Counts the joints of the lines again.
fn recount(told: &[Value], summary: &Value) {
    let mut outcomes = BTreeMap::<&str, u64>::new();
    let mut rules = BTreeMap::<String, (u64, u64)>::new();
    let joints = told.iter().flat_map(|line| line["joints"].as_array().into_iter().flatten());
    for joint in joints {
        *outcomes.entry(joint["outcome"].as_str().expect("an outcome")).or_default() += 1;
        for rule in names(&joint["broken"]) {
            rules.entry(rule).or_default().0 += 1;
        }
        for rule in names(&joint["not_proven"]) {
            rules.entry(rule).or_default().1 += 1;
        }
    }
    let of = |name: &str| outcomes.get(name).copied().unwrap_or(0);
    let machine = &summary["by_machine"][0];
    assert_eq!(machine["machine"], "bay 2");
    for (key, name) in [("proven", "proven"), ("broken", "broken"), ("not_proven", "not proven")] {
        assert_eq!((&summary[key], &machine[key]), (&of(name).into(), &of(name).into()), "{summary}");
    }
    assert!(of("broken") >= 12, "{outcomes:?}");
    let told_rules = summary["by_rule"].as_array().expect("rules").iter();
    let told_rules: BTreeMap<String, (u64, u64)> = told_rules
        .map(|rule| {
            let number = |key: &str| rule[key].as_u64().expect("a number");
            (rule["rule"].as_str().expect("a name").to_owned(), (number("broken"), number("not_proven")))
        })
        .filter(|(_, counts)| *counts != (0, 0))
        .collect();
    assert_eq!(told_rules, rules);
    let alarms = told.iter().flat_map(|line| line["alarms"].as_array().into_iter().flatten());
    let stops = alarms.filter(|alarm| alarm["severity"] == "stop").count();
    assert!(stops >= 6, "{stops} stops");
    assert_eq!(summary["stop_alarms"], stops, "{summary}");
}

#[test]
fn the_summary_comes_first_with_the_stops_on_top() {
    let shop = shop();
    put(&shop, "day/a.csv", leaking());
    put(&shop, "day/b.csv", under_the_floor());
    let (code, text, _) = told(&shop, &["-p", "p.toml", "--machine", "bay 2", "day"]);
    assert_eq!(code, Some(1));
    let at = |words: &str| text.find(words).unwrap_or_else(|| panic!("no `{words}` in {text}"));
    let order = [
        at("2 logs; 2 joints"),
        at("OUTSIDE THE PROCEDURE: 2 joints"),
        at("stops: "),
        at("by machine"),
        at("bay 2"),
        at("joints, by rule"),
        at("day/a.csv: 2000 samples"),
        at("day/b.csv: 2000 samples"),
    ];
    assert!(order.is_sorted(), "{order:?}: {text}");
    assert!(
        text[order[2]..order[3]].contains("day/b.csv") && !text[order[2]..order[3]].contains("day/a.csv")
    );
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
}

#[test]
fn a_page_a_log_and_one_that_leads_to_them() {
    let shop = shop();
    put(&shop, "day/a.csv", leaking());
    put(&shop, "day/A.csv.gz", packed(&good()));
    put(&shop, "day/<b onclick=x>&'\".csv", under_the_floor());
    put(&shop, "day/bad.csv", "<script>alert(1)</script>\n1\n");
    let arguments = ["-p", "p.toml", "--machine", "<i>", "--report", "pages"];
    let (code, _, error) = told(&shop, &[&arguments[..], &["day"]].concat());
    assert_eq!(code, Some(1), "{error}");
    let read =
        |name: &str| fs::read_to_string(shop.path().join(name)).unwrap_or_else(|_| panic!("no {name}"));
    let index = read("pages/index.html");
    let links: Vec<&str> =
        index.split("<a href=\"").skip(1).filter_map(|rest| rest.split('"').next()).collect();
    assert_eq!(links, ["_b_onclick_x____.html", "A.html", "a-2.html"]);
    for raw in ["<b onclick", "<script", "<td><i>", "\".csv"] {
        assert!(!index.contains(raw), "{raw} is markup in {index}");
    }
    assert!(index.contains("&lt;b onclick=x&gt;&amp;&#39;&quot;.csv") && index.contains("&lt;i&gt;"));
    assert!(index.contains("day/bad.csv") && index.contains("not read"));
    // The page of a log is the one it has alone.
    let (code, ..) = told(
        &shop,
        &[&["-p", "p.toml", "--machine", "<i>", "--report", "one.html"], &["day/a.csv"][..]].concat(),
    );
    assert_eq!(code, Some(1));
    assert!(read("pages/a-2.html") == read("one.html"), "another page than alone");
    // Pages and tables in the folder of the logs are no logs the next time.
    let again =
        ["-p", "p.toml", "--report", "day/pages", "--parquet", "day/tables", "day/a.csv", "day/bad.csv"];
    assert_eq!(told(&shop, &again).0, Some(1));
    let (_, lines, _) = json(&shop, &["day"]);
    assert_eq!(lines.len(), 4, "{:?}", paths(&lines));

    for (refused, why) in [
        (&["--report", "all.html", "day"][..], "name a folder"),
        (&["--report", "p.toml", "day"], "name a folder"),
        (&["--png", "x.png", "day"], "--png shows one trace"),
        (&["-p", "p.toml", "--setup", "s.toml", "day"], "--setup is of one joint"),
    ] {
        let (code, out, error) = told(&shop, refused);
        assert_eq!((code, out.as_str()), (Some(2), ""), "{error}");
        assert!(error.contains(why), "{error}");
    }
}

#[test]
fn standard_input_is_one_log_among_others_and_alone_one_object() {
    let shop = shop();
    put(&shop, "a.csv", good());
    let piped = |arguments: &[&str]| {
        let mut child = Command::new(program::path())
            .args([&["replay", "--json", "-p", "p.toml"], arguments].concat())
            .current_dir(shop.path())
            .env("XDG_CONFIG_HOME", shop.path())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("it runs");
        child.stdin.take().expect("a pipe").write_all(leaking().as_bytes()).expect("taken");
        String::from_utf8(child.wait_with_output().expect("it ends").stdout).expect("text")
    };
    let (told, _) = lines(&piped(&["a.csv", "-", "-"]));
    assert_eq!(paths(&told), ["a.csv", "standard input"]);
    let alone: Value = serde_json::from_str(&piped(&["-"])).expect("one object");
    assert_eq!(alone, told[1]);
}

#[test]
fn trend_reads_the_lines_and_tells_what_failed() {
    let shop = shop();
    for number in 0..12 {
        put(
            &shop,
            &format!("day/{number:02}.csv"),
            Drawn::default().dip(0.0, 1.0 + f64::from(number), 31.6).csv(),
        );
    }
    put(&shop, "day/bad.csv", "");
    let (_, printed, _) = told(&shop, &["--json", "-p", "p.toml", "day"]);
    put(&shop, "day.jsonl", printed);
    let output = program::run_in(shop.path(), &["trend", "--json", "day.jsonl"]);
    let error = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(error.contains("left out, could not be replayed: 1 log"), "{error}");
    let trend: Value = serde_json::from_slice(&output.stdout).unwrap_or_else(|_| panic!("{error}"));
    assert_eq!(trend["joints"].as_array().map(Vec::len), Some(12), "{trend}");
}

/// The most memory a call held while it printed, KiB, where the operating system tells (Linux).
fn peak_kib(shop: &TempDir, folder: &str) -> Option<u64> {
    let mut child = Command::new(program::path())
        .args(["replay", "--json", "-p", "p.toml", folder])
        .current_dir(shop.path())
        .env("XDG_CONFIG_HOME", shop.path())
        .env("RAYON_NUM_THREADS", "2")
        .stdout(Stdio::piped())
        .spawn()
        .expect("it runs");
    let status = Path::new("/proc").join(child.id().to_string()).join("status");
    let mut peak = None;
    for (number, line) in BufReader::new(child.stdout.take().expect("a pipe")).lines().enumerate() {
        line.expect("a line");
        if number % 10 == 9 {
            let status = fs::read_to_string(&status).unwrap_or_default();
            let told = status.lines().find(|line| line.starts_with("VmHWM:"));
            peak = peak.max(told.and_then(|line| line.split_whitespace().nth(1)?.parse().ok()));
        }
    }
    child.wait().expect("it ends");
    peak
}

#[test]
fn fifteen_times_as_many_logs_take_no_more_memory() {
    let shop = shop();
    put(&shop, "first.csv", leaking());
    for (folder, count) in [("few", 20), ("many", 300)] {
        fs::create_dir(shop.path().join(folder)).expect("a folder");
        for number in 0..count {
            let name = shop.path().join(folder).join(format!("{number}.csv"));
            fs::hard_link(shop.path().join("first.csv"), name).expect("a link");
        }
    }
    match (peak_kib(&shop, "few"), peak_kib(&shop, "many")) {
        // What is kept of a log are its name and its stops; its line alone would make 280 times 7 KiB.
        (Some(few), Some(many)) => assert!(many < few + 1300, "{few} KiB, then {many} KiB"),
        _ if std::env::var_os("CI").is_some() => panic!("the peak of memory cannot be read here"),
        _ => println!("skipped: the peak of memory cannot be read on this system"),
    }
}

/// One name, packed and not, and a copy in another folder: each log stands once, by its content, whatever its path, whichever
/// comes first, and whether it was replayed alone before.
#[test]
fn logs_of_one_name_stand_once_by_their_content() {
    let shop = shop();
    put(&shop, "day/a.csv", good());
    put(&shop, "day/a.csv.gz", packed(&good()));
    put(&shop, "day/late/a.csv", good());
    put(&shop, "day/b.csv", good());
    let whole = shop.path().join("day").to_string_lossy().into_owned();
    let folders = |tables: &str, logs: &[&str]| {
        let arguments = [&["-p", "p.toml", "--machine", "x", "--parquet", tables], logs].concat();
        let (code, _, error) = told(&shop, &arguments);
        assert!(code == Some(0) || code == Some(3), "{code:?} {error}");
        let root = shop.path().join(tables).join("bands/machine=x/day=undated");
        let entries = fs::read_dir(root).expect("a folder");
        let names: BTreeSet<_> = entries.map(|entry| entry.expect("read").file_name()).collect();
        (names, error)
    };
    let (names, error) = folders("one", &["day"]);
    assert_eq!(error.matches("another trace is written as joint `a`").count(), 1, "{error}");
    assert!(error.contains("late/a.csv: it is the same log as day/a.csv"), "{error}");
    assert_eq!(names.len(), 3, "{names:?}");
    assert!(names.contains(OsStr::new("joint=b")) && !names.contains(OsStr::new("joint=a")), "{names:?}");
    for logs in [&["./day"][..], &[&whole], &["day/late/a.csv", "day/a.csv.gz", "day/b.csv"], &["day/a.csv"]]
    {
        assert_eq!(folders("one", logs).0, names, "{logs:?}");
    }
    // Alone first, under its plain name.
    assert!(folders("two", &["day/late/a.csv"]).0.contains(OsStr::new("joint=a")));
    assert_eq!(folders("two", &["day"]).0, names);
}
