//! `bandward plan`: a joint planned before the arc.

use super::Outcome;
use super::plan_heat::HeatArguments;
use super::value::{gas, quantity};
use crate::input::gas_mixture::GasMixture;
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::UnitSystem;
use crate::output::terminal::{say, say_json};
use crate::plan::heat::HeatPlan;
use crate::plan::{Request, placed, plan};
use crate::{demo, output, preferences, report};
use anyhow::bail;
use clap::Args;
use std::path::{Path, PathBuf};

/// Plans a joint: turning, wire, heat, bands, and what it takes in time, wire and gas.
///
/// What is not asked for here comes from the procedure, or else from the rules of the trade. Quantities
/// are written with their unit: "5 in", "127 mm", "1 1/16 in", "7.2 m/min", "35 ft3/h".
#[derive(Args)]
#[command(
    after_help = "Example:\n  bandward plan --procedure joint.procedure.toml --diameter \"5 in\" --total-width \"3 in\"\n\n\
Without --procedure the demo that comes with the program is used.\n\
Exit code 0: nothing outside the procedure; 1: something outside it; 2: could not do it; 3: not proven: the \
procedure, or that of a place, is for another diameter, nobody knows the gas for such wires, what the steel needs could not \
be worked out, or the wall would melt through."
)]
pub struct PlanArguments {
    /// The procedure to plan by
    #[arg(long, short, value_name = "FILE")]
    procedure: Option<PathBuf>,
    /// Outside diameter of the joint
    #[arg(long, value_name = "LENGTH", value_parser = quantity::diameter)]
    diameter: Option<f64>,
    /// Time of one turn
    #[arg(long, value_name = "TIME", value_parser = quantity::turn_time)]
    turn_time: Option<f64>,
    /// Number of bands
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u32).range(1..=100))]
    bands: Option<u32>,
    /// Width to cover with bands
    #[arg(long, value_name = "LENGTH", value_parser = quantity::total_width)]
    total_width: Option<f64>,
    /// Width of one finished band
    #[arg(long, value_name = "LENGTH", value_parser = quantity::width)]
    band_width: Option<f64>,
    /// Width of the weave; the band is wider by what the pool runs out to
    #[arg(long, value_name = "LENGTH", value_parser = quantity::width, conflicts_with = "band_width")]
    weave_width: Option<f64>,
    /// Carriage step from band to band
    #[arg(long, value_name = "LENGTH", value_parser = quantity::width)]
    step_over: Option<f64>,
    /// Wire diameter
    #[arg(long, value_name = "LENGTH", value_parser = quantity::wire_diameter)]
    wire: Option<f64>,
    /// Wire feed speed
    #[arg(long, value_name = "SPEED", value_parser = quantity::wire_feed)]
    wire_feed: Option<f64>,
    /// Welding current
    #[arg(long, value_name = "CURRENT", value_parser = quantity::current)]
    current: Option<f64>,
    /// Arc voltage
    #[arg(long, value_name = "VOLTAGE", value_parser = quantity::voltage)]
    voltage: Option<f64>,
    /// Electrical stick-out
    #[arg(long, value_name = "LENGTH", value_parser = quantity::stick_out)]
    stick_out: Option<f64>,
    /// Shielding gas, such as 98Ar/2O2
    #[arg(long, value_name = "MIXTURE", value_parser = gas)]
    gas: Option<GasMixture>,
    /// Shielding gas flow
    #[arg(long, value_name = "FLOW", value_parser = quantity::gas_flow)]
    gas_flow: Option<f64>,
    /// Distance from the shoulder to the near edge of the first band
    #[arg(long, value_name = "LENGTH", value_parser = quantity::distance)]
    first_edge: Option<f64>,
    /// How far round the joint a band starts from the one before; 90 degrees where nobody says
    #[arg(long, value_name = "ANGLE", value_parser = quantity::angle)]
    start_stagger: Option<f64>,
    /// What is left of old bands where the new ones go: their height above the joint
    #[arg(long, value_name = "LENGTH", value_parser = quantity::old_band)]
    old_band: Option<f64>,
    /// Wire on one spool; 15 kg where not said
    #[arg(long, value_name = "MASS", value_parser = quantity::spool)]
    spool: Option<f64>,
    /// Gas out of one bottle, at the pressure of the shop; 10 m3 where not said
    #[arg(long, value_name = "VOLUME", value_parser = quantity::bottle)]
    bottle: Option<f64>,
    /// Write the plan as a page to print, with the joint drawn to scale, to a new file
    #[arg(long, value_name = "FILE.html")]
    report: Option<PathBuf>,
    #[command(flatten)]
    heat: HeatArguments,
    /// One JSON object instead of text
    #[arg(long)]
    json: bool,
}

impl PlanArguments {
    fn inputs(&self) -> Vec<(&str, &Path)> {
        self.procedure.iter().map(|path| ("--procedure", path.as_path())).collect()
    }
    fn outputs(&self) -> Vec<(&str, &Path)> {
        let named = [("--report", &self.report), ("--heat-picture", &self.heat.heat_picture)];
        named.into_iter().filter_map(|(option, path)| Some((option, path.as_deref()?))).collect()
    }
    const fn request(&self) -> Request {
        Request {
            outside_diameter_mm: self.diameter,
            turn_time_s: self.turn_time,
            bands: self.bands,
            total_width_mm: self.total_width,
            band_width_mm: self.band_width,
            weave_width_mm: self.weave_width,
            step_over_mm: self.step_over,
            wire_diameter_mm: self.wire,
            wire_feed_mm_per_min: self.wire_feed,
            current_a: self.current,
            voltage_v: self.voltage,
            stick_out_mm: self.stick_out,
            gas_mixture: self.gas,
            gas_flow_lpm: self.gas_flow,
            first_edge_mm: self.first_edge,
            start_stagger_deg: self.start_stagger,
            old_band_mm: self.old_band,
            preheat_c: self.heat.preheat,
            spool_kg: self.spool,
            bottle_l: self.bottle,
        }
    }
}

/// Runs the command.
///
/// # Errors
/// The procedure cannot be read or has faults, or no diameter is known.
pub fn run(arguments: &PlanArguments, units: Option<UnitSystem>) -> anyhow::Result<Outcome> {
    output::refuse_overlap(&arguments.inputs(), &arguments.outputs())?;
    let procedure = match &arguments.procedure {
        Some(path) => ProcedureFile::read(path)?,
        None => demo::procedure()?,
    };
    let mut plan = plan(&arguments.request(), &procedure)?;
    let heat_request = arguments.heat.request();
    if let Some(bore_mm) = heat_request.bore_mm.or(procedure.material.bore_mm)
        && let Some(problem) = placed::beyond_bore(&plan, bore_mm)
    {
        bail!(problem);
    }
    let heat = HeatPlan::of(&plan, &heat_request, &procedure);
    plan.heed(&heat);
    let system = || preferences::units(units, Some(&procedure));
    if let Some(path) = &arguments.heat.heat_picture {
        let picture = report::heat_picture::svg(&heat, system()?)?;
        output::write_new(path, picture.as_bytes())?;
    }
    if let Some(path) = &arguments.report {
        output::write_new(path, report::page::plan::page(&plan, &procedure, system()?).as_bytes())?;
    }
    if arguments.json {
        let mut object = report::plan::json(&plan, &procedure);
        object["heat"] = report::plan_heat::json(&heat);
        say_json(&object)?;
    } else {
        let system = system()?;
        say(&report::plan::text(&plan, &procedure, system))?;
        say(&report::plan_heat::text(&heat, system))?;
    }
    Ok(Outcome::of(plan.outcome(), false))
}
