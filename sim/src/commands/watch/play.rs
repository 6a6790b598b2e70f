//! A trace played into the screen.
//!
//! Decides: the pace: a trace that is there is played at a speed, a stream as it comes.
//! Assumes: nothing.
//! Never: judges.

use super::WatchArguments;
use super::ending::outcome_of_trace;
use super::frame::FRAME;
use super::onlookers::Onlookers;
use crate::commands::Outcome;
use crate::demo;
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::UnitSystem;
use crate::output::apart::{self, Full};
use crate::output::named;
use crate::output::terminal::{remark, say_json_line};
use crate::preferences;
use crate::trace::{Standing, TraceHeader};
use crate::watch::arriving::Arriving;
use crate::watch::due::{DueRows, Speed};
use crate::watch::ending::Ending;
use crate::watch::ledger::News;
use crate::watch::lines;
use crate::watch::player::Player;
use crate::watch::remote::SILENCE;
use crate::watch::terminal::{Key, Terminal};
use crate::watch::timeliness::Timeliness;
use crate::watch::view::View;
use bandward::Procedure;
use std::time::{Duration, Instant};

const KEYS: &str = " q quit   a acknowledge   space pause   + - speed";
const KEYS_WITH_PAGE: &str = " q quit   a acknowledge   space pause   + - speed   w page";
/// A stream goes on whether anybody looks or not.
const KEYS_OF_STREAM: &str = " q quit   a acknowledge";
const KEYS_OF_STREAM_WITH_PAGE: &str = " q quit   a acknowledge   w page";

/// A trace that is there has its first rows within so long: no screen is put up only to be taken down again.
const SOON: Duration = Duration::from_millis(200);
/// Between two looks at whether a stream has brought a row, where nobody looks at a screen.
const A_MOMENT: Duration = Duration::from_millis(10);

pub(super) fn run(
    arguments: &WatchArguments,
    procedure: Option<ProcedureFile>,
    units: Option<UnitSystem>,
) -> anyhow::Result<Outcome> {
    #[cfg(feature = "register")]
    arguments.refuse_unwatched(
        "--port or --tcp, with --register FILE, watches one on a board; replay --register reads a log",
    )?;
    let is_demo = arguments.trace.is_none() && procedure.is_none();
    let procedure = if is_demo { Some(demo::procedure()?) } else { procedure };
    let judge_by = procedure.as_ref().map_or_else(Procedure::new, |file| file.procedure.clone());
    let ending = Ending::default();
    let name = arguments.trace.as_ref().map_or_else(String::new, named);
    let stream = arguments.stream()?;
    let is_stream = stream.is_some();
    let keys = match (is_stream, arguments.live.is_any()) {
        (false, false) => KEYS,
        (false, true) => KEYS_WITH_PAGE,
        (true, false) => KEYS_OF_STREAM,
        (true, true) => KEYS_OF_STREAM_WITH_PAGE,
    };
    if is_stream && matches!(arguments.speed, Some(Speed::Times(_))) {
        remark("note: --speed is for a trace that is there; a stream is shown as it comes");
    }
    let mut view = View::new(name, preferences::units(units, procedure.as_ref())?, keys);
    view.procedure = procedure.as_ref().map(ProcedureFile::title_with_warning);
    view.bands_planned = procedure.as_ref().and_then(|file| file.joint.bands);
    if !arguments.has_screen() {
        apart::begin(Full::Waits, ending.flag());
    }
    let onlookers = Onlookers::start(arguments, false)?;
    let mut screen = Screen { terminal: None, view: arguments.has_screen().then(|| view.clone()) };
    let (rows, header, file) = match stream {
        None => {
            let reader = arguments.reader()?;
            let (header, file) = (reader.header().clone(), reader.standing());
            (DueRows::new(Box::new(reader)), header, file)
        }
        Some(stream) => {
            ending.catch()?;
            let Some(header) = screen.wait_for(&stream, &ending)? else {
                // What was asked for was not seen.
                let outcome =
                    if judge_by.asks() { bandward::Outcome::NotProven } else { bandward::Outcome::NotAsked };
                if screen.view.is_none() {
                    say_json_line(&lines::end(outcome))?;
                }
                return Ok(Outcome::of(outcome, false));
            };
            (DueRows::of_stream(stream.stream()), header, None)
        }
    };
    ending.catch()?;
    let period = Duration::from_micros(u64::from(header.acquisition.period_us));
    let player = Player::of(rows, header.acquisition, judge_by);
    let view = View { source: header.path, ..screen.view.unwrap_or(view) };
    let timeliness = Timeliness::new(SILENCE.max(3 * period), Instant::now());
    let speed = if is_stream { Speed::Most } else { arguments.speed() };
    let mut played =
        Played { player, view, procedure, onlookers, is_stream, speed, ending, timeliness, file };
    if arguments.has_screen() {
        played.show(screen.terminal.map_or_else(Terminal::open, Ok)?)?;
    } else {
        played.print_lines()?;
    }
    // Whoever ends it before the last row has not seen what is open then.
    played.player.finish();
    let change = played.change();
    played.onlookers.end()?;
    let found = outcome_of_trace(played.player.ledger(), change.as_deref());
    // Whoever named a procedure wanted a proof.
    if played.procedure.is_some() && played.player.ledger().outcome() == bandward::Outcome::NotAsked {
        remark("NOT JUDGED: the procedure limits nothing");
        return Ok(found.worse(Outcome::NotProven));
    }
    Ok(found)
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

/// A trace that is played.
struct Played {
    player: Player,
    view: View,
    procedure: Option<ProcedureFile>,
    onlookers: Onlookers,
    /// Rows come as a stream: what is there is taken at once.
    is_stream: bool,
    speed: Speed,
    ending: Ending,
    timeliness: Timeliness,
    /// The file of a trace that is there.
    file: Option<Standing>,
}

impl Played {
    fn print_lines(&mut self) -> anyhow::Result<()> {
        let (mut due_us, mut is_told) = (0_u64, false);
        loop {
            due_us = due_us.saturating_add(self.speed.micros(FRAME));
            self.player.advance(due_us, Some(Instant::now() + FRAME))?;
            if self.ending.is_asked() {
                self.player.finish();
            }
            for news in self.take_news() {
                say_json_line(&lines::line(&news))?;
            }
            self.serve(false);
            self.onlookers.print()?;
            if (self.player.is_over() || self.ending.is_asked()) && !is_told {
                is_told = true;
                let judged = self.player.ledger().outcome();
                // A file that changed while it was read was not seen whole.
                let least = self.change().map_or(judged, |_| bandward::Outcome::NotProven);
                say_json_line(&lines::end(judged.max(least)))?;
            }
            // Somebody may look at a page of it.
            if self.ending.is_asked() || self.player.is_over() && !self.onlookers.page.is_served() {
                return Ok(());
            }
            if self.player.is_waiting() {
                due_us = 0;
            }
            if self.speed != Speed::Most || self.player.is_over() {
                std::thread::sleep(FRAME);
            } else if self.player.is_starved() {
                std::thread::sleep(A_MOMENT);
            }
        }
    }
    /// What has happened to the file since it was opened.
    fn change(&self) -> Option<String> {
        self.file.as_ref().and_then(Standing::change)
    }
    fn take_news(&mut self) -> Vec<News> {
        let news = self.player.ledger_mut().take_news();
        self.view.hear(&news, self.player.ledger());
        self.onlookers.take(&news);
        news
    }
    /// Fills in the view.
    fn look(&mut self, is_paused: bool) {
        let Self { player, view, procedure, timeliness, .. } = self;
        view.not_now = player.taken().and_then(|taken| timeliness.look(taken, Instant::now()));
        view.take(player.ledger());
        view.time_s = crate::raw::seconds(player.now_us());
        view.is_over = player.is_over();
        view.turned_deg = player.turned_deg();
        view.gauges = procedure.as_ref().map_or_else(Vec::new, |file| player.gauges(file));
        view.next_band = procedure.as_ref().and_then(|file| player.next_band(file, view.system));
        view.in_range_words = procedure.as_ref().and_then(|file| player.in_range_words(file, view.system));
        view.pace = pace(self.speed, self.is_stream, is_paused, player.is_over());
        view.settle(player.ledger());
    }
    /// Publishes what there is, if it is time to, and does what is asked for from pages.
    fn serve(&mut self, is_paused: bool) {
        let now = Instant::now();
        if self.onlookers.is_due(now) {
            self.player.end_shelving(now);
            self.onlookers.page.play_from_pages(&mut self.player, self.procedure.as_ref());
            self.look(is_paused);
            self.onlookers.show(&mut self.view, now);
        }
    }
    fn show(&mut self, mut terminal: Terminal) -> anyhow::Result<()> {
        let (mut is_paused, mut due_us, mut seen) = (false, 0_u64, Instant::now());
        while !self.ending.is_asked() {
            let passed = seen.elapsed();
            seen = Instant::now();
            if !is_paused && !self.player.is_over() {
                due_us = due_us.saturating_add(self.speed.micros(passed));
                let came_so_far = self.player.advance(due_us, Some(seen + FRAME))?;
                if !came_so_far || self.speed == Speed::Most || self.player.is_waiting() {
                    due_us = self.player.elapsed_us();
                }
            }
            self.take_news();
            self.serve(is_paused);
            self.look(is_paused);
            if !terminal.draw(&self.view) {
                break;
            }
            match terminal.key(FRAME.saturating_sub(seen.elapsed())) {
                Some(Key::Quit) => break,
                Some(Key::Acknowledge) => self.player.acknowledge(),
                Some(Key::Pause | Key::Faster | Key::Slower) if self.is_stream => {}
                Some(Key::Pause) => is_paused = !is_paused,
                Some(Key::Faster) => self.speed = changed(self.speed, 2.0),
                Some(Key::Slower) => self.speed = changed(self.speed, 0.5),
                Some(Key::Page) => {
                    self.view.overlay = self.onlookers.page.turn_page();
                }
                _ => {}
            }
        }
        Ok(())
    }
}

fn changed(speed: Speed, by: f64) -> Speed {
    match speed {
        Speed::Times(times) => Speed::Times((times * by).clamp(0.125, 1024.0)),
        Speed::Most => Speed::Times(if by < 1.0 { 64.0 } else { 1024.0 }),
    }
}

fn pace(speed: Speed, is_stream: bool, is_paused: bool, is_over: bool) -> String {
    match speed {
        _ if is_over => "end of the trace".to_owned(),
        _ if is_stream => "as it comes".to_owned(),
        _ if is_paused => "PAUSED".to_owned(),
        Speed::Times(times) => format!("speed {times}"),
        Speed::Most => "speed max".to_owned(),
    }
}
