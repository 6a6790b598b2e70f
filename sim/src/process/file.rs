//! The scenario file: a joint to be made, as a person writes it.
//!
//! Decides: what the tables of a scenario file mean, and what stands where one is left out.
//! Assumes: nothing; whatever is wrong in the file is told, all of it.
//! Never: makes a trace.
//!
//! ```toml
//! [scenario]
//! name = "Chuck slip on the second band"
//! note = "invented"
//! procedure = "procedure.toml"       # beside this file; the good joint keeps it
//! seed = 7
//! sample_rate = "50 Hz"
//! jitter = "5 %"                     # of the spacing of rows
//! channels = ["current", "voltage"]  # all where left out
//! spindle = "wraps"                  # or "runs on"
//!
//! [joint]                            # where the joint is not set to the middle of the procedure
//! outside_diameter = "88.9 mm"
//! turn_time = "84 s"
//! sensor_ahead = "60 mm"             # where the thermometer looks: so far ahead of the torch, riding with it
//!
//! laying = "stepped"                 # bands under one arc; or "spiral", or "separate"
//!
//! [time]
//! lead_in = "3 s"
//! between_bands = "6 s"
//! lead_out = "3 s"                    # or an hour and more, to see the joint cool
//!
//! [cooling]                          # what it is put into after the last band; else it stays as it is
//! blanket = "25 mm"                  # of ceramic fibre around it
//! wind = "3 m/s"                     # across it
//!
//! [sensor.voltage]
//! noise = "0.1 V"                    # standard deviation
//! resolution = "0.01 V"
//! drift = "0.2 V"                    # an hour
//! hum = "0.1 V"                      # amplitude, at mains frequency
//! every = "1 s"                      # a slow instrument
//! between = "empty"                  # or "repeat": what its cells hold in between
//! dropout = "0.1 %"                  # of its readings are lost
//! pink = "0.1 V"                     # standard deviation of noise that falls with one over frequency
//! lag = "2 s"                        # time constant of a slow meter
//! ripple = "0.4 V"                   # amplitude of the rectifier's ripple
//! ripple_rate = "300.2 /s"           # drawn near six times the mains where left out
//! eccentricity = "0.3 deg"           # of [sensor.spindle] alone: amplitude once a turn
//!
//! [habits]                           # see `file_habits`
//! everyday = true
//!
//! [shift]                            # see `file_habits`
//! joints = 20
//!
//! [[fault]]
//! rule = "spindle-slip"              # or kind = "chuck-slip"; the rest may be left out
//! joint = 2                          # of a shift
//! band = 2
//! start = "30 s"                     # after the arc start; or from = "120 deg"
//! duration = "1.2 s"
//! size = "60 %"
//! channel = "voltage"                # for a fault of an instrument
//! ```

use super::file_fault::read_fault;
use super::file_habits::{is_everyday, read_habits, read_shift};
use super::file_set::set;
use super::joint::{Joint, Laying};
use super::scenario::Scenario;
use super::sensor::Sensor;
use super::targets::Targets;
use crate::heat::surroundings::Surroundings;
use crate::input::diagnostic::InputErrors;
use crate::input::document::{Document, Section, suggestion};
use crate::input::parts::Rotation;
use crate::input::procedure_file::ProcedureFile;
use crate::input::source::Source;
use crate::input::text_file;
use crate::input::unit::Dimension;
use crate::output::printable;
use crate::output::{named, reason};
use anyhow::Context as _;
use bandward::sample::ChannelSet;
use bandward::{Channel, Procedure};
use std::path::Path;

impl Scenario {
    /// Reads a scenario file; `seed` stands in for the one in the file.
    ///
    /// # Errors
    /// A file cannot be read, or [`InputErrors`] of the scenario or of its procedure.
    pub fn read(path: &Path, seed: Option<u64>) -> anyhow::Result<Self> {
        let name = named(path);
        let text = text_file::read(path).with_context(|| format!("cannot read scenario {name}"))?;
        let folder = path.parent().unwrap_or(Path::new(""));
        Self::parse(&name, &text, folder, seed)
    }
    /// Reads the text of a scenario file; `file` is its name in messages, `folder` where its procedure
    /// is looked for.
    ///
    /// # Errors
    /// [`InputErrors`] of the scenario, or of its procedure.
    pub fn parse(file: &str, text: &str, folder: &Path, seed: Option<u64>) -> anyhow::Result<Self> {
        let source = Source::new(file, text);
        let document = Document::new(&source);
        let root = document.root();
        let header = root.section("scenario");
        let targets = read_targets(&header, folder)?;
        let mut scenario = Self::good(targets, 50.0);
        let habits = root.section("habits");
        if is_everyday(&habits) {
            scenario = scenario.everyday();
        }
        read_habits(habits, &mut scenario.habits);
        read_header(header, &mut scenario);
        scenario.seed = seed.unwrap_or(scenario.seed);
        read_joint(root.section("joint"), &mut scenario);
        read_timing(root.section("time"), &mut scenario);
        read_cooling(root.section("cooling"), &mut scenario.joint);
        read_shift(root.section("shift"), scenario.joint.bands, &mut scenario.shift);
        let sensors = root.section("sensor");
        for channel in Channel::ALL {
            read_sensor(sensors.section(channel.name()), channel, &mut scenario.sensors[channel as usize]);
        }
        sensors.finish();
        for (index, section) in root.sections("fault").into_iter().enumerate() {
            let fault = read_fault(section, &scenario, scenario.seed.wrapping_add(index as u64));
            scenario.faults.extend(fault);
        }
        root.finish();
        document.finish()?;
        Ok(scenario)
    }
}

/// The procedure the good joint keeps; without one, common practice.
fn read_targets(header: &Section<'_>, folder: &Path) -> Result<Targets, InputErrors> {
    let Some(path) = header.text("procedure") else { return Ok(Targets::new(Procedure::new())) };
    let place = folder.join(&path.value);
    match text_file::read(&place) {
        Ok(text) => Ok(Targets::of_file(&ProcedureFile::parse(&named(&place), &text)?)),
        Err(error) => {
            let allowed = "the path of a procedure file, as seen from this file";
            header.fault(&path.place, format!("cannot be read: {}", reason(&error)), allowed);
            Ok(Targets::new(Procedure::new()))
        }
    }
}

fn read_header(section: Section<'_>, scenario: &mut Scenario) {
    section.require("name", "a text in quotes");
    if let Some(name) = section.text("name") {
        scenario.name = printable(&name.value).into_owned();
    }
    if let Some(note) = section.text("note") {
        scenario.note = printable(&note.value).into_owned();
    }
    if let Some(seed) = section.whole("seed", 0..i64::MAX) {
        scenario.seed = seed.value as u64;
    }
    set(&section, "sample_rate", Dimension::EventRate, 0.2..=50_000.0, &mut scenario.sample_rate_hz);
    set(&section, "jitter", Dimension::Share, 0.0..=0.45, &mut scenario.jitter);
    if let Some(wraps) = section.choice("spindle", &[("wraps", true), ("runs on", false)]) {
        scenario.spindle_wraps = wraps.value;
    }
    if let Some(names) = section.texts("channels") {
        scenario.channels = ChannelSet::EMPTY;
        for name in names {
            let channel = Channel::ALL.into_iter().find(|channel| channel.name() == name.value);
            let known = Channel::ALL.map(Channel::name);
            let problem = || format!("`{}` is no channel{}", name.value, suggestion(&name.value, &known));
            match channel {
                Some(channel) => scenario.channels = scenario.channels.with(channel),
                None => section.fault(&name.place, problem(), known.join(", ")),
            }
        }
    }
    section.finish();
}

fn read_joint(section: Section<'_>, scenario: &mut Scenario) {
    use Dimension as D;
    let joint = &mut scenario.joint;
    if let Some(bands) = section.whole("bands", 1..101) {
        joint.bands = bands.value as u16;
    }
    let rotations = [("clockwise", Rotation::Clockwise), ("counter-clockwise", Rotation::CounterClockwise)];
    if let Some(rotation) = section.choice("rotation", &rotations) {
        joint.clockwise = rotation.value == Rotation::Clockwise;
    }
    let layings = [("separate", Laying::Separate), ("stepped", Laying::Stepped), ("spiral", Laying::Spiral)];
    if let Some(laying) = section.choice("laying", &layings) {
        joint.laying = laying.value;
    }
    let mut feed = joint.wire_feed_mm_per_min.unwrap_or(f64::NAN);
    // What a machine of the trade could be: wide enough for all (common practice, no source).
    for (key, dimension, range, slot) in [
        ("outside_diameter", D::Length, 20.0..=1000.0, &mut joint.outside_diameter_mm),
        ("turn_time", D::Duration, 5.0..=3600.0, &mut joint.turn_time_s),
        ("overlap", D::Angle, 0.0..=360.0, &mut joint.overlap_deg),
        ("step_over", D::Length, 0.0..=500.0, &mut joint.step_over_mm),
        ("current", D::Current, 50.0..=1000.0, &mut joint.current_a),
        ("voltage", D::Voltage, 15.0..=60.0, &mut joint.voltage_v),
        ("wire_diameter", D::Length, 0.5..=5.0, &mut joint.wire_diameter_mm),
        ("wire_feed", D::WireSpeed, 500.0..=30_000.0, &mut feed),
        ("stick_out", D::Length, 5.0..=60.0, &mut joint.stick_out_mm),
        ("arc_length", D::Length, 1.0..=20.0, &mut joint.arc_length_mm),
        ("gas_flow", D::Flow, 0.0..=100.0, &mut joint.gas_lpm),
        ("gas_preflow", D::Duration, 0.5..=600.0, &mut joint.gas_preflow_s),
        ("gas_postflow", D::Duration, 0.0..=600.0, &mut joint.gas_postflow_s),
        ("coolant_flow", D::Flow, 0.0..=100.0, &mut joint.coolant_lpm),
        ("weave_rate", D::Rate, 0.0..=300.0, &mut joint.weave_per_min),
        ("weave_width", D::Length, 0.0..=200.0, &mut joint.weave_width_mm),
        ("weave_dwell", D::Share, 0.0..=0.4, &mut joint.weave_dwell),
        ("weave_backlash", D::Length, 0.0..=50.0, &mut joint.weave_backlash_mm),
        ("band_width", D::Length, 1.0..=500.0, &mut joint.band_width_mm),
        ("preheat", D::Temperature, -50.0..=1000.0, &mut joint.preheat_c),
        ("sensor_ahead", D::Length, -500.0..=500.0, &mut joint.sensor_ahead_mm),
        ("start_below", D::Temperature, -50.0..=1000.0, &mut joint.start_below_c),
        ("ambient", D::Temperature, -50.0..=100.0, &mut joint.ambient_c),
        ("runout", D::Length, 0.0..=10.0, &mut joint.runout_mm),
        ("unevenness", D::Share, 0.0..=0.5, &mut joint.unevenness),
        ("pool", D::Length, 0.0..=5.0, &mut joint.pool_mm),
    ] {
        set(&section, key, dimension, range, slot);
    }
    joint.wire_feed_mm_per_min = Some(feed).filter(|feed| feed.is_finite());
    section.finish();
}

fn read_timing(section: Section<'_>, scenario: &mut Scenario) {
    let timing = &mut scenario.timing;
    for (key, slot) in [
        ("lead_in", &mut timing.lead_in_s),
        ("between_bands", &mut timing.between_bands_s),
        ("lead_out", &mut timing.lead_out_s),
    ] {
        set(&section, key, Dimension::Duration, 0.0..=36_000.0, slot);
    }
    section.finish();
}

/// What the joint is put into after its last band.
fn read_cooling(section: Section<'_>, joint: &mut Joint) {
    let mut surroundings = Surroundings::still(joint.ambient_c);
    set(&section, "blanket", Dimension::Length, 0.0..=200.0, &mut surroundings.blanket_mm);
    set(&section, "wind", Dimension::WindSpeed, 0.0..=30.0, &mut surroundings.wind_m_per_s);
    joint.cools_in = section.is_present().then_some(surroundings);
    section.finish();
}

fn read_sensor(section: Section<'_>, channel: Channel, sensor: &mut Sensor) {
    let dimension = Dimension::of_channel(channel).of_differences();
    for (key, dimension, range, slot) in [
        ("noise", dimension, 0.0..=f64::INFINITY, &mut sensor.noise),
        ("resolution", dimension, 0.0..=f64::INFINITY, &mut sensor.resolution),
        ("drift", dimension, f64::NEG_INFINITY..=f64::INFINITY, &mut sensor.drift_per_hour),
        ("hum", dimension, 0.0..=f64::INFINITY, &mut sensor.hum),
        ("every", Dimension::Duration, 0.0..=3600.0, &mut sensor.every_s),
        ("dropout", Dimension::Share, 0.0..=1.0, &mut sensor.dropout),
        ("pink", dimension, 0.0..=f64::INFINITY, &mut sensor.pink),
        ("lag", Dimension::Duration, 0.0..=60.0, &mut sensor.lag_s),
        ("ripple", dimension, 0.0..=f64::INFINITY, &mut sensor.ripple),
        ("ripple_rate", Dimension::EventRate, 1.0..=10_000.0, &mut sensor.ripple_hz),
    ] {
        set(&section, key, dimension, range, slot);
    }
    // Only an encoder has a disc.
    if channel == Channel::Spindle {
        set(&section, "eccentricity", Dimension::Angle, 0.0..=5.0, &mut sensor.eccentricity_deg);
    }
    if let Some(hold) = section.choice("between", &[("empty", false), ("repeat", true)]) {
        sensor.hold = hold.value;
    }
    section.finish();
}
