//! What reaches a terminal: nothing that somebody's name could do there, no panic of a library, and an error
//! where standard output is full or closed.

use bandward_tests::program;
use std::ffi::OsStr;
use std::fs::{self, File};
use std::os::unix::ffi::OsStrExt as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use tempfile::TempDir;

/// Sets a title, clears the screen by a control character of C1, turns the direction of writing, colours.
const HOSTILE: &str = "x\u{1b}]0;title\u{7}\u{9b}2J\u{202e}y\u{2066}\u{1b}[31mz\u{85}";
const HOSTILE_TOML: &str = "x\\u001b]0;title\\u0007\\u009b2J\\u202ey\\u2066\\u001b[31mz\\u0085";

/// The same without what makes a file no text.
const COLUMN: &str = "\u{9b}2J\u{202e}y\u{2066}z\u{85}";

fn source(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../sim").join(name)
}

struct Shop(TempDir);

impl Shop {
    /// A trace, a procedure, a setup and records, all with names that would do something.
    fn new() -> Self {
        let shop = Self(tempfile::tempdir().expect("a folder"));
        let text = |name: &str| fs::read_to_string(source(name)).expect("shipped");
        let procedure = text("demo/procedure.toml");
        let head = procedure.find("name = ").expect("a name");
        let line = procedure[head..].find('\n').expect("a line") + head;
        let named = format!("name = \"{HOSTILE_TOML}\"");
        let hostile = format!("{}{named}{}", &procedure[..head], &procedure[line..]);
        fs::write(shop.path("p.toml"), hostile).expect("written");
        let plain = text("demo/joints.json").replace("\"path\": \"", "\"path\":\"");
        let joints = plain.replacen("\"path\":\"", &format!("\"path\":\"{HOSTILE_TOML}"), 3);
        assert!(joints.contains("u202e"), "records have a path");
        fs::write(shop.path("joints.json"), joints).expect("written");
        let made = shop.run(&[
            "synth",
            source("scenarios/good-25-10hz.toml").to_str().expect("plain"),
            "-o",
            "t.csv",
        ]);
        assert!(made.status.success());
        let trace = fs::read_to_string(shop.path("t.csv")).expect("made");
        let mut wide = String::new();
        for (index, line) in trace.lines().enumerate() {
            let cell = if index == 0 { COLUMN } else { "1" };
            wide.extend([line, ",", cell, "\n"]);
        }
        fs::write(shop.path(&format!("{HOSTILE}.csv")), wide).expect("written");
        shop
    }
    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }
    fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(program::path());
        command.args(arguments).current_dir(self.0.path());
        command
    }
    fn run(&self, arguments: &[&str]) -> Output {
        self.command(arguments).output().expect("it runs")
    }
}

fn is_hostile(character: char) -> bool {
    (character.is_control() && character != '\n')
        || matches!(character, '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// All that was said, which is text.
fn said(output: &Output) -> String {
    [&output.stdout, &output.stderr].map(|bytes| String::from_utf8(bytes.clone()).expect("text")).concat()
}

#[test]
fn no_name_reaches_the_terminal_with_what_it_could_do_there() {
    let shop = Shop::new();
    let trace = format!("{HOSTILE}.csv");
    let missing = format!("no{HOSTILE}.csv");
    let page = format!("{HOSTILE}.html");
    let setup = source("demo/setup.toml").to_str().expect("plain").to_owned();
    let saved = format!("{HOSTILE}.toml");
    let scenario =
        format!("[scenario]\nname = \"{HOSTILE_TOML}\"\nnote = \"{HOSTILE_TOML}\"\nsample_rate = \"1 /s\"\n");
    fs::write(shop.path("s.toml"), scenario).expect("written");
    let made = format!("{HOSTILE}-made.csv");
    let cases: Vec<Vec<&str>> = vec![
        vec!["replay", &trace, "-p", "p.toml"],
        vec!["replay", &trace, "-p", "p.toml", "--json"],
        vec!["replay", &trace, "-p", "p.toml", "--report", &page],
        vec!["replay", &trace, "--parquet", "fleet", "--machine", HOSTILE, "--report", "/dev/full"],
        vec!["replay", &missing],
        vec!["replay", "t.csv", "--layout", &missing],
        vec!["trend", "joints.json"],
        vec!["trend", "joints.json", "--json"],
        vec![
            "setup",
            "--from",
            &setup,
            "-p",
            "p.toml",
            "--joint",
            HOSTILE,
            "--save",
            &saved,
            "--initials",
            "AB",
        ],
        vec!["setup", "--from", &setup, "-p", "p.toml", "--joint", HOSTILE, "--json"],
        vec!["setup", "--from", &setup, "--save", "x", "--initials", HOSTILE],
        vec!["plan", "-p", "p.toml"],
        vec!["plan", "--diameter", HOSTILE],
        vec!["plan", HOSTILE],
        vec!["synth", "s.toml", "-o", &made],
        vec!["synth", "s.toml", "-o", &made, "--json"],
        vec!["trial", &trace, "-p", "p.toml"],
        vec!["watch", &trace, "-p", "p.toml", "--json"],
        vec!["watch", "--tcp", HOSTILE],
    ];
    for arguments in cases {
        let output = shop.run(&arguments);
        let words = said(&output);
        assert!(!words.is_empty(), "{arguments:?}");
        assert!(arguments[0] != "replay" || !words.contains("neither text"), "{arguments:?}: {words}");
        let found: Vec<char> = words.chars().filter(|&character| is_hostile(character)).collect();
        assert!(found.is_empty(), "{arguments:?}: {found:?} in {words:?}");
    }
    // JSON still holds the name of the procedure as it was, to the last character that is safe.
    let output = shop.run(&["plan", "-p", "p.toml", "--json"]);
    assert!(said(&output).contains("title"), "{}", said(&output));
}

#[test]
fn names_of_files_that_are_no_text_are_read_and_written_as_they_are() {
    let shop = Shop::new();
    let name = |bytes: &'static [u8]| OsStr::from_bytes(bytes);
    fs::copy(shop.path("t.csv"), self_path(&shop, name(b"a\xff.csv"))).expect("copied");
    fs::copy(shop.path("t.csv"), self_path(&shop, name(b"a\xfe.csv"))).expect("copied");
    let mut command = shop.command(&["replay", "--parquet", "fleet"]);
    let output = command.args([name(b"a\xff.csv"), name(b"a\xfe.csv")]).output().expect("it runs");
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    assert!(
        said(&output).contains("a\\xff.csv") && said(&output).contains("a\\xfe.csv"),
        "{}",
        said(&output)
    );
    let joints = shop.path("fleet/bands/machine=unnamed/day=undated");
    assert_eq!(fs::read_dir(joints).expect("written").count(), 2, "two names are two joints");
    let scenario = source("scenarios/good-25-10hz.toml");
    let mut command = shop.command(&["synth"]);
    let output = command.arg(scenario).arg("-o").arg(name(b"m\xff.csv.gz")).output().expect("it runs");
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    assert!(self_path(&shop, name(b"m\xff.truth.json")).exists(), "the truth stands beside its trace");
}

fn self_path(shop: &Shop, name: &OsStr) -> PathBuf {
    shop.0.path().join(name)
}

/// Everything that prints.
fn printing() -> Vec<Vec<&'static str>> {
    vec![
        vec!["replay"],
        vec!["replay", "--json"],
        vec!["plan"],
        vec!["plan", "--json"],
        vec!["trend", "joints.json"],
        vec!["trend", "joints.json", "--json"],
        vec!["trial", "t.csv", "-p", "p.toml"],
        vec!["trial", "t.csv", "-p", "p.toml", "--json"],
        vec!["trial", "t.csv", "-p", "p.toml", "--markdown"],
        vec!["watch", "--json"],
        vec!["synth", "--list"],
        vec!["completions", "bash"],
        vec!["config"],
        vec!["manual", "man"],
        vec!["--help"],
        vec!["replay", "--help"],
        vec!["--version"],
    ]
}

#[test]
fn standard_output_that_is_full_or_closed_is_an_error() {
    let shop = Shop::new();
    for arguments in printing() {
        let full = || File::options().write(true).open("/dev/full").expect("there");
        let output =
            shop.command(&arguments).stdout(full()).stderr(Stdio::piped()).output().expect("it runs");
        let words = said(&output);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {words}");
        assert!(words.contains("standard output") && !words.contains("panicked"), "{arguments:?}: {words}");
        let (reader, writer) = std::io::pipe().expect("a pipe");
        drop(reader);
        let output =
            shop.command(&arguments).stdout(writer).stderr(Stdio::piped()).output().expect("it runs");
        let words = said(&output);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {words}");
        assert!(words.contains("standard output") && !words.contains("panicked"), "{arguments:?}: {words}");
        // Nothing can be told any more.
        let status = shop.command(&arguments).stdout(full()).stderr(full()).status().expect("it runs");
        assert_eq!(status.code(), Some(2), "{arguments:?}");
    }
}

#[test]
fn notes_that_cannot_be_told_spoil_nothing() {
    let shop = Shop::new();
    let full = File::options().write(true).open("/dev/full").expect("there");
    let trace = format!("{HOSTILE}.csv");
    let mut command = shop.command(&["replay", &trace, "--report", "page.html"]);
    let output = command.stdout(Stdio::piped()).stderr(full).output().expect("it runs");
    assert_eq!(output.status.code(), Some(0));
    assert!(shop.path("page.html").exists());
}

#[test]
fn no_panic_of_a_library_reaches_the_screen() {
    let shop = Shop::new();
    let scenario = source("scenarios/good-25-10hz.toml");
    assert!(shop.run(&["synth", scenario.to_str().expect("plain"), "-o", "t.parquet"]).status.success());
    let whole = fs::read(shop.path("t.parquet")).expect("made");
    let length =
        u32::from_le_bytes(whole[whole.len() - 8..whole.len() - 4].try_into().expect("four")) as usize;
    let mut refused = 0;
    for at in (whole.len() - 8 - length..whole.len() - 8).step_by(2) {
        let mut spoilt = whole.clone();
        spoilt[at] = 201;
        fs::write(shop.path("spoilt.parquet"), spoilt).expect("written");
        let output = shop.run(&["replay", "spoilt.parquet"]);
        let words = said(&output);
        assert!(!words.contains("panicked") && !words.contains("backtrace"), "byte {at}: {words}");
        assert!(!words.contains("a fault of its own"), "byte {at}: {words}");
        assert!(matches!(output.status.code(), Some(0..=3)), "byte {at}: {:?}", output.status);
        refused += usize::from(output.status.code() == Some(2));
    }
    assert!(refused > 20, "{refused}");
}
