//! A procedure file with other values in it.
//!
//! Decides: how a changed key is written, and what stands above it.
//! Assumes: the text is that of a sound procedure.
//! Never: changes a key that was not asked for, or its order or comments; nor gives out a text that does not
//! read as the values it was made for.

use super::tunable::{Key, Tunable, with_values};
use crate::input::procedure_file::ProcedureFile;
use anyhow::{Context as _, bail};
use bandward::rule::Side;
use toml_edit::{Array, DocumentMut, Item, RawString, Table, TableLike, Value, value};

const BYTE_ORDER_MARK: char = '\u{feff}';

/// A value to write, and why.
#[derive(Clone, Debug, PartialEq)]
pub struct Tuned {
    /// Which.
    pub tunable: Tunable,
    /// In the house unit.
    pub value: f64,
    /// What it was, and what the change brings, on one line.
    pub why: String,
}

/// The text with these values, each with a comment above; `head` is the first line's.
///
/// # Errors
/// The values do not fit the procedure.
pub fn tuned_text(file: &ProcedureFile, changes: &[Tuned], head: &str) -> anyhow::Result<String> {
    let mut document: DocumentMut = file.text.parse().context("the procedure cannot be read again")?;
    for change in changes {
        write(&mut document, file, change)?;
    }
    let text = as_before(&file.text, &format!("{}{document}", comment(head, "")));
    check(file, changes, &text)?;
    Ok(text)
}

/// With the line ends and the byte order mark of the text it was made from.
fn as_before(before: &str, text: &str) -> String {
    let text = text.trim_start_matches(BYTE_ORDER_MARK).replace("\r\n", "\n");
    let is_crlf = before.matches("\r\n").count() * 2 > before.matches('\n').count();
    let text = if is_crlf { text.replace('\n', "\r\n") } else { text };
    if before.starts_with(BYTE_ORDER_MARK) { format!("{BYTE_ORDER_MARK}{text}") } else { text }
}

/// The same values as tables of their own, to be pasted.
///
/// # Errors
/// The values do not fit the procedure.
pub fn tables(file: &ProcedureFile, changes: &[Tuned]) -> anyhow::Result<String> {
    let mut whole: DocumentMut = file.text.parse().context("the procedure cannot be read again")?;
    let mut document = DocumentMut::new();
    for change in changes {
        write(&mut whole, file, change)?;
        let (path, key) = place(change.tunable)?;
        let mut written = path.iter().fold(whole.as_item(), |item, part| &item[part])[key].clone();
        if let Some(value) = written.as_value_mut() {
            value.decor_mut().clear();
        }
        table(&mut document, &path)?.insert(key, written);
    }
    Ok(document.to_string())
}

/// The tables a key stands in, from the outermost, and the key.
fn place(tunable: Tunable) -> anyhow::Result<(Vec<&'static str>, &'static str)> {
    Ok(match (tunable.key, tunable.rule.watches()) {
        (Key::Allowed | Key::Recommended | Key::Floor, Some((quantity, _))) => {
            (vec![quantity.table_name()], tunable.key.name())
        }
        (Key::Allowed | Key::Recommended | Key::Floor, None) => bail!("{tunable}: the rule has no range"),
        _ => (vec!["alarm", tunable.rule.name()], tunable.key.name()),
    })
}

fn table<'d>(document: &'d mut DocumentMut, path: &[&str]) -> anyhow::Result<&'d mut dyn TableLike> {
    let mut table: &mut dyn TableLike = document.as_table_mut();
    for (depth, part) in path.iter().enumerate() {
        let mut new = Table::new();
        // `[alarm]` itself holds nothing.
        new.set_implicit(depth + 1 < path.len());
        table = table
            .entry(part)
            .or_insert(Item::Table(new))
            .as_table_like_mut()
            .with_context(|| format!("{part} is no table"))?;
    }
    Ok(table)
}

fn write(document: &mut DocumentMut, file: &ProcedureFile, change: &Tuned) -> anyhow::Result<()> {
    let (path, key) = place(change.tunable)?;
    let is_inline = is_in_braces(document, &path);
    let table = table(document, &path)?;
    let number = written(change.tunable, change.value);
    let new = match change.tunable.key {
        Key::Allowed | Key::Recommended => range(file, change.tunable, table.get(key), number)?,
        _ => number.into(),
    };
    let old = table.get(key).and_then(Item::as_value).map(|value| value.decor().clone());
    let mut item = value(new);
    if let (Some(decor), Some(value)) = (old, item.as_value_mut()) {
        *value.decor_mut() = decor;
    }
    match table.get_mut(key) {
        Some(place) => *place = item,
        None => {
            table.insert(key, item);
        }
    }
    if is_inline {
        // Inside braces there is no place for a comment in TOML 1.0.
        return above(document, &path, &change.why);
    }
    let mut name = table.key_mut(key).context("it was written just now")?;
    let before = name.leaf_decor().prefix().and_then(RawString::as_str).unwrap_or_default().to_owned();
    name.leaf_decor_mut().set_prefix(comment(&change.why, &before));
    Ok(())
}

/// Does the table of a key, or one around it, stand in braces?
fn is_in_braces(document: &DocumentMut, path: &[&str]) -> bool {
    let tables = path.iter().scan(Some(document.as_item()), |item, part| {
        *item = item.and_then(|item| item.get(part));
        *item
    });
    tables.into_iter().any(Item::is_inline_table)
}

/// Puts a comment above the line of the braces in which a table stands.
fn above(document: &mut DocumentMut, path: &[&str], why: &str) -> anyhow::Result<()> {
    let mut table: &mut dyn TableLike = document.as_table_mut();
    for part in path {
        if table.get(part).is_some_and(Item::is_inline_table) {
            let mut name = table.key_mut(part).context("it was found just now")?;
            let before =
                name.leaf_decor().prefix().and_then(RawString::as_str).unwrap_or_default().to_owned();
            name.leaf_decor_mut().set_prefix(comment(why, &before));
            return Ok(());
        }
        table = table.get_mut(part).and_then(Item::as_table_like_mut).context("it was found just now")?;
    }
    Ok(())
}

/// `"0.5 s"`, to a millionth, as far as a setting goes.
fn written(tunable: Tunable, number: f64) -> String {
    format!("{} {}", (number * 1e6).round() / 1e6, tunable.unit())
}

/// A range with one end changed; the other as it is written, where it stands by itself.
fn range(
    file: &ProcedureFile,
    tunable: Tunable,
    old: Option<&Item>,
    number: String,
) -> anyhow::Result<Value> {
    let (quantity, side) = tunable.rule.watches().context("the rule has no range")?;
    if let Some(Value::Array(array)) = old.and_then(Item::as_value) {
        let mut array = array.clone();
        array.replace(usize::from(side == Side::High), number);
        return Ok(Value::Array(array));
    }
    let opposite = if side == Side::Low { Side::High } else { Side::Low };
    let other = quantity.rule(opposite).map(|rule| Tunable { rule, key: tunable.key });
    let other = other.and_then(|other| Some(written(other, other.value(&file.procedure)?)));
    Ok(match (side, other) {
        (Side::Low, None) => format!("at least {number}").into(),
        (Side::High, None) => format!("at most {number}").into(),
        (Side::Low, Some(high)) => Value::Array(Array::from_iter([number, high])),
        (Side::High, Some(low)) => Value::Array(Array::from_iter([low, number])),
    })
}

/// A comment above what stands before a key already.
fn comment(text: &str, before: &str) -> String {
    format!("{before}# {}\n", text.replace(['\n', '\r'], " "))
}

/// Does the text read as the values it was made for, and all others as they were?
fn check(file: &ProcedureFile, changes: &[Tuned], text: &str) -> anyhow::Result<()> {
    let read = ProcedureFile::parse(&file.file, text).context("the tuned procedure is not sound")?.procedure;
    let values: Vec<_> = changes.iter().map(|change| (change.tunable, change.value)).collect();
    let meant = with_values(&file.procedure, &values)?;
    if let Some(other) = Tunable::all().find(|tunable| tunable.value(&read) != tunable.value(&meant)) {
        bail!("{other} would not read as it was meant; nothing was written");
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "# A shop's own.\n[voltage] # invented\nrecommended = [\"30.5 V\", \"32.5 V\"]\n\
                        allowed = [\"29.5 V\", \"33.5 V\"] # common\nfloor = \"29 V\"\n\n[coolant_flow]\n\
                        allowed = \"at least 3 L/min\"\n\n[gas_flow]\nallowed = \"15 to 25 L/min\"\n\n\
                        [alarm.gas-low]\n# by hand\non_delay = \"500 ms\" # half a second\n";

    fn tuned(name: &str, value: f64) -> Tuned {
        Tuned { tunable: Tunable::parse(name).expect("a tunable"), value, why: format!("because of {name}") }
    }
    fn file() -> ProcedureFile {
        ProcedureFile::parse("x", TEXT).expect("it is sound")
    }

    #[test]
    fn every_kind_of_key_is_changed_in_its_place_and_the_rest_stays() {
        let changes = [
            tuned("gas-low.on_delay", 0.75),
            tuned("voltage-low.allowed", 29.75),
            tuned("transfer-low-voltage.floor", 29.25),
            tuned("coolant-low.allowed", 2.5),
            tuned("gas-high.allowed", 24.0),
            tuned("current-low.deadband", 5.0),
        ];
        let text = tuned_text(&file(), &changes, "tuned").expect("they fit");
        let expected = "# tuned\n# A shop's own.\n[voltage] # invented\nrecommended = [\"30.5 V\", \"32.5 V\"]\n\
            # because of voltage-low.allowed\nallowed = [\"29.75 V\", \"33.5 V\"] # common\n\
            # because of transfer-low-voltage.floor\nfloor = \"29.25 V\"\n\n[coolant_flow]\n\
            # because of coolant-low.allowed\nallowed = \"at least 2.5 L/min\"\n\n[gas_flow]\n\
            # because of gas-high.allowed\nallowed = [\"15 L/min\", \"24 L/min\"]\n\n\
            [alarm.gas-low]\n# by hand\n# because of gas-low.on_delay\non_delay = \"0.75 s\" # half a second\n\n\
            [alarm.current-low]\n# because of current-low.deadband\ndeadband = \"5 A\"\n";
        assert_eq!(text, expected);
        let pasted = tables(&file(), &changes[..2]).expect("they fit");
        assert!(pasted.contains("[alarm.gas-low]") && pasted.contains("on_delay = \"0.75 s\""), "{pasted}");
        assert!(pasted.contains("[voltage]") && pasted.contains("[\"29.75 V\", \"33.5 V\"]"), "{pasted}");
        assert!(!pasted.contains("recommended") && !pasted.contains("floor"), "{pasted}");
    }

    /// A comment in braces is no TOML 1.0.
    #[test]
    fn a_key_in_braces_has_its_comment_above_the_line() {
        let text = "[alarm]\ngas-low = { on_delay = \"1 s\" } # by hand\n";
        let file = ProcedureFile::parse("x", text).expect("it is sound");
        let text = tuned_text(&file, &[tuned("gas-low.on_delay", 2.0)], "tuned").expect("it fits");
        let expected = "# tuned\n[alarm]\n# because of gas-low.on_delay\n\
            gas-low = { on_delay = \"2 s\" } # by hand\n";
        assert_eq!(text, expected);
    }

    #[test]
    fn values_that_do_not_fit_are_refused() {
        let error = tuned_text(&file(), &[tuned("voltage-low.allowed", 31.0)], "tuned");
        assert!(error.is_err(), "the recommended range would reach outside");
    }
}
