//! A browser without a screen, for checks of pages.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// Longest a page may take on a slow machine.
const PATIENCE: Duration = Duration::from_mins(2);

/// A headless Chromium.
#[derive(Debug)]
pub struct Browser {
    program: PathBuf,
}

/// What a page came to.
#[derive(Debug)]
pub struct Loaded {
    /// The document after its scripts have run.
    pub document: String,
    /// What was written to the console, errors above all.
    pub console: Vec<String>,
}

impl Browser {
    /// The one that is installed. Where there is none, `check` is skipped by name.
    ///
    /// # Panics
    /// There is none and this runs under continuous integration (`CI=true`).
    pub fn find(check: &str) -> Option<Self> {
        let folders = std::env::var_os("PATH").unwrap_or_default();
        let named = |folder: PathBuf| ["chromium", "chromium-browser"].map(|name| folder.join(name));
        let program = std::env::split_paths(&folders).flat_map(named).find(|path| path.is_file());
        if program.is_none() {
            assert!(
                std::env::var("CI").as_deref() != Ok("true"),
                "{check} needs Chromium, which is not installed"
            );
            eprintln!("skipped: {check}: Chromium is not installed (apt-get install chromium)");
        }
        program.map(|program| Self { program })
    }
    /// Where it is.
    pub fn program(&self) -> &Path {
        &self.program
    }
    /// Loads a page; `fragment` is what follows its address, such as `#t=1-2`.
    ///
    /// # Panics
    /// The browser does not start or does not come to an end.
    pub fn load(&self, page: &Path, fragment: &str) -> Loaded {
        let scratch = tempfile::tempdir().expect("a folder for the browser");
        let (document, log) =
            self.run(scratch.path(), &["--virtual-time-budget=3000", "--dump-dom"], page, fragment);
        let console = log.lines().filter(|line| line.contains(":CONSOLE")).map(str::to_owned).collect();
        Loaded { document, console }
    }
    /// Prints a page on paper, as PDF.
    ///
    /// # Panics
    /// As [`Browser::load`].
    pub fn print(&self, page: &Path) -> Vec<u8> {
        let scratch = tempfile::tempdir().expect("a folder for the browser");
        let paper = scratch.path().join("paper.pdf");
        let option = format!("--print-to-pdf={}", paper.display());
        self.run(scratch.path(), &[&option], page, "");
        std::fs::read(paper).expect("the browser printed")
    }
    /// A picture of the upper part of a page, as PNG; `width` and `height` in dots.
    ///
    /// # Panics
    /// As [`Browser::load`].
    pub fn picture(&self, page: &Path, fragment: &str, width: u32, height: u32) -> Vec<u8> {
        let scratch = tempfile::tempdir().expect("a folder for the browser");
        let picture = scratch.path().join("picture.png");
        let (option, size) =
            (format!("--screenshot={}", picture.display()), format!("--window-size={width},{height}"));
        let options = ["--virtual-time-budget=3000", "--hide-scrollbars", &option, &size];
        self.run(scratch.path(), &options, page, fragment);
        std::fs::read(picture).expect("the browser drew")
    }
    fn run(&self, scratch: &Path, options: &[&str], page: &Path, fragment: &str) -> (String, String) {
        // Output goes to files: a pipe that nobody empties would stop the browser.
        let (out, log) = (scratch.join("out"), scratch.join("log"));
        let file = |path: &Path| Stdio::from(std::fs::File::create(path).expect("a file for output"));
        let mut child = Command::new(&self.program)
            .args(["--headless", "--no-sandbox", "--disable-gpu", "--no-first-run"])
            .args(["--disable-background-networking", "--enable-logging=stderr"])
            .arg(format!("--user-data-dir={}", scratch.join("profile").display()))
            .args(options)
            .arg(format!("file://{}{fragment}", page.display()))
            .stdout(file(&out))
            .stderr(file(&log))
            .spawn()
            .expect("Chromium starts");
        let begun = Instant::now();
        while child.try_wait().expect("the browser can be asked").is_none() {
            if begun.elapsed() > PATIENCE {
                child.kill().expect("the browser can be ended");
                panic!(
                    "Chromium did not come to an end: {}",
                    std::fs::read_to_string(&log).unwrap_or_default()
                );
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        let text = |path: &Path| String::from_utf8_lossy(&std::fs::read(path).expect("output")).into_owned();
        (text(&out), text(&log))
    }
}
