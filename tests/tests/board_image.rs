//! What a board would carry: no way to panic in it, and the same answers from another instruction set.

use bandward_firmware::digest;
use bandward_tests::emulator::{ARMV6_M, CORTEX_M0, CORTEX_M4, Machine, build, build_least, run, skip};
use bandward_tests::image::Image;

fn assert_cannot_panic(program: &str) {
    match build(CORTEX_M4, program, &[]) {
        Ok(path) => {
            let image = Image::read(&path);
            assert!(image.text > 10_000, "{program} is nearly empty: nothing was linked");
            assert!(image.panics.is_empty(), "{program}: {:#?}", image.panics);
        }
        Err(missing) => skip(program, &missing),
    }
}

#[test]
fn the_monitor_alone_cannot_panic() {
    assert_cannot_panic("monitor");
}

#[test]
fn the_monitor_with_link_black_box_upload_and_modbus_cannot_panic() {
    assert_cannot_panic("footprint");
}

/// The check above can fail: the measuring program prints, and printing can panic.
#[test]
fn a_program_that_can_panic_is_told_apart() {
    match build(CORTEX_M4, "measure", &[]) {
        Ok(path) => assert!(!Image::read(&path).panics.is_empty()),
        Err(missing) => skip("a_program_that_can_panic_is_told_apart", &missing),
    }
}

fn assert_same_digest(machine: Machine) {
    match build(machine, "digest", &[]).and_then(|path| run(machine, &path)) {
        Ok(output) => {
            let expected = digest::of_pattern();
            assert!(expected.events > 10 && expected.bands == 3, "{expected:?}");
            assert_eq!(String::from_utf8_lossy(&output.stdout).trim(), format!("{expected:?}"));
        }
        Err(missing) => skip(machine.target, &missing),
    }
}

#[test]
fn a_cortex_m4_says_what_the_host_says_at_ten_thousand_samples_a_second() {
    assert_same_digest(CORTEX_M4);
}

/// Current, voltage and gas: what is linked does not fit where its statics leave no stack, and it ends with 1 where the
/// stack came down to them, or the failure was not found.
#[test]
fn the_least_board_finds_a_gas_failure_in_eight_kibibytes_of_memory() {
    match build_least().and_then(|path| run(CORTEX_M0, &path)) {
        Ok(output) => {
            let told = String::from_utf8_lossy(&output.stdout);
            assert!(output.status.success(), "{:?}: {told}", output.status.code());
            let figure = |name| told.lines().find_map(|line| line.strip_prefix(name)?.parse::<usize>().ok());
            let memory =
                figure("state_bytes=").zip(figure("stack_bytes=")).map(|(state, stack)| state + stack);
            assert!(memory.is_some_and(|memory| (4096..8192).contains(&memory)), "{told}");
        }
        Err(missing) => skip("the_least_board", &missing),
    }
}

#[test]
fn another_instruction_set_without_floating_point_says_what_the_host_says() {
    assert_same_digest(ARMV6_M);
}
