//! What columns are called.
//!
//! Decides: which channel a name means, whole words in the spellings of a few languages.
//! Assumes: a unit may stand in brackets behind the name, or as its last word.
//! Never: takes a part of a word.

use bandward::Channel;

/// Words of each channel, in lower case (common practice, no source).
const WORDS: &[(Channel, &[&str])] = &[
    (
        Channel::Current,
        &[
            "current",
            "amps",
            "amp",
            "amperage",
            "strom",
            "schweissstrom",
            "schweißstrom",
            "corriente",
            "courant",
            "i",
        ],
    ),
    (
        Channel::Voltage,
        &["voltage", "volts", "volt", "spannung", "lichtbogenspannung", "voltaje", "tension", "u"],
    ),
    (Channel::Coolant, &["coolant", "cooling", "water", "kühlwasser", "kuehlwasser", "chiller"]),
    (Channel::Gas, &["gas", "argon", "shielding", "schutzgas", "gasflow", "gasfluss"]),
    (Channel::Wire, &["wire", "feed", "feedspeed", "wfs", "draht", "drahtvorschub", "hilo", "alambre"]),
    (
        Channel::Spindle,
        &[
            "spindle", "rotation", "rotator", "chuck", "encoder", "angle", "rpm", "drehzahl", "winkel",
            "spindel",
        ],
    ),
    (Channel::Torch, &["torch", "weave", "oscillator", "oscillation", "pendel", "brenner"]),
    (Channel::Work, &["work", "temp", "temperature", "pyrometer", "temperatur", "interpass"]),
    (Channel::Carriage, &["carriage", "travel", "traverse", "schlitten"]),
];

/// The channel that a column's name, or failing that its unit, means.
pub fn channel(name: &str, unit: &str) -> Option<Channel> {
    let words = words(name);
    let of_word = |word: &String| {
        WORDS.iter().find(|(_, known)| known.contains(&word.as_str())).map(|(channel, _)| *channel)
    };
    let mut found: Vec<Channel> = words.iter().filter_map(of_word).collect();
    found.dedup();
    // "wire current" is a current: of two, the one whose unit it could be.
    match found[..] {
        [] => (unit.eq_ignore_ascii_case("rpm")).then_some(Channel::Spindle),
        [one] => Some(one),
        _ => found.into_iter().find(|&channel| {
            super::unit_like(crate::input::unit::Dimension::of_channel(channel), unit).is_some()
        }),
    }
}

/// The words of a name in lower case, without a unit in brackets: `ArcVoltage_V` is arc, voltage, v.
fn words(name: &str) -> Vec<String> {
    let bare = name.split(['[', '(', '{']).next().unwrap_or(name);
    let mut words: Vec<String> = vec![String::new()];
    let mut was_small = false;
    for character in bare.chars() {
        if !character.is_alphanumeric() || (character.is_uppercase() && was_small) {
            words.push(String::new());
        }
        if character.is_alphabetic() {
            words.last_mut().into_iter().for_each(|word| word.extend(character.to_lowercase()));
        }
        was_small = character.is_lowercase();
    }
    words.retain(|word| !word.is_empty());
    words
}

/// The unit that a name carries: in brackets, or behind the last `_`, `/` or blank.
pub fn unit_in(name: &str) -> String {
    let bracket = name.find(['[', '(', '{']).map(|open| name[open + 1..].trim_end_matches([']', ')', '}']));
    let last = || name.trim().rsplit(['_', ' ']).next().filter(|last| last.len() < name.trim().len());
    let text = bracket.or_else(last).unwrap_or("").trim();
    match text {
        // The project's own spelling.
        "mm_per_min" | "min" => "mm/min".to_owned(),
        text if text.chars().count() <= 8 => spelled(text),
        _ => String::new(),
    }
}

/// Units as columns are called by them, as a layout writes them.
fn spelled(text: &str) -> String {
    let known = [
        ("a", "A"),
        ("amps", "A"),
        ("amp", "A"),
        ("v", "V"),
        ("volts", "V"),
        ("lpm", "L/min"),
        ("c", "degC"),
        ("f", "degF"),
        ("°c", "degC"),
        ("°f", "degF"),
    ];
    let lower = text.to_lowercase();
    known.iter().find(|(written, _)| *written == lower).map_or(text, |(_, unit)| unit).to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_in_several_spellings() {
        for (name, wanted) in [
            ("Welding current [A]", Some(Channel::Current)),
            ("ArcVoltage_V", Some(Channel::Voltage)),
            ("GAS (cfh)", Some(Channel::Gas)),
            ("Drahtvorschub", Some(Channel::Wire)),
            ("wire_mm_per_min", Some(Channel::Wire)),
            ("Pyrometer temp °C", Some(Channel::Work)),
            ("Remark", None),
            ("Miscurrented", None),
        ] {
            assert_eq!(channel(name, &unit_in(name)), wanted, "{name}");
        }
    }

    #[test]
    fn units_in_names() {
        for (name, wanted) in
            [("Current [kA]", "kA"), ("GAS (cfh)", "cfh"), ("arc_V", "V"), ("Volts", ""), ("Temp °C", "degC")]
        {
            assert_eq!(unit_in(name), wanted, "{name}");
        }
    }
}
