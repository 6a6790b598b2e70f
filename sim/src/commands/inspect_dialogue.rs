//! What was found on finished bands, asked for one by one.
//!
//! Decides: the order of the questions, and how an answer stands in the file.
//! Assumes: lines come from a person, one answer each; the end of the input means stop.
//! Never: accepts what the file would refuse.

use super::setup_dialogue::read_line;
use crate::input::inspection_limits::{Hardness, Look};
use crate::input::quantity::{Dimension, UnitSystem, shown_symbol};
use crate::input::written_quantity::{QuantityError, parse};
use crate::inspection::gauge::{GAUGES, quantity};
use crate::inspection::sheet::time_of_day;
use crate::report::fit::fit;
use crate::report::style::{BAD, BOLD, FAINT};
use std::fmt::Write as _;
use std::io::{self, BufRead, Write};

/// What may be answered.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Kind {
    /// Any words.
    Words,
    /// A diameter.
    Diameter,
    /// A temperature, and the time of day where it is known: `160 degC at 07:15`.
    Temperature,
    /// Lengths at the four places, between these, mm.
    Four(f64, f64),
    /// One hardness or more.
    Hardness,
    /// One of the words of a look.
    Look(Look),
}

struct Question {
    /// The table it belongs to, with what stands in it anyhow.
    table: String,
    /// The key, and that of the time of day.
    keys: [&'static str; 2],
    words: String,
    kind: Kind,
}

/// The questions about a joint.
pub struct Questions(Vec<Question>);

impl Questions {
    /// About these bands, each with whether it opens a group.
    pub fn of(bands: &[(u16, bool)]) -> Self {
        let question = |table: &str, keys, words: &str, kind| Question {
            table: table.to_owned(),
            keys,
            words: words.to_owned(),
            kind,
        };
        let mut all = vec![
            question("[inspection]", ["serial", ""], "serial of the pipe or tool joint", Kind::Words),
            question("[inspection]", ["by", ""], "inspector", Kind::Words),
            question("[inspection]", ["date", ""], "date, such as 2026-03-04", Kind::Words),
            question("[diameter]", ["before", ""], "outside diameter before the first band", Kind::Diameter),
            question("[diameter]", ["after", ""], "outside diameter over the bands", Kind::Diameter),
            question("[preheat]", ["temperature", "at"], "preheat before the first band", Kind::Temperature),
        ];
        for (band, _) in bands.iter().filter(|(_, opens_group)| !opens_group) {
            let words = format!("temperature between bands, before band {band}");
            let table = format!("[[between]]\nbefore_band = {band}");
            all.push(question(&table, ["temperature", "at"], &words, Kind::Temperature));
        }
        let cooling = "with its time: while the joint cooled, the";
        for (keys, which) in [(["from", "from_at"], "earlier"), (["to", "to_at"], "later")] {
            all.push(question(
                "[cooling]",
                keys,
                &format!("{which} temperature, {cooling} {which} one"),
                Kind::Temperature,
            ));
        }
        for (band, _) in bands {
            let table = format!("[[band]]\nband = {band}");
            let four = "at 0, 90, 180 and 270 deg round from the tie-in, - where not measured";
            for (key, words, kind) in [
                ("height", format!("band {band}: height by gauge {four}"), Kind::Four(0.0, 30.0)),
                ("width", format!("band {band}: width by gauge {four}"), Kind::Four(1.0, 500.0)),
                ("hardness", format!("band {band}: hardness, such as 58 HRC, 60 HRC"), Kind::Hardness),
                ("porosity", format!("band {band}: porosity"), Kind::Look(Look::Porosity)),
                ("cracks", format!("band {band}: cracks"), Kind::Look(Look::Cracks)),
                ("edges", format!("band {band}: bond and edges"), Kind::Look(Look::Edges)),
                ("note", format!("band {band}: anything else"), Kind::Words),
            ] {
                all.push(question(&table, [key, ""], &words, kind));
            }
        }
        Self(all)
    }
}

/// Asks; the text of a file that [`crate::inspection::Inspection::parse`] reads.
///
/// # Errors
/// The terminal cannot be read or written.
pub fn ask(
    questions: &Questions,
    system: UnitSystem,
    input: &mut impl BufRead,
    output: &mut impl Write,
) -> io::Result<String> {
    writeln!(output, "{FAINT}Enter: not inspected   q or Ctrl-D: stop here{FAINT:#}")?;
    let mut text = String::from("# Finished bands; written by `bandward inspect`.\n");
    let (mut table, count) = (String::new(), questions.0.len());
    for (index, question) in questions.0.iter().enumerate() {
        let Some(lines) = answer(question, index + 1, count, system, input, output)? else { break };
        if lines.is_empty() {
            continue;
        }
        if table != question.table {
            table.clone_from(&question.table);
            // Writing to a string cannot fail.
            let _ = writeln!(text, "\n{table}");
        }
        for (key, value) in lines {
            let _ = writeln!(text, "{key} = {value}");
        }
    }
    Ok(text)
}

type Lines = Vec<(&'static str, toml::Value)>;

/// One question, until an answer is accepted; `None` where the person stops.
fn answer(
    question: &Question,
    number: usize,
    count: usize,
    system: UnitSystem,
    input: &mut impl BufRead,
    output: &mut impl Write,
) -> io::Result<Option<Lines>> {
    write!(
        output,
        "{}",
        fit(&format!("{FAINT}{number:>3}/{count}{FAINT:#} {BOLD}{}{BOLD:#}\n", question.words))
    )?;
    loop {
        write!(output, "        {} > ", prompt(question.kind, system))?;
        output.flush()?;
        let Some(typed) = read_line(input)? else { return Ok(None) };
        match typed.as_str() {
            "" => return Ok(Some(Lines::new())),
            "q" => return Ok(None),
            _ => {}
        }
        match accept(question, &typed, system) {
            Ok(lines) => return Ok(Some(lines)),
            Err((problem, allowed)) => {
                let words = format!("        {BAD}not accepted{BAD:#}: {problem}; allowed: {allowed}\n");
                write!(output, "{}", fit(&words))?;
            }
        }
    }
}

fn prompt(kind: Kind, system: UnitSystem) -> String {
    match kind {
        Kind::Words => "words".to_owned(),
        Kind::Diameter => shown_symbol(Dimension::Length, system).to_owned(),
        Kind::Temperature => {
            format!("{}, such as 160 at 07:15", shown_symbol(Dimension::Temperature, system))
        }
        Kind::Four(..) => format!("four in {}", shown_symbol(Dimension::Length, system)),
        Kind::Hardness => "HRC or HV".to_owned(),
        Kind::Look(look) => look.words().join(", "),
    }
}

type Refused = (String, String);

fn accept(question: &Question, typed: &str, system: UnitSystem) -> Result<Lines, Refused> {
    let [key, at_key] = question.keys;
    let text = |text: String| toml::Value::String(text);
    match question.kind {
        Kind::Words if key == "date" && typed.parse::<jiff::civil::Date>().is_err() => {
            Err((format!("`{typed}` is no date"), "such as 2026-03-04".to_owned()))
        }
        Kind::Words => Ok(vec![(key, text(typed.to_owned()))]),
        Kind::Diameter => {
            let written = with_unit(typed, Dimension::Length, system);
            quantity(&written, Dimension::Length, 10.0, 1500.0)?;
            Ok(vec![(key, text(written))])
        }
        Kind::Temperature => temperature([key, at_key], typed, system),
        Kind::Four(low, high) => {
            let items = four(typed, system)?;
            for item in &items {
                quantity(item, Dimension::Length, low, high)?;
            }
            Ok(vec![(key, toml::Value::Array(items.into_iter().map(text).collect()))])
        }
        Kind::Hardness => {
            let items: Vec<_> =
                typed.split([',', ';']).map(str::trim).filter(|item| !item.is_empty()).collect();
            if let Some(wrong) = items.iter().find(|item| Hardness::parse(item).is_none()) {
                return Err((format!("`{wrong}` is no hardness"), Hardness::ALLOWED.to_owned()));
            }
            let items = items.into_iter().map(|item| text(item.to_owned())).collect();
            Ok(vec![(key, toml::Value::Array(items))])
        }
        Kind::Look(look) => {
            let begins = |word: &&&str| word.to_lowercase().starts_with(&typed.to_lowercase());
            let mut fitting = look.words().iter().filter(begins);
            match (fitting.next(), fitting.next()) {
                (Some(word), None) => Ok(vec![(key, text((*word).to_owned()))]),
                _ => Err((format!("`{typed}` is not one of its choices"), look.allowed())),
            }
        }
    }
}

fn temperature([key, at_key]: [&'static str; 2], typed: &str, system: UnitSystem) -> Result<Lines, Refused> {
    let (degrees, at) =
        typed.split_once(" at ").map_or((typed, None), |(degrees, at)| (degrees, Some(at.trim())));
    let written = with_unit(degrees.trim(), Dimension::Temperature, system);
    quantity(&written, Dimension::Temperature, -50.0, 1000.0)?;
    let mut lines = vec![(key, toml::Value::String(written))];
    if let Some(at) = at {
        if time_of_day(at).is_none() {
            return Err((format!("`{at}` is no time of day"), "such as 07:15".to_owned()));
        }
        lines.push((at_key, toml::Value::String(at.to_owned())));
    }
    Ok(lines)
}

/// With the unit that was asked for added to a bare number.
fn with_unit(typed: &str, dimension: Dimension, system: UnitSystem) -> String {
    if parse(typed, dimension) == Err(QuantityError::NoUnit) {
        return format!("{typed} {}", shown_symbol(dimension, system));
    }
    typed.to_owned()
}

/// Four lengths: `2.6 2.7 2.6 2.5`, `2.6, 2.7, -, 2.5 mm`; the unit of the last, or the one that was asked for, holds
/// for those without.
fn four(typed: &str, system: UnitSystem) -> Result<Vec<String>, Refused> {
    let by_comma = typed.contains([',', ';']);
    let mut items: Vec<String> = if by_comma {
        typed.split([',', ';']).map(|item| item.trim().to_owned()).collect()
    } else {
        typed.split_whitespace().map(str::to_owned).collect()
    };
    let is_unit = |item: &str| Dimension::Length.unit(item).is_some();
    let mut unit = shown_symbol(Dimension::Length, system).to_owned();
    if !by_comma && items.last().is_some_and(|last| is_unit(last)) {
        unit = items.pop().unwrap_or(unit);
    } else if let Some((number, last)) = items.last().and_then(|last| last.rsplit_once(' '))
        && is_unit(last)
    {
        let (number, last) = (number.to_owned(), last.to_owned());
        items.pop();
        items.push(number);
        unit = last;
    }
    if items.len() != GAUGES {
        let problem = format!("{} lengths", items.len());
        return Err((problem, format!("{GAUGES}, with blanks or commas between them; - where not measured")));
    }
    let written = |item: String| match item.as_str() {
        "" | "-" => String::new(),
        bare if parse(bare, Dimension::Length) == Err(QuantityError::NoUnit) => format!("{bare} {unit}"),
        _ => item,
    };
    Ok(items.into_iter().map(written).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::inspection::Inspection;

    #[test]
    fn what_was_typed_is_read_back() {
        let typed = "TJ-1042\nAB\nyesterday\n2026-03-04\n3.5 in\n\n160 at 07:15\n300 degF\n200 degC at 23:30\n\
                     150 at 00:30\n2.6 2.7 2.6 2.5\n26 mm, 26 mm, -, 1 1/32 in\n58 HRC, 60 HRB\n58 HRC, 59 HRC\nn\nhair\n\
                     undercut\n\n\n\n\nq\n";
        let mut said = Vec::new();
        let questions = Questions::of(&[(1, true), (2, false)]);
        let text = ask(&questions, UnitSystem::Metric, &mut typed.as_bytes(), &mut said).expect("asked");
        let read = Inspection::parse("typed", &text).unwrap_or_else(|errors| panic!("{errors}\n{text}"));
        assert_eq!((read.by.as_deref(), read.date.as_deref()), (Some("AB"), Some("2026-03-04")));
        assert!((read.diameter_before_mm.expect("typed") - 88.9).abs() < 1e-9);
        assert!((read.preheat.expect("typed").temperature_c - 160.0).abs() < 1e-9);
        assert!((read.between[0].1.temperature_c - 148.888_888_889).abs() < 1e-6);
        assert!(read.cooling.is_some());
        let [band] = &read.bands[..] else { panic!("{:?}", read.bands) };
        assert_eq!(band.heights_mm, [2.6, 2.7, 2.6, 2.5].map(Some));
        assert_eq!((band.widths_mm[2], band.widths_mm[3]), (None, Some(26.193_75)));
        assert_eq!((band.hardness.len(), band.looks), (2, [Some(0), Some(1), Some(1)]));
        let said = String::from_utf8(said).expect("text");
        assert_eq!(said.matches("not accepted").count(), 2, "{said}");
    }
}
