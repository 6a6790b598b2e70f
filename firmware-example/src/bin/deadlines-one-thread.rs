//! Samples between the calls of the service, in one thread: see `deadlines`. Samples are late, which shows that the
//! clock and the count of the other program find it.
#![no_std]
#![no_main]

use bandward_firmware::deadlines::{Host, Inputs, PACE, SAMPLES, SlowLine};
use bandward_firmware::machine;

#[cortex_m_rt::entry]
fn main() -> ! {
    let mut board = machine::start_paced(SlowLine::new(), SlowLine::new(), 60, PACE);
    let (mut host, mut inputs) = (Host::new(), Inputs::begin());
    while inputs.taken < SAMPLES {
        if inputs.is_due() {
            inputs.take(|sample, late| board.sample(sample, late));
        }
        host.go_on(board.serial());
        host.poll(|| board.poll());
    }
    host.tell(&inputs, &board.serial().heard);
    bandward_firmware::mps2::exit(0)
}
