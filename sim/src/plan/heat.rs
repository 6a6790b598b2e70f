//! The heat of a planned joint: the preheat its steel needs, how fast the weld cools, band after band, and the
//! cooling at the end.
//!
//! Decides: which value is used where several could be: what was asked for, then the procedure, then what is
//! usual.
//! Assumes: the amps, volts and turn of the plan.
//! Never: changes the plan or its verdict: what is worked out here is advice beside a qualified procedure.

use super::choice::{Chosen, Origin, aim};
use super::{JointPlan, THERMAL_EFFICIENCY};
use crate::heat::cooling::{Cooling, cool, fastest_fall};
use crate::heat::cylinder::Cylinder;
use crate::heat::preheat::{Conditions, PREHEAT_PLAY_C, USUAL_HYDROGEN};
use crate::heat::sequence::{BandHeat, Before, Job, Sequence};
use crate::heat::steel::MELTS_C;
use crate::heat::{Composition, CoolingTime, Preheat, Surroundings};
use crate::input::bounds::Bounds;
use crate::input::material::{Material, USUAL_COATING_LIMIT_C};
use crate::input::procedure_file::ProcedureFile;
use crate::input::setting::Subject;
use bandward::Quantity;

/// Where nobody says: a shop at 20 °C. Invented.
pub const USUAL_AMBIENT_C: f64 = 20.0;
/// Bare steel below it may be moved by hand in gloves, °C. Common practice, no source.
pub const MAY_BE_MOVED_C: f64 = 60.0;
/// Thickness of a blanket, mm, and a light wind, m/s, that the cooling is shown for.
const USUAL_BLANKET_MM: f64 = 25.0;
const LIGHT_WIND_M_PER_S: f64 = 3.0;

/// What is asked for; what is left out comes from the procedure or from what is usual.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct HeatRequest {
    /// Bore, mm.
    pub bore_mm: Option<f64>,
    /// Highest temperature of the coating of the bore, °C.
    pub coating_limit_c: Option<f64>,
    /// The steel.
    pub composition: Option<Composition>,
    /// Hydrogen, mL in 100 g.
    pub hydrogen_ml_per_100_g: Option<f64>,
    /// Temperature before the first band, °C.
    pub preheat_c: Option<f64>,
    /// Temperature of the air, °C.
    pub ambient_c: Option<f64>,
    /// Speed of the air, m/s.
    pub wind_m_per_s: Option<f64>,
    /// Thickness of a blanket for the cooling, mm.
    pub blanket_mm: Option<f64>,
}

/// One way to let a joint cool.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CoolingWay {
    /// In words.
    pub title: &'static str,
    /// What is around it.
    pub surroundings: Surroundings,
    /// It may be moved below this, °C.
    pub until_c: f64,
    /// How it cools.
    pub cooling: Cooling,
    /// Its fastest fall as the procedure's limit is judged, °C/h, where there is one and the joint is above its end when it is looked at.
    pub judged_c_per_h: Option<f64>,
}

/// How slowly the procedure has the joint cool.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CoolingLimit {
    /// Fastest fall, °C/h.
    pub most_c_per_h: f64,
    /// It holds down to here, °C.
    pub until_c: f64,
}

impl CoolingLimit {
    /// Does a joint that is left so keep to it? Not where nobody can tell.
    pub fn is_held_by(&self, way: &CoolingWay) -> bool {
        way.judged_c_per_h.is_some_and(|fall| fall <= self.most_c_per_h)
    }
}

/// The heat of a joint. A value that is `None` needs something nobody gave: see `missing`.
#[derive(Clone, Debug)]
pub struct HeatPlan {
    /// Carbon equivalent CET, percent.
    pub carbon_equivalent: Option<f64>,
    /// Hydrogen, mL in 100 g.
    pub hydrogen: Chosen,
    /// Wall of the joint, mm.
    pub wall_mm: Option<f64>,
    /// Preheat by formula.
    pub preheat: Option<Preheat>,
    /// The procedure's own range.
    pub preheat_range: Option<Bounds>,
    /// Temperature before the first band, °C.
    pub start_c: Chosen,
    /// From 800 to 500 °C at the first band.
    pub cooling_time: Option<CoolingTime>,
    /// Heat input, kJ/mm.
    pub heat_input_kj_per_mm: Option<f64>,
    /// Highest temperature of the coating of the bore, °C.
    pub coating_limit_c: Chosen,
    /// Range of the temperature between bands.
    pub between: Option<Bounds>,
    /// What is around the joint while it is welded.
    pub surroundings: Surroundings,
    /// Band after band.
    pub sequence: Option<Sequence>,
    /// How slowly it must cool afterwards.
    pub cooling_limit: Option<CoolingLimit>,
    /// What the joint cools in afterwards.
    pub ways: Vec<CoolingWay>,
    /// The first band, from 1, at which the wall would melt: from there on the model no longer holds, and nothing that
    /// it gives is kept.
    pub melts_at_band: Option<usize>,
    /// Does nothing limit how hot the joint may be between bands, where bands follow each other?
    pub is_unlimited_between: bool,
    /// Parts of the steel that nobody gives and that are taken as none.
    pub taken_as_none: Vec<&'static str>,
    /// The steel is named, or written out, at least in part.
    pub is_steel_given: bool,
    /// What is missing, as options and keys.
    pub missing: Vec<String>,
}

impl HeatPlan {
    /// Works out the heat of a plan.
    pub fn of(plan: &JointPlan, request: &HeatRequest, procedure: &ProcedureFile) -> Self {
        let material = &procedure.material;
        let chosen = |asked: Option<f64>, given: Option<f64>, usual: f64| {
            Chosen::first(asked, given).unwrap_or(Chosen { value: usual, origin: Origin::Usual })
        };
        let bore_mm = request.bore_mm.or(material.bore_mm).filter(|bore| *bore < plan.outside_diameter_mm);
        let composition = request.composition.or(material.composition);
        // A steel that was asked for goes before what the procedure writes out.
        let written = request.composition.is_none().then_some(material);
        let wall_mm = bore_mm.map(|bore| 0.5 * (plan.outside_diameter_mm - bore));
        let hydrogen = chosen(request.hydrogen_ml_per_100_g, material.hydrogen_ml_per_100_g, USUAL_HYDROGEN);
        let carbon_equivalent = composition.map(|steel| steel.carbon_equivalent());
        let preheat = carbon_equivalent.zip(wall_mm).zip(plan.heat_input_kj_per_mm());
        let preheat = preheat.map(|((carbon_equivalent, thickness_mm), heat_input_kj_per_mm)| {
            let hydrogen_ml_per_100_g = hydrogen.value;
            Preheat::of(Conditions {
                carbon_equivalent,
                thickness_mm,
                hydrogen_ml_per_100_g,
                heat_input_kj_per_mm,
            })
        });
        let surroundings = Surroundings {
            ambient_c: request.ambient_c.unwrap_or(USUAL_AMBIENT_C),
            wind_m_per_s: request.wind_m_per_s.unwrap_or(0.0),
            blanket_mm: 0.0,
        };
        let mut heat = Self {
            carbon_equivalent,
            hydrogen,
            wall_mm,
            preheat_range: range(procedure, Quantity::Preheat),
            start_c: start(request, procedure, preheat.as_ref(), surroundings.ambient_c),
            preheat,
            cooling_time: None,
            heat_input_kj_per_mm: plan.heat_input_kj_per_mm(),
            coating_limit_c: chosen(request.coating_limit_c, material.coating_limit_c, USUAL_COATING_LIMIT_C),
            between: range(procedure, Quantity::Interpass),
            surroundings,
            sequence: None,
            cooling_limit: cooling_limit(procedure),
            ways: Vec::new(),
            melts_at_band: None,
            is_unlimited_between: false,
            is_steel_given: composition.is_some()
                || written.is_some_and(|material| material.lacks.iter().any(Option::is_some)),
            taken_as_none: written.iter().flat_map(|material| material.taken_as_none).flatten().collect(),
            missing: missing(plan, bore_mm, carbon_equivalent, written),
        };
        let is_followed = plan.bands.is_some_and(|bands| bands.count > bands.groups);
        heat.is_unlimited_between = is_followed && heat.between.is_none_or(|range| range.high.is_none());
        let input = plan.heat_input_kj_per_mm().zip(wall_mm);
        heat.cooling_time = input.and_then(|(input, wall)| CoolingTime::of(input, wall, heat.start_c.value));
        if let Some(job) = bore_mm.and_then(|bore_mm| job(plan, &heat, bore_mm)) {
            let (longest, ended, sequence) = of_groups(plan, &job);
            heat.ways = ways(&heat, &longest, &ended, request);
            heat.sequence = sequence;
            heat.drop_what_melts();
        }
        heat
    }
    /// A wall that melts through has no temperature that could be worked out, and what comes after it neither.
    fn drop_what_melts(&mut self) {
        let Some(sequence) = &mut self.sequence else { return };
        let melts = |band: &BandHeat| band.bore_under_torch_c >= MELTS_C;
        let Some(index) = sequence.bands.iter().position(melts) else { return };
        sequence.bands.truncate(index);
        (self.melts_at_band, self.ways) = (Some(index + 1), Vec::new());
        if index == 0 {
            self.cooling_time = None;
        }
    }
    /// Least preheat that the procedure allows, where it lies below what the formula asks for, °C.
    pub fn procedure_below_formula_c(&self) -> Option<f64> {
        let least_c = self.preheat_range?.low?;
        self.preheat.as_ref().is_some_and(|preheat| least_c < preheat.least_c).then_some(least_c)
    }
    /// From 800 to 500 °C at each band, from where its strip is hottest as it begins; `None` where the
    /// formula does not hold.
    pub fn cooling_times(&self) -> Vec<Option<CoolingTime>> {
        let Some((input, wall_mm)) = self.heat_input_kj_per_mm.zip(self.wall_mm) else { return Vec::new() };
        let bands = self.sequence.iter().flat_map(|sequence| &sequence.bands);
        bands.map(|band| CoolingTime::of(input, wall_mm, band.start_c.0)).collect()
    }
    /// Does the formula ask for more than the procedure allows at most? Its highest preheat, °C.
    pub fn procedure_cannot_meet_formula_c(&self) -> Option<f64> {
        let most_c = self.preheat_range?.high?;
        self.preheat.as_ref().is_some_and(|preheat| preheat.least_c > most_c).then_some(most_c)
    }
    /// Is the joint to be welded colder than its steel needs, as it starts or between its bands?
    pub fn is_colder_than_needed(&self) -> bool {
        let most_between_c = self.between.and_then(|range| range.high);
        self.preheat.as_ref().is_some_and(|preheat| {
            let is_colder = |temperature_c: f64| temperature_c < preheat.least_c - PREHEAT_PLAY_C;
            let mut bands = self.sequence.iter().flat_map(|sequence| &sequence.bands);
            is_colder(self.start_c.value)
                || most_between_c.is_some_and(is_colder)
                || bands.any(|band| is_colder(band.start_c.1))
        })
    }
    /// The first later band that begins hotter than allowed, because its place is never within as a whole: the band,
    /// from 1, and its hottest point, °C.
    pub fn begins_too_hot(&self) -> Option<(usize, f64)> {
        let mut bands = self.sequence.as_ref()?.bands.iter().enumerate();
        bands.find(|(_, band)| self.is_begun_too_hot(band)).map(|(index, band)| (index + 1, band.start_c.0))
    }
    /// Is the hottest point of a later band's place over the limit as it begins?
    pub fn is_begun_too_hot(&self, band: &BandHeat) -> bool {
        let most_c = self.between.and_then(|range| range.high).map(|high_c| high_c + PREHEAT_PLAY_C);
        band.before != Before::GoOn && most_c.is_some_and(|most_c| band.start_c.0 > most_c)
    }
    /// Where the coating of the bore is harmed first: the band, from 1, and the temperature, °C.
    pub fn coating_harmed(&self) -> Option<(usize, f64)> {
        let bands = self.sequence.as_ref()?.bands.iter().enumerate();
        let mut hot = bands.filter(|(_, band)| band.bore_under_torch_c > self.coating_limit_c.value);
        hot.next().map(|(index, band)| (index + 1, band.bore_under_torch_c))
    }
}

/// The range that must be kept, or the one to aim at where there is no other.
fn range(procedure: &ProcedureFile, quantity: Quantity) -> Option<Bounds> {
    let setting = procedure.setting(Subject::Judged(quantity))?;
    setting.allowed.or(setting.recommended)
}

fn cooling_limit(procedure: &ProcedureFile) -> Option<CoolingLimit> {
    let most_c_per_h = range(procedure, Quantity::Cooling)?.high?;
    let until_c = procedure.setting(Subject::Judged(Quantity::Cooling))?.until_c?;
    Some(CoolingLimit { most_c_per_h, until_c })
}

fn start(
    request: &HeatRequest,
    procedure: &ProcedureFile,
    preheat: Option<&Preheat>,
    ambient_c: f64,
) -> Chosen {
    let given = aim(procedure, Subject::Judged(Quantity::Preheat));
    let needed =
        |preheat: &Preheat| Chosen { value: preheat.least_c.max(ambient_c), origin: Origin::Formula };
    let usual = Chosen { value: ambient_c, origin: Origin::Usual };
    // What the procedure aims at is raised to what the steel needs, as far as the procedure allows that.
    let allows =
        |least_c: f64| range(procedure, Quantity::Preheat).is_none_or(|range| range.contains(least_c));
    let raised = preheat.filter(|preheat| {
        request.preheat_c.is_none()
            && given.is_some_and(|given| given < preheat.least_c)
            && allows(preheat.least_c)
    });
    raised.map(needed).or(Chosen::first(request.preheat_c, given)).or(preheat.map(needed)).unwrap_or(usual)
}

fn missing(
    plan: &JointPlan,
    bore_mm: Option<f64>,
    carbon_equivalent: Option<f64>,
    written: Option<&Material>,
) -> Vec<String> {
    let lacks: Vec<_> = written.iter().flat_map(|material| material.lacks).flatten().collect();
    if carbon_equivalent.is_none() && !lacks.is_empty() {
        let parts = format!("{} of the steel in [material] (0 % where there is none)", lacks.join(", "));
        let others = missing(plan, bore_mm, Some(0.0), None);
        return std::iter::once(parts).chain(others).collect();
    }
    let wanted = [
        (bore_mm.is_none(), "the bore (smaller than the joint): `bore` in [material], or --bore"),
        (carbon_equivalent.is_none(), "the steel: `steel` or `carbon` in [material], or --steel"),
        (plan.arc_energy_kj_per_mm.is_none(), "amps and volts"),
        (plan.bands.is_none(), "the width and number of bands"),
    ];
    wanted.into_iter().filter(|(is_missing, _)| *is_missing).map(|(_, what)| what.to_owned()).collect()
}

fn job(plan: &JointPlan, heat: &HeatPlan, bore_mm: f64) -> Option<Job> {
    let bands = plan.bands?;
    let power_w = plan.current_a?.value * plan.voltage_v?.value;
    let torch_s = plan.supply.torch_time_s?;
    Some(Job {
        outside_diameter_mm: plan.outside_diameter_mm,
        bore_mm,
        bands: bands.count,
        band_width_mm: bands.band_width_mm,
        step_over_mm: bands.step_over_mm.map_or(0.0, |step| step.value),
        band_s: torch_s / f64::from(bands.count),
        turn_s: plan.turn_time_s.value,
        heat_w: THERMAL_EFFICIENCY * power_w,
        preheat_c: heat.start_c.value,
        least_between_c: least_between(heat),
        most_between_c: heat.between.and_then(|range| range.high),
        surroundings: heat.surroundings,
    })
}

/// What the procedure asks for between bands, raised to what the steel needs as far as the procedure allows that.
fn least_between(heat: &HeatPlan) -> Option<f64> {
    let least_c = heat.between.and_then(|range| range.low);
    let needed_c = heat.preheat.as_ref().map(|preheat| preheat.least_c);
    let allows = |needed_c: f64| {
        heat.between.is_none_or(|range| range.contains(needed_c.max(least_c.unwrap_or(needed_c))))
    };
    let needed_c = needed_c.filter(|needed_c| allows(*needed_c));
    least_c.into_iter().chain(needed_c).reduce(f64::max)
}

/// Group after group: each lies in a place of its own, and starts anew at the preheat. Also the largest group and the
/// joint as that ends, which is the one to cool.
fn of_groups(plan: &JointPlan, job: &Job) -> (Job, Cylinder, Option<Sequence>) {
    let stretches = plan.placement.iter().flat_map(|placement| &placement.stretches);
    let counts: Vec<_> = stretches.map(|stretch| stretch.bands.len() as u32).collect();
    let largest = Job { bands: counts.iter().copied().max().unwrap_or(job.bands), ..*job };
    let run = largest.run();
    let ended = run.end.clone();
    let course = |bands: u32| if bands == largest.bands { run.clone() } else { Job { bands, ..*job }.run() };
    (largest, ended, counts.into_iter().map(course).reduce(Sequence::then))
}

fn ways(heat: &HeatPlan, job: &Job, end: &Cylinder, request: &HeatRequest) -> Vec<CoolingWay> {
    let ambient_c = heat.surroundings.ambient_c;
    let place_mm = job.strip_mm(job.bands.saturating_sub(1));
    let until_c = MAY_BE_MOVED_C.max(ambient_c + 5.0);
    let still = Surroundings::still(ambient_c);
    let blanket_mm = request.blanket_mm.unwrap_or(USUAL_BLANKET_MM);
    let wind_m_per_s = request.wind_m_per_s.filter(|wind| *wind > 0.0).unwrap_or(LIGHT_WIND_M_PER_S);
    [
        ("under a blanket", Surroundings { blanket_mm, ..still }),
        ("in still air", still),
        ("in moving air", Surroundings { wind_m_per_s, ..still }),
    ]
    .map(|(title, surroundings)| {
        let temperatures = (heat.start_c.value, until_c);
        let cooling = cool(end, job.outside_diameter_mm, place_mm, &surroundings, temperatures);
        let judged_c_per_h = heat.cooling_limit.and_then(|limit| {
            fastest_fall(end, job.outside_diameter_mm, place_mm, &surroundings, limit.until_c)
        });
        CoolingWay { title, surroundings, until_c, cooling, judged_c_per_h }
    })
    .to_vec()
}

impl JointPlan {
    /// Takes over what its heat shows.
    pub fn heed(&mut self, heat: &HeatPlan) {
        self.unproven.extend(heat.melts_at_band.map(|band| {
            format!(
                "the wall melts through at band {band}, as its heat is worked out: the model no longer holds, and \
                 nobody should weld this"
            )
        }));
        if let Some(limit) = heat.cooling_limit
            && !heat.ways.is_empty()
            && !heat.ways.iter().any(|way| limit.is_held_by(way))
        {
            self.unproven
                .push("no way to let it cool that was worked out keeps to the cooling limit".to_owned());
        }
        self.unproven.extend(heat.begins_too_hot().map(|(band, _)| {
            format!("band {band} would begin hotter than is allowed between bands: its place is never within as a whole")
        }));
        if heat.is_colder_than_needed() && heat.procedure_cannot_meet_formula_c().is_none() {
            self.unproven.push(
                "the joint would be welded colder than its steel needs, as it starts or between its bands: it may \
                 crack"
                    .to_owned(),
            );
        }
        if heat.is_steel_given && heat.preheat.is_none() {
            self.unproven.push(format!(
                "the steel is given, and whether the joint is warm enough for it could not be worked out; missing: {}",
                heat.missing.join("; ")
            ));
        }
        if heat.procedure_cannot_meet_formula_c().is_some() {
            self.unproven
                .push("no preheat is both what the steel needs and what the procedure allows".to_owned());
        }
    }
}
