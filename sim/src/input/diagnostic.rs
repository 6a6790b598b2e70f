//! Faults in a text file, told with the place, the value and what is allowed.
//!
//! Decides: how a fault reads, and how many of a file are told: [`LISTED`], and how many more there are.
//! Assumes: a span lies within the text it was found in.
//! Never: stops at the first fault; a file's faults are told together.

use annotate_snippets::{AnnotationKind, Level, Origin, Renderer, Snippet};
use std::fmt;
use std::ops::Range;

/// So many faults of one file are listed; the rest are counted.
pub const LISTED: usize = 20;
/// Characters of a name or a problem that are shown: whatever is longer was written by nobody.
const SHOWN: usize = 400;

/// One fault in a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct InputError {
    /// Name of the file, as the user gave it.
    pub file: String,
    /// Line, from 1; 0 where the fault is in no line.
    pub line: usize,
    /// Column in characters, from 1; 0 where the fault is in no line.
    pub column: usize,
    /// What the fault is in: `current.allowed`, or a column of a trace.
    pub field: String,
    /// The text at fault, as written.
    pub value: String,
    /// What is wrong.
    pub problem: String,
    /// What could stand there instead; empty where the problem says it all.
    pub allowed: String,
    /// The line at fault, and where in it.
    excerpt: String,
    within: Range<usize>,
}

impl InputError {
    /// A fault of a file as a whole, or in one that is not text.
    pub fn in_file(file: &str, field: &str) -> Self {
        Self {
            file: file.to_owned(),
            line: 0,
            column: 0,
            field: shortened(field.to_owned()),
            value: String::new(),
            problem: String::new(),
            allowed: String::new(),
            excerpt: String::new(),
            within: 0..0,
        }
    }
    /// A fault at bytes `span` of the whole text of a file.
    pub fn in_text(file: &str, text: &str, span: Range<usize>, field: &str) -> Self {
        let start = floor_boundary(text, span.start);
        let line_start = text[..start].rfind('\n').map_or(0, |newline| newline + 1);
        let line = 1 + text[..line_start].matches('\n').count();
        let excerpt = text[line_start..].lines().next().unwrap_or("");
        let within = start - line_start..span.end.max(start).saturating_sub(line_start);
        Self::in_line(file, line, excerpt, within, field)
    }
    /// A fault at bytes `within` of one line of a file; `line` counts from 1.
    pub fn in_line(file: &str, line: usize, excerpt: &str, within: Range<usize>, field: &str) -> Self {
        let start = floor_boundary(excerpt, within.start);
        let end = floor_boundary(excerpt, within.end).max(start);
        let column = 1 + excerpt[..start].chars().count();
        // Of a line that is longer than anybody reads, what stands around the fault.
        let from = floor_boundary(excerpt, start.saturating_sub(SHOWN));
        let end = end.min(floor_boundary(excerpt, start.saturating_add(SHOWN)));
        let excerpt = &excerpt[from..floor_boundary(excerpt, end.saturating_add(SHOWN))];
        let (start, end) = (start - from, end - from);
        Self {
            file: file.to_owned(),
            line,
            column,
            field: shortened(field.to_owned()),
            value: excerpt[start..end].to_owned(),
            problem: String::new(),
            allowed: String::new(),
            excerpt: excerpt.to_owned(),
            within: start..end,
        }
    }
    /// With what is wrong.
    #[must_use]
    pub fn problem(mut self, problem: impl Into<String>) -> Self {
        self.problem = shortened(problem.into());
        self
    }
    /// With what could stand there instead.
    #[must_use]
    pub fn allowed(mut self, allowed: impl Into<String>) -> Self {
        self.allowed = allowed.into();
        self
    }
    fn render(&self, renderer: &Renderer) -> String {
        let title = if self.field.is_empty() {
            self.problem.clone()
        } else {
            format!("{}: {}", self.field, self.problem)
        };
        let title = Level::ERROR.primary_title(title);
        let mut group = if self.line == 0 {
            title.element(Origin::path(self.file.as_str()))
        } else {
            let place = AnnotationKind::Primary.span(self.within.clone());
            let snippet = Snippet::source(self.excerpt.as_str());
            title.element(snippet.line_start(self.line).path(self.file.as_str()).annotation(place))
        };
        if !self.allowed.is_empty() {
            group = group.element(Level::HELP.with_name("allowed").message(self.allowed.as_str()));
        }
        renderer.render(&[group])
    }
}

/// Its beginning, where a text is longer than anybody reads.
fn shortened(text: String) -> String {
    match text.char_indices().nth(SHOWN) {
        Some((end, _)) => format!("{}...", &text[..end]),
        None => text,
    }
}

/// The last character boundary at or before `index`.
fn floor_boundary(text: &str, index: usize) -> usize {
    (0..=index.min(text.len())).rev().find(|&at| text.is_char_boundary(at)).unwrap_or(0)
}

/// All faults of one or more files, in the order of their places.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct InputErrors {
    faults: Vec<InputError>,
    more: u64,
}

impl InputErrors {
    /// Faults in any order; those of one file are told from top to bottom, the first [`LISTED`] of them.
    pub fn new(mut faults: Vec<InputError>) -> Self {
        faults.sort_by_key(|fault| (fault.line, fault.column));
        let more = faults.len().saturating_sub(LISTED) as u64;
        faults.truncate(LISTED);
        Self { faults, more }
    }
    /// With so many more faults that are not listed.
    #[must_use]
    pub fn and_more(mut self, more: u64) -> Self {
        self.more += more;
        self
    }
    /// The faults.
    pub fn faults(&self) -> &[InputError] {
        &self.faults
    }
    /// As text with colours, for a terminal.
    pub fn styled(&self) -> String {
        self.render(&Renderer::styled())
    }
    /// The first of them on one line, without its file, and how many more there are.
    pub fn in_brief(&self) -> String {
        let Some(first) = self.faults.first() else { return String::new() };
        let place = if first.line == 0 { String::new() } else { format!("line {}: ", first.line) };
        let field = if first.field.is_empty() { String::new() } else { format!("{}: ", first.field) };
        let allowed =
            if first.allowed.is_empty() { String::new() } else { format!("; allowed: {}", first.allowed) };
        let more = self.faults.len() as u64 - 1 + self.more;
        let more = match more {
            0 => String::new(),
            1 => " (and 1 more fault)".to_owned(),
            _ => format!(" (and {more} more faults)"),
        };
        format!("{place}{field}{}{allowed}{more}", first.problem)
    }
    fn render(&self, renderer: &Renderer) -> String {
        let mut parts: Vec<_> = self.faults.iter().map(|fault| fault.render(renderer)).collect();
        if self.more > 0 {
            let faults = if self.more == 1 { "fault" } else { "faults" };
            parts.push(format!("... and {} more {faults}", self.more));
        }
        parts.join("\n\n")
    }
}

impl From<InputError> for InputErrors {
    fn from(fault: InputError) -> Self {
        Self { faults: vec![fault], more: 0 }
    }
}

/// As plain text, without colours.
impl fmt::Display for InputErrors {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.render(&Renderer::plain()))
    }
}

impl std::error::Error for InputErrors {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fault_knows_its_place() {
        let text = "a = 1\nµ = \"28 V\"\n";
        let start = text.find("\"28").expect("it is there");
        let fault = InputError::in_text("x.toml", text, start..start + 6, "µ").problem("wrong");
        assert_eq!((fault.line, fault.column, fault.value.as_str()), (2, 5, "\"28 V\""));
    }

    #[test]
    fn a_span_beyond_the_text_or_inside_a_character_is_held() {
        let fault = InputError::in_text("x.toml", "µ", 1..99, "");
        assert_eq!((fault.line, fault.column), (1, 1));
        assert!(!InputErrors::from(fault).to_string().is_empty());
        let fault = InputError::in_text("x.toml", "", 0..0, "");
        assert!(!InputErrors::from(fault).to_string().is_empty());
        let fault = InputError::in_text("x.toml", "a\n", 2..2, "");
        assert_eq!((fault.line, fault.column), (2, 1));
        assert!(!InputErrors::from(fault).styled().is_empty());
    }

    #[test]
    fn a_fault_of_a_whole_file_shows_no_line() {
        let fault = InputError::in_file("x.csv", "").problem("cannot be opened").allowed("a file");
        let told = InputErrors::from(fault).and_more(2).to_string();
        assert!(told.contains("cannot be opened") && told.contains("x.csv") && told.contains("2 more"));
        assert!(!told.contains("x.csv:"));
    }

    #[test]
    fn in_brief_it_is_one_line() {
        let fault = |line| {
            InputError::in_line("x.csv", line, "a,b", 2..3, "gas_lpm").problem("wrong").allowed("a number")
        };
        let one = InputErrors::new(vec![fault(9), fault(3)]);
        assert_eq!(one.in_brief(), "line 3: gas_lpm: wrong; allowed: a number (and 1 more fault)");
        assert_eq!(
            one.and_more(5).in_brief(),
            "line 3: gas_lpm: wrong; allowed: a number (and 6 more faults)"
        );
        let whole = InputError::in_file("x.csv", "").problem("cannot be opened");
        assert_eq!(InputErrors::from(whole).in_brief(), "cannot be opened");
    }

    #[test]
    fn colours_only_where_asked_for() {
        let errors = InputErrors::from(InputError::in_line("x.csv", 3, "a,b", 2..3, "b").problem("wrong"));
        assert!(!errors.to_string().contains('\u{1b}'));
        assert!(errors.styled().contains('\u{1b}'));
    }
}
