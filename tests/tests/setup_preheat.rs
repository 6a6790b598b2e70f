//! The preheat advised before the arc: what the steel needs, what the procedure gives, what its coating bears; and that
//! advice which is followed comes to an end.

use crate::setup::{procedure, sheet, verdict};
use anstream::adapter::strip_str;
use bandward::{Outcome, Severity};
use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_sim::input::quantity::UnitSystem;
use bandward_sim::report;
use bandward_sim::setup::steps::after;
use bandward_sim::setup::{Checked, Item, Measured, SetupSheet, check};

/// By hand, 4137 (CET 0.525 %), 33.5 mm of wall, 5 mL of hydrogen, 0.8 x 320 A x 31.5 V over 3.325 mm/s = 2.425 kJ/mm:
/// 697 x 0.525 + 160 tanh(33.5 / 35) + 62 x 5^0.35 + (53 x 0.525 - 32) x 2.425 - 328 = 255.6 degC (EN 1011-2, method B,
/// from memory).
const NEEDED_C: f64 = 255.6;

fn own(preheat: &str, coating: Option<u32>) -> ProcedureFile {
    let coating = coating.map_or(String::new(), |limit| format!("coating_limit = \"{limit} degC\"\n"));
    procedure(&format!(
        "[joint]\noutside_diameter = \"127 mm\"\n[material]\nsteel = \"4137\"\nbore = \"60 mm\"\n{coating}{preheat}"
    ))
}

fn ranges(recommended: [u32; 2], allowed: [u32; 2]) -> String {
    let range = |[low, high]: [u32; 2]| format!("[\"{low} degC\", \"{high} degC\"]");
    format!("[preheat]\nrecommended = {}\nallowed = {}\n", range(recommended), range(allowed))
}

fn at(preheat_c: f64) -> SetupSheet {
    sheet(&format!(
        "outside_diameter = \"127 mm\"\nturn_time = \"120 s\"\ncurrent = \"320 A\"\nvoltage = \"31.5 V\"\n\
         coolant_before_arc = \"yes\"\npreheat = \"{preheat_c} degC\""
    ))
}

fn words(sheet: &SetupSheet, checked: &Checked, own: &ProcedureFile) -> String {
    let text = strip_str(&report::setup::text(sheet, checked, own, UnitSystem::Metric)).to_string();
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The step of the preheat: which way, and to how much.
fn step(checked: &Checked) -> Option<(String, f64)> {
    let step = checked.steps.iter().find(|step| step.turn == Item::PREHEAT)?;
    let Some(Measured::Size(to)) = step.to else { panic!("{step:?}") };
    Some((step.how.clone(), to))
}

/// A joint that is colder than its steel needs is heated to what it needs and the procedure allows; one that is right
/// for both is left there, whatever is recommended.
#[test]
fn a_joint_is_heated_to_what_its_steel_needs() {
    let own = own(&ranges([150, 250], [120, 300]), None);
    for preheat_c in [20.0, 100.0, 140.0, 200.0, 250.0, 253.0] {
        let cold = at(preheat_c);
        let checked = check(&cold, &own);
        let (how, to) = step(&checked).unwrap_or_else(|| panic!("{preheat_c}: {:?}", checked.steps));
        assert!(how.starts_with("heat on"), "{preheat_c}: {how}");
        assert!((NEEDED_C..=300.0).contains(&to), "{preheat_c}: {to}");
        assert_ne!(verdict(&checked, Item::PREHEAT).severity(), None, "{preheat_c} is not good");
        let told = words(&cold, &checked, &own);
        assert!(told.contains("at least 255.6 degC needed by the steel"), "{told}");
        let json = report::setup::json(&cold, &checked, &own);
        assert!(json["belong_together"].to_string().contains("255.6 degC"), "{json}");
        assert_eq!(json["steps"][0]["to"], to);
        // Followed, it comes to an end, and is no longer told to crack.
        let followed = check(&after(&cold, &own), &own);
        assert_eq!((followed.outcome(), followed.steps.len()), (Outcome::Proven, 0), "{preheat_c}");
        assert_eq!(check(&at(to), &own).outcome(), Outcome::Proven);
    }
    for preheat_c in [256.0, 280.0, 300.0] {
        let right = at(preheat_c);
        let checked = check(&right, &own);
        assert_eq!((checked.outcome(), checked.steps.len()), (Outcome::Proven, 0), "{preheat_c}");
        let told = words(&right, &checked, &own);
        assert!(
            told.contains("leave it") && !told.contains("STOP") && !told.contains("let it cool"),
            "{told}"
        );
    }
    // Beyond what is allowed it cools, and not below what the steel needs.
    let hot = check(&at(340.0), &own);
    let (how, to) = step(&hot).expect("a step");
    assert!(how.contains("let it cool") && (NEEDED_C..=300.0).contains(&to), "{how} {to}");
}

/// Without a range of preheats in the procedure its steel counts alone.
#[test]
fn a_steel_without_a_range_of_preheats_is_heated_as_well() {
    let own = own("[voltage]\nfloor = \"29 V\"\n", None);
    let (how, to) = step(&check(&at(100.0), &own)).expect("a step");
    assert!(how.starts_with("heat on") && (NEEDED_C..NEEDED_C + 2.0).contains(&to), "{how} {to}");
    assert_eq!(check(&after(&at(100.0), &own), &own).doubts(), Vec::<&str>::new());
}

/// The steel needs more than the procedure allows: nothing is turned, and that is said.
#[test]
fn a_steel_that_no_preheat_does_for_is_told() {
    let own = own(&ranges([150, 200], [120, 240]), None);
    for (preheat_c, outcome) in [
        (100.0, Outcome::Broken),
        (180.0, Outcome::NotProven),
        (239.0, Outcome::NotProven),
        (270.0, Outcome::Broken),
    ] {
        let measured = at(preheat_c);
        let checked = check(&measured, &own);
        assert_eq!(checked.outcome(), outcome, "{preheat_c}");
        let told = words(&measured, &checked, &own);
        assert!(told.contains("no preheat is both what its steel needs"), "{told}");
        assert!(told.contains("the procedure allows 240 degC at most"), "{told}");
        assert!(step(&checked).is_none() && !told.contains("heat on"), "{told}");
    }
}

/// What the coating of the bore bears is the procedure's own where it gives it; it is told within the range as well, and
/// the word STOP is kept for what is outside.
#[test]
fn the_coating_is_told_by_its_own_limit() {
    // No steel is given: nothing but ranges and coating counts.
    let of = |coating: Option<u32>, preheat_c: f64| {
        let limit =
            coating.map_or(String::new(), |limit| format!("[material]\ncoating_limit = \"{limit} degC\"\n"));
        let own = procedure(&format!("{}{limit}", ranges([150, 250], [120, 300])));
        let measured = at(preheat_c);
        let checked = check(&measured, &own);
        let severity = verdict(&checked, Item::PREHEAT).severity();
        let end = check(&after(&measured, &own), &own);
        assert_eq!(end.steps.len(), 0, "{preheat_c}");
        let told = words(&measured, &checked, &own);
        let to = step(&checked).map(|(_, to)| to);
        (severity, to, told)
    };
    let usual = "some 200 to 230 degC";
    let (severity, to, told) = of(None, 251.0);
    assert_eq!((severity, to), (Some(Severity::Advise), Some(200.0)));
    assert!(!told.contains("STOP") && !told.contains(usual), "{told}");
    let (severity, _, told) = of(None, 310.0);
    assert_eq!(severity, Some(Severity::Warn));
    assert!(told.contains("STOP: let it cool") && told.contains(usual), "{told}");
    // 160 degC is within every range, and above what the coating bears.
    for (preheat_c, expected) in
        [(160.0, Severity::Advise), (258.0, Severity::Advise), (310.0, Severity::Warn)]
    {
        let (severity, to, told) = of(Some(150), preheat_c);
        assert_eq!((severity, to), (Some(expected), Some(150.0)), "{preheat_c}");
        assert!(told.contains("the coating of its bore bears 150 degC (302 degF)"), "{told}");
        assert!(!told.contains(usual), "{told}");
        assert_eq!(told.contains("STOP"), expected == Severity::Warn, "{told}");
    }
    assert_eq!(of(Some(150), 150.0).0, None);
    // A limit above the range says nothing until it is passed.
    let (severity, to, told) = of(Some(280), 270.0);
    assert_eq!((severity, to), (Some(Severity::Advise), Some(200.0)));
    assert!(!told.contains("coating of its bore"), "{told}");
    assert!(of(Some(280), 290.0).2.contains("280 degC"));
}

/// A steel that needs more than its coating bears is not cooled to save that.
#[test]
fn a_coating_does_not_go_before_the_steel() {
    let own = own(&ranges([150, 250], [120, 300]), Some(150));
    let checked = check(&at(280.0), &own);
    assert!(checked.steps.is_empty(), "{:?}", checked.steps);
    let told = words(&at(280.0), &checked, &own);
    assert!(told.contains("weld only a joint without one") && !told.contains("let it cool"), "{told}");
    let (how, to) = step(&check(&at(150.0), &own)).expect("a step");
    assert!(
        how.contains("bears 150 degC") && how.contains("heat on") && (NEEDED_C..=300.0).contains(&to),
        "{how} {to}"
    );
}

/// Whatever steel, range and coating, and however warm the joint: the advice, followed once, leaves nothing more to do,
/// and never a joint outside, or colder than its steel needs where the procedure allows better.
#[test]
fn preheat_advice_that_is_followed_ends() {
    let mut followed = 0;
    for (recommended, allowed) in [
        ([150, 250], [120, 300]),
        ([100, 180], [80, 200]),
        ([260, 280], [250, 320]),
        ([200, 300], [200, 300]),
    ] {
        for coating in [None, Some(100), Some(150), Some(220), Some(265), Some(350)] {
            let own = own(&ranges(recommended, allowed), coating);
            for preheat_c in (0..60).map(|index| 10.0 + 9.0 * f64::from(index)) {
                let measured = at(preheat_c);
                let right = after(&measured, &own);
                let checked = check(&right, &own);
                let name = format!("{recommended:?} {allowed:?} {coating:?} {preheat_c}");
                let has_room = f64::from(allowed[1]) > NEEDED_C;
                let broken = checked.outcome() == Outcome::Broken;
                assert!(checked.steps.is_empty(), "{name}: {:?}", checked.steps);
                assert!(!has_room || !broken, "{name}");
                assert!(!has_room || checked.doubts().is_empty(), "{name}: {:?}", checked.doubts());
                followed += 1;
            }
        }
    }
    assert_eq!(followed, 4 * 6 * 60);
}

/// Within the kelvin that a joint may be colder than its steel needs nothing is turned, and nothing cooled to a higher figure.
#[test]
fn nothing_is_cooled_upwards() {
    let own = own(&ranges([150, 250], [120, 300]), None);
    for preheat_c in [254.7, 255.0, 255.5, 255.7, 256.0] {
        let checked = check(&at(preheat_c), &own);
        assert_eq!(step(&checked), None, "{preheat_c}");
        assert_eq!(checked.outcome(), Outcome::Proven, "{preheat_c}");
    }
    assert!(step(&check(&at(250.0), &own)).is_some_and(|(_, to_c)| to_c > NEEDED_C));
}

/// A coating bears some 200 degC where the procedure says nothing (common practice, no source): a joint that is hotter for
/// its steel's sake is told so.
#[test]
fn a_coating_of_which_nothing_is_written_is_told_too() {
    let own = own(&ranges([150, 250], [120, 300]), None);
    let measured = at(280.0);
    let told = words(&measured, &check(&measured, &own), &own);
    assert!(told.contains("an inner coating bears some 200 to 230 degC"), "{told}");
}

/// A steel whose need nobody can work out, or a joint whose preheat nobody measured, is not proven.
#[test]
fn a_steel_without_its_bore_or_preheat_is_not_proven() {
    let whole = own(&ranges([150, 250], [120, 300]), None);
    assert_eq!(check(&at(256.0), &whole).outcome(), Outcome::Proven);
    let bore = whole.text.lines().find(|line| line.starts_with("bore")).expect("it gives one").to_owned();
    let text = whole.text.replace(&bore, "");
    let without = ProcedureFile::parse("own", &text).unwrap_or_else(|errors| panic!("{errors}"));
    let checked = check(&at(256.0), &without);
    assert_eq!(checked.outcome(), Outcome::NotProven);
    assert!(checked.doubts().iter().any(|doubt| doubt.contains("the procedure gives the steel")));
    // Nor is one that is written out in part.
    let text = whole.text.replace("steel = \"4137\"", "carbon = \"0.37 %\"");
    let in_part = ProcedureFile::parse("own", &text).unwrap_or_else(|errors| panic!("{errors}"));
    assert_eq!(check(&at(256.0), &in_part).outcome(), Outcome::NotProven);
}
