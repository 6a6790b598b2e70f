//! An arc that is struck, burns, goes out and comes back; when it is which follows from the settings and times stated.

use super::*;
use crate::units::{Current, Voltage};
use std::format;

const SETTINGS: ArcSettings = ArcSettings {
    current_on: Current::from_milli(50_000),
    current_off: Current::from_milli(30_000),
    open_circuit: Voltage::from_milli(50_000),
    strike_us: 1_000_000,
    outage_join_us: 3_000_000,
    gap_join_us: 1_000_000,
    crater_fill_us: 0,
};
const AMPS: i32 = Current::from_milli(300_000).to_bits();
const VOLTS: i32 = Voltage::from_milli(30_000).to_bits();
const MS: u64 = 1000;

/// An arc read every 20 ms, whose current moves in its last digit.
struct Told {
    arc: ArcTracker,
    now_us: u64,
    gas: bool,
}

fn told() -> Told {
    Told { arc: ArcTracker::new(SETTINGS, 20_000), now_us: 10_000_000, gas: false }
}

impl Told {
    fn take(&mut self, current: Option<i32>, voltage: Option<i32>) -> Change {
        self.now_us += 20 * MS;
        self.arc.observe(self.now_us, current, voltage, self.gas, false, true)
    }
    /// Burns, or is out, for so long; the last change that was none of the phase alone.
    fn for_ms(&mut self, burns: bool, ms: u64) -> Change {
        let mut last = Change::None;
        for _ in 0..ms / 20 {
            let amps = if burns { AMPS + (self.now_us / 20_000 % 7) as i32 } else { 0 };
            let change = self.take(Some(amps), Some(if burns { VOLTS } else { 0 }));
            if !matches!(change, Change::None | Change::Phase) {
                last = change;
            }
        }
        last
    }
    fn settled() -> Self {
        let mut told = told();
        assert_eq!(told.for_ms(true, 1100), Change::BandBegan);
        assert_eq!(told.arc.phase(), Phase::Arc);
        told
    }
}

#[test]
fn it_burns_from_one_current_on_and_to_another() {
    let (on, off) = (SETTINGS.current_on.to_bits(), SETTINGS.current_off.to_bits());
    for sign in [1, -1] {
        let mut told = told();
        for (amps, is_lit) in
            [(on - 1, false), (on, true), (off, true), (off - 1, false), (on - 1, false), (on + 1, true)]
        {
            told.take(Some(sign * amps), Some(VOLTS));
            assert_eq!(told.arc.is_lit(), is_lit, "{amps}");
        }
    }
}

/// Without a current: a voltage of an arc, from 8 V to the open circuit.
#[test]
fn a_voltage_alone_tells_of_the_arc() {
    let (low, open) = (LOWEST_ARC_VOLTAGE as i32, SETTINGS.open_circuit.to_bits());
    for (volts, is_lit) in
        [(low - 1, false), (low, true), (-low, true), (open - 1, true), (open, false), (-open, false)]
    {
        let mut told = told();
        told.take(None, Some(volts));
        assert_eq!(told.arc.is_lit(), is_lit, "{volts}");
    }
    // Once it burns, a short circuit of no more than 10 ms is no end of it.
    for (wait_us, is_lit) in [(10_000, true), (10_001, false)] {
        let mut told = told();
        told.take(None, Some(VOLTS));
        told.arc.observe(told.now_us + wait_us, None, Some(low - 1), false, false, true);
        assert_eq!(told.arc.is_lit(), is_lit, "{wait_us}");
    }
}

/// Without any reading the last finding holds for half a second, or two samples where they come slower.
#[test]
fn without_readings_the_last_finding_holds() {
    for (period_us, hold_us) in [(20_000, 500_000), (250_001, 500_002), (1_000_000, 2_000_000)] {
        for (wait_us, is_lit) in [(hold_us, true), (hold_us + 1, false)] {
            let mut arc = ArcTracker::new(SETTINGS, period_us);
            arc.observe(10_000_000, Some(AMPS), Some(VOLTS), false, false, true);
            arc.observe(10_000_000 + wait_us, None, None, false, false, true);
            assert_eq!(arc.is_lit(), is_lit, "{period_us} {wait_us}");
            assert_eq!(arc.was_blind(), !is_lit);
        }
    }
    let mut arc = ArcTracker::new(SETTINGS, 20_000);
    arc.observe(10_000_000, None, None, false, false, true);
    assert!(!arc.is_lit(), "nothing was found before");
}

/// A current that stands to the last bit beside an open circuit, or beside no voltage for longer than a short circuit.
#[test]
fn a_frozen_current_is_no_arc() {
    let open = SETTINGS.open_circuit.to_bits();
    for (volts, wait_us, amps, is_lit) in [
        (open, 1000, AMPS, false),
        (open, 1000, AMPS + 1, true),
        (0, 10_000, AMPS, true),
        (0, 10_001, AMPS, false),
        (0, 10_001, AMPS + 1, true),
        (VOLTS, 1_000_000, AMPS, true),
    ] {
        let mut arc = ArcTracker::new(SETTINGS, 1000);
        arc.observe(10_000_000, Some(AMPS), Some(VOLTS), false, false, true);
        arc.observe(10_000_000 + wait_us, Some(amps), Some(volts), false, false, true);
        assert_eq!(arc.is_lit(), is_lit, "{volts} {wait_us} {amps}");
    }
}

/// Neither voltage nor feed: at an open circuit at once, at no voltage after 0.1 s.
#[test]
fn a_current_beside_neither_voltage_nor_wire_is_none() {
    let open = SETTINGS.open_circuit.to_bits();
    for (volts, wait_us, rests, is_lit) in [
        (open, 1000, true, false),
        (open, 1000, false, true),
        (0, 100_000, true, true),
        (0, 100_001, true, false),
        (0, 100_001, false, true),
        (VOLTS, 1_000_000, true, true),
    ] {
        let mut arc = ArcTracker::new(SETTINGS, 1000);
        arc.observe(10_000_000, Some(AMPS), Some(VOLTS), false, rests, true);
        arc.observe(10_000_000 + wait_us, Some(AMPS + 1), Some(volts), false, rests, true);
        assert_eq!(arc.is_lit(), is_lit, "{volts} {wait_us} {rests}");
    }
}

#[test]
fn a_weld_goes_from_gas_to_gas() {
    let mut told = told();
    assert_eq!((told.for_ms(false, 100), told.arc.phase()), (Change::None, Phase::Idle));
    told.gas = true;
    assert_eq!((told.take(Some(0), Some(0)), told.arc.phase()), (Change::Phase, Phase::PreFlow));
    told.gas = false;
    assert_eq!((told.take(Some(0), Some(0)), told.arc.phase()), (Change::Phase, Phase::Idle));
    told.gas = true;
    let _ = told.take(Some(0), Some(0));
    assert_eq!((told.take(Some(AMPS), Some(VOLTS)), told.arc.phase()), (Change::BandBegan, Phase::Strike));
    assert!(told.arc.phase().is_in_band());
    let struck_us = told.now_us;
    // The strike is over after its second, where it may settle.
    told.for_ms(true, 980);
    assert_eq!(told.arc.phase(), Phase::Strike);
    told.now_us += 20 * MS;
    assert_eq!(told.now_us - struck_us, 1_000_000);
    let change = told.arc.observe(told.now_us, Some(AMPS), Some(VOLTS), true, false, false);
    assert_eq!((change, told.arc.phase()), (Change::None, Phase::Strike), "it may not settle");
    let change = told.arc.observe(told.now_us, Some(AMPS), Some(VOLTS), true, false, true);
    assert_eq!((change, told.arc.phase()), (Change::Phase, Phase::Arc));
    told.for_ms(true, 1000);
    let out_us = told.now_us;
    assert_eq!((told.take(Some(0), Some(0)), told.arc.phase()), (Change::Phase, Phase::Outage));
    assert!(told.arc.phase().is_in_band());
    assert_eq!((told.arc.lit_us(), told.arc.seen_out_us()), (out_us, Some(out_us)));
    assert!(told.arc.was_seen_going_out());
    // Given up three seconds after its last instant.
    assert_eq!(told.for_ms(false, 2960), Change::None);
    assert_eq!(told.arc.phase(), Phase::Outage);
    assert_eq!((told.take(Some(0), Some(0)), told.arc.phase()), (Change::BandEnded, Phase::PostFlow));
    assert_eq!(told.now_us - out_us, 3_000_000);
    assert!(!told.arc.phase().is_in_band());
    told.gas = false;
    assert_eq!((told.take(Some(0), Some(0)), told.arc.phase()), (Change::Phase, Phase::Idle));
    // From idle, and from gas after a band, a strike begins a band.
    assert_eq!(told.for_ms(true, 1100), Change::BandBegan);
    assert_eq!((told.for_ms(false, 3100), told.arc.phase()), (Change::BandEnded, Phase::Idle));
    told.for_ms(true, 1100);
    told.gas = true;
    assert_eq!((told.for_ms(false, 3100), told.arc.phase()), (Change::BandEnded, Phase::PostFlow));
    assert_eq!(told.take(Some(AMPS), Some(VOLTS)), Change::BandBegan);
}

/// Back within 0.1 s and two and a half samples, 0.15 s, a settled arc has not to settle again; later it has.
#[test]
fn a_short_outage_needs_no_new_strike() {
    for (out_ms, phase) in [(20, Phase::Arc), (120, Phase::Arc), (160, Phase::Strike), (2000, Phase::Strike)]
    {
        let mut told = Told::settled();
        assert_eq!(told.for_ms(false, out_ms), Change::None);
        assert_eq!(told.take(Some(AMPS), Some(VOLTS)), Change::Restruck, "{out_ms}");
        assert_eq!(told.arc.phase(), phase, "{out_ms}");
        if phase == Phase::Strike {
            told.for_ms(true, 900);
            assert_eq!(told.arc.phase(), Phase::Strike, "it settles anew");
            told.for_ms(true, 200);
        }
        assert_eq!(told.arc.phase(), Phase::Arc);
    }
}

/// While it is being struck it may go out and come back four times, each within 0.15 s.
#[test]
fn a_strike_may_go_out_for_moments() {
    let mut told = told();
    told.for_ms(true, 100);
    for round in 1..=5 {
        assert_eq!(told.for_ms(false, 60), Change::None);
        let expected = if round <= 4 { Change::Reignited } else { Change::Restruck };
        assert_eq!(told.for_ms(true, 60), expected, "{round}");
        assert_eq!(told.arc.phase(), Phase::Strike);
    }
    // The strike goes on, with four more, and settles a second after it began.
    assert_eq!(told.for_ms(false, 60), Change::None);
    assert_eq!(told.for_ms(true, 60), Change::Reignited);
    told.for_ms(true, 100);
    assert_eq!(told.arc.phase(), Phase::Strike);
    told.for_ms(true, 150);
    assert_eq!(told.arc.phase(), Phase::Arc);
    // Of a longer one it is an outage.
    let mut told = self::told();
    told.for_ms(true, 100);
    told.for_ms(false, 200);
    assert_eq!(told.for_ms(true, 60), Change::Restruck);
}

/// Struck again and again, for too short to settle: once it has burned so for five seconds and twice the time of a strike, it
/// settles at once.
#[test]
fn an_arc_without_peace_settles_in_the_end() {
    let mut told = told();
    let burnt_ms = 600;
    for round in 0..24 {
        told.for_ms(true, burnt_ms);
        let expected = if round * burnt_ms < 7_000 { Phase::Strike } else { Phase::Arc };
        // Of each arc the first instant does not count, and it settles with its second.
        if (round * burnt_ms).abs_diff(7_000) > 700 {
            assert_eq!(told.arc.phase(), expected, "{round}");
        }
        told.for_ms(false, 500);
    }
    assert!(told.arc.is_restless());
    told.for_ms(false, 3_000);
    told.for_ms(true, 600);
    assert_eq!(told.arc.phase(), Phase::Strike, "another band");
}

/// Out in the dark: nobody knows since when, or whether at all.
#[test]
fn what_happened_without_readings_is_not_known() {
    let mut told = Told::settled();
    let lit_us = told.now_us;
    for _ in 0..50 {
        told.take(None, None);
    }
    assert_eq!((told.arc.phase(), told.arc.seen_out_us()), (Phase::Outage, None));
    assert!(!told.arc.was_seen_going_out() && told.arc.was_blind());
    let held_us = told.arc.lit_us();
    assert_eq!(held_us, lit_us + 500 * MS, "held for half a second");
    assert_eq!((told.take(Some(AMPS), Some(VOLTS)), told.arc.phase()), (Change::SeenAgain, Phase::Strike));
    // Seen out after a time without readings: since then.
    let mut told = Told::settled();
    for _ in 0..50 {
        told.take(None, None);
    }
    told.take(Some(0), Some(0));
    assert_eq!(told.arc.seen_out_us(), Some(told.now_us));
    assert!(!told.arc.was_seen_going_out());
    told.take(Some(0), Some(0));
    assert_eq!(told.arc.seen_out_us(), Some(told.now_us - 20 * MS), "the first");
    assert_eq!(told.take(Some(AMPS), Some(VOLTS)), Change::Restruck);
    // Seen out while readings came: since it burned last.
    let mut told = Told::settled();
    let lit_us = told.now_us;
    told.take(Some(0), Some(0));
    told.take(None, None);
    assert_eq!(told.arc.seen_out_us(), Some(lit_us));
    assert!(!told.arc.was_blind());
}

/// The short way is for a closed circuit in a settled arc alone.
#[test]
fn the_short_way_is_for_a_settled_arc() {
    let (off, low, open) =
        (SETTINGS.current_off.to_bits(), LOWEST_ARC_VOLTAGE as i32, SETTINGS.open_circuit.to_bits());
    for (amps, volts, expected) in [
        (AMPS, VOLTS, true),
        (-AMPS, -VOLTS, true),
        (off, VOLTS, true),
        (off - 1, VOLTS, false),
        (AMPS, low, true),
        (AMPS, low - 1, false),
        (AMPS, open - 1, true),
        (AMPS, open, false),
    ] {
        let mut told = Told::settled();
        let now_us = told.now_us + 20 * MS;
        assert_eq!(told.arc.burns_on(now_us, amps, volts), expected, "{amps} {volts}");
        assert_eq!(told.arc.lit_us() == now_us, expected);
    }
    assert!(!told().arc.burns_on(5, AMPS, VOLTS), "not settled");
    // What came by the short way counts for all times: no gap, no doubt, and the last instant of arc.
    let mut told = Told::settled();
    for _ in 0..100 {
        told.now_us += 20 * MS;
        assert!(told.arc.burns_on(told.now_us, AMPS, VOLTS));
    }
    let lit_us = told.now_us;
    told.take(None, None);
    assert!(told.arc.is_lit() && !told.arc.was_blind());
    told.now_us = lit_us;
    let mut told = Told { arc: told.arc.clone(), ..told };
    told.arc.observe(lit_us + 5 * MS, None, Some(0), false, false, true);
    assert!(told.arc.is_lit(), "a short circuit");
    told.arc.observe(lit_us + 9 * MS, Some(AMPS), Some(0), false, false, true);
    assert!(told.arc.is_lit(), "it has stood for 9 ms");
}

#[test]
fn after_a_reset_it_is_cold_and_reads_as_before() {
    let mut told = Told::settled();
    told.arc.reset();
    assert_eq!((told.arc.phase(), told.arc.is_lit(), told.arc.lit_us()), (Phase::Idle, false, 0));
    assert_eq!(told.for_ms(true, 1100), Change::BandBegan);
    for _ in 0..20 {
        told.take(None, None);
    }
    assert!(told.arc.is_lit(), "held for half a second still");
    told.for_ms(true, 100);
    told.for_ms(false, 120);
    assert_eq!((told.take(Some(AMPS), Some(VOLTS)), told.arc.phase()), (Change::Restruck, Phase::Arc));
}

/// A current without any voltage to be held against is believed, though it stands.
#[test]
fn a_current_alone_is_believed() {
    let mut told = told();
    for _ in 0..50 {
        told.take(Some(AMPS), None);
        assert!(told.arc.is_lit());
    }
    // What came by the short way was read as well: that very current beside an open circuit is frozen.
    let mut told = Told::settled();
    told.now_us += 20 * MS;
    assert!(told.arc.burns_on(told.now_us, AMPS + 99, VOLTS));
    told.arc.observe(
        told.now_us + MS,
        Some(AMPS + 99),
        Some(SETTINGS.open_circuit.to_bits()),
        false,
        false,
        true,
    );
    assert!(!told.arc.is_lit());
}

/// 0.1 s and two and a half samples, to the microsecond.
#[test]
fn an_outage_is_brief_to_the_microsecond() {
    for (out_us, phase) in [(150_000, Phase::Arc), (150_001, Phase::Strike)] {
        let mut told = Told::settled();
        let lit_us = told.now_us;
        told.take(Some(0), Some(0));
        told.arc.observe(lit_us + out_us, Some(AMPS), Some(VOLTS), false, false, true);
        assert_eq!(told.arc.phase(), phase, "{out_us}");
    }
}

/// Each time it goes out it is seen anew since when.
#[test]
fn an_arc_that_flickers_is_out_since_it_burned_last() {
    let mut told = Told::settled();
    told.for_ms(false, 100);
    told.take(Some(AMPS), Some(VOLTS));
    let lit_us = told.now_us;
    told.for_ms(false, 100);
    assert_eq!(told.arc.seen_out_us(), Some(lit_us));
}

/// Between bands, with gas and without, a sample without a current to strike at and without a voltage of an arc leaves the
/// same behind whichever way it is taken: what comes next is taken alike.
#[test]
fn a_resting_sample_changes_nothing_but_times() {
    let amps = [0, 3, 3, -3, SETTINGS.current_on.to_bits() - 1, 3];
    for gas in [false, true] {
        let mut told = told();
        told.gas = gas;
        assert!(!told.arc.rests(gas), "nothing was seen yet");
        told.take(Some(0), Some(0));
        assert!(told.arc.rests(gas) && !told.arc.rests(!gas));
        let (mut short, mut long) = (told.arc.clone(), told.arc.clone());
        for (amps, now_us) in amps.into_iter().zip((told.now_us + 100..).step_by(100)) {
            short.note_resting(now_us, amps);
            assert_eq!(long.observe(now_us, Some(amps), Some(-7), gas, false, true), Change::None);
            assert!(short.rests(gas) && long.rests(gas));
        }
        for next in [(Some(AMPS), Some(VOLTS)), (Some(3), Some(VOLTS)), (None, Some(0)), (None, None)] {
            let (mut short, mut long) = (short.clone(), long.clone());
            for now_us in [told.now_us + 1_000, told.now_us + 2_000_000] {
                let change = long.observe(now_us, next.0, next.1, gas, false, true);
                assert_eq!(short.observe(now_us, next.0, next.1, gas, false, true), change);
                assert_eq!(format!("{short:?}"), format!("{long:?}"), "{next:?}");
            }
        }
    }
}

#[test]
fn an_arc_of_a_band_does_not_rest() {
    let mut told = Told::settled();
    assert!(!told.arc.rests(false), "it burns");
    told.take(Some(0), Some(0));
    assert!(told.arc.phase() == Phase::Outage && !told.arc.rests(false), "it may come back");
    told.gas = true;
    assert_eq!(told.for_ms(false, 3100), Change::BandEnded);
    assert!(told.arc.phase() == Phase::PostFlow && told.arc.rests(true) && !told.arc.rests(false));
    told.arc.reset();
    assert!(!told.arc.rests(false), "nobody saw it out");
}
