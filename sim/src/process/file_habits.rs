//! Habits and shift of a scenario file.
//!
//! Decides: what their keys mean, and how far a habit may go before it is a fault.
//! Assumes: the joint of the scenario has been read.
//! Never: switches a habit on that nobody asked for.
//!
//! ```toml
//! [habits]
//! everyday = true              # all of them, and the instruments, as on an ordinary day; keys below
//!                              # change or switch off (0) single ones
//! restrikes = 3                # at most so many in the first second of a band, 40 to 80 ms each
//! tack_chance = "40 %"         # one or two short arcs before a band
//! tack_time = "1.5 s"          # the longest of them
//! crater_time = "2 s"          # the longest ramp at the end, past a full turn
//! crater_current = "60 %"      # what the ramp leaves of the current
//! crater_voltage = "92 %"      # and of the voltage
//! gas_surge = "60 %"           # most flow beyond the set one as the valve opens
//! gas_surge_time = "8 s"       # after which a twentieth of it is left
//! between_turning = "mixed"    # "stops", "faster", "back", or one of them for each band
//! spindle_late = "1 s"         # longest time from the arc to the spindle
//! spindle_early = "0.4 s"      # longest time from the spindle to the end of the arc
//! hand_current = "3 %"         # corrections by hand, either way, inside the range
//! hand_voltage = "1.5 %"
//! hand_turn_time = "1.5 %"
//! hand_every = "25 s"          # usual time between two of them
//! flame_chance = "30 %"        # of a flame before the pyrometer, for each band
//! flame_rise = "200 degC"      # most it shows above the work
//! flame_time = "4 s"           # longest
//! carriage_home = true         # after the joint
//!
//! [shift]
//! joints = 20
//! idle = "2 min"               # usual time between two joints; 0.7 to 1.3 of it are drawn
//! carriage = "home"            # where it waits: or "far", or "stays" where the last band was
//! far = "1.5 m"                # how far from home, for "far"
//!
//! [[shift.fewer]]              # a joint that is left unfinished
//! joint = 7
//! bands = 2
//! ```

use super::file_set::set;
use super::habit::{Between, Habits};
use super::shift::{Carriage, Shift};
use crate::input::document::Section;
use crate::input::unit::Dimension as D;

/// Is everything asked for that is done on an ordinary day?
pub(super) fn is_everyday(section: &Section<'_>) -> bool {
    section.flag("everyday").is_some_and(|everyday| everyday.value)
}

/// Reads the single habits and closes the table.
pub(super) fn read_habits(section: Section<'_>, habits: &mut Habits) {
    if let Some(restrikes) = section.whole("restrikes", 0..4) {
        habits.restrikes = restrikes.value as u16;
    }
    // A habit that goes further is a fault (common practice, no source).
    for (key, dimension, range, slot) in [
        ("tack_chance", D::Share, 0.0..=1.0, &mut habits.tack_chance),
        ("tack_time", D::Duration, 0.1..=3.0, &mut habits.tack_s),
        ("crater_time", D::Duration, 0.0..=10.0, &mut habits.crater_s),
        ("crater_current", D::Share, 0.3..=1.0, &mut habits.crater_current),
        ("crater_voltage", D::Share, 0.7..=1.0, &mut habits.crater_voltage),
        ("gas_surge", D::Share, 0.0..=3.0, &mut habits.gas_surge),
        ("gas_surge_time", D::Duration, 0.5..=60.0, &mut habits.gas_surge_s),
        ("spindle_late", D::Duration, 0.0..=1.0, &mut habits.spindle_late_s),
        ("spindle_early", D::Duration, 0.0..=1.0, &mut habits.spindle_early_s),
        ("hand_current", D::Share, 0.0..=0.2, &mut habits.hand_current),
        ("hand_voltage", D::Share, 0.0..=0.2, &mut habits.hand_voltage),
        ("hand_turn_time", D::Share, 0.0..=0.2, &mut habits.hand_turn_time),
        ("hand_every", D::Duration, 2.0..=3600.0, &mut habits.hand_every_s),
        ("flame_chance", D::Share, 0.0..=1.0, &mut habits.flame_chance),
        ("flame_rise", D::TemperatureDifference, 0.0..=1000.0, &mut habits.flame_rise_c),
        ("flame_time", D::Duration, 0.5..=60.0, &mut habits.flame_s),
    ] {
        set(&section, key, dimension, range, slot);
    }
    let ways = [
        ("stops", Between::Stops),
        ("faster", Between::Faster),
        ("back", Between::Back),
        ("mixed", Between::Mixed),
    ];
    if let Some(between) = section.choice("between_turning", &ways) {
        habits.between = between.value;
    }
    if let Some(home) = section.flag("carriage_home") {
        habits.carriage_home = home.value;
    }
    section.finish();
}

/// Reads the shift of joints with so many `bands` each, and closes the table.
pub(super) fn read_shift(section: Section<'_>, bands: u16, shift: &mut Shift) {
    if let Some(joints) = section.whole("joints", 1..1001) {
        shift.joints = joints.value as u16;
    }
    set(&section, "idle", D::Duration, 1.0..=36_000.0, &mut shift.idle_s);
    let mut far_mm = 1500.0;
    set(&section, "far", D::Length, 100.0..=20_000.0, &mut far_mm);
    let places = [("home", Carriage::Home), ("far", Carriage::Far(far_mm)), ("stays", Carriage::Stays)];
    if let Some(carriage) = section.choice("carriage", &places) {
        shift.carriage = carriage.value;
    }
    for fewer in section.sections("fewer") {
        fewer.require("joint", "the number of the joint in the shift, from 1");
        fewer.require("bands", "how many bands it gets");
        let joint = fewer.whole("joint", 1..i64::from(shift.joints) + 1);
        let left = fewer.whole("bands", 1..i64::from(bands) + 1);
        shift.fewer_bands.extend(joint.zip(left).map(|(j, b)| (j.value as u16, b.value as u16)));
        fewer.finish();
    }
    section.finish();
}
