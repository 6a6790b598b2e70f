//! The converter: a timer starts it, and it fills a ring in memory without the processor.
//!
//! Decides: how often it converts, and how long the ring is: a tenth of a second, in which a page of the flash is erased
//! four times over.
//! Assumes: the converter takes its six inputs in less time than there is between two triggers: 2.8 µs of 12.5 µs.
//! Never: gives a conversion whose place in the order is not sure: an overrun ends the reading.
#![allow(unsafe_code)]

use crate::Lines;
use crate::counters::HardwareCounters;
use crate::hardware::Microseconds;
use bandward_chips::counters::Counts;
use bandward_chips::decimation::OVERSAMPLING;
use bandward_chips::frames::PERIOD_US;
use bandward_chips::station::Front;
use bandward_chips::wiring::SIX;
use core::ptr::read_volatile;
use embassy_stm32::adc::{Adc, AdcChannel, CONTINUOUS, RingBufferedAdc, SampleTime};
use embassy_stm32::pac::timer::vals::Mms;
use embassy_stm32::peripherals::{ADC1, DMA1_CH1, PA4, PA5, PC0, PC1, PC2, PC3, TIM6};
use embassy_stm32::timer::low_level::{RoundTo, Timer};
use embassy_stm32::{Peri, pac};
use static_cell::ConstStaticCell;

/// Conversions of a frame.
const FRAME: usize = SIX.len() * OVERSAMPLING;
/// Frames of the ring: the most that the DMA controller can count are 65,535 conversions.
pub const FRAMES: usize = 1024;
const RING: usize = FRAME * FRAMES;
const _: () = assert!(RING <= 65_535);

/// Ticks of the timer's clock (that of the processor, 80 MHz) between two triggers.
const TICKS: u64 = 80 * PERIOD_US as u64 / OVERSAMPLING as u64;
/// The converter's number for the update of timer 6, and for its rising edge.
const TRIGGER: u8 = 13;
const RISING_EDGE: u8 = 1;

/// A frame that is so many frames old is as good as the present for what is counted: half a millisecond, in which the
/// encoder moves by less than a count.
const PRESENT: u64 = 5;

/// The pins of the inputs, in the order of [`SIX`].
pub type Inputs = (
    Peri<'static, PC0>,
    Peri<'static, PC1>,
    Peri<'static, PC2>,
    Peri<'static, PC3>,
    Peri<'static, PA4>,
    Peri<'static, PA5>,
);

/// The converter, its timer and the counters.
pub struct Converter {
    ring: *const u16,
    _adc: RingBufferedAdc<'static, ADC1>,
    _timer: Timer<'static, TIM6>,
    counters: HardwareCounters,
}

static MEMORY: ConstStaticCell<[u16; RING]> = ConstStaticCell::new([0; RING]);

impl Converter {
    /// Starts it.
    pub fn start(
        adc: Peri<'static, ADC1>,
        dma: Peri<'static, DMA1_CH1>,
        lines: Lines,
        inputs: Inputs,
        timer: Peri<'static, TIM6>,
        counters: HardwareCounters,
    ) -> Self {
        let memory = MEMORY.take();
        let ring = memory.as_ptr();
        let (current, voltage, torch, gas, work, carriage) = inputs;
        let order = [
            current.degrade_adc(),
            voltage.degrade_adc(),
            torch.degrade_adc(),
            gas.degrade_adc(),
            work.degrade_adc(),
            carriage.degrade_adc(),
        ];
        let sequence = order.into_iter().map(|input| (input, SampleTime::CYCLES24_5));
        let mut adc = Adc::new(adc).into_ring_buffered(dma, memory, lines, sequence, CONTINUOUS);
        // The driver of this family converts without end; here every scan waits for the timer.
        pac::ADC1.cfgr().modify(|converter| {
            converter.set_cont(false);
            converter.set_extsel(TRIGGER);
            converter.set_exten(RISING_EDGE);
        });
        let timer = Timer::new(timer);
        timer.set_period_clocks(TICKS, RoundTo::Faster);
        timer.regs_basic().cr2().modify(|control| control.set_mms(Mms::UPDATE));
        adc.start();
        timer.start();
        Self { ring, _adc: adc, _timer: timer, counters }
    }
}

impl Front for Converter {
    fn position(&mut self) -> Option<usize> {
        if pac::ADC1.isr().read().ovr() {
            return None;
        }
        let left = usize::from(pac::DMA1.ch(0).ndtr().read().ndt());
        Some(RING.saturating_sub(left) % RING / FRAME)
    }
    fn conversion(&self, slot: usize, place: usize) -> Option<u16> {
        let index = (slot * FRAME + place) % RING;
        // SAFETY: within the ring, which is never given back; the hardware writes whole conversions.
        Some(unsafe { read_volatile(self.ring.add(index)) })
    }
    fn counts(&mut self, _: usize, newer: u64) -> Counts {
        if newer <= PRESENT { self.counters.take() } else { Counts::default() }
    }
    /// The timers count on.
    fn lose(&mut self) {}
    fn now_us(&mut self) -> u32 {
        Microseconds::now()
    }
}
