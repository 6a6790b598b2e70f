//! `firmware-example/MODBUS.md`, from which a controller is set up: its tables of names, units and numbers against
//! the code. What stands in the registers is held against the same tables in `board_modbus_map`.
//!
//! Decides: how the tables are written.
//! Never: takes a table of the page for right without the code.

use bandward::link::Lamp;
use bandward::record::band::Ending;
use bandward::{Channel, Outcome, Phase, Quantity, Rule, Severity};
use bandward_firmware::modbus::registers::{
    ALARMS, DISCRETES, LAST_BAND, LAST_JOINT, QUANTITIES, REGISTERS_A_QUANTITY, RULE_SETS, STATE, VERSION,
    decimals,
};
use bandward_firmware::modbus::{LONGEST_FRAME, MOST_BITS, MOST_REGISTERS, Press, Settings, SettingsError};
use std::fmt::Write as _;
use std::fs;

const PAGE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../firmware-example/MODBUS.md");

fn page() -> String {
    fs::read_to_string(PAGE).unwrap()
}

/// The lines of the table of this kind, each as an address and the words after it.
pub(crate) fn table(kind: &str) -> Vec<(u16, Vec<String>)> {
    let page = page();
    let (_, rest) = page.split_once(&format!("```{kind}\n")).unwrap_or_else(|| panic!("no block {kind}"));
    let (inner, _) = rest.split_once("```").unwrap();
    let line = |line: &str| {
        let mut words = line.split_whitespace().map(str::to_owned);
        (words.next().unwrap().parse().unwrap(), words.collect())
    };
    inner.lines().map(line).collect()
}

fn assert_block(kind: &str, expected: &str) {
    let found = format!("```{kind}\n{expected}```");
    assert!(
        page().contains(&found),
        "the block `{kind}` of firmware-example/MODBUS.md should be:\n{expected}"
    );
}

#[test]
fn the_rules_are_numbered_as_in_the_code() {
    let text = Rule::ALL.iter().zip(0..).fold(String::new(), |mut text, (rule, number)| {
        assert_eq!(*rule as u16, number);
        writeln!(text, "{number} {}", rule.name()).unwrap();
        text
    });
    assert_block("rules", &text);
    // Whoever adds one raises the version of the map, and this.
    assert_eq!((VERSION, Rule::COUNT, Quantity::COUNT, Channel::COUNT), (3, 45, 18, 9));
    assert!(page().contains(&format!("| `map_version` | {VERSION};")));
}

#[test]
fn the_quantities_have_the_units_and_places_of_the_code() {
    let text = Quantity::ALL.iter().zip((QUANTITIES.start..).step_by(REGISTERS_A_QUANTITY.into())).fold(
        String::new(),
        |mut text, (quantity, register)| {
            let (name, places) = (quantity.table_name(), decimals(*quantity));
            writeln!(text, "{register} {name} {} {places}", quantity.symbol()).unwrap();
            text
        },
    );
    assert_block("quantities", &text);
}

/// Every register of every part is on the page, and none is beyond its part.
#[test]
fn every_address_is_told() {
    for (kind, part, last_has) in [
        ("state", STATE, 1),
        ("rule_sets", RULE_SETS, 4),
        ("last_band", LAST_BAND, 1),
        ("last_joint", LAST_JOINT, 1),
    ] {
        let rows = table(kind);
        assert_eq!(rows.first().map(|row| row.0), Some(part.start), "{kind}");
        assert_eq!(rows.last().map(|row| row.0 + last_has), Some(part.end), "{kind}");
        for pair in rows.windows(2) {
            let is_set = kind == "rule_sets" || ["broken", "not_proven"].contains(&pair[0].1[0].as_str());
            assert_eq!(pair[1].0, pair[0].0 + if is_set { 4 } else { 1 }, "{kind} {pair:?}");
        }
    }
    assert_eq!(ALARMS, 200..328);
    assert_eq!(
        table("discretes").iter().map(|row| row.0).collect::<Vec<_>>(),
        (0..DISCRETES).collect::<Vec<_>>()
    );
    let coils: Vec<_> = table("coils").into_iter().map(|(_, words)| words[0].clone()).collect();
    assert_eq!(coils, ["acknowledge", "mark_joint"]);
    assert_eq!(Press::ALL, [Press::Acknowledge, Press::MarkJoint]);
}

/// The numbers that words stand for.
#[test]
fn the_words_have_the_numbers_of_the_code() {
    let page = page();
    for (name, numbered) in [
        ("lamp", vec![("off", Lamp::Off as u16), ("slow", Lamp::Slow as u16), ("on", Lamp::On as u16)]),
        (
            "phase",
            vec![
                ("idle", Phase::Idle as u16),
                ("gas before the arc", Phase::PreFlow as u16),
                ("strike", Phase::Strike as u16),
                ("arc", Phase::Arc as u16),
                ("outage", Phase::Outage as u16),
                ("gas after the arc", Phase::PostFlow as u16),
            ],
        ),
        (
            "verdict_...",
            vec![
                ("nothing is asked for", Outcome::NotAsked as u16),
                ("proven", Outcome::Proven as u16),
                ("not proven", Outcome::NotProven as u16),
                ("broken", Outcome::Broken as u16),
            ],
        ),
        (
            "worst_alarm",
            vec![
                ("advise", Severity::Advise as u16 + 1),
                ("warn", Severity::Warn as u16 + 1),
                ("stop", Severity::Stop as u16 + 1),
            ],
        ),
        ("silent_channels", Channel::ALL.map(|channel| (channel.name(), channel as u16)).to_vec()),
    ] {
        let row = page
            .lines()
            .find(|line| line.starts_with(&format!("| `{name}` |")))
            .unwrap_or_else(|| panic!("{name}"));
        for (word, number) in numbered {
            assert!(row.contains(&format!("{number} {word}")), "{name}: {number} {word}: {row}");
        }
    }
    let endings = [
        ("arc out", Ending::ArcOff),
        ("data ended", Ending::DataEnded),
        ("before a full turn", Ending::BrokenOff),
        ("stepped on", Ending::SteppedOn),
    ];
    for (word, ending) in endings {
        assert!(page.contains(&format!("{} {word}", ending as u16)), "{word}");
    }
}

/// The bounds of "MODBUS Application Protocol" V1.1b3 and "MODBUS over Serial Line" V1.02 (from memory).
#[test]
fn the_bounds_are_those_of_the_standard() {
    assert_eq!((MOST_BITS, MOST_REGISTERS, LONGEST_FRAME), (2000, 125, 256));
    for (address, is_one) in [(0, false), (1, true), (17, true), (247, true), (248, false), (255, false)] {
        let settings = Settings::try_new(address, 19_200);
        assert_eq!(settings.err(), (!is_one).then_some(SettingsError::Address), "{address}");
    }
    for (baud, silence_us) in [
        // 3.5 characters of 11 bits.
        (300, 128_334),
        (1_200, 32_084),
        (9_600, 4_011),
        (19_200, 2_006),
        (38_400, 1_750),
        (115_200, 1_750),
        (1_000_000, 1_750),
    ] {
        assert_eq!(
            Settings::try_new(1, baud).map(|settings| settings.silence_us()),
            Ok(silence_us),
            "{baud}"
        );
    }
    for baud in [0, 299, 1_000_001, u32::MAX] {
        assert_eq!(Settings::try_new(1, baud).err(), Some(SettingsError::Baud), "{baud}");
    }
}
