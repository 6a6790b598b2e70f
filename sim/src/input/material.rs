//! The table `[material]` of a procedure: the steel of the joint, its bore, and what heat may do to it.
//!
//! Decides: what each key means, and that a steel is named or written out, not both.
//! Assumes: a composition is given in percent of mass, as on a mill certificate.
//! Never: judges a weld: nothing here is a limit of the monitor; `plan` works with it.

use super::document::Section;
use super::quantity::Dimension;
use crate::heat::Composition;
use crate::heat::steel::STEELS;

/// The steel of the joint.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Material {
    /// What it is made of.
    pub composition: Option<Composition>,
    /// What a composition that is written out lacks to count as one: then there is none.
    pub lacks: [Option<&'static str>; 3],
    /// What a composition that is written out says nothing of, and is taken as none.
    pub taken_as_none: [Option<&'static str>; 2],
    /// Diffusible hydrogen of the weld metal, mL in 100 g.
    pub hydrogen_ml_per_100_g: Option<f64>,
    /// Bore of the joint, mm.
    pub bore_mm: Option<f64>,
    /// The highest temperature that the coating of the bore stands, °C.
    pub coating_limit_c: Option<f64>,
}

impl Material {
    /// Reads its table, which is closed.
    pub(super) fn read(section: Section<'_>, outside_diameter_mm: Option<f64>) -> Self {
        let named = section.choice("steel", STEELS).map(|steel| steel.value);
        let is_written = section.has("carbon");
        let without = |key: &'static str| (is_written && !section.has(key)).then_some(key);
        let lacks = ["manganese", "chromium", "molybdenum"].map(without);
        let taken_as_none = ["copper", "nickel"].map(without);
        let written = composition(&section);
        if named.is_some() && written.is_some() {
            let problem = "the steel is named and its composition written out";
            section.fault(section.place(), problem, "`steel`, or `carbon` and the others, not both");
        }
        let hydrogen =
            section.quantity_within("hydrogen", Dimension::Hydrogen, 0.1..=100.0, "0.1 to 100 mL/100g");
        let limit = section.quantity_within(
            "coating_limit",
            Dimension::Temperature,
            50.0..=1000.0,
            "50 degC to 1000 degC",
        );
        let bore = section.quantity_within("bore", Dimension::Length, 1.0..=1000.0, "1 mm to 1000 mm");
        if let (Some(bore), Some(outside_mm)) = (&bore, outside_diameter_mm)
            && bore.value >= outside_mm
        {
            let problem = "the bore is not smaller than the outside diameter of the joint";
            section.fault(&bore.place, problem, "a bore below `outside_diameter`");
        }
        section.finish();
        Self {
            composition: named.or(written.filter(|_| lacks.iter().all(Option::is_none))),
            lacks,
            taken_as_none,
            hydrogen_ml_per_100_g: hydrogen.map(|hydrogen| hydrogen.value),
            bore_mm: bore.map(|bore| bore.value),
            coating_limit_c: limit.map(|limit| limit.value),
        }
    }
}

/// The composition, where one is written out; `carbon` must be there. Steel without the alloying parts of tool joints
/// would need hardly any preheat, so that it is not taken as whole where one of them is not said: see `lacks`.
fn composition(section: &Section<'_>) -> Option<Composition> {
    const OTHERS: [&str; 5] = ["manganese", "molybdenum", "chromium", "copper", "nickel"];
    let percent = |key| {
        let share = section.quantity_within(key, Dimension::Share, 0.0..=0.1, "0 % to 10 %")?;
        Some(100.0 * share.value)
    };
    let carbon = percent("carbon");
    let [manganese, molybdenum, chromium, copper, nickel] = OTHERS.map(|key| percent(key).unwrap_or(0.0));
    if OTHERS.into_iter().any(|key| section.has(key)) {
        section.require("carbon", "the share of carbon, such as \"0.37 %\"");
    }
    Some(Composition { carbon: carbon?, manganese, molybdenum, chromium, copper, nickel })
}

/// Coatings of the bore are harmed from here on, °C: common practice, no source (200 to 230).
pub const USUAL_COATING_LIMIT_C: f64 = 200.0;
