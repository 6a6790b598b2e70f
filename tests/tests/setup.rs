//! The setup before the arc: verdicts, directions, what belongs together, the file and the dialogue.
//! What a setting does to a band is common practice, no source.

use anstream::adapter::strip_str;
use bandward::rule::Side;
use bandward::{Quantity, Severity};
use bandward_sim::commands::setup_dialogue;
use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_sim::input::quantity::UnitSystem;
use bandward_sim::input::setting::Subject;
use bandward_sim::setup::{Checked, Item, SettingVerdict, SetupSheet, check};
use bandward_sim::{demo, report};
use proptest::prelude::*;

const DEMO_SETUP: &str = include_str!("../../sim/demo/setup.toml");

fn sheet(measured: &str) -> SetupSheet {
    let text = format!("[measured]\n{measured}");
    SetupSheet::parse("test", &text).unwrap_or_else(|errors| panic!("{errors}"))
}

fn procedure(text: &str) -> ProcedureFile {
    ProcedureFile::parse("test", text).unwrap_or_else(|errors| panic!("{errors}"))
}

fn demo_procedure() -> ProcedureFile {
    demo::procedure().expect("sound")
}

fn verdict(checked: &Checked, item: Item) -> SettingVerdict {
    checked.settings.iter().find(|judged| judged.item == item).expect("every setting is judged").verdict
}

/// What is measured with `measured` changed, on the demo procedure.
fn severity(measured: &str, item: Item) -> Option<Severity> {
    verdict(&check(&sheet(measured), &demo_procedure()), item).severity()
}

#[test]
fn static_settings_are_judged() {
    let (stop, warn, advise) = (Some(Severity::Stop), Some(Severity::Warn), Some(Severity::Advise));
    for (measured, item, expected) in [
        ("polarity = \"DCEP\"", Item::Polarity, None),
        ("polarity = \"DCEN\"", Item::Polarity, stop),
        ("coolant_before_arc = \"no\"", Item::CoolantBeforeArc, stop),
        ("coolant_before_arc = \"yes\"", Item::CoolantBeforeArc, None),
        ("rotation = \"counter-clockwise\"", Item::Rotation, warn),
        ("gas_mixture = \"Ar+2%O2\"", Item::GasMixture, None),
        ("gas_mixture = \"95Ar/5O2\"", Item::GasMixture, warn),
        ("gas_mixture = \"CO2\"", Item::GasMixture, stop),
        ("gas_mixture = \"75Ar/25CO2\"", Item::GasMixture, stop),
        ("nozzle_bore = \"3/4 in\"", Item::NozzleBore, None),
        ("nozzle_bore = \"1 in\"", Item::NozzleBore, advise),
        ("wire_diameter = \"1/16 in\"", Item::WireDiameter, None),
        ("wire_diameter = \"1.2 mm\"", Item::WireDiameter, warn),
        ("outside_diameter = \"3 1/2 in\"", Item::OutsideDiameter, None),
        ("outside_diameter = \"4 in\"", Item::OutsideDiameter, advise),
        ("torch_angle = \"10.5 deg\"", Item::Ranged(Subject::TorchAngle), advise),
        ("torch_angle = \"18 deg\"", Item::Ranged(Subject::TorchAngle), warn),
        ("tip_recess = \"-2 mm\"", Item::Ranged(Subject::TipRecess), warn),
        ("voltage = \"28 V\"", Item::Ranged(Subject::Judged(Quantity::Voltage)), stop),
        ("preheat = \"20 degC\"", Item::PREHEAT, warn),
    ] {
        assert_eq!(severity(measured, item), expected, "{measured}");
    }
}

/// Too far back: high, humped bands; too far forward: the pool rolls off the front; the other way round
/// on a machine that turns the other way: common practice, no source. The top of a joint that turns
/// clockwise moves to the right, so the side that comes up is the left one: geometry.
#[test]
fn directions_turn_with_the_joint() {
    let offset = Item::Ranged(Subject::TorchOffset);
    for (rotation, forward, back) in [("clockwise", "left", "right"), ("counter-clockwise", "right", "left")]
    {
        for (size, side, way, band) in [
            ("10 mm", Side::Low, forward, "high, humped bands"),
            ("50 mm", Side::High, back, "the pool rolls off the front"),
        ] {
            let sheet = sheet(&format!("rotation = {rotation:?}\ntorch_offset = {size:?}"));
            let checked = check(&sheet, &demo_procedure());
            let SettingVerdict::Departs(left, advice) = verdict(&checked, offset) else {
                panic!("{size} is outside")
            };
            assert_eq!(left.side, side);
            assert!(advice.left_so.contains(band), "{}", advice.left_so);
            let adjust = checked.adjust(advice);
            assert!(adjust.contains(&format!("to the {way}")), "{rotation} {size}: {adjust}");
        }
        let on_side = |side: &str| {
            let sheet = sheet(&format!("rotation = {rotation:?}\ntorch_side = {side:?}"));
            verdict(&check(&sheet, &demo_procedure()), Item::TorchSide).severity()
        };
        assert_eq!((on_side(forward), on_side(back)), (None, Some(Severity::Warn)));
    }
    // Nobody knows which way it turns: the direction is told by what the joint does.
    let silent = procedure("[torch_offset]\nallowed = [\"19 mm\", \"38 mm\"]\n");
    let checked = check(&sheet("torch_offset = \"10 mm\"\ntorch_side = \"left\""), &silent);
    let advice = verdict(&checked, offset).advice().expect("outside");
    assert!(checked.adjust(advice).contains("towards the side that comes up"));
    assert!(matches!(verdict(&checked, Item::TorchSide), SettingVerdict::NotCompared(_)));
}

/// Every size that can be off has its own words, on both sides, and no placeholder is left in them.
#[test]
fn every_setting_has_its_advice() {
    let checked = check(&sheet(""), &demo_procedure());
    for item in Item::all() {
        let all = [item.advice(Side::Low), item.advice(Side::High), item.mismatch()];
        for advice in all {
            let adjust = checked.adjust(advice);
            assert!(!adjust.contains(['{', '}']) && !advice.left_so.contains(['{', '}']), "{adjust}");
        }
        if let Item::Ranged(_) = item {
            assert_ne!(all[0], all[1], "{}", item.key());
            assert!(!all[0].adjust.starts_with("raise it"), "{} has words of its own", item.key());
        }
    }
}

#[test]
fn how_far_off_is_told_in_either_unit() {
    let checked = check(&sheet("stick_out = \"32 mm\"\npreheat = \"100 degC\""), &demo_procedure());
    let told =
        |system| strip_str(&report::setup::text(&sheet(""), &checked, &demo_procedure(), system)).to_string();
    let (metric, inch) = (told(UnitSystem::Metric), told(UnitSystem::Inch));
    assert!(metric.contains("OUTSIDE: 3 mm above 29 mm"), "{metric}");
    assert!(metric.contains("OUTSIDE: 20 degC below 120 degC"), "{metric}");
    // 20 degrees of difference, no zero shifted: 36 degF.
    assert!(inch.contains("OUTSIDE: 36 degF below 248 degF"), "{inch}");
    assert!(inch.contains("OUTSIDE: 0.118 in above 1.142 in"), "{inch}");
}

#[test]
fn what_the_procedure_lacks_is_said() {
    let bare = procedure("[current]\nallowed = [\"280 A\", \"360 A\"]\n");
    let checked = check(&SetupSheet::parse("demo", DEMO_SETUP).expect("sound"), &bare);
    let compared: Vec<_> = checked
        .settings
        .iter()
        .filter(|judged| !matches!(judged.verdict, SettingVerdict::NotCompared(_)))
        .map(|judged| judged.item.key())
        .collect();
    // The side of the torch needs only the rotation, which was measured.
    assert_eq!(compared, ["torch_side", "current"]);
    let text = report::setup::text(&SetupSheet::default(), &checked, &bare, UnitSystem::Metric);
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("not compared: the procedure gives nothing for it"));
    assert!(text.contains("so the torch may not be cooled"));
}

fn fits(measured: &str, procedure: &ProcedureFile) -> Vec<Option<bool>> {
    check(&sheet(measured), procedure).fits.iter().map(|fit| fit.is_good).collect()
}

/// The melting law after Lesnewich (from memory), scaled to the procedure's own wire; about 1/8 in of
/// overlap and 2 min on 5 in (common practice, no source).
#[test]
fn what_belongs_together_is_compared() {
    let demo = demo_procedure();
    let all = |feed: &str, step: &str, turn: &str| {
        format!(
            "wire_feed = {feed:?}\ncurrent = \"320 A\"\nstick_out = \"24 mm\"\nweave_width = \"25 mm\"\n\
             step_over = {step:?}\noutside_diameter = \"88.9 mm\"\nturn_time = {turn:?}\n"
        )
    };
    let good = Some(true);
    assert_eq!(fits(&all("7.25 m/min", "22.5 mm", "84 s"), &demo), [good; 3]);
    assert_eq!(fits(&all("8.5 m/min", "22.5 mm", "84 s"), &demo), [Some(false), good, good]);
    assert_eq!(fits(&all("7.25 m/min", "26 mm", "84 s"), &demo), [good, Some(false), good]);
    assert_eq!(fits(&all("7.25 m/min", "18 mm", "84 s"), &demo), [good, Some(false), good]);
    assert_eq!(fits(&all("7.25 m/min", "22.5 mm", "120 s"), &demo), [good, good, Some(false)]);
    assert_eq!(fits("", &demo), [None; 3]);
    // Without a procedure's own figures: the law for solid wire, the benchmark for turning.
    let solid = procedure("[wire]\ndiameter = \"1.2 mm\"\nkind = \"solid\"\n");
    let measured = |feed: &str, turn: &str| {
        format!(
            "wire_feed = {feed:?}\ncurrent = \"250 A\"\nstick_out = \"15 mm\"\noutside_diameter = \"5 in\"\n\
             turn_time = {turn:?}\n"
        )
    };
    // 250 A and 15 mm melt 121.9 mm/s.
    assert_eq!(fits(&measured("7.3 m/min", "2 min"), &solid), [good, None, good]);
    assert_eq!(fits(&measured("10 m/min", "150 s"), &solid), [Some(false), None, Some(false)]);
    let cored = procedure("[wire]\ndiameter = \"1.2 mm\"\nkind = \"metal-cored\"\n");
    assert_eq!(fits(&measured("7.3 m/min", "2 min"), &cored), [None, None, good]);
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
    )
    .expect("written to memory");
    (sheet, strip_str(&String::from_utf8(screen).expect("text")).to_string())
}

#[test]
fn the_dialogue_takes_what_a_person_types() {
    // Bare numbers are in the unit asked for; words may be shortened; `b` goes back; Enter leaves out.
    let (sheet, screen) = asked("3 1/2\ncl\n\nDCEN\nb\ndcep\n1.6 mm\nq\n", UnitSystem::Inch);
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
    assert!(sheet.entries.is_empty() && screen.contains("22/22"));
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
        prop_assert_eq!(&back.joint, &sheet.joint);
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
