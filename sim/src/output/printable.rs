//! Text that somebody else named, made safe for a terminal.
//!
//! Decides: which characters are shown as their number: control characters of either set, what turns the
//! direction of writing, and what ends a line elsewhere than at its end.
//! Never: leaves one out: two names that differ still differ.

use std::borrow::Cow;
use std::fmt::Write as _;
use std::path::Path;

/// May a terminal be given this character by somebody else? C0 and C1 controls, and the directional
/// formatting characters of Unicode Standard Annex 9 (from memory), may not.
const fn is_safe(character: char) -> bool {
    !matches!(character,
        '\0'..='\u{1f}' | '\u{7f}'..='\u{9f}' | '\u{61c}' | '\u{200e}' | '\u{200f}'
        | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// A name on one line: whatever could do something at a terminal is shown as `\u{1b}`.
pub fn printable(name: &str) -> Cow<'_, str> {
    if name.chars().all(is_safe) { Cow::Borrowed(name) } else { Cow::Owned(escaped(name, |_| false)) }
}

fn escaped(text: &str, is_kept: impl Fn(char) -> bool) -> String {
    text.chars().fold(String::with_capacity(text.len() + 8), |mut safe, character| {
        if is_safe(character) || is_kept(character) {
            safe.push(character);
        } else {
            safe.extend(character.escape_unicode());
        }
        safe
    })
}

/// The name of a file; bytes that are no text as `\xff`.
pub fn named(path: impl AsRef<Path>) -> String {
    let mut name = String::new();
    for part in path.as_ref().as_os_str().as_encoded_bytes().utf8_chunks() {
        name.push_str(&printable(part.valid()));
        for byte in part.invalid() {
            // Writing to a string cannot fail.
            let _ = write!(name, "\\x{byte:02x}");
        }
    }
    name
}

/// Text of several lines without styles.
pub(super) fn of_plain_text(text: &str) -> String {
    escaped(text, |character| character == '\n')
}

/// Our own text: its lines and its styles stay, nothing else that does something at a terminal.
pub(super) fn of_text(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(at) = rest.find('\u{1b}') {
        safe.push_str(&of_plain_text(&rest[..at]));
        let style = style_length(&rest[at..]);
        safe.push_str(if style > 0 { &rest[at..at + style] } else { "\\u{1b}" });
        rest = &rest[at + style.max(1)..];
    }
    safe + &of_plain_text(rest)
}

/// Bytes of the style (`ESC [ digits m`) that a text begins with; 0 where it is something else.
fn style_length(text: &str) -> usize {
    let Some(inner) = text.strip_prefix("\u{1b}[") else { return 0 };
    let digits = inner.bytes().take_while(|byte| byte.is_ascii_digit() || *byte == b';').count();
    if inner.as_bytes().get(digits) == Some(&b'm') { digits + 3 } else { 0 }
}

/// JSON, which escapes the control characters of C0 itself: the others as JSON escapes too.
pub(super) fn of_json(json: &str) -> String {
    json.chars().fold(String::with_capacity(json.len()), |mut safe, character| {
        if is_safe(character) || character == '\n' {
            safe.push(character);
        } else {
            // All of them are of the first plane. Writing to a string cannot fail.
            let _ = write!(safe, "\\u{:04x}", u32::from(character));
        }
        safe
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_that_does_something_is_left() {
        assert_eq!(printable("Bay 2, 5 in \u{b0} \u{41f}"), "Bay 2, 5 in \u{b0} \u{41f}");
        assert_eq!(printable("a\u{1b}[31mb\r\nc\td"), "a\\u{1b}[31mb\\u{d}\\u{a}c\\u{9}d");
        assert_eq!(printable("\u{9b}2J\u{202e}cod\u{2066}"), "\\u{9b}2J\\u{202e}cod\\u{2066}");
        assert_eq!(
            of_text("\u{1b}[1mbold\u{1b}[0m\n\u{1b}]0;title\u{7}\u{202e}"),
            "\u{1b}[1mbold\u{1b}[0m\n\\u{1b}]0;title\\u{7}\\u{202e}"
        );
        assert_eq!(of_text("\u{1b}[2J\u{1b}"), "\\u{1b}[2J\\u{1b}");
        assert_eq!(of_json("{\"a\": \"\u{9b}\u{202e}\u{7f}\"}\n"), "{\"a\": \"\\u009b\\u202e\\u007f\"}\n");
    }
    #[cfg(unix)]
    #[test]
    fn names_that_are_no_text_stay_apart() {
        use std::ffi::OsStr;
        use std::os::unix::ffi::OsStrExt as _;
        assert_eq!(named(OsStr::from_bytes(b"a\xff\x1b.csv")), "a\\xff\\u{1b}.csv");
        assert_eq!(named("bay 2/joint.csv"), "bay 2/joint.csv");
    }
}
