//! Puts a view on a screen.
//!
//! Decides: what stands where. The verdict first and largest, then where the weld is, then the values.
//! Assumes: a fixed-width font with the box characters of the oldest terminals.
//! Never: says by colour alone what words do not say.

use super::alarms::{alarm_lines, cleared_lines};
use super::gauge::{Gauge, GaugeState};
use super::letters;
use super::order::shown_crc;
use super::shortened::shortened;
use super::tone::{Tone, style};
use super::view::names;
use super::view::{LinkView, View};
use bandward::Outcome;
use bandward::Severity;
use bandward::link::Lamp;
use ratatui::Frame;
use ratatui::buffer::{Buffer, Cell};
use ratatui::layout::{Constraint, Layout, Rect};
use ratatui::style::{Modifier, Style};
use ratatui::text::{Line, Span};
use ratatui::widgets::{Paragraph, Widget, Wrap};

/// The smallest window in which everything has its place: columns and rows.
pub const SMALLEST: (u16, u16) = (60, 18);
/// From this size on the letters are large and lines stand apart.
const LARGE: (u16, u16) = (110, 34);

/// Draws everything; `coloured` says whether colours may be used.
pub fn draw(frame: &mut Frame<'_>, view: &View, coloured: bool) {
    let area = frame.area();
    render(view, coloured, area, frame.buffer_mut());
}

/// Draws everything into a buffer.
pub fn render(view: &View, coloured: bool, area: Rect, buffer: &mut Buffer) {
    let (columns, rows) = SMALLEST;
    if area.width < columns || area.height < rows {
        draw_too_small(view, coloured, area, buffer);
        return;
    }
    if let Some(lines) = &view.overlay {
        draw_overlay(view, lines, coloured, area, buffer);
        return;
    }
    let is_large = area.width >= LARGE.0 && area.height >= LARGE.1;
    let width = usize::from(area.width);
    let mut alarms = alarm_lines(view, is_large, coloured, width);
    // Cleared ones take what values and active ones leave, and never less than a line or some.
    let head_and_foot = if is_large { 12 } else { 10 } - usize::from(view.link.is_none());
    let taken = head_and_foot + view.gauges.len() + alarms.len();
    let least = match area.height {
        _ if is_large => 4,
        24.. => 2,
        _ => 1,
    };
    let room = usize::from(area.height).saturating_sub(taken).clamp(least, 12);
    alarms.extend(cleared_lines(view, room, width));
    let heights = [
        Constraint::Length(1),
        Constraint::Length(if is_large { 7 } else { 5 }),
        Constraint::Length(1),
        Constraint::Length(u16::from(view.link.is_some())),
        Constraint::Length(1),
        Constraint::Min(3),
        Constraint::Length(alarms.len() as u16),
        Constraint::Length(1),
    ];
    let [head, verdict, turn, link, bands, gauges, alarm_area, keys] = Layout::vertical(heights).areas(area);
    let broker = view.broker.as_ref().map_or(String::new(), |words| format!("  {words}"));
    let time = format!("  {:.1} s  {}{broker}", view.time_s, view.pace);
    let plain = Style::new();
    sides(&format!("{}  {}", view.source, procedure(view)), &time, plain, head, buffer);
    if let Some(board) = &view.link {
        sides(&link_line(board), &frames(board, is_large), plain, link, buffer);
    }
    draw_verdict(view, is_large, coloured, verdict, buffer);
    Line::from(turn_line(view, usize::from(turn.width))).bold_if(true).render(turn, buffer);
    draw_bands(view, bands, buffer);
    draw_gauges(view, is_large, coloured, gauges, buffer);
    Paragraph::new(alarms).render(alarm_area, buffer);
    let which = view.link.as_ref().map(|board| format!("crc {}", shown_crc(board.procedure_crc)));
    sides(view.keys, &which.unwrap_or_default(), plain.add_modifier(Modifier::REVERSED), keys, buffer);
}

fn procedure(view: &View) -> &str {
    view.procedure.as_deref().unwrap_or("no procedure")
}

/// Even a window too small for the rest shows the verdict.
fn draw_too_small(view: &View, coloured: bool, area: Rect, buffer: &mut Buffer) {
    let verdict = view.verdict();
    let (columns, rows) = SMALLEST;
    let words = format!(
        "This window has {} columns and {} rows; at least {columns} and {rows} are needed. q quits.",
        area.width, area.height
    );
    let loud = Line::styled(verdict.word, style(verdict.tone, coloured));
    let lines = vec![loud, Line::from(verdict.rest), Line::from(words)];
    Paragraph::new(lines).wrap(Wrap { trim: true }).render(area, buffer);
}

/// The verdict stays, whatever stands below it.
fn draw_overlay(view: &View, words: &[String], coloured: bool, area: Rect, buffer: &mut Buffer) {
    let verdict = view.verdict();
    let loud = Line::styled(format!("{}: {}", verdict.word, verdict.rest), style(verdict.tone, coloured));
    let words = words.iter().map(|line| Line::from(line.as_str()));
    Paragraph::new(std::iter::once(loud).chain(words).collect::<Vec<_>>()).render(area, buffer);
}

/// What the board drives.
fn link_line(link: &LinkView) -> String {
    let shown = |is_on: bool| if is_on { "ON" } else { "off" };
    let outputs = link.outputs.map_or("relay ?  lamp ?  horn ?".to_owned(), |outputs| {
        let relay = if outputs.relay_energised { "energised" } else { "RELEASED" };
        let lamp = match outputs.lamp {
            Lamp::Slow => "SLOW",
            lamp => shown(lamp == Lamp::On),
        };
        format!("relay {relay}  lamp {lamp}  horn {}", shown(outputs.horn))
    });
    let black_box = if link.black_box_frozen { "  black box FROZEN" } else { "" };
    let recording = if link.is_recording { "  RECORDING" } else { "" };
    format!("{outputs}{black_box}{recording}")
}

fn frames(link: &LinkView, is_large: bool) -> String {
    let all = if is_large { format!("frames {}, ", link.taken) } else { "frames ".to_owned() };
    format!("{all}bad {}, lost {}", link.bad, link.missed)
}

/// Bold where asked.
trait Bold {
    fn bold_if(self, bold: bool) -> Self;
}

impl Bold for Line<'_> {
    fn bold_if(self, bold: bool) -> Self {
        if bold { self.style(Style::new().add_modifier(Modifier::BOLD)) } else { self }
    }
}

fn sides(left: &str, right: &str, style: Style, area: Rect, buffer: &mut Buffer) {
    // What does not fit is left out on the left: the right says how current all this is.
    let width = usize::from(area.width);
    let right: String = right.chars().take(width).collect();
    let room = width.saturating_sub(right.chars().count());
    let left = shortened(left, room.saturating_sub(1));
    Line::styled(format!("{left:<room$}{right}"), style).render(area, buffer);
}

fn draw_verdict(view: &View, is_large: bool, coloured: bool, area: Rect, buffer: &mut Buffer) {
    let verdict = view.verdict();
    buffer.set_style(area, style(verdict.tone, coloured));
    let letters = if is_large { letters::large(verdict.word) } else { letters::small(verdict.word) };
    let wide = letters.first().map_or(0, |line| line.chars().count()) as u16;
    let [_, word, _, rest, _] = Layout::horizontal([
        Constraint::Length(2),
        Constraint::Length(wide),
        Constraint::Length(3),
        Constraint::Min(1),
        Constraint::Length(1),
    ])
    .areas(area);
    let below = |area: Rect| Rect { y: area.y + 1, height: area.height.saturating_sub(2), ..area };
    let lines: Vec<Line<'_>> = letters.into_iter().map(Line::from).collect();
    Paragraph::new(lines).render(below(word), buffer);
    Paragraph::new(verdict.rest).wrap(Wrap { trim: true }).render(below(rest), buffer);
}

/// The band, the phase, and how far round the turn the weld is.
fn turn_line(view: &View, width: usize) -> String {
    let band = if view.band > 0 { format!("band {}", view.band) } else { "no band yet".to_owned() };
    if view.is_old() {
        return "when last heard: ".to_owned() + &format!("{band}, {}", view.phase_words());
    }
    let start = format!("{band:<12} {:<19}", view.phase_words());
    let Some(turned) = view.turned_deg.filter(|_| view.phase.is_in_band()) else { return start };
    let clock = turned.max(0.0) % 360.0;
    let end = format!(" {clock:>3.0} deg of turn {}", 1 + (turned.max(0.0) / 360.0) as u32);
    let room = width.saturating_sub(start.chars().count() + end.len() + 2);
    let done = (clock / 360.0 * room as f64) as usize;
    format!("{start}[{}{}]{end}", "█".repeat(done), "·".repeat(room - done.min(room)))
}

fn draw_bands(view: &View, area: Rect, buffer: &mut Buffer) {
    if let Some(notice) = view.link.as_ref().and_then(|link| link.notice.as_ref()) {
        let words = shortened(notice, usize::from(area.width));
        Line::from(words).style(Style::new().add_modifier(Modifier::REVERSED)).render(area, buffer);
        return;
    }
    Line::from(joint_line(view)).render(area, buffer);
}

/// The joint under way and its finished bands; the last one that is done until the next begins.
fn joint_line(view: &View) -> String {
    let Some((is_done, number, outcome, broken)) = view.shown_joint() else {
        return "finished bands: none".to_owned();
    };
    let name = if is_done { "last joint" } else { "joint so far" };
    let of = |outcome: Outcome| match outcome {
        Outcome::NotAsked => "not judged",
        Outcome::Proven => "within",
        Outcome::NotProven => "NOT PROVEN",
        Outcome::Broken => "OUTSIDE",
    };
    let finished: Vec<_> = view
        .bands
        .iter()
        .filter(|(joint, ..)| *joint == number)
        .map(|&(_, band, outcome)| format!("{band} {}", of(outcome)))
        .collect();
    let mut words = format!("{name} {}", of(outcome));
    words.push_str("; finished bands: ");
    words.push_str(&if finished.is_empty() { "none".to_owned() } else { finished.join(", ") });
    if !broken.is_empty() {
        words.push_str("; broken: ");
        words.push_str(&names(broken));
    }
    words
}

fn draw_gauges(view: &View, is_large: bool, coloured: bool, area: Rect, buffer: &mut Buffer) {
    let room = usize::from(area.height);
    let step = if is_large && view.gauges.len() * 2 <= room { 2 } else { 1 };
    let fit = if view.gauges.len() * step > room { room.saturating_sub(1) } else { view.gauges.len() };
    for (row, gauge) in worth_showing(&view.gauges, fit).into_iter().enumerate() {
        let line = gauge_line(gauge, view, usize::from(area.width), coloured);
        line.render(Rect { y: area.y + (row * step) as u16, height: 1, ..area }, buffer);
    }
    if fit < view.gauges.len() {
        let words = format!("and {} more: make the window taller", view.gauges.len() - fit);
        Line::from(words).render(Rect { y: area.y + fit as u16, height: 1, ..area }, buffer);
    }
}

/// So many of the gauges, in their order: those outside their range first, then those with a value.
fn worth_showing(gauges: &[Gauge], fit: usize) -> Vec<&Gauge> {
    let mut chosen: Vec<_> = gauges.iter().enumerate().collect();
    chosen.sort_by_key(|(_, gauge)| match gauge.standing() {
        GaugeState::Outside(severity, _) => (0, std::cmp::Reverse(Some(severity))),
        GaugeState::InRange | GaugeState::NoRange => (1, std::cmp::Reverse(None)),
        GaugeState::NotJudged => (2, std::cmp::Reverse(None)),
    });
    chosen.truncate(fit);
    chosen.sort_by_key(|(place, _)| *place);
    chosen.into_iter().map(|(_, gauge)| gauge).collect()
}

fn gauge_line(gauge: &Gauge, view: &View, width: usize, coloured: bool) -> Line<'static> {
    let start = format!("{:<19}{:>12} ", gauge.setting.subject.title(), gauge.shown(view.system));
    let words = if view.is_old() { "no data" } else { gauge.words() };
    let tone = match gauge.standing() {
        GaugeState::Outside(Severity::Stop, _) => Tone::Stop,
        GaugeState::Outside(Severity::Warn, _) => Tone::Bad,
        GaugeState::Outside(Severity::Advise, _) => Tone::Careful,
        GaugeState::InRange | GaugeState::NotJudged | GaugeState::NoRange => Tone::Calm,
    };
    let bar = gauge.bar(width.saturating_sub(start.chars().count() + 18));
    let word_style = if tone == Tone::Calm { Style::new() } else { style(tone, coloured) };
    Line::from(vec![Span::raw(start), Span::raw(bar), Span::raw(" "), Span::styled(words, word_style)])
}

/// The screen as text, without its colours.
pub fn text(view: &View, columns: u16, rows: u16) -> String {
    let area = Rect::new(0, 0, columns, rows);
    let mut buffer = Buffer::empty(area);
    render(view, false, area, &mut buffer);
    let mut text = String::new();
    for cells in buffer.content().chunks(usize::from(columns.max(1))) {
        let line: String = cells.iter().map(Cell::symbol).collect();
        text.push_str(line.trim_end());
        text.push('\n');
    }
    text
}
