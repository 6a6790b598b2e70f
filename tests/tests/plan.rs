//! The plan of a joint against published formulas, a published wire table and facts of the trade.

use crate::plan_joint::PIN_AND_BOX;
use bandward::{Outcome, Severity};
use bandward_sim::demo;
use bandward_sim::formulas::{self, Deposit, benchmark_turn_time};
use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_sim::input::quantity::{Dimension, UnitSystem, format};
use bandward_sim::input::written_quantity::parse;
use bandward_sim::plan::supply::melting_kg_per_h;
use bandward_sim::plan::{JointPlan, Origin, Request, THERMAL_EFFICIENCY, plan};
use bandward_sim::report;
use proptest::prelude::*;

/// A procedure that says nothing but what a test needs.
pub fn procedure(text: &str) -> ProcedureFile {
    ProcedureFile::parse("test", text).unwrap_or_else(|errors| panic!("{errors}"))
}

pub fn planned(request: &Request, text: &str) -> JointPlan {
    plan(request, &procedure(text)).expect("a joint that can be planned")
}

pub fn close(value: f64, expected: f64, share: f64) -> bool {
    (value - expected).abs() <= share * expected.abs()
}

/// Two minutes a turn on a 5 in (127 mm) joint, smaller joints faster, larger slower, at the same
/// surface speed: common practice, no source. Surface speed is pi D / t: geometry.
#[test]
fn the_turn_time_keeps_the_surface_speed_of_the_benchmark() {
    let benchmark = std::f64::consts::PI * 127.0 / 120.0;
    for (diameter_mm, turn_time_s) in [(127.0, 120.0), (63.5, 60.0), (254.0, 240.0), (165.1, 156.0)] {
        let request = Request { outside_diameter_mm: Some(diameter_mm), ..Request::default() };
        let plan = planned(&request, "");
        assert!(close(plan.turn_time_s.value, turn_time_s, 1e-9), "{diameter_mm} mm");
        assert_eq!(plan.turn_time_s.origin, Origin::Benchmark);
        assert!(close(plan.surface_speed_mm_per_s, benchmark, 2e-5));
        assert!(close(benchmark_turn_time(diameter_mm), turn_time_s, 1e-9));
    }
    // The procedure's own turn time goes before the benchmark, at its own surface speed.
    let text = "[joint]\noutside_diameter = \"100 mm\"\n[turn_time]\nrecommended = \"80 s\"\nallowed = [\"70 s\", \"90 s\"]\n";
    let request = Request { outside_diameter_mm: Some(150.0), ..Request::default() };
    let plan = planned(&request, text);
    assert!(close(plan.turn_time_s.value, 120.0, 1e-9));
    assert_eq!(plan.turn_time_s.origin, Origin::SurfaceSpeedKept);
    assert!(plan.has_nothing_outside(), "120 s is within 70 to 90 s, at the same surface speed");
    let request = Request { turn_time_s: Some(140.0), ..request };
    assert!(!planned(&request, text).has_nothing_outside(), "140 s is not within 105 to 135 s");
}

/// 1.6 mm wire at 7.5 m/min, yield 0.95, on a 5 in joint at 2 min a turn, over a 28 mm band: inside
/// 3/32 to 1/8 in (common practice, no source). The volume of the wire is the volume of the band:
/// geometry.
#[test]
fn two_facts_of_the_trade_agree_with_geometry() {
    let request = Request {
        outside_diameter_mm: Some(127.0),
        wire_diameter_mm: Some(1.6),
        wire_feed_mm_per_min: Some(7500.0),
        band_width_mm: Some(28.0),
        ..Request::default()
    };
    let plan = planned(&request, "[wire]\ndeposition_efficiency = \"95 %\"\n");
    let height_mm = plan.band_height_mm.expect("computed");
    assert!((25.4 * 3.0 / 32.0..=25.4 / 8.0).contains(&height_mm), "{height_mm} mm");
    let wire_mm2 = std::f64::consts::FRAC_PI_4 * 1.6 * 1.6;
    let area_mm2 = 125.0 * wire_mm2 * 0.95 / (std::f64::consts::PI * 127.0 / 120.0);
    assert!(close(plan.band_area_mm2.expect("computed"), area_mm2, 5e-4));
    // And back from height to feed.
    let deposit = Deposit {
        wire_feed_mm_per_min: 0.0,
        wire_diameter_mm: 1.6,
        deposition_efficiency: 0.95,
        speed_mm_per_s: plan.surface_speed_mm_per_s,
        width_mm: 28.0,
    };
    assert!(close(deposit.wire_feed_for_height(height_mm).expect("computed"), 7500.0, 1e-3));
}

/// Q = k U I / v x 1e-3 kJ/mm with k = 0.8: EN 1011-1 (from memory); H = V A 60 / S in J/in, S in
/// in/min: ASME BPVC IX QW-409.1, QW-409.26 for hard-facing overlay (from memory). 26 V, 250 A, 5 mm/s: 1.300, x 0.8 = 1.040 kJ/mm;
/// 33,020 J/in: arithmetic on the two.
#[test]
fn heat_input_in_both_forms() {
    // A joint whose surface runs at 5 mm/s.
    let request = Request {
        outside_diameter_mm: Some(500.0 / std::f64::consts::PI),
        turn_time_s: Some(100.0),
        current_a: Some(250.0),
        voltage_v: Some(26.0),
        ..Request::default()
    };
    let plan = planned(&request, "");
    assert!(close(plan.surface_speed_mm_per_s, 5.0, 2e-5));
    assert!(close(plan.arc_energy_kj_per_mm.expect("computed"), 1.3, 5e-5));
    assert!(close(plan.heat_input_kj_per_mm().expect("computed"), 1.04, 5e-5));
    assert!(close(THERMAL_EFFICIENCY, 0.8, 1e-12));
    let json = report::plan::json(&plan, &procedure(""));
    let inch_form = 26.0 * 250.0 * 60.0 / (5.0 * 60.0 / 25.4);
    assert!(close(inch_form, 33_020.0, 1e-9));
    assert!(close(json["arc_energy_j_per_in"].as_f64().expect("a number"), inch_form, 5e-5));
}

/// 1.2 mm at 10 m/min and 7850 kg/m3 is 5.327 kg/h: arithmetic. A published wire table gives
/// 13.1 D^2 WFS EE lb/h (D in, WFS in/min): 0.052 in, 320 in/min, 0.98 gives 11.1; its factor 13.1 is
/// 1.8 % low against steel of 0.283 lb/in3, so ours lies that much above.
#[test]
fn melting_and_deposition_agree_with_the_wire_table() {
    assert!(close(melting_kg_per_h(10_000.0, 1.2), 5.327, 1e-4));
    let table_lb_per_h = 13.1 * 0.052 * 0.052 * 320.0 * 0.98;
    assert!(close(table_lb_per_h, 11.1, 2e-3));
    let request = Request {
        outside_diameter_mm: Some(127.0),
        wire_diameter_mm: Some(0.052 * 25.4),
        wire_feed_mm_per_min: Some(320.0 * 25.4),
        ..Request::default()
    };
    let plan = planned(&request, "[wire]\ndeposition_efficiency = \"98 %\"\n");
    let ours_lb_per_h = plan.supply.deposition_kg_per_h.expect("computed") / 0.453_592_37;
    assert!(close(ours_lb_per_h / table_lb_per_h, 1.019, 3e-3), "{ours_lb_per_h} lb/h");
}

/// 121.9 mm/s for 250 A and 15 mm of 1.2 mm solid wire: literature after Lesnewich (from memory). From tip
/// to work it is 5 mm more, which is arc.
#[test]
fn without_a_wire_feed_the_melting_law_stands_in() {
    let request = Request {
        outside_diameter_mm: Some(127.0),
        wire_diameter_mm: Some(1.2),
        current_a: Some(250.0),
        stick_out_mm: Some(20.0),
        ..Request::default()
    };
    let feed = planned(&request, "").wire_feed_mm_per_min.expect("estimated");
    assert_eq!(feed.origin, Origin::MeltedByCurrent);
    assert!(close(feed.value / 60.0, 121.9, 1e-3), "{}", feed.value / 60.0);
    assert!(formulas::wire_feed_from_current(250.0, 15.0, 0.0).is_none());
    // On the negative pole a wire melts much faster, and nothing is estimated.
    let negative = planned(&request, "[wire]\npolarity = \"DCEN\"\n");
    assert_eq!(negative.wire_feed_mm_per_min, None);
    assert!(negative.notes.iter().any(|note| note.contains("DCEN")), "{:?}", negative.notes);
}

/// Seven diameters from 3 1/2 to 8 1/2 in by hand, on a procedure for 5 in: surface speed kept (2 min on 5 in:
/// 84 to 204 s), the torch at the same angle (3/4 to 1 1/2 in on 5 in: common practice, no source), heat V A 60 / S
/// in J/in: ASME BPVC IX QW-409.26, hard-facing overlay (from memory), height by conservation of volume.
#[test]
fn seven_diameters_by_hand() {
    let text = "[joint]\noutside_diameter = \"5 in\"\nbands = 3\nband_width = \"1 3/16 in\"\n\
                [wire]\ndiameter = \"1/16 in\"\ndeposition_efficiency = \"95 %\"\n\
                [current]\nrecommended = \"320 A\"\n[voltage]\nrecommended = \"31 V\"\nfloor = \"29 V\"\n\
                [wire_feed]\nrecommended = \"300 in/min\"\n[turn_time]\nallowed = [\"115 s\", \"125 s\"]\n\
                [torch_offset]\nallowed = [\"3/4 in\", \"1 1/2 in\"]\n[step_over]\nrecommended = \"1 1/16 in\"\n";
    for (inches, turn_s, low_mm, high_mm) in [
        (3.5, 84.0, 13.3, 26.7),
        (4.75, 114.0, 18.1, 36.2),
        (5.0, 120.0, 19.05, 38.1),
        (5.25, 126.0, 20.0, 40.0),
        (6.625, 159.0, 25.2, 50.5),
        (7.0, 168.0, 26.7, 53.3),
        (8.5, 204.0, 32.4, 64.8),
    ] {
        let request = Request { outside_diameter_mm: Some(inches * 25.4), ..Request::default() };
        let plan = planned(&request, text);
        assert!(close(plan.turn_time_s.value, turn_s, 1e-9), "{inches}");
        let (_, range) = plan.torch_offset_mm.expect("worked out");
        let [low, high] = [range.low, range.high].map(|end| end.expect("closed"));
        assert!((low - low_mm).abs() < 0.06 && (high - high_mm).abs() < 0.06, "{inches}: {low} {high}");
        // In inches throughout: pi D / t, wire feed x section x yield / speed / width.
        let speed_in_per_min = std::f64::consts::PI * 5.0 / 2.0;
        let area_in2 = 300.0 * std::f64::consts::FRAC_PI_4 / 256.0 * 0.95 / speed_in_per_min;
        let by_hand = [
            (plan.surface_speed_mm_per_s, speed_in_per_min * 25.4 / 60.0),
            (plan.band_height_mm.expect("computed"), area_in2 / (19.0 / 16.0) * 25.4),
            (plan.overlapped_height_mm.expect("computed"), area_in2 / (17.0 / 16.0) * 25.4),
            (plan.arc_energy_kj_per_mm.expect("computed") * 25_400.0, 31.0 * 320.0 * 60.0 / speed_in_per_min),
        ];
        for (value, expected) in by_hand {
            assert!(close(value, expected, 1e-3), "{inches}: {value}, by hand {expected}");
        }
        assert!(plan.has_nothing_outside(), "{inches}: {:?}", plan.judged);
        let is_another = plan.notes.iter().any(|note| note.contains("another qualified procedure"));
        assert_eq!(is_another, (inches - 5.0).abs() > 0.01, "{:?}", plan.notes);
    }
    // Without a range of its own the trade's offset stands in, and it is said why not the smaller table's.
    let plain = planned(&Request { outside_diameter_mm: Some(88.9), ..Request::default() }, "");
    let (offset, range) = plain.torch_offset_mm.expect("worked out");
    assert_eq!((offset.origin, range.low), (Origin::BenchmarkAngle, Some(13.335)));
    assert!(plain.notes.iter().any(|note| note.contains("submerged arc")), "{:?}", plain.notes);
}

/// The width laid is the weave and what the pool runs out to, in one place for setup, plan and core; a
/// weave of 15 mm lays a narrow, high band. A cored wire lays what of it is solid.
#[test]
fn height_follows_the_width_that_is_laid() {
    let text = "[joint]\noutside_diameter = \"127 mm\"\nband_width = \"28 mm\"\n[weave_width]\nrecommended = \"25 mm\"\n\
                [wire]\ndiameter = \"1.6 mm\"\nfill = \"85 %\"\n[wire_feed]\nrecommended = \"7.5 m/min\"\n";
    let height = |weave_width_mm| {
        let plan = planned(&Request { weave_width_mm, ..Request::default() }, text);
        (plan.band_width_mm.expect("known").value, plan.band_height_mm.expect("computed"))
    };
    let area_mm2 = 7500.0 / 60.0 * std::f64::consts::FRAC_PI_4 * 1.6 * 1.6
        / (std::f64::consts::PI * 127.0 / 120.0)
        * 0.85
        * procedure("").wire.deposition_efficiency;
    for (weave_mm, laid_mm) in [(None, 28.0), (Some(25.0), 28.0), (Some(15.0), 18.0), (Some(30.0), 33.0)] {
        let (width, height) = height(weave_mm);
        assert!(
            close(width, laid_mm, 1e-9) && close(height, area_mm2 / laid_mm, 2e-3),
            "{weave_mm:?}: {height}"
        );
    }
    let core = procedure(text).procedure.geometry;
    let laid = core.laid_width(Some(bandward::units::Length::from_milli(15_000)));
    assert_eq!(laid, Some(bandward::units::Length::from_milli(18_000)));
    // A band without a width of its own is as much wider than its weave as the process model has it.
    let without = text.replace("band_width = \"28 mm\"\n", "");
    assert_eq!(planned(&Request::default(), &without).band_width_mm.map(|width| width.value), Some(28.0));
}

/// Where the height is outside, the one setting that brings it in is named, and it does.
#[test]
fn what_brings_the_height_in_is_named() {
    let demo = demo::procedure().expect("sound");
    let thin = Request { wire_feed_mm_per_min: Some(5900.0), ..Request::default() };
    let plan_of = |request: &Request| plan(request, &demo).expect("planned");
    let note = plan_of(&thin).notes.into_iter().find(|note| note.starts_with("band height")).expect("told");
    // 84 s would have to be 106 s, which is outside 78 to 90 s; 7.47 m/min is a feed of the procedure: 2.75 mm on
    // 26 mm at 3.325 mm/s, from 95 % of 2.011 mm2 of wire.
    assert!(note.contains("a wire feed of 7.47 m/min"), "{note}");
    let high = Request { turn_time_s: Some(105.0), ..Request::default() };
    let note = plan_of(&high).notes.into_iter().find(|note| note.starts_with("band height")).expect("told");
    // By hand: 7.25 m/min of 1.6 mm wire, 95 % of it on 26 mm, at 105 s lay 3.338 mm; 2.75 mm take 86.5 s. 82 to 86 s
    // are recommended: a tenth of that off their end, which lays 2.72 mm.
    assert!(note.contains("a turn of 85.6 s") && note.contains("faster"), "{note}");
    let turned = Request { turn_time_s: Some(85.6), ..Request::default() };
    assert!(plan_of(&turned).judged.iter().all(|judged| judged.departure.is_none()));
    // A gas that does not do is refused where the procedure is silent, too.
    let gas_mixture = bandward_sim::input::gas_mixture::GasMixture::parse("75/25").ok();
    let request = Request { outside_diameter_mm: Some(127.0), gas_mixture, ..Request::default() };
    let refused = planned(&request, "");
    assert!(!refused.has_nothing_outside() && refused.warnings[0].contains("NO VOLTAGE FLOOR"));
}

/// 35 ft3/h at a bore of 3/4 in, at 1 in as the square of the bore (common practice, no source).
#[test]
fn gas_goes_with_the_nozzle_where_the_procedure_gives_none() {
    for (bore, cfh) in [("3/4 in", 35.0), ("5/8 in", 35.0), ("1 in", 35.0 * 16.0 / 9.0)] {
        let text = format!("[gas]\nnozzle_bore = {bore:?}\n");
        let plan = planned(&Request { outside_diameter_mm: Some(127.0), ..Request::default() }, &text);
        let flow = plan.gas_flow_lpm.expect("known");
        assert!(close(flow.value, cfh * 28.316_846_592 / 60.0, 1e-9), "{bore}");
        assert_eq!(flow.origin, Origin::NozzleBore);
    }
}

/// Step-over about 1 1/16 in for about 1/8 in overlap, so bands some 1 3/16 in wide: common practice,
/// no source.
#[test]
fn bands_fill_a_width() {
    let inch = 25.4;
    let request = |bands, total| Request {
        outside_diameter_mm: Some(127.0),
        band_width_mm: Some(19.0 / 16.0 * inch),
        bands,
        total_width_mm: total,
        ..Request::default()
    };
    let lay = |bands, total| planned(&request(bands, total), "").bands.expect("bands");
    let three = lay(Some(3), None);
    assert!(close(three.step_over_mm.expect("a step").value, 17.0 / 16.0 * inch, 1e-9));
    assert!(close(three.total_width_mm(), (19.0 + 34.0) / 16.0 * inch, 1e-9));
    // Three bands at the usual step, asked for by width.
    let same = lay(None, Some(53.0 / 16.0 * inch));
    assert_eq!(same.count, 3);
    // A little less: closer together, still three.
    let closer = lay(None, Some(52.0 / 16.0 * inch));
    assert_eq!((closer.count, closer.step_over_mm.map(|step| step.origin)), (3, Some(Origin::FillsWidth)));
    assert!(close(closer.total_width_mm(), 52.0 / 16.0 * inch, 1e-9));
    // A width between two and three bands: three cover it, and it is said.
    let plan = planned(&request(None, Some(45.0 / 16.0 * inch)), "");
    assert_eq!(plan.bands.map(|bands| bands.count), Some(3));
    assert!(plan.notes.iter().any(|note| note.contains("3 cover")), "{:?}", plan.notes);
    // One band, and less than one.
    assert_eq!(lay(None, Some(19.0 / 16.0 * inch)).count, 1);
    assert_eq!(lay(None, Some(10.0)).count, 1);
    // As told, whatever comes of it.
    let told = lay(Some(4), Some(53.0 / 16.0 * inch));
    assert!(close(told.step_over_mm.expect("a step").value, 34.0 / 48.0 * inch, 1e-9));
}

/// What a joint takes, by hand: 3 turns of 84 s and 10 degrees; 7.25 m/min of 1.6 mm wire; 17.5 L/min
/// for the arc and for 1 s before and 5 s after each band.
#[test]
fn time_wire_and_gas_of_the_demo_joint() {
    let supply = plan(&Request::default(), &demo::procedure().expect("sound")).expect("planned").supply;
    let torch_s = 3.0 * 84.0 * 370.0 / 360.0;
    assert!(close(supply.torch_time_s.expect("computed"), torch_s, 1e-9));
    let wire_kg = std::f64::consts::FRAC_PI_4 * 1.6e-3 * 1.6e-3 * 7.25 * torch_s / 60.0 * 7850.0;
    assert!(close(supply.wire_kg.expect("computed"), wire_kg, 1e-9));
    assert!(close(supply.gas_l.expect("computed"), 17.5 * (torch_s + 18.0) / 60.0, 1e-9));
    assert_eq!(supply.joints_per_spool, Some((15.0 / wire_kg) as u64));
    assert_eq!(supply.joints_per_bottle, Some(123));
}

#[test]
fn what_leaves_the_procedure_is_said() {
    let demo = demo::procedure().expect("sound");
    let of = |request: Request| plan(&request, &demo).expect("planned");
    assert!(of(Request::default()).has_nothing_outside());
    let severity = |plan: &JointPlan| {
        plan.judged.iter().filter_map(|judged| judged.departure).map(|one| one.severity).max()
    };
    let cold = of(Request { voltage_v: Some(28.5), ..Request::default() });
    assert_eq!(severity(&cold), Some(Severity::Stop));
    let thin = of(Request { wire_feed_mm_per_min: Some(5000.0), ..Request::default() });
    assert_eq!(severity(&thin), Some(Severity::Warn));
    assert!(
        thin.judged
            .iter()
            .any(|judged| judged.subject.table_name() == "band_height" && judged.departure.is_some())
    );
    let look = of(Request { current_a: Some(345.0), ..Request::default() });
    assert_eq!((severity(&look), look.has_nothing_outside()), (Some(Severity::Advise), true));
    for request in [
        Request { wire_diameter_mm: Some(1.2), ..Request::default() },
        Request {
            gas_mixture: bandward_sim::input::gas_mixture::GasMixture::parse("CO2").ok(),
            ..Request::default()
        },
    ] {
        assert_eq!(of(request).unlike.len(), 1);
        assert!(!of(request).has_nothing_outside());
    }
    assert!(plan(&Request::default(), &procedure("")).is_err(), "no diameter");
}

#[test]
fn the_plan_of_the_demo_reads_well() {
    let demo = demo::procedure().expect("sound");
    let request =
        Request { total_width_mm: Some(76.2), outside_diameter_mm: Some(127.0), ..Request::default() };
    for (name, request) in [("as_it_is", Request::default()), ("on_5_in", request)] {
        let plan = plan(&request, &demo).expect("planned");
        for system in [UnitSystem::Metric, UnitSystem::Inch] {
            let text = report::plan::text(&plan, &demo, system);
            let text = anstream::adapter::strip_str(&text).to_string();
            insta::with_settings!({ prepend_module_to_snapshot => false, omit_expression => true }, {
                insta::assert_snapshot!(format!("plan__{name}_{}", system.name()), text);
            });
        }
    }
}

/// A plan is asked whether its own numbers belong together: a gap between bands, and amps that do not melt the feed.
#[test]
fn a_plan_looks_at_its_own_numbers() {
    let demo = demo::procedure().expect("sound");
    let of = |request: &Request| plan(request, &demo).expect("planned");
    let misfits = |plan: &JointPlan| {
        let bad = plan.fits.iter().filter(|fit| fit.is_good == Some(false));
        bad.map(|fit| fit.words(UnitSystem::Metric)).collect::<Vec<_>>()
    };
    assert!(misfits(&of(&Request::default())).is_empty());
    let band_mm = of(&Request::default()).band_width_mm.expect("known").value;
    let gap = of(&Request { step_over_mm: Some(band_mm + 3.0), ..Request::default() });
    assert!(misfits(&gap)[0].starts_with("a gap of 3 mm between bands") && !gap.has_nothing_outside());
    // A procedure that wants the gap itself makes it no better.
    let text = demo.text.replace("\"22.5 mm\", \"23.5 mm\"", "\"29 mm\", \"31 mm\"");
    let text = text.replace("\"22 mm\", \"24 mm\"", "\"28.5 mm\", \"31.5 mm\"");
    let own = planned(&Request::default(), &text);
    assert!(misfits(&own)[0].starts_with("a gap of 4 mm between bands"), "{:?}", misfits(&own));
    assert_eq!(own.outcome(), Outcome::Broken);
    assert!(report::plan::text(&own, &procedure(&text), UnitSystem::Metric).contains("a gap between bands"));
    let fast = of(&Request { wire_feed_mm_per_min: Some(12_000.0), ..Request::default() });
    assert!(misfits(&fast)[0].contains("12 m/min fed"), "{:?}", misfits(&fast));
    // The procedure's own: a nozzle of 1 in takes about 62 ft3/h (common practice, no source).
    let text = "[joint]\noutside_diameter = \"5 in\"\n[gas]\nnozzle_bore = \"1 in\"\n[gas_flow]\nrecommended = \"35 ft3/h\"\n";
    assert!(planned(&Request::default(), text).notes.iter().any(|note| note.contains("62.2 cfh")));
    // A cored wire without a fill is worked out as solid, and that is said.
    let is_told = |plan: &JointPlan| plan.notes.iter().any(|note| note.starts_with("fill of the cored wire"));
    let fill = demo.text.lines().find(|line| line.starts_with("fill =")).expect("the demo gives it");
    assert!(is_told(&planned(&Request::default(), &demo.text.replace(fill, ""))));
    assert!(!is_told(&of(&Request::default())) && !is_told(&planned(&Request::default(), PIN_AND_BOX)));
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever is asked for, in whichever units, the numbers are the same; nothing panics.
    #[test]
    fn units_never_change_the_numbers(
        diameter_in in 1.0..20.0_f64,
        feed_in_per_min in 50.0..900.0_f64,
        width_in in 0.3..3.0_f64,
        total_in in 0.3..30.0_f64,
        flow_ft3_per_h in 5.0..100.0_f64,
    ) {
        let demo = demo::procedure().expect("sound");
        let asked = |lengths: [&str; 3], feed: &str, flow: &str| {
            let [diameter, width, total] = lengths.map(|text| parse(text, Dimension::Length).expect("sound"));
            let request = Request {
                outside_diameter_mm: Some(diameter),
                band_width_mm: Some(width),
                total_width_mm: Some(total),
                wire_feed_mm_per_min: parse(feed, Dimension::WireSpeed).ok(),
                gas_flow_lpm: parse(flow, Dimension::Flow).ok(),
                ..Request::default()
            };
            plan(&request, &demo).expect("planned")
        };
        let lengths = [diameter_in, width_in, total_in];
        let inch = lengths.map(|inches| format!("{inches} in"));
        let metric = lengths.map(|inches| format!("{} mm", inches * 25.4));
        let flow_lpm = flow_ft3_per_h * 28.316_846_592 / 60.0;
        let one = asked(
            inch.each_ref().map(String::as_str),
            &format!("{feed_in_per_min} in/min"),
            &format!("{flow_ft3_per_h} ft3/h"),
        );
        let other = asked(
            metric.each_ref().map(String::as_str),
            &format!("{} mm/min", feed_in_per_min * 25.4),
            &format!("{flow_lpm} L/min"),
        );
        let numbers = |plan: &JointPlan| report::plan::json(plan, &demo).to_string();
        prop_assert_eq!(numbers(&one), numbers(&other));
        // What is shown in inch is worth what is shown in metric.
        if let Some(height) = one.band_height_mm {
            let shown = [UnitSystem::Metric, UnitSystem::Inch]
                .map(|system| parse(&format(height, Dimension::Length, system), Dimension::Length));
            let [metric, inch] = shown.map(|value| value.expect("reads back"));
            prop_assert!((metric - inch).abs() < 0.06, "{} {}", metric, inch);
        }
        for system in [UnitSystem::Metric, UnitSystem::Inch] {
            prop_assert!(!report::plan::text(&one, &demo, system).is_empty());
        }
    }
}

/// A procedure that limits nothing of a plan is held to by any plan: nothing is green then, and `within_procedure` is
/// neither true nor false. What is outside all the same stays outside.
#[test]
fn a_procedure_that_limits_nothing_proves_nothing() {
    let text = "[joint]\noutside_diameter = \"127 mm\"\nbands = 3\n[weave_rate]\nallowed = [\"60 /min\", \"100 /min\"]\n";
    let empty = procedure(text);
    let of = |request: &Request| plan(request, &empty).expect("a joint that can be planned");
    let nothing = of(&Request::default());
    assert_eq!(nothing.outcome(), Outcome::NotAsked);
    let shown = report::plan::text(&nothing, &empty, UnitSystem::Metric);
    assert!(shown.contains("NOT JUDGED") && !shown.contains("WITHIN"), "{shown}");
    let page = report::page::plan::page(&nothing, &empty, UnitSystem::Metric);
    assert!(page.contains("NOT JUDGED") && !page.contains("WITHIN"), "{page}");
    assert!(report::plan::json(&nothing, &empty)["within_procedure"].is_null());
    let gas_mixture = bandward_sim::input::gas_mixture::GasMixture::parse("CO2").ok();
    assert_eq!(of(&Request { gas_mixture, ..Request::default() }).outcome(), Outcome::Broken);
    let limited =
        planned(&Request::default(), &format!("{text}[turn_time]\nallowed = [\"110 s\", \"130 s\"]\n"));
    assert_eq!(limited.outcome(), Outcome::Proven);
}

/// The height of a cored wire of which nobody knows the fill is not proven where the procedure limits it; with its fill
/// it is worked out by that, and no longer called solid.
#[test]
fn the_height_of_a_cored_wire_needs_its_fill() {
    let text = demo::procedure().expect("sound").text;
    let fill = text.lines().find(|line| line.starts_with("fill =")).expect("the demo gives it");
    let unknown = planned(&Request::default(), &text.replace(fill, ""));
    assert_eq!(unknown.outcome(), Outcome::NotProven);
    assert!(unknown.doubts()[0].contains("fill of the cored wire"), "{:?}", unknown.doubts());
    assert!(
        report::plan::text(&unknown, &procedure(&text), UnitSystem::Metric)
            .contains("if solid; cored is lighter")
    );
    let known = planned(&Request::default(), &text.replace(fill, "fill = \"95 %\""));
    assert_eq!(known.outcome(), Outcome::Proven);
    assert!(!report::plan::text(&known, &procedure(&text), UnitSystem::Metric).contains("if solid"));
    let heights = [&known, &unknown].map(|plan| plan.band_height_mm.expect("worked out"));
    // Heights come in steps of a thousandth of a millimetre.
    assert!(close(heights[0], 0.95 * heights[1], 1e-3), "{heights:?}");
    // Without a limit there is nothing to prove.
    let unlimited = text.replace(fill, "").split("[band_height]").next().expect("before it").to_owned();
    assert_eq!(planned(&Request::default(), &unlimited).outcome(), Outcome::Proven);
}
