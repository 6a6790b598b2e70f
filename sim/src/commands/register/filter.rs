//! Which joints of a register are meant, as options.

use crate::findings::table::causes;
use crate::register::Filter;
use bandward::Rule;
use clap::Args;
use jiff::civil::Date;

/// Which joints; `*` stands for anything, `?` for one character.
#[derive(Args, Debug, Default)]
pub struct FilterArguments {
    /// The serial of the pipe or tool joint; `*` stands for anything
    #[arg(long, value_name = "SERIAL")]
    pub(super) serial: Option<String>,
    /// The machine
    #[arg(long, value_name = "NAME")]
    pub(super) machine: Option<String>,
    /// Who welded
    #[arg(long, value_name = "NAME")]
    pub(super) operator: Option<String>,
    /// The procedure: its name, or the beginning of its SHA-256
    #[arg(long, value_name = "NAME")]
    pub(super) procedure: Option<String>,
    /// Welded on this day or later
    #[arg(long, value_name = "YYYY-MM-DD")]
    pub(super) from: Option<Date>,
    /// Welded on this day or earlier
    #[arg(long, value_name = "YYYY-MM-DD")]
    pub(super) to: Option<Date>,
    /// With an alarm of this rule, or a limit of it that did not hold
    #[arg(long, value_name = "RULE", value_parser = rule)]
    pub(super) rule: Option<String>,
    /// With this likely cause
    #[arg(long, value_name = "CAUSE", value_parser = cause)]
    pub(super) cause: Option<String>,
    /// With this outcome
    #[arg(long, value_name = "OUTCOME", value_parser = ["proven", "broken", "not proven", "not asked"])]
    pub(super) outcome: Option<String>,
}

fn rule(name: &str) -> Result<String, String> {
    let names = || Rule::ALL.map(Rule::name).join(", ");
    Rule::from_name(name).map(|rule| rule.name().to_owned()).ok_or_else(|| format!("allowed: {}", names()))
}

fn cause(name: &str) -> Result<String, String> {
    let names: Vec<_> = causes().iter().map(|cause| cause.name.as_str()).collect();
    if names.contains(&name) { Ok(name.to_owned()) } else { Err(format!("allowed: {}", names.join(", "))) }
}

impl FilterArguments {
    pub(super) fn filter(&self) -> Filter {
        Filter {
            serial: self.serial.clone(),
            machine: self.machine.clone(),
            operator: self.operator.clone(),
            procedure: self.procedure.clone(),
            from: self.from.map(|day| day.to_string()),
            to: self.to.map(|day| day.to_string()),
            rule: self.rule.clone(),
            cause: self.cause.clone(),
            outcome: self.outcome.clone(),
            ..Filter::default()
        }
    }
}
