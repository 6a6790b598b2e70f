//! A machine for the board on the host: arc, gas, and a person at the button.
//!
//! Decides: what the inputs show. The values are invented and plain.
//! Assumes: a hundred samples a second of current, voltage and gas.
//! Never: uses the welding process of the program.

use crate::host_board::{Bench, Start};
use bandward::flash::journal::Kept;
use bandward::link::Request;
use bandward::procedure::{Limits, Range};
use bandward::sample::ChannelSet;
use bandward::units::{Current, FlowRate, Voltage};
use bandward::{Acquisition, Channel, Procedure, Quantity, Sample};
use bandward_firmware::board::Configuration;

/// Time between samples, us.
pub const PERIOD_US: u64 = 10_000;

/// How its samples come.
pub fn acquisition() -> Acquisition {
    Acquisition::every(PERIOD_US as u32, ChannelSet::ELECTRICAL.with(Channel::Gas))
}

/// Voltage and gas flow with floors.
///
/// # Panics
/// Never: the ranges are sound.
pub fn procedure() -> Procedure {
    let table = [(Quantity::Voltage, 26, 32, 24), (Quantity::GasFlow, 14, 24, 5)];
    table.into_iter().fold(Procedure::new(), |procedure, (quantity, low, high, floor)| {
        let raw = |units: i32| units << quantity.fraction_bits();
        let allowed = Some(Range { low: raw(low), high: raw(high) });
        let limits = Limits { recommended: None, allowed, floor: Some(raw(floor)) };
        procedure.with_limits(quantity, limits).unwrap()
    })
}

/// What the machine does.
#[derive(Clone, Copy, Debug)]
pub struct Doing {
    /// Current, A.
    pub amps: i64,
    /// Voltage, V.
    pub volts: i64,
    /// Gas, L/min; absent where the meter gives nothing.
    pub gas_lpm: Option<i64>,
}

/// Nothing is on.
pub const IDLE: Doing = Doing { amps: 0, volts: 0, gas_lpm: Some(0) };
/// The gas flows, no arc.
pub const GAS_ON: Doing = Doing { gas_lpm: Some(18), ..IDLE };
/// A good arc.
pub const ARC: Doing = Doing { amps: 280, volts: 29, gas_lpm: Some(18) };
/// An arc without gas.
pub const ARC_WITHOUT_GAS: Doing = Doing { gas_lpm: Some(0), ..ARC };

impl Doing {
    /// At a time; the last digits wobble, as those of a meter do.
    pub fn at(self, time_us: u64) -> Sample {
        let wobble = (time_us / PERIOD_US * 7 % 11) as i32 * 5;
        let sample = Sample::at(time_us)
            .with_raw(Channel::Current, Current::from_milli(self.amps * 1000).to_bits() + wobble)
            .with_raw(Channel::Voltage, Voltage::from_milli(self.volts * 1000).to_bits() + wobble);
        match self.gas_lpm {
            Some(flow) => sample.with_raw(Channel::Gas, FlowRate::from_milli(flow * 1000).to_bits() + wobble),
            None => sample,
        }
    }
}

/// A board on a machine.
pub struct Shop {
    /// The board.
    pub bench: Bench,
    /// The time of the last sample, us.
    pub now_us: u64,
}

impl Shop {
    /// Started with [`procedure`], acknowledged and judging.
    ///
    /// # Panics
    /// The relay is not energised then.
    pub fn open() -> Self {
        Self::by(Start::default())
    }
    /// As [`Self::open`], with a board started so.
    ///
    /// # Panics
    /// The relay is not energised then.
    pub fn by(start: Start) -> Self {
        let configuration = Configuration { acquisition: acquisition(), ..start.configuration.clone() };
        let mut bench = Bench::of(Start { configuration, ..start });
        bench.ask(&Request::Hello);
        bench.upload(&procedure());
        bench.ask(&Request::Acknowledge);
        let mut shop = Self { bench, now_us: 0 };
        shop.run(2, IDLE);
        assert!(shop.bench.is_energised());
        shop
    }
    /// One sample, and one poll.
    pub fn step(&mut self, doing: Doing) {
        self.now_us += PERIOD_US;
        self.bench.wait(PERIOD_US as u32);
        self.bench.board.sample(&doing.at(self.now_us), false);
        self.bench.board.poll();
    }
    /// Runs for some seconds; returns for how many samples the relay was energised.
    pub fn run(&mut self, seconds: u64, doing: Doing) -> u64 {
        (0..seconds * 1_000_000 / PERIOD_US)
            .map(|_| {
                self.step(doing);
                u64::from(self.bench.is_energised())
            })
            .sum()
    }
    /// Somebody presses the button.
    pub fn acknowledge(&mut self) {
        self.bench.ask(&Request::Acknowledge);
    }
    /// The records in the journal.
    pub fn journal(&mut self) -> Vec<Kept> {
        self.bench.read_journal().into_iter().map(|(_, record)| record).collect()
    }
    /// The bands in the journal.
    pub fn bands(&mut self) -> usize {
        self.journal().iter().filter(|record| matches!(record, Kept::Band(_))).count()
    }
}
