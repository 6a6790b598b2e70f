//! No sample is late while the service has much to do, on the emulated board: the timer's interrupt counts.
//!
//! Both programs take the same samples, 10,000 a second, on a processor of 125 million instructions a second, beside the
//! same service: a line whose driver waits 87 us for every byte, a flash that takes 60 ms to erase a page and 0.1 ms to
//! write a word, two uploads, a band that is laid and kept, black box and journal read out. One takes its samples in the
//! interrupt, the other between the calls of the service.

use bandward_tests::emulator::{CORTEX_M4, Missing, build, run_at, skip};

/// 8 ns an instruction.
const SHIFT: u32 = 3;

fn told_by(program: &str) -> Result<String, Missing> {
    let output = run_at(CORTEX_M4, &build(CORTEX_M4, program, &[])?, SHIFT)?;
    assert!(output.status.success(), "{program}: {:?}", output.status);
    Ok(String::from_utf8(output.stdout).unwrap())
}

fn figure(text: &str, name: &str) -> u64 {
    let value = text.lines().filter_map(|line| line.split_once('=')).find(|(other, _)| *other == name);
    value.unwrap_or_else(|| panic!("no {name} in:\n{text}")).1.trim().parse().unwrap()
}

#[test]
fn no_sample_is_late_beside_a_slow_line_and_a_slow_flash() {
    let (split, together) =
        match told_by("deadlines").and_then(|split| Ok((split, told_by("deadlines-one-thread")?))) {
            Ok(told) => told,
            Err(missing) => return skip("no_sample_is_late_beside_a_slow_line_and_a_slow_flash", &missing),
        };
    println!("in the interrupt:\n{split}\nin one thread:\n{together}");
    for (text, name) in [(&split, "in the interrupt"), (&together, "in one thread")] {
        // All that was asked for was done.
        for (done, count) in [("in_force", 2), ("bands", 1), ("blocks", 40), ("records", 1), ("refused", 0)] {
            assert_eq!(figure(text, done), count, "{name}: {done}");
        }
        assert!(figure(text, "states") > 100, "{name}");
        // Longer than a hundred samples.
        assert!(figure(text, "worst_poll_us") > 10_000, "{name}");
    }
    assert_eq!(figure(&split, "late"), 0);
    assert!(figure(&together, "late") > 1000, "what is late is found");
}
