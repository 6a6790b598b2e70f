//! Builds the board programs and runs them in the emulator.
//!
//! Decides: which toolchain builds for the board: that of `cargo` where its target is installed
//! (`rustup target add thumbv7em-none-eabihf thumbv6m-none-eabi`), else Debian's, which brings the
//! library's source (`apt install rustc-web cargo-web rust-web-src binutils-arm-none-eabi`).
//! Assumes: `qemu-system-arm` 7.2 or newer is on the path.
//! Never: passes silently where a tool is missing: that is an error under `CI=true` and a skip that
//! names the tool elsewhere.

use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};

/// A machine to emulate.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Machine {
    /// The Rust target.
    pub target: &'static str,
    board: &'static str,
    processor: &'static str,
}

/// A Cortex-M4 with a floating-point unit (which nothing uses) at 25 MHz.
pub const CORTEX_M4: Machine =
    Machine { target: "thumbv7em-none-eabihf", board: "mps2-an386", processor: "cortex-m4" };

/// Another instruction set, that of the smallest cores (Armv6-M: no division, no wide instructions, no
/// floating point), on a Cortex-M3, which has no floating-point unit. The emulator's own Cortex-M0
/// machine has 16 KiB of memory: too little for the monitor of everything and its stack.
pub const ARMV6_M: Machine =
    Machine { target: "thumbv6m-none-eabi", board: "mps2-an385", processor: "cortex-m3" };

/// That machine, whose processor knows no other instructions: for the least board, see [`build_least`].
pub const CORTEX_M0: Machine =
    Machine { target: "thumbv6m-none-eabi", board: "microbit", processor: "cortex-m0" };

/// The tools are missing: which, and how to get them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Missing(pub String);

/// What to do about missing tools: under `CI=true` it is an error.
///
/// # Panics
/// Under `CI=true`.
pub fn skip(test: &str, missing: &Missing) {
    assert!(std::env::var_os("CI").is_none_or(|value| value != "true"), "{test}: {}", missing.0);
    eprintln!("SKIPPED {test}: {}", missing.0);
}

fn firmware() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../firmware-example")
}

fn runs(program: &str) -> bool {
    let version = Command::new(program).arg("--version").stdout(Stdio::null()).stderr(Stdio::null()).status();
    version.is_ok_and(|status| status.success())
}

/// Does this compiler bring the library for the target?
fn has_library(compiler: &str, target: &str) -> bool {
    let output = Command::new(compiler).args(["--print", "target-libdir", "--target", target]).output();
    output.is_ok_and(|output| {
        let directory = String::from_utf8_lossy(&output.stdout).trim().to_owned();
        output.status.success() && Path::new(&directory).is_dir()
    })
}

/// The build command, without what to build.
pub(crate) fn cargo(target: &str) -> Result<Command, Missing> {
    const CLEARED: [&str; 6] = [
        "RUSTFLAGS",
        "CARGO_ENCODED_RUSTFLAGS",
        "CARGO_TARGET_DIR",
        "CARGO_BUILD_TARGET",
        "RUSTC_WRAPPER",
        "RUSTC_WORKSPACE_WRAPPER",
    ];
    let debian = "/usr/bin/rustc";
    let mut command = if has_library("rustc", target) {
        let mut command = Command::new("cargo");
        command.args(["build", "--release", "--target", target]);
        command
    } else if Path::new("/usr/lib/rustlib/src/rust/library/core").is_dir()
        && runs("/usr/bin/cargo")
        && runs("arm-none-eabi-ld")
    {
        let mut command = Command::new("/usr/bin/cargo");
        command.args(["build", "--release", "-Z", "build-std=core", "--target", target]);
        command.env("RUSTC", debian).env("RUSTC_BOOTSTRAP", "1");
        command
    } else {
        return Err(Missing(format!(
            "no toolchain for {target}: rustup target add {target}, or on Debian apt install \
             rustc-web cargo-web rust-web-src binutils-arm-none-eabi"
        )));
    };
    for variable in CLEARED {
        command.env_remove(variable);
    }
    if command.get_program() == "/usr/bin/cargo" {
        command.env("RUSTFLAGS", "-C linker=arm-none-eabi-ld -C linker-flavor=ld");
    }
    command.current_dir(firmware());
    Ok(command)
}

/// What the checks and the report run: a machine, features, and the programs.
const ALL: [(Machine, &[&str], &[&str]); 3] = [
    (
        CORTEX_M4,
        &[],
        &[
            "board",
            "deadlines",
            "deadlines-one-thread",
            "digest",
            "footprint",
            "measure",
            "measure-board",
            "monitor",
        ],
    ),
    (CORTEX_M4, &["defmt"], &["board"]),
    (ARMV6_M, &[], &["digest"]),
];

/// Builds them all, so that nothing waits for a compiler while an emulator runs.
///
/// # Errors
/// Where the toolchain is missing.
///
/// # Panics
/// As [`build`].
pub fn build_all() -> Result<(), Missing> {
    ALL.into_iter()
        .try_for_each(|(machine, features, programs)| build_in(machine, programs, features).map(|_| ()))?;
    build_least().map(|_| ())
}

/// Builds the least board, current, voltage and gas on a map of 8 KiB of memory, for [`CORTEX_M0`].
///
/// # Errors
/// Where the toolchain is missing.
///
/// # Panics
/// As [`build`].
pub fn build_least() -> Result<PathBuf, Missing> {
    build_alone(CORTEX_M0, "smallest", &["least"], None)
}

/// Builds one board program and returns where it is.
///
/// # Errors
/// Where the toolchain is missing.
///
/// # Panics
/// Where it does not compile: that is a fault in the project.
pub fn build(machine: Machine, program: &str, features: &[&str]) -> Result<PathBuf, Missing> {
    build_in(machine, &[program], features).map(|folder| folder.join(program))
}

/// Builds one board program with these features and no other; the core at another level than the profile's, where one is
/// given.
///
/// # Errors
/// Where the toolchain is missing.
///
/// # Panics
/// As [`build`].
pub fn build_alone(
    machine: Machine,
    program: &str,
    features: &[&str],
    level: Option<&str>,
) -> Result<PathBuf, Missing> {
    // One folder for all sets: what they share is built once. Each program is copied away from the next.
    let directory = firmware().join("target").join("sizes");
    let mut command = cargo(machine.target)?;
    command.args(["--no-default-features", "--bin", program]);
    if let Some(level) = level {
        command.arg("--config").arg(format!("profile.release.package.bandward.opt-level=\"{level}\""));
    }
    let with_machine: Vec<_> = ["mps2"].iter().chain(features).copied().collect();
    let folder = built(machine, command, &with_machine, &directory)?;
    let kept = directory.join(format!("{program}-{}-{}", machine.target, features.join("-")));
    std::fs::copy(folder.join(program), &kept)
        .map_err(|error| Missing(format!("{}: {error}", kept.display())))?;
    Ok(kept)
}

/// The compiler that builds for the machine, and its version.
///
/// # Errors
/// Where the toolchain is missing.
pub fn compiler(machine: Machine) -> Result<String, Missing> {
    let cargo = cargo(machine.target)?;
    let of_debian = cargo.get_program() == "/usr/bin/cargo";
    let output = Command::new(if of_debian { "/usr/bin/rustc" } else { "rustc" }).arg("--version").output();
    let output = output.map_err(|error| Missing(format!("rustc: {error}")))?;
    Ok(String::from_utf8_lossy(&output.stdout).trim().to_owned())
}

fn build_in(machine: Machine, programs: &[&str], features: &[&str]) -> Result<PathBuf, Missing> {
    // Programs with other features go elsewhere, so that two tests do not overwrite each other's.
    let directory = firmware().join("target").join(format!("board-{}", features.join("-")));
    let mut command = cargo(machine.target)?;
    command.args(programs.iter().flat_map(|program| ["--bin", program]));
    built(machine, command, features, &directory)
}

/// Runs a build; returns the folder of its programs.
fn built(
    machine: Machine,
    mut command: Command,
    features: &[&str],
    directory: &Path,
) -> Result<PathBuf, Missing> {
    command.args(["--locked", "--features", &features.join(","), "--target-dir"]);
    let output = command.arg(directory).output().map_err(|error| Missing(format!("cargo: {error}")))?;
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    Ok(directory.join(machine.target).join("release"))
}

fn emulator(machine: Machine, program: &Path) -> Result<Command, Missing> {
    if !runs("qemu-system-arm") {
        return Err(Missing("no qemu-system-arm: apt install qemu-system-arm".into()));
    }
    let mut command = Command::new("qemu-system-arm");
    command.args(["-M", machine.board, "-cpu", machine.processor, "-display", "none", "-monitor", "none"]);
    command.args(["-semihosting-config", "enable=on,target=native", "-no-reboot", "-kernel"]).arg(program);
    Ok(command)
}

/// Runs a program to its end, counting instructions: virtual time is 1 ns an instruction.
///
/// # Errors
/// Where the emulator is missing.
pub fn run(machine: Machine, program: &Path) -> Result<Output, Missing> {
    run_at(machine, program, 0)
}

/// Runs a program to its end, where an instruction takes 2 to the power of `shift` ns.
///
/// # Errors
/// Where the emulator is missing.
pub fn run_at(machine: Machine, program: &Path, shift: u32) -> Result<Output, Missing> {
    let mut command = emulator(machine, program)?;
    command.args(["-serial", "none", "-icount", &format!("shift={shift}")]).stdin(Stdio::null());
    command.output().map_err(|error| Missing(format!("qemu-system-arm: {error}")))
}

/// A board that runs, with its serial ports on sockets.
pub struct Running {
    child: Child,
    directory: tempfile::TempDir,
}

impl Running {
    /// Starts a program; it waits for somebody to connect.
    ///
    /// # Errors
    /// Where the emulator is missing.
    ///
    /// # Panics
    /// Where it does not open its socket in time.
    pub fn start(machine: Machine, program: &Path) -> Result<Self, Missing> {
        let directory = tempfile::tempdir().expect("a directory for the socket");
        let socket = directory.path().join("serial");
        let mut command = emulator(machine, program)?;
        command.arg("-serial").arg(format!("unix:{},server=on,wait=on", socket.display()));
        let modbus = directory.path().join("modbus");
        command.arg("-serial").arg(format!("unix:{},server=on,wait=off", modbus.display()));
        command.stdin(Stdio::null()).stderr(Stdio::null());
        command.stdout(std::fs::File::create(directory.path().join("log")).expect("a file for the log"));
        let child = command.spawn().map_err(|error| Missing(format!("qemu-system-arm: {error}")))?;
        let running = Self { child, directory };
        for _ in 0..500 {
            // It is there a moment before anybody listens.
            let is_there = socket.exists();
            std::thread::sleep(std::time::Duration::from_millis(20));
            if is_there {
                return Ok(running);
            }
        }
        panic!("the emulator did not open {}", socket.display());
    }
    /// The address for [`bandward_sim::link::Link::open`].
    pub fn address(&self) -> String {
        format!("unix:{}", self.directory.path().join("serial").display())
    }
    /// The socket of its Modbus port.
    pub fn modbus(&self) -> PathBuf {
        self.directory.path().join("modbus")
    }
    /// What the program wrote through semihosting so far: with the feature `defmt`, its log.
    ///
    /// # Panics
    /// Where the file cannot be read.
    pub fn log(&self) -> Vec<u8> {
        std::fs::read(self.directory.path().join("log")).expect("the log")
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        // It runs for ever otherwise; one that has ended cannot be killed, which is as well.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
