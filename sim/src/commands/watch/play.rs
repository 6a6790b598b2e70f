//! A trace played into the screen.
//!
//! Decides: the pace.
//! Assumes: nothing.
//! Never: judges.

use super::{FRAME, WatchArguments, outcome};
use crate::commands::Outcome;
use crate::demo;
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::UnitSystem;
use crate::output::terminal::say_json_line;
use crate::preferences;
use crate::watch::due::Speed;
use crate::watch::ending::Ending;
use crate::watch::lines;
use crate::watch::player::Player;
use crate::watch::terminal::{Key, Terminal};
use crate::watch::view::View;
use bandward::Procedure;
use std::time::Instant;

const KEYS: &str = " q quit   a acknowledge   space pause   + - speed";

pub(super) fn run(
    arguments: &WatchArguments,
    procedure: Option<ProcedureFile>,
    units: Option<UnitSystem>,
) -> anyhow::Result<Outcome> {
    let is_demo = arguments.trace.is_none() && procedure.is_none();
    let procedure = if is_demo { Some(demo::procedure()?) } else { procedure };
    let reader = arguments.reader()?;
    let source = reader.header().path.clone();
    let acquisition = reader.header().acquisition;
    let judge_by = procedure.as_ref().map_or_else(Procedure::new, |file| file.procedure.clone());
    let mut player = Player::new(Box::new(reader), acquisition, judge_by);
    let ending = Ending::catch()?;
    if arguments.has_screen() {
        let mut view = View::new(source, preferences::units(units, procedure.as_ref())?, KEYS);
        view.procedure = procedure.as_ref().map(ProcedureFile::title_with_warning);
        show(&mut player, view, procedure.as_ref(), arguments.speed(), &ending)?;
    } else {
        print_lines(&mut player, arguments.speed(), &ending)?;
    }
    Ok(outcome(player.ledger()))
}

fn print_lines(player: &mut Player, speed: Speed, ending: &Ending) -> anyhow::Result<()> {
    let mut due_us = 0_u64;
    loop {
        due_us = due_us.saturating_add(speed.micros(FRAME));
        player.advance(due_us, Some(Instant::now() + FRAME))?;
        for news in player.ledger_mut().take_news() {
            say_json_line(&lines::line(&news))?;
        }
        if player.is_over() || ending.is_asked() {
            say_json_line(&lines::end(player.ledger().outcome(), None))?;
            return Ok(());
        }
        if speed != Speed::Most {
            std::thread::sleep(FRAME);
        }
    }
}

fn show(
    player: &mut Player,
    mut view: View,
    procedure: Option<&ProcedureFile>,
    mut speed: Speed,
    ending: &Ending,
) -> anyhow::Result<()> {
    let mut terminal = Terminal::open()?;
    let (mut is_paused, mut due_us, mut seen) = (false, 0_u64, Instant::now());
    while !ending.is_asked() {
        let passed = seen.elapsed();
        seen = Instant::now();
        if !is_paused && !player.is_over() {
            due_us = due_us.saturating_add(speed.micros(passed));
            if !player.advance(due_us, Some(seen + FRAME))? || speed == Speed::Most {
                due_us = player.elapsed_us();
            }
        }
        player.ledger_mut().take_news();
        view.take(player.ledger());
        view.time_s = crate::raw::seconds(player.now_us());
        view.is_over = player.is_over();
        view.turned_deg = player.turned_deg();
        view.gauges = procedure.map_or_else(Vec::new, |file| player.gauges(file));
        view.next_band = procedure.and_then(|file| player.next_band(file, view.system));
        view.pace = pace(speed, is_paused, player.is_over());
        terminal.draw(&view)?;
        match terminal.key(FRAME.saturating_sub(seen.elapsed()))? {
            Some(Key::Quit) => break,
            Some(Key::Acknowledge) => player.acknowledge(),
            Some(Key::Pause) => is_paused = !is_paused,
            Some(Key::Faster) => speed = changed(speed, 2.0),
            Some(Key::Slower) => speed = changed(speed, 0.5),
            _ => {}
        }
    }
    Ok(())
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
