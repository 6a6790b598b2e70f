//! A machine that gives the program no further thread: what can be done on one goes on, all else says what was refused.
//!
//! Assumes: root, which may become an account that has nothing else running; skipped where that is not so.

use bandward_tests::program;
use std::fs::{self, Permissions};
use std::os::unix::fs::PermissionsExt as _;
use std::path::Path;
use std::process::{Command, Output};
use tempfile::TempDir;

/// An account of nobody: the limit counts what runs under it.
const ACCOUNT: &str = "64321";

fn shop() -> TempDir {
    let shop = tempfile::tempdir().expect("a folder");
    fs::set_permissions(shop.path(), Permissions::from_mode(0o777)).expect("set");
    let sim = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sim");
    fs::copy(sim.join("demo/procedure.toml"), shop.path().join("p.toml")).expect("copied");
    fs::copy(sim.join("scenarios/good-25-10hz.toml"), shop.path().join("good.toml")).expect("copied");
    fs::create_dir(shop.path().join("procedures")).expect("made");
    let procedure = "procedures/25.4.toml";
    fs::copy(sim.join("scenarios").join(procedure), shop.path().join(procedure)).expect("copied");
    for name in ["a.csv.gz", "b.csv.gz"] {
        fs::copy(sim.join("demo/joint.csv.gz"), shop.path().join(name)).expect("copied");
    }
    fs::copy(sim.join("demo/joint.truth.json"), shop.path().join("a.truth.json")).expect("copied");
    shop
}

/// Runs it as that account, with so many threads at most, or with as many as it likes.
fn run(shop: &TempDir, most: Option<u32>, words: &str) -> Output {
    let limit = most.map_or(String::new(), |most| format!("ulimit -u {most}; "));
    let mut command = Command::new("setpriv");
    command.args(["--reuid", ACCOUNT, "--clear-groups", "bash", "-c", &format!("{limit}exec \"$0\" \"$@\"")]);
    command.arg(program::path()).args(words.split(' ')).current_dir(shop.path());
    command.env("XDG_CONFIG_HOME", shop.path()).env("HOME", shop.path()).env("RAYON_NUM_THREADS", "4");
    command.output().expect("setpriv runs")
}

#[test]
fn a_thread_that_is_refused_is_no_fault_of_the_program() {
    let shop = shop();
    if !run(&shop, None, "config").status.success() {
        assert!(std::env::var_os("CI").is_none(), "setpriv: no right to become another account");
        eprintln!("skipped: no right to become another account, or to run the program as one");
        return;
    }
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    for words in [
        "replay -p p.toml a.csv.gz",
        "replay -p p.toml a.csv.gz b.csv.gz --json",
        "synth good.toml -o good.csv --json",
        "trial -p p.toml a.csv.gz --sweep gas-low.on_delay=0:1:1",
    ] {
        let free = run(&shop, None, words);
        assert_ne!(free.status.code(), Some(2), "{words}: {}", text(&free.stderr));
        for most in [1, 2, 3] {
            let ran = run(&shop, Some(most), words);
            assert_eq!(ran.status.code(), free.status.code(), "{most}, {words}: {}", text(&ran.stderr));
            assert_eq!(text(&ran.stdout), text(&free.stdout), "{most}, {words}");
        }
    }
    // Somebody may look at a page only while the joint is played on.
    for words in ["watch -p p.toml a.csv.gz --serve 127.0.0.1:0 --json", "watch - --json"] {
        let ran = run(&shop, Some(1), words);
        let told = text(&ran.stderr);
        assert_eq!(ran.status.code(), Some(2), "{words}: {told}");
        assert!(told.contains("the system refuses this program another thread"), "{words}: {told}");
    }
}
