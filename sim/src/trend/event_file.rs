//! The file of known events, as a shop writes it: TOML, or CSV from a spreadsheet.
//!
//! Decides: the keys and columns of the file.
//! Assumes: one event a table or row.
//! Never: looks at the joints; an event without one is told where it is applied.

use super::event::{Event, Kind, When};
use super::record::Moment;
use crate::input::diagnostic::{InputError, InputErrors, LISTED};
use crate::input::document::{Document, Section};
use crate::input::source::Source;
use crate::input::text_file;
use crate::output::{named, printable};
use crate::trace::records::Records;
use anyhow::Context as _;
use std::path::Path;

/// Columns of the CSV.
const COLUMNS: [&str; 6] = ["at", "joint", "record", "kind", "name", "machine"];
const WHEN: &str = "one of `at` (a time such as 2026-03-04T07:15:00), `joint` (a number from 1) and `record`";

/// Reads a file; CSV by the end of its name, else TOML.
///
/// # Errors
/// The file cannot be read, or [`InputErrors`].
pub fn read(path: &Path) -> anyhow::Result<Vec<Event>> {
    let name = named(path);
    let is_csv = path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("csv"));
    let read = if is_csv { text_file::read_list(path) } else { text_file::read(path) };
    let text = read.with_context(|| format!("cannot read events {name}"))?;
    Ok(if is_csv { of_csv(&name, &text) } else { of_toml(&name, &text) }?)
}

/// Reads TOML: `[[event]]` with `kind`, one of `at`, `joint` and `record`, and perhaps `name`, `machine`.
///
/// # Errors
/// All faults in the text.
pub fn of_toml(file: &str, text: &str) -> Result<Vec<Event>, InputErrors> {
    let source = Source::new(file, text);
    let document = Document::new(&source);
    let root = document.root();
    root.require("event", "a list of events, each below its own [[event]]");
    let events: Vec<_> = root.sections("event").into_iter().filter_map(of_section).collect();
    root.finish();
    document.finish()?;
    Ok(events)
}

fn of_section(section: Section<'_>) -> Option<Event> {
    section.require("kind", "one of tip, spool, bottle, operator, procedure, repair");
    let text = |key| section.text(key).map(|text| printable(&text.value).into_owned());
    let kind = section.choice("kind", Kind::CHOICES).map(|kind| kind.value);
    let (name, machine) = (text("name"), text("machine"));
    let at = section.text("at").and_then(|at| {
        let moment = Moment::parse(&at.value);
        if moment.is_none() {
            section.fault(&at.place, format!("`{}` is no time", at.value), "such as 2026-03-04T07:15:00");
        }
        moment.map(When::At)
    });
    let joint = section
        .whole("joint", 1..1_000_000)
        .map(|joint| When::Joint(joint.value.unsigned_abs() as usize - 1));
    let record = text("record").map(When::Record);
    let given = ["at", "joint", "record"].into_iter().filter(|key| section.has(key)).count();
    if given != 1 {
        let problem = if given == 0 { "it does not say when" } else { "it says when in several ways" };
        section.fault(section.place(), problem, WHEN);
    }
    section.finish();
    Some(Event { kind: kind?, when: at.or(joint).or(record)?, name, machine })
}

/// Reads CSV with a header row.
///
/// # Errors
/// All faults in the text.
pub fn of_csv(file: &str, text: &str) -> Result<Vec<Event>, InputErrors> {
    let mut rows = Records::new(text.trim_start_matches('\u{feff}').as_bytes(), b',');
    let (mut faults, mut more) = (Vec::new(), 0);
    let mut events = Vec::new();
    let mut columns: Option<Vec<usize>> = None;
    loop {
        match rows.advance() {
            Ok(true) => {}
            Ok(false) => break,
            Err(_) => {
                let line = usize::try_from(rows.line()).unwrap_or(0);
                let excerpt = text.lines().nth(line.saturating_sub(1)).unwrap_or("");
                let fault = InputError::in_line(file, line, excerpt, 0..excerpt.len(), "event")
                    .problem("a quote is not closed, or a row is too long");
                return Err(fault.allowed("rows of comma-separated values").into());
            }
        }
        let cells: Vec<String> = (0..rows.cell_count())
            .map(|index| String::from_utf8_lossy(rows.cell(index).unwrap_or_default()).trim().to_owned())
            .collect();
        let line = usize::try_from(rows.line()).unwrap_or(0);
        let told = match &columns {
            None => header(&cells).map(|found| columns = Some(found)),
            Some(columns) => of_row(&cells, columns).map(|event| events.push(event)),
        };
        if let Err((problem, allowed)) = told {
            if faults.len() == LISTED {
                more += 1;
                continue;
            }
            let excerpt = text.lines().nth(line.saturating_sub(1)).unwrap_or("");
            let fault = InputError::in_line(file, line, excerpt, 0..excerpt.len(), "event");
            faults.push(fault.problem(problem).allowed(allowed));
        }
        if columns.is_none() {
            break;
        }
    }
    if faults.is_empty() { Ok(events) } else { Err(InputErrors::new(faults).and_more(more)) }
}

type Fault = (String, String);

/// Which column each cell of a row belongs to.
fn header(cells: &[String]) -> Result<Vec<usize>, Fault> {
    let found: Option<Vec<usize>> =
        cells.iter().map(|cell| COLUMNS.iter().position(|column| column == cell)).collect();
    let is_once =
        |found: &Vec<usize>| found.iter().all(|one| found.iter().filter(|other| *other == one).count() == 1);
    let found =
        found.filter(is_once).filter(|found| found.contains(&3) && found.iter().any(|column| *column < 3));
    found.ok_or_else(|| {
        let allowed = format!(
            "a header of some of {}, each once, with kind and one of the first three",
            COLUMNS.join(", ")
        );
        ("this is no header of a file of events".to_owned(), allowed)
    })
}

fn of_row(cells: &[String], columns: &[usize]) -> Result<Event, Fault> {
    if cells.len() > columns.len() {
        let problem = format!("{} fields, where the header has {}", cells.len(), columns.len());
        return Err((problem, "as many fields as the header; a text with a comma in quotes".to_owned()));
    }
    let cell = |wanted: usize| {
        let at = columns.iter().position(|&column| column == wanted);
        at.and_then(|at| cells.get(at)).filter(|cell| !cell.is_empty())
    };
    let kinds: Vec<_> = Kind::CHOICES.iter().map(|(name, _)| *name).collect();
    let kind = cell(3).and_then(|kind| Kind::CHOICES.iter().find(|(name, _)| name == kind));
    let kind = kind.ok_or_else(|| ("this kind of event is not known".to_owned(), kinds.join(", ")))?.1;
    let moment = cell(0).map(|at| Moment::parse(at).map(When::At));
    let joint = cell(1).map(|joint| {
        joint.parse().ok().filter(|joint| *joint > 0).map(|joint: usize| When::Joint(joint - 1))
    });
    let record = cell(2).map(|record| Some(When::Record(record.clone())));
    let mut whens = [moment, joint, record].into_iter().flatten();
    match (whens.next(), whens.next()) {
        (Some(Some(when)), None) => {
            let text = |column| cell(column).map(|text| printable(text).into_owned());
            Ok(Event { kind, when, name: text(4), machine: text(5) })
        }
        _ => Err(("it does not say when, or not in one way".to_owned(), WHEN.to_owned())),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_forms_of_the_file_say_the_same() {
        let toml = "[[event]]\nkind = \"spool\"\nat = \"2026-03-04T07:15:00\"\nname = \"lot 17\"\nmachine = \"M1\"\n\n\
                    [[event]]\nkind = \"tip\"\njoint = 34\n";
        let csv = "at,joint,record,kind,name,machine\n2026-03-04T07:15:00,,,spool,lot 17,M1\n,34,,tip,,\n";
        let events = of_toml("e.toml", toml).expect("sound");
        assert_eq!(events, of_csv("e.csv", csv).expect("sound"));
        assert_eq!(events[1], Event { kind: Kind::Tip, when: When::Joint(33), name: None, machine: None });
    }

    #[test]
    fn a_quote_left_open_is_told_with_its_line() {
        let told = of_csv("e.csv", "joint,kind\n3,tip\n4,\"tip\n").expect_err("a quote is open").to_string();
        assert!(told.contains("e.csv:3") && told.contains("a quote is not closed"), "{told}");
    }

    #[test]
    fn faults_are_told_with_their_place() {
        for (text, said) in [
            ("[[event]]\nkind = \"spool\"\n", "does not say when"),
            ("[[event]]\nkind = \"spoon\"\njoint = 3\n", "spoon"),
            ("[[event]]\nkind = \"tip\"\njoint = 3\nat = \"2026-03-04T07:15:00\"\n", "several ways"),
            ("[[event]]\nkind = \"tip\"\nat = \"tomorrow\"\n", "no time"),
        ] {
            let told = of_toml("e.toml", text).expect_err(text).to_string();
            assert!(told.contains(said), "{told}");
        }
        for text in [
            "joint,joint,kind\n3,4,tip\n",
            "joint,kind\n3,tip,x\n",
            "kind,name\ntip,\n",
            "joint,kind\n0,tip\n",
            "joint,kind\n3,spoon\n",
            "joint,kind\n,tip\n",
        ] {
            assert!(of_csv("e.csv", text).is_err(), "{text}");
        }
    }
}
