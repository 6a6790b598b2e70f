//! The procedure file: what a good band is, as a technician writes it.
//!
//! Decides: what the tables of a procedure file mean, and what stands where one is left out.
//! Assumes: nothing; whatever is wrong in the file is told, all of it.
//! Never: judges a weld.

use super::core_procedure::core_procedure;
use super::diagnostic::InputErrors;
use super::document::{Document, Section};
use super::gas_mixture::{GasMixture, MixtureError};
use super::hash::sha256_hex;
use super::inspection_limits::InspectionLimits;
use super::joint_field::{LEAST_DIAMETER_MM, MOST_DIAMETER_MM, SAME_DIAMETER};
use super::material::Material;
use super::parts::{Joint, OldBands, Rotation, Shielding, Wire, WireKind};
use super::place::{Place, read_places};
use super::quantity::{Dimension, UnitSystem, format};
use super::setting::{Setting, Subject};
use super::source::Source;
use crate::input::text_file;
use crate::output::named;
use crate::output::printable;
use anyhow::Context as _;
use bandward::procedure::{MOST_GROUPS, Polarity};
use bandward::{Procedure, Quantity};
use std::path::Path;

/// Under it the metal transfer of such wires changes, V. Common practice, no source.
const USUAL_FLOOR_V: f64 = 29.0;

/// A procedure as it was read from its file.
#[derive(Clone, Debug, PartialEq)]
pub struct ProcedureFile {
    /// Name of the file, as the user gave it.
    pub file: String,
    /// Its text.
    pub text: String,
    /// SHA-256 of its text, in hexadecimal, for traceability.
    pub sha256: String,
    /// What the procedure is called.
    pub name: Option<String>,
    /// Which revision of it this is.
    pub revision: Option<String>,
    /// The units it asks to be shown in.
    pub units: Option<UnitSystem>,
    /// For how long a setup holds before the weld, s, where the procedure says.
    pub setup_holds_s: Option<f64>,
    /// What the core runs on.
    pub procedure: Procedure,
    /// The tool joint.
    pub joint: Joint,
    /// Where its bands lie, a place for each group; empty where the procedure does not say.
    pub places: Vec<Place>,
    /// The steel of the joint and what heat may do to it.
    pub material: Material,
    /// The wire.
    pub wire: Wire,
    /// The shielding gas.
    pub gas: Shielding,
    /// What is asked of finished bands besides their height.
    pub inspection: InspectionLimits,
    /// Every setting that is given.
    pub settings: Vec<Setting>,
}

impl ProcedureFile {
    /// Reads a file.
    ///
    /// # Errors
    /// The file cannot be read, or [`InputErrors`].
    pub fn read(path: &Path) -> anyhow::Result<Self> {
        let name = named(path);
        let text = text_file::read(path).with_context(|| format!("cannot read procedure {name}"))?;
        Ok(Self::parse(&name, &text)?)
    }
    /// Reads the text of a file; `file` is its name in messages.
    ///
    /// # Errors
    /// All faults in the text.
    pub fn parse(file: &str, text: &str) -> Result<Self, InputErrors> {
        let source = Source::new(file, text);
        let document = Document::new(&source);
        let read = read_document(&document);
        document.finish()?;
        let (file, text, sha256) = (file.to_owned(), text.to_owned(), sha256_hex(text.as_bytes()));
        Ok(Self { file, text, sha256, ..read })
    }
    /// What it is called, for people.
    pub fn title(&self) -> String {
        let name = self.name.as_ref().unwrap_or(&self.file);
        self.revision.as_ref().map_or(name.clone(), |revision| format!("{name}, revision {revision}"))
    }
    /// What it is called where a line is all there is; that it has no voltage floor, or a low one, stands first.
    pub fn title_with_warning(&self) -> String {
        match self.voltage_floor() {
            None => format!("NO VOLTAGE FLOOR: {}", self.title()),
            Some(floor) if floor < USUAL_FLOOR_V => format!("LOW VOLTAGE FLOOR, {floor} V: {}", self.title()),
            Some(_) => self.title(),
        }
    }
    /// Where preheat, temperature between bands and cooling are read, in words, where the procedure says so: nothing is
    /// proven of another place.
    pub fn temperature_place(&self, system: UnitSystem) -> Option<String> {
        let ahead_mm = self.joint.sensor_ahead_mm?;
        let show = |value_mm: f64| format(value_mm, Dimension::Length, system);
        let side = if ahead_mm < 0.0 { "behind" } else { "ahead of" };
        let off_mm = self.joint.band_width_mm.map(|width_mm| ahead_mm.abs() - 0.5 * width_mm);
        let of_band = match off_mm {
            Some(off_mm) if off_mm <= 0.0 => ", on the band itself".to_owned(),
            Some(off_mm) => format!(", {} beyond the edge of the band", show(off_mm)),
            None => String::new(),
        };
        Some(format!("temperature of the joint read {} {side} the torch{of_band}", show(ahead_mm.abs())))
    }
    fn voltage_floor(&self) -> Option<f64> {
        self.setting(Subject::Judged(Quantity::Voltage)).and_then(|voltage| voltage.floor)
    }
    /// What it is called, and the hash that tells one text from another, for machines.
    pub fn identity(&self) -> serde_json::Value {
        serde_json::json!({
            "file": self.file, "name": self.name, "revision": self.revision, "sha256": self.sha256,
        })
    }
    /// How much wider a band is than the weave that lays it, mm.
    pub fn run_out_mm(&self) -> f64 {
        let weave = self.setting(Subject::Judged(Quantity::WeaveWidth)).and_then(Setting::aim);
        self.joint.run_out_mm(weave)
    }
    /// A setting, where it is given, as it is on a joint of `diameter_mm`: what goes with the diameter is
    /// scaled where the procedure says which diameter it is for, and another one is on the machine.
    pub fn setting_on(&self, subject: Subject, diameter_mm: Option<f64>) -> Option<Setting> {
        let setting = self.setting(subject)?;
        let factor = diameter_mm.zip(self.joint.outside_diameter_mm).map(|(this, own)| this / own);
        match factor.filter(|factor| (factor - 1.0).abs() > SAME_DIAMETER) {
            Some(factor) if subject.goes_with_diameter() => Some(setting.scaled(factor)),
            _ => Some(*setting),
        }
    }
    /// What is wrong with the procedure itself and must be said wherever anything is judged by it.
    pub fn warnings(&self) -> Vec<String> {
        let mut warnings = Vec::new();
        match self.voltage_floor() {
            None => warnings.push(
                "NO VOLTAGE FLOOR in the procedure: nothing stops an arc whose metal transfer has changed. 29 V \
                 is common practice for such wires (no source); the shop decides"
                    .to_owned(),
            ),
            Some(floor) if floor < USUAL_FLOOR_V => warnings.push(format!(
                "LOW VOLTAGE FLOOR in the procedure: {floor} V. Under 29 V the metal transfer itself changes: common \
                 practice for such wires (no source); the shop decides"
            )),
            Some(_) => {}
        }
        if let Some((between_c, preheat_c)) = self.excluded() {
            warnings.push(format!(
                "[preheat] AND [interpass] EXCLUDE EACH OTHER in the procedure: at most {between_c:.0} degC between \
                 bands, at least {preheat_c:.0} degC before the first: no joint satisfies both; ask the procedure's \
                 owner"
            ));
        }
        if let Some((gas, drawback)) = self.gas.mixture.and_then(|gas| Some((gas, gas.drawback()?))) {
            warnings.push(format!(
                "the procedure itself names {gas}, which does not do for such wires (common practice, no source): \
                 {drawback}"
            ));
        }
        warnings
    }
    /// The highest temperature between bands and the lowest preheat, °C, where the first is below the second.
    pub fn excluded(&self) -> Option<(f64, f64)> {
        let range = |quantity| {
            let setting = self.setting(Subject::Judged(quantity))?;
            setting.allowed.or(setting.recommended)
        };
        let between_c = range(Quantity::Interpass)?.high?;
        let preheat_c = range(Quantity::Preheat)?.low?;
        (between_c < preheat_c).then_some((between_c, preheat_c))
    }
    /// A setting, where it is given.
    pub fn setting(&self, subject: Subject) -> Option<&Setting> {
        self.settings.iter().find(|setting| setting.subject == subject)
    }
}

fn read_document(document: &Document<'_>) -> ProcedureFile {
    let root = document.root();
    let header = root.section("procedure");
    let (name, revision) = (plain_text(&header, "name"), plain_text(&header, "revision"));
    let units = header.choice("units", UnitSystem::CHOICES).map(|units| units.value);
    let setup_holds_s = header
        .quantity_within("setup_holds", Dimension::Duration, 60.0..=3.2e7, "1 min to a year, in s, min or h")
        .map(|time| time.value);
    header.finish();
    let joint = read_joint(root.section("joint"));
    let places = read_places(&root, &joint);
    let material = Material::read(root.section("material"), joint.outside_diameter_mm);
    let wire = read_wire(root.section("wire"));
    let gas = read_gas(root.section("gas"));
    let inspection = InspectionLimits::read(root.section("inspection"));
    let settings: Vec<_> = Subject::all()
        .filter_map(|subject| {
            Setting::read(root.section(subject.table_name()), subject, units.unwrap_or_default())
        })
        .collect();
    let procedure = core_procedure(&root, &joint, &wire, &settings);
    root.finish();
    let [file, text, sha256] = [const { String::new() }; 3];
    ProcedureFile {
        file,
        text,
        sha256,
        name,
        revision,
        units,
        setup_holds_s,
        procedure,
        joint,
        places,
        material,
        wire,
        gas,
        inspection,
        settings,
    }
}

fn plain_text(section: &Section<'_>, key: &'static str) -> Option<String> {
    section.text(key).map(|text| printable(&text.value).into_owned())
}

fn size(section: &Section<'_>, key: &'static str, largest_mm: f64) -> Option<f64> {
    let allowed = format!("0.01 mm to {largest_mm} mm");
    let size = section.quantity_within(key, Dimension::Length, 0.01..=largest_mm, &allowed)?;
    Some(size.value)
}

fn read_joint(section: Section<'_>) -> Joint {
    let rotations = [("clockwise", Rotation::Clockwise), ("counter-clockwise", Rotation::CounterClockwise)];
    let joint = Joint {
        outside_diameter_mm: section
            .quantity_within(
                "outside_diameter",
                Dimension::Length,
                LEAST_DIAMETER_MM..=MOST_DIAMETER_MM,
                &format!("{LEAST_DIAMETER_MM} mm to {MOST_DIAMETER_MM} mm"),
            )
            .map(|size| size.value),
        bands: section.whole("bands", 1..101).map(|bands| bands.value as u32),
        groups: read_groups(&section),
        ends_with_carriage_beyond_mm: size(&section, "ends_with_carriage_beyond", 10_000.0),
        ends_with_arc_off_s: section
            .quantity_within("ends_with_arc_off", Dimension::Duration, 5.0..=4000.0, "5 s to 4000 s")
            .map(|time| time.value),
        rotation: section.choice("rotation", &rotations).map(|rotation| rotation.value),
        band_width_mm: size(&section, "band_width", 500.0),
        start_stagger_deg: section
            .quantity_within("start_stagger", Dimension::Angle, 0.0..=359.0, "0 deg to 359 deg")
            .map(|angle| angle.value),
        over_old_bands: section.choice("over_old_bands", OldBands::CHOICES).map(|rule| rule.value),
        sensor_ahead_mm: section
            .quantity_within("sensor_ahead", Dimension::Length, -500.0..=500.0, "-500 mm to 500 mm")
            .map(|distance| distance.value),
    };
    section.finish();
    joint
}

/// `groups = [2, 1]`: two bands in one place, one in another; together as many as `bands`.
fn read_groups(section: &Section<'_>) -> [u8; MOST_GROUPS] {
    let mut groups = [0; MOST_GROUPS];
    let Some(list) = section.wholes("groups", 1..101) else { return groups };
    if list.len() > MOST_GROUPS {
        let problem = format!("{} groups are too many", list.len());
        section.fault(&list[MOST_GROUPS].place, problem, format!("at most {MOST_GROUPS} groups"));
    }
    for (slot, group) in groups.iter_mut().zip(&list) {
        *slot = group.value as u8;
    }
    groups
}

fn read_wire(section: Section<'_>) -> Wire {
    let kinds = [
        ("solid", WireKind::Solid),
        ("metal-cored", WireKind::MetalCored),
        ("flux-cored", WireKind::FluxCored),
    ];
    let poles = [("DCEP", Polarity::ElectrodePositive), ("DCEN", Polarity::ElectrodeNegative)];
    let efficiency =
        section.quantity_within("deposition_efficiency", Dimension::Share, 0.001..=1.0, "0.1 % to 100 %");
    let fill = section.quantity_within("fill", Dimension::Share, 0.1..=1.0, "10 % to 100 %");
    let default = f64::from(Procedure::new().geometry.deposition_efficiency_milli) / 1000.0;
    let wire = Wire {
        diameter_mm: size(&section, "diameter", 10.0),
        kind: section.choice("kind", &kinds).map(|kind| kind.value),
        polarity: section.choice("polarity", &poles).map(|pole| pole.value),
        deposition_efficiency: efficiency.map_or(default, |share| share.value),
        fill: fill.map(|share| share.value),
    };
    section.finish();
    wire
}

fn read_gas(section: Section<'_>) -> Shielding {
    let mixture = section.text("mixture").and_then(|text| match GasMixture::parse(&text.value) {
        Ok(mixture) => Some(mixture),
        Err(error) => {
            section.fault(&text.place, error.to_string(), MixtureError::ALLOWED);
            None
        }
    });
    let gas = Shielding { mixture, nozzle_bore_mm: size(&section, "nozzle_bore", 100.0) };
    section.finish();
    gas
}

#[cfg(test)]
mod tests {
    use super::super::bounds::Bounds;
    use super::*;
    use bandward::procedure::Range;

    fn demo() -> ProcedureFile {
        let text = include_str!("../../demo/procedure.toml");
        ProcedureFile::parse("demo", text).unwrap_or_else(|errors| panic!("{errors}"))
    }

    /// Half of a band 25 mm wide is 12.5 mm: 60 mm ahead is 47.5 mm beyond its edge.
    #[test]
    fn the_place_of_the_thermometer_is_told_where_it_is_given() {
        let told = |ahead_mm: Option<f64>| {
            let mut file = demo();
            (file.joint.sensor_ahead_mm, file.joint.band_width_mm) = (ahead_mm, Some(25.0));
            file.temperature_place(UnitSystem::Metric)
        };
        assert_eq!(told(None), None);
        for (ahead_mm, words) in [
            (60.0, "60 mm ahead of the torch, 47.5 mm beyond the edge of the band"),
            (-60.0, "60 mm behind the torch, 47.5 mm beyond the edge of the band"),
            (12.0, "12 mm ahead of the torch, on the band itself"),
        ] {
            assert_eq!(told(Some(ahead_mm)), Some(format!("temperature of the joint read {words}")));
        }
    }

    #[test]
    fn the_demo_gives_every_setting_a_recommended_and_an_allowed_range() {
        let demo = demo();
        // No trace of one joint goes on until it is cool.
        for subject in Subject::all().filter(|subject| *subject != Subject::Judged(Quantity::Cooling)) {
            let setting = demo.setting(subject).unwrap_or_else(|| panic!("{subject:?}"));
            assert!(setting.recommended.is_some() && setting.allowed.is_some(), "{subject:?}");
        }
        assert_eq!(demo.procedure.check(), Ok(()));
        assert_eq!(demo.procedure.polarity, Some(Polarity::ElectrodePositive));
        let voltage = demo.procedure.limits(Quantity::Voltage).expect("given");
        assert_eq!(voltage.floor, Some(29 * 4096));
        assert_eq!(voltage.allowed, Some(Range { low: 59 * 2048, high: 67 * 2048 }));
        let coolant = demo.procedure.limits(Quantity::CoolantFlow).expect("given");
        assert_eq!(coolant.allowed, Some(Range { low: 3 * 4096, high: i32::MAX }));
    }

    /// Facts of the trade: 2 min a turn on 127 mm is the benchmark and smaller joints turn faster in
    /// proportion; a band is 3/32 to 1/8 in high; 60 to 100 weave cycles a minute; 35 ft3/h of gas with
    /// a 3/4 in nozzle (common practice, no source).
    #[test]
    fn the_demo_agrees_with_the_trade() {
        let demo = demo();
        let aim = |subject| demo.setting(subject).and_then(Setting::aim).expect("given");
        let turn_time_s = aim(Subject::Judged(Quantity::TurnTime));
        let diameter_mm = demo.joint.outside_diameter_mm.expect("given");
        assert!((turn_time_s - 120.0 * diameter_mm / 127.0).abs() < 0.01);
        let wire_area_mm2 = std::f64::consts::PI / 4.0 * demo.wire.diameter_mm.expect("given").powi(2);
        let surface_speed = std::f64::consts::PI * diameter_mm / turn_time_s;
        let allowed =
            demo.setting(Subject::Judged(Quantity::WireFeed)).and_then(|feed| feed.allowed).expect("given");
        for feed in allowed.ends() {
            let area_mm2 = feed / 60.0 * wire_area_mm2 * demo.wire.deposition_efficiency / surface_speed;
            let height_mm = area_mm2 / demo.joint.band_width_mm.expect("given");
            assert!((25.4 * 3.0 / 32.0..=25.4 / 8.0).contains(&height_mm), "{height_mm} mm");
        }
        let weave = demo.setting(Subject::Judged(Quantity::WeaveRate)).and_then(|rate| rate.allowed);
        assert_eq!(weave, Some(Bounds::between(60.0, 100.0)));
        let gas = demo.setting(Subject::Judged(Quantity::GasFlow)).and_then(|flow| flow.recommended);
        assert!(gas.is_some_and(|flow| flow.contains(16.518_160_512)));
    }
}
