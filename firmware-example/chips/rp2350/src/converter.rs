//! The converter and the counted pins: both fill rings in memory without the processor.
//!
//! Decides: how often the converter converts (its own divider, of a clock of 48 MHz) and how often the pins are looked
//! at (a state machine of one instruction, of a clock of 150 MHz): both clocks come from one crystal, so that a word of
//! eight looks belongs to every frame of conversions. While a page of the flash is erased the processor stands still,
//! and neither ring does.
//! Assumes: nothing else uses the two DMA channels.
//! Never: gives a conversion whose place in the order is not sure, or a look of another frame: that ends the reading.
#![allow(unsafe_code)]

use crate::Lines;
use crate::hardware::Microseconds;
use bandward_chips::counters::{Counts, LOOKS, PINS, PinCounters};
use bandward_chips::decimation::OVERSAMPLING;
use bandward_chips::frames::PERIOD_US;
use bandward_chips::station::Front;
use bandward_chips::wiring::FOUR;
use core::ptr::read_volatile;
use embassy_rp::adc::{Adc, Blocking, Channel};
use embassy_rp::gpio::Pull;
use embassy_rp::pac::dma::vals::{DataSize, TransCountMode, TreqSel};
use embassy_rp::peripherals::{DMA_CH0, DMA_CH1, PIN_2, PIN_3, PIN_4, PIN_5, PIO0};
use embassy_rp::pio::program::{Assembler, InSource};
use embassy_rp::pio::{Config, Pio, ShiftConfig, ShiftDirection, StateMachine};
use embassy_rp::{Peri, pac};
use static_cell::ConstStaticCell;

/// Conversions of a frame.
const FRAME: usize = FOUR.len() * OVERSAMPLING;
/// Frames of the ring: 51 ms. The most that the DMA controller can go round in are 32 KiB.
pub const FRAMES: usize = 512;
const RING: usize = FRAME * FRAMES;
/// The sizes of the rings as powers of two, in bytes.
const RING_SIZE: u8 = (RING * size_of::<u16>()).trailing_zeros() as u8;
const WORDS_SIZE: u8 = (FRAMES * size_of::<u32>()).trailing_zeros() as u8;
const _: () = assert!(RING * size_of::<u16>() == 1 << RING_SIZE && RING_SIZE <= 15);

/// Ticks of the converter's clock a conversion: it takes 96 at least.
const CONVERSION_TICKS: u16 = (48 * PERIOD_US as usize / FRAME) as u16;
const _: () = assert!(CONVERSION_TICKS >= 96 && CONVERSION_TICKS as usize * FRAME == 48 * PERIOD_US as usize);
/// Ticks of the state machine's clock a look.
const LOOK_TICKS: u16 = (150 * PERIOD_US / LOOKS) as u16;

#[repr(align(32768))]
struct Conversions([u16; RING]);
#[repr(align(2048))]
struct Words([u32; FRAMES]);

static CONVERSIONS: ConstStaticCell<Conversions> = ConstStaticCell::new(Conversions([0; RING]));
static WORDS: ConstStaticCell<Words> = ConstStaticCell::new(Words([0; FRAMES]));

/// The converter and its analog pins.
pub type Analog = (Adc<'static, Blocking>, [Channel<'static>; FOUR.len()]);
/// The state machine's block and the pins it looks at: encoder A and B, wire, coolant.
pub type Counted = (
    Peri<'static, PIO0>,
    Lines,
    (Peri<'static, PIN_2>, Peri<'static, PIN_3>, Peri<'static, PIN_4>, Peri<'static, PIN_5>),
);

/// Both, with their rings.
pub struct Converter {
    conversions: *const u16,
    words: *const u32,
    pins: PinCounters,
    _analog: Analog,
    _looks: StateMachine<'static, PIO0, 0>,
}

/// Lets a channel go round for ever in a ring of 2 to the power of `size` bytes.
fn go_round(channel: usize, from: *const u32, to: u32, size: u8, data: DataSize, request: TreqSel) {
    let channel_number = channel as u8;
    let channel = pac::DMA.ch(channel);
    channel.read_addr().write_value(from as u32);
    channel.write_addr().write_value(to);
    channel.trans_count().write(|count| {
        count.set_mode(TransCountMode::ENDLESS);
        count.set_count(1);
    });
    channel.ctrl_trig().write(|control| {
        control.set_data_size(data);
        control.set_incr_write(true);
        control.set_ring_sel(true);
        control.set_ring_size(size);
        control.set_chain_to(channel_number);
        control.set_treq_sel(request);
        control.set_high_priority(true);
        control.set_en(true);
    });
}

impl Converter {
    /// Starts both.
    pub fn start(
        analog: Analog,
        (block, lines, (a, b, wire, coolant)): Counted,
        _: (Peri<'static, DMA_CH0>, Peri<'static, DMA_CH1>),
    ) -> Self {
        let conversions = CONVERSIONS.take().0.as_ptr();
        let words = WORDS.take().0.as_ptr();
        let Pio { mut common, sm0: mut looks, .. } = Pio::new(block, lines);
        let mut assembler = Assembler::<32>::new();
        assembler.r#in(InSource::PINS, PINS as u8);
        let program = common.load_program(&assembler.assemble_program());
        let mut pins = [
            common.make_pio_pin(a),
            common.make_pio_pin(b),
            common.make_pio_pin(wire),
            common.make_pio_pin(coolant),
        ];
        // Isolators drive both levels; a pull-down of this chip would hold a pin in between (erratum E9, from memory).
        pins.iter_mut().for_each(|pin| pin.set_pull(Pull::None));
        let mut config = Config::default();
        config.use_program(&program, &[]);
        config.set_in_pins(&pins.each_ref());
        config.clock_divider = LOOK_TICKS.into();
        config.shift_in =
            ShiftConfig { threshold: (PINS * LOOKS) as u8, direction: ShiftDirection::Left, auto_fill: true };
        looks.set_config(&config);
        go_round(1, looks.rx_fifo_ptr(), words as u32, WORDS_SIZE, DataSize::SIZE_WORD, looks.rx_treq());

        pac::ADC.div().write(|divider| divider.set_int(CONVERSION_TICKS - 1));
        pac::ADC.fcs().write(|queue| {
            queue.set_en(true);
            queue.set_dreq_en(true);
            queue.set_err(true);
            queue.set_thresh(1);
            queue.set_over(true);
        });
        pac::ADC.cs().modify(|converter| {
            converter.set_ainsel(0);
            converter.set_rrobin((1 << FOUR.len()) - 1);
        });
        let queue = pac::ADC.fifo().as_ptr().cast_const().cast();
        go_round(0, queue, conversions as u32, RING_SIZE, DataSize::SIZE_HALFWORD, TreqSel::ADC);
        // The looks first: their word is there when the frame is.
        looks.set_enable(true);
        pac::ADC.cs().modify(|converter| converter.set_start_many(true));
        Self { conversions, words, pins: PinCounters::NEW, _analog: analog, _looks: looks }
    }
    /// How far a channel has come in its ring, bytes.
    fn come(channel: usize, ring: usize) -> usize {
        (pac::DMA.ch(channel).write_addr().read() as usize).saturating_sub(ring)
    }
}

impl Front for Converter {
    fn position(&mut self) -> Option<usize> {
        let frame = Self::come(0, self.conversions as usize) / size_of::<[u16; FRAME]>() % FRAMES;
        let word = Self::come(1, self.words as usize) / size_of::<u32>() % FRAMES;
        let is_in_step = matches!((word + FRAMES - frame) % FRAMES, 0 | 1);
        (is_in_step && !pac::ADC.fcs().read().over()).then_some(frame)
    }
    fn conversion(&self, slot: usize, place: usize) -> Option<u16> {
        /// Set by the converter where it could not tell.
        const FAILED: u16 = 1 << 15;
        let index = (slot * FRAME + place) % RING;
        // SAFETY: within the ring, which is never given back; the hardware writes whole conversions.
        let conversion = unsafe { read_volatile(self.conversions.add(index)) };
        (conversion & FAILED == 0).then_some(conversion)
    }
    /// Every frame has its own.
    fn counts(&mut self, slot: usize, _: u64) -> Counts {
        // SAFETY: as above.
        let looks = unsafe { read_volatile(self.words.add(slot % FRAMES)) };
        self.pins.take(looks)
    }
    fn lose(&mut self) {
        self.pins.lose();
    }
    fn now_us(&mut self) -> u32 {
        Microseconds::now()
    }
}
