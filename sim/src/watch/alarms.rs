//! The active alarms as lines of the screen, and below them those that are cleared.
//!
//! Decides: how many of them are shown, and where their words are broken.
//! Assumes: of the active ones the worst come first, of the cleared ones the newest.
//! Never: leaves one out without saying how many.

use super::history::PastAlarm;
use super::shortened::shortened;
use super::tone::{Tone, style};
use super::view::View;
use crate::report::model::meaning;
use bandward::{ActiveAlarm, Severity};
use ratatui::text::{Line, Span};

/// What the alarms take: each in as many lines as its words need, as many alarms as there is room for.
pub(super) fn alarm_lines(view: &View, is_large: bool, coloured: bool, width: usize) -> Vec<Line<'static>> {
    if view.alarms.is_empty() {
        return vec![Line::from(if view.is_old() { "alarms: not known" } else { "no alarm" })];
    }
    let room = if is_large { 10 } else { 4 };
    let mut lines = Vec::new();
    for (index, alarm) in view.alarms.iter().enumerate() {
        let of_this = alarm_words(*alarm, view.is_old(), coloured, width);
        let is_last = index + 1 == view.alarms.len();
        // A line is kept for how many more there are.
        if lines.len() + of_this.len() + usize::from(!is_last) > room {
            lines.push(Line::from(format!("and {} more", view.alarms.len() - index)));
            break;
        }
        lines.extend(of_this);
    }
    lines
}

/// The cleared alarms, in so many lines at most: those of this joint, and before them the last ones of all.
pub(super) fn cleared_lines(view: &View, room: usize, width: usize) -> Vec<Line<'static>> {
    let cleared: Vec<_> = view.history.cleared().collect();
    // A line is kept for how many more there are.
    let fit = if cleared.len() > room { room.saturating_sub(1) } else { cleared.len() };
    let shown = cleared.iter().take(fit).map(|one| Line::from(shortened(&cleared_words(one), width)));
    let left_out = cleared.len() - fit;
    let rest = (left_out > 0 && room > 0).then(|| match fit {
        0 => Line::from(format!("{left_out} alarms cleared before: make the window taller")),
        _ => Line::from(format!("and {left_out} more cleared before")),
    });
    shown.chain(rest).collect()
}

fn cleared_words(one: &PastAlarm) -> String {
    let clock = |seconds: f64| {
        let whole = seconds.max(0.0).round() as u64;
        format!("{}:{:02}", whole / 60, whole % 60)
    };
    let name = one.severity.name().to_uppercase();
    let times = format!("{} to {}", clock(one.raised_s), one.cleared_s.map_or_else(String::new, clock));
    let band = if one.band > 0 { format!(" band {}", one.band) } else { String::new() };
    let place = one.clock_deg.map_or(String::new(), |degrees| format!(" {degrees:.0} deg"));
    let seen = one.acknowledged_s.map_or(String::new(), |at| format!(", seen {}", clock(at)));
    let channel = one.channel.map_or(String::new(), |channel| format!("{}: ", channel.name()));
    let how = if one.is_active_at_end { "active at the end" } else { "cleared" };
    format!(
        "{how} {name:<6} {times}{seen}, joint {}{band}{place}: {channel}{}",
        one.joint,
        meaning::meaning(one.rule)
    )
}

fn alarm_words(alarm: ActiveAlarm, is_old: bool, coloured: bool, width: usize) -> Vec<Line<'static>> {
    let tone = match alarm.severity {
        Severity::Advise => Tone::Careful,
        Severity::Warn => Tone::Bad,
        Severity::Stop => Tone::Stop,
    };
    let seen = match (is_old, alarm.shelved, alarm.acknowledged) {
        (true, ..) => "(when last heard) ",
        (false, true, _) => "(put away) ",
        (false, false, true) => "(seen) ",
        (false, false, false) => "",
    };
    let channel = alarm.channel.map_or(String::new(), |channel| format!("{}: ", channel.name()));
    let words = format!("{seen}{channel}{}", meaning::meaning(alarm.rule));
    let name = format!("{:<6}", alarm.severity.name().to_uppercase());
    let indent = name.len() + 1;
    let wrapped = wrapped(&words, width.saturating_sub(indent));
    let mut lines: Vec<Line<'static>> =
        wrapped.into_iter().map(|line| Line::from(format!("{:indent$}{line}", ""))).collect();
    if let Some(first) = lines.first_mut() {
        let words = first.to_string().split_off(indent);
        *first = Line::from(vec![Span::styled(name, style(tone, coloured)), Span::raw(format!(" {words}"))]);
    }
    lines
}

/// A text in lines of at most `width` characters, broken between words.
fn wrapped(text: &str, width: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in text.split(' ') {
        let Some(line) = lines.last_mut() else { break };
        if line.is_empty() {
            line.push_str(word);
        } else if line.chars().count() + 1 + word.chars().count() <= width {
            line.push(' ');
            line.push_str(word);
        } else {
            lines.push(word.to_owned());
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_broken_between_words_and_none_is_lost() {
        assert_eq!(wrapped("too little shielding gas", 12), ["too little", "shielding", "gas"]);
        assert_eq!(wrapped("unbreakable", 4), ["unbreakable"]);
        for width in 0..60 {
            let text = "voltage under its floor: the metal transfer itself changes; never permitted";
            assert_eq!(wrapped(text, width).join(" "), text);
        }
    }
}
