//! A board on the screen, and what is asked of it without one.
//!
//! Decides: what the keys do, and when it is over without one.
//! Assumes: nothing.
//! Never: ends because the link is lost while somebody looks on: it says so, and tries again.

use super::WatchArguments;
use super::ending::outcome_of_board;
use super::frame::FRAME;
use super::keys::Keys;
use super::onlookers::Onlookers;
use super::printer::Printer;
#[cfg(feature = "register")]
use super::register::JointRegistrar;
use crate::commands::Outcome;
#[cfg(feature = "register")]
use crate::input::joint_field::Stated;
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::UnitSystem;
use crate::link::LinkLost;
use crate::output::apart::{self, Full};
use crate::output::name::unused;
use crate::output::named;
use crate::output::terminal::{remark, say_json_line, say_line};
use crate::preferences;
use crate::threads;
use crate::trace::writer::check_name;
use crate::watch::due::DueRows;
use crate::watch::ending::Ending;
use crate::watch::keeper::{Bench, LinkKeeper, LinkNews, LinkTasks};
use crate::watch::lines::{self, Failed};
use crate::watch::order::Order;
use crate::watch::remote::{Remote, SILENCE};
use crate::watch::terminal::{Key, Terminal};
use crate::watch::view::View;
use anyhow::bail;
#[cfg(feature = "register")]
use bandward::record::stamp::{LONGEST_SERIAL, Serial};
use serde_json::json;
use std::path::Path;
use std::time::{Duration, Instant};

const KEYS: &str = "q quit  a acknowledge  j journal  x blackbox  p procedure  r record";
const KEYS_WITH_PAGE: &str = "q quit  a acknowledge  j journal  x blackbox  p procedure  r record  w page";
/// Between two looks at whether there is a link, where nobody looks at a screen.
const A_MOMENT: Duration = Duration::from_millis(10);
/// So long it is waited for the link once somebody ends it: what was sent may be under way.
const LAST_MOMENT: Duration = Duration::from_secs(2);
const NOTHING_DONE: &str = "ended before there was a link to the board: nothing was done";
/// Reports taken between two pictures.
const MOST_AT_ONCE: usize = 1024;

pub(super) fn run(
    arguments: &WatchArguments,
    address: &str,
    procedure: Option<ProcedureFile>,
    units: Option<UnitSystem>,
) -> anyhow::Result<Outcome> {
    for path in [&arguments.record, &arguments.fetch_blackbox].into_iter().flatten() {
        check_name(path)?;
    }
    // From here on nothing ends without a word.
    let ending = Ending::default();
    ending.catch()?;
    let system = preferences::units(units, procedure.as_ref())?;
    let (mut plan, silence) = plan(arguments, procedure.as_ref())?;
    let has_orders = !plan.first.is_empty() || !plan.finally.is_empty();
    let has_more = arguments.record.is_some() || arguments.live.is_any() || arguments.publish.is_any();
    let looks_on = plan.bench.is_some() || has_more || !has_orders;
    #[cfg(feature = "register")]
    let registrar = JointRegistrar::of(arguments, address, procedure.as_ref(), looks_on)?;
    let is_bench = plan.bench.is_some();
    let as_lines = !arguments.has_screen();
    let remote = Remote::new(Instant::now(), silence, is_bench);
    let onlookers = Onlookers::start(arguments, true)?;
    let keys = if onlookers.page.is_served() { KEYS_WITH_PAGE } else { KEYS };
    let pace = if is_bench { "bench test" } else { "live" };
    let bands_planned = procedure.as_ref().and_then(|file| file.joint.bands);
    let view = View { pace: pace.to_owned(), bands_planned, ..View::new(address.to_owned(), system, keys) };
    plan.is_alone = !looks_on;
    if as_lines && looks_on {
        // A board goes on telling, and its rows are recorded, whether anybody reads or not.
        apart::begin(Full::LeftOut, ending.flag());
    }
    let mut screen = None;
    if looks_on && !as_lines {
        screen = Some(Screen { terminal: Terminal::open()?, view: view.clone() });
    }
    let Some(keeper) = connect(screen.as_mut(), address, plan, &remote, &ending)? else {
        drop(screen);
        if as_lines && looks_on {
            let judged = remote.ledger().outcome();
            let failed = Failed { other: has_orders.then_some(NOTHING_DONE), ..Failed::default() };
            say_json_line(&lines::end_of_board(judged, &remote.doubts(Instant::now()), failed))?;
        }
        if has_orders {
            bail!(NOTHING_DONE);
        }
        remark("not proven: there was no link to the board yet");
        return Ok(Outcome::NotProven);
    };
    let mut desk = BoardWatch {
        keeper,
        remote,
        procedure,
        address,
        is_bench,
        looks_on,
        ending,
        onlookers,
        is_box_in_its_file: false,
        #[cfg(feature = "register")]
        registrar,
    };
    if let Some(path) = &arguments.record {
        let path = desk.remote.record(path);
        if as_lines {
            say_json_line(&lines::recording(&path))?;
        }
    }
    let shown = match screen {
        Some(screen) => {
            desk.show(screen);
            Ok(())
        }
        None if looks_on => desk.print_lines(view),
        None => Ok(()),
    };
    desk.end(arguments.json || (looks_on && as_lines), shown)
}

/// What is to be done, and how long there may be no telemetry.
fn plan(
    arguments: &WatchArguments,
    procedure: Option<&ProcedureFile>,
) -> anyhow::Result<(LinkTasks, Duration)> {
    let mut plan = LinkTasks::default();
    if arguments.upload.is_some() {
        plan.first.extend(procedure.map(|file| Order::Upload(Box::new(file.clone()))));
    }
    if arguments.acknowledge {
        plan.finally.push(Order::Acknowledge);
    }
    plan.finally.extend(arguments.fetch_blackbox.clone().map(Order::FetchBlackBox));
    if arguments.release_blackbox {
        plan.finally.push(Order::ReleaseBlackBox);
    }
    plan.finally.extend(arguments.fetch_journal.clone().map(Order::FetchJournal));
    if arguments.trace.is_none() {
        #[cfg(feature = "register")]
        {
            plan.serial = serial(arguments)?;
        }
        return Ok((plan, SILENCE));
    }
    let reader = arguments.reader()?;
    let acquisition = reader.header().acquisition;
    let speed = arguments.speed();
    plan.bench = Some(Bench { rows: DueRows::new(Box::new(reader)), acquisition, speed });
    // A slow trace has few rows, so that the board has little to tell.
    Ok((plan, SILENCE.max(Duration::from_micros(3 * u64::from(acquisition.period_us)))))
}

/// The serial of the joint under way, for the board.
#[cfg(feature = "register")]
fn serial(arguments: &WatchArguments) -> anyhow::Result<Option<Serial>> {
    let Some(Stated::Text(text)) = arguments.context.serial() else { return Ok(None) };
    let serial = Serial::new(text.as_bytes());
    if serial.is_none() {
        let words = format!(
            "--serial {text:?} is none for a board (allowed: 1 to {LONGEST_SERIAL} printable characters of ASCII)"
        );
        if arguments.register.is_none() {
            bail!(words);
        }
        remark(&format!("{words}; it is told to the register alone"));
    }
    Ok(serial)
}

/// The screen, which answers before there is a link.
struct Screen {
    terminal: Terminal,
    view: View,
}

impl Screen {
    /// Shows that there is no link yet; false where the person who looks on ends it.
    fn wait(&mut self, remote: &Remote) -> bool {
        remote.show(&mut self.view, None, Instant::now());
        self.terminal.draw(&self.view) && self.terminal.key(FRAME) != Some(Key::Quit)
    }
}

/// Connects while a screen, where there is one, is shown; none where somebody ends it before anything was done.
fn connect(
    mut screen: Option<&mut Screen>,
    address: &str,
    plan: LinkTasks,
    remote: &Remote,
    ending: &Ending,
) -> anyhow::Result<Option<LinkKeeper>> {
    let (address, heeded, has_first) = (address.to_owned(), ending.clone(), !plan.first.is_empty());
    let connecting = threads::start(move || LinkKeeper::start(&address, plan, heeded))?;
    let mut ended: Option<Instant> = None;
    while !connecting.is_finished() {
        if let Some(screen) = &mut screen {
            if !screen.wait(remote) {
                ending.ask();
            }
        } else {
            std::thread::sleep(A_MOMENT);
        }
        if ending.is_asked() && ended.get_or_insert_with(Instant::now).elapsed() > LAST_MOMENT {
            if has_first {
                bail!("ended before the board had answered: whether it did what was asked is not known");
            }
            return Ok(None);
        }
    }
    match connecting.join().unwrap_or_else(|_| bail!("the thread of the link has failed")) {
        // Whoever is asked to end waits for no board any more, and says that there is none.
        Err(error) if ending.is_asked() && error.is::<LinkLost>() => Ok(None),
        connected => connected.map(Some),
    }
}

struct BoardWatch<'a> {
    keeper: LinkKeeper,
    remote: Remote,
    procedure: Option<ProcedureFile>,
    address: &'a str,
    is_bench: bool,
    /// Is there something to look at, besides orders?
    looks_on: bool,
    ending: Ending,
    onlookers: Onlookers,
    /// What the black box held is whole in a file since key x was last pressed.
    is_box_in_its_file: bool,
    #[cfg(feature = "register")]
    registrar: Option<JointRegistrar>,
}

impl BoardWatch<'_> {
    /// Is there no more to come without a person to look at it?
    fn is_over(&self) -> bool {
        let is_cut = self.is_bench && self.remote.is_lost();
        // Somebody may look at a page of it.
        let is_done = (self.remote.is_over() || is_cut) && !self.onlookers.page.is_served();
        is_done || self.keeper.is_over() || self.ending.is_asked()
    }
    fn print_lines(&mut self, mut view: View) -> anyhow::Result<()> {
        self.ending.catch()?;
        let mut printer = Printer::new(false);
        while !self.is_over() {
            if let Some(said) = self.keeper.hear(FRAME) {
                self.onlookers.page.heard(&said);
                #[cfg(feature = "register")]
                tell(&mut self.registrar, Some(&said))?;
                let news = printer.print(said, &mut self.remote, self.address)?;
                view.hear(&news, self.remote.ledger());
                self.onlookers.take(&news);
            }
            self.remote.tick(Instant::now());
            #[cfg(feature = "register")]
            tell(&mut self.registrar, None)?;
            printer.recording_ended(&self.remote)?;
            self.serve(&mut view);
            self.onlookers.print()?;
        }
        Ok(())
    }
    /// Publishes what there is, if it is time to, and gives the orders that come from pages.
    fn serve(&mut self, view: &mut View) {
        let now = Instant::now();
        if self.onlookers.is_due(now) {
            self.remote.show(view, self.procedure.as_ref(), now);
            self.onlookers.show(view, now);
            self.onlookers.page.order_from_pages(&self.keeper, &view.alarms, self.procedure.as_ref());
        }
    }
    /// Gives an order from the keyboard.
    fn order(&mut self, order: Order) {
        self.keeper.order(order);
        self.onlookers.page.gave_order();
    }
    fn show(&mut self, screen: Screen) {
        let Screen { mut terminal, mut view } = screen;
        let mut keys = Keys::default();
        let mut next = Instant::now();
        while !self.ending.is_asked() && !self.keeper.is_over() {
            // A board that never stops talking does not keep the screen from being drawn.
            for said in
                std::iter::from_fn(|| self.keeper.hear(Duration::ZERO)).take(MOST_AT_ONCE).collect::<Vec<_>>()
            {
                self.hear(said);
            }
            let news = self.remote.ledger_mut().take_news();
            view.hear(&news, self.remote.ledger());
            self.onlookers.take(&news);
            self.remote.tick(Instant::now());
            self.serve(&mut view);
            self.remote.show(&mut view, self.procedure.as_ref(), Instant::now());
            if !terminal.draw(&view) {
                self.ending.ask();
            }
            next += FRAME;
            match terminal.key(next.saturating_duration_since(Instant::now())) {
                Some(Key::Quit) => self.ending.ask(),
                Some(Key::Page) => view.overlay = self.onlookers.page.turn_page(),
                Some(key) => self.press(key, &mut keys),
                None => next = next.max(Instant::now()),
            }
        }
    }
    fn hear(&mut self, said: LinkNews) {
        let now = Instant::now();
        #[cfg(feature = "register")]
        if let Some(registrar) = &mut self.registrar {
            for words in registrar.take(&said).into_iter().chain(registrar.news()) {
                self.remote.notify(words, now);
            }
        }
        let is_frozen = self.remote.is_black_box_frozen();
        let hint = match &said {
            LinkNews::Done(deed) if deed.line["what"] == "fetch-blackbox" && deed.is_whole => {
                self.is_box_in_its_file = true;
                is_frozen.then(|| format!("{}; press x again to re-arm it", deed.words))
            }
            _ => None,
        };
        self.onlookers.page.heard(&said);
        self.remote.take(said, now);
        if let Some(hint) = hint {
            self.remote.notify(hint, now);
        }
    }
    fn press(&mut self, key: Key, keys: &mut Keys) {
        let now = Instant::now();
        let is_confirmed = keys.is_confirmed(key, now);
        let notice = match key {
            // The largest key acknowledges too: hands are in gloves.
            Key::Acknowledge | Key::Pause => {
                self.order(Order::Acknowledge);
                None
            }
            Key::Journal => {
                self.order(Order::FetchJournal(unused(Path::new("board-journal.json"))));
                None
            }
            Key::BlackBox if is_confirmed && self.remote.is_black_box_frozen() && self.is_box_in_its_file => {
                self.order(Order::ReleaseBlackBox);
                None
            }
            Key::BlackBox => {
                self.is_box_in_its_file = false;
                self.order(Order::FetchBlackBox(unused(Path::new("board-black-box.csv"))));
                None
            }
            Key::Procedure => self.press_procedure(is_confirmed),
            Key::Record => Some(self.press_record()),
            Key::Quit | Key::Faster | Key::Slower | Key::Page => None,
        };
        if let Some(notice) = notice {
            self.remote.notify(notice, now);
        }
    }
    fn press_procedure(&mut self, is_confirmed: bool) -> Option<String> {
        let Some(file) = &self.procedure else {
            return Some("no procedure was named: start with --procedure FILE".to_owned());
        };
        if !is_confirmed {
            return Some(format!("press p again to activate {} on the board", file.title()));
        }
        let order = Order::Upload(Box::new(file.clone()));
        self.order(order);
        None
    }
    fn press_record(&mut self) -> String {
        if self.remote.is_recording() {
            let told = self.remote.end_recording();
            return told.or(self.remote.recording_ended().map(str::to_owned)).unwrap_or_default();
        }
        let path = self.remote.record(Path::new("board-recording.csv"));
        format!("recording what the board tells to {}", named(&path))
    }
    /// Does what is to be done at the end, and tells it; returns what was found.
    fn end(mut self, as_lines: bool, shown: anyhow::Result<()>) -> anyhow::Result<Outcome> {
        let mut printer = Printer::new(!as_lines);
        let remote = &mut self.remote;
        #[cfg(feature = "register")]
        let (registrar, mut told) = (&mut self.registrar, Vec::new());
        let onlookers = &mut self.onlookers;
        // Whatever cannot be said any more: what is recorded comes to its end first.
        let mut said = Ok(());
        let ended = self.keeper.end(|one| {
            #[cfg(feature = "register")]
            told.extend(registrar.iter_mut().flat_map(|registrar| registrar.take(&one)));
            let news = printer.take(one, remote, self.address, &mut said);
            onlookers.take(&news);
        });
        #[cfg(feature = "register")]
        let registered = match self.registrar {
            None => Ok(()),
            Some(registrar) => {
                let (words, registered) = registrar.end();
                told.extend(words);
                said = said.and_then(|()| tell_all(&told, as_lines));
                registered
            }
        };
        let doubts = self.remote.doubts(Instant::now());
        let recorded = self.remote.end_recording();
        let judged = self.remote.ledger().outcome();
        said = said.and_then(|()| printer.recording_ended(&self.remote));
        let recording = self.remote.recording_ended();
        if let Some(words) = &recorded {
            said = said.and_then(|()| {
                if as_lines {
                    say_json_line(&json!({ "event": "recorded", "words": words }))
                } else {
                    say_line(words)
                }
            });
            if said.is_err() {
                remark(words);
            }
        }
        // All of it is done before the last line tells how it went.
        let others = shown.and(said).and(ended);
        #[cfg(feature = "register")]
        let others = others.and(registered);
        let others = others.and(self.onlookers.end());
        if as_lines && self.looks_on {
            let words = others.as_ref().err().map(|error| format!("{error:#}"));
            let failed = Failed { recording, other: words.as_deref() };
            others.and(say_json_line(&lines::end_of_board(judged, &doubts, failed)))?;
        } else {
            others?;
        }
        if let Some(why) = recording {
            bail!("{why}");
        }
        Ok(if self.looks_on {
            outcome_of_board(self.remote.ledger(), &doubts)
        } else if self.remote.is_journal_damaged() {
            Outcome::NotProven
        } else {
            Outcome::Done
        })
    }
}

/// Hands on what is said to the register, and prints what became of joints as lines.
#[cfg(feature = "register")]
fn tell(registrar: &mut Option<JointRegistrar>, said: Option<&LinkNews>) -> anyhow::Result<()> {
    let Some(registrar) = registrar else { return Ok(()) };
    let mut told = said.map_or_else(Vec::new, |said| registrar.take(said));
    told.extend(registrar.news());
    tell_all(&told, true)
}

#[cfg(feature = "register")]
fn tell_all(told: &[String], as_lines: bool) -> anyhow::Result<()> {
    for words in told {
        if as_lines {
            say_json_line(&json!({ "event": "register", "words": words }))?;
        } else {
            say_line(words)?;
        }
    }
    Ok(())
}
