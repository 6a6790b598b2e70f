//! What is carried from the last joint: told, not proven until a person confirms it on this one, and measured anew in time.

use crate::setup::{demo_measured_right, demo_procedure};
use anstream::adapter::strip_str;
use bandward::Outcome;
use bandward_sim::commands::setup_dialogue;
use bandward_sim::input::joint_field::instant;
use bandward_sim::input::quantity::UnitSystem;
use bandward_sim::report;
use bandward_sim::setup::{Checked, Item, SetupSheet, check};
use jiff::ToSpan as _;

const MORNING: &str = "2026-03-01T07:30:00+01:00";
/// Diameter, old band, preheat, gas, its flow, coolant and its flow: what belongs to a joint.
const OF_JOINT: &str = "88.9\nnone\n170\n98Ar/2O2\n17.5\nyes\n5\n";

fn last() -> SetupSheet {
    let mut last = demo_measured_right();
    last.procedure_sha256 = Some(demo_procedure().sha256);
    last.measured_since = Some(MORNING.to_owned());
    last
}

fn hours_later(hours: i64) -> jiff::Timestamp {
    instant(MORNING).expect("a time") + hours.hours()
}

fn next(typed: &str) -> (SetupSheet, Checked, String) {
    let carried = last().for_next_joint(&demo_procedure(), hours_later(1));
    next_of(carried, typed)
}

fn next_of(carried: SetupSheet, typed: &str) -> (SetupSheet, Checked, String) {
    let mut screen = Vec::new();
    let answers = format!("{OF_JOINT}{typed}");
    let asked = setup_dialogue::ask(
        carried,
        &demo_procedure(),
        UnitSystem::Metric,
        &mut answers.as_bytes(),
        &mut screen,
        &mut |_| {},
    );
    let sheet = asked.expect("written to memory").sheet;
    let checked = check(&sheet, &demo_procedure());
    (sheet, checked, strip_str(&String::from_utf8(screen).expect("text")).to_string())
}

fn told(sheet: &SetupSheet, checked: &Checked) -> String {
    let text = report::setup::text(sheet, checked, &demo_procedure(), UnitSystem::Metric);
    strip_str(&text).to_string().split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Without a word from a person what was carried is not proven, on the screen, for machines, and from the file.
#[test]
fn what_was_carried_and_not_confirmed_is_not_proven() {
    let (sheet, checked, screen) = next("");
    assert!(screen.contains("still as on the last joint?"), "{screen}");
    assert_eq!((checked.outcome(), checked.carried(true).len()), (Outcome::NotProven, 0));
    let text = told(&sheet, &checked);
    assert!(text.contains("not all was measured on this joint") && !text.contains("WITHIN"), "{text}");
    assert!(
        text.contains("carried from the last joint, and not confirmed on this one: rotation, polarity"),
        "{text}"
    );
    assert!(!text.contains("though the procedure limits it"), "{text}");
    let json = report::setup::json(&sheet, &checked, &demo_procedure());
    let of_settings = json["settings"].as_array().expect("a list").iter();
    let carried: Vec<_> = of_settings.filter(|setting| setting["from_last_joint"] == true).collect();
    let missing: Vec<_> = json["not_measured"].as_array().expect("a list").iter().collect();
    assert_eq!(carried.iter().map(|setting| &setting["setting"]).collect::<Vec<_>>(), missing);
    assert!(missing.len() > 10 && json["from_last_confirmed"].is_null(), "{json}");
    let again = SetupSheet::parse("again", &sheet.to_text()).unwrap_or_else(|errors| panic!("{errors}"));
    assert_eq!(check(&again, &demo_procedure()).outcome(), Outcome::NotProven);
}

/// One question confirms the block; that is kept with its time, in the file too, and does not hold for the joint after.
#[test]
fn one_question_confirms_what_was_carried() {
    let (sheet, checked, screen) = next("what\ny\n");
    assert_eq!(screen.matches("still as on the last joint?").count(), 2, "{screen}");
    assert!(screen.contains("stick-out 24 mm") && screen.contains(&format!("since {MORNING}")), "{screen}");
    assert_eq!((checked.outcome(), checked.not_measured()), (Outcome::Proven, Vec::new()));
    let time = sheet.carried_confirmed.clone().expect("kept");
    assert!(instant(&time).is_some(), "{time}");
    let text = told(&sheet, &checked);
    assert!(text.contains("measured, or confirmed to be as on the last joint"), "{text}");
    assert!(text.contains(&format!("confirmed on this one at {time}: rotation")), "{text}");
    let again = SetupSheet::parse("again", &sheet.to_text()).unwrap_or_else(|errors| panic!("{errors}"));
    assert_eq!(
        (again.carried_confirmed.as_ref(), &again.measured_since),
        (Some(&time), &sheet.measured_since)
    );
    assert_eq!(check(&again, &demo_procedure()).outcome(), Outcome::Proven);
    assert_eq!(again.for_next_joint(&demo_procedure(), hours_later(2)).carried_confirmed, None);
}

/// `n` asks for each; one that is typed is measured, one that is left stays not proven.
#[test]
fn what_is_not_confirmed_is_asked_one_by_one() {
    // Rotation, pole and wire; then Enter.
    let (sheet, checked, screen) = next(&format!("n\ncw\nDCEP\n1.6\n{}", "\n".repeat(20)));
    assert!(
        screen.contains(" 3/16 wire diameter") || screen.contains("wire diameter, as printed"),
        "{screen}"
    );
    assert_eq!((checked.outcome(), sheet.carried_confirmed.as_ref()), (Outcome::NotProven, None));
    let missing = checked.not_measured();
    assert!(!missing.contains(&Item::Polarity) && missing.contains(&Item::STICK_OUT), "{missing:?}");
    assert_eq!(missing, sheet.carried);
}

/// From joint to joint the time of the oldest reading goes along, and after a shift all is measured anew.
#[test]
fn after_a_shift_nothing_is_carried() {
    let mut sheet = last();
    for hours in 1..8 {
        let carried = sheet.for_next_joint(&demo_procedure(), hours_later(hours));
        assert_eq!(carried.measured_since.as_deref(), Some(MORNING), "{hours}");
        assert!(carried.carried.contains(&Item::STICK_OUT), "{hours}");
        let (next, checked, _) = next_of(carried, "y\n");
        assert_eq!(checked.outcome(), Outcome::Proven, "{hours}");
        sheet = next;
        sheet.procedure_sha256 = Some(demo_procedure().sha256);
    }
    let stale = sheet.for_next_joint(&demo_procedure(), hours_later(8));
    assert_eq!(stale, SetupSheet::default());
    // Where the file has no time of its own, that of its signature counts.
    let mut signed = last();
    signed.measured_since = None;
    let text = signed.to_text()
        + &format!(
            "\n[signed]\ninitials = \"AB\"\ntime = {MORNING:?}\nprocedure_sha256 = {:?}\nwithin_procedure = true\n",
            demo_procedure().sha256
        );
    let signed = SetupSheet::parse("signed", &text).unwrap_or_else(|errors| panic!("{errors}"));
    let of = |hours| signed.clone().for_next_joint(&demo_procedure(), hours_later(hours)).entries.len();
    assert!(of(7) > 10 && of(9) == 0);
    let wrong = text.replace("[setup]", "[setup]\nfrom_last_confirmed = \"yes\"");
    let told = SetupSheet::parse("x", &wrong).expect_err("no time").to_string();
    assert!(told.contains("from_last_confirmed") && told.contains("a time with its offset"), "{told}");
}
