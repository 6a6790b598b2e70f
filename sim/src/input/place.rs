//! Where on a tool joint the bands lie: the tables `[[place]]` of a procedure file, one for each group of bands.
//!
//! Decides: what the keys mean, and which of them go together.
//! Assumes: distances run along the joint from the shoulder, the face on which pin and box are made up, towards
//! the pipe; the bands of a place are counted the same way.
//! Never: works out where a band ends; the plan does.

use super::document::Section;
use super::parts::Joint;
use super::quantity::Dimension;

/// An end of the pipe.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// The box.
    Box,
    /// The pin.
    Pin,
}

impl End {
    /// The word a file has for it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Box => "box",
            Self::Pin => "pin",
        }
    }
    /// The taper from the joint's diameter down to the pipe, degrees: 18 at the box, where the elevator carries
    /// the pipe, 35 at the pin. Common practice, no source.
    pub const fn usual_taper_deg(self) -> f64 {
        match self {
            Self::Box => 18.0,
            Self::Pin => 35.0,
        }
    }
}

/// How a band is to stand.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Finish {
    /// Laid on the joint's diameter, proud of it by its whole height.
    Raised,
    /// Laid in a groove of this depth, mm, level with the joint.
    Flush {
        /// Depth of the groove, mm.
        groove_depth_mm: f64,
    },
}

/// The taper of an end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Taper {
    /// Where it begins, mm from the shoulder.
    pub from_mm: f64,
    /// How steep it is, degrees.
    pub angle_deg: f64,
    /// May bands lie on it?
    pub may_carry_bands: bool,
}

/// A place for bands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// The end of the pipe.
    pub end: End,
    /// From the shoulder to the near edge of the first band, mm.
    pub first_edge_mm: f64,
    /// Outside diameter of the joint there, mm, where it is not that of the whole joint.
    pub diameter_mm: Option<f64>,
    /// How the bands are to stand.
    pub finish: Finish,
    /// The taper, where the procedure says where it begins.
    pub taper: Option<Taper>,
}

impl Place {
    /// Outside diameter of a joint of `joint_mm` at a distance from the shoulder, mm; zero and less beyond the end of
    /// the taper. Geometry.
    pub fn diameter_at_mm(&self, at_mm: f64, joint_mm: f64) -> f64 {
        let fallen_mm = self
            .taper
            .map_or(0.0, |taper| (at_mm - taper.from_mm).max(0.0) * taper.angle_deg.to_radians().tan());
        self.diameter_mm.unwrap_or(joint_mm) - 2.0 * fallen_mm
    }
}

/// Reads the places; as many as there are groups, or one where there are none.
pub(super) fn read_places(root: &Section<'_>, joint: &Joint) -> Vec<Place> {
    let sections = root.sections("place");
    let groups = joint.groups.iter().filter(|&&bands| bands > 0).count().max(1);
    if let Some(last) = sections.last()
        && sections.len() != groups
    {
        let problem = format!("{} places for {groups} group(s) of bands", sections.len());
        last.fault(
            last.place(),
            problem,
            "a [[place]] for each of `groups` in [joint], or one for all bands",
        );
    }
    sections.into_iter().filter_map(read_place).collect()
}

fn read_place(section: Section<'_>) -> Option<Place> {
    section.require("end", "\"box\" or \"pin\"");
    section.require("first_edge", "the distance from the shoulder to the near edge of the first band");
    let end = section.choice("end", &[("box", End::Box), ("pin", End::Pin)]).map(|end| end.value);
    let length = |key, largest_mm: f64| {
        let allowed = format!("0 mm to {largest_mm} mm");
        section.quantity_within(key, Dimension::Length, 0.0..=largest_mm, &allowed).map(|size| size.value)
    };
    let first_edge_mm = length("first_edge", 1000.0);
    let diameter = section.quantity_within("diameter", Dimension::Length, 10.0..=1000.0, "10 mm to 1000 mm");
    let finish = read_finish(&section);
    let from_mm = length("taper_from", 1000.0);
    let angle = section.quantity_within("taper", Dimension::Angle, 5.0..=90.0, "5 deg to 90 deg");
    let carries = section.flag("bands_on_taper");
    for (key, is_given) in [("taper", angle.is_some()), ("bands_on_taper", carries.is_some())] {
        if is_given && from_mm.is_none() {
            let problem = format!("`{key}` says nothing where the taper begins");
            section.fault(section.place(), problem, "with `taper_from`, the distance from the shoulder");
        }
    }
    section.finish();
    let end = end?;
    let taper = from_mm.map(|from_mm| Taper {
        from_mm,
        angle_deg: angle.map_or(end.usual_taper_deg(), |angle| angle.value),
        may_carry_bands: carries.is_some_and(|carries| carries.value),
    });
    let diameter_mm = diameter.map(|diameter| diameter.value);
    Some(Place { end, first_edge_mm: first_edge_mm?, diameter_mm, finish: finish?, taper })
}

/// A groove belongs to a flush band, and only to one.
fn read_finish(section: &Section<'_>) -> Option<Finish> {
    let depth = section.quantity_within("groove_depth", Dimension::Length, 0.1..=20.0, "0.1 mm to 20 mm");
    let is_flush = section.choice("finish", &[("raised", false), ("flush", true)]);
    match (is_flush.is_some_and(|flush| flush.value), depth) {
        (true, Some(depth)) => Some(Finish::Flush { groove_depth_mm: depth.value }),
        (false, None) => Some(Finish::Raised),
        (true, None) => {
            if !section.has("groove_depth") {
                section.fault(section.place(), "a flush band lies in a groove", "`groove_depth`, its depth");
            }
            None
        }
        (false, Some(depth)) => {
            let allowed = "finish = \"flush\", or no groove_depth";
            section.fault(&depth.place, "a raised band lies in no groove", allowed);
            None
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::procedure_file::ProcedureFile;
    use super::*;

    fn read(joint: &str, places: &str) -> Result<Vec<Place>, String> {
        let text = format!("[joint]\n{joint}\n{places}");
        ProcedureFile::parse("test", &text).map(|file| file.places).map_err(|errors| errors.to_string())
    }

    #[test]
    fn a_place_is_read_with_what_is_usual_for_its_end() {
        let two = "[[place]]\nend = \"box\"\nfirst_edge = \"1 in\"\ntaper_from = \"10 in\"\n\
                   [[place]]\nend = \"pin\"\nfirst_edge = \"2 in\"\nfinish = \"flush\"\ngroove_depth = \"3/32 in\"\n\
                   taper_from = \"7 in\"\ntaper = \"30 deg\"\nbands_on_taper = true\n";
        let places = read("bands = 3\ngroups = [2, 1]", two).unwrap_or_else(|told| panic!("{told}"));
        let taper = |place: &Place| place.taper.map(|taper| (taper.angle_deg, taper.may_carry_bands));
        assert_eq!(places.iter().map(taper).collect::<Vec<_>>(), [Some((18.0, false)), Some((30.0, true))]);
        assert_eq!((places[0].finish, places[0].first_edge_mm), (Finish::Raised, 25.4));
        // 3/32 in are 2.38125 mm.
        assert_eq!(places[1].finish, Finish::Flush { groove_depth_mm: 2.38125 });
        assert_eq!(read("bands = 3", ""), Ok(Vec::new()));
    }

    /// A key that nothing would use is refused, and so is what contradicts itself.
    #[test]
    fn what_does_not_go_together_is_refused() {
        let place = "[[place]]\nend = \"box\"\nfirst_edge = \"1 in\"\n";
        for (joint, places, words) in [
            ("", "[[place]]\nend = \"box\"\n".to_owned(), "`first_edge` is missing"),
            ("", "[[place]]\nfirst_edge = \"1 in\"\n".to_owned(), "`end` is missing"),
            ("", format!("{place}{place}"), "2 places for 1 group(s)"),
            ("bands = 3\ngroups = [2, 1]", place.to_owned(), "1 places for 2 group(s)"),
            ("", format!("{place}taper = \"18 deg\"\n"), "`taper` says nothing where the taper begins"),
            ("", format!("{place}bands_on_taper = true\n"), "`bands_on_taper` says nothing"),
            ("", format!("{place}finish = \"flush\"\n"), "a flush band lies in a groove"),
            ("", format!("{place}groove_depth = \"2 mm\"\n"), "a raised band lies in no groove"),
            ("", format!("{place}taper_form = \"9 in\"\n"), "did you mean `taper_from`?"),
        ] {
            let told = read(joint, &places).expect_err(words);
            assert!(told.contains(words), "{words}: {told}");
        }
    }
}
