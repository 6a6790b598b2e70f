//! How loud the screen must be, and how that looks.
//!
//! Decides: the colours, and what takes their place where there are none.
//! Never: says by colour alone what words do not say.

use ratatui::style::{Color, Modifier, Style};

/// How loud the screen must be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tone {
    /// Nothing to say.
    Calm,
    /// All is well.
    Good,
    /// Look at it.
    Careful,
    /// Outside the procedure.
    Bad,
    /// Hold the weld.
    Stop,
}

/// How a tone looks; without colours what is bad is reversed.
pub(super) fn style(tone: Tone, coloured: bool) -> Style {
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
