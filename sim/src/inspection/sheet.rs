//! The inspection file: what was found on finished bands, as an inspector writes it.
//!
//! Decides: the tables and keys of the file, and what is possible.
//! Assumes: angles count round from the tie-in, where the arc was struck, in the direction of travel.
//! Never: judges what was found.

use super::gauge;
use crate::input::diagnostic::InputErrors;
use crate::input::document::{Document, Section};
use crate::input::hash::sha256_hex;
use crate::input::inspection_limits::{Hardness, Look};
use crate::input::joint_field::{JointField, Stated};
use crate::input::joint_file::Claim;
use crate::input::quantity::Dimension;
use crate::input::source::Source;
use crate::input::text_file;
use crate::output::{named, printable};
use anyhow::Context as _;
use jiff::civil::Time;
use std::path::Path;

/// The end of the name of an inspection file beside its trace.
pub const ENDING: &str = ".inspection.toml";

/// A temperature, and when it was taken.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Taken {
    /// Temperature, degC.
    pub temperature_c: f64,
    /// Time of day.
    pub at: Option<Time>,
}

/// One band.
#[derive(Clone, Debug, PartialEq)]
pub struct InspectedBand {
    /// The band, from 1.
    pub band: u16,
    /// Where it was gauged, degrees round from the tie-in.
    pub at_deg: Vec<f64>,
    /// Heights there, mm.
    pub heights_mm: Vec<Option<f64>>,
    /// How far each height may be off as it was written, mm: half of its last digit.
    pub height_steps_mm: Vec<f64>,
    /// Widths there, mm.
    pub widths_mm: Vec<Option<f64>>,
    /// Hardness, wherever it was taken.
    pub hardness: Vec<Hardness>,
    /// What was found of [`Look::ALL`], as its place among the words.
    pub looks: [Option<usize>; Look::ALL.len()],
    /// What else there is to say.
    pub note: Option<String>,
}

/// What was found.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Inspection {
    /// Name of the file, as the user gave it.
    pub file: String,
    /// SHA-256 of its text, in hexadecimal.
    pub sha256: String,
    /// What it says of the joint: its serial, its diameter.
    pub claims: Vec<Claim>,
    /// Which joint of a log with several it is of, from 1.
    pub joint: Option<u16>,
    /// Who inspected.
    pub by: Option<String>,
    /// When.
    pub date: Option<String>,
    /// Outside diameter before the first band, mm.
    pub diameter_before_mm: Option<f64>,
    /// Outside diameter over the bands, mm.
    pub diameter_after_mm: Option<f64>,
    /// Before the first band.
    pub preheat: Option<Taken>,
    /// Before other bands.
    pub between: Vec<(u16, Taken)>,
    /// While the joint cooled: the earlier and the later.
    pub cooling: Option<[Taken; 2]>,
    /// The bands.
    pub bands: Vec<InspectedBand>,
}

impl Inspection {
    /// Reads a file.
    ///
    /// # Errors
    /// The file cannot be read, or [`InputErrors`].
    pub fn read(path: &Path) -> anyhow::Result<Self> {
        let name = named(path);
        let text = text_file::read(path).with_context(|| format!("cannot read inspection {name}"))?;
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
        let head = root.section("inspection");
        let plain = |key| head.text(key).map(|text| printable(text.value.trim()).into_owned());
        let (serial, by) = (plain("serial"), plain("by"));
        let date = read_date(&head);
        let joint = head.whole("joint", 1..1001).and_then(|joint| u16::try_from(joint.value).ok());
        head.finish();
        let diameter = root.section("diameter");
        let size = |key| length(&diameter, key, 10.0, 1500.0);
        let (diameter_before_mm, diameter_after_mm) = (size("before"), size("after"));
        diameter.finish();
        let before = root.section("preheat");
        let preheat = read_taken(&before, "temperature", "at");
        before.finish();
        let between = read_all_between(&root);
        let cooling = read_cooling(root.section("cooling"));
        let mut bands: Vec<InspectedBand> = Vec::new();
        for section in root.sections("band") {
            let place = section.place().clone();
            let Some(read) = read_band(section) else { continue };
            if bands.iter().any(|band| band.band == read.band) {
                root.fault(&place, format!("band {} is told twice", read.band), "each band once");
            }
            bands.push(read);
        }
        root.finish();
        document.finish()?;
        bands.sort_by_key(|band| band.band);
        let claim = |field, stated| Claim { field, stated, source: file.to_owned() };
        let serial = serial.filter(|serial| !serial.is_empty());
        let serial = serial.map(|serial| claim(JointField::Serial, Stated::Text(serial)));
        let diameter = diameter_before_mm.map(|mm| claim(JointField::OutsideDiameter, Stated::Size(mm)));
        Ok(Self {
            file: file.to_owned(),
            sha256: sha256_hex(text.as_bytes()),
            claims: serial.into_iter().chain(diameter).collect(),
            joint,
            by,
            date,
            diameter_before_mm,
            diameter_after_mm,
            preheat,
            between,
            cooling,
            bands,
        })
    }
    /// A band of it.
    pub fn band(&self, band: u16) -> Option<&InspectedBand> {
        self.bands.iter().find(|one| one.band == band)
    }
}

fn read_date(section: &Section<'_>) -> Option<String> {
    let text = section.text("date")?;
    let is_date =
        text.value.parse::<jiff::Timestamp>().is_ok() || text.value.parse::<jiff::civil::Date>().is_ok();
    if !is_date {
        let allowed = "such as \"2026-03-04\", or a time with its offset";
        section.fault(&text.place, format!("`{}` is no date", text.value), allowed);
    }
    is_date.then_some(text.value)
}

fn length(section: &Section<'_>, key: &'static str, low_mm: f64, high_mm: f64) -> Option<f64> {
    let allowed = format!("{low_mm} mm to {high_mm} mm");
    Some(section.quantity_within(key, Dimension::Length, low_mm..=high_mm, &allowed)?.value)
}

fn read_taken(section: &Section<'_>, temperature: &'static str, at: &'static str) -> Option<Taken> {
    let at = section.text(at).and_then(|text| {
        let time = time_of_day(&text.value);
        if time.is_none() {
            section.fault(&text.place, format!("`{}` is no time of day", text.value), "such as \"07:15\"");
        }
        time
    });
    let allowed = "-50 degC to 1000 degC";
    let read = section.quantity_within(temperature, Dimension::Temperature, -50.0..=1000.0, allowed)?;
    Some(Taken { temperature_c: read.value, at })
}

/// `07:15` or `7:15:30`.
pub fn time_of_day(text: &str) -> Option<Time> {
    ["%H:%M", "%H:%M:%S"].into_iter().find_map(|format| Time::strptime(format, text.trim()).ok())
}

/// Of each band once: of two temperatures nobody could say which one counts.
fn read_all_between(root: &Section<'_>) -> Vec<(u16, Taken)> {
    let mut all: Vec<(u16, Taken)> = Vec::new();
    for section in root.sections("between") {
        let place = section.place().clone();
        let Some(read) = read_between(section) else { continue };
        if all.iter().any(|(band, _)| *band == read.0) {
            root.fault(&place, format!("before band {} is told twice", read.0), "each band once");
        }
        all.push(read);
    }
    all
}

fn read_between(section: Section<'_>) -> Option<(u16, Taken)> {
    section.require("before_band", "the band that was laid next");
    section.require("temperature", "the temperature before that band");
    let band = section.whole("before_band", 1..1001);
    let taken = read_taken(&section, "temperature", "at");
    section.finish();
    Some((u16::try_from(band?.value).ok()?, taken?))
}

fn read_cooling(section: Section<'_>) -> Option<[Taken; 2]> {
    if section.is_present() {
        for key in ["from", "from_at", "to", "to_at"] {
            section.require(key, "two temperatures, each with its time: from, from_at, to, to_at");
        }
    }
    let ends = [read_taken(&section, "from", "from_at"), read_taken(&section, "to", "to_at")];
    section.finish();
    let [from, to] = ends;
    Some([from.filter(|taken| taken.at.is_some())?, to.filter(|taken| taken.at.is_some())?])
}

fn read_band(section: Section<'_>) -> Option<InspectedBand> {
    section.require("band", "the number of the band, from 1");
    let band = section.whole("band", 1..1001);
    let at_deg = gauge::places(&section);
    let (heights_mm, height_steps_mm) = gauge::sizes(&section, "height", at_deg.len(), 0.0, 30.0);
    let (widths_mm, _) = gauge::sizes(&section, "width", at_deg.len(), 1.0, 500.0);
    let hardness = section.texts("hardness").unwrap_or_default();
    let hardness = hardness.into_iter().filter_map(|text| {
        let found = Hardness::parse(&text.value);
        if found.is_none() {
            section.fault(&text.place, format!("`{}` is no hardness", text.value), Hardness::ALLOWED);
        }
        found
    });
    let hardness = hardness.collect();
    let looks = Look::ALL.map(|look| {
        let text = section.text(look.key())?;
        let rank = look.parse(&text.value);
        if rank.is_none() {
            section.fault(&text.place, format!("`{}` is not one of its choices", text.value), look.allowed());
        }
        rank
    });
    let note = section.text("note").map(|text| printable(&text.value).into_owned());
    section.finish();
    let band = u16::try_from(band?.value).ok()?;
    Some(InspectedBand { band, at_deg, heights_mm, height_steps_mm, widths_mm, hardness, looks, note })
}
