//! The loop of the programs for real chips, on a host: from conversions to what the board judges; and their flash.

use bandward::flash::journal::Journal;
use bandward::flash::procedure_store::ProcedureStore;
use bandward::link::hard_limits::HardLimits;
use bandward::units::{Current, Voltage};
use bandward::{Channel, Procedure, Sample};
use bandward_chips::counters::Counts;
use bandward_chips::flash_map::{FlashMap, PAGE, RP2350, STM32L4R5};
use bandward_chips::frames::PERIOD_US;
use bandward_chips::station::{Front, Station};
use bandward_chips::wiring::{self, SIX};
use bandward_firmware::acquisition::{AnalogInputs, Counters};
use bandward_tests::flash::Flash;
use bandward_tests::host_board::{Bench, Start};
use std::cell::Cell;
use std::rc::Rc;

const FRAMES: usize = 256;

/// A converter whose pins a test sets, in volts.
#[derive(Clone)]
struct Pins {
    volts: Rc<Cell<[f64; SIX.len()]>>,
    filled: Rc<Cell<u64>>,
    stands: Rc<Cell<bool>>,
    fails: Rc<Cell<bool>>,
    clock: Rc<Cell<u32>>,
}

impl Front for Pins {
    fn position(&mut self) -> Option<usize> {
        (!self.stands.get()).then_some(self.filled.get() as usize % FRAMES)
    }
    fn conversion(&self, _: usize, place: usize) -> Option<u16> {
        let volts = self.volts.get()[place % SIX.len()];
        // One conversion of the current in every sample.
        (place != 0 || !self.fails.get()).then_some((volts / 3.3 * 4096.0).round().clamp(0.0, 4095.0) as u16)
    }
    fn counts(&mut self, _: usize, newer: u64) -> Counts {
        if newer == 0 {
            Counts { spindle: Some(0), wire: Some(0), coolant: Some(0) }
        } else {
            Counts::default()
        }
    }
    fn lose(&mut self) {}
    fn now_us(&mut self) -> u32 {
        self.clock.get()
    }
}

/// What stands at the pins: current, voltage, torch, gas, work, carriage.
fn at_pins(amperes: f64, volts: f64, torch_mm: f64, gas: f64) -> [f64; SIX.len()] {
    let in_loop = |share: f64| (4.0 + 16.0 * share) * 0.150;
    [
        1.65 + amperes / 5000.0 * 8.2,
        1.65 + volts * 10.0 / 757.0 * 0.75,
        3.3 * (270.0 + 5000.0 * torch_mm / 100.0) / 5540.0,
        in_loop(gas / 50.0),
        in_loop(120.0 / 500.0),
        in_loop(0.5),
    ]
}

struct Shop {
    pins: Pins,
    bench: Bench,
    station: Station<Pins, { SIX.len() }>,
}

impl Shop {
    fn open() -> Self {
        let pins = Pins {
            volts: Rc::new(Cell::new(at_pins(0.0, 0.0, 50.0, 0.0))),
            filled: Rc::default(),
            stands: Rc::default(),
            fails: Rc::default(),
            clock: Rc::default(),
        };
        let configuration = bandward_firmware::board::Configuration {
            hard_limits: HardLimits::NONE,
            ..wiring::configuration(&SIX)
        };
        let mut bench = Bench::of(Start { configuration, ..Start::default() });
        bench.ask(&bandward::link::Request::Hello);
        bench.upload(&Procedure::new());
        // Otherwise the relay waits for that, as after every start.
        bench.ask(&bandward::link::Request::Acknowledge);
        let station = Station::new(pins.clone(), FRAMES, SIX).unwrap();
        let mut shop = Self { pins, bench, station };
        shop.turn();
        shop
    }
    /// So many frames are filled; then one turn of the loop after another.
    fn run(&mut self, frames: u64) {
        for _ in 0..frames {
            self.wait(1);
            self.turn();
        }
    }
    fn wait(&mut self, frames: u64) {
        self.pins.filled.set(self.pins.filled.get() + frames);
        self.pins.clock.set(self.pins.clock.get() + frames as u32 * PERIOD_US);
    }
    fn turn(&mut self) {
        self.station.turn(&mut self.bench.board);
    }
}

#[test]
fn it_judges_and_energises_and_a_converter_that_stands_is_no_sample() {
    let mut shop = Shop::open();
    assert!(!shop.bench.is_energised(), "before the first sample");
    shop.pins.stands.set(true);
    shop.run(100);
    assert!(!shop.bench.is_energised(), "no sample yet");
    let mut shop = Shop::open();
    shop.run(100);
    assert!(shop.bench.is_energised());
    assert!(!shop.bench.board.faults().any());
}

/// One conversion of eight that failed, and there is no reading: the channel falls silent, which releases the relay.
#[test]
fn conversions_that_fail_release_the_relay() {
    let mut shop = Shop::open();
    shop.run(100);
    assert!(shop.bench.is_energised());
    shop.pins.fails.set(true);
    shop.run(30_000);
    assert!(!shop.bench.is_energised());
    let silent = shop.bench.board.faults().silent;
    assert!(silent.contains(Channel::Current) && !silent.contains(Channel::Voltage));
}

/// No reading is made of conversions from before and after a gap.
#[test]
fn a_reading_never_reaches_over_a_gap() {
    let mut shop = Shop::open();
    let has_current = |shop: &mut Shop, frames: u64| {
        shop.wait(frames);
        shop.station.look();
        std::iter::from_fn(|| shop.station.sample())
            .map(|(sample, is_late)| (sample.raw(Channel::Current).is_some(), is_late))
            .collect::<Vec<_>>()
    };
    assert_eq!(has_current(&mut shop, 3), [(false, false), (true, false), (true, false)]);
    assert_eq!(has_current(&mut shop, FRAMES as u64), []);
    assert_eq!(has_current(&mut shop, 3), [(false, true), (true, false), (true, false)]);
}

/// As long as a page of the flash is erased, the ring holds everything; longer, and the board says so.
#[test]
fn the_ring_bridges_an_erasure_and_tells_where_it_was_too_short() {
    let mut shop = Shop::open();
    shop.run(100);
    shop.wait(FRAMES as u64 - 20);
    (0..8).for_each(|_| shop.turn());
    assert!(!shop.bench.board.faults().any() && shop.bench.is_energised());
    shop.wait(FRAMES as u64 + 20);
    shop.run(2);
    assert!(shop.bench.board.faults().missed_deadline);
    assert!(!shop.bench.is_energised());
    // It is of the past once somebody has seen it.
    shop.bench.ask(&bandward::link::Request::Acknowledge);
    shop.run(10);
    assert!(shop.bench.is_energised());
}

/// Inputs that show these volts at their pins, and count nothing.
struct Still([f64; SIX.len()]);

impl AnalogInputs for Still {
    fn read(&mut self, channel: Channel) -> Option<i32> {
        let place = SIX.iter().position(|&wired| wired == channel)?;
        // The filter's count: 64 conversions.
        Some((self.0[place] / 3.3 * 4096.0 * 64.0).round() as i32)
    }
}

impl Counters for Still {
    fn spindle(&mut self) -> Option<i32> {
        None
    }
    fn pulses(&mut self, _: Channel) -> Option<u32> {
        None
    }
}

/// From the value, over the parts as they are marked, to the reading: within one count of a conversion.
#[test]
fn what_is_at_the_pins_is_what_is_read() {
    let mut acquirer = wiring::acquirer(&SIX).unwrap();
    for (amperes, volts) in
        [(0.0, 0.0), (320.0, 31.5), (-320.0, -31.5), (850.0, 113.0), (5.0, 1.0), (-900.0, -150.0)]
    {
        let mut inputs = Still(at_pins(amperes, volts, 37.0, 17.5));
        let mut sample = Sample::at(0);
        for index in 0..1000 {
            let next = acquirer.sample(index * u64::from(PERIOD_US), &mut inputs);
            for channel in next.present().iter() {
                sample = sample.with_raw(channel, next.raw(channel).unwrap());
            }
        }
        let read = |channel: Channel| {
            f64::from(sample.raw(channel).unwrap()) / f64::from(1_u32 << channel.fraction_bits())
        };
        let expected = [
            (Channel::Current, amperes, 0.02),
            (Channel::Voltage, volts, 0.005),
            (Channel::Torch, 37.0, 0.005),
            (Channel::Gas, 17.5, 0.005),
            (Channel::Work, 120.0, 0.01),
            (Channel::Carriage, 250.0, 0.01),
        ];
        for (channel, value, within) in expected {
            assert!(
                (read(channel) - value).abs() < within,
                "{channel:?}: {}, {value} expected",
                read(channel)
            );
        }
    }
}

/// A sensor at its end, or a broken wire, lies outside of what the core takes for a reading, and no ordinary one does.
#[test]
fn broken_wires_are_outside_of_the_ranges() {
    let acquisition = wiring::acquisition(&SIX);
    let mut acquirer = wiring::acquirer(&SIX).unwrap();
    let mut seen = 0;
    for index in 0..1000 {
        let sample = acquirer.sample(index, &mut Still([0.0; SIX.len()]));
        for channel in SIX {
            if let Some(raw) = sample.raw(channel) {
                assert!(raw <= acquisition.sensor_range(channel).low, "{channel:?}: {raw}");
                seen |= 1 << channel as u32;
            }
        }
    }
    assert_eq!(seen, SIX.iter().fold(0, |set, &channel| set | 1 << channel as u32));
    // 3.6 and 21 mA of a loop whose reading goes from 4 to 20 mA.
    for channel in [Channel::Gas, Channel::Work, Channel::Carriage] {
        let range = acquisition.sensor_range(channel);
        let full = f64::from(range.high) / (17.0 / 16.0);
        assert!((f64::from(range.low) / full + 0.4 / 16.0).abs() < 1e-3, "{channel:?}: {range:?}");
    }
    for (channel, highest) in [
        (Channel::Current, Current::from_milli(899_000).to_bits()),
        (Channel::Voltage, Voltage::from_milli(149_000).to_bits()),
    ] {
        let range = acquisition.sensor_range(channel);
        assert!(range.low < -highest && highest < range.high);
    }
}

/// Journal and procedure fit their parts of either flash, by its own page and word.
#[test]
fn the_parts_of_the_flash_hold_what_they_are_for() {
    fn holds<const PAGES: usize, const WORD: usize>() {
        let device = || Flash::<PAGES, 4096, WORD>::new();
        let size = Flash::<PAGES, 4096, WORD>::SIZE as u32;
        let mut store = ProcedureStore::new(device(), 0..size).ok().unwrap();
        for _ in 0..200 {
            store.store(&Procedure::new()).ok().unwrap();
        }
        assert!(matches!(store.load(&HardLimits::NONE), Ok(Some(Ok(_)))));
        assert!(Journal::open(device(), 0..size).is_ok());
    }
    holds::<4, 8>();
    holds::<4, 1>();
    holds::<32, 8>();
    holds::<32, 1>();
    for FlashMap { bytes, program, journal, procedure, .. } in [STM32L4R5, RP2350] {
        assert!(program.end <= journal.start && journal.end <= procedure.start && procedure.end <= bytes);
        for edge in [journal.start, journal.end, procedure.start, procedure.end] {
            assert!(edge.is_multiple_of(PAGE));
        }
        assert_eq!((journal.end - journal.start) / PAGE, 32);
        assert_eq!((procedure.end - procedure.start) / PAGE, 4);
    }
    // The program's bank is not the one that is written.
    let FlashMap { bytes, program, journal, .. } = STM32L4R5;
    assert!(program.end <= bytes / 2 && bytes / 2 <= journal.start);
}
