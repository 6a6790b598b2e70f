//! A plan as text, for people at a terminal, and as JSON, for machines.
//!
//! Decides: what stands where; every value in both systems of units, the wanted one first.
//! Assumes: colours are taken out by the caller where they are not wanted.
//! Never: computes; a value nobody could compute shows as `-`.

use super::fit::fit;
use super::plan_joint;
use super::style::{BAD, BOLD, FAINT, GOOD, line};
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::{Dimension, UnitSystem, format, format_beside};
use crate::input::setting::Subject;
use crate::plan::{Chosen, JointPlan, Judged};
use crate::standing::show_setting;
use crate::within::within;
use anstyle::Style;
use bandward::{Outcome, Quantity, Severity};
use serde_json::{Map, Value, json};

/// One line of the table.
struct Row {
    key: &'static str,
    title: &'static str,
    /// `None` for plain numbers.
    dimension: Option<Dimension>,
    value: Option<f64>,
    from: String,
    judged: Option<Subject>,
}

impl Row {
    fn new(key: &'static str, title: &'static str, dimension: Dimension, value: Option<f64>) -> Self {
        Self { key, title, dimension: Some(dimension), value, from: String::new(), judged: None }
    }
    fn count(key: &'static str, title: &'static str, value: Option<u64>) -> Self {
        let value = value.map(|count| count as f64);
        Self { key, title, dimension: None, value, from: String::new(), judged: None }
    }
    fn chosen(key: &'static str, title: &'static str, dimension: Dimension, chosen: Option<Chosen>) -> Self {
        let from = chosen.map_or("", |chosen| chosen.origin.words());
        Self::new(key, title, dimension, chosen.map(|chosen| chosen.value)).from(from)
    }
    fn from(mut self, from: impl Into<String>) -> Self {
        self.from = from.into();
        self
    }
    fn judged(mut self, subject: Subject) -> Self {
        self.judged = Some(subject);
        self
    }
    fn show(&self, system: UnitSystem) -> String {
        match (self.value, self.dimension) {
            (None, _) => "-".to_owned(),
            (Some(value), None) => format!("{value}"),
            (Some(value), Some(dimension)) => format(value, dimension, system),
        }
    }
}

type Rows = Vec<(&'static str, Vec<Row>)>;

fn rows(plan: &JointPlan) -> Rows {
    vec![
        ("turning", turning(plan)),
        ("wire and arc", wire_and_arc(plan)),
        ("bands", bands(plan)),
        ("for one joint", joint(plan)),
    ]
}

fn turning(plan: &JointPlan) -> Vec<Row> {
    let (diameter, speed) = (plan.outside_diameter_mm, plan.surface_speed_mm_per_s);
    vec![
        Row::new("outside_diameter_mm", "joint diameter", Dimension::Length, Some(diameter)),
        Row::chosen("turn_time_s", "turn time", Dimension::Duration, Some(plan.turn_time_s))
            .judged(Subject::Judged(Quantity::TurnTime)),
        Row::new("surface_speed_mm_per_s", "surface speed", Dimension::SurfaceSpeed, Some(speed)),
        Row::chosen(
            "torch_offset_mm",
            "torch offset",
            Dimension::Length,
            plan.torch_offset_mm.map(|(at, _)| at),
        ),
        Row::new(
            "torch_offset_from_mm",
            "  at least",
            Dimension::Length,
            plan.torch_offset_mm.and_then(|(_, range)| range.low),
        ),
        Row::new(
            "torch_offset_to_mm",
            "  at most",
            Dimension::Length,
            plan.torch_offset_mm.and_then(|(_, range)| range.high),
        ),
    ]
}

fn wire_and_arc(plan: &JointPlan) -> Vec<Row> {
    let energy = plan.arc_energy_kj_per_mm;
    vec![
        Row::chosen("wire_diameter_mm", "wire diameter", Dimension::Length, plan.wire_diameter_mm),
        Row::chosen("wire_feed_mm_per_min", "wire feed", Dimension::WireSpeed, plan.wire_feed_mm_per_min)
            .judged(Subject::Judged(Quantity::WireFeed)),
        Row::chosen("current_a", "current", Dimension::Current, plan.current_a)
            .judged(Subject::Judged(Quantity::Current)),
        Row::chosen("voltage_v", "voltage", Dimension::Voltage, plan.voltage_v)
            .judged(Subject::Judged(Quantity::Voltage)),
        Row::chosen("gas_flow_lpm", "gas flow", Dimension::Flow, plan.gas_flow_lpm)
            .judged(Subject::Judged(Quantity::GasFlow)),
        Row::new("arc_energy_kj_per_mm", "arc energy", Dimension::EnergyPerLength, energy)
            .from("V x A / surface speed"),
        Row::new(
            "heat_input_kj_per_mm",
            "heat input",
            Dimension::EnergyPerLength,
            plan.heat_input_kj_per_mm(),
        )
        .from("0.8 of it, EN 1011-1"),
    ]
}

fn bands(plan: &JointPlan) -> Vec<Row> {
    let bands = plan.bands;
    let step_over = bands.and_then(|bands| bands.step_over_mm);
    let overlap = plan.band_width_mm.zip(step_over).map(|(width, step)| width.value - step.value);
    let total = bands.map(|bands| bands.total_width_mm());
    vec![
        Row::new("band_height_mm", "band height", Dimension::Length, plan.band_height_mm)
            .from("wire volume over width")
            .judged(Subject::Judged(Quantity::BandHeight)),
        Row::new("overlapped_height_mm", "where overlapped", Dimension::Length, plan.overlapped_height_mm)
            .from("band section over step"),
        Row::chosen("band_width_mm", "band width", Dimension::Length, plan.band_width_mm),
        Row::new("band_area_mm2", "band section", Dimension::Area, plan.band_area_mm2),
        Row::count("bands", "bands", bands.map(|bands| u64::from(bands.count))),
        Row::chosen("step_over_mm", "step-over", Dimension::Length, step_over)
            .judged(Subject::Judged(Quantity::StepOver)),
        Row::new("overlap_mm", "overlap", Dimension::Length, overlap)
            .from(if overlap.is_some_and(|overlap| overlap < 0.0) { "a gap between bands" } else { "" }),
        Row::new("total_width_mm", "width in all", Dimension::Length, total),
    ]
}

fn joint(plan: &JointPlan) -> Vec<Row> {
    let supply = &plan.supply;
    let of = |size: f64, dimension, is_usual| {
        let [metric, inch] = both(UnitSystem::Metric).map(|system| format(size, dimension, system));
        let of = if is_usual { "normal" } else { "of" };
        format!("{of} {metric} ({inch})")
    };
    vec![
        Row::new("torch_time_s", "torch time", Dimension::Duration, supply.torch_time_s)
            .from(supply.torch_time_s.map_or(String::new(), minutes)),
        Row::new("melting_kg_per_h", "wire melted", Dimension::MassRate, supply.melting_kg_per_h),
        Row::new("deposition_kg_per_h", "metal laid", Dimension::MassRate, supply.deposition_kg_per_h),
        Row::new("wire_kg", "wire", Dimension::Mass, supply.wire_kg).from(if supply.is_taken_as_solid {
            "if solid; cored is lighter"
        } else {
            ""
        }),
        Row::new("gas_l", "gas", Dimension::Volume, supply.gas_l).from("with pre- and post-flow"),
        Row::count("joints_per_spool", "joints a spool", supply.joints_per_spool).from(of(
            supply.spool_kg,
            Dimension::Mass,
            supply.is_spool_usual,
        )),
        Row::count("joints_per_bottle", "joints a bottle", supply.joints_per_bottle).from(of(
            supply.bottle_l,
            Dimension::Volume,
            supply.is_bottle_usual,
        )),
    ]
}

/// Both systems, the given one first.
const fn both(system: UnitSystem) -> [UnitSystem; 2] {
    [system, system.other()]
}

fn minutes(seconds: f64) -> String {
    let whole = seconds.round() as u64;
    format!("{} min {} s", whole / 60, whole % 60)
}

/// Said of a plan by a procedure that gives no range for anything in it.
pub(super) const NOTHING_LIMITED: &str = "the procedure limits nothing of what is planned";

/// The plan as text.
pub fn text(plan: &JointPlan, procedure: &ProcedureFile, system: UnitSystem) -> String {
    let mut text = String::new();
    line!(&mut text, "{BOLD}Plan of a joint{BOLD:#}");
    line!(&mut text, "procedure: {}", procedure.title());
    line!(&mut text, "");
    verdict(&mut text, plan, system);
    for (heading, rows) in rows(plan) {
        line!(&mut text, "");
        line!(&mut text, "{BOLD}{heading}{BOLD:#}");
        let step = plan.bands.and_then(|bands| bands.step_over_mm);
        let is_gap = plan.band_height_mm.is_some() && step.is_some() && plan.overlapped_height_mm.is_none();
        for row in rows.into_iter().filter(|row| !is_gap || row.key != "overlapped_height_mm") {
            table_row(&mut text, &row, plan, system);
        }
    }
    plan_joint::text(&mut text, plan, system);
    if !plan.notes.is_empty() {
        line!(&mut text, "");
    }
    for note in &plan.notes {
        line!(&mut text, "note: {note}");
    }
    fit(&text)
}

fn verdict(text: &mut String, plan: &JointPlan, system: UnitSystem) {
    match plan.outcome() {
        Outcome::Broken => line!(text, "{BAD}OUTSIDE THE PROCEDURE{BAD:#}"),
        Outcome::NotProven => {
            line!(text, "{BAD}NOT PROVEN{BAD:#}: nothing outside, but {}", plan.doubts().join("; "));
        }
        Outcome::NotAsked => line!(text, "{BOLD}NOT JUDGED{BOLD:#}: {NOTHING_LIMITED}"),
        Outcome::Proven => line!(text, "{GOOD}WITHIN THE PROCEDURE{GOOD:#}, for all ranges it gives"),
    }
    for warning in &plan.warnings {
        line!(text, "{BAD}{warning}{BAD:#}");
    }
    for doubt in plan.unproven.iter().filter(|_| plan.outcome() == Outcome::Broken) {
        line!(text, "  {BAD}not proven either{BAD:#}: {doubt}");
    }
    for unlike in &plan.unlike {
        line!(text, "  {BAD}outside{BAD:#} {unlike}");
    }
    for (severity, words) in departures(plan, system).chain(misfits(plan, system)) {
        let (style, word) = mark(severity);
        line!(text, "  {style}{word}{style:#} {words}");
    }
}

/// What does not belong together, in words.
fn misfits(plan: &JointPlan, system: UnitSystem) -> impl Iterator<Item = (Severity, String)> {
    plan.fits.iter().filter(|fit| fit.is_good == Some(false)).map(move |fit| {
        let severity = if fit.breaks() { Severity::Warn } else { Severity::Advise };
        (severity, format!("{}: {}", fit.of.name(), fit.words(system)))
    })
}

const fn mark(severity: Severity) -> (Style, &'static str) {
    match severity {
        Severity::Advise => (FAINT, "advisory:"),
        Severity::Warn => (BAD, "outside"),
        Severity::Stop => (BAD, "never permitted:"),
    }
}

/// Every value that left a range, in words.
fn departures(plan: &JointPlan, system: UnitSystem) -> impl Iterator<Item = (Severity, String)> {
    plan.judged.iter().filter_map(move |judged| {
        let departure = judged.departure?;
        let value = format_beside(judged.value, departure.limit, judged.subject.dimension(), system);
        let (name, range) = (judged.subject.title(), show_setting(&judged.setting, system));
        Some((departure.severity, format!("{name} {value}; the procedure says {range}")))
    })
}

/// All that is wrong with a plan or with its procedure, in words, for a page.
pub(super) fn problems(plan: &JointPlan, system: UnitSystem) -> Vec<String> {
    let departures = departures(plan, system)
        .chain(misfits(plan, system))
        .map(|(severity, words)| format!("{} {words}", mark(severity).1));
    let unlike = plan.unlike.iter().map(|words| format!("outside {words}"));
    plan.warnings.iter().cloned().chain(unlike).chain(departures).collect()
}

/// The table under its headings: title, value in both systems, where it comes from.
pub(super) fn table(plan: &JointPlan, system: UnitSystem) -> Vec<(&'static str, Vec<[String; 4]>)> {
    let cells = |row: Row| {
        let [first, second] = both(system).map(|system| row.show(system));
        let second = if first == second { String::new() } else { second };
        [row.title.to_owned(), first, second, row.from]
    };
    rows(plan).into_iter().map(|(heading, rows)| (heading, rows.into_iter().map(cells).collect())).collect()
}

fn table_row(text: &mut String, row: &Row, plan: &JointPlan, system: UnitSystem) {
    let [first, second] = both(system).map(|system| row.show(system));
    let second = if first == second { "" } else { &second };
    let of_row = |judged: &&Judged| Some(judged.subject) == row.judged;
    let mark = match plan.judged.iter().find(of_row).map(|judged| judged.departure) {
        None => String::new(),
        Some(None) => format!("{GOOD}good{GOOD:#}"),
        Some(Some(found)) if found.severity == Severity::Advise => "advisory".to_owned(),
        Some(Some(_)) => format!("{BAD}OUTSIDE{BAD:#}"),
    };
    let plain = format!("  {:<16}{first:>12}{second:>13}", row.title);
    // Styles have no width of their own, so the mark is padded by hand.
    let pad = " ".repeat(9_usize.saturating_sub(anstream::adapter::strip_str(&mark).to_string().len()));
    let from = if row.from.is_empty() { String::new() } else { format!("{FAINT}{}{FAINT:#}", row.from) };
    line!(text, "{}", format!("{plain}  {mark}{pad}{from}").trim_end());
}

/// The plan as one JSON object; units are in the names and are the same whatever is shown.
pub fn json(plan: &JointPlan, procedure: &ProcedureFile) -> Value {
    let mut object = Map::new();
    object.insert("procedure".to_owned(), procedure.identity());
    object.insert("within_procedure".to_owned(), json!(within(plan.outcome())));
    object.insert("outcome".to_owned(), json!(plan.outcome().name()));
    let mut origins = Map::new();
    for row in rows(plan).into_iter().flat_map(|(_, rows)| rows) {
        let value =
            row.value.map(|value| if row.dimension.is_none() { json!(value as u64) } else { json!(value) });
        object.insert(row.key.to_owned(), value.unwrap_or(Value::Null));
        if !row.from.is_empty() {
            origins.insert(row.key.to_owned(), json!(row.from));
        }
    }
    let inch = plan
        .arc_energy_kj_per_mm
        .and_then(|energy| Dimension::EnergyPerLength.unit("J/in").map(|unit| unit.from_house(energy)));
    object.insert("arc_energy_j_per_in".to_owned(), json!(inch));
    object.insert("placement".to_owned(), plan_joint::json(plan));
    object.insert("origins".to_owned(), Value::Object(origins));
    object.insert("outside".to_owned(), plan.judged.iter().filter_map(departure).collect());
    let misfits = plan.fits.iter().filter(|fit| fit.is_good == Some(false));
    let misfits = misfits.map(|fit| json!({ "name": fit.of.name(), "words": fit.words(UnitSystem::Metric) }));
    object.insert("do_not_belong_together".to_owned(), misfits.collect());
    object.insert("not_proven".to_owned(), json!(plan.doubts()));
    object.insert("unlike".to_owned(), json!(plan.unlike));
    object.insert("warnings".to_owned(), json!(plan.warnings));
    object.insert("notes".to_owned(), json!(plan.notes));
    Value::Object(object)
}

fn departure(judged: &Judged) -> Option<Value> {
    let found = judged.departure?;
    Some(json!({
        "setting": judged.subject.table_name(),
        "severity": found.severity.name(),
        "value": judged.value,
        "limit": found.limit,
        "unit": judged.subject.dimension().units()[0].symbol,
    }))
}
