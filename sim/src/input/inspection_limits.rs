//! What a procedure asks of finished bands besides their height: its table `[inspection]`.
//!
//! Decides: the keys, what may be found by eye, and from which finding on it is worse than allowed.
//! Assumes: hardness is written in one scale; no scale is converted into another.
//! Never: judges a band.

use super::bounds::{Bounds, Extent};
use super::document::Section;
use super::quantity::Dimension;

/// What is looked for by eye, or with a penetrant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Look {
    /// Pores.
    Porosity,
    /// Cracks.
    Cracks,
    /// How the band is bonded, and its edges.
    Edges,
}

impl Look {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Porosity, Self::Cracks, Self::Edges];

    /// Its key.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Porosity => "porosity",
            Self::Cracks => "cracks",
            Self::Edges => "edges",
        }
    }
    /// What may be found, the best first; the later, the worse. Common practice, no source.
    pub const fn words(self) -> &'static [&'static str] {
        match self {
            Self::Porosity => &["none", "scattered", "cluster"],
            Self::Cracks => &["none", "hairline", "open"],
            Self::Edges => &["sound", "undercut", "cold lap", "unbonded"],
        }
    }
    /// Reads a word, as its place among the words.
    pub fn parse(self, text: &str) -> Option<usize> {
        self.words().iter().position(|word| word.eq_ignore_ascii_case(text.trim()))
    }
    /// What may be written.
    pub fn allowed(self) -> String {
        self.words().iter().map(|word| format!("{word:?}")).collect::<Vec<_>>().join(", ")
    }
}

/// A scale of hardness.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scale {
    /// Rockwell C.
    RockwellC,
    /// Vickers.
    Vickers,
}

/// A hardness, as written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hardness {
    /// The number.
    pub number: f64,
    /// Its scale.
    pub scale: Scale,
}

impl Hardness {
    /// What may be written.
    pub const ALLOWED: &'static str =
        "a number and its scale, such as \"58 HRC\" (20 to 70) or \"620 HV\" (100 to 2000)";

    /// Reads `58 HRC`, `620 HV` or `620 HV10`.
    pub fn parse(text: &str) -> Option<Self> {
        let text = text.trim();
        let at = text.find(|character: char| character.is_alphabetic())?;
        let (number, scale) = (text[..at].trim().parse::<f64>().ok()?, text[at..].to_uppercase());
        let is_load = |rest: &str| rest.bytes().all(|byte| byte.is_ascii_digit());
        let (scale, range) = match scale.as_str() {
            "HRC" => (Scale::RockwellC, 20.0..=70.0),
            other if other.strip_prefix("HV").is_some_and(is_load) => (Scale::Vickers, 100.0..=2000.0),
            _ => return None,
        };
        range.contains(&number).then_some(Self { number, scale })
    }
    /// As people read it.
    pub fn show(self) -> String {
        let scale = match self.scale {
            Scale::RockwellC => "HRC",
            Scale::Vickers => "HV",
        };
        format!("{} {scale}", self.number)
    }
}

/// What a procedure asks of finished bands.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct InspectionLimits {
    /// Width of a band, mm.
    pub width: Option<Bounds>,
    /// Outside diameter over the bands, mm.
    pub diameter_after: Option<Bounds>,
    /// No softer than this.
    pub hardness_low: Option<Hardness>,
    /// No harder than this.
    pub hardness_high: Option<Hardness>,
    /// The worst that is allowed of each of [`Look::ALL`].
    pub worst: [Option<usize>; Look::ALL.len()],
}

impl InspectionLimits {
    /// Does it limit the hardness?
    pub fn has_hardness(&self) -> bool {
        self.hardness_low.is_some() || self.hardness_high.is_some()
    }
    /// Reads the table.
    pub(super) fn read(section: Section<'_>) -> Self {
        let length = |key: &'static str| {
            let extent = section.extent(key, Dimension::Length)?;
            let sound = match extent.value {
                Extent::Range(bounds)
                    if !bounds.is_reversed() && bounds.ends().all(|end| (0.01..=1500.0).contains(&end)) =>
                {
                    Some(bounds)
                }
                _ => None,
            };
            if sound.is_none() {
                section.fault(
                    &extent.place,
                    "this is no range",
                    "[\"25 mm\", \"28 mm\"] or \"at least 25 mm\"",
                );
            }
            sound
        };
        let hardness = |key: &'static str| {
            let text = section.text(key)?;
            let found = Hardness::parse(&text.value);
            if found.is_none() {
                section.fault(&text.place, format!("`{}` is no hardness", text.value), Hardness::ALLOWED);
            }
            found.map(|found| (found, text.place))
        };
        let (low, high) = (hardness("hardness_at_least"), hardness("hardness_at_most"));
        if let (Some((low, _)), Some((high, place))) = (&low, &high)
            && (low.scale != high.scale || low.number > high.number)
        {
            section.fault(
                place,
                "the two ends make no range",
                "the same scale for both, the low end below the high",
            );
        }
        let limits = Self {
            width: length("width"),
            diameter_after: length("diameter_after"),
            hardness_low: low.map(|(low, _)| low),
            hardness_high: high.map(|(high, _)| high),
            worst: Look::ALL.map(|look| {
                let text = section.text(look.key())?;
                let rank = look.parse(&text.value);
                if rank.is_none() {
                    let problem = format!("`{}` is not one of its choices", text.value);
                    section.fault(
                        &text.place,
                        problem,
                        format!("the worst that is allowed: {}", look.allowed()),
                    );
                }
                rank
            }),
        };
        section.finish();
        limits
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hardness_is_read_in_its_scale() {
        let of = |number, scale| Some(Hardness { number, scale });
        assert_eq!(Hardness::parse("58 HRC"), of(58.0, Scale::RockwellC));
        assert_eq!(Hardness::parse("58.5hrc"), of(58.5, Scale::RockwellC));
        assert_eq!(Hardness::parse(" 620 HV10 "), of(620.0, Scale::Vickers));
        for wrong in ["58", "HRC", "58 HRB", "620 HVX", "580 HRC", "5 HV", "x HV"] {
            assert_eq!(Hardness::parse(wrong), None, "{wrong}");
        }
    }
}
