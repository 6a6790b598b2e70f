//! Control charts against published run lengths, and drift named early in a made history of a shop.

use bandward::Acquisition;
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
use bandward_sim::trend::reference::{FURTHEST, Reference};
use bandward_sim::trend::{Charted, Options, Series, Trend};
use bandward_tests::browser::Browser;
use bandward_tests::program;
use parquet::file::reader::{FileReader as _, SerializedFileReader};
use serde_json::{Value, json};
use statrs::distribution::{ContinuousCDF as _, Normal, StudentsT};
use std::path::{Path, PathBuf};
use std::process::Output;
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

/// The published run lengths are those of a mean and a spread that are known. Here both come from 20
/// joints and those that follow; what is further off than any one joint may count changes the lengths by
/// one in a hundred at most.
#[test]
fn a_short_baseline_keeps_the_run_lengths_of_a_known_one() {
    const BASELINE: usize = 20;
    let design = Design::default();
    let mut noise = Noise::new(17, 2);
    let mut deviates = move || {
        let before: Vec<f64> = (0..BASELINE).map(|_| 300.0 + 4.0 * noise.normal()).collect();
        let mut reference = Reference::of(&before, 0.01);
        move |standard: f64| {
            let reading = 300.0 + 4.0 * standard;
            let deviate = reference.deviate(&[1.0], reading).expect("a level is known");
            reference.learn(&[1.0], reading);
            deviate.clamp(-FURTHEST, FURTHEST)
        }
    };
    let mut compare = |name: &str, published: f64, make: &dyn Fn() -> Box<dyn FnMut(f64) -> bool>| {
        let (mean, error) = run_length(19, 0.0, || {
            let (mut deviate, mut signals) = (deviates(), make());
            Box::new(move |standard| signals(deviate(standard)))
        });
        let off = (mean - published).abs();
        assert!(off <= 3.5 * error + 0.01 * published, "{name}: {mean} +- {error} instead of {published}");
    };
    compare("CUSUM", 465.4, &|| {
        let mut cusum = Cusum::new(&design);
        Box::new(move |deviate| cusum.push(deviate).is_some())
    });
    compare("EWMA", 499.7, &|| {
        let mut ewma = Ewma::new(&design);
        Box::new(move |deviate| ewma.push(deviate).is_some())
    });
}

/// Student's t to a normal deviate, against the exact probabilities of the crate `statrs`.
#[test]
fn deviates_are_as_rare_as_the_students_t_they_stand_for() {
    let normal = Normal::standard();
    for count in [8_u32, 10, 20, 60] {
        // Readings with mean 0 and deviation 1.
        let half = (f64::from(count - 1) / f64::from(count)).sqrt();
        let readings: Vec<f64> = (0..count).map(|index| if index % 2 == 0 { half } else { -half }).collect();
        let reference = Reference::of(&readings, 1e-9);
        let student = StudentsT::new(0.0, 1.0, f64::from(count - 1)).expect("a distribution");
        for step in 1..=30 {
            let t = f64::from(step) * 0.1;
            let exact = -normal.inverse_cdf(student.sf(t));
            let reading = t * (1.0 + 1.0 / f64::from(count)).sqrt();
            let deviate = reference.deviate(&[1.0], reading).expect("a level is known");
            assert!((deviate - exact).abs() < 0.01, "{count} readings, t {t}: {deviate} instead of {exact}");
        }
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
/// The gas falls by so much with every joint, L/min: half of what joints differ by anyway. Invented.
const SINKING_LPM: f64 = 0.05;

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

/// What goes on in an invented shop.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Course {
    /// Nothing.
    Steady,
    /// The contact tip wears.
    TipWears,
    /// The flow meter sinks.
    MeterSinks,
}

/// One joint of it. No two are set alike: the sizes of that are invented too.
fn joint(shop: u64, index: usize, course: Course) -> Record {
    let mut noise = Noise::new(2026 + shop, index as u64);
    let seed = 500 + 1000 * shop + index as u64;
    let mut scenario = Scenario::good(Targets::of_file(&PROCEDURE), 20.0).with_seed(seed);
    let joint = &mut scenario.joint;
    let gone_on = |when: Course| if course == when { (index + 1).saturating_sub(SOUND) as f64 } else { 0.0 };
    let worn = gone_on(Course::TipWears);
    joint.current_a = sagged(joint.current_a + 0.8 * noise.normal(), joint.stick_out_mm, WEAR_MM * worn);
    joint.voltage_v += 0.05 * noise.normal();
    joint.gas_lpm += 0.1 * noise.normal() - SINKING_LPM * gone_on(Course::MeterSinks);
    joint.turn_time_s += 0.05 * noise.normal();
    joint.weave_width_mm += 0.1 * noise.normal();
    for band in 1..=joint.bands {
        if worn > 0.0 {
            scenario.faults.push(Fault {
                kind: Kind::ContactTipWear,
                joint: 1,
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
        acquisition: Acquisition::every(50_000, scenario.channels),
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

fn shop(shop: u64, joints: usize, course: Course) -> Trend {
    let records = (0..joints).map(|index| joint(shop, index, course)).collect();
    charted(records)
}

/// Nobody vouches for the temperatures and the setup of these joints, so none of them is proven: they are
/// a baseline because the test asks for it.
fn charted(records: Vec<Record>) -> Trend {
    let options = Options { has_flagged_baseline: true, ..Options::default() };
    Trend::of(records, Some(&PROCEDURE), options).expect("no events")
}

static WEARING: LazyLock<Trend> = LazyLock::new(|| shop(0, JOINTS, Course::TipWears));

/// Where the drift of a quantity is signalled, in joints after the last sound one.
fn named_after(trend: &Trend, measure: Measure) -> usize {
    let told = report::trend::text(trend, Some(&PROCEDURE), UnitSystem::Metric);
    let series = trend.series.iter().find(|series| series.measure == measure).expect("watched");
    let drift = series.drifting().unwrap_or_else(|| panic!("it drifts: {told}"));
    // Where the drift began is told to within a few joints.
    assert!(series.points[drift.since].joint.abs_diff(SOUND) <= 4, "{told}");
    (series.points[drift.signal].joint + 1).checked_sub(SOUND).unwrap_or_else(|| panic!("too early: {told}"))
}

#[test]
fn a_worn_contact_tip_is_named_before_any_band_leaves_the_procedure() {
    let trend = &*WEARING;
    let told = report::trend::text(trend, Some(&PROCEDURE), UnitSystem::Metric);
    assert!(!trend.is_outside(), "{told}");
    assert!(named_after(trend, Measure::Current) <= 5, "{told}");
    assert_eq!(trend.causes.first().map(|likely| likely.cause.name), Some("contact-tip-wear"), "{told}");
}

/// `sim/demo/joints.json` is made by the code above; figures that no chart follows are left out of it.
#[test]
fn the_history_that_is_shipped_is_that_of_the_shop_and_names_the_worn_tip() {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sim/demo/joints.json");
    let text = std::fs::read_to_string(&file).expect("it is there");
    let mut shipped = record::parse("joints.json", &text).expect("sound records");
    for (shipped, made) in shipped.iter_mut().zip(&WEARING.records) {
        made.name.clone_into(&mut shipped.name);
        // Only what the charts follow is shipped, so these records do not tell how they were judged.
        shipped.outcome = made.outcome;
    }
    assert_eq!(shipped, WEARING.records);
    let folder = tempfile::tempdir().expect("a folder");
    let output = run(&[&file.display().to_string()], folder.path());
    let told = String::from_utf8_lossy(&output.stdout).into_owned();
    assert_eq!(output.status.code(), Some(1), "{told}");
    assert!(told.contains("1. contact tip wear"), "{told}");
}

#[test]
fn the_same_shop_without_wear_has_no_worn_tip() {
    let trend = shop(0, JOINTS, Course::Steady);
    let told = report::trend::text(&trend, Some(&PROCEDURE), UnitSystem::Metric);
    assert!(trend.is_watched() && trend.is_quiet(), "{told}");
    assert!(trend.causes.is_empty() && told.contains("STEADY"), "{told}");
    let widest = told.lines().map(|line| line.chars().filter(|c| !c.is_control()).count()).max();
    assert!(widest.is_some_and(|widest| widest <= 100), "{widest:?}: {told}");
}

/// What ten shops come to.
struct Shops {
    steady: Vec<Trend>,
    worn: Vec<Trend>,
    sinking: Vec<Trend>,
}

static SHOPS: LazyLock<Shops> = LazyLock::new(|| {
    let made = |own: u64| {
        let steady = shop(own, 60, Course::Steady);
        let goes_on = |course| {
            let sound = steady.records[..SOUND].iter().cloned();
            charted(sound.chain((SOUND..JOINTS).map(|index| joint(own, index, course))).collect())
        };
        let (worn, sinking) = (goes_on(Course::TipWears), goes_on(Course::MeterSinks));
        (steady, worn, sinking)
    };
    let made: Vec<_> = std::thread::scope(|scope| {
        let shops: Vec<_> = (1..=10).map(|own| scope.spawn(move || made(own))).collect();
        shops.into_iter().map(|shop| shop.join().expect("a shop")).collect()
    });
    let mut shops = Shops { steady: Vec::new(), worn: Vec::new(), sinking: Vec::new() };
    for (steady, worn, sinking) in made {
        shops.steady.push(steady);
        shops.worn.push(worn);
        shops.sinking.push(sinking);
    }
    shops
});

/// Run lengths of the two tables above, whose reciprocals are the rates, and counts that are Poisson's.
#[test]
fn steady_shops_give_signals_at_the_rate_of_the_tables_and_hardly_a_drift() {
    let mut signalled = [0; 2];
    let mut watched = 0;
    // A quantity that spreads less than can be told gives no signals at all.
    let spreading = |series: &&Series| series.baseline.is_some_and(|baseline| !baseline.is_least);
    for series in SHOPS.steady.iter().flat_map(|trend| &trend.series).filter(spreading) {
        watched += series.watched();
        let any = |signals: fn(&Charted) -> bool| {
            usize::from(series.points.iter().filter_map(|point| point.charted.as_ref()).any(signals))
        };
        signalled[0] += any(|charted| charted.ewma_signal.is_some());
        signalled[1] += any(|charted| charted.cusum_signal.is_some());
    }
    for (signalled, run_length) in signalled.into_iter().zip([499.7, 465.4]) {
        let (signalled, promised) =
            (f64::from(u32::try_from(signalled).expect("few")), watched as f64 / run_length);
        println!("{signalled} quantities signal in {watched} joints; the table promises {promised:.1}");
        assert!(
            signalled > 0.0 && signalled <= promised + 3.0 * promised.sqrt(),
            "{signalled} of {promised}"
        );
    }
    let drifting = SHOPS.steady.iter().filter(|trend| !trend.is_quiet()).count();
    println!("{drifting} of 10 steady shops look as if they drifted");
    assert!(drifting <= 2, "{drifting} of 10 steady shops drift");
}

/// A tip sags by some 1.35 standard deviations a joint. After n joints its slope has the squares
/// n(n+1)(2n+1)/6 - (n(n+1)/2)^2 / (14 + n) of least squares, so after 7 a deviate of 6.7 in the mean, where 4.6
/// is asked with 20 charts: 2 of 100 tips are named later. Gas that falls more and more is a bottle running out
/// or a meter that sinks, and only the shop can see which.
#[test]
fn a_worn_tip_and_a_sinking_flow_meter_are_named_early_in_every_shop() {
    for (trends, measure, cause, joints) in [
        (&SHOPS.worn, Measure::Current, "contact-tip-wear", 7),
        (&SHOPS.sinking, Measure::Gas, "gas-leak", 10),
    ] {
        let after: Vec<usize> = trends.iter().map(|trend| named_after(trend, measure)).collect();
        println!("{cause}: named after so many joints: {after:?}");
        assert!(after.iter().all(|&after| after <= joints), "{cause}: {after:?}");
        for trend in trends {
            let told = report::trend::text(trend, Some(&PROCEDURE), UnitSystem::Metric);
            assert!(!trend.is_outside(), "{told}");
            let mut causes = trend.causes.iter().map(|likely| likely.cause.name);
            assert!(causes.find(|name| *name != "bottle-running-out") == Some(cause), "{told}");
        }
    }
}

#[test]
fn records_are_put_in_order_of_time() {
    let mut shuffled = WEARING.records.clone();
    shuffled.reverse();
    assert_eq!(charted(shuffled), *WEARING);
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
    program::run_in(folder, &[&["trend"], arguments].concat())
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
    // Of such histories one in a hundred would show a drift by chance; this one does not.
    let mut noise = Noise::new(7, 1);
    let still: Vec<f64> = (0..40).map(|_| 17.0 + 0.2 * noise.normal()).collect();
    write("steady.json", &|index| still[index]);
    write("falling.json", &|index| still[index] - 0.05 * index.saturating_sub(20) as f64);

    let steady = run(&["steady.json"], folder.path());
    let told = String::from_utf8_lossy(&steady.stdout).into_owned();
    assert_eq!(steady.status.code(), Some(0), "{told}");
    assert!(told.contains("STEADY"), "{told}");
    // A wire feed worked out from the current is none that was measured.
    assert!(!told.contains("wire feed"), "{told}");

    let procedure = data("procedures/quick-joint.toml").display().to_string();
    let arguments =
        ["falling.json", "--procedure", &procedure, "--json", "--report", "t.html", "--table", "t.pq"];
    let falling = run(&arguments, folder.path());
    assert_eq!(falling.status.code(), Some(1), "{}", String::from_utf8_lossy(&falling.stderr));
    let told: Value = serde_json::from_slice(&falling.stdout).expect("JSON");
    assert_eq!(told["causes"][0]["cause"], "bottle-running-out");
    assert_eq!(told["causes"][1]["cause"], "gas-leak");
    assert_eq!(told["within_procedure"], true);
    let gas =
        told["quantities"].as_array().expect("quantities").iter().find(|one| one["quantity"] == "gas_lpm");
    assert_eq!(gas.expect("gas")["capability"]["joints"], 40);
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

fn between<'t>(text: &'t str, from: &str, to: &str) -> &'t str {
    let rest = &text[text.find(from).unwrap_or_else(|| panic!("no {from}")) + from.len()..];
    &rest[..rest.find(to).unwrap_or_else(|| panic!("no {to} after {from}"))]
}

/// WCAG 2.2, success criteria 1.1.1, 1.3.1, 1.4.1 and 2.4.6 (from memory), as far as text shows them.
#[test]
fn a_screen_reader_finds_its_way_on_the_page() {
    let page = report::page::trend::page(&WEARING, Some(&PROCEDURE), UnitSystem::Metric);
    let body = &page[page.find("<body>").expect("a body")..];
    assert!(page.contains("<html lang=\"en\">"));
    for picture in body.split("<svg").skip(1).map(|rest| between(rest, "", ">")) {
        let is_told = picture.contains("role=\"img\"") && between(picture, "aria-label=\"", "\"").len() > 40;
        assert!(is_told || picture.contains("aria-hidden=\"true\""), "{picture}");
    }
    for table in body.split("<table").skip(1).map(|rest| between(rest, "", "</table>")) {
        assert!(table.contains("<caption>") && table.contains("<th scope=\"col\">"), "{table}");
    }
    let levels: Vec<u32> =
        body.match_indices("<h").filter_map(|(at, _)| body[at + 2..].chars().next()?.to_digit(10)).collect();
    assert!(levels.first() == Some(&1) && levels.windows(2).all(|pair| pair[1] <= pair[0] + 1), "{levels:?}");
    // What drifts is told by words and by shape, not by colour alone.
    let current = between(body, "<figcaption><strong>mean current</strong>", "</figure>");
    assert!(current.starts_with(": FALLING"), "{current}");
    let series = WEARING.series.iter().find(|series| series.measure == Measure::Current).expect("watched");
    // Squares are the joints at which both charts signal and that are not set aside; the drift is called once
    // it is clear as well.
    let is_both = |charted: &Charted| {
        charted.ewma_signal.is_some() && charted.ewma_signal == charted.cusum_signal && !charted.is_set_aside
    };
    let both = series.points.iter().filter(|point| point.charted.as_ref().is_some_and(is_both)).count();
    assert!(both >= series.points.len() - series.drifting().expect("it drifts").signal);
    assert_eq!(current.matches("<rect class=\"both\"").count(), both);
    assert_eq!(current.matches("<circle").count() + current.matches("<rect").count(), JOINTS);
}
