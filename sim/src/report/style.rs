//! How text stands out at a terminal.
//!
//! Decides: the few styles there are. Blue, yellow and red, not green and red: colour-blind people tell these
//! two apart.
//! Assumes: colours are taken out by the caller where they are not wanted.
//! Never: carries a meaning that the words do not.

use anstyle::{AnsiColor, Color, Style};

/// A heading, or a name.
pub const BOLD: Style = Style::new().bold();
/// Within the procedure.
pub const GOOD: Style = Style::new().bold().fg_color(Some(Color::Ansi(AnsiColor::Blue)));
/// Outside the procedure.
pub const BAD: Style = Style::new().bold().fg_color(Some(Color::Ansi(AnsiColor::Red)));
/// Not proven: neither within nor outside.
pub const OPEN: Style = Style::new().bold().fg_color(Some(Color::Ansi(AnsiColor::Yellow)));
/// Beside the matter.
pub const FAINT: Style = Style::new().dimmed();

/// Adds a line to a text; writing into a string cannot fail.
macro_rules! line {
    ($text:expr, $($arguments:tt)*) => {{
        let _ = std::fmt::Write::write_fmt($text, format_args!($($arguments)*));
        $text.push('\n');
    }};
}
pub(super) use line;
