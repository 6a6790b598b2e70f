//! A log as a logger in a shop might write it (invented): separate date and time, about 9 rows a
//! second at uneven spacing with gaps, across midnight, a blank behind a name in the header, rows a
//! cell short, open-circuit voltage and frozen values around the arc, no torch and no spindle.

use bandward::Channel;
use bandward_sim::input::layout::Layout;
use bandward_sim::trace::{self, Row};
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

/// The arc burns between these times, ms since the first row.
const ARC_MS: std::ops::Range<u32> = 21_000..93_000;
/// The log ends here, ms.
const END_MS: u32 = 125_000;
/// No row is written in these stretches, ms: one in the arc, one after it.
const GAPS_MS: [std::ops::Range<u32>; 2] = [60_000..62_400, 104_000..118_000];
/// 23:58:40.250, the time of the first row, ms of the day.
const START_MS: u32 = 86_320_250;

/// What one row of the log says, in its own units, as written.
struct LogRow {
    time_ms: u32,
    current_a: String,
    voltage_v: String,
    gas_ft3_per_h: String,
    /// The last cell but one is the feed; a short row ends before it.
    wire_in_per_min: Option<String>,
}

/// Numbers that look random and are the same on every machine (a linear congruential generator with
/// the multiplier of Knuth's MMIX).
struct Noise(u64);

impl Noise {
    /// The next, in -1000 to 1000.
    fn next(&mut self) -> i32 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as i32 % 1001 * if self.0 & (1 << 32) == 0 { 1 } else { -1 }
    }
}

/// Whole tenths as a decimal.
fn tenths(value: i32) -> String {
    format!("{}.{}", value / 10, value % 10)
}

fn made() -> Vec<LogRow> {
    let mut noise = Noise(20_260_317);
    let mut rows = Vec::new();
    let mut time_ms = 0;
    while time_ms < END_MS {
        let burns = ARC_MS.contains(&time_ms);
        let flows = (ARC_MS.start - 1500..ARC_MS.end + 6000).contains(&time_ms);
        // Idle, the logger shows what it read last: open circuit, no current, not a digit moving.
        let idle_voltage = if time_ms < ARC_MS.start { 618 } else { 587 };
        let is_short = rows.len() % 37 == 36;
        let [current, voltage, gas, wire] = std::array::from_fn(|_| noise.next());
        if !GAPS_MS.iter().any(|gap| gap.contains(&time_ms)) {
            rows.push(LogRow {
                time_ms,
                current_a: if burns { tenths(2520 + current / 8) } else { "0.4".into() },
                voltage_v: tenths(if burns { 286 + voltage / 100 } else { idle_voltage }),
                gas_ft3_per_h: tenths(if flows { 361 + gas / 200 } else { 0 }),
                wire_in_per_min: (!is_short).then(|| tenths(if burns { 2950 + wire / 50 } else { 0 })),
            });
        }
        time_ms += [64, 109, 110, 125, 141][noise.next().unsigned_abs() as usize % 5];
    }
    rows
}

fn text(rows: &[LogRow]) -> String {
    let mut text = String::from("Date,Time,Welding current ,Arc voltage,Gas,Wire feed,Remark (invented)\r\n");
    for (index, row) in rows.iter().enumerate() {
        let of_day = START_MS + row.time_ms;
        let date = if of_day < 86_400_000 { "03/17/2026" } else { "03/18/2026" };
        let [hours, minutes, seconds] = [of_day / 3_600_000 % 24, of_day / 60_000 % 60, of_day / 1000 % 60];
        let LogRow { current_a, voltage_v, gas_ft3_per_h, .. } = row;
        write!(text, "{date},{hours:02}:{minutes:02}:{seconds:02}.{:03}", of_day % 1000).unwrap();
        write!(text, ",{current_a},{voltage_v},{gas_ft3_per_h}").unwrap();
        if let Some(wire) = &row.wire_in_per_min {
            let remark = if index == 0 { "band 1, lot 7" } else { "" };
            let quote = if remark.is_empty() { "" } else { "\"" };
            write!(text, ",{wire},{quote}{remark}{quote}").unwrap();
        }
        text.push_str("\r\n");
    }
    text
}

fn data(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("data").join(name)
}

#[test]
fn the_shipped_log_is_the_one_made_here() {
    let shipped = std::fs::read_to_string(data("shop-logger.csv")).unwrap();
    assert!(shipped == text(&made()), "tests/data/shop-logger.csv differs from what is made here");
}

#[test]
fn it_is_read_as_it_was_made() {
    let layout = Layout::read(&data("shop-logger.toml")).unwrap();
    let mut reader = trace::open(&data("shop-logger.csv"), Some(&layout)).unwrap();
    let rows: Vec<Row> = reader.by_ref().collect::<Result<_, _>>().unwrap();
    let made = made();
    assert_eq!(rows.len(), made.len());
    // International yard and pound agreement, 1959: 1 in = 25.4 mm, 1 ft = 304.8 mm.
    let litres_per_ft3 = 3.048_f64.powi(3);
    for (row, made) in rows.iter().zip(&made) {
        let close = |channel, expected: f64| {
            let got = row.get(channel).unwrap();
            assert!((got - expected).abs() < 1e-9, "{channel:?} {got} {expected} at {}", made.time_ms);
        };
        assert_eq!(row.time_us, u64::from(made.time_ms) * 1000);
        close(Channel::Current, made.current_a.parse().unwrap());
        close(Channel::Voltage, made.voltage_v.parse().unwrap());
        close(Channel::Gas, made.gas_ft3_per_h.parse::<f64>().unwrap() * litres_per_ft3 / 60.0);
        match &made.wire_in_per_min {
            Some(wire) => close(Channel::Wire, wire.parse::<f64>().unwrap() * 25.4),
            None => assert_eq!(row.get(Channel::Wire), None),
        }
    }

    let header = reader.header();
    assert_eq!(header.start.as_deref(), Some("2026-03-17T23:58:40.25"));
    assert_eq!(header.unknown_columns, ["Remark (invented)"]);
    for channel in Channel::ALL {
        let is_there = [Channel::Current, Channel::Voltage, Channel::Gas, Channel::Wire].contains(&channel);
        assert_eq!(header.acquisition.channels.contains(channel), is_there, "{channel:?}");
    }
    // Spacings are 64 to 141 ms, 110 ms the middle one: the two stretches left out are gaps, nothing
    // else is.
    assert_eq!((header.acquisition.period_us, header.evenly_spaced), (110_000, false));
    let tolerance = u64::from(header.acquisition.gap_tolerance_us);
    let gaps = rows.windows(2).filter(|pair| pair[1].time_us - pair[0].time_us > tolerance).count();
    assert_eq!(gaps, GAPS_MS.len());
    let short = made.iter().filter(|row| row.wire_in_per_min.is_none()).count();
    assert!(reader.warnings()[1].contains(&format!(": {short} rows have fewer cells")));
}
