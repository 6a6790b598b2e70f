//! The setup file: what was measured before the arc, and who signed it off.
//!
//! Decides: what the tables of a setup file mean.
//! Assumes: nothing; whatever is wrong in the file is told, all of it.
//! Never: judges a setting.

use super::item::{Item, Measured};
use crate::input::diagnostic::InputErrors;
use crate::input::document::{Document, Section};
use crate::input::hash::sha256_hex;
use crate::input::joint_field::{SAME_DIAMETER, instant};
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::UnitSystem;
use crate::input::source::Source;
use crate::input::text_file;
use crate::output::named;
use crate::output::printable;
use anyhow::Context as _;
use jiff::Timestamp;
use std::fmt::Write as _;
use std::path::Path;

/// One thing that was measured.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// What it is.
    pub item: Item,
    /// What was found.
    pub value: Measured,
    /// As it was written.
    pub written: String,
}

/// Who signed a setup off, and on what.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Signature {
    /// Initials.
    pub initials: String,
    /// When: RFC 3339.
    pub time: String,
    /// SHA-256 of the procedure it was compared with, in hexadecimal.
    pub procedure_sha256: String,
    /// Was everything that procedure limits measured, and nothing outside it?
    pub is_within_procedure: bool,
    /// What it limits and nobody had measured.
    pub not_measured: Vec<String>,
}

/// A setup as it was read from its file.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SetupSheet {
    /// Name of the file, as the user gave it; empty for one just asked for.
    pub file: String,
    /// SHA-256 of its text, in hexadecimal; empty for one just asked for.
    pub sha256: String,
    /// Which joint it is for.
    pub joint: Option<String>,
    /// What was measured.
    pub entries: Vec<Entry>,
    /// Who signed it off.
    pub signature: Option<Signature>,
    /// SHA-256 of the procedure that it was compared with, where that is known.
    pub procedure_sha256: Option<String>,
    /// What was taken over from the last joint, and not measured on this one.
    pub carried: Vec<Item>,
    /// When a person said that what was carried still stands on this joint: RFC 3339.
    pub carried_confirmed: Option<String>,
    /// When the oldest of what was measured was measured: RFC 3339.
    pub measured_since: Option<String>,
    /// Diameter of the last joint, mm, where something is carried from it.
    pub last_diameter_mm: Option<f64>,
}

/// So long a setting is carried from joint to joint before it is measured anew, h: a shift (common practice, no source).
const CARRIED_H: i64 = 8;

/// What is set to the diameter of the joint.
const OF_DIAMETER: [Item; 5] =
    [Item::STICK_OUT, Item::TORCH_ANGLE, Item::TorchSide, Item::TORCH_OFFSET, Item::TURN_TIME];
/// What is set to the procedure, besides that. What the machine is fitted with stays.
const OF_PROCEDURE: [Item; 8] = [
    Item::Rotation,
    Item::TIP_RECESS,
    Item::WEAVE_WIDTH,
    Item::WEAVE_RATE,
    Item::STEP_OVER,
    Item::WIRE_FEED,
    Item::CURRENT,
    Item::VOLTAGE,
];

impl SetupSheet {
    /// Reads a file.
    ///
    /// # Errors
    /// The file cannot be read, or [`InputErrors`].
    pub fn read(path: &Path) -> anyhow::Result<Self> {
        let name = named(path);
        let text = text_file::read(path).with_context(|| format!("cannot read setup {name}"))?;
        Ok(Self::parse(&name, &text)?)
    }
    /// Reads the text of a file; `file` is its name in messages.
    ///
    /// # Errors
    /// All faults in the text.
    pub fn parse(file: &str, text: &str) -> Result<Self, InputErrors> {
        let source = Source::new(file, text);
        let document = Document::new(&source);
        let root = document.root();
        let header = root.section("setup");
        let joint = header.text("joint").map(|joint| printable(&joint.value).into_owned());
        let procedure_sha256 = hash(&header);
        let carried = read_carried(&header);
        let carried_confirmed = time(&header, "from_last_confirmed");
        let measured_since = time(&header, "measured_since");
        header.finish();
        root.require("measured", "a table [measured] with what was measured");
        let entries = read_entries(root.section("measured"));
        let signature = read_signature(root.section("signed"));
        root.finish();
        document.finish()?;
        let (file, sha256) = (file.to_owned(), sha256_hex(text.as_bytes()));
        Ok(Self {
            file,
            sha256,
            joint,
            entries,
            signature,
            procedure_sha256,
            carried,
            carried_confirmed,
            measured_since,
            last_diameter_mm: None,
        })
    }
    /// Puts what was measured in its place, instead of what stood there; a sign-off is void then.
    pub fn put(&mut self, entry: Entry) {
        self.signature = None;
        self.carried.retain(|item| *item != entry.item);
        self.entries.retain(|other| other.item != entry.item);
        self.entries.push(entry);
        let place = |item: Item| Item::all().position(|other| other == item);
        self.entries.sort_by_key(|entry| place(entry.item));
    }
    /// Puts a size that was worked out, in the house unit, in its place.
    pub fn put_size(&mut self, item: Item, size: f64) {
        let value = Measured::Size(size);
        self.put(Entry { item, value, written: item.show(value, UnitSystem::Metric) });
    }
    /// What still holds for the next joint on the same machine: not what belongs to a joint, nor what must be
    /// looked at before every arc, nor what was set to another procedure, nor anything that was measured more than
    /// a working shift ago. All of it is marked as carried, and nobody has confirmed it yet.
    #[must_use]
    pub fn for_next_joint(mut self, procedure: &ProcedureFile, now: Timestamp) -> Self {
        let last_diameter_mm = self.size(Item::OutsideDiameter);
        let signed_at = self.signature.as_ref().map(|signature| signature.time.clone());
        let measured_since = self.measured_since.take().or(signed_at);
        let since = measured_since.as_deref().and_then(instant);
        if since.is_some_and(|since| now.duration_since(since).as_hours() >= CARRIED_H) {
            return Self::default();
        }
        let of_signature = self.signature.map(|signature| signature.procedure_sha256);
        let last = self.procedure_sha256.or(of_signature);
        let is_same = last.is_some_and(|last| last.eq_ignore_ascii_case(&procedure.sha256));
        let is_of_joint = |item: Item| {
            let is_on_it = matches!(item, Item::OutsideDiameter | Item::OldBand | Item::OldBandHeight);
            let is_gas = matches!(item, Item::GasMixture | Item::GAS_FLOW);
            let is_water = matches!(item, Item::CoolantBeforeArc | Item::COOLANT_FLOW);
            is_on_it || is_gas || is_water || item == Item::PREHEAT
        };
        let is_of_procedure = |item: Item| OF_DIAMETER.contains(&item) || OF_PROCEDURE.contains(&item);
        self.entries.retain(|entry| !is_of_joint(entry.item) && (is_same || !is_of_procedure(entry.item)));
        let carried = self.entries.iter().map(|entry| entry.item).collect();
        Self { entries: self.entries, carried, measured_since, last_diameter_mm, ..Self::default() }
    }
    /// Is a setting carried, and nobody has confirmed it on this joint?
    pub fn is_unconfirmed(&self, item: Item) -> bool {
        self.carried_confirmed.is_none() && self.carried.contains(&item)
    }
    /// Drops what was carried from a joint of another diameter and is set to that; what was dropped.
    pub fn drop_of_other_diameter(&mut self) -> Vec<Item> {
        let diameters = self.size(Item::OutsideDiameter).zip(self.last_diameter_mm);
        if diameters.is_some_and(|(now_mm, last_mm)| (now_mm / last_mm - 1.0).abs() <= SAME_DIAMETER) {
            return Vec::new();
        }
        let (dropped, carried) = self.carried.iter().partition(|item| OF_DIAMETER.contains(item));
        self.carried = carried;
        self.entries.retain(|entry| !dropped.contains(&entry.item));
        dropped
    }
    /// What was measured of an item.
    pub fn value(&self, item: Item) -> Option<Measured> {
        self.entries.iter().find(|entry| entry.item == item).map(|entry| entry.value)
    }
    /// What was measured of an item that has a size, in the house unit.
    pub fn size(&self, item: Item) -> Option<f64> {
        match self.value(item) {
            Some(Measured::Size(size)) => Some(size),
            _ => None,
        }
    }
    /// The word that was chosen for an item that has words.
    pub fn word(&self, item: Item) -> Option<&'static str> {
        match self.value(item) {
            Some(Measured::Word(word)) => Some(word),
            _ => None,
        }
    }
    /// The text of a file that [`SetupSheet::parse`] reads back.
    pub fn to_text(&self) -> String {
        let mut text = String::from("# A setup before the arc; written by `bandward setup`.\n[setup]\n");
        let mut pair = |key: &str, value: &str| {
            // TOML's own quoting.
            let _ = writeln!(text, "{key} = {}", toml::Value::String(value.to_owned()));
        };
        if let Some(joint) = &self.joint {
            pair("joint", joint);
        }
        if let Some(hash) = &self.procedure_sha256 {
            pair("procedure_sha256", hash);
        }
        if !self.carried.is_empty() {
            let keys: Vec<_> = self.carried.iter().map(|item| item.key()).collect();
            let _ = writeln!(text, "from_last = {keys:?}");
        }
        let times =
            [("from_last_confirmed", &self.carried_confirmed), ("measured_since", &self.measured_since)];
        for (key, time) in times.into_iter().filter_map(|(key, time)| Some((key, time.as_ref()?))) {
            let _ = writeln!(text, "{key} = {}", toml::Value::String(time.clone()));
        }
        text.push_str("\n[measured]\n");
        for entry in &self.entries {
            let _ = writeln!(text, "{} = {}", entry.item.key(), toml::Value::String(entry.written.clone()));
        }
        if let Some(signature) = &self.signature {
            let quoted = |text: &str| toml::Value::String(text.to_owned());
            let _ = write!(
                text,
                "\n[signed]\ninitials = {}\ntime = {}\nprocedure_sha256 = {}\nwithin_procedure = {}\n",
                quoted(&signature.initials),
                quoted(&signature.time),
                quoted(&signature.procedure_sha256),
                signature.is_within_procedure,
            );
            if !signature.not_measured.is_empty() {
                let _ = writeln!(text, "not_measured = {:?}", signature.not_measured);
            }
        }
        text
    }
}

fn read_entries(section: Section<'_>) -> Vec<Entry> {
    let read = |item: Item| {
        let text = section.value(item.key(), &item.allowed(), |value| value.as_str().map(str::to_owned))?;
        match item.parse(&text.value) {
            Ok(value) => Some(Entry { item, value, written: text.value }),
            Err(refusal) => {
                section.fault(&text.place, refusal.problem, refusal.allowed);
                None
            }
        }
    };
    let entries = Item::all().filter_map(read).collect();
    section.finish();
    entries
}

/// Initials: one to eight letters, digits, points or hyphens.
///
/// # Errors
/// Says what is allowed.
pub fn initials(text: &str) -> Result<String, String> {
    let is_plain = |character: char| character.is_alphanumeric() || ".-".contains(character);
    let is_sound = (1..=8).contains(&text.chars().count()) && text.chars().all(is_plain);
    if is_sound { Ok(text.to_owned()) } else { Err(INITIALS.to_owned()) }
}

const INITIALS: &str = "one to eight letters, digits, points or hyphens";

/// The hash of the procedure, in `[setup]`.
fn hash(section: &Section<'_>) -> Option<String> {
    let hash = section.text("procedure_sha256")?;
    if is_hash(&hash.value) {
        return Some(hash.value);
    }
    section.fault(&hash.place, format!("invalid value `{}`", hash.value), HASH);
    None
}

/// The settings that were carried from the last joint, in `[setup]`.
fn read_carried(section: &Section<'_>) -> Vec<Item> {
    let carried = section.texts("from_last").unwrap_or_default().into_iter().filter_map(|key| {
        let item = Item::all().find(|item| item.key() == key.value);
        if item.is_none() {
            let allowed = "keys of [measured], such as \"stick_out\"";
            section.fault(&key.place, format!("`{}` is no setting", key.value), allowed);
        }
        item
    });
    carried.collect()
}

/// A time, in `[setup]`.
fn time(section: &Section<'_>, key: &'static str) -> Option<String> {
    let time = section.text(key)?;
    if instant(&time.value).is_some() {
        return Some(time.value);
    }
    section.fault(&time.place, format!("invalid value `{}`", time.value), TIME);
    None
}

const TIME: &str = "a time with its offset: such as \"2026-03-01T07:30:00+01:00\"";
const HASH: &str = "64 hexadecimal digits";

fn is_hash(text: &str) -> bool {
    text.len() == 64 && text.bytes().all(|byte| byte.is_ascii_hexdigit())
}

fn read_signature(section: Section<'_>) -> Option<Signature> {
    if !section.is_present() {
        return None;
    }
    for key in ["initials", "time", "procedure_sha256", "within_procedure"] {
        section.require(key, "a sign-off has initials, time, procedure_sha256 and within_procedure");
    }
    let checked = |key, is_sound: fn(&str) -> bool, allowed: &str| {
        let text = section.text(key)?;
        if is_sound(&text.value) {
            return Some(text.value);
        }
        section.fault(&text.place, format!("invalid value `{}`", text.value), allowed);
        None
    };
    let name = checked("initials", |text| initials(text).is_ok(), INITIALS);
    let time = checked("time", |text| instant(text).is_some(), TIME);
    let hash = checked("procedure_sha256", is_hash, HASH);
    let within = section.flag("within_procedure").map(|flag| flag.value);
    let missing = section.texts("not_measured").unwrap_or_default();
    section.finish();
    Some(Signature {
        initials: name?,
        time: time?,
        procedure_sha256: hash?,
        is_within_procedure: within?,
        not_measured: missing.into_iter().map(|text| text.value).collect(),
    })
}
