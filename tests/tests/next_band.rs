//! The wait before the next band, as `watch` tells it: Newton's law of cooling, and thermometers that tell nothing.

use bandward_sim::demo;
use bandward_sim::input::quantity::UnitSystem;
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
    // Nothing before the first band and after the last; without a reading of now that is told, and never "for the arc".
    assert_eq!([tell(&next, 0, time_s), tell(&next, 3, time_s)], [None, None]);
    let unknown =
        |next: &NextBand, time_s| tell(next, 1, time_s).is_some_and(|advice| advice.contains("not known"));
    assert!(unknown(&next, time_s + 10.0));
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
