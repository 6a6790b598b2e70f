//! Shielding gas mixtures.
//!
//! Decides: what a mixture such as `98Ar/2O2` is made of, its group, and whether it suits the wires
//! of this work.
//! Assumes: percent by volume.
//! Never: refuses a mixture for not suiting; it is said, not forbidden.

use std::fmt;

/// A gas of a shielding mixture.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Gas {
    /// Argon.
    Argon,
    /// Carbon dioxide.
    CarbonDioxide,
    /// Oxygen.
    Oxygen,
    /// Helium.
    Helium,
    /// Hydrogen.
    Hydrogen,
    /// Nitrogen.
    Nitrogen,
}

impl Gas {
    const COUNT: usize = 6;
    const ALL: [Self; Self::COUNT] =
        [Self::Argon, Self::CarbonDioxide, Self::Oxygen, Self::Helium, Self::Hydrogen, Self::Nitrogen];
    /// Its formula.
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Argon => "Ar",
            Self::CarbonDioxide => "CO2",
            Self::Oxygen => "O2",
            Self::Helium => "He",
            Self::Hydrogen => "H2",
            Self::Nitrogen => "N2",
        }
    }
    const fn name(self) -> &'static str {
        match self {
            Self::Argon => "argon",
            Self::CarbonDioxide => "carbon dioxide",
            Self::Oxygen => "oxygen",
            Self::Helium => "helium",
            Self::Hydrogen => "hydrogen",
            Self::Nitrogen => "nitrogen",
        }
    }
    fn from_symbol(symbol: &str) -> Option<Self> {
        let is = |gas: &Self| {
            [gas.symbol(), gas.name()].iter().any(|written| written.eq_ignore_ascii_case(symbol))
        };
        Self::ALL.into_iter().find(is)
    }
}

/// A group of ISO 14175; only those that hold argon with oxygen or carbon dioxide, or one of these
/// alone, are known here.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum GasGroup {
    /// Argon alone.
    I1,
    /// Argon with 0.5 to 5 % carbon dioxide.
    M12,
    /// Argon with 0.5 to 3 % oxygen.
    M13,
    /// Argon with more than 5, up to 15 % carbon dioxide.
    M20,
    /// Argon with more than 15, up to 25 % carbon dioxide.
    M21,
    /// Argon with more than 3, up to 10 % oxygen.
    M22,
    /// Argon with more than 25, up to 50 % carbon dioxide (from memory).
    M31,
    /// Carbon dioxide alone.
    C1,
}

/// Does a mixture suit the wires of this work? Common practice, no source.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Suitability {
    /// Argon with 2 % oxygen.
    Preferred,
    /// Argon with up to 5 % oxygen, or argon alone.
    Suitable,
    /// Less than three quarters of argon, more oxygen than 5 %, or a gas that goes into the metal.
    Unsuitable,
    /// Practice says nothing about it.
    NotKnown,
}

/// Why a text is no mixture.
#[derive(Clone, Debug, PartialEq)]
pub enum MixtureError {
    /// A part names no known gas.
    UnknownGas(String),
    /// A gas stands twice.
    Twice(Gas),
    /// More than one part comes without its share.
    SharesMissing,
    /// The shares do not make 100 %.
    Sum(f64),
}

impl MixtureError {
    /// What could stand there instead.
    pub const ALLOWED: &'static str = "shares that make 100 % of Ar, CO2, O2, He, H2, N2: such as \
         \"98Ar/2O2\", \"Ar+2%O2\" or \"Ar\"; by numbers alone only \"98/2\", \"95/5\", \"82/18\", \"80/20\", \
         \"75/25\" and \"74/26\"";
}

impl fmt::Display for MixtureError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::UnknownGas(part) => write!(f, "`{part}` names no gas"),
            Self::Twice(gas) => write!(f, "{} stands twice", gas.symbol()),
            Self::SharesMissing => f.write_str("only one gas may come without its share"),
            Self::Sum(sum) => write!(f, "the shares make {} %", (sum * 1000.0).round() / 1000.0),
        }
    }
}

/// What a shielding gas is made of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GasMixture {
    percent: [f64; Gas::COUNT],
}

impl GasMixture {
    /// Reads `98Ar/2O2`, `98 % Ar + 2 % O2`, `Ar+2%O2`, `CO2`; a gas without its share is the rest. Of the
    /// mixtures that a shop calls by their numbers alone, `98/2` and `95/5` are argon with oxygen, `82/18` and
    /// `75/25`, which is `C25` too, argon with carbon dioxide (common practice, no source).
    ///
    /// # Errors
    /// Says what does not fit.
    pub fn parse(text: &str) -> Result<Self, MixtureError> {
        let text = shorthand(text.trim()).unwrap_or(text);
        let mut percent = [None; Gas::COUNT];
        let mut rest = None;
        for part in text.split(['/', '+']) {
            let (share, gas) = parse_part(part.trim())?;
            if percent[gas as usize].is_some() {
                return Err(MixtureError::Twice(gas));
            }
            percent[gas as usize] = Some(share.unwrap_or(0.0));
            if share.is_none() && rest.replace(gas).is_some() {
                return Err(MixtureError::SharesMissing);
            }
        }
        let mut percent = percent.map(|share| share.unwrap_or(0.0));
        let sum: f64 = percent.iter().sum();
        match rest {
            Some(gas) if sum < 100.0 => percent[gas as usize] = 100.0 - sum,
            None if (sum - 100.0).abs() < 1e-6 => {}
            _ => return Err(MixtureError::Sum(sum)),
        }
        Ok(Self { percent })
    }
    /// Share of a gas, percent by volume.
    pub fn percent(&self, gas: Gas) -> f64 {
        self.percent[gas as usize]
    }
    /// Is it another mixture? Half a percent either way is what suppliers blend to (from memory).
    pub fn differs_from(&self, other: &Self) -> bool {
        Gas::ALL.into_iter().any(|gas| (self.percent(gas) - other.percent(gas)).abs() > 0.5)
    }
    /// Its group in ISO 14175, of those known here. Whether an end of a range belongs to it is from
    /// memory.
    pub fn group(&self) -> Option<GasGroup> {
        let (argon, oxygen, dioxide) =
            (self.percent(Gas::Argon), self.percent(Gas::Oxygen), self.percent(Gas::CarbonDioxide));
        let is_rest_argon = |share: f64| (argon + share - 100.0).abs() < 1e-6;
        if is_rest_argon(0.0) {
            Some(GasGroup::I1)
        } else if (dioxide - 100.0).abs() < 1e-6 {
            Some(GasGroup::C1)
        } else if is_rest_argon(dioxide) {
            match dioxide {
                share if share < 0.5 => None,
                share if share <= 5.0 => Some(GasGroup::M12),
                share if share <= 15.0 => Some(GasGroup::M20),
                share if share <= 25.0 => Some(GasGroup::M21),
                share if share <= 50.0 => Some(GasGroup::M31),
                _ => None,
            }
        } else if is_rest_argon(oxygen) {
            match oxygen {
                share if share < 0.5 => None,
                share if share <= 3.0 => Some(GasGroup::M13),
                share if share <= 10.0 => Some(GasGroup::M22),
                _ => None,
            }
        } else {
            None
        }
    }
    /// Why it does not do for such wires, where it does not (common practice, no source).
    pub fn drawback(&self) -> Option<&'static str> {
        let is_above = |gas, share: f64| self.percent(gas) >= share;
        if is_above(Gas::Hydrogen, 0.1) {
            Some("hydrogen goes into the metal: cracks beside and under the band")
        } else if is_above(Gas::Nitrogen, 0.1) {
            Some("nitrogen goes into the metal: pores, brittle band")
        } else if self.percent(Gas::Argon) < 75.5 {
            // 75/25 as it is blended, and whatever has less argon.
            Some(
                "too little argon: the metal no longer sprays; spatter, uneven band, more melting of the joint",
            )
        } else if is_above(Gas::Oxygen, 5.5) {
            Some("more than 5 % oxygen burns what makes the wire hard out of it; slag, uneven band")
        } else {
            None
        }
    }
    /// Does practice say nothing about it for such wires: another active gas than a little oxygen, or helium?
    pub fn is_unknown_to_practice(&self) -> bool {
        self.suitability() == Suitability::NotKnown
    }
    /// Whether it suits the wires of this work (common practice, no source).
    pub fn suitability(&self) -> Suitability {
        let is = |gas, share: f64| (self.percent(gas) - share).abs() < 0.5;
        // More oxygen than 5 % is a drawback already.
        if self.drawback().is_some() {
            Suitability::Unsuitable
        } else if is(Gas::Argon, 98.0) && is(Gas::Oxygen, 2.0) {
            Suitability::Preferred
        } else if (self.percent(Gas::Argon) + self.percent(Gas::Oxygen) - 100.0).abs() < 1e-6 {
            Suitability::Suitable
        } else {
            Suitability::NotKnown
        }
    }
}

/// What a shop means by two numbers alone (other numbers could be of either gas), or by a name.
fn shorthand(text: &str) -> Option<&'static str> {
    const CALLED: [(&str, &str); 11] = [
        ("98/2", "98Ar/2O2"),
        ("95/5", "95Ar/5O2"),
        ("82/18", "82Ar/18CO2"),
        ("80/20", "80Ar/20CO2"),
        ("75/25", "75Ar/25CO2"),
        ("C25", "75Ar/25CO2"),
        ("74/26", "74Ar/26CO2"),
        ("pure argon", "Ar"),
        ("pure Ar", "Ar"),
        ("pure CO2", "CO2"),
        ("pure carbon dioxide", "CO2"),
    ];
    let is_same = |(one, other): (&str, &str)| one.trim().eq_ignore_ascii_case(other);
    let called = |(name, _): &&(&str, &str)| {
        let (written, known) = (text.split(['/', '-']), name.split('/'));
        written.clone().count() == known.clone().count() && written.zip(known).all(is_same)
    };
    CALLED.iter().find(called).map(|(_, mixture)| *mixture)
}

fn parse_part(part: &str) -> Result<(Option<f64>, Gas), MixtureError> {
    let unknown = || MixtureError::UnknownGas(part.to_owned());
    let end = part.find(|character: char| !character.is_ascii_digit() && character != '.').unwrap_or(0);
    let (number, name) = part.split_at(end);
    let name = name.trim_start().trim_start_matches('%').trim_start();
    let gas = Gas::from_symbol(name).ok_or_else(unknown)?;
    if number.is_empty() {
        return Ok((None, gas));
    }
    Ok((Some(number.parse().map_err(|_| unknown())?), gas))
}

/// `98Ar/2O2`.
impl fmt::Display for GasMixture {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut parts: Vec<_> = Gas::ALL
            .into_iter()
            .map(|gas| (self.percent(gas), gas))
            .filter(|(share, _)| *share > 0.0)
            .collect();
        if let [(_, gas)] = parts[..] {
            return f.write_str(gas.symbol());
        }
        parts.sort_by(|left, right| right.0.total_cmp(&left.0));
        for (place, (share, gas)) in parts.into_iter().enumerate() {
            let bar = if place == 0 { "" } else { "/" };
            write!(f, "{bar}{}{}", (share * 1000.0).round() / 1000.0, gas.symbol())?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mixture(text: &str) -> GasMixture {
        GasMixture::parse(text).unwrap_or_else(|error| panic!("{text}: {error}"))
    }

    /// Groups of ISO 14175 as in a published table of it; that the lower ends of M20, M21 and M22 do
    /// not belong to them is from memory.
    #[test]
    fn groups_follow_the_standard() {
        for (text, group) in [
            ("Ar", Some(GasGroup::I1)),
            ("100Ar", Some(GasGroup::I1)),
            ("99.5Ar/0.5CO2", Some(GasGroup::M12)),
            ("95Ar/5CO2", Some(GasGroup::M12)),
            ("94.9Ar/5.1CO2", Some(GasGroup::M20)),
            ("85Ar/15CO2", Some(GasGroup::M20)),
            ("84.9Ar/15.1CO2", Some(GasGroup::M21)),
            ("75Ar/25CO2", Some(GasGroup::M21)),
            ("74.9Ar/25.1CO2", Some(GasGroup::M31)),
            ("74Ar/26CO2", Some(GasGroup::M31)),
            ("82Ar/18CO2", Some(GasGroup::M21)),
            ("49Ar/51CO2", None),
            ("99.5Ar/0.5O2", Some(GasGroup::M13)),
            ("98Ar/2O2", Some(GasGroup::M13)),
            ("97Ar/3O2", Some(GasGroup::M13)),
            ("96.9Ar/3.1O2", Some(GasGroup::M22)),
            ("95Ar/5O2", Some(GasGroup::M22)),
            ("90Ar/10O2", Some(GasGroup::M22)),
            ("89.9Ar/10.1O2", None),
            ("99.6Ar/0.4O2", None),
            ("CO2", Some(GasGroup::C1)),
            ("75He/25Ar", None),
            ("90Ar/5CO2/5O2", None),
        ] {
            assert_eq!(mixture(text).group(), group, "{text}");
        }
    }

    /// 98/2 preferred, 95/5 and pure argon do, pure CO2 and 75/25 do not: common practice, no source.
    #[test]
    fn suitability_follows_practice() {
        for (text, suitability) in [
            ("98Ar/2O2", Some(Suitability::Preferred)),
            ("95Ar/5O2", Some(Suitability::Suitable)),
            ("97Ar/3O2", Some(Suitability::Suitable)),
            ("94Ar/6O2", None),
            ("90Ar/5CO2/5O2", Some(Suitability::NotKnown)),
            ("80Ar/20He", Some(Suitability::NotKnown)),
            ("Ar", Some(Suitability::Suitable)),
            ("CO2", None),
            ("75Ar/25CO2", None),
            ("74Ar/26CO2", None),
            ("O2", None),
            ("N2", None),
            ("50Ar/50He", None),
            ("80Ar/20O2", None),
            ("90Ar/10O2", None),
            ("95Ar/5H2", None),
            ("98Ar/2N2", None),
            ("82Ar/18CO2", Some(Suitability::NotKnown)),
            ("95Ar/5CO2", Some(Suitability::NotKnown)),
            ("90Ar/10CO2", Some(Suitability::NotKnown)),
        ] {
            let found = mixture(text);
            assert_eq!(found.suitability(), suitability.unwrap_or(Suitability::Unsuitable), "{text}");
            assert_eq!(found.drawback().is_some(), suitability.is_none(), "{text}");
        }
    }

    #[test]
    fn the_ways_to_write_a_mixture() {
        for text in
            ["98Ar/2O2", "98 Ar / 2 O2", "98 % Ar + 2 % O2", "Ar+2%O2", "ar/2o2", "2O2/98Ar", "98Ar/O2"]
        {
            assert_eq!(mixture(text).to_string(), "98Ar/2O2", "{text}");
        }
        assert_eq!(mixture("100 CO2").to_string(), "CO2");
        assert_eq!(mixture("98 / 2").to_string(), "98Ar/2O2");
        assert_eq!(mixture("75/25").to_string(), "75Ar/25CO2");
        // Common name of a shop, from memory.
        assert_eq!(mixture("c25"), mixture("75/25"));
        assert_eq!((mixture("Pure Argon"), mixture("pure CO2")), (mixture("Ar"), mixture("CO2")));
        assert!(GasMixture::parse("pure argon/2O2").is_err());
        assert_eq!(mixture("98-2").to_string(), "98Ar/2O2");
        assert_eq!(mixture("argon").to_string(), "Ar");
        assert_eq!(mixture("98 % Argon + 2 % Oxygen").to_string(), "98Ar/2O2");
        assert_eq!(mixture("Carbon dioxide").to_string(), "CO2");
    }

    #[test]
    fn what_is_no_mixture_says_why() {
        let error = |text| GasMixture::parse(text).expect_err(text);
        assert_eq!(error("90/10"), MixtureError::UnknownGas("90".to_owned()));
        assert_eq!(error(""), MixtureError::UnknownGas(String::new()));
        assert_eq!(error("98Ar/2Xe"), MixtureError::UnknownGas("2Xe".to_owned()));
        assert_eq!(error("1.2.3Ar"), MixtureError::UnknownGas("1.2.3Ar".to_owned()));
        assert_eq!(error("98Ar/2Ar"), MixtureError::Twice(Gas::Argon));
        assert_eq!(error("Ar/O2"), MixtureError::SharesMissing);
        assert_eq!(error("98Ar/5O2"), MixtureError::Sum(103.0));
        assert_eq!(error("Ar/100O2"), MixtureError::Sum(100.0));
    }
}
