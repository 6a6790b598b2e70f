//! The wait before the next band, as `watch` tells it: Newton's law of cooling, and thermometers that tell nothing.

use bandward::Quantity;
use bandward_sim::demo;
use bandward_sim::input::quantity::UnitSystem;
use bandward_sim::input::setting::Subject;
use bandward_sim::watch::next_band::NextBand;

/// Newton's law of cooling, T = 20 + 400 exp(-k t): the time to a limit is known, and is found.
#[test]
fn the_next_band_is_counted_down() {
    let demo = demo::procedure().expect("sound");
    let at = |time_s: f64| 20.0 + 430.0 * (-time_s / 1500.0).exp();
    let mut next = NextBand::default();
    let tell = |next: &NextBand, band, time_s: f64| {
        next.advice(&demo, band, (time_s * 1e6) as u64, UnitSystem::Metric)
    };
    next.take(0, Some(900.0), true);
    let mut time_s = 0.0;
    while time_s < 30.0 {
        next.take((time_s * 1e6) as u64, Some(at(time_s)), false);
        time_s += 0.25;
    }
    let exact_s = 1500.0 * (430.0_f64 / 380.0).ln() - time_s;
    let told_s = next.seconds_until(400.0, (time_s * 1e6) as u64).expect("it falls");
    assert!((told_s - exact_s).abs() < 2.0, "{told_s} against {exact_s}");
    let advice = tell(&next, 1, time_s).expect("too hot");
    assert!(advice.starts_with("next band in 2:3") && advice.contains("at most 400 degC"), "{advice}");
    // Nothing after the last band; without a reading of now that is told, and never "for the arc".
    assert_eq!(tell(&next, 3, time_s), None);
    let unknown =
        |next: &NextBand, time_s| tell(next, 1, time_s).is_some_and(|advice| advice.contains("not known"));
    assert!(unknown(&next, time_s + 10.0));
    // How old, and how old it may be: the last one was read a quarter of a second before.
    assert!(
        tell(&next, 1, time_s + 10.0).is_some_and(|told| told.contains("last read 10 s ago, at most 5 s"))
    );
    let mut blind = NextBand::default();
    blind.take(60_000_000, Some(400.0), true);
    assert!(!unknown(&blind, 60.0));
    blind.take(61_000_000, None, false);
    assert!(!unknown(&blind, 62.0) && unknown(&blind, 67.0));
    let held = |work_c: f64| {
        let mut next = NextBand::default();
        for second in 0..40_u64 {
            next.take(second * 1_000_000, Some(work_c), false);
        }
        tell(&next, 1, 40.0)
    };
    assert_eq!(held(300.0), None);
    // Read and in range is told as that, and as nothing where it is not.
    let in_range = |work_c: f64| {
        let mut next = NextBand::default();
        for second in 0..40_u64 {
            next.take(second * 1_000_000, Some(work_c), false);
        }
        next.in_range(&demo, 1, 40_000_000, UnitSystem::Metric)
    };
    assert!(
        in_range(300.0).is_some_and(|told| told.contains("next band: joint 300 degC")),
        "{:?}",
        in_range(300.0)
    );
    assert_eq!((in_range(100.0), in_range(500.0)), (None, None));
    assert!(held(100.0).is_some_and(|advice| advice.starts_with("warm up")));
    assert!(held(500.0).is_some_and(|advice| advice.starts_with("wait before the next band")));
    // A fall that would take days is no wait that could be told, and one that has stopped is none.
    let seconds = |fall: fn(f64) -> f64| {
        let mut next = NextBand::default();
        (0..=70_u64).for_each(|second| next.take(second * 1_000_000, Some(fall(second as f64)), false));
        next.seconds_until(350.0, 70_000_000)
    };
    assert_eq!(seconds(|time_s| 400.0 - 1e-4 * time_s), None);
    assert_eq!(seconds(|time_s| 440.0 - time_s.min(30.0)), None);
    assert!(seconds(|time_s| 440.0 - time_s).is_some());
}

/// Before the first band: what the preheat is, what is asked, and how long the burner takes; half a kelvin a second.
#[test]
fn the_preheat_is_told_before_the_first_band() {
    let demo = demo::procedure().expect("sound");
    let setting = demo.setting(Subject::Judged(Quantity::Preheat)).expect("a preheat is asked for");
    let least_c = setting.allowed.and_then(|range| range.low).expect("a lowest");
    let tell = |from_c: f64, rate: f64| {
        let mut next = NextBand::default();
        for tenth in 0..=400_u64 {
            next.take(tenth * 100_000, Some(from_c + rate * tenth as f64 / 10.0), false);
        }
        next.advice(&demo, 0, 40_000_000, UnitSystem::Metric)
    };
    let told = tell(least_c - 60.0, 0.5).expect("too cold");
    // 40 K are left after 40 s, at half a kelvin a second: 80 s, by hand.
    assert!(told.starts_with("preheat: warm up, about 1:2") && told.contains("at least"), "{told}");
    let told = tell(least_c - 60.0, 0.0).expect("too cold");
    assert!(told.starts_with("preheat: warm up: joint"), "{told}");
    assert_eq!(tell(least_c + 5.0, 0.0), None);
    assert!(tell(600.0, 0.0).is_some_and(|told| told.starts_with("preheat: wait before the first band")));
    // The rule looks at the last seconds: what has just come up to the limit is not there yet.
    assert!(tell(least_c - 39.5, 1.0).is_some_and(|told| told.contains("warm up")));
    let mut blind = NextBand::default();
    blind.take(1_000_000, None, false);
    let told = blind.advice(&demo, 0, 20_000_000, UnitSystem::Metric).expect("nothing is read");
    assert!(told.contains("before the first band") && told.contains("not known"), "{told}");
}
