//! Replay beside a peer, a script in Polars and NumPy that makes the band table and four alarms of the same files: time,
//! memory and what both found, as tables in Markdown.
//!
//! Decides: the files (made by the project's own process model, which knows nothing of either), and how far two results
//! may lie apart.
//! Assumes: `python3` with polars and numpy on the path; without, it is a skip that says so, and an error under `CI=true`.
//! Never: measures one after the other was measured: they take turns, so that what else the machine does falls on both.
//!
//! It is itself the program that it measures, where [`MEASURED`] is in the environment.

use bandward_benches::many;
use bandward_benches::timed::{Cost, least, median, timed};
use bandward_benches::{MEASURED, beside_csv};
use serde_json::Value;
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode};

const HELP: &str = "Times `bandward replay` beside a script in Polars and NumPy on the same made traces, and compares what both found.

    peer-report [--turns N] [--logs N] [--small]

    --turns N   how often each is timed, in turn (default 5)
    --logs N    logs of 50 Hz that are replayed on all cores and on one (default 2000)
    --small     at 50 Hz and 500 Hz alone, each once, 20 logs: whether it runs, and whether both find the same";

/// Sample rate, and how many times the peer's speed is aimed at, of CSV and of Parquet.
const RATES: [(&str, &str); 3] = [("10 kHz", "4"), ("2 kHz", "8"), ("50 Hz", "-")];
const SMALL: [(&str, &str); 2] = [("500 Hz", "-"), ("50 Hz", "-")];

fn main() -> ExitCode {
    if std::env::var_os(MEASURED).is_some() {
        return bandward_sim::program::run();
    }
    let words: Vec<String> = std::env::args().skip(1).collect();
    if words.iter().any(|word| word == "--help") {
        println!("{HELP}");
        return ExitCode::SUCCESS;
    }
    match report(&words) {
        Ok(text) => {
            print!("{text}");
            ExitCode::SUCCESS
        }
        Err(problem) => {
            eprintln!("{problem}");
            ExitCode::from(2)
        }
    }
}

fn report(words: &[String]) -> Result<String, String> {
    let mut turns = 5;
    let mut logs = 2000;
    let mut is_small = false;
    let mut words = words.iter();
    while let Some(word) = words.next() {
        let mut number = || {
            let number = words.next().and_then(|number| number.parse().ok()).filter(|&number| number > 0);
            number.ok_or(format!("{word}: expected a number, 1 or more"))
        };
        match word.as_str() {
            "--turns" => turns = number()?,
            "--logs" => logs = number()?,
            "--small" => (is_small, turns, logs) = (true, 1, 20),
            _ => return Err(format!("{word}: unknown; see --help")),
        }
    }
    let found = Command::new("python3").args(["-c", "import numpy, polars"]).output();
    if !found.is_ok_and(|found| found.status.success()) {
        let missing = "no polars and numpy for python3: pip install polars numpy";
        return if std::env::var_os("CI").is_some() {
            Err(missing.to_owned())
        } else {
            Ok(format!("skipped: {missing}\n"))
        };
    }
    let folder = tempfile::tempdir().map_err(told)?;
    let bench = Bench::new(folder.path())?;
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let mut text = format!(
        "{}, {cores} processors, {turns} turns; traces made by the project's own process model (invented)\n\n\
         | trace | rows | MB | replay, s: least, median | peer, s: least, median | peer over replay | aim | processor time, s: replay, peer | most memory, MiB: replay, peer |\n\
         |---|--:|--:|--:|--:|--:|--:|--:|--:|\n",
        jiff::Timestamp::now().to_string().get(..10).unwrap_or_default()
    );
    let mut slow = None;
    for &(rate, aim) in if is_small { &SMALL[..] } else { &RATES[..] } {
        for form in ["csv", "parquet"] {
            let trace = bench.make(rate, form)?;
            text += &bench.beside(&trace, rate, aim, turns)?;
            if form == "csv" {
                slow = Some(trace);
            } else {
                fs::remove_file(trace).map_err(told)?;
            }
        }
        if let (Some(trace), "10 kHz" | "500 Hz") = (&slow, rate) {
            let ratio = beside_csv::ratio(trace, turns)?;
            writeln!(text, "| CSV at {rate}, read alone beside the csv crate with fast-float2 | | | | | {ratio:.2} | 3 | | |")
                .map_err(told)?;
        }
    }
    let trace = slow.ok_or("no trace was made")?;
    let [all, one] =
        [cores, 1].map(|cores| many::replay(&bench.program, &bench.procedure(), &trace, logs, cores));
    let (all_s, one_s) = (all?, one?);
    write!(
        text,
        "| {logs} logs of 50 Hz, CSV, on {cores} processors beside one | | | {all_s:.2} | {one_s:.2} | {:.2} | 1.9 | | |\n\nCompared: {COMPARED}\n",
        one_s / all_s
    )
    .map_err(told)?;
    Ok(text)
}

fn told(error: impl std::fmt::Display) -> String {
    error.to_string()
}

/// What is compared, and how far it may lie apart.
const COMPARED: &str = "number of bands; start and end (0.02 s), arc time (0.05 s), turns (0.001), means of current, voltage, \
gas and wire (0.1 %) of each; each alarm of the peer is one of ours (same rule and band, beginning within 0.5 s).";

struct Bench<'f> {
    folder: &'f Path,
    program: PathBuf,
}

impl<'f> Bench<'f> {
    fn new(folder: &'f Path) -> Result<Self, String> {
        let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sim/demo");
        fs::copy(demo.join("procedure.toml"), folder.join("procedure.toml")).map_err(told)?;
        Ok(Self { folder, program: std::env::current_exe().map_err(told)? })
    }
    fn procedure(&self) -> PathBuf {
        self.folder.join("procedure.toml")
    }
    fn bandward(&self) -> Command {
        let mut command = Command::new(&self.program);
        command.env(MEASURED, "1").env("XDG_CONFIG_HOME", self.folder).current_dir(self.folder);
        command
    }
    /// Makes the demo joint at this rate, with faults that raise an alarm of the voltage and one of the current.
    fn make(&self, rate: &str, form: &str) -> Result<PathBuf, String> {
        let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sim/demo/scenario.toml");
        let scenario = fs::read_to_string(demo).map_err(told)?;
        let usual = "sample_rate = \"50 Hz\"";
        if !scenario.contains(usual) {
            return Err(format!("the demo's scenario has no {usual}"));
        }
        let scenario = scenario.replace(usual, &format!("sample_rate = \"{rate}\""));
        fs::write(self.folder.join("scenario.toml"), scenario).map_err(told)?;
        let trace = self.folder.join(format!("made.{form}"));
        let faults = ["--fault", "voltage-low", "--fault", "current-high"];
        let mut synth = self.bandward();
        let made =
            synth.args(["synth", "scenario.toml", "-o"]).arg(&trace).args(faults).output().map_err(told)?;
        if made.status.success() {
            Ok(trace)
        } else {
            Err(String::from_utf8_lossy(&made.stderr).into_owned())
        }
    }
    /// A row of the table.
    fn beside(&self, trace: &Path, rate: &str, aim: &str, turns: usize) -> Result<String, String> {
        let mut replay = self.bandward();
        replay.args(["replay", "--json", "-p", "procedure.toml"]).arg(trace);
        let mut peer = Command::new("python3");
        peer.arg(Path::new(env!("CARGO_MANIFEST_DIR")).join("peer/band_table.py")).arg(trace);
        // As the procedure has them.
        peer.args(["--current", "280", "360", "--voltage", "29.5", "33.5"]);
        let (mut own, mut others) = (Vec::new(), Vec::new());
        for _ in 0..turns {
            own.push(timed(&mut replay)?);
            others.push(timed(&mut peer)?);
        }
        let rows = compare(&own[0].out, &others[0].out)
            .map_err(|problem| format!("{rate}, {}: {problem}", trace.display()))?;
        let megabytes = fs::metadata(trace).map_err(told)?.len() as f64 / 1e6;
        let form = if trace.extension().is_some_and(|form| form == "csv") { "CSV" } else { "Parquet" };
        let took = |costs: &[Cost]| median(costs, |cost| cost.took_s);
        let processor = |costs: &[Cost]| median(costs, |cost| cost.processor_s);
        let memory = |costs: &[Cost]| costs.iter().map(|cost| cost.memory_mib).fold(0.0, f64::max);
        Ok(format!(
            "| {form}, {rate} | {rows} | {megabytes:.0} | {:.2}, {:.2} | {:.2}, {:.2} | {:.2} | {aim} | {:.2}, {:.2} | {:.0}, {:.0} |\n",
            least(&own),
            took(&own),
            least(&others),
            took(&others),
            took(&others) / took(&own),
            processor(&own),
            processor(&others),
            memory(&own),
            memory(&others),
        ))
    }
}

/// Do both say the same? How many rows there were.
fn compare(own: &str, peer: &str) -> Result<u64, String> {
    let [own, peer] = [own, peer].map(|text| serde_json::from_str::<Value>(text).map_err(told));
    let (own, peer) = (own?, peer?);
    let list = |of: &Value, name: &str| of[name].as_array().cloned().unwrap_or_default();
    let (bands, others) = (list(&own, "bands"), list(&peer, "bands"));
    if bands.is_empty() || bands.len() != others.len() {
        return Err(format!("{} bands, by the peer {}", bands.len(), others.len()));
    }
    for (band, other) in bands.iter().zip(&others) {
        let within = |name: &str, own: &Value, other: &Value, tolerance: f64| {
            let apart = (own.as_f64().unwrap_or(f64::NAN) - other.as_f64().unwrap_or(f64::NAN)).abs();
            if apart <= tolerance {
                Ok(())
            } else {
                Err(format!("{name} of band {}: {own}, by the peer {other}", band["band"]))
            }
        };
        for (name, tolerance) in [("start_s", 0.02), ("end_s", 0.02), ("arc_time_s", 0.05), ("turns", 0.001)]
        {
            within(name, &band[name], &other[name], tolerance)?;
        }
        for name in ["current_a", "voltage_v", "gas_lpm"] {
            let mean = &other[name]["mean"];
            within(name, &band[name]["mean"], mean, 1e-3 * mean.as_f64().unwrap_or(0.0))?;
        }
        let wire = &other["wire_mm_per_min"]["mean"];
        within("wire", &band["wire_mm_per_min"], wire, 1e-3 * wire.as_f64().unwrap_or(0.0))?;
    }
    let (alarms, others) = (list(&own, "alarms"), list(&peer, "alarms"));
    for other in &others {
        let onset = |alarm: &Value| alarm["onset_s"].as_f64().unwrap_or(f64::NAN);
        let is_same = |alarm: &Value| {
            alarm["rule"] == other["rule"]
                && alarm["band"] == other["band"]
                && (onset(alarm) - onset(other)).abs() <= 0.5
        };
        if !alarms.iter().any(is_same) {
            return Err(format!("an alarm of the peer alone: {other}"));
        }
    }
    if others.len() < 2 {
        return Err(format!("two alarms were put in, and the peer has {}", others.len()));
    }
    let rows = own["trace"]["samples"].as_u64();
    if rows == peer["rows"].as_u64() {
        rows.ok_or("no rows".to_owned())
    } else {
        Err(format!("{rows:?} rows, by the peer {}", peer["rows"]))
    }
}
