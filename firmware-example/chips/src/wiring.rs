//! What is wired to the board, in numbers: `WIRING.md` says it in words, and a test holds the two against each other.
//!
//! Decides: what an input shows at its pin, and so what a count means. These are the values of the parts as they are
//! marked: every input is calibrated by two known readings before it is trusted.
//! Assumes: a converter of 12 bits whose reference is [`REFERENCE_UV`].

use crate::decimation::GAIN;
use crate::frames::PERIOD_US;
use bandward::link::hard_limits::HardLimits;
use bandward::procedure::{Range, Rotation};
use bandward::units::{Current, FlowRate, Length, Temperature, Voltage};
use bandward::{Acquisition, Channel, Quantity};
use bandward_firmware::acquisition::{
    Acquirer, CableDrop, Calibration, CalibrationError, Encoder, FlowMeter, Source, Wiring,
};
use bandward_firmware::board::Configuration;
use bandward_firmware::modbus::Settings;

/// The reference of the converter, µV.
pub const REFERENCE_UV: i64 = 3_300_000;
/// Counts of one conversion over the whole range.
pub const CONVERSION_COUNTS: i64 = 4096;
/// Where an input of both signs has its zero, µV.
pub const MIDDLE_UV: i64 = REFERENCE_UV / 2;

/// The divider before the isolating amplifier, ohm: three of 249 kilohm in a row, over 10 kilohm.
pub const DIVIDER_OHM: [i64; 2] = [3 * 249_000, 10_000];
/// What the isolating amplifier makes of its input: three quarters, around the middle.
pub const ISOLATOR: [i64; 2] = [3, 4];
/// What the voltage input shows, V either way.
pub const HIGHEST_VOLTS: i64 = 150;

/// Turns of the current transducer: its output is the current over these.
pub const TRANSDUCER_TURNS: i64 = 5000;
/// The resistor its output flows through, milliohm.
pub const BURDEN_MILLIOHM: i64 = 8200;
/// What the transducer shows, A either way.
pub const HIGHEST_AMPERES: i64 = 900;

/// The resistor of a current loop of 4 to 20 mA, ohm.
pub const LOOP_OHM: i64 = 150;
/// The flow at 20 mA, L/min; none at 4 mA.
pub const HIGHEST_GAS_L_MIN: i64 = 50;
/// The work's temperature at 20 mA, degrees Celsius; 0 at 4 mA.
pub const HIGHEST_WORK_C: i64 = 500;
/// The carriage's place at 20 mA, mm; 0 at 4 mA.
pub const HIGHEST_CARRIAGE_MM: i64 = 500;
/// A loop below the one is broken, above the other short or out of range, µA (from memory: NAMUR NE 43 has 3.6 and 21 mA).
pub const LOOP_ENDS_UA: [i64; 2] = [3_600, 21_000];

/// The potentiometer of the torch, ohm: the resistor at either end, and the track.
pub const TRACK_OHM: [i64; 2] = [270, 5000];
/// Its travel, mm.
pub const TRAVEL_MM: i64 = 100;

/// Counts of the encoder in a turn of the joint: 2500 lines, four counts a line.
pub const COUNTS_A_TURN: u32 = 10_000;
/// Wire a pulse of the measuring wheel, µm, and over how long pulses are counted, µs.
pub const WHEEL: (u32, u32) = (250, 500_000);
/// Pulses of the coolant meter a litre, and over how long they are counted, µs.
pub const COOLANT: (u32, u32) = (1000, 1_000_000);

/// How often channels are read, in samples: the arc's own, those that move, and those that are slow.
pub const EVERY: [u16; 3] = [1, 100, 1000];

/// In which of them a channel is read: no sample brings more than two slow ones, and its neighbours none.
const fn turn(channel: Channel) -> u16 {
    match channel {
        Channel::Current | Channel::Voltage => 0,
        Channel::Gas | Channel::Torch => 16,
        Channel::Spindle | Channel::Wire => 50,
        Channel::Coolant | Channel::Work => 83,
        Channel::Carriage => 183,
    }
}

/// The count of a whole sample at this voltage at the pin.
pub const fn count_at(pin_uv: i64) -> i32 {
    (pin_uv * CONVERSION_COUNTS * GAIN as i64 / REFERENCE_UV) as i32
}

/// What the voltage input shows at its pin, µV.
pub const fn volts_at_pin(millivolts: i64) -> i64 {
    let [upper, lower] = DIVIDER_OHM;
    let [times, over] = ISOLATOR;
    MIDDLE_UV + millivolts * 1000 * lower * times / ((upper + lower) * over)
}

/// What the current input shows at its pin, µV.
pub const fn amperes_at_pin(milliamperes: i64) -> i64 {
    MIDDLE_UV + milliamperes * BURDEN_MILLIOHM / TRANSDUCER_TURNS
}

/// What a loop shows at its pin, µV, at so many µA.
pub const fn loop_at_pin(microamperes: i64) -> i64 {
    microamperes * LOOP_OHM
}

/// What the torch's potentiometer shows at its pin, µV.
pub const fn torch_at_pin(micrometres: i64) -> i64 {
    let [end, track] = TRACK_OHM;
    let ohm_um = end * TRAVEL_MM * 1000 + track * micrometres;
    REFERENCE_UV * ohm_um / ((2 * end + track) * TRAVEL_MM * 1000)
}

/// A loop's reading at its two ends: nothing at 4 mA, `highest` at 20 mA.
const fn of_loop(highest: i32) -> Result<Calibration, CalibrationError> {
    Calibration::try_new((count_at(loop_at_pin(4_000)), 0), (count_at(loop_at_pin(20_000)), highest))
}

/// The same straight line beyond its ends: what the loop shows where it is railed.
const fn loop_range(highest: i32) -> Range {
    let [low, high] = LOOP_ENDS_UA;
    let reading = highest as i64;
    Range { low: (reading * (low - 4_000) / 16_000) as i32, high: (reading * (high - 4_000) / 16_000) as i32 }
}

/// Which analog inputs a board has, in the order in which its converter takes them.
pub const FOUR: [Channel; 4] = [Channel::Current, Channel::Voltage, Channel::Torch, Channel::Gas];
/// Those, and two more.
pub const SIX: [Channel; 6] =
    [Channel::Current, Channel::Voltage, Channel::Torch, Channel::Gas, Channel::Work, Channel::Carriage];

fn source(channel: Channel) -> Result<(Source, u16), CalibrationError> {
    let [arc, moving, slow] = EVERY;
    let line = |pin_uv: fn(i64) -> i64, milli: i64, raw: fn(i64) -> i32| {
        Calibration::try_new((count_at(pin_uv(-milli)), raw(-milli)), (count_at(pin_uv(milli)), raw(milli)))
    };
    Ok(match channel {
        Channel::Current => {
            let raw = |milli| Current::from_milli(milli).to_bits();
            (Source::Analog(line(amperes_at_pin, HIGHEST_AMPERES * 1000, raw)?), arc)
        }
        Channel::Voltage => {
            let raw = |milli| Voltage::from_milli(milli).to_bits();
            (Source::Analog(line(volts_at_pin, HIGHEST_VOLTS * 1000, raw)?), arc)
        }
        Channel::Torch => {
            let (low, high) = (0, TRAVEL_MM * 1000);
            let line = Calibration::try_new(
                (count_at(torch_at_pin(low)), Length::from_milli(low).to_bits()),
                (count_at(torch_at_pin(high)), Length::from_milli(high).to_bits()),
            )?;
            (Source::Analog(line), moving)
        }
        Channel::Gas => (Source::Analog(of_loop(gas_at_20_ma())?), moving),
        Channel::Work => (Source::Analog(of_loop(work_at_20_ma())?), slow),
        Channel::Carriage => (Source::Analog(of_loop(carriage_at_20_ma())?), slow),
        Channel::Spindle => (Source::Quadrature(Encoder::try_new(COUNTS_A_TURN)?), moving),
        // The speed is worked out in `wire.rs`: it comes in the units of the core.
        Channel::Wire => (Source::Analog(Calibration::try_new((0, 0), (1, 1))?), moving),
        Channel::Coolant => {
            let (pulses_a_litre, window_us) = COOLANT;
            (Source::Pulses(FlowMeter::try_new(pulses_a_litre, window_us)?), moving)
        }
    })
}

const fn gas_at_20_ma() -> i32 {
    FlowRate::from_milli(HIGHEST_GAS_L_MIN * 1000).to_bits()
}

const fn work_at_20_ma() -> i32 {
    Temperature::from_milli(HIGHEST_WORK_C * 1000).to_bits()
}

const fn carriage_at_20_ma() -> i32 {
    Length::from_milli(HIGHEST_CARRIAGE_MM * 1000).to_bits()
}

/// Is a channel wired on a board with these analog inputs? Counters are on every one.
fn is_wired(analog: &[Channel], channel: Channel) -> bool {
    analog.contains(&channel) || matches!(channel, Channel::Spindle | Channel::Wire | Channel::Coolant)
}

/// What makes the samples of a board with these analog inputs.
///
/// # Errors
/// A value above is none that can be used.
pub fn acquirer(analog: &[Channel]) -> Result<Acquirer, CalibrationError> {
    let mut wiring = [Wiring::NONE; Channel::COUNT];
    for (channel, slot) in Channel::ALL.into_iter().zip(&mut wiring) {
        if is_wired(analog, channel) {
            let (source, every) = source(channel)?;
            *slot = Wiring { source, every, turn: turn(channel) };
        }
    }
    // Measure it with a known current, and put it here.
    Ok(Acquirer::new(wiring, CableDrop::of_microohm(0)))
}

/// How the samples come, and what each sensor can show.
pub fn acquisition(analog: &[Channel]) -> Acquisition {
    let wired = Channel::ALL.into_iter().filter(|&channel| is_wired(analog, channel));
    let channels = wired.fold(bandward::sample::ChannelSet::EMPTY, bandward::sample::ChannelSet::with);
    let both = |bits: i32| Range { low: -bits, high: bits };
    let millimetre = Length::from_milli(1000).to_bits();
    let beyond =
        Range { low: -millimetre, high: Length::from_milli(TRAVEL_MM * 1000).to_bits() + millimetre };
    let mut acquisition = Acquisition::every(PERIOD_US, channels)
        .with_sensor_range(Channel::Current, both(Current::from_milli(HIGHEST_AMPERES * 1000).to_bits()))
        .with_sensor_range(Channel::Voltage, both(Voltage::from_milli(HIGHEST_VOLTS * 1000).to_bits()))
        .with_sensor_range(Channel::Torch, beyond)
        .with_sensor_range(Channel::Gas, loop_range(gas_at_20_ma()))
        .with_sensor_range(Channel::Work, loop_range(work_at_20_ma()))
        .with_sensor_range(Channel::Carriage, loop_range(carriage_at_20_ma()));
    acquisition.spindle_counts = Some(COUNTS_A_TURN);
    // Seen towards the chuck, while the encoder counts up.
    acquisition.spindle_sense = Some(Rotation::Clockwise);
    acquisition
}

/// The limits built into the board: no procedure may permit an arc of less than 15 V or more than 45 V, and each must
/// give a floor of 10 V at least. An invented machine: set them for yours.
fn hard_limits() -> HardLimits {
    let bits = Quantity::Voltage.fraction_bits();
    HardLimits::USUAL
        .with(Quantity::Voltage, Range { low: 15 << bits, high: 45 << bits })
        .with_floor(Quantity::Voltage, 10 << bits)
}

/// The address of the board among the devices of the cell.
pub const MODBUS_ADDRESS: u8 = 17;
/// The speed of their line: eight bits, even parity, one stop.
pub const MODBUS_BAUD: u32 = 19_200;
/// The speed of the line to the host: eight bits, no parity, one stop.
pub const HOST_BAUD: u32 = 115_200;

/// What the board is told at its start.
pub fn configuration(analog: &[Channel]) -> Configuration {
    Configuration {
        acquisition: acquisition(analog),
        hard_limits: hard_limits(),
        silence_us: 2_500_000,
        telemetry_us: 200_000,
        modbus: Settings::try_new(MODBUS_ADDRESS, MODBUS_BAUD).ok(),
    }
}
