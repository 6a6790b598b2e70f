//! What the README shows is what the program prints, and its pictures are there.

use bandward_tests::program;
use bandward_tests::second::tables::summary;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Instant;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

fn readme() -> String {
    std::fs::read_to_string(root().join("README.md")).expect("the README")
}

/// Every command that is followed by what it prints, and that text.
fn shown(readme: &str) -> Vec<(Vec<String>, String)> {
    let mut found = Vec::new();
    let mut command = None;
    let mut lines = readme.lines();
    while let Some(line) = lines.next() {
        if let Some(words) = line.strip_prefix("    bandward ").or(line.strip_prefix(DEMO)) {
            let words = words.split(" #").next().unwrap_or_default();
            command = Some(words.split_whitespace().map(str::to_owned).collect::<Vec<_>>());
        } else if line == "```text" {
            let text: Vec<&str> = lines.by_ref().take_while(|line| *line != "```").collect();
            found.push((command.clone().expect("a text stands below its command"), text.join("\n") + "\n"));
        }
    }
    found
}

const DEMO: &str = "    cargo run -- ";

/// Is a text what was printed, where a line of three dots stands for any lines?
fn is_part_of(text: &str, printed: &str) -> bool {
    let mut rest = printed;
    for (index, part) in text.split("...\n").enumerate() {
        match rest.find(part) {
            Some(at) if index > 0 || at == 0 => rest = &rest[at + part.len()..],
            _ => return false,
        }
    }
    rest.is_empty() || text.ends_with("...\n")
}

#[test]
fn three_dots_stand_for_any_lines() {
    assert!(is_part_of("a\nb\n", "a\nb\n"));
    assert!(is_part_of("a\n...\nc\n", "a\nb\nc\n"));
    assert!(is_part_of("...\nb\n...\n", "a\nb\nc\n"));
    assert!(!is_part_of("a\n", "a\nb\n"));
    assert!(!is_part_of("b\n", "a\nb\n"));
    assert!(!is_part_of("a\n...\nx\n", "a\nb\n"));
}

/// The path from plan to finding as well: each command works on what the one before it wrote.
#[test]
fn every_text_shown_is_what_its_command_prints() {
    let folder = tempfile::tempdir().expect("a folder");
    let demo = folder.path().join("sim/demo");
    std::fs::create_dir_all(&demo).expect("a folder");
    for file in std::fs::read_dir(root().join("sim/demo")).expect("the demo") {
        let file = file.expect("a file");
        std::fs::copy(file.path(), demo.join(file.file_name())).expect("a copy");
    }
    let shown = shown(&readme());
    assert!(shown.len() >= 5, "{} texts", shown.len());
    let begun = Instant::now();
    for (command, text) in shown {
        let output = Command::new(program::path())
            .args(&command)
            .current_dir(folder.path())
            .env("XDG_CONFIG_HOME", folder.path())
            .output()
            .expect("the program runs");
        let printed = String::from_utf8(output.stdout).expect("text");
        assert_ne!(output.status.code(), Some(2), "{command:?}: {}", String::from_utf8_lossy(&output.stderr));
        assert!(is_part_of(&text, &printed), "{command:?} prints\n{printed}\nand the README shows\n{text}");
    }
    assert!(folder.path().join("joint.html").is_file(), "the page to be opened is there");
    assert!(begun.elapsed().as_secs() < 60, "{:?} are too long for five minutes", begun.elapsed());
}

/// Blocks that no command prints by itself: by how they begin, each with what looks after it.
const PRINTED_BY_NONE: [(&str, &str); 2] = [
    ("each by its own procedure: ", "the tables of the second generator, below"),
    ("tcp:127.0.0.1:", "a screen while a board is watched"),
];

/// What stands in a block and is no shell is held against its command, or is one of those few.
#[test]
fn no_block_says_what_nobody_looks_after() {
    let readme = readme();
    let mut lines = readme.lines();
    let mut plain = Vec::new();
    while let Some(line) = lines.next() {
        let Some(kind) = line.strip_prefix("```") else { continue };
        let block: Vec<&str> = lines.by_ref().take_while(|line| *line != "```").collect();
        if kind.is_empty() {
            plain.push(block.first().copied().unwrap_or_default());
        }
    }
    for first in &plain {
        assert!(
            PRINTED_BY_NONE.iter().any(|(known, _)| first.starts_with(known)),
            "`{first}`: write ```text behind its command, so that the two are compared"
        );
    }
    assert_eq!(plain.len(), PRINTED_BY_NONE.len(), "{plain:?}");
}

#[test]
fn every_picture_is_there_and_small() {
    let readme = readme();
    let pictures: Vec<&str> = readme
        .split("](")
        .skip(1)
        .filter_map(|rest| rest.split(')').next())
        .filter(|path| Path::new(path).extension().is_some_and(|ending| ending == "png"))
        .collect();
    assert!(!pictures.is_empty());
    for path in pictures {
        let bytes = std::fs::read(root().join(path)).unwrap_or_else(|error| panic!("{path}: {error}"));
        assert!(bytes.starts_with(b"\x89PNG"), "{path}");
        assert!(bytes.len() < 60_000, "{path}: {} bytes", bytes.len());
    }
}

/// The summary of the second generator's tables is the one of the page that has them all.
#[test]
fn the_tables_of_the_second_generator_are_those_of_their_page() {
    let page = std::fs::read_to_string(root().join("tests/data/second.md")).expect("the page");
    let short = summary::of_page(&page).expect("its summary");
    let readme = readme();
    let (_, rest) = readme.split_once(summary::BEGINS).expect("where it begins");
    let (shown, _) = rest.split_once(summary::ENDS).expect("where it ends");
    assert_eq!(shown, short, "second-report --update makes both anew");
    assert!(
        short.contains("`tests/src/second`") && short.contains("| all |"),
        "generator and tables: {short}"
    );
}
