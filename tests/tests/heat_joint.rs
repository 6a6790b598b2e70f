//! A joint's heat from band to band: against the conduction of a bar in closed form (Carslaw and Jaeger, from
//! memory), against itself where a limit is moved, and as it is shown.

use bandward::{Channel, Outcome};
use bandward_sim::demo;
use bandward_sim::heat::Surroundings;
use bandward_sim::heat::cooling::cool;
use bandward_sim::heat::sequence::{BURNER_W, Before, Job, Sequence};
use bandward_sim::heat::steel::{CAPACITY_J_PER_MM3_K, DIFFUSIVITY_MM2_PER_S};
use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_sim::input::quantity::UnitSystem;
use bandward_sim::plan::heat::{HeatPlan, HeatRequest, MAY_BE_MOVED_C};
use bandward_sim::plan::{Origin, Request, plan};
use bandward_sim::process::{Scenario, Targets};
use bandward_sim::report;
use bandward_sim::report::{heat_picture, plan_heat};
use statrs::function::erf::erf;
use std::f64::consts::PI;

/// Rise of a bar of section `section_mm2` at a place, where heat comes in evenly over a width around zero for so
/// long: the rise of an instant, half a difference of two error functions, summed over time.
fn bar_rise(power_w: f64, width_mm: f64, section_mm2: f64, at_mm: f64, for_s: f64) -> f64 {
    let steps = 20_000;
    let rise = |step: i32| {
        let since_s = for_s * (f64::from(step) + 0.5) / f64::from(steps);
        let reach = 2.0 * (DIFFUSIVITY_MM2_PER_S * since_s).sqrt();
        erf((at_mm + 0.5 * width_mm) / reach) - erf((at_mm - 0.5 * width_mm) / reach)
    };
    let sum: f64 = (0..steps).map(rise).sum();
    power_w / (CAPACITY_J_PER_MM3_K * section_mm2 * width_mm) * 0.5 * sum * for_s / f64::from(steps)
}

fn section(outer_mm: f64, bore_mm: f64) -> f64 {
    PI / 4.0 * (outer_mm * outer_mm - bore_mm * bore_mm)
}

fn job() -> Job {
    Job {
        outside_diameter_mm: 127.0,
        bore_mm: 70.0,
        bands: 3,
        band_width_mm: 25.0,
        step_over_mm: 23.0,
        band_s: 120.0,
        turn_s: 118.0,
        heat_w: 8000.0,
        preheat_c: 200.0,
        least_between_c: Some(120.0),
        most_between_c: Some(300.0),
        surroundings: Surroundings::still(20.0),
    }
}

/// One band on a thin pipe, where the wall has one temperature: within 4 % of the bar, most of which is what the
/// pipe radiates meanwhile.
#[test]
fn one_band_on_a_thin_pipe_is_a_bar() {
    let (outer, bore) = (127.0, 119.0);
    let thin = Job {
        outside_diameter_mm: outer,
        bore_mm: bore,
        bands: 1,
        heat_w: 600.0,
        band_s: 40.0,
        turn_s: 40.0,
        preheat_c: 20.0,
        ..job()
    };
    let exact = bar_rise(600.0, 25.0, section(outer, bore), 0.0, 40.0);
    let band = thin.run().bands[0];
    let mean = f64::midpoint(band.outside_c, band.bore_c) - 20.0;
    assert!((mean / exact - 1.0).abs() < 0.04, "{mean} against {exact}");
}

/// No heat is lost from the books, and what is in the joint is what came in less what its outside gave off.
#[test]
fn heat_is_kept() {
    let run = job().run();
    let brought_j = 3.0 * 8000.0 * 120.0;
    let kept = run.end.gained_j() / brought_j;
    assert!((0.5..0.99).contains(&kept), "{kept} of the heat is still there");
}

fn waits(run: &Sequence) -> Vec<f64> {
    let wait = |before| match before {
        Before::Wait(seconds) => seconds,
        _ => 0.0,
    };
    run.bands.iter().map(|band| wait(band.before)).collect()
}

#[test]
fn a_band_waits_until_its_place_is_cool_enough() {
    let run = job().run();
    assert_eq!(run.bands.len(), 3);
    for band in &run.bands {
        assert!(band.start_c.0 <= 300.0 && band.start_c.1 >= 120.0, "{band:?}");
        assert!(band.outside_c > band.bore_c - 1.0 && band.bore_under_torch_c >= band.bore_c, "{band:?}");
    }
    let waited = waits(&run);
    assert!(waited[0] == 0.0 && waited[1] > 30.0 && waited[2] > waited[1], "{waited:?}");
    // It waits no longer than it must: the strip has only just come down to the limit.
    assert!(run.bands[1].start_c.0 > 299.0, "{:?}", run.bands[1]);
    let other = |job: Job| waits(&job.run());
    let higher = other(Job { most_between_c: Some(400.0), ..job() });
    let windy =
        other(Job { surroundings: Surroundings { wind_m_per_s: 8.0, ..Surroundings::still(20.0) }, ..job() });
    let thicker = other(Job { bore_mm: 50.0, ..job() });
    for (what, shorter) in [("higher", higher), ("windy", windy), ("thicker", thicker)] {
        assert!(shorter[2] < waited[2], "{what}: {shorter:?} against {waited:?}");
    }
    // Without a limit nobody waits; a limit that cannot be reached ends the waiting.
    assert_eq!(other(Job { most_between_c: None, ..job() }), [0.0; 3]);
    let never = Job { most_between_c: Some(10.0), bands: 2, ..job() }.run();
    assert_eq!(never.bands[1].before, Before::TooHot);
    let cold = Job { least_between_c: Some(290.0), ..job() }.run();
    let Before::WarmUp(warm) = cold.bands[1].before else { panic!("{:?}", cold.bands[1]) };
    assert!(warm.from_c < 290.0 && warm.seconds.is_some() && cold.bands[1].start_c.1 >= 290.0, "{warm:?}");
}

/// A thin pipe at the temperature of the air, 100 degC, and a limit of 200: how long a burner of 10 kW over the strip and
/// 50 mm on both sides takes is known of a bar (Carslaw and Jaeger, from memory), whose coldest point is the edge of the
/// strip. A wall that is heated evenly from outside is q s / (3 k) hotter there than in the mean (the same source); what
/// it loses meanwhile is next to nothing.
#[test]
fn warming_up_takes_what_a_bar_takes() {
    let (outer, bore) = (127.0, 117.0);
    let cold = Job {
        outside_diameter_mm: outer,
        bore_mm: bore,
        bands: 2,
        heat_w: 1e-3,
        preheat_c: 100.0,
        least_between_c: Some(200.0),
        surroundings: Surroundings::still(100.0),
        ..job()
    };
    let run = cold.run();
    let Before::WarmUp(warm) = run.bands[1].before else { panic!("{:?}", run.bands[1]) };
    assert!((warm.from_c - 100.0).abs() < 0.1 && (warm.to_c - 200.0).abs() < 1e-9, "{warm:?}");
    let seconds = warm.seconds.expect("warm enough");
    let width_mm = 25.0 + 100.0;
    let conductivity = DIFFUSIVITY_MM2_PER_S * CAPACITY_J_PER_MM3_K;
    let outside_above_mean = BURNER_W / (PI * outer * width_mm) * 5.0 / (3.0 * conductivity);
    let rise =
        |for_s: f64| bar_rise(BURNER_W, width_mm, section(outer, bore), 12.5, for_s) + outside_above_mean;
    // Within 4 %; it is looked at once a second.
    assert!(rise(seconds) > 96.0 && rise(seconds - 1.0) < 104.0, "{seconds} s: {}", rise(seconds));
    // A picture of it shows no arc meanwhile: the first burns from the start, the second is the only one to begin.
    let arcs = run.moments.windows(2).filter(|pair| pair[1].is_arc_on && !pair[0].is_arc_on).count();
    assert_eq!(arcs, 1);
}

/// A joint that came to the rack cold: the plan says how warm and how long.
#[test]
fn warming_up_is_told() {
    let text = demo_with("steel = \"4137\"\nbore = \"20 mm\"\n");
    let (before, between) = text.split_once("[interpass]").expect("the demo limits it");
    let between = between.replacen("[\"120 degC\", \"400 degC\"]", "[\"220 degC\", \"400 degC\"]", 1);
    let between = between.replacen("[\"150 degC\", \"350 degC\"]", "[\"250 degC\", \"350 degC\"]", 1);
    let text = format!("{before}[interpass]{between}");
    let cold = heat(&HeatRequest { preheat_c: Some(20.0), ..HeatRequest::default() }, &text);
    let bands = &cold.sequence.as_ref().expect("worked out").bands;
    let warmed: Vec<_> = bands.iter().filter(|band| matches!(band.before, Before::WarmUp(_))).collect();
    assert!(!warmed.is_empty() && warmed.iter().all(|band| band.start_c.1 >= 220.0), "{bands:?}");
    // The procedure asks for 220 degC, the steel for more, which the procedure allows.
    let needed_c = cold.preheat.as_ref().expect("steel and wall are given").least_c;
    assert!(needed_c > 220.0, "{needed_c}");
    let told = anstream::adapter::strip_str(&plan_heat::text(&cold, UnitSystem::Metric)).to_string();
    assert!(told.contains("warm ") && told.lines().all(|line| line.chars().count() <= 80), "{told}");
    let told = told.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(told.contains(&format!("at its coldest to at least {needed_c:.0} degC: about ")), "{told}");
    let json = plan_heat::json(&cold);
    assert_eq!(json["bands"][1]["warm_up_to_c"], needed_c, "{json}");
    assert!(json["bands"][1]["warm_up_s"].as_f64().is_some_and(|seconds| seconds >= 1.0), "{json}");
}

/// Blanket, still air, wind: each cools faster than the one before, and the finished joint is cool at the end.
#[test]
fn a_blanket_cools_slowly() {
    let run = job().run();
    let still = Surroundings::still(20.0);
    let ways =
        [Surroundings { blanket_mm: 25.0, ..still }, still, Surroundings { wind_m_per_s: 5.0, ..still }];
    let cooled = ways.map(|way| cool(&run.end, 127.0, job().strip_mm(2), &way, (200.0, 60.0)));
    for pair in cooled.windows(2) {
        assert!(pair[0].seconds > pair[1].seconds, "{pair:?}");
        assert!(pair[0].fastest_c_per_h < pair[1].fastest_c_per_h, "{pair:?}");
    }
    // By hand: the last hours under a blanket the pipe is nearly of one temperature, and the excess falls as
    // exp(-h P / (rho c A) t). It cannot come down faster than from the preheat alone.
    let loss = ways[0].loss_w_per_mm2_k(127.0, 200.0);
    let per_s = loss * PI * 127.0 / (CAPACITY_J_PER_MM3_K * section(127.0, 70.0));
    let fastest = cooled[0].fastest_c_per_h.expect("told");
    assert!(fastest > 0.9 * per_s * 180.0 * 3600.0, "{fastest}: the pipe beyond takes heat up, too");
    assert_eq!(cool(&run.end, 127.0, (0.0, 1.0), &still, (200.0, 2000.0)).seconds, Some(0.0));
}

/// The demo's preheat is aimed at less than 4137 needs, and may be higher: a plan of its own starts where the steel needs
/// it; whoever asks for less is told, and so is a procedure that holds the joint colder between its bands.
#[test]
fn a_plan_is_no_colder_than_its_steel_needs() {
    let text = demo_with("steel = \"4137\"\nbore = \"38 mm\"\n");
    let of =
        |preheat_c: Option<f64>, text: &str| heat(&HeatRequest { preheat_c, ..HeatRequest::default() }, text);
    let own = of(None, &text);
    let least_c = own.preheat.as_ref().expect("steel and wall are given").least_c;
    assert!((own.start_c.value - least_c).abs() < 1e-9 && !own.is_colder_than_needed(), "{least_c}");
    assert!(of(Some(130.0), &text).is_colder_than_needed());
    assert!(!of(Some(least_c + 5.0), &text).is_colder_than_needed());
    let (head, tail) = text.split_once("[interpass]").expect("the demo limits it");
    let (_, tail) = tail.split_once("\n\n").expect("a table after it");
    let held = format!("{head}[interpass]\nallowed = [\"120 degC\", \"130 degC\"]\n\n{tail}");
    assert!(of(None, &held).is_colder_than_needed());
}

/// A range between bands that is narrower than a place is even: no moment is within as a whole, and that is not proven.
/// Where the range reaches down to what the steel needs and no further, the coldest of a place counts too.
#[test]
fn a_band_begins_within_as_a_whole_or_is_not_proven() {
    let text = demo_with("steel = \"4137\"\nbore = \"38 mm\"\n");
    let (head, tail) = text.split_once("[interpass]").expect("the demo limits it");
    let (_, tail) = tail.split_once("\n\n").expect("a table after it");
    let doubts = |range: &str| {
        let text = format!("{head}[interpass]\nallowed = {range}\n\n{tail}");
        let procedure = ProcedureFile::parse("test", &text).unwrap_or_else(|errors| panic!("{errors}"));
        let mut planned = plan(&Request::default(), &procedure).expect("planned");
        let heat = HeatPlan::of(&planned, &HeatRequest::default(), &procedure);
        planned.heed(&heat);
        planned.unproven.join("; ")
    };
    assert!(doubts("[\"340 degC\", \"345 degC\"]").contains("never within as a whole"));
    assert!(!doubts("[\"260 degC\", \"400 degC\"]").contains("never within as a whole"));
    // 4137 in this wall needs some 250 degC by EN 1011-2 (`a_plan_is_no_colder_than_its_steel_needs`).
    let least_c = heat(&HeatRequest::default(), &text).preheat.expect("steel and wall are given").least_c;
    let narrow = doubts(&format!("[\"120 degC\", \"{:.0} degC\"]", least_c + 1.0));
    assert!(
        narrow.contains("never within as a whole") || narrow.contains("colder than its steel needs"),
        "{narrow}"
    );
}

fn heat(request: &HeatRequest, text: &str) -> HeatPlan {
    let procedure = ProcedureFile::parse("test", text).unwrap_or_else(|errors| panic!("{errors}"));
    let planned = plan(&Request::default(), &procedure).expect("planned");
    HeatPlan::of(&planned, request, &procedure)
}

fn demo_with(material: &str) -> String {
    format!("{}\n[material]\n{material}", demo::procedure().expect("sound").text)
}

#[test]
fn the_procedure_gives_steel_and_bore() {
    let named = heat(
        &HeatRequest::default(),
        &demo_with(
            "steel = \"4137\"\nbore = \"38 mm\"\nhydrogen = \"4 mL/100g\"\ncoating_limit = \"446 degF\"\n",
        ),
    );
    let written = heat(
        &HeatRequest { bore_mm: Some(38.0), ..HeatRequest::default() },
        &demo_with(
            "carbon = \"0.37 %\"\nmanganese = \"0.85 %\"\nmolybdenum = \"0.2 %\"\nchromium = \"1 %\"\n",
        ),
    );
    assert!((named.carbon_equivalent.expect("known") - 0.525).abs() < 1e-12);
    assert!((written.carbon_equivalent.expect("known") - 0.525).abs() < 1e-9);
    for heat in [&named, &written] {
        assert!((heat.wall_mm.expect("known") - 25.45).abs() < 1e-9);
    }
    assert!((named.coating_limit_c.value - 230.0).abs() < 1e-9);
    assert_eq!((named.hydrogen.origin, written.hydrogen.origin), (Origin::Procedure, Origin::Usual));
    // By hand: 697 x 0.525 + 160 tanh(25.45/35) + 62 x 4^0.35 + (53 x 0.525 - 32) x 2.4256 - 328.
    let by_hand =
        365.925 + 160.0 * (25.45_f64 / 35.0).tanh() + 62.0 * 4.0_f64.powf(0.35) - 4.175 * 2.4256 - 328.0;
    assert!((named.preheat.as_ref().expect("known").least_c - by_hand).abs() < 0.1);
    assert_eq!(named.procedure_below_formula_c(), Some(120.0));
    // The procedure aims at 200 degC, and allows what the steel needs.
    assert_eq!(named.start_c.origin, Origin::Formula);
    assert!((named.start_c.value - by_hand).abs() < 0.1);
    let faults =
        |material: &str| ProcedureFile::parse("test", &demo_with(material)).expect_err("a fault").to_string();
    assert!(faults("steel = \"4137\"\ncarbon = \"0.37 %\"\n").contains("not both"));
    assert!(faults("manganese = \"0.85 %\"\n").contains("`carbon` is missing"));
    assert!(faults("bore = \"90 mm\"\n").contains("not smaller than the outside diameter"));
    assert!(faults("hydrogen = \"500 mL/100g\"\n").contains("not possible"));
    assert!(faults("stele = \"4137\"\n").contains("did you mean `steel`"));
}

#[test]
fn what_is_missing_is_said() {
    let bare = heat(&HeatRequest::default(), &demo::procedure().expect("sound").text);
    assert!(bare.sequence.is_none() && bare.preheat.is_none() && bare.ways.is_empty());
    let text = plan_heat::text(&bare, UnitSystem::Metric);
    assert!(text.contains("--bore") && text.contains("--steel"), "{text}");
    assert!(
        heat_picture::svg(&bare, UnitSystem::Metric).expect_err("no picture").to_string().contains("--bore")
    );
    assert_eq!(heat_picture::text(&bare, UnitSystem::Metric), "");
}

#[test]
fn the_heat_is_shown() {
    let full = heat(&HeatRequest::default(), &demo_with("steel = \"4137\"\nbore = \"38 mm\"\n"));
    for (system, degrees) in [(UnitSystem::Metric, "200 degC"), (UnitSystem::Inch, "392 degF")] {
        let text = anstream::adapter::strip_str(&plan_heat::text(&full, system)).to_string();
        assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
        for part in
            [degrees, "preheat needed", "beyond the formula", "under a blanket", "wait ", "caution: the bore"]
        {
            assert!(text.contains(part), "{part}: {text}");
        }
    }
    let json = plan_heat::json(&full);
    let bands = json["bands"].as_array().expect("bands");
    assert_eq!((bands.len(), &bands[0]["before"]), (3, &serde_json::json!("begin")));
    assert_eq!(json["cooling"][0]["to_c"], MAY_BE_MOVED_C);
    assert_eq!(json["preheat"]["beyond_the_formula"].as_array().map(Vec::len), Some(1));
    let svg = heat_picture::svg(&full, UnitSystem::Metric).expect("a picture");
    assert_eq!((svg.matches("<polyline").count(), svg.matches("<rect").count()), (2, 4), "{svg}");
    assert_eq!(full.coating_harmed().map(|(band, _)| band), Some(1));
}

/// A sensor on the pipe of a made joint sees what conduction brings: 60 mm ahead, where it sits by itself, that of a bar in
/// closed form, less what is lost on the way; where the arc burns some hundreds of degrees more.
#[test]
fn the_sensor_of_a_made_joint_sits_somewhere() {
    let demo = demo::procedure().expect("sound");
    let make = |ahead_mm: Option<f64>| {
        let mut scenario = Scenario::good(Targets::of_file(&demo), 10.0);
        scenario.joint.bands = 1;
        scenario.joint.sensor_ahead_mm = ahead_mm.unwrap_or(scenario.joint.sensor_ahead_mm);
        scenario.make()
    };
    let seen = |ahead_mm: Option<f64>| {
        let (rows, truth) = make(ahead_mm);
        let band = truth.bands[0].clone();
        let within = |from_s: f64, to_s: f64, channel: Channel| {
            let inside = rows.iter().filter(move |row| (from_s..to_s).contains(&(row.time_us as f64 / 1e6)));
            let values: Vec<f64> = inside.filter_map(|row| row.get(channel)).collect();
            values.iter().sum::<f64>() / values.len() as f64
        };
        let at_start = within(band.start_s - 1.0, band.start_s, Channel::Work);
        let at_end = within(band.end_s - 1.0, band.end_s, Channel::Work);
        let mean = |channel| within(band.start_s + 1.0, band.end_s - 1.0, channel).abs();
        let power_w = mean(Channel::Current) * mean(Channel::Voltage);
        (at_start, at_end, power_w, band.end_s - band.start_s)
    };
    let (start_c, ahead_c, power_w, for_s) = seen(None);
    assert!((start_c - 200.0).abs() < 5.0, "{start_c}");
    let joint = Scenario::good(Targets::of_file(&demo), 10.0).joint;
    let steel_mm2 = 0.7 * PI / 4.0 * joint.outside_diameter_mm * joint.outside_diameter_mm;
    let exact = bar_rise(0.8 * power_w, joint.band_width_mm, steel_mm2, 60.0, for_s - 0.5);
    // Far ahead the pipe only cools; what the hot place radiates never comes to the sensor.
    let (_, far_c, ..) = seen(Some(300.0));
    let share = (ahead_c - far_c) / exact;
    assert!((0.85..1.03).contains(&share), "{ahead_c}, {far_c} far ahead, against {exact}");
    // Under the torch by the same closed form: that is the mean through the wall, and above it the outside stands by
    // what drives the heat inwards, q d / 3k where nothing leaves a slab (Carslaw and Jaeger, from memory). A tenth of
    // the arc is lost from what is so hot.
    let (_, there_c, ..) = seen(Some(0.0));
    let (width_mm, outer_mm) = (joint.band_width_mm, joint.outside_diameter_mm);
    let mean = bar_rise(0.8 * power_w, width_mm, steel_mm2, 0.0, for_s - 0.5);
    let wall_mm = 0.5 * outer_mm * (1.0 - 0.3_f64.sqrt());
    let inwards = 0.8 * power_w / (PI * outer_mm * width_mm) * wall_mm
        / (3.0 * DIFFUSIVITY_MM2_PER_S * CAPACITY_J_PER_MM3_K);
    let share = (there_c - far_c) / (mean + inwards);
    assert!((0.75..1.0).contains(&share), "{there_c}, {far_c} far ahead, against {mean} and {inwards}");
}

/// Steel of which only the carbon is said is no steel: nothing is worked out from it, and what lacks is named.
#[test]
fn carbon_alone_is_no_steel() {
    let alone = heat(&HeatRequest::default(), &demo_with("carbon = \"0.37 %\"\nbore = \"38 mm\"\n"));
    assert!(alone.carbon_equivalent.is_none() && alone.preheat.is_none());
    assert!(alone.missing[0].starts_with("manganese, chromium, molybdenum"), "{:?}", alone.missing);
    let whole = "carbon = \"0.37 %\"\nmanganese = \"0.85 %\"\nmolybdenum = \"0.2 %\"\nchromium = \"1 %\"\n";
    let text = plan_heat::text(&heat(&HeatRequest::default(), &demo_with(whole)), UnitSystem::Metric);
    assert!(text.contains("copper and nickel of the steel not given, taken as none"), "{text}");
}

/// Pin and box lie apart: the first band of each begins at the preheat.
#[test]
fn each_group_begins_at_its_preheat() {
    let text = demo::procedure().expect("sound").text;
    let (before, after) = text.split_once("[[place]]").expect("a place");
    let (place, rest) = after.split_once("\n\n").expect("its end");
    let grouped =
        format!("{before}[[place]]{place}\n\n[[place]]{place}\n\n{rest}\n[material]\nbore = \"38 mm\"\n")
            .replace("bands = 3\n", "bands = 3\ngroups = [2, 1]\n");
    let all = heat(&HeatRequest::default(), &grouped);
    let bands = &all.sequence.as_ref().expect("worked out").bands;
    assert_eq!((bands.len(), bands[0].start_c, bands[2].before), (3, bands[2].start_c, Before::GoOn));
    assert!(bands[1].start_c.0 > bands[0].start_c.0 + 10.0, "{bands:?}");
    let moments = &all.sequence.as_ref().expect("worked out").moments;
    assert!(moments.windows(2).all(|pair| pair[0].time_s <= pair[1].time_s));
    assert_eq!(all.cooling_times().len(), 3);
}

/// A bore that leaves 5 mm of wall melts through; no limit between bands and a preheat that no range holds are loud.
#[test]
fn what_the_model_cannot_hold_is_loud() {
    let thin = heat(
        &HeatRequest { bore_mm: Some(78.9), ..HeatRequest::default() },
        &demo::procedure().expect("sound").text,
    );
    assert_eq!((thin.melts_at_band, thin.cooling_time, thin.ways.len()), (Some(1), None, 0));
    let procedure = demo::procedure().expect("sound");
    let mut thin_plan = plan(&Request::default(), &procedure).expect("planned");
    assert_eq!(thin_plan.outcome(), Outcome::Proven);
    thin_plan.heed(&thin);
    assert_eq!(thin_plan.outcome(), Outcome::NotProven);
    let told = report::plan::text(&thin_plan, &procedure, UnitSystem::Metric);
    assert!(told.contains("NOT PROVEN") && told.contains("melts through at band 1"), "{told}");
    let page = report::page::plan::page(&thin_plan, &procedure, UnitSystem::Metric);
    assert!(page.contains("NOT PROVEN: the wall melts through"), "{page}");
    let output = bandward_tests::program::run_in(
        tempfile::tempdir().expect("a folder").path(),
        &["plan", "--bore", "78.9 mm", "--json"],
    );
    assert_eq!(output.status.code(), Some(3));
    let json: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    assert_eq!(
        (json["outcome"].as_str(), json["within_procedure"].as_bool()),
        (Some("not proven"), Some(false))
    );
    let text = plan_heat::text(&thin, UnitSystem::Metric);
    assert!(
        text.contains("BURN-THROUGH") && text.contains("the wall melts: the model no longer holds"),
        "{text}"
    );
    // No temperature beyond that at which steel melts, and no time from 800 to 500 degC, is shown for it.
    let figures = text.split_whitespace().filter_map(|word| word.parse::<f64>().ok());
    assert!(figures.max_by(f64::total_cmp) <= Some(1480.0) && !text.contains("800 to 500"), "{text}");
    assert!(
        json["heat"]["t85"].is_null() && json["heat"]["bands"] == serde_json::json!([]),
        "{}",
        json["heat"]
    );
    assert!(heat_picture::svg(&thin, UnitSystem::Metric).is_err());
    let full = demo_with("steel = \"4137\"\nbore = \"38 mm\"\n");
    let open: String = full.split("[interpass]").next().expect("before it").to_owned();
    let open = heat(&HeatRequest { bore_mm: Some(38.0), ..HeatRequest::default() }, &open);
    let text = plan_heat::text(&open, UnitSystem::Metric);
    assert!(open.is_unlimited_between && text.contains("NO UPPER LIMIT BETWEEN BANDS"), "{text}");
    let held = heat(&HeatRequest::default(), &full);
    let text = plan_heat::text(&held, UnitSystem::Metric);
    assert!(!held.is_unlimited_between && !text.contains("NO UPPER LIMIT"), "{text}");
    // By hand 4137 asks for 236 degC here, the demo allows 120 to 300.
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("that the steel needs"), "{text}");
    assert_eq!(held.procedure_cannot_meet_formula_c(), None);
    let sour = heat(
        &HeatRequest { hydrogen_ml_per_100_g: Some(20.0), bore_mm: Some(20.0), ..HeatRequest::default() },
        &full,
    );
    assert!(sour.procedure_cannot_meet_formula_c().is_some(), "{:?}", sour.preheat);
    assert!(plan_heat::text(&sour, UnitSystem::Metric).contains("NO PREHEAT SATISFIES BOTH"));
    let procedure = ProcedureFile::parse("test", &full).expect("sound");
    let mut planned = plan(&Request::default(), &procedure).expect("planned");
    planned.heed(&sour);
    assert!(planned.doubts().iter().any(|doubt| doubt.contains("no preheat")), "{:?}", planned.doubts());
}

/// A limit that even the blanket does not keep to is not proven; one that is over before the heat has spread within the
/// wall cannot be told.
#[test]
fn a_cooling_limit_that_no_way_keeps_to_costs_the_proof() {
    let asks = |until: &str| {
        format!(
            "{}\n[cooling]\nallowed = \"at most 20 degC/h\"\nuntil = \"{until}\"\n",
            demo_with("steel = \"4137\"\nbore = \"38 mm\"\n")
        )
    };
    for (until, words) in [("150 degC", "MORE THAN THIS BLANKET"), ("900 degC", "COOLING NOT PROVEN")] {
        let text = asks(until);
        let found = heat(&HeatRequest::default(), &text);
        let said = plan_heat::text(&found, UnitSystem::Metric);
        assert!(said.contains(words), "{said}");
        let procedure = ProcedureFile::parse("test", &text).expect("sound");
        let mut planned = plan(&Request::default(), &procedure).expect("planned");
        planned.heed(&found);
        assert!(
            planned.doubts().iter().any(|doubt| doubt.contains("cooling limit")),
            "{:?}",
            planned.doubts()
        );
    }
}

/// A place that is never within as a whole is not warmed up: its hottest point is over the limit already. The table and
/// the note say so, and name no burner.
#[test]
fn no_burner_is_led_over_a_place_above_its_limit() {
    let text = demo_with("steel = \"4137\"\nbore = \"38 mm\"\n");
    let (head, tail) = text.split_once("[interpass]").expect("the demo limits it");
    let (_, tail) = tail.split_once("\n\n").expect("a table after it");
    let text = format!("{head}[interpass]\nallowed = [\"340 degC\", \"345 degC\"]\n\n{tail}");
    let heat = heat(&HeatRequest::default(), &text);
    let shown = report::plan_heat::text(&heat, UnitSystem::Metric);
    let (band, _) =
        heat.begins_too_hot().expect("as `a_band_begins_within_as_a_whole_or_is_not_proven` has it");
    let row = shown.lines().find(|line| line.starts_with(&format!("  {band} "))).expect("a row");
    assert!(row.contains("too uneven") && !row.contains("warm"), "{row}");
    assert!(shown.contains(&format!("before band {band} do not warm up")), "{shown}");
}
