//! The `bandward` program: one subcommand a job, one file a subcommand under `commands/`.
//!
//! Exit code 0: nothing outside the procedure; 1: something outside it; 2: could not do it.

use bandward_sim::commands::next_step::next_step;
use bandward_sim::commands::{
    Outcome, completions, config, manual, plan, replay, setup, synth, trend, trial, watch,
};
use bandward_sim::input::diagnostic::InputErrors;
use bandward_sim::input::quantity::UnitSystem;
use clap::{CommandFactory as _, Parser, Subcommand};
use std::process::ExitCode;

/// Watches hardbanding: replays logged joints, makes test joints, tries alarm thresholds.
#[derive(Parser)]
#[command(name = "bandward", version, about)]
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
    Manual(manual::ManualArguments),
    Plan(Box<plan::PlanArguments>),
    Replay(replay::ReplayArguments),
    Setup(setup::SetupArguments),
    Synth(synth::SynthArguments),
    Trend(trend::TrendArguments),
    Trial(trial::TrialArguments),
    Watch(watch::WatchArguments),
}

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let units = arguments.units;
    let result = match &arguments.command {
        Command::Completions(arguments) => completions::run(arguments, Arguments::command()),
        Command::Config(arguments) => config::run(arguments),
        Command::Manual(arguments) => manual::run(arguments, Arguments::command()),
        Command::Plan(arguments) => plan::run(arguments, units),
        Command::Replay(arguments) => replay::run(arguments, units),
        Command::Setup(arguments) => setup::run(arguments, units),
        Command::Synth(arguments) => synth::run(arguments),
        Command::Trend(arguments) => trend::run(arguments, units),
        Command::Trial(arguments) => trial::run(arguments, units),
        Command::Watch(arguments) => watch::run(arguments, units),
    };
    match result {
        Ok(Outcome::Done) => ExitCode::SUCCESS,
        Ok(Outcome::Broken) => ExitCode::from(1),
        Ok(Outcome::NotProven) => ExitCode::from(3),
        Err(error) => {
            // Colours are taken out where the terminal is none.
            match error.downcast_ref::<InputErrors>() {
                Some(faults) => anstream::eprintln!("{}", faults.styled()),
                None => anstream::eprintln!("{error:#}"),
            }
            if let Some(step) = next_step(&error) {
                anstream::eprintln!("\nnext: {step}");
            }
            ExitCode::from(2)
        }
    }
}
