//! Small pieces that every section of the page is written with.
//!
//! Decides: how text and values are written in HTML.
//! Assumes: nothing of the text: it may hold anything.
//! Never: lets text act as markup.

use crate::report::model::chart::{Ranges, Scale};
use std::fmt::Write as _;

/// Writes into the page; writing to a string cannot fail.
macro_rules! put {
    ($page:expr, $($arguments:tt)*) => {{
        use std::fmt::Write as _;
        let _ = writeln!($page, $($arguments)*);
    }};
}
pub(super) use put;

/// Text that cannot be taken for markup, in an element or an attribute.
pub fn escape(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for character in text.chars() {
        match character {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            '\'' => safe.push_str("&#39;"),
            other => safe.push(other),
        }
    }
    safe
}

/// Begins a page, down to its body. The browser itself sees to it that nothing is asked of the network.
pub fn begin(page: &mut String, title: &str, styles: &[&str], has_script: bool) {
    put!(page, "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">");
    put!(page, "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">");
    put!(page, "<meta name=\"color-scheme\" content=\"light dark\">");
    let script = if has_script { "; script-src 'unsafe-inline'" } else { "" };
    put!(
        page,
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'{script}\">"
    );
    put!(page, "<title>{}</title>\n<style>\n{}</style>\n</head>\n<body>", escape(title), styles.concat());
}

/// Text as a string of a style sheet: letters and digits as they are, all else by its number.
pub fn css_string(text: &str) -> String {
    let mut safe = String::with_capacity(text.len() + 2);
    safe.push('"');
    for character in text.chars() {
        if character.is_alphanumeric() {
            safe.push(character);
        } else {
            let _ = write!(safe, "\\{:x} ", u32::from(character));
        }
    }
    safe.push('"');
    safe
}

/// The ranges as areas behind a course; a script may move them to another scale.
pub fn range_areas(ranges: &Ranges, scale: Scale) -> String {
    let mut areas = String::new();
    for (name, bounds) in [("allowed", ranges.allowed), ("recommended", ranges.recommended)] {
        if bounds.ends().next().is_none() {
            continue;
        }
        let top = 100.0 * (1.0 - bounds.high.map_or(1.0, |high| scale.share(high)));
        let bottom = 100.0 * bounds.low.map_or(0.0, |low| scale.share(low));
        let end =
            |name: &str, end: Option<f64>| end.map_or(String::new(), |end| format!(" data-{name}=\"{end}\""));
        let (low, high) = (end("low", bounds.low), end("high", bounds.high));
        let open = |is_open: bool, side: &str| if is_open { format!(" open-{side}") } else { String::new() };
        let open = open(bounds.high.is_none(), "top") + &open(bounds.low.is_none(), "bottom");
        let _ = write!(
            areas,
            "<div class=\"range {name}{open}\"{low}{high} style=\"top:{top:.2}%;bottom:{bottom:.2}%\"></div>"
        );
    }
    if let Some(floor) = ranges.floor {
        let bottom = 100.0 * scale.share(floor);
        let _ = write!(
            areas,
            "<div class=\"range floor\" data-high=\"{floor}\" style=\"top:{:.2}%\"></div>",
            100.0 - bottom
        );
    }
    areas
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_is_no_markup() {
        assert_eq!(escape("<b a=\"1\" & 'c'>"), "&lt;b a=&quot;1&quot; &amp; &#39;c&#39;&gt;");
    }

    #[test]
    fn text_in_a_style_sheet_ends_neither_its_string_nor_the_sheet() {
        assert_eq!(css_string("a1"), "\"a1\"");
        assert_eq!(css_string("\"</\\"), "\"\\22 \\3c \\2f \\5c \"");
    }
}
