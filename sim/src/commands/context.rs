//! What is known about joints besides their traces, for `trend`.
//!
//! Decides: the options that tell it.
//! Assumes: all traces of one call were welded so.

use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::{Dimension, QuantityError, parse};
use crate::output::printable;
use crate::trend::context::Context;
use clap::Args;

/// Who welded, with what, and how warm the shop was.
#[derive(Args, Debug, Default)]
pub struct ContextArguments {
    /// Who welded, for `trend`
    #[arg(long, value_name = "NAME")]
    operator: Option<String>,
    /// The spool or batch of wire, for `trend`
    #[arg(long, value_name = "NAME")]
    spool: Option<String>,
    /// The gas bottle, for `trend`
    #[arg(long, value_name = "NAME")]
    bottle: Option<String>,
    /// The contact tip, for `trend`
    #[arg(long, value_name = "NAME")]
    tip: Option<String>,
    /// Temperature of the shop, such as "12 degC", for `trend`
    #[arg(long, value_name = "TEMPERATURE", value_parser = temperature, allow_hyphen_values = true)]
    ambient: Option<f64>,
}

fn temperature(text: &str) -> Result<f64, String> {
    let dimension = Dimension::Temperature;
    let value = parse(text, dimension).map_err(|error| {
        format!("{}; allowed: {}", error.problem(text, dimension), QuantityError::allowed(dimension))
    })?;
    (-60.0..=60.0).contains(&value).then_some(value).ok_or_else(|| "allowed: -60 degC to 60 degC".to_owned())
}

impl ContextArguments {
    /// All that is known of a joint replayed so.
    pub fn context(&self, machine: Option<&str>, procedure: Option<&ProcedureFile>) -> Context {
        let text = |name: &Option<String>| name.as_deref().map(|name| printable(name).into_owned());
        let told = Context {
            machine: machine.map(|name| printable(name).into_owned()),
            operator: text(&self.operator),
            spool: text(&self.spool),
            bottle: text(&self.bottle),
            tip: text(&self.tip),
            ambient_c: self.ambient,
            ..Context::default()
        };
        procedure.map_or(told.clone(), |file| told.under(file))
    }
}
