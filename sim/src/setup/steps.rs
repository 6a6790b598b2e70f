//! What to do about a whole setup, one control after the other.
//!
//! Decides: the order (what is exchanged, then geometry, then amps by wire feed, then turning, then
//! volts), the value each control is set to, and what else moves with it.
//! Assumes: controls do what geometry and the melting law say; every setting is measured again after.
//! Never: turns one control twice, nor one that is right for the sake of another that has its own.

use super::caution::caution;
use super::check::{Judged, Wanted, evaluate, rotation_of_joint, with_directions};
use super::consistency::{Belonging, Fit};
use super::item::{Item, Measured};
use super::melting::Melting;
use super::moves::{Moved, moved, moves_also};
use super::sheet::{Entry, SetupSheet};
use crate::formulas::{benchmark_gas_flow, benchmark_turn_time};
use crate::input::bounds::Bounds;
use crate::input::gas_mixture::GasMixture;
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::UnitSystem;
use crate::input::setting::Setting;
use bandward::Severity;
use bandward::rule::Side;

/// One thing to do.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// What is turned, moved or exchanged.
    pub turn: Item,
    /// Which way, in words.
    pub how: String,
    /// Where it stands.
    pub from: Option<Measured>,
    /// Where it goes; `None` where only a reading elsewhere tells.
    pub to: Option<Measured>,
    /// The reading that tells when it is far enough.
    pub until: Option<(Item, f64)>,
    /// What was wrong and is right after it.
    pub settles: Vec<Item>,
    /// What is measured again before it is turned, since it does not belong together.
    pub measures: Vec<Item>,
    /// What moves with it, worked out.
    pub moves: Vec<Moved>,
    /// What moves with it and is not worked out.
    pub moves_also: &'static str,
    /// What to know before.
    pub caution: Option<&'static str>,
}

/// What is exchanged or simply set, in this order; turning comes after the amps, since both set the height.
const FIRST: [Item; 17] = [
    Item::OldBand,
    Item::Polarity,
    Item::WireDiameter,
    Item::NozzleBore,
    Item::GasMixture,
    Item::CoolantBeforeArc,
    Item::COOLANT_FLOW,
    Item::GAS_FLOW,
    Item::Rotation,
    Item::TIP_RECESS,
    Item::TorchSide,
    Item::TORCH_ANGLE,
    Item::TORCH_OFFSET,
    Item::STICK_OUT,
    Item::WEAVE_WIDTH,
    Item::WEAVE_RATE,
    Item::PREHEAT,
];

/// Values tried over a range.
const TRIED: u32 = 100;

/// What to do, in order; each step is taken on paper before the next is thought of.
pub(super) fn steps(sheet: &SetupSheet, procedure: &ProcedureFile) -> Vec<Step> {
    walk(sheet, procedure).steps
}

/// How the setup would be measured after all of its steps, worked out.
pub fn after(sheet: &SetupSheet, procedure: &ProcedureFile) -> SetupSheet {
    walk(sheet, procedure).sheet
}

fn walk<'a>(sheet: &SetupSheet, procedure: &'a ProcedureFile) -> Walk<'a> {
    let mut walk = Walk { sheet: sheet.clone(), procedure, steps: Vec::new() };
    for item in FIRST {
        walk.set(item);
    }
    walk.find(Item::STEP_OVER, &[Belonging::Overlap]);
    walk.set_amps();
    walk.find(Item::TURN_TIME, &[Belonging::Speed, Belonging::Height]);
    walk.set(Item::VOLTAGE);
    walk
}

/// A setup on its way to being right.
struct Walk<'a> {
    sheet: SetupSheet,
    procedure: &'a ProcedureFile,
    steps: Vec<Step>,
}

/// Every setting and what belongs together, as they stand.
pub(super) type State = (Vec<Judged>, Vec<Fit>);

impl Walk<'_> {
    fn state(&self, sheet: &SetupSheet) -> State {
        evaluate(sheet, self.procedure)
    }
    fn judged(&self, item: Item) -> Option<Judged> {
        self.state(&self.sheet).0.into_iter().find(|judged| judged.item == item)
    }
    fn setting(&self, item: Item) -> Option<Setting> {
        match self.judged(item)?.wanted? {
            Wanted::Ranges(setting) => Some(setting),
            Wanted::Exactly(_) => None,
        }
    }
    /// A setting that is simply put where the procedure wants it.
    fn set(&mut self, item: Item) {
        if item == Item::STICK_OUT && self.sheet.size(Item::OldBandHeight).is_some() {
            // It has to be right on the bare joint and over the old band.
            return self.find(item, &[Belonging::OldBand]);
        }
        let Some(judged) = self.judged(item).filter(|judged| judged.verdict.severity().is_some()) else {
            return self.set_to_fit(item);
        };
        let to = match judged.wanted {
            Some(Wanted::Exactly(_)) | None if item == Item::OldBand => Some(Measured::Word("none")),
            Some(Wanted::Exactly(value)) => Some(value),
            Some(Wanted::Ranges(setting)) => setting.value_to_set().map(Measured::Size),
            // Only a gas is refused where the procedure says nothing.
            None => GasMixture::parse("98Ar/2O2").ok().map(Measured::Gas),
        };
        let Some(to) = to else { return };
        let after = self.with_consequences(item, to);
        // Too much water is no dial to be turned back: its reason is found.
        let is_found = item == Item::COOLANT_FLOW && self.sheet.size(item) > after.size(item);
        self.take(item, (!is_found).then_some(to), None, after);
    }
    /// What the procedure does not give, and the trade does.
    fn set_to_fit(&mut self, item: Item) {
        let is_off = self.state(&self.sheet).1.iter().any(is_bad(Belonging::Gas));
        if let (Item::GAS_FLOW, true, Some(bore)) = (item, is_off, self.sheet.size(Item::NozzleBore)) {
            let to = Measured::Size(benchmark_gas_flow(bore));
            let after = self.with_consequences(item, to);
            self.take(item, Some(to), None, after);
        }
    }
    /// The sheet with one control moved, and what is known to go with it.
    fn with_consequences(&self, item: Item, to: Measured) -> SetupSheet {
        let mut after = put(&self.sheet, item, to);
        match item {
            // Another wire, another pole: other amps, which nobody has measured yet.
            Item::WireDiameter | Item::Polarity => after.entries.retain(|entry| entry.item != Item::CURRENT),
            Item::OldBand => after.entries.retain(|entry| entry.item != Item::OldBandHeight),
            Item::STICK_OUT => {
                let (current, stick_out) = (self.sheet.size(Item::CURRENT), after.size(Item::STICK_OUT));
                // The feed stays, so whatever is fed now is the measure.
                let feed = self.sheet.size(Item::WIRE_FEED).unwrap_or(1000.0);
                let melting =
                    current.and_then(|amps| Melting::of_machine(&self.sheet, self.procedure, feed, amps));
                if let Some(melting) = melting {
                    after = put(&after, Item::CURRENT, Measured::Size(melting.current(feed, stick_out)));
                }
            }
            Item::TorchSide => {
                let size = after.size(Item::TORCH_OFFSET);
                let setting = self.setting(Item::TORCH_OFFSET);
                if let (Some(size), Some(setting)) = (size, setting)
                    && crate::standing::departure(size, &setting).is_some()
                    && let Some(to) = setting.value_to_set()
                {
                    after = put(&after, Item::TORCH_OFFSET, Measured::Size(to));
                }
            }
            _ => {}
        }
        after
    }
    /// A control that is tried over its range, where it or what depends on it is off.
    fn find(&mut self, item: Item, with: &[Belonging]) {
        let Some(from) = self.sheet.size(item) else { return };
        let (settings, fits) = self.state(&self.sheet);
        let is_off = settings.iter().any(|judged| judged.item == item && judged.verdict.severity().is_some());
        if !is_off && !with.iter().any(|of| fits.iter().any(is_bad(*of))) {
            return;
        }
        let (range, aim) = match (self.setting(item), self.sheet.size(Item::OutsideDiameter)) {
            (Some(setting), _) => (reach(&setting, from), setting.value_to_set()),
            (None, Some(diameter)) if item == Item::TURN_TIME => {
                let usual = benchmark_turn_time(diameter);
                (Bounds::between(0.9 * usual, 1.1 * usual), Some(usual))
            }
            _ => (Bounds::between(0.5 * from, 1.5 * from), None),
        };
        let put_to = |value| self.with_consequences(item, Measured::Size(value));
        if let Some((value, after)) = self.best(range, aim.unwrap_or(from), put_to) {
            self.take(item, Some(Measured::Size(value)), None, after);
        }
    }
    /// Of all values of a range, the one that leaves least wrong and is nearest to the aim; none where it
    /// is no better than what stands.
    fn best(&self, range: Bounds, aim: f64, put_to: impl Fn(f64) -> SetupSheet) -> Option<(f64, SetupSheet)> {
        let (low, high) = (range.low?, range.high?);
        let grid = (0..=TRIED).map(|index| low + (high - low) * f64::from(index) / f64::from(TRIED));
        let tried = std::iter::once(aim).chain(grid).map(|value| {
            let after = put_to(value);
            (badness(&self.state(&after)), (value - aim).abs(), value, after)
        });
        let better = |one: &(u32, f64, _, _), other: &(u32, f64, _, _)| {
            one.0.cmp(&other.0).then(one.1.total_cmp(&other.1))
        };
        let (bad, _, value, after) = tried.min_by(better)?;
        (bad < badness(&self.state(&self.sheet))).then_some((value, after))
    }
    /// Amps by wire feed. Where feed, amps and stick-out do not belong together one of them is measured
    /// wrong, and nothing is turned before it is known which.
    fn set_amps(&mut self) {
        let (settings, fits) = self.state(&self.sheet);
        let is_off =
            |item| settings.iter().any(|judged| judged.item == item && judged.verdict.severity().is_some());
        if fits.iter().any(is_bad(Belonging::Feed)) {
            return self.measure_again();
        }
        if !is_off(Item::WIRE_FEED) && !is_off(Item::CURRENT) {
            return;
        }
        match (self.sheet.size(Item::WIRE_FEED), self.sheet.size(Item::CURRENT)) {
            (Some(feed), Some(current)) => self.feed_and_amps(feed, current),
            (Some(_), None) => self.set(Item::WIRE_FEED),
            (None, _) => {
                let aim = self.setting(Item::CURRENT).and_then(|setting| setting.value_to_set());
                let Some(amps) = aim else { return };
                let after = put(&self.sheet, Item::CURRENT, Measured::Size(amps));
                self.take(Item::WIRE_FEED, None, Some((Item::CURRENT, amps)), after);
            }
        }
    }
    fn feed_and_amps(&mut self, feed: f64, current: f64) {
        let Some(melting) = Melting::of_machine(&self.sheet, self.procedure, feed, current) else { return };
        let stick_out = self.sheet.size(Item::STICK_OUT);
        let setting = self.setting(Item::WIRE_FEED);
        let aim_amps = self.setting(Item::CURRENT).and_then(|setting| setting.value_to_set());
        let for_amps = aim_amps.map(|amps| melting.feed(amps, stick_out.unwrap_or(24.0)));
        let aim = setting.and_then(|setting| setting.value_to_set()).or(for_amps).unwrap_or(feed);
        let range =
            setting.map_or(Bounds::between(0.5 * feed, 1.5 * feed.max(aim)), |setting| reach(&setting, feed));
        let put_to = |value| {
            let amps = melting.current(value, stick_out);
            let fed = put(&self.sheet, Item::WIRE_FEED, Measured::Size(value));
            put(&fed, Item::CURRENT, Measured::Size(amps))
        };
        match self.best(range, aim, put_to) {
            Some((value, after)) => {
                let amps = after.size(Item::CURRENT).map(|amps| (Item::CURRENT, amps));
                self.take(Item::WIRE_FEED, Some(Measured::Size(value)), amps, after);
            }
            None => self.measure_again(),
        }
    }
    fn measure_again(&mut self) {
        let mut after = self.sheet.clone();
        after.entries.retain(|entry| ![Item::WIRE_FEED, Item::CURRENT].contains(&entry.item));
        self.steps.push(Step {
            turn: Item::WIRE_FEED,
            how:
                "measure wire feed and current again before the feed is turned: they do not belong together \
                  at this stick-out"
                    .to_owned(),
            from: None,
            to: None,
            until: None,
            settles: Vec::new(),
            measures: vec![Item::WIRE_FEED, Item::CURRENT],
            moves: Vec::new(),
            moves_also: "",
            caution: caution(Item::WIRE_FEED, None),
        });
        self.sheet = after;
    }
    /// Takes a step on paper.
    fn take(&mut self, turn: Item, to: Option<Measured>, until: Option<(Item, f64)>, after: SetupSheet) {
        let (before_state, after_state) = (self.state(&self.sheet), self.state(&after));
        let severity = |state: &State, item: Item| {
            state.0.iter().find(|judged| judged.item == item).and_then(|judged| judged.verdict.severity())
        };
        let settles = Item::all()
            .filter(|item| after.value(*item).is_some())
            .filter(|item| severity(&before_state, *item) > severity(&after_state, *item))
            .collect();
        let side = side_of_move(turn, self.sheet.value(turn), to, until, &self.sheet);
        let advice = side.map_or_else(|| turn.mismatch(), |side| turn.advice(side));
        let rotation = rotation_of_joint(&after, self.procedure);
        self.steps.push(Step {
            turn,
            how: with_directions(advice.adjust, rotation),
            from: self.sheet.value(turn),
            to,
            until,
            settles,
            measures: Vec::new(),
            moves: moved(turn, (&self.sheet, &before_state), (&after, &after_state)),
            moves_also: moves_also(turn),
            caution: caution(turn, side),
        });
        self.sheet = after;
    }
}

/// A setting with another value.
fn put(sheet: &SetupSheet, item: Item, value: Measured) -> SetupSheet {
    let mut sheet = sheet.clone();
    sheet.put(Entry { item, value, written: item.show(value, UnitSystem::Metric) });
    sheet
}

/// Where a control may be put: what is allowed, else what is recommended, else around where it is.
fn reach(setting: &Setting, from: f64) -> Bounds {
    let aim = setting.value_to_set().unwrap_or(from);
    let around = Bounds::between(0.8 * aim, 1.2 * aim);
    let range = setting.allowed.or(setting.recommended).unwrap_or(around);
    Bounds { low: range.low.or(around.low), high: range.high.or(around.high) }
}

fn is_bad(of: Belonging) -> impl Fn(&Fit) -> bool {
    move |fit| fit.of == of && fit.is_good == Some(false)
}

/// How much is wrong: one thing that is worse outweighs all that are less so.
fn badness((settings, fits): &State) -> u32 {
    let of_settings =
        settings.iter().filter_map(|judged| judged.verdict.severity()).map(|worst| match worst {
            Severity::Stop => 1_000_000,
            Severity::Warn => 10_000,
            Severity::Advise => 100,
        });
    let of_fits = fits.iter().filter(|fit| fit.is_good == Some(false)).count() as u32;
    of_settings.sum::<u32>() + of_fits
}

/// The side that a control stood on, seen from where it goes.
fn side_of_move(
    turn: Item,
    from: Option<Measured>,
    to: Option<Measured>,
    until: Option<(Item, f64)>,
    before: &SetupSheet,
) -> Option<Side> {
    let (from, to) = match (from, to, until) {
        (Some(Measured::Size(from)), Some(Measured::Size(to)), _) if matches!(turn, Item::Ranged(_)) => {
            (from, to)
        }
        (_, None, Some((item, to))) => (before.size(item)?, to),
        (Some(Measured::Size(_)), None, None) => return Some(Side::High),
        _ => return None,
    };
    Some(if from < to { Side::Low } else { Side::High })
}
