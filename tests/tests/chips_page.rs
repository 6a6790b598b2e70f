//! `firmware-example/WIRING.md`, from which a board is wired: its numbers against the code, and against formulas that
//! are not the code's.

use crate::chips::response;
use bandward_chips::decimation::OVERSAMPLING;
use bandward_chips::flash_map::{FlashMap, RP2350, STM32L4R5};
use bandward_chips::wiring;
use std::fmt::Write as _;

const PAGE: &str = include_str!("../../firmware-example/WIRING.md");
const STM32: &str = include_str!("../../firmware-example/chips/stm32l4r5/src/main.rs");
const RP: &str = include_str!("../../firmware-example/chips/rp2350/src/main.rs");

/// The rows of a block, without its heading.
fn block(kind: &str) -> Vec<Vec<String>> {
    let (_, rest) = PAGE.split_once(&format!("```{kind}\n")).unwrap_or_else(|| panic!("no block {kind}"));
    let (inner, _) = rest.split_once("```").unwrap();
    inner.lines().skip(1).map(|line| line.split_whitespace().map(str::to_owned).collect()).collect()
}

fn number(word: &str) -> f64 {
    word.parse().unwrap_or_else(|_| panic!("{word} is no number"))
}

/// Equal to the last digit that is shown.
fn assert_shown(shown: &str, value: f64, what: &str) {
    let decimals = shown.split_once('.').map_or(0, |(_, after)| after.len());
    assert_eq!(shown, format!("{value:.decimals$}"), "{what}");
}

/// From the parts named in the page to volts a unit, and from there to counts: worked out anew.
#[test]
fn one_count_is_what_the_parts_make_it() {
    let millivolts_a_unit = |channel: &str| match channel {
        "current" => 8.2 / 5000.0 * 1000.0,
        "voltage" => 1000.0 * 10.0 / (3.0 * 249.0 + 10.0) * 0.75,
        "torch" => 3300.0 * 5000.0 / (270.0 + 5000.0 + 270.0) / 100.0,
        "gas" => 16.0 * 0.150 * 1000.0 / 50.0,
        "work" | "carriage" => 16.0 * 0.150 * 1000.0 / 500.0,
        other => panic!("{other}"),
    };
    let rows = block("inputs");
    assert_eq!(rows.len(), wiring::SIX.len());
    for row in rows {
        let [channel, at_pin, _, count, _, needed, _, counts, ..] = &row[..] else { panic!("{row:?}") };
        let millivolts = millivolts_a_unit(channel);
        assert_shown(at_pin, millivolts, channel);
        let one = 3300.0 / 4096.0 / millivolts;
        assert_shown(count, one, channel);
        assert_shown(counts, number(needed) / one, channel);
        assert!(number(counts) > 1.0, "{channel}: too coarse");
    }
    // The code says the same, in whole microvolts.
    let slope = |at: fn(i64) -> i64, milli: i64| (at(milli) - at(0)) as f64 / milli as f64;
    assert!((slope(wiring::amperes_at_pin, 900_000) - millivolts_a_unit("current")).abs() < 1e-3);
    assert!((slope(wiring::volts_at_pin, 150_000) - millivolts_a_unit("voltage")).abs() < 1e-3);
    assert!((slope(wiring::torch_at_pin, 100_000) - millivolts_a_unit("torch")).abs() < 1e-3);
    assert_eq!(wiring::loop_at_pin(20_000), 3_000_000);
}

#[test]
fn the_ends_are_within_the_converter() {
    let volts = |microvolts: i64| format!("{:.3}", microvolts as f64 / 1e6);
    let sentence = [
        format!(
            "{} to {} V for ±150 V",
            volts(wiring::volts_at_pin(-150_000)),
            volts(wiring::volts_at_pin(150_000))
        ),
        format!(
            "{} to {} V for ±900 A",
            volts(wiring::amperes_at_pin(-900_000)),
            volts(wiring::amperes_at_pin(900_000))
        ),
        format!(
            "{} to {} V from end to end",
            volts(wiring::torch_at_pin(0)),
            volts(wiring::torch_at_pin(100_000))
        ),
    ];
    let page = PAGE.split_whitespace().collect::<Vec<_>>().join(" ");
    for words in sentence {
        assert!(page.contains(&words), "{words}");
    }
    let [broken, short] = wiring::LOOP_ENDS_UA;
    assert!(page.contains("below 3.6 mA (0.54 V)") && page.contains("above 21 mA (3.15 V)"));
    assert_eq!((wiring::loop_at_pin(broken), wiring::loop_at_pin(short)), (540_000, 3_150_000));
    for end in [wiring::volts_at_pin(-150_000), wiring::amperes_at_pin(-900_000), wiring::torch_at_pin(0)] {
        assert!(end > 100_000 && wiring::REFERENCE_UV - end > 100_000);
    }
}

#[test]
fn counters_are_as_fine_as_the_page_says() {
    let (um, wheel_us) = wiring::WHEEL;
    let (pulses, coolant_us) = wiring::COOLANT;
    let turn = f64::from(wiring::COUNTS_A_TURN);
    let in_window = |rate: f64, us: u32| rate * f64::from(us) / 1e6;
    let shares = [
        100.0 / turn,
        100.0 / (turn / 84.0),
        100.0 / in_window(7250.0 / 60.0 / (f64::from(um) / 1000.0), wheel_us),
        100.0 / in_window(6.0 / 60.0 * f64::from(pulses), coolant_us),
    ];
    let rows = block("counters");
    assert_eq!(rows.len(), shares.len());
    for (row, share) in rows.iter().zip(shares) {
        let [.., shown, _] = &row[..] else { panic!("{row:?}") };
        assert_shown(shown, share, &row.join(" "));
    }
    assert_shown(&rows[0][1], 360.0 / turn, "spindle");
    assert_eq!((um, wheel_us, pulses, coolant_us), (250, 500_000, 1000, 1_000_000));
}

/// The filter of the page, and a two-pole input filter without overshoot (Butterworth, 10 kHz; textbook formula).
#[test]
fn the_filter_is_as_the_page_says() {
    assert_eq!(OVERSAMPLING, 8);
    let decibel = |share: f64| 20.0 * share.log10();
    let rows = block("filter");
    assert_eq!(rows.len(), 13);
    for row in &rows {
        let [hertz, filter, _, with_input, ..] = &row[..] else { panic!("{row:?}") };
        let hertz = number(hertz);
        let input = 1.0 / (1.0 + (hertz / 10_000.0).powi(4)).sqrt();
        assert_shown(filter, decibel(response(hertz)), hertz.to_string().as_str());
        assert_shown(with_input, decibel(response(hertz) * input), hertz.to_string().as_str());
        if let Some(at) = row.iter().position(|word| word == "as") {
            let alias = (hertz - (hertz / 10_000.0).round() * 10_000.0).abs();
            assert_eq!(row[at + 1], format!("{alias:.0}"));
        }
    }
}

#[test]
fn pins_are_those_of_the_programs() {
    let table = PAGE.lines().skip_while(|line| !line.starts_with("| signal | STM32L4R5")).skip(2);
    let rows: Vec<Vec<&str>> = table
        .take_while(|line| line.starts_with('|'))
        .map(|line| line.trim_matches('|').split('|').map(str::trim).collect())
        .collect();
    assert_eq!(rows.len(), 18);
    let uses = |text: &str, pin: &str| {
        let end = |rest: &str| rest.chars().next().is_none_or(|next| !next.is_ascii_alphanumeric());
        text.split(&format!("chip.{pin}")).skip(1).filter(|rest| end(rest)).count()
    };
    for row in &rows {
        let [signal, stm32, rp, _] = row[..] else { panic!("{row:?}") };
        assert_eq!(uses(STM32, stm32), 1, "{signal}: {stm32}");
        if rp != "-" {
            assert_eq!(uses(RP, &rp.replace("GPIO", "PIN_")), 1, "{signal}: {rp}");
        }
    }
    for (source, pins) in [(STM32, ["PD12", "PD13", "PD14"]), (RP, ["PIN_16", "PIN_17", "PIN_18"])] {
        for (name, pin) in ["relay", "lamp", "horn"].into_iter().zip(pins) {
            let line = source.lines().find(|line| line.contains(&format!("let {name} ="))).unwrap();
            assert!(line.contains(pin), "{line}");
        }
    }
    // What stops the program writes the same pin.
    let stops = [
        (include_str!("../../firmware-example/chips/stm32l4r5/src/stop.rs"), "const RELAY: usize = 12;"),
        (include_str!("../../firmware-example/chips/rp2350/src/stop.rs"), "const RELAY: u32 = 16;"),
    ];
    for (source, line) in stops {
        assert!(source.contains(line), "{line}");
    }
}

/// The linker's memory is what the map leaves to the program.
#[test]
fn the_flash_is_divided_as_the_page_says() {
    let chips = [
        ("STM32L4R5", STM32L4R5, include_str!("../../firmware-example/chips/stm32l4r5/memory.x")),
        ("RP2350", RP2350, include_str!("../../firmware-example/chips/rp2350/memory.x")),
    ];
    let kib = |range: &std::ops::Range<u32>| (range.end - range.start) / 1024;
    let mut expected = String::from("chip        program    journal    procedure  page   word\n");
    for (name, FlashMap { word, program, journal, procedure, .. }, linker) in chips {
        let cell = |range| format!("{} KiB", kib(range));
        let (program_cell, journal, procedure) = (cell(&program), cell(&journal), cell(&procedure));
        writeln!(expected, "{name:<11} {program_cell:<10} {journal:<10} {procedure:<10} {:<6} {word}", 4096)
            .unwrap();
        assert!(linker.contains(&format!("LENGTH = {}K", kib(&program))), "{name}");
    }
    assert!(PAGE.contains(&format!("```flash\n{expected}```")), "{expected}");
}
