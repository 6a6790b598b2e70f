//! The settings asked for one by one.
//!
//! Decides: the order, and what the keys mean.
//! Assumes: lines come from a person, one answer each; the end of the input means stop.
//! Never: accepts what a file would refuse.

use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::UnitSystem;
use crate::report::fit::fit;
use crate::report::model::setup::show_wanted;
use crate::report::setup::show_verdict;
use crate::report::style::{BAD, BOLD, FAINT};
use crate::setup::check::check;
use crate::setup::is_left;
use crate::setup::item::Item;
use crate::setup::judge::{judge, wanted};
use crate::setup::sheet::{self, Entry, SetupSheet};
use std::io::{self, BufRead, Write};

/// What a person answered.
enum Answer {
    Next,
    Back,
    Stop,
}

/// What was asked.
pub struct Asked {
    /// The answers, with what stood before.
    pub sheet: SetupSheet,
    /// Was every question asked? Else the person stopped.
    pub is_complete: bool,
}

/// What is still to be asked: everything where nothing was measured; else what is missing or wrong.
fn to_ask(sheet: &SetupSheet, procedure: &ProcedureFile) -> Vec<Item> {
    let is_open = |item: &Item| {
        let judged = judge(*item, sheet, procedure);
        sheet.entries.is_empty() || judged.value.is_none() || judged.verdict.severity().is_some()
    };
    let has_none = sheet.word(Item::OldBand) == Some("none");
    Item::all().filter(|item| is_open(item) && !(has_none && *item == Item::OldBandHeight)).collect()
}

/// Asks for what is missing or wrong, which is every setting on an empty sheet; what was already measured
/// stands as the answer until another is given. Then, once, whether what was carried from the last joint still stands.
/// After each answer `keep` is given what stands.
///
/// # Errors
/// The terminal cannot be read or written.
pub fn ask(
    mut sheet: SetupSheet,
    procedure: &ProcedureFile,
    system: UnitSystem,
    input: &mut impl BufRead,
    output: &mut impl Write,
    keep: &mut impl FnMut(&SetupSheet),
) -> io::Result<Asked> {
    let mut items = to_ask(&sheet, procedure);
    // Confirmed is what is confirmed now; what nobody measured before is measured now.
    sheet.carried_confirmed = None;
    sheet.measured_since.get_or_insert_with(now);
    let was_carried = !sheet.carried.is_empty();
    let mut dialogue = Dialogue { sheet, procedure, system, input, output };
    writeln!(
        dialogue.output,
        "{FAINT}Enter: leave out, or keep what stands there   b: back   q or Ctrl-C: stop here{FAINT:#}"
    )?;
    writeln!(dialogue.output, "{FAINT}What was typed is kept; the next run offers it.{FAINT:#}")?;
    if !dialogue.ask_all(&mut items, keep)? {
        return Ok(Asked { sheet: dialogue.sheet, is_complete: false });
    }
    // What was carried is confirmed once, as a block, or asked for.
    match dialogue.confirm_carried()? {
        Some(true) => dialogue.sheet.carried_confirmed = Some(now()),
        Some(false) => {
            let mut items = dialogue.sheet.carried.clone();
            if !dialogue.ask_all(&mut items, keep)? {
                return Ok(Asked { sheet: dialogue.sheet, is_complete: false });
            }
        }
        None => {}
    }
    if was_carried && dialogue.sheet.carried.is_empty() {
        dialogue.sheet.measured_since = Some(now());
    }
    keep(&dialogue.sheet);
    Ok(Asked { sheet: dialogue.sheet, is_complete: true })
}

/// The time of an answer.
fn now() -> String {
    jiff::Timestamp::now().strftime("%Y-%m-%dT%H:%M:%SZ").to_string()
}

/// Asks for the initials of whoever signs off; `None` where nobody does.
///
/// # Errors
/// The terminal cannot be read or written.
pub fn ask_initials(input: &mut impl BufRead, output: &mut impl Write) -> io::Result<Option<String>> {
    loop {
        write!(output, "{BOLD}initials{BOLD:#} to sign off (Enter: leave it unsigned) > ")?;
        output.flush()?;
        let Some(line) = read_line(input)? else { return Ok(None) };
        if line.is_empty() {
            return Ok(None);
        }
        match sheet::initials(&line) {
            Ok(initials) => return Ok(Some(initials)),
            Err(allowed) => writeln!(output, "   {BAD}not accepted{BAD:#}; allowed: {allowed}")?,
        }
    }
}

/// `None` at the end of the input.
pub(super) fn read_line(input: &mut impl BufRead) -> io::Result<Option<String>> {
    let mut line = String::new();
    Ok((input.read_line(&mut line)? > 0).then(|| line.trim().to_owned()))
}

struct Dialogue<'a, I, O> {
    sheet: SetupSheet,
    procedure: &'a ProcedureFile,
    system: UnitSystem,
    input: &'a mut I,
    output: &'a mut O,
}

impl<I: BufRead, O: Write> Dialogue<'_, I, O> {
    /// Settings one after the other; what another diameter asks for is put among them. Were all of them asked?
    fn ask_all(&mut self, items: &mut Vec<Item>, keep: &mut impl FnMut(&SetupSheet)) -> io::Result<bool> {
        let mut at = 0;
        while let Some(&item) = items.get(at) {
            self.heading(item, at.checked_sub(1).and_then(|before| items.get(before)))?;
            let number = format!("{FAINT}{:>2}/{}{FAINT:#} ", at + 1, items.len());
            let answer = self.ask(&number, item)?;
            if item == Item::OutsideDiameter && matches!(answer, Answer::Next) {
                let dropped = self.drop_of_other_diameter()?;
                *items = Item::all().filter(|item| items.contains(item) || dropped.contains(item)).collect();
            }
            keep(&self.sheet);
            match answer {
                Answer::Next => at += 1 + usize::from(self.is_skipped(items.get(at + 1))),
                Answer::Back => {
                    at = at.saturating_sub(1);
                    at = at.saturating_sub(usize::from(self.is_skipped(items.get(at))));
                }
                Answer::Stop => return Ok(false),
            }
        }
        Ok(true)
    }
    /// Is what was carried still as on the last joint? Nothing where nothing was carried, or nobody answered.
    fn confirm_carried(&mut self) -> io::Result<Option<bool>> {
        if self.sheet.carried.is_empty() {
            return Ok(None);
        }
        let show = |item: &Item| {
            Some(format!("{} {}", item.title(), item.show(self.sheet.value(*item)?, self.system)))
        };
        let all: Vec<_> = self.sheet.carried.iter().filter_map(show).collect();
        let since =
            self.sheet.measured_since.as_ref().map_or(String::new(), |time| format!(", since {time}"));
        let words = format!("\n{BOLD}carried from the last joint{BOLD:#}{since}: {}\n", all.join(", "));
        write!(self.output, "{}", fit(&words))?;
        loop {
            write!(self.output, "      still as on the last joint? y or n (n: asked one by one) > ")?;
            self.output.flush()?;
            match read_line(self.input)?.as_deref() {
                Some("y" | "Y" | "yes") => return Ok(Some(true)),
                Some("n" | "N" | "no") => return Ok(Some(false)),
                // The end of the input decides nothing.
                None | Some("q") => return Ok(None),
                Some(_) => {}
            }
        }
    }
    /// What is left of an old band is asked only where there is one.
    fn is_skipped(&self, item: Option<&Item>) -> bool {
        item == Some(&Item::OldBandHeight) && !is_left(self.sheet.value(Item::OldBand))
    }
    /// What was set to another diameter on the last joint is asked for on this one.
    fn drop_of_other_diameter(&mut self) -> io::Result<Vec<Item>> {
        let dropped = self.sheet.drop_of_other_diameter();
        if !dropped.is_empty() {
            let titles: Vec<_> = dropped.iter().map(|item| item.title()).collect();
            let words = format!(
                "      {BOLD}another diameter than the last joint's{BOLD:#}: asked for again: {}\n",
                titles.join(", ")
            );
            write!(self.output, "{}", fit(&words))?;
        }
        Ok(dropped)
    }
    /// Names the place of a setting where the one before was at another.
    fn heading(&mut self, item: Item, before: Option<&Item>) -> io::Result<()> {
        let place_of = |item: &Item| Item::PLACES.iter().find(|(_, items)| items.contains(item));
        match place_of(&item) {
            Some((place, items)) if before.is_none_or(|before| !items.contains(before)) => {
                writeln!(self.output, "\n{BOLD}{place}{BOLD:#}")
            }
            _ => Ok(()),
        }
    }
    /// One setting, until an answer is accepted; `number` stands before it.
    fn ask(&mut self, number: &str, item: Item) -> io::Result<Answer> {
        let wanted = wanted(item, &self.sheet, self.procedure);
        let range =
            wanted.map_or("not in the procedure".to_owned(), |wanted| show_wanted(item, wanted, self.system));
        let question = format!("{number}{BOLD}{}{BOLD:#}, {}: {range}\n", item.title(), item.how());
        write!(self.output, "{}", fit(&question))?;
        loop {
            let standing =
                self.sheet.value(item).map(|value| format!(" [{}]", item.show(value, self.system)));
            let is_carried = self.sheet.carried.contains(&item);
            let standing =
                standing.unwrap_or_default() + if is_carried { " from the last joint" } else { "" };
            write!(self.output, "      measured, {}{standing} > ", item.prompt(self.system))?;
            self.output.flush()?;
            let Some(typed) = read_line(self.input)? else { return Ok(Answer::Stop) };
            match typed.as_str() {
                "" => return Ok(Answer::Next),
                "b" => return Ok(Answer::Back),
                "q" => return Ok(Answer::Stop),
                _ => {}
            }
            if self.accept(item, &typed)? {
                return Ok(Answer::Next);
            }
        }
    }
    /// Takes an answer, and says at once how it stands.
    fn accept(&mut self, item: Item, typed: &str) -> io::Result<bool> {
        let written = item.complete(typed, self.system);
        let value = match item.parse(&written) {
            Ok(value) => value,
            Err(refusal) => {
                let (problem, allowed) = (refusal.problem, refusal.allowed);
                let words = format!("      {BAD}not accepted{BAD:#}: {problem}; allowed: {allowed}\n");
                write!(self.output, "{}", fit(&words))?;
                return Ok(false);
            }
        };
        self.sheet.put(Entry { item, value, written });
        let checked = check(&self.sheet, self.procedure);
        let judged = judge(item, &self.sheet, self.procedure);
        for line in show_verdict(&judged, &checked, self.system) {
            write!(self.output, "{}", fit(&format!("      {line}\n")))?;
        }
        Ok(true)
    }
}
