//! The layout file: what is where in a log that another program wrote, as a technician writes it.
//!
//! Decides: what the tables of a layout file mean.
//! Assumes: nothing; whatever is wrong in the file is told, all of it.
//! Never: opens the log.

use super::diagnostic::{InputError, InputErrors};
use super::document::{Document, Located, Place, Section};
use super::joint_field::JointField;
use super::layout::{
    ChannelColumn, Clock, ClockColumn, ColumnName, CsvDialect, Layout, RowOrder, TimeSource, UnitBy,
};
use super::layout_channel::read_channel;
use super::quantity::Dimension;
use super::source::Source;
use crate::input::text_file;
use crate::output::named;
use anyhow::Context as _;
use bandward::Channel;
use jiff::Timestamp;
use std::path::Path;

const TIME_FORMS: &str = "one of `time` (with or without `date`), `seconds`, `epoch`, `elapsed`, `interval`";
const DEFAULT_TIME_FORMAT: &str = "%H:%M:%S%.f";

/// Where tables that can contradict each other stand.
struct Tables {
    csv: Place,
    channels: Place,
}

impl Layout {
    /// Reads a file.
    ///
    /// # Errors
    /// The file cannot be read, or [`InputErrors`].
    pub fn read(path: &Path) -> anyhow::Result<Self> {
        let name = named(path);
        let text = text_file::read(path).with_context(|| format!("cannot read layout {name}"))?;
        Ok(Self::parse(&name, &text)?)
    }
    /// Reads the text of a file; `file` is its name in messages.
    ///
    /// # Errors
    /// All faults in the text.
    pub fn parse(file: &str, text: &str) -> Result<Self, InputErrors> {
        let source = Source::new(file, text);
        let document = Document::new(&source);
        let root = document.root();
        root.require("time", "a table that says how time is written");
        root.require("channels", "a table that says which column is which channel");
        let (time, gap_tolerance_s) = read_time(root.section("time"));
        let (cells, channels) = (root.section("csv"), root.section("channels"));
        let places = Tables { csv: cells.place().clone(), channels: channels.place().clone() };
        let channels = read_channels(channels);
        let missing = read_missing(&cells);
        let csv = read_dialect(cells);
        let joint = read_joint(root.section("joint"));
        root.finish();
        document.finish()?;
        // Without a time there was a fault.
        let time = time.unwrap_or(TimeSource::Interval(1.0));
        let layout = Self { time, gap_tolerance_s, csv, channels, joint, missing };
        match layout.contradiction(&places) {
            Some((place, problem, allowed)) => {
                let fault = InputError::in_text(file, text, place.span.clone(), &place.field);
                Err(fault.problem(problem).allowed(allowed).into())
            }
            None => Ok(layout),
        }
    }
    /// What a table says that another makes impossible: where, the problem, and what is allowed.
    fn contradiction<'p>(&self, places: &'p Tables) -> Option<(&'p Place, String, &'static str)> {
        let named = self.columns().into_iter().find(|column| matches!(column, ColumnName::Named(_)));
        if let Some(name) = named.filter(|_| !self.csv.has_header) {
            let problem = format!("column `{name}` has a name, but csv.header says that the log has none");
            return Some((&places.csv, problem, "the number of the column, from 1, without quotes"));
        }
        let by_row = self.channels.iter().flatten().find(|channel| channel.unit_by == UnitBy::UnitsRow);
        if let Some(channel) = by_row.filter(|_| !self.csv.has_units_row) {
            let problem = format!(
                "the unit of `{}` is read from a units row, which the log does not have",
                channel.column
            );
            let allowed = "[csv] units_row = true where there is one below the header";
            return Some((&places.channels, problem, allowed));
        }
        if self.csv.has_units_row && !self.csv.has_header {
            let problem = "a units row without a header row".to_owned();
            return Some((&places.csv, problem, "[csv] skip_rows = 1 passes over it"));
        }
        None
    }
}

/// How time is written, and the longest spacing that is no gap.
fn read_time(section: Section<'_>) -> (Option<TimeSource>, Option<f64>) {
    let gap_tolerance = positive_time(&section, "gap_tolerance");
    let clock = read_clock(&section);
    let seconds = column(&section, "seconds").map(|column| (column, 1.0));
    let units = [("s", 1.0), ("ms", 1e-3), ("us", 1e-6), ("min", 60.0), ("h", 3600.0)];
    let unit = section.choice("unit", &units).map_or(1.0, |unit| unit.value);
    let epoch = column(&section, "epoch").map(|column| (column, unit));
    let count = |(column, seconds_per_count)| TimeSource::Count { column, seconds_per_count };
    if section.has("unit") {
        section.require("epoch", "the name of the column that `unit` is about");
    }
    let elapsed = column(&section, "elapsed").map(TimeSource::Elapsed);
    let interval = positive_time(&section, "interval").map(TimeSource::Interval);
    let forms = ["time", "seconds", "epoch", "elapsed", "interval"]
        .into_iter()
        .filter(|key| section.has(key))
        .count();
    if section.is_present() && forms != 1 {
        let problem =
            if forms == 0 { "time is not written in any way" } else { "time is written in several ways" };
        section.fault(section.place(), problem, TIME_FORMS);
    }
    section.finish();
    (clock.or(seconds.map(count)).or(epoch.map(count)).or(elapsed).or(interval), gap_tolerance)
}

fn read_clock(section: &Section<'_>) -> Option<TimeSource> {
    let date = column(section, "date");
    let date_format = section.text("date_format");
    if section.has("date") {
        section.require("date_format", "a format such as \"%d.%m.%Y\" or \"%m/%d/%Y\"");
    }
    if section.has("date_format") {
        section.require("date", "the name of the date column");
    }
    let time = column(section, "time");
    let time_format = section.text("time_format");
    let format = |written: &Option<Located<String>>| written.as_ref().map(|format| format.value.clone());
    let clock = Clock {
        date: date.zip(format(&date_format)).map(|(column, format)| ClockColumn { column, format }),
        time: ClockColumn {
            column: time?,
            format: format(&time_format).unwrap_or_else(|| DEFAULT_TIME_FORMAT.to_owned()),
        },
    };
    check_formats(section, &clock, [date_format, time_format]);
    Some(TimeSource::Clock(clock))
}

/// A format is sound if what is written with it reads back as the same day or second.
fn check_formats(section: &Section<'_>, clock: &Clock, written: [Option<Located<String>>; 2]) {
    let [date_format, time_format] = written;
    let day =
        clock.date.as_ref().map(|date| ClockColumn { format: format!("{} %H", date.format), ..date.clone() });
    let tells_day = day.is_none_or(|day| {
        read_back(&day).is_some_and(|micros| micros.div_euclid(DAY_US) == PROBE_US.div_euclid(DAY_US))
    });
    let tells_second =
        read_back(&clock.time).is_some_and(|micros| micros.rem_euclid(DAY_US) == PROBE_US.rem_euclid(DAY_US));
    for (format, is_sound, what) in [(date_format, tells_day, "day"), (time_format, tells_second, "second")] {
        if let Some(format) = format.filter(|_| !is_sound) {
            let problem = format!("`{}` does not tell the {what}", format.value);
            section.fault(
                &format.place,
                problem,
                "codes as in strftime, such as \"%d.%m.%Y\" and \"%H:%M:%S%.f\"",
            );
        }
    }
}

/// 2001-09-08 13:46:40, a moment whose parts all differ, in microseconds since 1970.
const PROBE_US: i64 = 999_956_800_000_000;
const DAY_US: i64 = 86_400_000_000;

/// The probe, written in the format of a column and read again.
fn read_back(column: &ClockColumn) -> Option<i64> {
    let probe = Timestamp::from_microsecond(PROBE_US).ok()?;
    let cell = jiff::fmt::strtime::format(&column.format, probe).ok()?;
    Clock { date: None, time: column.clone() }.reading(None, &cell).ok().map(|reading| reading.utc_us)
}

fn column(section: &Section<'_>, key: &'static str) -> Option<ColumnName> {
    section.column(key).map(|column| column.value)
}

/// Microseconds are the finest the core tells apart.
fn positive_time(section: &Section<'_>, key: &'static str) -> Option<f64> {
    let time = section.quantity_within(key, Dimension::Duration, 1e-6..=86_400.0, "1 us to 24 h")?;
    Some(time.value)
}

/// Columns with words in them: `serial = "Joint no"`.
fn read_joint(section: Section<'_>) -> Vec<(JointField, ColumnName)> {
    let named = JointField::ALL.into_iter().filter_map(|field| Some((field, column(&section, field.key())?)));
    let named = named.collect();
    section.finish();
    named
}

fn read_channels(section: Section<'_>) -> [Option<ChannelColumn>; Channel::COUNT] {
    let mut taken: Vec<(ColumnName, Channel)> = Vec::new();
    let channels = Channel::ALL.map(|channel| {
        let inner = section.section(channel.name());
        if !inner.is_present() {
            return None;
        }
        let place = inner.place().clone();
        let read = read_channel(inner, channel)?;
        if let Some((_, other)) = taken.iter().find(|(column, _)| *column == read.column) {
            let problem = format!("column `{}` is `{}` already", read.column, other.name());
            section.fault(&place, problem, "a column of its own for each channel");
        }
        taken.push((read.column.clone(), channel));
        Some(read)
    });
    if section.is_bare() {
        let names = Channel::ALL.map(Channel::name);
        section.fault(
            section.place(),
            "no channel is named",
            format!("at least one of {}", names.join(", ")),
        );
    }
    section.finish();
    channels
}

fn read_dialect(section: Section<'_>) -> CsvDialect {
    let delimiters = [(",", b','), (";", b';'), ("\t", b'\t'), ("|", b'|'), ("tab", b'\t')];
    let decimal_comma = section.flag("decimal_comma").is_some_and(|comma| comma.value);
    let delimiter = section.choice("delimiter", &delimiters);
    if let Some(delimiter) = &delimiter
        && decimal_comma
        && delimiter.value == b','
    {
        section.fault(&delimiter.place, "a comma cannot part both cells and decimals", "; or tab");
    }
    let skip_rows = section.whole("skip_rows", 0..10_001).map_or(0, |rows| rows.value as usize);
    let header = section.flag("header");
    let units_row = section.flag("units_row");
    let order = section
        .choice("order", &[("oldest first", RowOrder::OldestFirst), ("newest first", RowOrder::NewestFirst)]);
    section.finish();
    let default = if decimal_comma { b';' } else { b',' };
    CsvDialect {
        delimiter: delimiter.map_or(default, |delimiter| delimiter.value),
        decimal_comma,
        skip_rows,
        has_header: header.is_none_or(|header| header.value),
        has_units_row: units_row.is_some_and(|row| row.value),
        order: order.map_or(RowOrder::OldestFirst, |order| order.value),
    }
}

/// Cells that stand for a missing reading.
fn read_missing(section: &Section<'_>) -> Vec<String> {
    let marks = section.texts("missing").unwrap_or_default();
    if let Some(mark) = marks.iter().find(|mark| mark.value.trim().is_empty()) {
        section.fault(
            &mark.place,
            "an empty cell is a missing reading anyway",
            "marks such as \"#N/A\", \"---\"",
        );
    }
    marks.into_iter().map(|mark| mark.value.trim().to_owned()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use bandward::procedure::{Range, Rotation};

    fn layout(text: &str) -> Layout {
        Layout::parse("x", text).unwrap_or_else(|errors| panic!("{errors}"))
    }

    #[test]
    fn the_published_table_is_laid_out() {
        let layout = layout(include_str!("../../demo/layout-robotic-welder.toml"));
        assert_eq!(layout.time, TimeSource::Interval(5.0));
        let columns: Vec<_> = layout.columns().into_iter().map(ToString::to_string).collect();
        assert_eq!(columns, ["Current", "Voltage", "GasFlow", "FeedSpeed"]);
        let value = |channel, cell| layout.channel(channel).expect("named").value(cell);
        // 1 in = 25.4 mm and 1 ft = 0.3048 m, international yard and pound agreement, 1959.
        assert!((value(Channel::Wire, 300.0) - 7620.0).abs() < 1e-9);
        assert!((value(Channel::Gas, 35.0) - 16.518_160_512).abs() < 1e-9);
    }

    #[test]
    fn every_way_to_write_time() {
        let time = |lines: &str| {
            let channels = "[channels]\ncurrent = { column = \" I \", unit = \"A\" }\n";
            layout(&format!("{channels}[time]\n{lines}")).time
        };
        let count = |seconds_per_count| TimeSource::Count { column: "t".into(), seconds_per_count };
        assert_eq!(time("seconds = \"t \""), count(1.0));
        assert_eq!(time("epoch = \"t\""), count(1.0));
        assert_eq!(time("epoch = \"t\"\nunit = \"ms\""), count(1e-3));
        assert_eq!(time("interval = \"20 ms\""), TimeSource::Interval(0.02));
        let column =
            |column: &str, format: &str| ClockColumn { column: column.into(), format: format.to_owned() };
        let both =
            "date = \"Date\"\ntime = \"Time\"\ndate_format = \"%m/%d/%Y\"\ntime_format = \"%H:%M:%S%.f\"";
        let clock = Clock { date: Some(column("Date", "%m/%d/%Y")), time: column("Time", "%H:%M:%S%.f") };
        assert_eq!(time(both), TimeSource::Clock(clock));
        let together = "time = \"Stamp\"\ntime_format = \"%Y-%m-%dT%H:%M:%S%.f\"";
        let clock = Clock { date: None, time: column("Stamp", "%Y-%m-%dT%H:%M:%S%.f") };
        assert_eq!(time(together), TimeSource::Clock(clock));
    }

    #[test]
    fn cells_become_readings() {
        let text = "[time]\nseconds = \"t\"\ngap_tolerance = \"2 s\"\n\
                    [csv]\ndecimal_comma = true\nskip_rows = 3\n[channels]\n\
                    current = { column = \"I\", unit = \"kA\", scale = -1, offset = 0.5 }\n\
                    spindle = { column = \"angle\", unit = \"count\", counts_per_turn = 4096 }\n\
                    work = { column = \"T\", unit = \"degF\" }\n";
        let layout = layout(text);
        let value = |channel, cell| layout.channel(channel).expect("named").value(cell);
        assert!((value(Channel::Current, 0.2) - 300.0).abs() < 1e-9);
        assert!((value(Channel::Spindle, 1024.0) - 90.0).abs() < 1e-9);
        assert!((value(Channel::Work, 212.0) - 100.0).abs() < 1e-9);
        assert_eq!(
            layout.csv,
            CsvDialect { delimiter: b';', decimal_comma: true, skip_rows: 3, ..CsvDialect::default() }
        );
        assert_eq!(layout.gap_tolerance_s, Some(2.0));
        assert_eq!(layout.channel(Channel::Torch), None);
    }

    #[test]
    fn what_belongs_to_the_machine_is_kept() {
        let text = "[time]\nseconds = \"t\"\n[channels]\n\
                    current = { column = \"I\", unit = \"A\", range = [\"0 A\", \"600 A\"] }\n\
                    spindle = { column = \"s\", unit = \"count\", counts_per_turn = 1024, gear_ratio = 2.5, \
                    wraps_at = 65536, grows = \"counter-clockwise\" }\n";
        let layout = layout(text);
        let usual = bandward::Acquisition::every(20_000, bandward::sample::ChannelSet::ALL);
        let ranges = layout.sensor_ranges(usual);
        assert_eq!(ranges[Channel::Current as usize], Range { low: 0, high: 600 << 12 });
        assert_eq!(ranges[Channel::Gas as usize], usual.sensor_range(Channel::Gas));
        // 1024 x 2.5 counts in one turn of the joint; half of it is 180 degrees.
        assert_eq!(layout.spindle_counts(), Some(2560));
        let half = layout.channel(Channel::Spindle).expect("named").value(1280.0);
        assert!((half - 180.0).abs() < 1e-9, "{half}");
        assert_eq!(layout.spindle_sense(), Some(Rotation::CounterClockwise));
    }
}
