//! A text that has to do with less room.

/// A text of at most `room` characters; one that is cut says so.
pub(super) fn shortened(text: &str, room: usize) -> String {
    if text.chars().count() <= room {
        return text.to_owned();
    }
    let kept: String = text.chars().take(room.saturating_sub(3)).collect();
    format!("{}...", kept.trim_end())
}
