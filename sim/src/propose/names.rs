//! What columns are called.
//!
//! Decides: which channel a name means, whole words in the spellings of a few languages, and whether the number is
//! a reading of it: every word of the name must be known, and none may say that it is something else.
//! Assumes: a unit may stand in brackets behind the name, or as its last word.
//! Never: takes a part of a word, or a set value, a limit, a mean or another thing's reading for the channel's own; nor
//! what may be one of these in a word that is not known.

use super::unit_names::{BRACKETS, is_turns_a_minute, unit_like};
use super::words::{self as known, MARKS_OF_READINGS as READINGS, NOT_READINGS, OTHERS, WORDS, is_in};
use crate::input::unit::Dimension;
use bandward::Channel;

/// What a column is, by its name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Called {
    /// The channel it is about.
    pub channel: Channel,
    /// Does no word of it say so, but its unit alone? `Axis 4 speed [rpm]`.
    pub is_by_unit: bool,
    /// Is it said to be measured?
    pub is_measured: bool,
    /// The word that says that it is no reading of the channel.
    pub no_reading: Option<String>,
    /// The first word that is not known: it may say the same.
    pub unknown: Option<String>,
}

impl Called {
    /// Do the words, all of them known, leave it a reading?
    pub const fn is_reading(&self) -> bool {
        self.no_reading.is_none() && self.unknown.is_none()
    }
}

/// What a column's name, or failing that its unit, means.
pub fn called(name: &str, unit: &str) -> Option<Called> {
    // A bracket may hold a unit, which is no channel, and whether the number is a reading: `Current (set) [A]`.
    let name = without_turning_unit(name);
    let bare = words(name.split(BRACKETS).next().unwrap_or(name));
    let words = words(name);
    let mut found: Vec<Channel> = bare.iter().filter_map(|word| of_word(word)).collect();
    found.sort_by_key(|channel| *channel as usize);
    found.dedup();
    let channel = match found[..] {
        [] if unit.eq_ignore_ascii_case("rpm") => Channel::Spindle,
        [] => bare.iter().find_map(|word| of_symbol(word, unit))?,
        [one] => one,
        // "wire current" is a current, and "torch gas" a gas: of several, the one whose unit it could be.
        _ => found
            .iter()
            .copied()
            .find(|&channel| unit_like(Dimension::of_channel(channel), unit).is_some())?,
    };
    let has = |list: &str| words.iter().find(|word| is_in(list, word)).cloned();
    let others = OTHERS.iter().filter(|(channels, _)| channels.contains(&channel));
    // The temperature of the coolant and the angle of the torch are not those of the joint.
    let is_joint = matches!(channel, Channel::Work | Channel::Spindle);
    let is_unknown = |word: &&String| !known::is_known(word, channel);
    let in_unit = |word: &&String| !is_in(known::IN_UNITS, word);
    let (outside, within) = words.split_at(bare.len());
    let outside_unit =
        if name.trim_end().ends_with("/s") { outside.len().saturating_sub(1) } else { outside.len() };
    let unknown = outside[..outside_unit].iter().find(is_unknown);
    let unknown = unknown.or_else(|| within.iter().filter(in_unit).find(is_unknown)).cloned();
    let of_another = || bare.iter().find(|word| of_word(word).is_some_and(|other| other != channel)).cloned();
    Some(Called {
        channel,
        is_by_unit: found.is_empty() && unit.eq_ignore_ascii_case("rpm"),
        is_measured: has(READINGS).is_some(),
        no_reading: has(NOT_READINGS)
            .or_else(|| others.into_iter().find_map(|(_, list)| has(list)))
            .or_else(|| of_another().filter(|_| is_joint)),
        unknown,
    })
}

/// Does a word of a name say that it is no reading of a channel, though nothing says of what it is one? `Max [A]`.
pub fn is_said_to_be_none(name: &str, channel: Channel) -> bool {
    let others = OTHERS.iter().filter(|(channels, _)| channels.contains(&channel)).map(|(_, list)| *list);
    let lists: Vec<&str> = others.chain([NOT_READINGS]).collect();
    words(name).iter().any(|word| lists.iter().any(|list| is_in(list, word)))
}

/// The channel of which a name without one speaks by a word for its place: `Nozzle [L/min]`.
pub fn hinted(name: &str) -> Option<Channel> {
    let is_of = |list: &str| words(name).iter().any(|word| is_in(list, word));
    known::HINTS.iter().find(|(_, list)| is_of(list)).map(|(channel, _)| *channel)
}

/// Without turns a minute at its end, whose letters could be read as a channel's: `Drehzahl U/min`.
fn without_turning_unit(name: &str) -> &str {
    let last = name.rsplit(['_', ' ']).next().unwrap_or_default();
    if is_turns_a_minute(last) { &name[..name.len() - last.len()] } else { name }
}

/// The number, other than 1, right behind the last word of a name: `Current 2 [A]`.
pub fn number_behind(name: &str) -> Option<&str> {
    let bare = name.split(BRACKETS).next().unwrap_or(name).trim_end();
    let bare =
        bare.trim_end_matches(|character: char| character.is_whitespace() || ",_-.:".contains(character));
    let number = &bare[bare.trim_end_matches(|character: char| character.is_ascii_digit()).len()..];
    let has_name = bare[..bare.len() - number.len()].chars().any(char::is_alphabetic);
    (has_name && !matches!(number.trim_start_matches('0'), "" | "1")).then_some(number)
}

/// Does the name not say of what thing it is? `Feed rate` may be the wire's, or the carriage's.
pub fn is_general(name: &str) -> bool {
    let bare = words(name.split(BRACKETS).next().unwrap_or(name));
    let is_general = |word: &String| is_in(known::GENERAL, word);
    bare.iter().any(is_general) && bare.iter().all(|word| is_general(word) || is_in(known::OF_NOTHING, word))
}

fn of_word(word: &str) -> Option<Channel> {
    WORDS.iter().find(|(_, known)| is_in(known, word)).map(|(channel, _)| *channel)
}

/// The letter of a current or a voltage with an index, in their unit: `Iw [A]`.
fn of_symbol(word: &str, unit: &str) -> Option<Channel> {
    let letter = word.get(..1).filter(|_| word.chars().count() <= 3)?;
    let channel = of_word(letter)?;
    unit_like(Dimension::of_channel(channel), unit).map(|_| channel)
}

/// Words that a minute stands behind in a unit.
const OF_A_MINUTE: [&str; 13] =
    ["per", "l", "nl", "sl", "ml", "m", "mm", "cm", "in", "inch", "gal", "rev", "u"];

/// The words of a name in lower case: `ArcVoltage_V` is arc, voltage, v.
fn words(name: &str) -> Vec<String> {
    // Each with whether a stroke stands before it.
    let mut words: Vec<(String, bool)> = vec![(String::new(), false)];
    let mut was_small = false;
    for character in name.chars() {
        if !character.is_alphanumeric() || (character.is_uppercase() && was_small) {
            words.push((String::new(), character == '/'));
        }
        if character.is_alphabetic() {
            words.last_mut().into_iter().for_each(|(word, _)| word.extend(character.to_lowercase()));
        }
        was_small = character.is_lowercase();
    }
    words.retain(|(word, _)| !word.is_empty());
    // `gas_l_min` and `1/min` end in a unit, not in a limit.
    let is_unit = |at: usize| {
        let before = at.checked_sub(1).and_then(|at| words.get(at)).map_or("", |(word, _)| word.as_str());
        words[at].0 == "min" && (words[at].1 || OF_A_MINUTE.contains(&before))
    };
    (0..words.len()).filter(|&at| !is_unit(at)).flat_map(|at| apart(&words[at].0)).collect()
}

/// `sollstrom` is soll and strom, `iact` is i and act: a channel and what it is, written as one.
fn apart(word: &str) -> Vec<String> {
    let marks = || NOT_READINGS.split_ascii_whitespace().chain(READINGS.split_ascii_whitespace());
    if of_word(word).is_none() && marks().all(|mark| mark != word) {
        for mark in marks() {
            let rest = word.strip_prefix(mark).or_else(|| word.strip_suffix(mark));
            if let Some(rest) = rest.filter(|rest| of_word(rest).is_some()) {
                return vec![rest.to_owned(), mark.to_owned()];
            }
        }
    }
    vec![word.to_owned()]
}

#[cfg(test)]
mod tests {
    use super::super::unit_names::{unit_in, units_in};
    use super::*;

    #[test]
    fn a_number_behind_a_name_is_told() {
        for (name, number) in [
            ("Current 2 [A]", Some("2")),
            ("Strom_02", Some("02")),
            ("U3", Some("3")),
            ("Current 1 [A]", None),
            ("AI2 Current [A]", None),
            ("Current [A]", None),
            ("Current 0", None),
            ("42", None),
        ] {
            assert_eq!(number_behind(name), number, "{name}");
        }
    }

    #[test]
    fn a_name_that_does_not_say_of_what_is_told() {
        for (name, general) in [
            ("Feed rate [mm/min]", true),
            ("Feed (m/min)", true),
            ("Water [L/min]", true),
            ("Temp °C", true),
            ("Angle [deg]", true),
            ("Wire feed [m/min]", false),
            ("Coolant [L/min]", false),
            ("Interpass temperature [C]", false),
            ("Spindle angle [deg]", false),
            ("Torch water flow", false),
        ] {
            assert_eq!(is_general(name), general, "{name}");
        }
    }

    /// Whose it is, by a word for another thing (common practice, no source).
    #[test]
    fn a_word_for_another_thing_is_not_known() {
        for (name, word) in
            [("Wire tension [V]", "wire"), ("Sensor voltage", "sensor"), ("Cooling flow welder", "welder")]
        {
            let got = called(name, &unit_in(name)).and_then(|called| called.unknown);
            assert_eq!(got.as_deref(), Some(word), "{name}");
        }
    }

    #[test]
    fn names_in_several_spellings() {
        for (name, wanted) in [
            ("Welding current [A]", Some(Channel::Current)),
            ("ArcVoltage_V", Some(Channel::Voltage)),
            ("GAS (cfh)", Some(Channel::Gas)),
            ("Drahtvorschub", Some(Channel::Wire)),
            ("wire_mm_per_min", Some(Channel::Wire)),
            ("gas_l_min", Some(Channel::Gas)),
            ("Drehzahl 1/min", Some(Channel::Spindle)),
            ("Wire current [A]", Some(Channel::Current)),
            ("Torch coolant [L/min]", Some(Channel::Coolant)),
            ("Gas flow (L/min)", Some(Channel::Gas)),
            ("Rotation (1/min)", Some(Channel::Spindle)),
            ("Current (actual) [A]", Some(Channel::Current)),
            ("Pyrometer temp °C", Some(Channel::Work)),
            ("Iststrom [A]", Some(Channel::Current)),
            ("I_act", Some(Channel::Current)),
            ("Drehzahl U/min", Some(Channel::Spindle)),
            ("Turning speed [deg/s]", None),
            ("Spindle speed deg/s", Some(Channel::Spindle)),
            ("Intensité d'arc [A]", Some(Channel::Current)),
            ("Tensión del arco (V)", Some(Channel::Voltage)),
            ("Amperaje", Some(Channel::Current)),
            ("Corrente di saldatura [A]", Some(Channel::Current)),
            ("Vazão de gás [l/min]", Some(Channel::Gas)),
            ("Remark", None),
            ("Miscurrented", None),
        ] {
            let got = called(name, &unit_in(name));
            assert_eq!(got.as_ref().map(|called| called.channel), wanted, "{name}");
            assert!(got.is_none_or(|called| called.is_reading()), "{name}");
        }
    }

    #[test]
    fn what_is_no_reading_of_the_weld_says_so() {
        for (name, word) in [
            ("Current set [A]", "set"),
            ("Current display [A]", "display"),
            ("Anzeige Strom", "anzeige"),
            ("Current (set) [A]", "set"),
            ("Strom [A] (Soll)", "soll"),
            ("Feed (m/min) max", "max"),
            ("I setpoint", "setpoint"),
            ("Sollstrom [A]", "soll"),
            ("Strom-Sollwert [A]", "sollwert"),
            ("CurrentMax_A", "max"),
            ("wire min", "min"),
            ("Avg current of last [A]", "avg"),
            ("iset_A", "set"),
            ("Consigne courant [A]", "consigne"),
            ("Spindle motor current [A]", "spindle"),
            ("Mains voltage [V]", "mains"),
            ("Coolant temp [°C]", "coolant"),
            ("Torch angle [deg]", "torch"),
            ("Weave width [mm]", "width"),
            ("Gas pressure", "pressure"),
        ] {
            let got = called(name, &unit_in(name)).and_then(|called| called.no_reading);
            assert_eq!(got.as_deref(), Some(word), "{name}");
        }
    }

    #[test]
    fn units_in_names() {
        for (name, wanted) in [
            ("Current [kA]", "kA"),
            ("GAS (cfh)", "cfh"),
            ("arc_V", "V"),
            ("Volts", ""),
            ("Temp °C", "degC"),
            ("Current (set) [A]", "A"),
            ("Strom [A] (Soll)", "A"),
            ("Gas [L/min]", "L/min"),
            ("wire_feed_m_min", "m/min"),
            ("wire_m_per_min", "m/min"),
            ("wire_mm_per_min", "mm/min"),
            ("Wire feed in min", "in/min"),
            ("gas_l_min", "l/min"),
        ] {
            assert_eq!(unit_in(name), wanted, "{name}");
        }
    }

    #[test]
    fn every_unit_of_a_name() {
        let is_told = |name: &str, unit: &str| units_in(name).iter().any(|told| told == unit);
        for (name, one, other) in [
            ("gas_lpm_cfh", "L/min", "cfh"),
            ("Gas CFH (L/min)", "CFH", "L/min"),
            ("Gas flow [L/min] (CFH)", "L/min", "CFH"),
            ("Work temp F [°C]", "degF", "degC"),
        ] {
            assert!(is_told(name, one) && is_told(name, other), "{name}: {:?}", units_in(name));
        }
        assert!(!is_told("Torch position in mm", "in") && is_told("Torch position in mm", "mm"));
        assert!(!is_told("Thermocouple K [°C]", "K"));
    }
}
