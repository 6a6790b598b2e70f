//! Forty wrong setups, followed: each on four diameters, turning either way. What is advised, and how the
//! setup stands after it, worked out again by the same judge. Self-consistency: that judge and advice are
//! right is checked in `setup.rs`.

use bandward::{Quantity, Severity};
use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_sim::input::setting::Subject;
use bandward_sim::setup::consistency::Fit;
use bandward_sim::setup::steps::after;
use bandward_sim::setup::{Checked, Item, Measured, SetupSheet, check};
use bandward_sim::standing::departure;
use proptest::prelude::*;
use std::fmt::Write as _;

const DIAMETERS_MM: [f64; 4] = [88.9, 127.0, 168.3, 215.9];
const ROTATIONS: [(&str, &str, &str); 2] =
    [("clockwise", "left", "right"), ("counter-clockwise", "right", "left")];

/// What is wrong, as keys and values, `{up}` and `{down}` for the sides, sizes after `*` as a share of the
/// right one; what must be advised, as what is turned and, where it is a size, which way.
type Case = (&'static [(&'static str, &'static str)], &'static [(&'static str, i8)]);

const CASES: [Case; 40] = [
    // What is exchanged.
    (&[("polarity", "DCEN")], &[("polarity", 0)]),
    (&[("wire_diameter", "1.2 mm")], &[("wire_diameter", 1)]),
    (&[("nozzle_bore", "1 in")], &[("nozzle_bore", -1)]),
    (&[("gas_mixture", "75/25")], &[("gas_mixture", 0)]),
    (&[("gas_mixture", "95/5")], &[("gas_mixture", 0)]),
    (&[("coolant_before_arc", "no")], &[("coolant_before_arc", 0)]),
    // Gas, water and heat.
    (&[("gas_flow", "*0.6")], &[("gas_flow", 1)]),
    (&[("gas_flow", "*1.6")], &[("gas_flow", -1)]),
    (&[("coolant_flow", "*0.4")], &[("coolant_flow", 1)]),
    (&[("coolant_flow", "*1.7")], &[("coolant_flow", 0)]),
    (&[("preheat", "*0.3")], &[("preheat", 1)]),
    (&[("preheat", "*1.8")], &[("preheat", -1)]),
    // Where the torch stands.
    (&[("torch_side", "{down}")], &[("torch_side", 0)]),
    (&[("torch_side", "{down}"), ("torch_offset", "*1.6")], &[("torch_side", 0)]),
    (&[("torch_side", "{down}"), ("torch_offset", "*0.3")], &[("torch_side", 0)]),
    (&[("torch_offset", "*0.4")], &[("torch_offset", 1)]),
    (&[("torch_offset", "*1.6")], &[("torch_offset", -1)]),
    (&[("torch_angle", "5 deg")], &[("torch_angle", 1)]),
    (&[("torch_angle", "22 deg")], &[("torch_angle", -1)]),
    (&[("tip_recess", "0 mm")], &[("tip_recess", 1)]),
    (&[("tip_recess", "6 mm")], &[("tip_recess", -1)]),
    // Stick-out, which moves the amps; amps that do not go with it are measured again.
    (&[("stick_out", "14 mm")], &[("stick_out", 1), ("wire_feed", 0)]),
    (&[("stick_out", "34 mm")], &[("stick_out", -1), ("wire_feed", 0)]),
    (&[("stick_out", "15 mm"), ("current", "372 A")], &[("stick_out", 1)]),
    (&[("stick_out", "34 mm"), ("current", "278 A")], &[("stick_out", -1)]),
    // Amps by wire feed.
    (&[("wire_feed", "8.4 m/min"), ("current", "364 A")], &[("wire_feed", -1)]),
    (&[("wire_feed", "5.9 m/min"), ("current", "267 A")], &[("wire_feed", 1)]),
    (&[("wire_feed", "9.0 m/min"), ("current", "268 A")], &[("wire_feed", 0)]),
    (&[("wire_feed", "7.2 m/min"), ("current", "400 A")], &[("wire_feed", 0)]),
    // Weave, step and turning.
    (&[("weave_width", "15 mm")], &[("weave_width", 1)]),
    (&[("weave_width", "33 mm")], &[("weave_width", -1)]),
    (&[("weave_rate", "40 /min")], &[("weave_rate", 1)]),
    (&[("weave_rate", "130 /min")], &[("weave_rate", -1)]),
    (&[("step_over", "17 mm")], &[("step_over", 1)]),
    (&[("step_over", "29 mm")], &[("step_over", -1)]),
    (&[("weave_width", "18 mm"), ("step_over", "16 mm")], &[("weave_width", 1), ("step_over", 1)]),
    (&[("turn_time", "*0.7")], &[("turn_time", 1)]),
    (&[("turn_time", "*1.4")], &[("turn_time", -1)]),
    // Volts.
    (&[("voltage", "28 V")], &[("voltage", 1)]),
    // Everything at once.
    (
        &[
            ("torch_offset", "*1.6"),
            ("stick_out", "15 mm"),
            ("current", "395 A"),
            ("wire_feed", "8.0 m/min"),
            ("weave_width", "33 mm"),
            ("step_over", "30 mm"),
            ("turn_time", "*1.5"),
            ("voltage", "35 V"),
        ],
        &[
            ("torch_offset", -1),
            ("stick_out", 1),
            ("weave_width", -1),
            ("step_over", -1),
            ("wire_feed", -1),
            ("turn_time", -1),
            ("voltage", -1),
        ],
    ),
];

/// An invented procedure for a joint of 127 mm, turning `rotation`; on other diameters its turn time and
/// its torch offset go with the diameter.
fn procedure(rotation: &str) -> ProcedureFile {
    let text = include_str!("../../sim/scenarios/procedures/127.toml");
    let text = text.replace("rotation = \"clockwise\"", &format!("rotation = {rotation:?}"));
    ProcedureFile::parse("127", &text).unwrap_or_else(|errors| panic!("{errors}"))
}

/// A right setup on a joint of `diameter_mm`, with some settings changed.
fn sheet(diameter_mm: f64, rotation: (&str, &str, &str), changed: &[(&str, &str)]) -> SetupSheet {
    let (turning, up, down) = rotation;
    let share = diameter_mm / 127.0;
    let sized = [
        ("preheat", 200.0, "degC"),
        ("torch_offset", 28.0 * share, "mm"),
        ("turn_time", 120.0 * share, "s"),
        ("gas_flow", 17.5, "L/min"),
        ("coolant_flow", 6.0, "L/min"),
        ("outside_diameter", diameter_mm, "mm"),
        ("nozzle_bore", 19.0, "mm"),
        ("wire_diameter", 1.6, "mm"),
        ("tip_recess", 2.4, "mm"),
        ("stick_out", 24.0, "mm"),
        ("torch_angle", 13.5, "deg"),
        ("weave_width", 25.0, "mm"),
        ("weave_rate", 80.0, "/min"),
        ("step_over", 23.0, "mm"),
        ("wire_feed", 7.25, "m/min"),
        ("current", 320.0, "A"),
        ("voltage", 31.5, "V"),
    ];
    let words = [
        ("rotation", turning),
        ("torch_side", up),
        ("polarity", "DCEP"),
        ("gas_mixture", "98Ar/2O2"),
        ("coolant_before_arc", "yes"),
    ];
    let written = |key: &str, right: String, size: Option<(f64, &str)>| {
        let Some((_, value)) = changed.iter().find(|(changed, _)| *changed == key) else { return right };
        match (value.strip_prefix('*'), size) {
            (Some(times), Some((size, unit))) => {
                format!("{} {unit}", times.parse::<f64>().expect("a share") * size)
            }
            _ => value.replace("{up}", up).replace("{down}", down),
        }
    };
    let mut text = String::from("[measured]\n");
    for (key, size, unit) in sized {
        let value = written(key, format!("{size} {unit}"), Some((size, unit)));
        let _ = writeln!(text, "{key} = {value:?}");
    }
    for (key, word) in words {
        let _ = writeln!(text, "{key} = {:?}", written(key, word.to_owned(), None));
    }
    for (key, value) in changed.iter().filter(|(key, _)| key.starts_with("old_band")) {
        let _ = writeln!(text, "{key} = {value:?}");
    }
    SetupSheet::parse("case", &text).unwrap_or_else(|errors| panic!("{errors}"))
}

fn severities(checked: &Checked) -> Vec<(Item, Option<Severity>)> {
    let of = |judged: &bandward_sim::setup::Judged| (judged.item, judged.verdict.severity());
    checked.settings.iter().map(of).collect()
}

fn is_misfit(checked: &Checked) -> usize {
    checked.fits.iter().filter(|fit| fit.is_good == Some(false)).count()
}

/// Which way a step goes: up, down, or neither where it is no size or nothing is turned.
fn way(from: Option<Measured>, to: Option<Measured>) -> i8 {
    match (from, to) {
        (Some(Measured::Size(from)), Some(Measured::Size(to))) if to > from => 1,
        (Some(Measured::Size(from)), Some(Measured::Size(to))) if to < from => -1,
        _ => 0,
    }
}

fn every_case(mut of: impl FnMut(&str, Case, &SetupSheet, &ProcedureFile)) {
    for diameter_mm in DIAMETERS_MM {
        for rotation in ROTATIONS {
            let procedure = procedure(rotation.0);
            for case in CASES {
                let name = format!("{diameter_mm} mm, {}, {:?}", rotation.0, case.0);
                of(&name, case, &sheet(diameter_mm, rotation, case.0), &procedure);
            }
        }
    }
}

/// The setup that all cases are changed from has nothing to put right.
#[test]
fn a_right_setup_asks_for_nothing() {
    for diameter_mm in DIAMETERS_MM {
        for rotation in ROTATIONS {
            let checked = check(&sheet(diameter_mm, rotation, &[]), &procedure(rotation.0));
            assert!(checked.steps.is_empty(), "{:?}", checked.steps);
            // On another diameter than the procedure's that alone is told.
            let wrong = severities(&checked).into_iter().filter(|(_, severity)| severity.is_some());
            assert!(wrong.into_iter().all(|(item, _)| item == Item::OutsideDiameter));
            assert_eq!(is_misfit(&checked), 0);
        }
    }
}

#[test]
fn each_wrong_setup_is_told_what_to_turn_and_which_way() {
    every_case(|name, (_, expected), sheet, procedure| {
        let checked = check(sheet, procedure);
        let mut told: Vec<_> =
            checked.steps.iter().map(|step| (step.turn.key(), way(step.from, step.to))).collect();
        let mut expected = expected.to_vec();
        told.sort_unstable();
        expected.sort_unstable();
        assert_eq!(told, expected, "{name}");
    });
}

/// No control twice; nothing turned that was right unless what depends on it was not; each with a caution.
#[test]
fn no_two_pieces_of_advice_contradict_each_other() {
    every_case(|name, _, sheet, procedure| {
        let checked = check(sheet, procedure);
        for (index, step) in checked.steps.iter().enumerate() {
            assert!(checked.steps[..index].iter().all(|other| other.turn != step.turn), "{name}");
            assert!(step.caution.is_some(), "{name}: {}", step.turn.key());
            // Torch height is for the stick-out alone, turning for height, feed for amps.
            let is_lead = !matches!(step.turn, Item::Ranged(Subject::StickOut));
            assert!(
                !is_lead || !step.how.contains("torch nearer") && !step.how.contains("torch further"),
                "{name}"
            );
        }
        let json = bandward_sim::report::setup::json(sheet, &checked, procedure);
        for setting in json["settings"].as_array().expect("a list") {
            if let Some(adjust) = setting["adjust"].as_str()
                && setting["setting"] != "outside_diameter"
            {
                // The words beside a setting are those of the one step that settles it.
                assert!(
                    checked.steps.iter().any(|step| adjust.starts_with(&step.how)),
                    "{name}: {setting}: {adjust}"
                );
            }
        }
    });
}

/// Followed, every setup is better: nothing is worse than before, what was wrong is right, and nothing is
/// left but what only another procedure or another reading settles.
#[test]
fn a_setup_that_is_followed_is_right() {
    let mut followed = 0;
    every_case(|name, _, sheet, procedure| {
        let before = check(sheet, procedure);
        let right = after(sheet, procedure);
        let checked = check(&right, procedure);
        let wrong = |checked: &Checked| {
            let wrong = severities(checked).into_iter().filter(|(_, severity)| severity.is_some());
            wrong.filter(|(item, _)| *item != Item::OutsideDiameter).count() + is_misfit(checked)
        };
        assert!(wrong(&before) > 0, "{name}: nothing is wrong");
        assert_eq!(wrong(&checked), 0, "{name}: {:?}", severities(&checked));
        for ((item, was), (_, is)) in severities(&before).into_iter().zip(severities(&checked)) {
            assert!(is <= was, "{name}: {} was {was:?} and is {is:?}", item.key());
        }
        // Nothing more is to be done.
        assert!(checked.steps.is_empty(), "{name}: {:?}", checked.steps);
        // What was measured again is not taken for measured.
        let again: Vec<_> = before.steps.iter().flat_map(|step| step.measures.clone()).collect();
        assert!(again.iter().all(|item| right.value(*item).is_none()), "{name}");
        followed += 1;
    });
    assert_eq!(followed, 320);
}

/// What a step says will move is what the judge then finds.
#[test]
fn what_moves_with_a_step_is_foretold() {
    let procedure = procedure("clockwise");
    let sheet = sheet(127.0, ROTATIONS[0], &[("stick_out", "15 mm"), ("current", "372 A")]);
    let checked = check(&sheet, &procedure);
    let [step] = &checked.steps[..] else { panic!("{:?}", checked.steps) };
    let [moved] = &step.moves[..] else { panic!("{:?}", step.moves) };
    assert_eq!((moved.name.as_str(), moved.from), ("current", 372.0));
    let current = Item::Ranged(Subject::Judged(Quantity::Current));
    assert_eq!(after(&sheet, &procedure).size(current), Some(moved.to));
    // By hand: the law a I + b L I2 of 1.6 mm wire, the feed being the same at 10 and at 19 mm of wire.
    let section = 1.44 / 2.56;
    let melted = |amps: f64, extension_mm: f64| {
        0.3 * amps * section + 5e-5 * extension_mm * amps * amps * section * section
    };
    assert!((melted(372.0, 10.0) / melted(moved.to, 19.0) - 1.0).abs() < 1e-3, "{}", moved.to);
}

/// A machine whose wire melts `scale` times as fast as the law says: a I + b L I2, 1.6 mm of wire, 5 mm of arc.
struct Machine {
    scale: f64,
    feed: f64,
    stick_out_mm: f64,
}

impl Machine {
    fn melted(&self, amps: f64) -> f64 {
        let dense = amps * 1.44 / 2.56;
        60.0 * self.scale * (0.3 * dense + 5e-5 * (self.stick_out_mm - 5.0) * dense * dense)
    }
    fn amps(&self) -> f64 {
        let (mut low, mut high) = (0.0, 2000.0);
        for _ in 0..60 {
            let middle = f64::midpoint(low, high);
            if self.melted(middle) < self.feed { low = middle } else { high = middle }
        }
        low
    }
    /// Does what a setup says, and is measured again.
    fn follow(&mut self, checked: &Checked, sheet: &mut SetupSheet) {
        for step in &checked.steps {
            match (step.turn, step.to, step.until) {
                (Item::WIRE_FEED, Some(Measured::Size(feed)), _) => self.feed = feed,
                (Item::WIRE_FEED, None, Some((_, amps))) => self.feed = self.melted(amps),
                (Item::STICK_OUT, Some(Measured::Size(stick_out_mm)), _) => self.stick_out_mm = stick_out_mm,
                (turn, Some(Measured::Size(size)), _) => sheet.put_size(turn, size),
                _ => {}
            }
        }
        self.measure(sheet);
    }
    fn measure(&self, sheet: &mut SetupSheet) {
        let read = [
            (Item::WIRE_FEED, self.feed),
            (Item::STICK_OUT, self.stick_out_mm),
            (Item::CURRENT, self.amps()),
        ];
        for (item, size) in read {
            sheet.put_size(item, size);
        }
    }
}

/// However far wire feed and amps lie outside, either way: what is advised is done on a machine that melts its wire
/// within 5 % of the procedure's, all is measured again, and after three rounds at most all is within. The same where
/// the procedure limits only one of the two.
#[test]
fn amps_far_outside_are_led_back() {
    // The procedure's own wire: 7.25 m/min at 320 A and 24 mm.
    let law = Machine { scale: 1.0, feed: 0.0, stick_out_mm: 24.0 };
    let own = 7250.0 / law.melted(320.0);
    let whole = |rotation: &str| procedure(rotation).text;
    let ranges = [
        "[wire_feed]\nrecommended = [\"7.0 m/min\", \"7.5 m/min\"]\nallowed = [\"6.6 m/min\", \"8.0 m/min\"]\n",
        "[current] # invented\nrecommended = [\"300 A\", \"340 A\"]\nallowed = [\"280 A\", \"360 A\"]\n",
    ];
    let starts = [1000.0, 3000.0, 5500.0, 9000.0, 14_000.0, 18_000.0];
    let mut followed = 0;
    for (diameter_mm, rotation) in DIAMETERS_MM.into_iter().flat_map(|mm| ROTATIONS.map(|way| (mm, way))) {
        for left_out in ["", ranges[0], ranges[1]] {
            let text = whole(rotation.0);
            assert!(text.contains(left_out));
            let text = text.replace(left_out, "");
            let procedure = ProcedureFile::parse("127", &text).unwrap_or_else(|errors| panic!("{errors}"));
            for (at, feed) in starts.into_iter().enumerate() {
                let (scale, stick_out_mm) = ([0.95, 1.05][at % 2] * own, [24.0, 15.0, 34.0][at % 3]);
                let mut machine = Machine { scale, feed, stick_out_mm };
                let mut sheet = sheet(diameter_mm, rotation, &[]);
                machine.measure(&mut sheet);
                let mut checked = check(&sheet, &procedure);
                assert!(!checked.steps.is_empty());
                for _ in 0..3 {
                    machine.follow(&checked, &mut sheet);
                    checked = check(&sheet, &procedure);
                }
                let name = format!("{diameter_mm} mm, {feed} mm/min, {stick_out_mm} mm, without {left_out}");
                let wrong = severities(&checked).into_iter().filter(|(item, severity)| {
                    *item != Item::OutsideDiameter && *severity >= Some(Severity::Warn)
                });
                assert_eq!(wrong.count() + is_misfit(&checked), 0, "{name}: {:?}", checked.steps);
                followed += 1;
            }
        }
    }
    assert_eq!(followed, 4 * 2 * 3 * 6);
}

/// Height by conservation of volume, mm: wire fed in a turn, over the way of a turn and the width of the weave with 0.5 mm
/// of pool on either side.
fn laid_mm(feed: f64, turn_s: f64, diameter_mm: f64, weave_mm: f64, share: f64) -> f64 {
    let wire_mm3 = feed / 60.0 * turn_s * std::f64::consts::PI * 0.25 * 1.6 * 1.6 * share;
    wire_mm3 / (std::f64::consts::PI * diameter_mm * (weave_mm + 1.0))
}

/// Without a feed in the procedure, as with one, of solid and of cored wire: what is advised is done on a machine, and
/// neither amps nor height are outside then, worked out by hand; or nothing is turned, and it is told what to measure.
#[test]
fn no_advice_leads_to_a_height_outside() {
    let law = Machine { scale: 1.0, feed: 0.0, stick_out_mm: 24.0 };
    let own = 7250.0 / law.melted(320.0);
    let with_feed = procedure("clockwise").text;
    let of_feed = "[wire_feed]\nrecommended = [\"7.0 m/min\", \"7.5 m/min\"]\nallowed = [\"6.6 m/min\", \"8.0 m/min\"]\n";
    assert!(with_feed.contains(of_feed) && with_feed.contains("fill = \"100 %\""));
    let without = with_feed.replace(of_feed, "");
    let cored = without.replace("fill = \"100 %\"", "fill = \"85 %\"");
    let (mut both, mut measured) = (0, 0);
    for (text, fill) in [(&with_feed, 1.0), (&without, 1.0), (&cored, 0.85)] {
        let procedure = ProcedureFile::parse("127", text).unwrap_or_else(|errors| panic!("{errors}"));
        for (scale, share, turn_s, weave_mm) in [0.85, 0.95, 1.0, 1.1, 1.2].into_iter().flat_map(|scale| {
            let turns = [100.0, 113.0, 120.0, 127.0, 140.0];
            let feeds = [0.75, 0.9, 1.0, 1.1, 1.25];
            feeds.into_iter().flat_map(move |share| {
                turns
                    .into_iter()
                    .flat_map(move |turn| [22.5, 25.0, 27.5].map(|weave| (scale, share, turn, weave)))
            })
        }) {
            let mut machine = Machine { scale: scale * own, feed: share * 7250.0, stick_out_mm: 24.0 };
            let mut sheet = sheet(127.0, ROTATIONS[0], &[]);
            sheet.put_size(Item::TURN_TIME, turn_s);
            sheet.put_size(Item::WEAVE_WIDTH, weave_mm);
            sheet.put_size(Item::STEP_OVER, weave_mm - 2.0);
            machine.measure(&mut sheet);
            let name = format!("{scale} {share} {turn_s} s {weave_mm} mm, fill {fill}");
            let checked = check(&sheet, &procedure);
            let is_outside = |checked: &Checked| {
                checked.fits.iter().any(Fit::breaks)
                    || severities(checked).iter().any(|(_, severity)| *severity >= Some(Severity::Warn))
            };
            assert!(!is_outside(&checked) || !checked.steps.is_empty(), "{name}: no advice");
            if checked.steps.iter().any(|step| !step.measures.is_empty()) {
                measured += 1;
                continue;
            }
            let turned = |item| checked.steps.iter().any(|step| step.turn == item);
            both += usize::from(turned(Item::WIRE_FEED) && turned(Item::TURN_TIME));
            machine.follow(&checked, &mut sheet);
            let size = |item| sheet.size(item).expect("measured");
            let [turn_s, weave_mm] = [Item::TURN_TIME, Item::WEAVE_WIDTH].map(size);
            let height = laid_mm(machine.feed, turn_s, 127.0, weave_mm, 0.95 * fill);
            // The program reckons in steps of 1/256 mm.
            assert!((2.295..=3.305).contains(&height), "{name}: {height} mm: {:?}", checked.steps);
            assert!((279.9..=360.1).contains(&machine.amps()), "{name}: {} A", machine.amps());
        }
    }
    assert!(both > 20 && measured > 20, "{both} {measured}");
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, cases: 100, ..ProptestConfig::default() })]

    /// Whatever is wrong, whichever pole, whatever was not measured: each control that is turned has a value or a
    /// reading to go to; no reading is foretold into the red unless a later step puts it right; nothing ends worse.
    #[test]
    fn no_step_goes_into_the_red_without_a_target(
        shares in prop::collection::vec(0.55..1.6_f64, 10),
        is_left_out in prop::collection::vec(prop::bool::weighted(0.15), 10),
        is_negative in any::<bool>(),
    ) {
        let keys = [
            "torch_offset", "turn_time", "gas_flow", "stick_out", "torch_angle", "weave_width", "step_over",
            "wire_feed", "current", "voltage",
        ];
        let right = sheet(127.0, ROTATIONS[0], if is_negative { &[("polarity", "DCEN")] } else { &[] });
        let mut measured = right.clone();
        for ((key, share), is_left_out) in keys.into_iter().zip(shares).zip(is_left_out) {
            let item = Item::all().find(|item| item.key() == key).expect("an item");
            let size = right.size(item).expect("a size") * share;
            measured.put_size(item, size);
            if is_left_out {
                measured.entries.retain(|entry| entry.item != item);
            }
        }
        let text = include_str!("../../sim/scenarios/procedures/127.toml");
        let text = if is_negative { text.replace("\"DCEP\"", "\"DCEN\"") } else { text.to_owned() };
        let procedure = ProcedureFile::parse("127", &text).unwrap_or_else(|errors| panic!("{errors}"));
        let checked = check(&measured, &procedure);
        for (index, step) in checked.steps.iter().enumerate() {
            let is_turned = matches!(step.turn, Item::Ranged(_)) && step.turn != Item::COOLANT_FLOW;
            let has_target = step.to.is_some() || step.until.is_some() || !step.measures.is_empty();
            prop_assert!(!is_turned || has_target, "{:?}", step);
            for moved in &step.moves {
                let Some(item) = Item::all().find(|item| item.title() == moved.name) else { continue };
                let Item::Ranged(subject) = item else { continue };
                let setting = procedure.setting_on(subject, Some(127.0)).expect("given");
                let is_red = |value| {
                    departure(value, &setting).is_some_and(|left| left.severity >= Severity::Warn)
                };
                let is_put_right = checked.steps[index + 1..].iter().any(|later| {
                    later.settles.contains(&item) || later.measures.contains(&item)
                });
                prop_assert!(is_red(moved.from) || !is_red(moved.to) || is_put_right, "{:?}", step);
            }
        }
        let right = after(&measured, &procedure);
        let followed = check(&right, &procedure);
        for ((item, was), (_, is)) in severities(&checked).into_iter().zip(severities(&followed)) {
            prop_assert!(is < Some(Severity::Warn) || is <= was, "{} was {:?} and is {:?}", item.key(), was, is);
        }
    }
}

/// Over what is left of an old band 22 to 26 mm are allowed as beside it (23 to 25 mm recommended): of 3.2 to 4 mm left
/// only 25.2 to 26 mm on the bare joint do, by hand, an advisory, and are found, however narrow what is left.
#[test]
fn the_last_half_millimetre_of_stick_out_over_an_old_band_is_found() {
    let own = include_str!("../../sim/scenarios/procedures/127.toml");
    let (head, tail) = own.split_once("[stick_out]").expect("it has one");
    let (_, tail) = tail.split_once("\n\n").expect("a table after it");
    let text = format!(
        "{head}[stick_out]\nrecommended = [\"23 mm\", \"25 mm\"]\nallowed = [\"22 mm\", \"26 mm\"]\n\n{tail}"
    );
    let text = text.replace("[joint]\n", "[joint]\nover_old_bands = \"compatible\"\n");
    let procedure = ProcedureFile::parse("test", &text).unwrap_or_else(|errors| panic!("{errors}"));
    for left_mm in [2.2, 3.2, 3.5, 3.8, 3.95] {
        let left = format!("{left_mm} mm");
        let changed = [("old_band", "compatible"), ("old_band_height", left.as_str())];
        let measured = sheet(127.0, ROTATIONS[0], &changed);
        let checked = check(&measured, &procedure);
        let step = checked.steps.iter().find(|step| step.turn == Item::STICK_OUT);
        let to = step.and_then(|step| step.to);
        let Some(Measured::Size(to)) = to else { panic!("{left_mm} mm left: {:?}", checked.steps) };
        assert!(to <= 26.0 && to - left_mm >= 22.0, "{to} mm over {left_mm} mm");
    }
}

/// Metal that piles up too high by a wire feed that is itself off is put right by the feed: the right step stays, and
/// what follows from following the advice is not taken back.
#[test]
fn a_right_step_stays_where_the_feed_is_turned_anyway() {
    let procedure = procedure("clockwise");
    let of = |step_mm: f64| {
        let mut measured = sheet(127.0, ROTATIONS[0], &[("wire_feed", "7.92 m/min"), ("current", "352 A")]);
        measured.put_size(Item::STEP_OVER, step_mm);
        check(&measured, &procedure).steps.iter().map(|step| step.turn).collect::<Vec<_>>()
    };
    for step_mm in [22.6, 23.0, 23.48] {
        let turns = of(step_mm);
        assert!(
            turns.contains(&Item::WIRE_FEED) && !turns.contains(&Item::STEP_OVER),
            "{step_mm}: {turns:?}"
        );
    }
}
