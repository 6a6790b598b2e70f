//! The heat of a planned joint as text, for people at a terminal, and as JSON, for machines.
//!
//! Decides: what stands where, and in which words an advice is given.
//! Assumes: the plan itself stands above.
//! Never: computes; what nobody could work out says what is missing.

use super::fit::fit;
use super::heat_picture;
use super::heat_words::{MELTS, clock, degrees, whole};
use super::style::{BAD, BOLD, FAINT, line};
use crate::heat::cooling_time::VALID_TO_C;
use crate::heat::preheat::Beyond;
use crate::heat::sequence::{BURNER_W, BandHeat, Before, WarmUp};
use crate::heat::steel::MELTS_C;
use crate::input::bounds::Bounds;
use crate::input::quantity::{Dimension, UnitSystem, format};
use crate::plan::heat::{CoolingWay, HeatPlan};
use serde_json::{Value, json};

/// The heat as text.
pub fn text(heat: &HeatPlan, system: UnitSystem) -> String {
    let mut text = String::new();
    line!(&mut text, "");
    line!(&mut text, "{BOLD}heat{BOLD:#}");
    before_the_arc(&mut text, heat, system);
    if !heat.missing.is_empty() {
        line!(&mut text, "note: heat not fully worked out; missing: {}", heat.missing.join("; "));
    }
    if heat.sequence.is_some() {
        line!(&mut text, "");
        bands(&mut text, heat, system);
        cooling_times(&mut text, heat, system);
    }
    if heat.sequence.is_some() && heat.melts_at_band.is_none() {
        line!(&mut text, "");
        text.push_str(&heat_picture::text(heat, system));
        line!(&mut text, "");
        cooling(&mut text, heat, system);
    }
    for note in notes(heat, system) {
        line!(&mut text, "{note}");
    }
    fit(&text)
}

/// From one temperature to another, or one where both read the same.
fn span(low_c: f64, high_c: f64, system: UnitSystem) -> String {
    let ((low, _), (high, symbol)) = (whole(low_c, system), whole(high_c, system));
    if low == high { format!("{high} {symbol}") } else { format!("{low} to {high} {symbol}") }
}

fn row(text: &mut String, title: &str, [first, second]: [String; 2], from: &str) {
    let second = if first == second { String::new() } else { second };
    let plain = format!("  {title:<16}{first:>12}{second:>13}");
    let from = if from.is_empty() { String::new() } else { format!("{FAINT}{from}{FAINT:#}") };
    line!(text, "{}", format!("{plain}           {from}").trim_end());
}

fn before_the_arc(text: &mut String, heat: &HeatPlan, system: UnitSystem) {
    let systems = [system, system.other()];
    let temperature = |value_c: f64| systems.map(|system| degrees(value_c, system));
    let in_units = |value: f64, dimension: Dimension| systems.map(|system| format(value, dimension, system));
    if let Some(wall_mm) = heat.wall_mm {
        row(text, "wall", in_units(wall_mm, Dimension::Length), "from diameter and bore");
    }
    if let Some(cet) = heat.carbon_equivalent {
        row(text, "CET", [format!("{cet:.3} %"), String::new()], "EN 1011-2, from memory");
    }
    if let Some(preheat) = &heat.preheat {
        let needed = if preheat.least_c <= heat.surroundings.ambient_c {
            ["none needed".to_owned(), String::new()]
        } else {
            temperature(preheat.least_c)
        };
        row(text, "preheat needed", needed, "EN 1011-2, from memory");
        for beyond in &preheat.beyond {
            line!(text, "    {BAD}beyond the formula{BAD:#}: {}", outside(beyond));
        }
        let hydrogen = format(heat.hydrogen.value, Dimension::Hydrogen, system);
        row(text, "  hydrogen", [hydrogen, String::new()], heat.hydrogen.origin.words());
    }
    if let Some(range) = heat.preheat_range {
        row(text, "procedure says", [range_text(range, system), String::new()], "");
    }
    row(text, "starts at", temperature(heat.start_c.value), heat.start_c.origin.words());
    if let Some(time) = heat.cooling_time {
        let way = if time.is_two_dimensional { "2-D" } else { "3-D" };
        let seconds = [format!("{:.0} s", time.seconds), String::new()];
        row(text, "800 to 500 degC", seconds, &format!("{way}, EN 1011-2, memory"));
    } else if heat.start_c.value > VALID_TO_C {
        let most = degrees(VALID_TO_C, system);
        row(text, "800 to 500 degC", ["none".to_owned(), String::new()], &format!("not valid above {most}"));
    }
}

fn outside(beyond: &Beyond) -> String {
    let (low, high) = beyond.valid;
    format!("{} is {:.3}; it is valid from {low} to {high}", beyond.what, beyond.value)
}

fn range_text(range: Bounds, system: UnitSystem) -> String {
    match (range.low, range.high) {
        (Some(low), Some(high)) => span(low, high, system),
        (Some(low), None) => format!("at least {}", degrees(low, system)),
        (None, Some(high)) => format!("at most {}", degrees(high, system)),
        (None, None) => "-".to_owned(),
    }
}

/// What is done before a band; `is_too_hot`: its hottest point is over the limit as it begins.
fn advice(before: Before, is_too_hot: bool) -> String {
    match before {
        // Neither a wait nor a burner brings the place within as a whole.
        Before::WarmUp(_) if is_too_hot => "too uneven".to_owned(),
        Before::GoOn => "begin".to_owned(),
        Before::Wait(seconds) => format!("wait {}", clock(seconds)),
        Before::WarmUp(WarmUp { seconds: Some(seconds), .. }) => format!("warm {}", clock(seconds)),
        Before::WarmUp(_) => "warm up".to_owned(),
        Before::TooHot => "over 4 h".to_owned(),
    }
}

fn bands(text: &mut String, heat: &HeatPlan, system: UnitSystem) {
    line!(
        text,
        "  {BOLD}{:<6}{:<12}{:>18}{:>11}{:>11}{:>17}{BOLD:#}",
        "band",
        "before it",
        "its place",
        "outside",
        "bore",
        "bore under torch"
    );
    for (index, band) in heat.sequence.iter().flat_map(|sequence| sequence.bands.iter().enumerate()) {
        let place = span(band.start_c.1, band.start_c.0, system);
        let is_too_hot = heat.is_begun_too_hot(band);
        let [outside, bore, torch] =
            [band.outside_c, band.bore_c, band.bore_under_torch_c].map(|value| degrees(value, system));
        let is_harmed = band.bore_under_torch_c > heat.coating_limit_c.value;
        let torch = format!("{torch:>17}");
        let torch = if is_harmed { format!("{BAD}{torch}{BAD:#}") } else { torch };
        line!(
            text,
            "  {:<6}{:<12}{place:>18}{outside:>11}{bore:>11}{torch}",
            index + 1,
            advice(band.before, is_too_hot)
        );
    }
    if let Some(band) = heat.melts_at_band {
        line!(text, "  {band:<6}{BAD}{MELTS}{BAD:#}");
    }
}

/// From 800 to 500 °C, band after band: a band that begins warmer cools more slowly.
fn cooling_times(text: &mut String, heat: &HeatPlan, system: UnitSystem) {
    let times = heat.cooling_times();
    let shown: Vec<_> = times
        .iter()
        .map(|time| time.map_or("none".to_owned(), |time| format!("{:.0} s", time.seconds)))
        .collect();
    if shown.is_empty() {
        return;
    }
    line!(text, "  800 to 500 degC, band by band: {}", shown.join(", "));
    if times.iter().any(Option::is_none) {
        line!(
            text,
            "note: none where the place of a band is above {} before the arc: the formula runs away towards 500 degC",
            degrees(VALID_TO_C, system)
        );
    }
}

fn cooling(text: &mut String, heat: &HeatPlan, system: UnitSystem) {
    let Some(until_c) = heat.ways.first().map(|way| way.until_c) else { return };
    let may_be_moved = format!("to {}", degrees(until_c, system));
    line!(
        text,
        "  {BOLD}{:<28}{:>14}{:>24}{BOLD:#}",
        "cooling afterwards",
        may_be_moved,
        "fastest below preheat"
    );
    for way in &heat.ways {
        let title = match (way.surroundings.blanket_mm, way.surroundings.wind_m_per_s) {
            (thick, _) if thick > 0.0 => {
                format!("{}, {}", way.title, format(thick, Dimension::Length, system))
            }
            (_, wind) if wind > 0.0 => {
                format!("{}, {}", way.title, format(wind, Dimension::WindSpeed, system))
            }
            _ => way.title.to_owned(),
        };
        let until = way.cooling.seconds.map_or("over 48 h".to_owned(), clock);
        let rate = way.cooling.fastest_c_per_h;
        let rate = rate.map_or("-".to_owned(), |rate| format(rate, Dimension::CoolingRate, system));
        line!(text, "  {title:<28}{until:>14}{rate:>24}");
    }
}

/// How the joint must be left to cool, where the procedure limits that: the first way, from the barest, that holds.
fn cooling_limit(heat: &HeatPlan, system: UnitSystem) -> Option<String> {
    let limit = heat.cooling_limit?;
    let rate = |value: f64| format(value, Dimension::CoolingRate, system);
    let asked = format!(
        "the procedure has the joint cool by at most {} down to {}",
        rate(limit.most_c_per_h),
        degrees(limit.until_c, system)
    );
    let [blanket, still, wind] = &heat.ways[..] else { return None };
    let falls = |way: &CoolingWay| way.judged_c_per_h.map_or("more than can be told".to_owned(), rate);
    let holds = |way: &CoolingWay| limit.is_held_by(way);
    Some(if heat.ways.iter().all(|way| way.judged_c_per_h.is_none()) {
        format!(
            "{BAD}COOLING NOT PROVEN{BAD:#}: {asked}, and it is below that before the heat has spread within the wall, \
             five minutes after the arc"
        )
    } else if holds(wind) {
        format!("note: {asked}: it does by itself, in moving air too ({})", falls(wind))
    } else if holds(still) {
        format!(
            "caution: {asked}: in still air it does ({}), in moving air it falls by {}: keep doors and fans shut, or \
             put the blanket on",
            falls(still),
            falls(wind)
        )
    } else if holds(blanket) {
        format!(
            "{BAD}BLANKET NEEDED{BAD:#}: {asked}; in still air it falls by {}, under the blanket by {}",
            falls(still),
            falls(blanket)
        )
    } else {
        format!(
            "{BAD}MORE THAN THIS BLANKET NEEDED{BAD:#}: {asked}; under the blanket it falls by {}: a longer \
             stretch preheated, since heat runs into cold pipe; a thicker blanket; or slow cooling under heat",
            falls(blanket)
        )
    })
}

fn notes(heat: &HeatPlan, system: UnitSystem) -> Vec<String> {
    let mut notes = Vec::new();
    let shown = |value_c: f64| degrees(value_c, system);
    if let Some(band) = heat.melts_at_band {
        notes.push(format!(
            "{BAD}BURN-THROUGH{BAD:#} at band {band}: the steel melts at about {} (handbook value, from memory), and the \
             bore under the torch comes out hotter: the wall burns through or sags, and the model no longer holds. \
             Do not weld this: less heat, a thicker wall, or another procedure",
            shown(MELTS_C)
        ));
    }
    if heat.is_unlimited_between {
        notes.push(format!(
            "{BAD}NO UPPER LIMIT BETWEEN BANDS{BAD:#} in the procedure: nothing limits how hot the joint becomes from \
             band to band, and no wait is worked out; ask the procedure's owner for [interpass]"
        ));
    }
    if !heat.taken_as_none.is_empty() {
        notes.push(format!(
            "note: {} of the steel not given, taken as none",
            heat.taken_as_none.join(" and ")
        ));
    }
    if let (Some(most_c), Some(preheat)) = (heat.procedure_cannot_meet_formula_c(), &heat.preheat) {
        notes.push(format!(
            "{BAD}NO PREHEAT SATISFIES BOTH{BAD:#}: the formula asks for at least {}, the procedure allows at most {}; \
             ask the procedure's owner before anything is welded",
            shown(preheat.least_c),
            shown(most_c)
        ));
    } else if let (Some(least_c), Some(preheat)) = (heat.procedure_below_formula_c(), &heat.preheat) {
        notes.push(format!(
            "note: the procedure allows {}, the formula asks for {}: the qualified procedure decides; ask who \
             qualified it what it was based on",
            shown(least_c),
            shown(preheat.least_c)
        ));
    }
    if let Some((band, reached_c)) = heat.coating_harmed() {
        let need = heat.preheat.as_ref().filter(|_| heat.procedure_below_formula_c().is_some());
        let least = need.map_or(String::new(), |preheat| {
            format!(", but not below the {} that the steel needs", shown(preheat.least_c))
        });
        notes.push(format!(
            "caution: the bore reaches {} at band {band}; an inner coating is harmed above {} ({}). Preheat and \
             temperature between bands as low as the procedure allows{}; open both ends, stay out of the smoke",
            shown(reached_c),
            shown(heat.coating_limit_c.value),
            heat.coating_limit_c.origin.words(),
            least
        ));
    }
    notes.extend(cooling_limit(heat, system));
    let bands = heat.sequence.iter().flat_map(|sequence| sequence.bands.iter().enumerate());
    for (index, band) in bands {
        let Before::WarmUp(warm) = band.before else { continue };
        if heat.is_begun_too_hot(band) {
            notes.push(format!(
                "note: before band {} do not warm up: with its coldest point warm its hottest is over the limit between \
                 bands, and without it is too cold. Neither waiting nor a burner does: ask the procedure's owner for a \
                 wider range, or soak the joint evenly and measure it all round",
                index + 1
            ));
            continue;
        }
        let takes = warm.seconds.map_or("over 4 h".to_owned(), |seconds| format!("about {}", clock(seconds)));
        notes.push(format!(
            "note: before band {} warm its place up, from {} at its coldest to at least {}: {takes} with a burner that \
             brings {:.0} kW into the steel (invented), evenly all round; measure",
            index + 1,
            shown(warm.from_c),
            shown(warm.to_c),
            BURNER_W / 1000.0
        ));
    }
    if heat.sequence.is_some() {
        notes.push(
            "note: worked out for heat spread evenly round the joint, a pipe of one section, and nothing lost into \
             the bore; measure before each band. Cooling rates are means over 10 minutes"
                .to_owned(),
        );
    }
    notes
}

/// The heat as one JSON object; units are in the names.
pub fn json(heat: &HeatPlan) -> Value {
    let preheat = heat.preheat.as_ref().map(|preheat| {
        let beyond: Vec<_> = preheat.beyond.iter().map(outside).collect();
        json!({ "least_c": preheat.least_c, "beyond_the_formula": beyond })
    });
    let time = heat.cooling_time.map(|time| {
        json!({ "s": time.seconds, "two_dimensional": time.is_two_dimensional, "transition_mm": time.transition_mm })
    });
    let bands: Option<Vec<_>> = heat.sequence.as_ref().map(|all| all.bands.iter().map(band_json).collect());
    let ways: Vec<_> = heat
        .ways
        .iter()
        .map(|way| {
            json!({
                "way": way.title, "to_c": way.until_c, "seconds": way.cooling.seconds,
                "fastest_c_per_h": way.cooling.fastest_c_per_h, "judged_c_per_h": way.judged_c_per_h,
            })
        })
        .collect();
    let times: Vec<_> = heat.cooling_times().iter().map(|time| time.map(|time| time.seconds)).collect();
    json!({
        "t85_by_band_s": times,
        "cooling_limit": heat.cooling_limit.map(|limit| {
            json!({ "most_c_per_h": limit.most_c_per_h, "until_c": limit.until_c })
        }),
        "wall_mm": heat.wall_mm, "carbon_equivalent_percent": heat.carbon_equivalent, "preheat": preheat,
        "hydrogen_ml_per_100_g": heat.hydrogen.value, "start_c": heat.start_c.value,
        "t85": time, "coating_limit_c": heat.coating_limit_c.value, "bands": bands, "cooling": ways,
        "missing": heat.missing, "burns_through_at_band": heat.melts_at_band,
        "nothing_limits_between_bands": heat.is_unlimited_between,
        "no_preheat_satisfies_both": heat.procedure_cannot_meet_formula_c().is_some(),
    })
}

fn band_json(band: &BandHeat) -> Value {
    let (before, wait_s) = match band.before {
        Before::GoOn => ("begin", Some(0.0)),
        Before::Wait(seconds) => ("wait", Some(seconds)),
        Before::WarmUp(_) => ("warm up", None),
        Before::TooHot => ("too hot", None),
    };
    let warm_up = match band.before {
        Before::WarmUp(warm) => Some(warm),
        _ => None,
    };
    json!({
        "warm_up_to_c": warm_up.map(|warm| warm.to_c), "warm_up_s": warm_up.and_then(|warm| warm.seconds),
        "before": before, "wait_s": wait_s, "start_hottest_c": band.start_c.0, "start_coldest_c": band.start_c.1,
        "outside_c": band.outside_c, "bore_c": band.bore_c, "bore_under_torch_c": band.bore_under_torch_c,
    })
}
