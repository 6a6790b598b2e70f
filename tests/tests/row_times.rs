//! Logs whose clock is set, stands or goes to and fro, and speeds of few digits: what was not judged is not proven. A made
//! joint, written as a shop's logger would.

use bandward_tests::made;
use bandward_tests::program::run_in;
use tempfile::TempDir;

struct Made {
    folder: TempDir,
    names: Vec<String>,
    rows: Vec<Vec<f64>>,
}

const LAYOUT: &str = "[channels]\ncurrent = { column = \"current_a\", unit = \"A\" }\n\
     voltage = { column = \"voltage_v\", unit = \"V\" }\ngas = { column = \"gas_lpm\", unit = \"L/min\" }\n\
     torch = { column = \"torch_mm\", unit = \"mm\" }\nwire = { column = \"wire_mm_per_min\", unit = \"mm/min\" }\n\
     coolant = { column = \"coolant_lpm\", unit = \"L/min\" }\nwork = { column = \"work_c\", unit = \"degC\" }\n\
     carriage = { column = \"carriage_mm\", unit = \"mm\" }\n";
const ANGLE: &str = "spindle = { column = \"spindle_deg\", unit = \"deg\" }\n";

/// A sound joint of three bands, its rows as numbers.
fn made() -> Made {
    let folder = tempfile::tempdir().unwrap();
    let text = made::sound_demo(folder.path());
    let mut lines = text.lines().map(|line| line.split(','));
    let names = lines.next().unwrap().map(str::to_owned).collect();
    let rows = lines.map(|line| line.map(|cell| cell.parse().unwrap_or(f64::NAN)).collect()).collect();
    Made { folder, names, rows }
}

impl Made {
    fn at(&self, name: &str) -> usize {
        self.names.iter().position(|own| own == name).unwrap()
    }
    /// What a log of these rows comes to; the first cell of each is its time as it is written.
    fn replay(&self, layout: &str, rows: impl Iterator<Item = (String, Vec<f64>)>) -> (i32, String) {
        let mut log = self.names.join(",") + "\n";
        for (time, row) in rows {
            let cells: Vec<_> = std::iter::once(time).chain(row[1..].iter().map(f64::to_string)).collect();
            log += &(cells.join(",") + "\n");
        }
        std::fs::write(self.folder.path().join("log.csv"), log).unwrap();
        std::fs::write(self.folder.path().join("log.toml"), layout).unwrap();
        let arguments = ["replay", "--procedure", "procedure.toml", "--layout", "log.toml", "log.csv"];
        let run = run_in(self.folder.path(), &arguments);
        let told = [run.stdout, run.stderr].map(|text| String::from_utf8_lossy(&text).into_owned()).concat();
        (run.status.code().unwrap(), told)
    }
    /// The joint, and the same again with too little current, two minutes later.
    fn two_joints(&self) -> Vec<(f64, Vec<f64>)> {
        let end_s = self.rows.last().unwrap()[0] + 120.0;
        let current = self.at("current_a");
        let bad = self.rows.iter().map(|row| {
            let mut row = row.clone();
            row[current] *= 240.0 / 280.0;
            (end_s + row[0], row)
        });
        self.rows.iter().map(|row| (row[0], row.clone())).chain(bad).collect()
    }
}

/// Seconds as a time of day.
fn of_day(seconds: f64) -> String {
    let whole = seconds as u64;
    format!("{:02}:{:02}:{:09.6}", whole / 3600, whole / 60 % 60, seconds - (whole / 60 * 60) as f64)
}

/// Daylight saving time ends, a controller is reset, or a clock is set by the network: between two joints.
#[test]
fn a_clock_that_is_set_back_between_joints_loses_none() {
    let made = made();
    let second_s = made.rows.last().unwrap()[0] + 60.0;
    let layout = format!("[time]\ntime = \"time_s\"\ntime_format = \"%H:%M:%S%.f\"\n{LAYOUT}{ANGLE}");
    for back_s in [0.0, 30.0, 600.0, 3600.0] {
        let rows = made.two_joints().into_iter().map(|(time_s, row)| {
            let shown_s = 7200.0 + time_s - if time_s > second_s { back_s } else { 0.0 };
            (of_day(shown_s), row)
        });
        let (code, told) = made.replay(&layout, rows);
        assert_eq!(code, 1, "{back_s} s: {told}");
        assert_eq!(told.contains("the time jumps back"), back_s > 120.0, "{back_s} s: {told}");
        assert!(!told.contains("were out of order in time"), "{back_s} s: {told}");
    }
}

/// Rows from the past under an arc, and a clock that stands under one: never green, whatever else was judged.
#[test]
fn rows_with_an_arc_that_are_not_judged_cost_the_proof() {
    let made = made();
    let layout = format!("[time]\nseconds = \"time_s\"\n{LAYOUT}{ANGLE}");
    let of = |time: &dyn Fn(usize, f64) -> f64| {
        let rows = made.rows.iter().enumerate();
        made.replay(&layout, rows.map(|(at, row)| (format!("{:.6}", time(at, row[0])), row.clone())))
    };
    assert_eq!(of(&|_, time_s| time_s).0, 0, "the joint is sound");
    // Two loggers in one file, one of them an hour behind: every fourth row.
    let (code, told) = of(&|at, time_s| if at % 4 == 0 { time_s } else { 3600.0 + time_s });
    assert_ne!(code, 0, "{told}");
    assert!(told.contains("out of order in time and not judged"), "{told}");
    // Three rows in the second band, which burns from 110 s to 199 s.
    let past = made.rows.iter().position(|row| row[0] >= 150.0).unwrap();
    let (code, told) = of(&|at, time_s| if (past..past + 3).contains(&at) { time_s - 20.0 } else { time_s });
    assert_ne!(code, 0, "{told}");
    assert!(told.contains("3 of 15644 rows") && told.contains("an arc may burn"), "{told}");
    // The clock stands from the second band on, and goes on from there when all is over.
    let (code, told) = of(&|_, time_s| if time_s < 105.0 { time_s } else { 105.0_f64.max(time_s - 300.0) });
    assert_ne!(code, 0, "{told}");
    assert!(told.contains("the time stands still for"), "{told}");
}

/// The same where stamps are whole seconds, which are spread over their rows, and where the newest row stands first though
/// the layout does not say so.
#[test]
fn nor_is_anything_green_by_stamps_that_stand_or_run_backward() {
    let made = made();
    let layout = format!("[time]\nseconds = \"time_s\"\n{LAYOUT}{ANGLE}");
    let rows = || made.rows.iter().cloned();
    let (code, told) =
        made.replay(&layout, rows().map(|row| ((row[0] + 1.0).floor().min(150.0).to_string(), row)));
    assert_ne!(code, 0, "{told}");
    assert!(told.contains("the time stands still for"), "{told}");
    let (code, told) = made.replay(&layout, rows().rev().map(|row| (row[0].to_string(), row)));
    assert_ne!(code, 0, "{told}");
}

/// A turn of 84 s is 0.714 rpm: to a tenth 0.7 within 7 %, to a thousandth within 0.07 %. The procedure allows 78
/// to 90 s.
#[test]
fn a_speed_of_few_digits_proves_no_turn_time_near_its_limit() {
    let made = made();
    let path = made.folder.path().join("procedure.toml");
    let procedure = std::fs::read_to_string(&path).unwrap();
    let (head, tail) = procedure.split_once("[overlap]").expect("it limits the overlap");
    let rest = tail.split_once("\n[").map_or(String::new(), |(_, rest)| format!("[{rest}"));
    std::fs::write(&path, format!("{head}{rest}")).unwrap();
    let angle = made.at("spindle_deg");
    let turns_at = |at: usize| {
        let mut way =
            made.rows[(at + 25).min(made.rows.len() - 1)][angle] - made.rows[at.saturating_sub(25)][angle];
        way -= (way / 360.0).round() * 360.0;
        let span = (at + 25).min(made.rows.len() - 1) - at.saturating_sub(25);
        way / (span as f64 * (made.rows[1][0] - made.rows[0][0])) / 6.0
    };
    let speeds: Vec<f64> = (0..made.rows.len()).map(turns_at).collect();
    let layout = format!(
        "[time]\nseconds = \"time_s\"\n{LAYOUT}spindle = {{ column = \"spindle_deg\", unit = \"rpm\" }}\n"
    );
    for (digits, proven) in [(4, true), (3, true), (1, false), (0, false)] {
        let tens = 10_f64.powi(digits);
        let rows = made.rows.iter().zip(&speeds).map(|(row, speed)| {
            let mut row = row.clone();
            row[angle] = (speed * tens).round() / tens;
            (format!("{:.6}", row[0]), row)
        });
        let (code, told) = made.replay(&layout, rows);
        assert_eq!(code == 0, proven, "{digits} digits: {told}");
        if digits == 1 {
            assert!(
                told.contains("turn-time-slow") && told.contains("readings too coarse: spindle"),
                "{told}"
            );
        }
    }
}
