//! A shop of three machines for three weeks, one of which slowly gets out of hand: made, invented.
//!
//! Decides: the joints, in turn on the machines, and the drift: from three fifths of the time on the spindle of one
//! machine gets slower, within the procedure, up to half a second a turn.
//! Assumes: `bandward synth` makes the logs; what is found shows that the parts work together, and nothing about any
//! real shop.
//! Never: tells the program which machine it is.

use rayon::prelude::*;
use serde_json::Value;
use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::fs;
use std::path::Path;
use std::process::Command;
use std::time::Instant;

/// The machine that drifts.
pub const DRIFTING: &str = "bay-2";
const MACHINES: u32 = 3;
const DAYS: u32 = 21;
/// Part of the time after which it begins.
const BEGINS: f64 = 0.6;
/// How much slower a turn is in the end, s.
const SLOWER_S: f64 = 0.5;
/// Joints are turned as fast as their drive happens to be set, so far off at most, s.
const SET_WITHIN_S: f64 = 0.06;

/// What came of the shop.
#[derive(Clone, Debug)]
pub struct Told {
    /// Joints of the register.
    pub joints: usize,
    /// The first lines that `replay` showed.
    pub summary: String,
    /// Machines of charts that drift.
    pub drifting: BTreeSet<String>,
    /// What drifts, with the machine.
    pub quantities: BTreeSet<String>,
    /// The joint that was looked for by its serial: the serials found.
    pub found: Vec<String>,
    /// Its page, drawn from its log.
    pub page: String,
    /// Each step and how long it took, s.
    pub steps: Vec<(&'static str, f64)>,
}

/// The serial of a joint.
pub fn serial(joint: u32) -> String {
    format!("TJ-{}", 1000 + joint)
}

/// Runs a whole shop in this folder.
///
/// # Errors
/// A step does not do what it should, in words.
pub fn run(program: &Path, folder: &Path, joints: u32) -> Result<Told, String> {
    let mut steps = Vec::new();
    let mut timed = |name, begun: Instant| steps.push((name, begun.elapsed().as_secs_f64()));
    let begun = Instant::now();
    make(program, folder, joints)?;
    timed("make the logs", begun);
    let begun = Instant::now();
    let words = ["replay", "-p", "p.toml", "--register", "shop.register", "--units", "metric", "logs"];
    let replayed = said(program, folder, &words, &[0])?;
    timed("replay them, and record each", begun);
    let begun = Instant::now();
    let trend = said(program, folder, &["trend", "--register", "shop.register", "--json"], &[0, 1, 3])?;
    timed("trend", begun);
    let trend: Value = serde_json::from_str(&trend).map_err(|error| error.to_string())?;
    let quantities = drifting(&trend);
    let begun = Instant::now();
    let wanted = serial(joints / 2);
    let find = ["register", "find", "shop.register", "--serial", &wanted, "--json"];
    let found = said(program, folder, &find, &[0])?;
    let show = ["register", "show", "shop.register", "--serial", &wanted, "--report", "page.html"];
    said(program, folder, &show, &[0])?;
    timed("find one by its serial, and print it again", begun);
    let found = found.lines().filter_map(|line| serde_json::from_str::<Value>(line).ok());
    Ok(Told {
        joints: trend["joints"].as_array().map_or(0, Vec::len),
        summary: replayed
            .lines()
            .take_while(|line| !line.starts_with("TJ-"))
            .fold(String::new(), |all, line| all + line + "\n"),
        drifting: quantities.iter().map(|(machine, _)| machine.clone()).collect(),
        quantities: quantities.into_iter().map(|(machine, what)| format!("{what} ({machine})")).collect(),
        found: found.filter_map(|joint| joint["serial"].as_str().map(str::to_owned)).collect(),
        page: fs::read_to_string(folder.join("page.html")).map_err(|error| error.to_string())?,
        steps,
    })
}

/// What drifts, with the machine of its chart.
fn drifting(trend: &Value) -> BTreeSet<(String, String)> {
    let list = |key: &str| trend[key].as_array().into_iter().flatten();
    let machine = |chart: &Value| {
        let own = list("charts").find(|one| one["chart"] == *chart);
        own.and_then(|own| own["machine"].as_str()).unwrap_or("of no machine").to_owned()
    };
    let drifts = list("quantities").filter(|quantity| !quantity["drift"].is_null());
    let named = |quantity: &Value| quantity["quantity"].as_str().unwrap_or_default().to_owned();
    drifts.map(|quantity| (machine(&quantity["chart"]), named(quantity))).collect()
}

/// Makes the logs, each with who its joint is beside it.
fn make(program: &Path, folder: &Path, joints: u32) -> Result<(), String> {
    let words = |error: std::io::Error| error.to_string();
    let procedure = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sim/scenarios/procedures/25.4.toml");
    let procedure = fs::read_to_string(procedure).map_err(words)?;
    // A log of 50 rows a second is too slow for these.
    let without = procedure.replace(
        "[short_circuits] # invented\nrecommended = \"at most 2 /s\"\nallowed = \"at most 5 /s\"\n",
        "",
    );
    if without == procedure {
        return Err("the procedure has no limit of short circuits where it is taken out".to_owned());
    }
    fs::write(folder.join("p.toml"), without).map_err(words)?;
    fs::create_dir_all(folder.join("logs")).map_err(words)?;
    (0..joints).into_par_iter().try_for_each(|joint| {
        let serial = serial(joint);
        let scenario = format!("{serial}.toml");
        fs::write(folder.join(&scenario), self::scenario(joint, joints)).map_err(words)?;
        fs::write(folder.join("logs").join(format!("{serial}.joint.toml")), who(joint, joints))
            .map_err(words)?;
        said(program, folder, &["synth", &scenario, "-o", &format!("logs/{serial}.csv.gz")], &[0]).map(drop)
    })
}

fn scenario(joint: u32, joints: u32) -> String {
    // Some order that is none: 7919 is prime.
    let set_off_s = SET_WITHIN_S * (f64::from(joint * 7919 % 13) - 6.0) / 6.0;
    let time = f64::from(joint) / f64::from(joints);
    let is_drifting = machine(joint) == DRIFTING;
    let slower_s = if is_drifting { SLOWER_S * ((time - BEGINS) / (1.0 - BEGINS)).max(0.0) } else { 0.0 };
    format!(
        "[scenario]\nname = \"{}\"\nnote = \"invented\"\nprocedure = \"p.toml\"\nseed = {}\nsample_rate = \"50 Hz\"\n\
         [joint]\nbands = 2\nturn_time = \"{:.3} s\"\n",
        serial(joint),
        joint + 1,
        24.0 + set_off_s + slower_s
    )
}

fn machine(joint: u32) -> String {
    format!("bay-{}", joint % MACHINES + 1)
}

fn who(joint: u32, joints: u32) -> String {
    let (day, hour) = (2 + joint * DAYS / joints, 6 + 5 * (joint % MACHINES));
    format!(
        "[joint]\nserial = \"{}\"\nwelded_at = \"2026-03-{day:02}T{hour:02}:{:02}:00+01:00\"\n[shop]\nmachine = \"{}\"\n",
        serial(joint),
        joint % 60,
        machine(joint)
    )
}

/// What the program printed, if it ended in one of these ways.
fn said(program: &Path, folder: &Path, arguments: &[&str], codes: &[i32]) -> Result<String, String> {
    let ran = Command::new(program)
        .args(arguments)
        .current_dir(folder)
        .env("XDG_CONFIG_HOME", folder)
        .output()
        .map_err(|error| error.to_string())?;
    if ran.status.code().is_some_and(|code| codes.contains(&code)) {
        return String::from_utf8(ran.stdout).map_err(|error| error.to_string());
    }
    Err(format!("{arguments:?}: {}: {}", ran.status, String::from_utf8_lossy(&ran.stderr)))
}

impl Told {
    /// As a table.
    pub fn table(&self) -> String {
        let mut table = String::from("| figure | value |\n|---|--:|\n");
        let mut row = |name: &str, value: String| {
            // Writing to a string cannot fail.
            let _ = writeln!(table, "| {name} | {value} |");
        };
        row("joints in the register", self.joints.to_string());
        row("machine that was made to drift", DRIFTING.to_owned());
        row("machines that `trend` names", self.drifting.iter().cloned().collect::<Vec<_>>().join(", "));
        row("what drifts", self.quantities.iter().cloned().collect::<Vec<_>>().join(", "));
        row("found by its serial", self.found.join(", "));
        row("bytes of its page", self.page.len().to_string());
        for (step, took_s) in &self.steps {
            row(&format!("{step}, s"), format!("{took_s:.1}"));
        }
        table
    }
}
