//! What must hold of every message about a file.
//!
//! Decides: that it names the file, and a line where a line is at fault, and says what is wrong.
//! Never: looks at the words.

use bandward_sim::input::diagnostic::{InputErrors, LISTED};

/// Of a text called `file`.
pub fn check(errors: &InputErrors, file: &str, text: &str) {
    check_lines(errors, file, 1 + text.matches('\n').count());
}

/// Of a text of which every fault is in a line.
pub fn check_in_lines(errors: &InputErrors, file: &str, text: &str) {
    check(errors, file, text);
    assert!(errors.faults().iter().all(|fault| fault.line > 0), "a fault without its line: {errors}");
}

/// Of a file of at most so many lines.
pub fn check_lines(errors: &InputErrors, file: &str, lines: usize) {
    let faults = errors.faults();
    assert!((1..=LISTED).contains(&faults.len()), "{} faults", faults.len());
    for fault in faults {
        assert_eq!(fault.file, file);
        assert!(fault.line <= lines, "line {} of {lines}: {fault:?}", fault.line);
        assert!(!fault.problem.trim().is_empty(), "{fault:?}");
    }
    let shown = errors.to_string();
    assert!(shown.contains(file), "{shown}");
    assert!(!shown.contains('\u{1b}'), "colours in {shown:?}");
    assert!(!errors.styled().is_empty() && !errors.in_brief().is_empty());
}

/// Of an error that may be one of a file.
pub fn check_any(error: &anyhow::Error, file: &str, text: &str) {
    match error.downcast_ref::<InputErrors>() {
        Some(errors) => check_in_lines(errors, file, text),
        None => assert!(!format!("{error:#}").trim().is_empty()),
    }
}
