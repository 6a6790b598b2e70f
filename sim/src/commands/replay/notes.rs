//! What is remarked on logs, told once for all logs that it is said of.
//!
//! Decides: which remarks are the same: those that differ by the log alone.
//! Never: keeps more than a few remarks, however many logs there are.

use crate::output::terminal::remark;

/// Different remarks that are kept; more are counted.
const KEPT: usize = 20;

/// One remark.
struct Note {
    /// Its text without the log.
    text: String,
    /// The whole of it, of the first log.
    first: String,
    logs: u64,
}

/// The remarks so far.
#[derive(Default)]
pub struct Notes {
    kept: Vec<Note>,
    others: u64,
}

impl Notes {
    /// Takes what is remarked on a log.
    pub fn add(&mut self, path: &str, notes: &[String]) {
        for note in notes {
            let text = note.strip_prefix(path).unwrap_or(note);
            if let Some(known) = self.kept.iter_mut().find(|known| known.text == text) {
                known.logs += 1;
            } else if self.kept.len() < KEPT {
                self.kept.push(Note { text: text.to_owned(), first: note.clone(), logs: 1 });
            } else {
                self.others += 1;
            }
        }
    }
    /// Tells them.
    pub fn tell(&self) {
        for note in &self.kept {
            let more = note.logs - 1;
            let more = if more > 0 { format!(" (and {more} more logs)") } else { String::new() };
            remark(&format!("note: {}{more}", note.first));
        }
        if self.others > 0 {
            remark(&format!(
                "note: {} more notes of other kinds: replay a log alone to see its own",
                self.others
            ));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_said_of_many_logs_is_kept_once() {
        let mut notes = Notes::default();
        for log in 0..100 {
            let path = format!("log-{log}.csv");
            let own = format!("{path}:{log}: 1 row has fewer cells than the header");
            notes.add(&path, &[format!("{path}: ignored unknown columns: `x`"), own]);
        }
        assert_eq!((notes.kept.len(), notes.others), (KEPT, 100 + 1 - KEPT as u64));
        assert_eq!(
            (notes.kept[0].logs, notes.kept[0].first.as_str()),
            (100, "log-0.csv: ignored unknown columns: `x`")
        );
    }
}
