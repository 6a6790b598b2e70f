//! The built program, for checks of the command line.

use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Output};
use std::time::{Duration, Instant};

/// The program `bandward`, built with the tests that ask for it.
///
/// # Panics
/// Whoever asks is no test of this package.
pub fn path() -> PathBuf {
    let test = std::env::current_exe().expect("a test is a file");
    // target/PROFILE/deps/TEST
    in_folder(test.parent().and_then(Path::parent).expect("a test lies two folders deep"))
}

/// What it did, run in this folder, its saved settings there as well.
///
/// # Panics
/// It does not run.
pub fn run_in(folder: &Path, arguments: &[&str]) -> Output {
    let mut program = Command::new(path());
    program.args(arguments).current_dir(folder).env("XDG_CONFIG_HOME", folder);
    program.output().expect("the program runs")
}

/// What a run said.
#[derive(Clone, Debug)]
pub struct Ran {
    /// On standard output.
    pub out: String,
    /// On standard error.
    pub err: String,
}

/// Runs it in this folder with these words, which blanks separate, and takes no other exit code than this.
///
/// # Panics
/// It does not run, or ends with another one.
pub fn ran(folder: &Path, words: &str, code: i32) -> Ran {
    let output = run_in(folder, &words.split(' ').collect::<Vec<_>>());
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    let ran = Ran { out: text(&output.stdout), err: text(&output.stderr) };
    assert_eq!(output.status.code(), Some(code), "{words}\n{}{}", ran.out, ran.err);
    ran
}

/// The same for a program of this package that was built beside it.
///
/// # Panics
/// As [`path`].
pub fn beside() -> PathBuf {
    let own = std::env::current_exe().expect("a program is a file");
    in_folder(own.parent().expect("a file lies in a folder"))
}

/// How it ended, if it did within this time; else it is put to an end.
///
/// # Panics
/// The system does not say how it fares.
pub fn ended_within(child: &mut Child, wait: Duration) -> Option<ExitStatus> {
    let until = Instant::now() + wait;
    while child.try_wait().expect("its state").is_none() && Instant::now() < until {
        std::thread::sleep(Duration::from_millis(20));
    }
    let ended = child.try_wait().expect("its state");
    if ended.is_none() {
        child.kill().expect("it runs");
        child.wait().expect("ended");
    }
    ended
}

fn in_folder(folder: &Path) -> PathBuf {
    let program = folder.join(format!("bandward-under-test{}", std::env::consts::EXE_SUFFIX));
    assert!(program.exists(), "{} is not built: `cargo build --package bandward-tests`", program.display());
    program
}
