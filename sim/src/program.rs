//! The `bandward` program: one subcommand a job, one file a subcommand under `commands/`.
//!
//! A function of the library, so that the tests build and run what they were built with.
//!
//! Exit code 0: proven, or done; 1: something broken; 2: could not do it; 3: not proven.

use crate::commands::next_step::next_step;
#[cfg(feature = "register")]
use crate::commands::register;
use crate::commands::{
    Outcome, completions, config, embed, inspect, keys, layout, manual, plan, procedure, replay, setup,
    synth, trend, trial, watch,
};
use crate::input::diagnostic::InputErrors;
use crate::input::quantity::UnitSystem;
use crate::output::terminal::{finish_remarks, remark, remark_styled, say};
use crate::own_fault::{FAILURE, own_fault};
use clap::{CommandFactory as _, Parser, Subcommand};
use std::panic::AssertUnwindSafe;
use std::process::ExitCode;
#[cfg(unix)]
use std::sync::Arc;
use std::sync::PoisonError;

/// Watches hardbanding: replays logged joints, makes test joints, tries alarm thresholds.
#[derive(Parser)]
#[command(name = "bandward", bin_name = "bandward", version, about)]
struct Arguments {
    /// Units to show values in; else the procedure's choice, else the one saved by `bandward config`
    #[arg(long, global = true, value_enum, value_name = "SYSTEM")]
    units: Option<UnitSystem>,
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    Completions(completions::CompletionsArguments),
    Config(config::ConfigArguments),
    Embed(embed::EmbedArguments),
    Inspect(inspect::InspectArguments),
    Keys(keys::KeysArguments),
    Layout(layout::LayoutArguments),
    Manual(manual::ManualArguments),
    Plan(Box<plan::PlanArguments>),
    Procedure(procedure::ProcedureArguments),
    #[cfg(feature = "register")]
    Register(register::RegisterArguments),
    Replay(replay::ReplayArguments),
    Setup(setup::SetupArguments),
    Synth(synth::SynthArguments),
    Trend(trend::TrendArguments),
    Trial(trial::TrialArguments),
    Watch(watch::WatchArguments),
}

/// Does what the command line asks for.
#[must_use]
pub fn run() -> ExitCode {
    // What a library says as it fails is for its makers; what was being done is told below.
    std::panic::set_hook(Box::new(|failure| {
        let place = failure.location().map(|place| (place.file().to_owned(), place.line()));
        *FAILURE.lock().unwrap_or_else(PoisonError::into_inner) = place;
    }));
    // A file that may not grow any more is an error of writing, which is told; without this it ends the program.
    #[cfg(unix)]
    let _ = signal_hook::flag::register(signal_hook::consts::SIGXFSZ, Arc::default());
    let result = match Arguments::try_parse() {
        Ok(arguments) => std::panic::catch_unwind(AssertUnwindSafe(|| command(&arguments)))
            .unwrap_or_else(|_| Err(own_fault())),
        Err(usage) if usage.use_stderr() => {
            // What was typed is told again, so that styles could be anybody's.
            remark(usage.render().to_string().trim_end());
            return ExitCode::from(2);
        }
        Err(help) => say(&help.render().ansi().to_string()).map(|()| Outcome::Done),
    };
    let code = match result {
        Ok(Outcome::Done) => ExitCode::SUCCESS,
        Ok(Outcome::Broken) => ExitCode::from(1),
        Ok(Outcome::NotProven) => ExitCode::from(3),
        Err(error) => {
            match error.downcast_ref::<InputErrors>() {
                Some(faults) => remark_styled(&faults.styled()),
                None => remark(&format!("{error:#}")),
            }
            if let Some(step) = next_step(&error) {
                remark(&format!("\nnext: {step}"));
            }
            ExitCode::from(2)
        }
    };
    finish_remarks();
    code
}

fn command(arguments: &Arguments) -> anyhow::Result<Outcome> {
    let units = arguments.units;
    match &arguments.command {
        Command::Completions(arguments) => completions::run(arguments, Arguments::command()),
        Command::Config(arguments) => config::run(arguments),
        Command::Embed(arguments) => embed::run(arguments, units),
        Command::Inspect(arguments) => inspect::run(arguments, units),
        Command::Keys(arguments) => keys::run(arguments),
        Command::Layout(arguments) => layout::run(arguments, units),
        Command::Manual(arguments) => manual::run(arguments, Arguments::command()),
        Command::Plan(arguments) => plan::run(arguments, units),
        Command::Procedure(arguments) => procedure::run(arguments, units),
        #[cfg(feature = "register")]
        Command::Register(arguments) => register::run(arguments, units),
        Command::Replay(arguments) => replay::run(arguments, units),
        Command::Setup(arguments) => setup::run(arguments, units),
        Command::Synth(arguments) => synth::run(arguments),
        Command::Trend(arguments) => trend::run(arguments, units),
        Command::Trial(arguments) => trial::run(arguments, units),
        Command::Watch(arguments) => watch::run(arguments, units),
    }
}
