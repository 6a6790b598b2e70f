//! A made joint, written as a shop's logger would.

use crate::made;
use crate::program::run_in;
use tempfile::TempDir;

/// It, in a folder of its own.
pub struct Made {
    /// With the procedure beside it.
    pub folder: TempDir,
    /// Of the columns.
    pub names: Vec<String>,
    /// The time first.
    pub rows: Vec<Vec<f64>>,
}

/// Its columns but the angle.
pub const LAYOUT: &str = "[channels]\ncurrent = { column = \"current_a\", unit = \"A\" }\n\
     voltage = { column = \"voltage_v\", unit = \"V\" }\ngas = { column = \"gas_lpm\", unit = \"L/min\" }\n\
     torch = { column = \"torch_mm\", unit = \"mm\" }\nwire = { column = \"wire_mm_per_min\", unit = \"mm/min\" }\n\
     coolant = { column = \"coolant_lpm\", unit = \"L/min\" }\nwork = { column = \"work_c\", unit = \"degC\" }\n\
     carriage = { column = \"carriage_mm\", unit = \"mm\" }\n";
/// The column of the angle.
pub const ANGLE: &str = "spindle = { column = \"spindle_deg\", unit = \"deg\" }\n";

/// A sound joint of three bands, its rows as numbers.
///
/// # Panics
/// It cannot be made.
pub fn made() -> Made {
    let folder = tempfile::tempdir().expect("a folder");
    let text = made::sound_demo(folder.path());
    let mut lines = text.lines().map(|line| line.split(','));
    let names = lines.next().expect("a header").map(str::to_owned).collect();
    let rows = lines.map(|line| line.map(|cell| cell.parse().unwrap_or(f64::NAN)).collect()).collect();
    Made { folder, names, rows }
}

impl Made {
    /// The place of a column.
    ///
    /// # Panics
    /// There is none of the name.
    pub fn at(&self, name: &str) -> usize {
        self.names.iter().position(|own| own == name).expect("a column")
    }
    /// What a log of these rows comes to; the first cell of each is its time as it is written.
    ///
    /// # Panics
    /// The program cannot be run.
    pub fn replay(&self, layout: &str, rows: impl Iterator<Item = (String, Vec<f64>)>) -> (i32, String) {
        self.replay_headed(&self.names.join(","), layout, rows)
    }
    /// The same under another header: the first cell of a row may be several.
    ///
    /// # Panics
    /// As above.
    pub fn replay_headed(
        &self,
        head: &str,
        layout: &str,
        rows: impl Iterator<Item = (String, Vec<f64>)>,
    ) -> (i32, String) {
        let mut log = format!("{head}\n");
        for (time, row) in rows {
            let cells: Vec<_> = std::iter::once(time).chain(row[1..].iter().map(f64::to_string)).collect();
            log += &(cells.join(",") + "\n");
        }
        std::fs::write(self.folder.path().join("log.csv"), log).expect("written");
        std::fs::write(self.folder.path().join("log.toml"), layout).expect("written");
        let arguments = ["replay", "--procedure", "procedure.toml", "--layout", "log.toml", "log.csv"];
        let run = run_in(self.folder.path(), &arguments);
        let told = [run.stdout, run.stderr].map(|text| String::from_utf8_lossy(&text).into_owned()).concat();
        (run.status.code().expect("it ended"), told)
    }
    /// The joint, and the same again with too little current, two minutes later.
    ///
    /// # Panics
    /// There are no rows.
    pub fn two_joints(&self) -> Vec<(f64, Vec<f64>)> {
        let end_s = self.rows.last().expect("rows")[0] + 120.0;
        let current = self.at("current_a");
        let bad = self.rows.iter().map(|row| {
            let mut row = row.clone();
            row[current] *= 240.0 / 280.0;
            (end_s + row[0], row)
        });
        self.rows.iter().map(|row| (row[0], row.clone())).chain(bad).collect()
    }
}
