//! The counters: one timer follows the encoder, two count pulses.
//!
//! Decides: which timer is which, and the filter at its input.
//! Assumes: none of them moves half of its 16 bits between two samples.
//! Never: counts an edge that is shorter than the filter: eight looks at a 32nd of the clock of 80 MHz, 3.2 µs.

use bandward_chips::counters::{Counts, Unwrapped};
use embassy_stm32::Peri;
use embassy_stm32::gpio::{AfType, AnyPin, Flex, Pull};
use embassy_stm32::pac;
use embassy_stm32::peripherals::{PA0, PA1, TIM2, TIM3, TIM4};
use embassy_stm32::timer::low_level::{FilterValue, InputTISelection, SlaveMode, Timer, TriggerSource};
use embassy_stm32::timer::qei::{self, Qei};
use embassy_stm32::timer::{Channel, GeneralInstance4Channel};

const FILTER: FilterValue = FilterValue::FDTS_DIV32_N8;
/// The first channel of timers 3 and 4 on their pins.
const TIMER_FUNCTION: u8 = 2;

/// All three.
pub struct HardwareCounters {
    encoder: (Qei<'static, TIM2>, Unwrapped),
    wire: (PulseTimer<TIM3>, Unwrapped),
    coolant: (PulseTimer<TIM4>, Unwrapped),
}

struct PulseTimer<T: GeneralInstance4Channel> {
    timer: Timer<'static, T>,
    _pin: Flex<'static>,
}

impl<T: GeneralInstance4Channel> PulseTimer<T> {
    /// Counts rising edges at the timer's first channel.
    fn start(timer: Peri<'static, T>, pin: Peri<'static, AnyPin>) -> Self {
        let mut pin = Flex::new(pin);
        pin.set_as_af_unchecked(TIMER_FUNCTION, AfType::input(Pull::Down));
        let timer = Timer::new(timer);
        timer.set_input_ti_selection(Channel::Ch1, InputTISelection::Normal);
        timer.set_input_capture_filter(Channel::Ch1, FILTER);
        timer.set_trigger_source(TriggerSource::TI1FP1);
        timer.set_slave_mode(SlaveMode::EXT_CLOCK_MODE);
        timer.regs_gp16().arr().write(|limit| limit.set_arr(u16::MAX));
        timer.start();
        Self { timer, _pin: pin }
    }
    fn count(&self) -> u16 {
        self.timer.regs_gp16().cnt().read().cnt()
    }
}

impl HardwareCounters {
    /// Starts them: the encoder's timer with its two pins, and those of wire and coolant with theirs.
    pub fn start(
        (encoder, a, b): (Peri<'static, TIM2>, Peri<'static, PA0>, Peri<'static, PA1>),
        (wire, wire_pin): (Peri<'static, TIM3>, Peri<'static, AnyPin>),
        (coolant, coolant_pin): (Peri<'static, TIM4>, Peri<'static, AnyPin>),
    ) -> Self {
        let encoder = Qei::new(encoder, a, b, qei::Config::default());
        for channel in 0..2 {
            pac::TIM2.ccmr_input(0).modify(|input| input.set_icf(channel, FILTER));
        }
        Self {
            encoder: (encoder, Unwrapped::NEW),
            wire: (PulseTimer::start(wire, wire_pin), Unwrapped::NEW),
            coolant: (PulseTimer::start(coolant, coolant_pin), Unwrapped::NEW),
        }
    }
    /// What they show now.
    pub fn take(&mut self) -> Counts {
        let (encoder, spindle) = &mut self.encoder;
        let (wire_timer, wire) = &mut self.wire;
        let (coolant_timer, coolant) = &mut self.coolant;
        Counts {
            spindle: Some(spindle.take(encoder.count())),
            wire: Some(wire.take(wire_timer.count()).cast_unsigned()),
            coolant: Some(coolant.take(coolant_timer.count()).cast_unsigned()),
        }
    }
}
