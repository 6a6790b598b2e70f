//! Advice that is checked by doing it: amps by wire feed where no law tells them, and the weave where the procedure gives
//! no range of it. Self-consistency: that the judge is right is checked in `setup.rs`.

use crate::setup::{procedure, sheet};
use bandward_sim::setup::consistency::{Belonging, Fit};
use bandward_sim::setup::steps::after;
use bandward_sim::setup::{Checked, Item, Measured, Step, check};

const FEED: &str = "[wire_feed]\nrecommended = [\"6.98 m/min\", \"7.42 m/min\"]\nallowed = [\"6.62 m/min\", \"7.92 m/min\"]\n";
const AMPS: &str = "[current]\nrecommended = [\"300 A\", \"340 A\"]\nallowed = [\"280 A\", \"360 A\"]\n";

fn is_measured_again(steps: &[Step]) -> bool {
    steps.iter().any(|step| step.measures == [Item::WIRE_FEED, Item::CURRENT])
}

/// On the negative pole the law is not known, but more feed is more amps by something between its square root and itself:
/// on wires at either end of that, however far off, what is advised never drives the feed out of its own range, and ends
/// within, or with both measured again.
#[test]
fn amps_by_feed_end_on_the_negative_pole() {
    let own = procedure(&format!("[wire]\npolarity = \"DCEN\"\n{FEED}{AMPS}"));
    let (mut ended, mut measured) = (0, 0);
    for (power, start_m, amps) in [0.5, 0.75, 1.0].into_iter().flat_map(|power| {
        let feeds = [6.7, 6.98, 7.2, 7.42, 7.9];
        feeds
            .into_iter()
            .flat_map(move |feed| (250..400).step_by(7).map(move |amps| (power, feed, f64::from(amps))))
    }) {
        let law = |feed_m: f64| amps * (feed_m / start_m).powf(power);
        let mut feed_m: f64 = start_m;
        let name = format!("{power} {start_m} m/min {amps} A");
        let mut rounds = 0;
        loop {
            let text = format!(
                "polarity = \"DCEN\"\nwire_feed = \"{feed_m} m/min\"\ncurrent = \"{} A\"\ncoolant_before_arc = \"yes\"",
                law(feed_m)
            );
            let checked = check(&sheet(&text), &own);
            let Some(step) = checked.steps.first() else { break };
            if is_measured_again(&checked.steps) {
                measured += 1;
                break;
            }
            feed_m = match (step.to, step.until) {
                (Some(Measured::Size(to)), _) => to / 1000.0,
                (None, Some((Item::CURRENT, until))) => start_m * (until / amps).powf(1.0 / power),
                _ => panic!("{name}: {step:?}"),
            };
            assert!((6.62..=7.92).contains(&feed_m), "{name}: {feed_m} m/min: {step:?}");
            rounds += 1;
            assert!(rounds < 4, "{name}: {step:?}");
        }
        ended += 1;
    }
    assert_eq!(ended, 3 * 5 * 22);
    assert!(measured > 20 && measured < ended, "{measured} of {ended}");
}

/// At 7.2 m/min, in the middle of its range, 288 A are not brought to 300 A by any feed of it: 7.42 / 7.2 is 3 %.
#[test]
fn a_feed_that_cannot_bring_the_amps_is_measured_again() {
    let of = |polarity: &str, amps: &str| {
        let text = format!(
            "[wire]\ndiameter = \"1.6 mm\"\nkind = \"solid\"\npolarity = {polarity:?}\n[stick_out]\n\
             allowed = [\"20 mm\", \"28 mm\"]\n{FEED}{AMPS}"
        );
        let measured = format!(
            "polarity = {polarity:?}\nstick_out = \"24 mm\"\nwire_feed = \"7.2 m/min\"\ncurrent = {amps:?}"
        );
        check(&sheet(&measured), &procedure(&text)).steps
    };
    for amps in ["288 A", "352 A", "372 A"] {
        assert!(is_measured_again(&of("DCEN", amps)), "{amps}: {:?}", of("DCEN", amps));
    }
    // 1 % more feed brings 0.5 % more amps at least.
    let steps = of("DCEN", "299 A");
    assert!(steps[0].until.is_some_and(|(_, amps)| (300.0..304.0).contains(&amps)), "{steps:?}");
}

fn is_overlap_good(checked: &Checked) -> bool {
    checked.fits.iter().any(|fit| fit.of == Belonging::Overlap && fit.is_good == Some(true))
}

/// A band of 26 mm with a step of 22.5 to 23.5 mm and no range of weaves: a wrong overlap is put right by the weave, by
/// the step, or by both; followed, it is right, and nothing is left to do.
#[test]
fn the_weave_is_advised_where_the_step_alone_does_not_do() {
    let own = |step: &str| procedure(&format!("[joint]\nband_width = \"26 mm\"\n{step}"));
    let given = "[step_over]\nrecommended = [\"22.5 mm\", \"23.5 mm\"]\nallowed = [\"22 mm\", \"24 mm\"]\n";
    // Weave, step, and which of the two are turned: up, down, or not.
    for (weave, step, ways) in [
        (18.0, 19.0, [1, 1]),
        (15.0, 23.0, [1, 0]),
        (29.0, 23.0, [-1, 0]),
        (33.0, 29.0, [-1, -1]),
        (26.0, 29.0, [0, -1]),
        (26.0, 19.0, [0, 1]),
        (26.0, 23.0, [0, 0]),
        (25.0, 23.0, [0, 0]),
    ] {
        let own = own(given);
        let measured = sheet(&format!(
            "weave_width = \"{weave} mm\"\nstep_over = \"{step} mm\"\ncoolant_before_arc = \"yes\""
        ));
        let checked = check(&measured, &own);
        let way = |item| {
            let step = checked.steps.iter().find(|step| step.turn == item);
            step.map_or(0, |step| match (step.from, step.to) {
                (Some(Measured::Size(from)), Some(Measured::Size(to))) if to > from => 1,
                _ => -1,
            })
        };
        assert_eq!(
            [Item::WEAVE_WIDTH, Item::STEP_OVER].map(way),
            ways,
            "{weave} {step}: {:?}",
            checked.steps
        );
        assert!(checked.steps.iter().all(|step| step.caution.is_some()), "{:?}", checked.steps);
        let right = check(&after(&measured, &own), &own);
        assert!(is_overlap_good(&right) && right.steps.is_empty(), "{weave} {step}: {:?}", right.steps);
        assert!(!right.fits.iter().any(Fit::breaks));
    }
    // Neither width nor step in the procedure: the step goes to the weave, as it always did.
    let checked = check(&sheet("weave_width = \"25 mm\"\nstep_over = \"31 mm\""), &procedure(""));
    let [step] = &checked.steps[..] else { panic!("{:?}", checked.steps) };
    assert!(step.turn == Item::STEP_OVER && step.how.contains("shorter step"), "{step:?}");
}
