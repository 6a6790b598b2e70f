//! The published table of real welder readings, read with the layout shipped for it.

use bandward::Channel;
use bandward_sim::input::layout::Layout;
use bandward_sim::trace::{self, Row};
use std::path::Path;

/// Johnson and Wichern, Applied Multivariate Statistical Analysis, Table 5.9: the means are those of
/// the table in its own units (V, A, in/min, ft3/h), computed independently; 5 s interval from memory.
#[test]
fn the_means_of_the_published_table_come_out() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let layout = Layout::read(&root.join("../sim/demo/layout-robotic-welder.toml")).unwrap();
    let mut reader = trace::open(&root.join("data/robotic-welder-40-rows.csv"), Some(&layout)).unwrap();
    let rows: Vec<Row> = reader.by_ref().collect::<Result<_, _>>().unwrap();
    assert_eq!(rows.len(), 40);
    assert_eq!(rows[39].time_us, 39 * 5_000_000);
    let header = reader.header();
    assert_eq!((header.acquisition.period_us, header.evenly_spaced), (5_000_000, true));
    assert!(reader.warnings().is_empty());
    // 1 in = 25.4 mm, 1 ft3 = 28.316846592 L: international yard and pound agreement, 1959.
    for (channel, unit, mean) in [
        (Channel::Voltage, 1.0, 22.2875),
        (Channel::Current, 1.0, 272.575),
        (Channel::Wire, 25.4, 288.435),
        (Channel::Gas, 28.316_846_592 / 60.0, 51.975),
    ] {
        let values: Vec<f64> = rows.iter().map(|row| row.get(channel).unwrap() / unit).collect();
        let got = values.iter().sum::<f64>() / 40.0;
        assert!((got - mean).abs() < 1e-9, "{channel:?}: {got}, {mean} published");
    }
}
