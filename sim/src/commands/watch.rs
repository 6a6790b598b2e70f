//! `bandward watch`: a trace played into a screen.
//!
//! Decides: the pace.
//! Assumes: nothing.
//! Never: judges.

use super::Outcome;
use crate::demo;
use crate::input::layout::Layout;
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::UnitSystem;
use crate::preferences;
use crate::trace::{self, TraceReader};
use crate::watch::lines;
use crate::watch::player::Player;
use crate::watch::terminal::{Key, Terminal};
use crate::watch::view::View;
use bandward::{Acquisition, Phase, Procedure};
use clap::Args;
use std::io::{IsTerminal as _, Write as _};
use std::path::PathBuf;
use std::time::{Duration, Instant};

/// Time between two pictures.
const FRAME: Duration = Duration::from_millis(50);
const KEYS: &str = " q end   a acknowledge   space pause   + - speed";

/// How fast a trace is played.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Speed {
    /// So many times as fast as it was recorded.
    Times(f64),
    /// As fast as it goes.
    Most,
}

fn speed(text: &str) -> Result<Speed, String> {
    match text.parse::<f64>() {
        _ if text == "max" => Ok(Speed::Most),
        Ok(times) if (0.01..=1000.0).contains(&times) => Ok(Speed::Times(times)),
        _ => Err("allowed: a number from 0.01 to 1000, or max".to_owned()),
    }
}

/// Plays a logged joint into a screen, through the code that runs on the board.
///
/// Without a trace it plays the demo joint that comes with the program.
#[derive(Args)]
#[command(after_help = "Example:\n  bandward watch --procedure joint.procedure.toml joint.csv --speed 4\n\n\
Exit code 0: nothing outside the procedure so far; 1: something outside it; 2: could not do it.")]
pub struct WatchArguments {
    /// A trace: CSV (also .gz, .zst) or Parquet; `-` is standard input
    trace: Option<PathBuf>,
    /// The procedure to judge by
    #[arg(long, short, value_name = "FILE")]
    procedure: Option<PathBuf>,
    /// How the columns of another logger are to be read
    #[arg(long, short, value_name = "FILE")]
    layout: Option<PathBuf>,
    /// How many times as fast as it was recorded, or `max` [default: 1; with --json: max]
    #[arg(long, value_name = "N", value_parser = speed)]
    speed: Option<Speed>,
    /// One JSON object a line for everything that happens, instead of a screen; also where standard
    /// output is no terminal
    #[arg(long)]
    json: bool,
}

/// Runs the command.
///
/// # Errors
/// A file cannot be read or has faults, or the terminal cannot be used.
pub fn run(arguments: &WatchArguments, units: Option<UnitSystem>) -> anyhow::Result<Outcome> {
    let layout = arguments.layout.as_deref().map(Layout::read).transpose()?;
    let procedure = match (&arguments.procedure, &arguments.trace) {
        (Some(path), _) => Some(ProcedureFile::read(path)?),
        (None, None) => Some(demo::procedure()?),
        (None, Some(_)) => None,
    };
    let reader = match &arguments.trace {
        Some(path) => trace::open(path, layout.as_ref())?,
        None => demo::trace()?,
    };
    let source = reader.header().path.clone();
    let mut player = player(reader, procedure.as_ref());
    if arguments.json || !std::io::stdout().is_terminal() {
        print_lines(&mut player, arguments.speed.unwrap_or(Speed::Most))?;
    } else {
        let view = View {
            source,
            procedure: procedure.as_ref().map(ProcedureFile::title),
            system: preferences::units(units, procedure.as_ref())?,
            time_s: 0.0,
            pace: String::new(),
            is_over: false,
            phase: Phase::Idle,
            band: 0,
            turned_deg: None,
            gauges: Vec::new(),
            alarms: Vec::new(),
            bands: Vec::new(),
            is_within: true,
            keys: KEYS,
        };
        show(&mut player, view, procedure.as_ref(), arguments.speed.unwrap_or(Speed::Times(1.0)))?;
    }
    let within = player.ledger().is_within_procedure();
    Ok(if within { Outcome::WithinProcedure } else { Outcome::OutsideProcedure })
}

fn player(reader: TraceReader, procedure: Option<&ProcedureFile>) -> Player {
    let header = reader.header();
    let acquisition = Acquisition {
        period_us: header.period_us,
        gap_tolerance_us: header.gap_tolerance_us,
        channels: header.channels,
    };
    let judge_by = procedure.map_or_else(Procedure::new, |file| file.procedure.clone());
    Player::new(Box::new(reader), acquisition, judge_by)
}

/// Time in the trace that goes by in `passed`, µs.
fn micros(speed: Speed, passed: Duration) -> u64 {
    match speed {
        Speed::Times(times) => (passed.as_secs_f64() * times * 1e6) as u64,
        Speed::Most => u64::MAX,
    }
}

fn print_lines(player: &mut Player, speed: Speed) -> anyhow::Result<()> {
    let mut output = std::io::stdout().lock();
    let mut due_us = 0_u64;
    loop {
        due_us = due_us.saturating_add(micros(speed, FRAME));
        player.advance(due_us, None)?;
        for news in player.ledger_mut().take_news() {
            writeln!(output, "{}", lines::line(&news))?;
        }
        if player.is_over() {
            writeln!(output, "{}", lines::end(player.ledger().is_within_procedure()))?;
            return Ok(());
        }
        output.flush()?;
        std::thread::sleep(FRAME);
    }
}

fn show(
    player: &mut Player,
    mut view: View,
    procedure: Option<&ProcedureFile>,
    mut speed: Speed,
) -> anyhow::Result<()> {
    let mut terminal = Terminal::open()?;
    let (mut is_paused, mut due_us, mut seen) = (false, 0_u64, Instant::now());
    loop {
        let passed = seen.elapsed();
        seen = Instant::now();
        if !is_paused && !player.is_over() {
            due_us = due_us.saturating_add(micros(speed, passed));
            if !player.advance(due_us, Some(seen + FRAME))? || speed == Speed::Most {
                due_us = player.elapsed_us();
            }
        }
        player.ledger_mut().take_news();
        view.take(player.ledger());
        view.time_s = crate::replay::seconds(player.now_us());
        view.is_over = player.is_over();
        view.turned_deg = player.turned_deg();
        view.gauges = procedure.map_or_else(Vec::new, |file| player.gauges(file));
        view.pace = pace(speed, is_paused, player.is_over());
        terminal.draw(&view)?;
        match terminal.key(FRAME.saturating_sub(seen.elapsed()))? {
            Some(Key::Quit) => return Ok(()),
            Some(Key::Acknowledge) => player.acknowledge(),
            Some(Key::Pause) => is_paused = !is_paused,
            Some(Key::Faster) => speed = changed(speed, 2.0),
            Some(Key::Slower) => speed = changed(speed, 0.5),
            None => {}
        }
    }
}

fn changed(speed: Speed, by: f64) -> Speed {
    match speed {
        Speed::Times(times) => Speed::Times((times * by).clamp(0.125, 1024.0)),
        Speed::Most => Speed::Times(if by < 1.0 { 64.0 } else { 1024.0 }),
    }
}

fn pace(speed: Speed, is_paused: bool, is_over: bool) -> String {
    match speed {
        _ if is_over => "end of the trace".to_owned(),
        _ if is_paused => "PAUSED".to_owned(),
        Speed::Times(times) => format!("speed {times}"),
        Speed::Most => "speed max".to_owned(),
    }
}
