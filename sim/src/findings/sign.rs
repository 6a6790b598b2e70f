//! The signs of the table of causes: their wording, and how clearly each is seen in a case.
//!
//! Decides: what the words of a sign mean in figures.
//! Assumes: a case, with the window that called for it.
//! Never: knows a cause.

use super::case::{Case, Usual};
use super::evidence::Evidence;
use super::pattern;
use super::seen::{Seen, ramp};
use super::series::{Departure, Measurand, Way, Window, departure, mean_in, series, usual};
use super::standing;
use crate::alarm::Alarm;
use crate::input::unit::Dimension;
use crate::raw::seconds;
use bandward::{Channel, Rule, Severity};
use serde::Deserialize;

/// What a quantity does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Behaviour {
    /// Goes off at once, or is off from the start of the band.
    Steps(Way),
    /// Goes off over seconds.
    Creeps(Way),
    /// Is off on average.
    Off(Way),
    /// Is not off on average.
    Steady,
    /// Goes up and down over seconds.
    Ragged,
    /// Goes off and comes back several times.
    ComesAndGoes,
    /// Goes off, and comes back before the band ends.
    ComesBack,
    /// Swings once a turn, at the same place on every band.
    OnceATurn,
}

/// Words of the table and what they mean.
const BEHAVIOURS: [(&str, Behaviour); 11] = [
    ("steps down", Behaviour::Steps(Way::Down)),
    ("steps up", Behaviour::Steps(Way::Up)),
    ("falls slowly", Behaviour::Creeps(Way::Down)),
    ("rises slowly", Behaviour::Creeps(Way::Up)),
    ("is lower", Behaviour::Off(Way::Down)),
    ("is higher", Behaviour::Off(Way::Up)),
    ("is steady", Behaviour::Steady),
    ("is ragged", Behaviour::Ragged),
    ("comes and goes", Behaviour::ComesAndGoes),
    ("comes back", Behaviour::ComesBack),
    ("swings once a turn", Behaviour::OnceATurn),
];

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum What {
    BandHistory(Measurand, Behaviour),
    Alarm(Rule),
    Flutter,
    FlutterGrows,
    CurrentMost,
    Dips,
    ShortBySlip,
    Still,
    CreepsOn,
    StruckAgain,
    GoesOn,
    AtItsEnd,
    BandEnds,
    AtNothing,
}

/// Words of the table and what they mean.
const OTHERS: [(&str, What); 12] = [
    ("current and voltage flutter", What::Flutter),
    ("the flutter grows", What::FlutterGrows),
    ("the current flutters most", What::CurrentMost),
    ("the voltage dips", What::Dips),
    ("the turn is short by what was lost", What::ShortBySlip),
    ("the reading stands still", What::Still),
    ("the reading stands at its end", What::AtItsEnd),
    ("the band ends with it", What::BandEnds),
    ("the reading shows nothing", What::AtNothing),
    ("the pipe creeps on", What::CreepsOn),
    ("the arc was struck again", What::StruckAgain),
    ("the band goes on from the one before", What::GoesOn),
];

/// A sign, as the table words it; the clearest of several with ` or ` between them.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(try_from = "String")]
pub struct Sign(Vec<One>);

/// One sign; `no ` before it turns it round.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct One {
    what: What,
    absent: bool,
}

impl TryFrom<String> for Sign {
    type Error = String;

    fn try_from(text: String) -> Result<Self, String> {
        text.split(" or ").map(One::read).collect::<Result<_, _>>().map(Self)
    }
}

impl One {
    fn read(text: &str) -> Result<Self, String> {
        let (absent, words) = text.strip_prefix("no ").map_or((false, text), |rest| (true, rest));
        let what = what(words).ok_or_else(|| format!("`{text}` is no sign"))?;
        Ok(Self { what, absent })
    }
}

fn what(words: &str) -> Option<What> {
    if let Some(rule) = words.strip_prefix("alarm ") {
        return Rule::from_name(rule).map(What::Alarm);
    }
    let course = |subject: Measurand| {
        let rest = words.strip_prefix(subject.name())?.strip_prefix(' ')?;
        let (_, behaviour) = BEHAVIOURS.into_iter().find(|(name, _)| *name == rest)?;
        Some(What::BandHistory(subject, behaviour))
    };
    let other = OTHERS.into_iter().find(|(name, _)| *name == words).map(|(_, what)| what);
    other.or_else(|| Measurand::ALL.into_iter().find_map(course))
}

/// A change that took longer than this is slow, s: sure of it at the second.
const SLOW_S: (f64, f64) = (1.2, 2.6);
/// A first-order lag goes from a fifth to half its way in 0.34 of the time to four fifths
/// (ln 1.6 / ln 4), an even fall in 0.5.
const LAGGED: (f64, f64) = (0.34, 0.46);
/// No flow meter is so slow, s (common practice, no source): sure of it at the second.
const METER_S: (f64, f64) = (6.0, 10.0);
/// A fall that takes so many times as long as the way back is slower than its meter: sure of it at the second.
const BACK: (f64, f64) = (1.5, 2.5);
/// Stretches that a fall must take for its shape to be told.
const SHAPED: f64 = 8.0;
/// A mean that is off by this share of the usual one is off: sure of it at the second.
const OFF: (f64, f64) = (0.02, 0.06);
/// Flutter that is so many times its size in the end has grown: sure of it at the second.
const GROWN: (f64, f64) = (1.08, 1.3);
/// The current flutters most when it does so many times as much as the voltage: sure of it at the second.
const CURRENT_MOST: (f64, f64) = (1.2, 1.7);
/// The voltage flutters too where it scatters so many times as much as normal: sure of it at the second.
const VOLTAGE_TOO: (f64, f64) = (1.1, 1.3);
/// Share of readings that dip in a bridging arc: sure of it at the second.
const DIPPING: (f64, f64) = (0.004, 0.015);

impl Sign {
    /// How clearly it is seen; `None` where it cannot be judged.
    pub fn look(&self, case: &Case<'_>) -> Option<Seen> {
        let seen = self.0.iter().filter_map(|one| one.look(case));
        seen.max_by(|a, b| a.degree.total_cmp(&b.degree))
    }
}

impl One {
    fn look(self, case: &Case<'_>) -> Option<Seen> {
        let seen = match self.what {
            What::BandHistory(subject, behaviour) => course(case, subject, behaviour)?,
            What::Alarm(rule) => alarm(case, rule),
            What::Flutter => flutter(case)?,
            What::FlutterGrows => flutter_grows(case)?,
            What::CurrentMost => current_most(case)?,
            What::Dips => dips(case)?,
            What::ShortBySlip => short_by_slip(case)?,
            What::Still => standing::still(case)?,
            What::AtItsEnd => standing::at_its_end(case)?,
            What::AtNothing => standing::at_nothing(case)?,
            What::CreepsOn => pattern::creeps_on(case)?,
            What::StruckAgain => pattern::struck_again(case)?,
            What::GoesOn => pattern::goes_on(case),
            What::BandEnds => pattern::band_ends(case)?,
        };
        // A sign that was looked for in vain is told by what was seen instead.
        Some(if self.absent { Seen { degree: 1.0 - seen.degree, ..seen } } else { seen })
    }
}

fn course(case: &Case<'_>, subject: Measurand, behaviour: Behaviour) -> Option<Seen> {
    match behaviour {
        Behaviour::Steps(way) => coming(case, subject, way, false),
        Behaviour::Creeps(way) => coming(case, subject, way, true),
        Behaviour::Off(_) | Behaviour::Steady => mean_off(case, subject, behaviour),
        Behaviour::Ragged => pattern::ragged(case, subject),
        Behaviour::ComesAndGoes => pattern::comes_and_goes(case, subject),
        Behaviour::ComesBack => pattern::comes_back(case, subject),
        Behaviour::OnceATurn => pattern::once_a_turn(case, subject),
    }
}

/// Did it come slowly, or at once?
fn coming(case: &Case<'_>, subject: Measurand, way: Way, slowly: bool) -> Option<Seen> {
    let points = case.series(subject);
    let usual = case.usual(subject, &points).map(|usual| usual.value);
    let Some(found) = usual.and_then(|usual| departure(&points, case.window, usual, way)) else {
        // Off all along: it was so from the start, and did not creep.
        let off_all_along = usual.is_none() && !points.is_empty();
        return off_all_along.then_some(Seen { degree: f64::from(u8::from(!slowly)), evidence: None });
    };
    let came = came_before(case, subject, way, &found).unwrap_or(found);
    let stretch_s = seconds(came.reached.to_us - came.reached.from_us);
    let slow = came
        .came_s
        .map_or(0.0, |came_s| ramp(came_s, SLOW_S.0.max(2.2 * stretch_s), SLOW_S.1.max(4.2 * stretch_s)));
    let slow = if subject == Measurand::Gas { slow * longer_than_the_meter(&came, stretch_s) } else { slow };
    let size = ramp(((found.worst - found.usual) / found.usual).abs(), OFF.0 / 2.0, OFF.1 / 2.0);
    let evidence = told(subject, way, &found);
    Some(Seen { degree: size * if slowly { slow } else { 1.0 - slow }, evidence: Some(evidence) })
}

/// What a band begins with had come in a band before, where that one ended with it.
fn came_before(case: &Case<'_>, subject: Measurand, way: Way, found: &Departure) -> Option<Departure> {
    let mut came: Option<Departure> = None;
    let mut band = case.band;
    while came.unwrap_or(*found).came_s.is_none() {
        let course = case.band_before(band)?;
        band = course.band;
        let points = series(course, subject);
        let (first, last) = (points.first()?, points.last()?);
        let end = Window { from_us: last.to_us - (last.to_us - first.from_us) / 8, to_us: last.to_us };
        let before = departure(&points, end, found.usual, way)?;
        // It ended with it: at least half of what it came to.
        let share = mean_in(&points, end).map(|mean| (mean - found.usual) / (found.worst - found.usual))?;
        if share < 0.5 {
            return came;
        }
        came = Some(before);
    }
    came
}

/// A slow flow meter takes seconds to show a loss that came at once: as long as it takes to show the flow coming
/// back, and fastest at first, then ever slower. What really falls slowly takes as long for the second half of its
/// way as for the first.
fn longer_than_the_meter(found: &Departure, stretch_s: f64) -> f64 {
    let (Some(came_s), Some(half_after)) = (found.came_s, found.half_after) else { return 1.0 };
    if let Some(back_s) = found.back_s {
        return ramp(came_s / back_s.max(stretch_s), BACK.0, BACK.1);
    }
    let surely = ramp(came_s, METER_S.0, METER_S.1);
    let shape = ramp(half_after, LAGGED.0, LAGGED.1);
    // The shape cannot be told from a few points.
    if came_s >= SHAPED * stretch_s { surely.max(shape) } else { surely }
}

fn told(subject: Measurand, way: Way, found: &Departure) -> Evidence {
    let verb = if way == Way::Down { "fell" } else { "rose" };
    let evidence = Evidence::between(Some(subject.channel()), found.from.from_us, found.to.to_us);
    let from_s = seconds(found.from.from_us);
    let (usual, worst, unit) = (found.usual, found.worst, subject.dimension());
    let per_s = subject.per_s();
    let evidence = evidence.words(format!("{} {verb} from ", subject.name())).figure(usual, unit);
    let evidence = evidence.words(format!("{per_s} to ")).figure(worst, unit);
    match found.came_s {
        Some(_) if seconds(found.reached.from_us) - from_s >= SLOW_S.0 => {
            evidence.words(format!("{per_s} between {from_s:.1} s and {:.1} s", seconds(found.reached.to_us)))
        }
        Some(_) => evidence.words(format!("{per_s} at once at {from_s:.1} s")),
        None => evidence.words(format!("{per_s}, from the start of the band")),
    }
}

/// Is the mean over the window off what is normal?
fn mean_off(case: &Case<'_>, subject: Measurand, behaviour: Behaviour) -> Option<Seen> {
    let points = case.series(subject);
    let Usual { value: normal, of } = case.usual(subject, &points).filter(|usual| usual.value > 0.0)?;
    let mean = mean_in(&points, case.window)?;
    let share = mean / normal - 1.0;
    let degree = match behaviour {
        Behaviour::Off(Way::Down) => ramp(-share, OFF.0, OFF.1),
        Behaviour::Off(Way::Up) => ramp(share, OFF.0, OFF.1),
        _ => 1.0 - ramp(share.abs(), OFF.0, OFF.1),
    };
    let (percent, per_s) = (share * 100.0, subject.per_s());
    let evidence = Evidence::between(Some(subject.channel()), case.window.from_us, case.window.to_us)
        .words(format!("{} ", subject.name()))
        .figure(mean, subject.dimension())
        .words(format!("{per_s} compared with "))
        .figure(normal, subject.dimension())
        // Adding zero takes the sign of a nought away.
        .words(format!("{per_s} in {of}, {:+.1} %", (10.0 * percent).round() / 10.0 + 0.0))
        .times();
    Some(Seen { degree, evidence: Some(evidence) })
}

fn alarm(case: &Case<'_>, rule: Rule) -> Seen {
    let found = case.first_alarm(rule);
    let evidence = found.map(|alarm| {
        Evidence::between(alarm.channel, alarm.onset_us, alarm.cleared_us.unwrap_or(case.window.to_us))
            .words(format!("alarm {} from {:.1} s", rule.name(), seconds(alarm.onset_us)))
    });
    let weight = |alarm: &Alarm| if alarm.severity == Severity::Advise { super::ADVISED } else { 1.0 };
    Seen { degree: found.map_or(0.0, weight), evidence }
}

fn flutter(case: &Case<'_>) -> Option<Seen> {
    // Where scatter could not be judged there is nothing to say, in either direction.
    case.flutters?;
    let Some(found) = case.flutter() else {
        let evidence = Evidence::between(None, case.window.from_us, case.window.to_us)
            .words("current and voltage as quiet as normal")
            .times();
        return Some(Seen { degree: 0.0, evidence: Some(evidence) });
    };
    let evidence = Evidence::between(Some(Channel::Voltage), found.window.from_us, found.window.to_us)
        .words(format!("current and voltage flutter {:.1} times as much as normal, by ", found.worst))
        .figure(found.current_a, Dimension::Current)
        .words(" and ")
        .figure(found.voltage_v, Dimension::Voltage)
        .words(" (standard deviation)")
        .times();
    // Wire that comes unevenly moves the current alone: the source holds the voltage.
    let both = ramp(found.voltage_times, VOLTAGE_TOO.0, VOLTAGE_TOO.1);
    Some(Seen { degree: ramp(found.worst, 1.3, 1.9) * both, evidence: Some(evidence) })
}

fn flutter_grows(case: &Case<'_>) -> Option<Seen> {
    let found = case.flutter()?;
    let (first, last) = found.thirds;
    let evidence = Evidence::between(Some(Channel::Current), found.window.from_us, found.window.to_us)
        .words(format!("the flutter is {first:.1} times normal at first, {last:.1} times at the end"));
    Some(Seen { degree: ramp(last / first, GROWN.0, GROWN.1), evidence: Some(evidence) })
}

fn current_most(case: &Case<'_>) -> Option<Seen> {
    let found = case.flutter()?;
    let over = found.current_over_voltage;
    let evidence = Evidence::between(Some(Channel::Current), found.window.from_us, found.window.to_us)
        .words(format!("relative to normal, the current flutters {over:.1} times as much as the voltage"));
    Some(Seen { degree: ramp(over, CURRENT_MOST.0, CURRENT_MOST.1), evidence: Some(evidence) })
}

fn dips(case: &Case<'_>) -> Option<Seen> {
    let course = case.course?;
    let inside = course
        .stretches
        .iter()
        .filter(|stretch| stretch.to_us >= case.window.from_us && stretch.from_us <= case.window.to_us);
    let (all, dips) = inside
        .fold((0_u32, 0_u32), |(all, dips), stretch| (all + stretch.voltages.0, dips + stretch.voltages.1));
    let share = (all > 0).then(|| f64::from(dips) / f64::from(all))?;
    let percent = share * 100.0;
    let evidence = Evidence::between(Some(Channel::Voltage), case.window.from_us, case.window.to_us)
        .words(format!("{percent:.1} % of the voltage readings dip under 60 % of their mean"))
        .times();
    Some(Seen { degree: ramp(share, DIPPING.0, DIPPING.1), evidence: Some(evidence) })
}

/// Counts that an encoder loses are missing in the turn; a pipe that slips is turned on until the band
/// closes.
fn short_by_slip(case: &Case<'_>) -> Option<Seen> {
    let points = case.series(Measurand::Turning);
    let usual_deg_per_s = usual(&points, case.window)?;
    let mean = mean_in(&points, case.window)?;
    let lost_deg = (usual_deg_per_s - mean) * seconds(case.window.to_us - case.window.from_us);
    let (overlap_deg, expected_deg) = (case.overlap_deg(case.band)?, case.expected_overlap_deg()?);
    let short_deg = expected_deg - overlap_deg;
    let share = if lost_deg > 1.0 { short_deg / lost_deg } else { return None };
    let evidence = Evidence::between(Some(Channel::Spindle), case.window.from_us, case.window.to_us)
        .words(format!("{lost_deg:.0} deg lost; the band ends {overlap_deg:.0} deg past its start, "))
        .words(format!("{expected_deg:.0} deg expected"))
        .times();
    // A band that ends long has lost nothing either.
    Some(Seen { degree: ramp(share, 0.25, 0.7), evidence: Some(evidence) })
}
