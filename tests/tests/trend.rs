//! Control charts against published run lengths, and drift named early in a made history of a shop.

use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_sim::input::quantity::UnitSystem;
use bandward_sim::process::arc::Melting;
use bandward_sim::process::random::Noise;
use bandward_sim::process::{Fault, Kind, Scenario, Start, Targets};
use bandward_sim::replay::Replayer;
use bandward_sim::report;
use bandward_sim::trace::TraceHeader;
use bandward_sim::trend::chart::{Cusum, Design, Ewma};
use bandward_sim::trend::measure::Measure;
use bandward_sim::trend::record::{self, Order, Record};
use bandward_sim::trend::{Options, Trend};
use bandward_tests::browser::Browser;
use bandward_tests::program;
use parquet::file::reader::{FileReader as _, SerializedFileReader};
use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::LazyLock;

const RUNS: u32 = 20_000;

/// Mean number of readings up to the first signal, and the standard error of that mean.
fn run_length(seed: u64, shift: f64, mut chart: impl FnMut() -> Box<dyn FnMut(f64) -> bool>) -> (f64, f64) {
    let mut noise = Noise::new(seed, 1);
    let (mut sum, mut squares) = (0.0, 0.0);
    for _ in 0..RUNS {
        let mut signals = chart();
        let mut length = 1.0;
        while !signals(shift + noise.normal()) {
            length += 1.0;
        }
        sum += length;
        squares += length * length;
    }
    let runs = f64::from(RUNS);
    let mean = sum / runs;
    (mean, ((squares / runs - mean * mean) / runs).sqrt())
}

/// Within three and a half standard errors of the simulation, and half a unit of the last digit printed.
fn compare(name: &str, table: [(f64, f64, f64); 4], chart: impl Fn() -> Box<dyn FnMut(f64) -> bool>) {
    for (seed, (shift, published, last_digit)) in (11..).zip(table) {
        let (mean, error) = run_length(seed, shift, &chart);
        let off = (mean - published).abs();
        assert!(
            off <= 3.5 * error + 0.5 * last_digit,
            "{name}, shift {shift}: {mean} +- {error} instead of {published}"
        );
    }
}

/// Lucas and Crosier 1982, "Fast initial response for CUSUM quality-control schemes", Technometrics
/// 24, 199-205: two-sided, k 0.5, no head start.
#[test]
fn run_lengths_of_the_cusum_are_those_published() {
    for (interval, table) in [
        (4.0, [(0.0, 167.7, 0.1), (0.5, 26.6, 0.1), (1.0, 8.38, 0.01), (2.0, 3.34, 0.01)]),
        (5.0, [(0.0, 465.4, 0.1), (0.5, 38.0, 0.1), (1.0, 10.38, 0.01), (2.0, 4.01, 0.01)]),
    ] {
        let design = Design { interval, ..Design::default() };
        compare("CUSUM", table, || {
            let mut cusum = Cusum::new(&design);
            Box::new(move |reading| cusum.push(reading).is_some())
        });
    }
}

/// Lucas and Saccucci 1990, "Exponentially weighted moving average control schemes", Technometrics 32,
/// 1-12.
#[test]
fn run_lengths_of_the_ewma_are_those_published() {
    for (lambda, ewma_limit, table) in [
        (0.1, 2.814, [(0.0, 499.6, 0.1), (0.5, 31.3, 0.1), (1.0, 10.33, 0.01), (2.0, 4.36, 0.01)]),
        (0.2, 2.962, [(0.0, 499.7, 0.1), (0.5, 41.8, 0.1), (1.0, 10.54, 0.01), (2.0, 3.74, 0.01)]),
    ] {
        let design = Design { lambda, ewma_limit, ..Design::default() };
        compare("EWMA", table, || {
            let mut ewma = Ewma::new(&design);
            Box::new(move |reading| ewma.push(reading).is_some())
        });
    }
}

fn data(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("data").join(path)
}

static PROCEDURE: LazyLock<ProcedureFile> = LazyLock::new(|| {
    ProcedureFile::read(&data("procedures/quick-joint.toml")).expect("the procedure is sound")
});

/// Joints before the contact tip begins to wear.
const SOUND: usize = 14;
/// Joints of the history, all of them within the procedure.
const JOINTS: usize = 26;
/// The point of contact climbs so far up the tip with every joint, mm. Invented.
const WEAR_MM: f64 = 0.25;
/// The point of contact wanders so much more with every joint, mm. Invented.
const WANDER_MM: f64 = 0.06;

/// The current at the same wire feed with `more_mm` of wire between tip and arc.
fn sagged(current_a: f64, stick_out_mm: f64, more_mm: f64) -> f64 {
    let melting = Melting::of_wire(1.6);
    let feed = melting.speed(current_a, stick_out_mm);
    let (mut low, mut high) = (0.0, current_a);
    for _ in 0..60 {
        let middle = f64::midpoint(low, high);
        if melting.speed(middle, stick_out_mm + more_mm) < feed {
            low = middle;
        } else {
            high = middle;
        }
    }
    high
}

/// One joint of an invented shop. No two are set alike: the sizes of that are invented too.
fn joint(index: usize, is_wearing: bool) -> Record {
    let mut noise = Noise::new(2026, index as u64);
    let mut scenario = Scenario::good(Targets::of_file(&PROCEDURE), 20.0).with_seed(500 + index as u64);
    let joint = &mut scenario.joint;
    let worn = if is_wearing { (index + 1).saturating_sub(SOUND) as f64 } else { 0.0 };
    joint.current_a = sagged(joint.current_a + 0.8 * noise.normal(), joint.stick_out_mm, WEAR_MM * worn);
    joint.voltage_v += 0.05 * noise.normal();
    joint.gas_lpm += 0.1 * noise.normal();
    joint.turn_time_s += 0.05 * noise.normal();
    joint.weave_width_mm += 0.1 * noise.normal();
    for band in 1..=joint.bands {
        if worn > 0.0 {
            scenario.faults.push(Fault {
                kind: Kind::ContactTipWear,
                band,
                start: Start::Seconds(0.0),
                duration_s: 60.0,
                size: WANDER_MM * worn,
                channel: None,
            });
        }
    }
    let start = format!("2026-03-{:02}T{:02}:15:00", 2 + index / 6, 7 + index % 6);
    replayed(&scenario, index, start)
}

fn replayed(scenario: &Scenario, index: usize, start: String) -> Record {
    let header = TraceHeader {
        path: format!("invented joint {}", index + 1),
        channels: scenario.channels,
        period_us: 50_000,
        gap_tolerance_us: 500_000,
        evenly_spaced: true,
        unknown_columns: Vec::new(),
        start: Some(start),
    };
    let mut replayer = Replayer::new(&PROCEDURE.procedure, &header);
    for row in scenario.rows() {
        replayer.step(&row);
    }
    let replay = replayer.finish();
    record::of_replay("invented", &report::json::replay(&replay)).expect("its own record")
}

fn history(is_wearing: bool) -> Vec<Record> {
    (0..JOINTS).map(|index| joint(index, is_wearing)).collect()
}

static WEARING: LazyLock<Trend> =
    LazyLock::new(|| Trend::of(history(true), Some(&PROCEDURE), Options::default()));

#[test]
fn a_worn_contact_tip_is_named_before_any_band_leaves_the_procedure() {
    let trend = &*WEARING;
    let told = report::trend::text(trend, Some(&PROCEDURE), UnitSystem::Metric);
    assert!(!trend.is_outside(), "{told}");
    let current = trend.series.iter().find(|series| series.measure == Measure::Current).expect("watched");
    let drift = current.drift.expect("it drifts");
    let signal = &current.points[drift.signal];
    assert!(signal.joint >= SOUND - 1 && signal.joint < JOINTS - 4, "{told}");
    // Where the drift began is told to within a few joints.
    assert!(current.points[drift.since].joint.abs_diff(SOUND) <= 4, "{told}");
    assert_eq!(trend.causes.first().map(|likely| likely.cause.name), Some("contact-tip-wear"), "{told}");
    assert!(drift.is_standing, "{told}");
}

#[test]
fn records_are_put_in_order_of_time() {
    let mut shuffled = WEARING.records.clone();
    shuffled.reverse();
    let trend = Trend::of(shuffled, Some(&PROCEDURE), Options::default());
    assert_eq!(trend, *WEARING);
    let mut nameless = WEARING.records.clone();
    nameless[3].start = None;
    nameless.reverse();
    assert_eq!(record::sort(&mut nameless), Order::AsGiven);
    assert_eq!(nameless[0].start, WEARING.records[JOINTS - 1].start);
}

/// A record of one band with this current and gas flow, as `replay --json` writes it.
fn record_json(index: usize, current_a: f64, gas_lpm: f64) -> Value {
    json!({
        "trace": { "path": format!("joint-{index}.csv"), "start": format!("2026-03-02T00:00:{index:02}Z") },
        "within_procedure": true,
        "bands": [{
            "band": 1, "ending": "arc-off", "start_unseen": false, "within_procedure": true,
            "current_a": { "mean": current_a, "min": 0.0, "max": 400.0, "sd": 3.0 },
            "gas_lpm": { "mean": gas_lpm, "min": 0.0, "max": 30.0, "sd": 0.1 },
            "wire_mm_per_min": 7200.0, "wire_feed_source": "estimated-from-current",
        }],
    })
}

fn run(arguments: &[&str], folder: &Path) -> Output {
    Command::new(program::path())
        .arg("trend")
        .args(arguments)
        .current_dir(folder)
        .env("XDG_CONFIG_HOME", folder)
        .output()
        .expect("the program runs")
}

#[test]
fn the_command_tells_by_its_exit_code() {
    let folder = tempfile::tempdir().expect("a folder");
    let write = |name: &str, gas: &dyn Fn(usize) -> f64| {
        let mut noise = Noise::new(5, 1);
        let records: Vec<_> =
            (0..40).map(|index| record_json(index, 320.0 + noise.normal(), gas(index))).collect();
        std::fs::write(folder.path().join(name), json!(records).to_string()).expect("written");
    };
    let mut noise = Noise::new(6, 1);
    let still: Vec<f64> = (0..40).map(|_| 17.0 + 0.2 * noise.normal()).collect();
    write("steady.json", &|index| still[index]);
    write("falling.json", &|index| still[index] - 0.05 * index.saturating_sub(20) as f64);

    let steady = run(&["steady.json"], folder.path());
    let told = String::from_utf8_lossy(&steady.stdout).into_owned();
    // A wire feed worked out from the current is none that was measured.
    assert!(!told.contains("wire feed"), "{told}");

    let procedure = data("procedures/quick-joint.toml").display().to_string();
    let arguments =
        ["falling.json", "--procedure", &procedure, "--json", "--page", "t.html", "--parquet", "t.pq"];
    let falling = run(&arguments, folder.path());
    assert_eq!(falling.status.code(), Some(1), "{}", String::from_utf8_lossy(&falling.stderr));
    let told: Value = serde_json::from_slice(&falling.stdout).expect("JSON");
    assert_eq!(told["causes"][0]["cause"], "gas-falling");
    assert_eq!(told["within_procedure"], true);
    let gas =
        told["quantities"].as_array().expect("quantities").iter().find(|one| one["quantity"] == "gas_lpm");
    assert_eq!(gas.expect("gas")["capability"]["bands"], 40);
    let table = std::fs::File::open(folder.path().join("t.pq")).expect("the table");
    let reader = SerializedFileReader::new(table).expect("a Parquet file");
    // Two means and two spreads of forty joints; voltage was not measured.
    assert_eq!(reader.metadata().file_metadata().num_rows(), 3 * 40);
    assert_eq!(reader.get_row_iter(None).expect("rows").filter_map(Result::ok).count(), 3 * 40);
    assert!(std::fs::read_to_string(folder.path().join("t.html")).expect("the page").contains("gas flow"));

    for (arguments, said) in [
        (["steady.json", "steady.json"], "the same joint"),
        (["steady.json", "nowhere.csv"], "nowhere.csv"),
        (["steady.json", "--baseline=7"], "from 8"),
        (["steady.json", "--ewma-weight=0"], "above 0"),
    ] {
        let refused = run(&arguments, folder.path());
        let told = String::from_utf8_lossy(&refused.stderr).into_owned();
        assert_eq!(refused.status.code(), Some(2), "{told}");
        assert!(told.contains(said), "{told}");
    }
}

#[test]
fn the_page_loads_without_a_word_in_the_console_and_prints() {
    let check = "the_page_loads_without_a_word_in_the_console_and_prints";
    let Some(browser) = Browser::find(check) else { return };
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("trend.html");
    let page = report::page::trend::page(&WEARING, Some(&PROCEDURE), UnitSystem::Metric);
    for address in ["http://", "https://", "url("] {
        assert!(!page.contains(address), "the page asks for {address}");
    }
    std::fs::write(&file, page).expect("written");
    let loaded = browser.load(&file, "");
    assert_eq!(loaded.console, Vec::<String>::new());
    let charts = loaded.document.matches("<svg class=\"chart\"").count();
    let watched = WEARING.series.iter().filter(|series| series.baseline.is_some()).count();
    assert_eq!(charts, 2 * watched);
    assert!(browser.print(&file).starts_with(b"%PDF"));
}
