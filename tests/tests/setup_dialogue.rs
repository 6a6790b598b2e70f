//! The setup as a person types it and reads it: the dialogue, the card, the answers of the last joint.

use crate::setup::{DEMO_SETUP, demo_procedure};
use anstream::adapter::strip_str;
use bandward::Outcome;
use bandward_sim::commands::setup_dialogue;
use bandward_sim::commands::setup_unfinished::Unfinished;
use bandward_sim::input::quantity::UnitSystem;
use bandward_sim::report;
use bandward_sim::setup::{Item, SetupSheet, check};
use proptest::prelude::*;

/// Ctrl-C, a closed window: what was typed is kept after every answer, and the next run offers it.
#[test]
fn what_was_typed_is_kept_and_offered() {
    let folder = tempfile::tempdir().expect("a folder");
    let unfinished = Unfinished::at(folder.path().join("kept/setup.toml"));
    let offer = |typed: &str| {
        let mut screen = Vec::new();
        let offered = unfinished.offer(&mut typed.as_bytes(), &mut screen).expect("written to memory");
        (offered, String::from_utf8(screen).expect("text"))
    };
    assert_eq!(offer("y\n"), (None, String::new()));
    let mut answers = "88.9\ncw\n".as_bytes();
    let mut kept = 0;
    let asked = setup_dialogue::ask(
        SetupSheet::default(),
        &demo_procedure(),
        UnitSystem::Metric,
        &mut answers,
        &mut Vec::new(),
        &mut |sheet| {
            unfinished.keep(sheet).expect("kept");
            kept += 1;
        },
    )
    .expect("written to memory");
    assert!(!asked.is_complete && kept == 3, "{kept}");
    let (offered, screen) = offer("what\ny\n");
    assert_eq!(offered.expect("offered").entries, asked.sheet.entries);
    assert!(screen.contains("2 answers of an unfinished setup"), "{screen}");
    // The end of the input decides nothing; `n` throws them away.
    assert_eq!(offer("").0, None);
    assert!(offer("y\n").0.is_some());
    assert_eq!(offer("n\n").0, None);
    assert_eq!(offer("y\n").0, None);
}

#[test]
fn the_setup_of_the_demo_reads_well() {
    let sheet = SetupSheet::parse("setup.toml", DEMO_SETUP).expect("sound");
    let demo = demo_procedure();
    let checked = check(&sheet, &demo);
    assert!(!checked.is_within_procedure());
    for system in [UnitSystem::Metric, UnitSystem::Inch] {
        let text = report::setup::cautions() + "\n" + &report::setup::text(&sheet, &checked, &demo, system);
        insta::with_settings!({ prepend_module_to_snapshot => false, omit_expression => true }, {
            insta::assert_snapshot!(format!("setup__demo_{}", system.name()), strip_str(&text).to_string());
        });
    }
}

fn asked(answers: &str, system: UnitSystem) -> (SetupSheet, String) {
    let mut screen = Vec::new();
    let sheet = setup_dialogue::ask(
        SetupSheet::default(),
        &demo_procedure(),
        system,
        &mut answers.as_bytes(),
        &mut screen,
        &mut |_| {},
    )
    .expect("written to memory")
    .sheet;
    (sheet, strip_str(&String::from_utf8(screen).expect("text")).to_string())
}

#[test]
fn the_dialogue_takes_what_a_person_types() {
    // Bare numbers are in the unit asked for; words may be shortened; `b` goes back; Enter leaves out.
    let (sheet, screen) = asked("3 1/2\ncl\n\n\nDCEN\nb\ndcep\n1.6 mm\nq\n", UnitSystem::Inch);
    let found: Vec<_> =
        sheet.entries.iter().map(|entry| (entry.item.key(), entry.written.as_str())).collect();
    assert_eq!(
        found,
        [
            ("outside_diameter", "3 1/2 in"),
            ("rotation", "clockwise"),
            ("polarity", "DCEP"),
            ("wire_diameter", "1.6 mm"),
        ]
    );
    assert!(screen.contains("STOP") && screen.contains("exchange the leads"), "{screen}");
    // A refusal says why, and asks again; an ambiguous word is refused.
    let (sheet, screen) = asked("88,9\n88.9\nc\ncounter\n", UnitSystem::Metric);
    assert!(screen.contains("a comma where a decimal point belongs"), "{screen}");
    assert!(screen.contains("`c` is not one of its choices"), "{screen}");
    assert_eq!(
        (sheet.size(Item::OutsideDiameter), sheet.word(Item::Rotation)),
        (Some(88.9), Some("counter-clockwise"))
    );
    // The end of the input, at once or anywhere, is the end of the questions.
    assert!(asked("", UnitSystem::Metric).0.entries.is_empty());
    let (sheet, screen) = asked(&"\n".repeat(100), UnitSystem::Metric);
    assert!(sheet.entries.is_empty() && screen.contains("24/24"));
}

/// What a person at a bench writes is taken as it is written, and reads back from the file.
#[test]
fn the_dialogue_takes_what_a_bench_writes() {
    let answers =
        "3½\"\ncw\nno\n\nDC+\n1/16\"\n\n\n\n\nleft\n¾ in\n1:24\n25 mm\n40 in 30 s\n23 mm\n98/2\n37 scfh\nq\n";
    let (sheet, screen) = asked(answers, UnitSystem::Inch);
    let size = |item| sheet.size(item).unwrap_or_else(|| panic!("{screen}"));
    for (item, value) in [
        (Item::OutsideDiameter, 88.9),
        (Item::WireDiameter, 1.5875),
        (Item::TORCH_OFFSET, 19.05),
        (Item::TURN_TIME, 84.0),
        (Item::WEAVE_RATE, 80.0),
        (Item::GAS_FLOW, 37.0 * 28.316_846_592 / 60.0),
    ] {
        assert!((size(item) - value).abs() < 1e-6, "{}", item.key());
    }
    assert_eq!((sheet.word(Item::Rotation), sheet.word(Item::Polarity)), (Some("clockwise"), Some("DCEP")));
    assert!(!screen.contains("not accepted"), "{screen}");
    let back = SetupSheet::parse("", &sheet.to_text()).expect("reads back");
    assert_eq!(back.entries, sheet.entries);
}

/// One sheet: every step with its caution, every wanted value, the drawing; nothing from anywhere else.
#[test]
fn the_card_says_which_way_to_turn_what() {
    let mut sheet = SetupSheet::parse("setup.toml", DEMO_SETUP).expect("sound");
    sheet.joint = Some("<b>joint</b>".to_owned());
    let demo = demo_procedure();
    let checked = check(&sheet, &demo);
    for system in [UnitSystem::Metric, UnitSystem::Inch] {
        let card = report::page::card::card(&sheet, &checked, &demo, system);
        assert_eq!(card.matches("<li>").count(), checked.steps.len());
        assert_eq!(card.matches("CAUTION").count(), checked.steps.len());
        for step in &checked.steps {
            assert!(card.contains(&step.how.replace('\'', "&#39;")), "{}", step.how);
        }
        assert!(card.contains("<svg") && card.contains("OUTSIDE"));
        assert!(!card.contains("http") && !card.contains("<b>joint</b>"), "{card}");
    }
}

/// The next joint: what belongs to a joint is asked anew, what was right is not asked again, what was wrong is.
#[test]
fn the_last_joint_answers_for_the_next_one() {
    let mut last = SetupSheet::parse("demo", DEMO_SETUP).expect("sound");
    last.procedure_sha256 = Some(demo_procedure().sha256);
    let last = last.for_next_joint(&demo_procedure(), jiff::Timestamp::now());
    assert_eq!((last.entries.len(), last.joint.as_ref()), (16, None));
    let mut screen = Vec::new();
    // Diameter, old band, preheat; the torch offset, which was wrong; gas, its flow, coolant and its flow; amps, as they
    // stand; and that the rest is as on the last joint.
    let answers = "88.9\nnone\n170\n20\n98Ar/2O2\n17.5\nyes\n5\n\ny\n";
    let next = setup_dialogue::ask(
        last,
        &demo_procedure(),
        UnitSystem::Metric,
        &mut answers.as_bytes(),
        &mut screen,
        &mut |_| {},
    )
    .expect("written to memory")
    .sheet;
    let screen = strip_str(&String::from_utf8(screen).expect("text")).to_string();
    assert!(screen.contains("10/10 ") && !screen.contains(" 3/10 "), "{screen}");
    assert_eq!((next.size(Item::PREHEAT), next.size(Item::TORCH_OFFSET)), (Some(170.0), Some(20.0)));
    assert_eq!((next.size(Item::CURRENT), next.entries.len()), (Some(345.0), 23));
    let checked = check(&next, &demo_procedure());
    assert_eq!(checked.outcome(), Outcome::Proven);
    // What nobody measured on this joint, and a person confirmed, says so, on the screen, on the card, for machines, and in the file.
    let told =
        strip_str(&report::setup::text(&next, &checked, &demo_procedure(), UnitSystem::Metric)).to_string();
    let is_marked = |title: &str| {
        let line = told.lines().find(|line| line.starts_with("  good") && line.contains(title));
        line.unwrap_or_else(|| panic!("{title}: {told}")).contains("; confirmed")
    };
    assert!(is_marked("weave rate") && !is_marked("torch offset"), "{told}");
    let words = told.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        words.contains("carried from the last joint, confirmed on this one at 20")
            && words.contains("Z: rotation, polarity,"),
        "{told}"
    );
    let card = report::page::card::card(&next, &checked, &demo_procedure(), UnitSystem::Metric);
    assert!(
        card.contains("Carried from the last joint, confirmed on this one at 20")
            && card.contains(": rotation, polarity"),
        "{card}"
    );
    let json = report::setup::json(&next, &checked, &demo_procedure());
    let carried: Vec<_> = json["settings"].as_array().expect("a list").iter().collect();
    let carried = carried.iter().filter(|setting| setting["from_last_joint"] == true).count();
    assert_eq!((carried, next.carried.len()), (15, 15));
    let again = SetupSheet::parse("again", &next.to_text()).unwrap_or_else(|errors| panic!("{errors}"));
    assert_eq!(again.carried, next.carried);
    let wrong =
        DEMO_SETUP.replace("[setup]", "[setup]\nfrom_last = [\"stickout\"]\nprocedure_sha256 = \"x\"");
    let told = SetupSheet::parse("x", &wrong).expect_err("two faults").to_string();
    assert!(told.contains("`stickout` is no setting") && told.contains("64 hexadecimal digits"), "{told}");
}

/// Another diameter: what is set to it is asked for again. Another procedure, or nobody knows which: what is set to that.
#[test]
fn nothing_is_carried_to_another_diameter_or_procedure() {
    let mut last = SetupSheet::parse("demo", DEMO_SETUP).expect("sound");
    let other = last.clone().for_next_joint(&demo_procedure(), jiff::Timestamp::now());
    let kept: Vec<_> = other.entries.iter().map(|entry| entry.item.key()).collect();
    assert_eq!(kept, ["polarity", "wire_diameter", "nozzle_bore"]);
    last.procedure_sha256 = Some(demo_procedure().sha256);
    let next = last.for_next_joint(&demo_procedure(), jiff::Timestamp::now());
    let of_diameter = ["stick_out", "torch_angle", "torch_side", "torch_offset", "turn_time"];
    // 1 % is the same diameter, as everywhere.
    for (typed, dropped) in [("89.5", false), ("127", true), ("", true)] {
        let mut screen = Vec::new();
        let sheet = setup_dialogue::ask(
            next.clone(),
            &demo_procedure(),
            UnitSystem::Metric,
            &mut format!("{typed}\n").as_bytes(),
            &mut screen,
            &mut |_| {},
        );
        let sheet = sheet.expect("written to memory").sheet;
        let screen = strip_str(&String::from_utf8(screen).expect("text")).to_string();
        assert_eq!(screen.contains("another diameter than the last joint's"), dropped, "{screen}");
        for key in of_diameter {
            assert_eq!(sheet.entries.iter().any(|entry| entry.item.key() == key), !dropped, "{typed}: {key}");
            assert_eq!(sheet.carried.iter().any(|item| item.key() == key), !dropped, "{typed}: {key}");
        }
    }
    // It is asked for then, in its order.
    let mut screen = Vec::new();
    let sheet = setup_dialogue::ask(
        next,
        &demo_procedure(),
        UnitSystem::Metric,
        &mut "127\nnone\n170\n22\n14\nleft\n27\n120\n".as_bytes(),
        &mut screen,
        &mut |_| {},
    );
    let sheet = sheet.expect("written to memory").sheet;
    let sizes = [Item::STICK_OUT, Item::TORCH_ANGLE, Item::TORCH_OFFSET, Item::TURN_TIME]
        .map(|item| sheet.size(item));
    assert_eq!(sizes, [22.0, 14.0, 27.0, 120.0].map(Some));
    assert_eq!(sheet.carried.len(), 11);
}

#[test]
fn initials_are_asked_for_until_they_fit() {
    let initials = |typed: &str| {
        setup_dialogue::ask_initials(&mut typed.as_bytes(), &mut Vec::new()).expect("written to memory")
    };
    assert_eq!(initials("A B\nfar too long a name\nA.B.\n"), Some("A.B.".to_owned()));
    assert_eq!(initials("\n"), None);
    assert_eq!(initials(""), None);
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever is typed, nothing panics, and what was accepted is written to a file that reads back.
    #[test]
    fn what_was_asked_reads_back(
        answers in prop::collection::vec(prop_oneof![
            "[0-9]{1,3}(\\.[0-9])?", "[0-9]{1,2} [0-9]/[1-9]", "cl|co|y|n|l|r|b|DCEP|98Ar/2O2|",
            "[0-9]{1,3} ?(mm|in|s|A|V|degF|ft3/h|m/min)", any::<String>(),
        ], 0..60),
        inch in any::<bool>(),
        joint in prop::option::of(any::<String>()),
    ) {
        let system = if inch { UnitSystem::Inch } else { UnitSystem::Metric };
        let (mut sheet, _) = asked(&(answers.join("\n") + "\n"), system);
        sheet.joint = joint;
        let text = sheet.to_text();
        let back = SetupSheet::parse("", &text);
        let back = back.unwrap_or_else(|errors| panic!("{errors}\n{text}"));
        prop_assert_eq!(&back.entries, &sheet.entries);
        // A name is made safe for a terminal where it is read.
        let named = sheet.joint.as_deref().map(bandward_sim::output::printable);
        prop_assert_eq!(back.joint.as_deref(), named.as_deref());
        let demo = demo_procedure();
        let (one, other) = (check(&sheet, &demo), check(&back, &demo));
        prop_assert_eq!(&one, &other);
        // Units change nothing but how it is shown.
        let json = report::setup::json(&sheet, &one, &demo);
        prop_assert_eq!(json["within_procedure"].as_bool(), Some(other.is_within_procedure()));
        for system in [UnitSystem::Metric, UnitSystem::Inch] {
            let shown = report::setup::text(&sheet, &one, &demo, system);
            prop_assert!(!shown.is_empty());
        }
    }
}
