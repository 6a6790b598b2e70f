//! Puts a view on a screen.
//!
//! Decides: what stands where. The verdict first and largest, then where the weld is, then the values.
//! Assumes: a fixed-width font with the box characters of the oldest terminals.
//! Never: says by colour alone what words do not say.

use super::gauge::{Gauge, Standing};
use super::letters;
use super::view::{Tone, View, phase_words};
use crate::report::meaning;
use bandward::Severity;
use ratatui::Frame;
use ratatui::buffer::{Buffer, Cell};
use ratatui::layout::{Constraint, Layout, Rect};
use ratatui::style::{Color, Modifier, Style};
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
        let words = format!(
            "This window has {} columns and {} rows; at least {columns} and {rows} are needed. q ends.",
            area.width, area.height
        );
        Paragraph::new(words).wrap(Wrap { trim: true }).render(area, buffer);
        return;
    }
    let is_large = area.width >= LARGE.0 && area.height >= LARGE.1;
    let alarm_rows = view.alarms.len().clamp(1, if is_large { 8 } else { 4 }) as u16 + 1;
    let verdict_rows = if is_large { 7 } else { 5 };
    let parts = [1, verdict_rows, 1, 1].map(Constraint::Length);
    let rest = [Constraint::Min(3), Constraint::Length(alarm_rows), Constraint::Length(1)];
    let [head, verdict, turn, bands, gauges, alarms, keys] =
        Layout::vertical(parts.into_iter().chain(rest)).areas(area);
    sides(&view.source, &format!("{:.1} s  {}", view.time_s, view.pace), Style::new(), head, buffer);
    draw_verdict(view, is_large, coloured, verdict, buffer);
    Line::from(turn_line(view, usize::from(turn.width))).bold_if(true).render(turn, buffer);
    draw_bands(view, bands, buffer);
    draw_gauges(view, is_large, coloured, gauges, buffer);
    draw_alarms(view, coloured, alarms, buffer);
    let procedure = view.procedure.as_deref().unwrap_or("no procedure");
    sides(view.keys, procedure, Style::new().add_modifier(Modifier::REVERSED), keys, buffer);
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
    let width = usize::from(area.width);
    let room = width.saturating_sub(left.chars().count() + 2);
    let right: String = right.chars().take(room).collect();
    let left_room = width.saturating_sub(right.chars().count());
    Line::styled(format!("{left:<left_room$}{right}"), style).render(area, buffer);
}

fn style(tone: Tone, coloured: bool) -> Style {
    let (paper, ink) = match tone {
        Tone::Calm => return Style::new().add_modifier(Modifier::BOLD),
        Tone::Good => (Color::Blue, Color::White),
        Tone::Careful => (Color::Cyan, Color::Black),
        Tone::Bad => (Color::Yellow, Color::Black),
        Tone::Stop => (Color::Red, Color::White),
    };
    match (coloured, tone) {
        (true, _) => Style::new().bg(paper).fg(ink).add_modifier(Modifier::BOLD),
        (false, Tone::Bad | Tone::Stop) => Style::new().add_modifier(Modifier::BOLD | Modifier::REVERSED),
        (false, _) => Style::new().add_modifier(Modifier::BOLD),
    }
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
    let start = format!("{band:<12} {:<19}", phase_words(view.phase));
    let Some(turned) = view.turned_deg.filter(|_| view.phase.is_in_band()) else { return start };
    let clock = turned.max(0.0) % 360.0;
    let end = format!(" {clock:>3.0} deg of turn {}", 1 + (turned.max(0.0) / 360.0) as u32);
    let room = width.saturating_sub(start.chars().count() + end.len() + 2);
    let done = (clock / 360.0 * room as f64) as usize;
    format!("{start}[{}{}]{end}", "█".repeat(done), "·".repeat(room - done.min(room)))
}

fn draw_bands(view: &View, area: Rect, buffer: &mut Buffer) {
    let words: Vec<_> = view
        .bands
        .iter()
        .map(|(band, within)| format!("{band} {}", if *within { "within" } else { "OUTSIDE" }))
        .collect();
    let words = if words.is_empty() { "none".to_owned() } else { words.join(", ") };
    Line::from(format!("finished bands: {words}")).render(area, buffer);
}

fn draw_gauges(view: &View, is_large: bool, coloured: bool, area: Rect, buffer: &mut Buffer) {
    let room = usize::from(area.height);
    let step = if is_large && view.gauges.len() * 2 <= room { 2 } else { 1 };
    let fit = if view.gauges.len() * step > room { room.saturating_sub(1) } else { view.gauges.len() };
    for (row, gauge) in view.gauges.iter().take(fit).enumerate() {
        let line = gauge_line(gauge, view, usize::from(area.width), coloured);
        line.render(Rect { y: area.y + (row * step) as u16, height: 1, ..area }, buffer);
    }
    if fit < view.gauges.len() {
        let words = format!("and {} more: make the window taller", view.gauges.len() - fit);
        Line::from(words).render(Rect { y: area.y + fit as u16, height: 1, ..area }, buffer);
    }
}

fn gauge_line(gauge: &Gauge, view: &View, width: usize, coloured: bool) -> Line<'static> {
    let start = format!("{:<19}{:>12} ", gauge.setting.subject.title(), gauge.shown(view.system));
    let words = gauge.words();
    let tone = match gauge.standing() {
        Standing::Outside(Severity::Stop, _) => Tone::Stop,
        Standing::Outside(Severity::Warn, _) => Tone::Bad,
        Standing::Outside(Severity::Advise, _) => Tone::Careful,
        Standing::InRange | Standing::NotJudged => Tone::Calm,
    };
    let bar = gauge.bar(width.saturating_sub(start.chars().count() + 13));
    let word_style = if tone == Tone::Calm { Style::new() } else { style(tone, coloured) };
    Line::from(vec![Span::raw(start), Span::raw(bar), Span::raw(" "), Span::styled(words, word_style)])
}

fn draw_alarms(view: &View, coloured: bool, area: Rect, buffer: &mut Buffer) {
    if view.alarms.is_empty() {
        Line::from("no alarm").render(area, buffer);
        return;
    }
    let room = usize::from(area.height).saturating_sub(1);
    let fit = if view.alarms.len() > room { room.saturating_sub(1) } else { view.alarms.len() };
    let mut lines = vec![Line::from("alarms").bold_if(true)];
    for alarm in view.alarms.iter().take(fit) {
        let tone = match alarm.severity {
            Severity::Advise => Tone::Careful,
            Severity::Warn => Tone::Bad,
            Severity::Stop => Tone::Stop,
        };
        let seen = match (alarm.shelved, alarm.acknowledged) {
            (true, _) => "(put away) ",
            (false, true) => "(seen) ",
            (false, false) => "",
        };
        let channel = alarm.channel.map_or(String::new(), |channel| format!("{}: ", channel.name()));
        lines.push(Line::from(vec![
            Span::styled(format!("{:<6}", alarm.severity.name().to_uppercase()), style(tone, coloured)),
            Span::raw(format!(" {seen}{channel}{}", meaning::meaning(alarm.rule))),
        ]));
    }
    if fit < view.alarms.len() {
        lines.push(Line::from(format!("and {} more", view.alarms.len() - fit)));
    }
    Paragraph::new(lines).render(area, buffer);
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
