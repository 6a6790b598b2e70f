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
use crate::output::named;
use crate::output::terminal::say_json_line;
use crate::preferences;
use crate::trace::TraceHeader;
use crate::watch::arriving::Arriving;
use crate::watch::due::{DueRows, Speed};
use crate::watch::ending::Ending;
use crate::watch::lines;
use crate::watch::player::Player;
use crate::watch::terminal::{Key, Terminal};
use crate::watch::view::View;
use bandward::Procedure;
use std::time::{Duration, Instant};

const KEYS: &str = " q quit   a acknowledge   space pause   + - speed";

/// A trace that is there has its first rows within so long: no screen is put up only to be taken down again.
const SOON: Duration = Duration::from_millis(200);

pub(super) fn run(
    arguments: &WatchArguments,
    procedure: Option<ProcedureFile>,
    units: Option<UnitSystem>,
) -> anyhow::Result<Outcome> {
    let is_demo = arguments.trace.is_none() && procedure.is_none();
    let procedure = if is_demo { Some(demo::procedure()?) } else { procedure };
    let judge_by = procedure.as_ref().map_or_else(Procedure::new, |file| file.procedure.clone());
    let ending = Ending::default();
    let mut screen = Screen { terminal: None, view: None };
    if arguments.has_screen() {
        let name = arguments.trace.as_ref().map_or_else(String::new, named);
        let mut view = View::new(name, preferences::units(units, procedure.as_ref())?, KEYS);
        view.procedure = procedure.as_ref().map(ProcedureFile::title_with_warning);
        screen.view = Some(view);
    }
    let (rows, header) = match arguments.stream() {
        None => {
            let reader = arguments.reader()?;
            let header = reader.header().clone();
            (DueRows::new(Box::new(reader)), header)
        }
        Some(stream) => {
            ending.catch()?;
            let Some(header) = screen.wait_for(&stream, &ending)? else {
                if screen.view.is_none() {
                    say_json_line(&lines::end(bandward::Outcome::NotAsked, None))?;
                }
                return Ok(Outcome::Done);
            };
            (DueRows::of_stream(stream.rows()), header)
        }
    };
    ending.catch()?;
    let mut player = Player::of(rows, header.acquisition, judge_by);
    match screen.view {
        None => print_lines(&mut player, arguments.speed(), &ending)?,
        Some(view) => {
            let view = View { source: header.path, ..view };
            let terminal = screen.terminal.map_or_else(Terminal::open, Ok)?;
            show(&mut player, terminal, view, procedure.as_ref(), arguments.speed(), &ending)?;
        }
    }
    Ok(outcome(player.ledger()))
}

/// The screen of a person who looks on; neither where nobody does.
struct Screen {
    terminal: Option<Terminal>,
    view: Option<View>,
}

impl Screen {
    /// Waits until the first rows of a stream have come; none where somebody ends it before.
    fn wait_for(&mut self, stream: &Arriving, ending: &Ending) -> anyhow::Result<Option<TraceHeader>> {
        let mut header = stream.header(SOON)?;
        while header.is_none() && !ending.is_asked() {
            if let Some(view) = &mut self.view {
                "waiting for the trace".clone_into(&mut view.pace);
                let terminal = match &mut self.terminal {
                    Some(terminal) => terminal,
                    none => none.insert(Terminal::open()?),
                };
                if !terminal.draw(view) || terminal.key(Duration::ZERO) == Some(Key::Quit) {
                    ending.ask();
                }
            }
            header = stream.header(FRAME)?;
        }
        Ok(header)
    }
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
        if player.is_waiting() {
            due_us = 0;
        }
        if speed != Speed::Most {
            std::thread::sleep(FRAME);
        }
    }
}

fn show(
    player: &mut Player,
    mut terminal: Terminal,
    mut view: View,
    procedure: Option<&ProcedureFile>,
    mut speed: Speed,
    ending: &Ending,
) -> anyhow::Result<()> {
    let (mut is_paused, mut due_us, mut seen) = (false, 0_u64, Instant::now());
    while !ending.is_asked() {
        let passed = seen.elapsed();
        seen = Instant::now();
        if !is_paused && !player.is_over() {
            due_us = due_us.saturating_add(speed.micros(passed));
            let came_so_far = player.advance(due_us, Some(seen + FRAME))?;
            if !came_so_far || speed == Speed::Most || player.is_waiting() {
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
        if !terminal.draw(&view) {
            break;
        }
        match terminal.key(FRAME.saturating_sub(seen.elapsed())) {
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
