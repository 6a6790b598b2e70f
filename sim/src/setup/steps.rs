//! What to do about a whole setup, one control after the other.
//!
//! Decides: the order (what is exchanged, then geometry, then amps by wire feed, then turning, then
//! volts, and the preheat last), the value each control is set to, and what else moves with it.
//! Assumes: controls do what geometry and the melting law say; every setting is measured again after.
//! Never: turns one control twice, nor one that is right for the sake of another that has its own.

use super::caution::caution;
use super::compare::most_left_mm;
use super::consistency::{Belonging, Fit};
use super::item::{Item, Measured};
use super::judge::rotation_of_joint;
use super::melting::has_law;
use super::moves::{Moved, moved, moves_also};
use super::overheat::with_coating;
use super::position::with_directions;
use super::sheet::{Entry, SetupSheet};
use super::state::{State, evaluate};
use super::verdict::{Judged, SettingVerdict, Wanted};
use crate::formulas::{benchmark_gas_flow, benchmark_turn_time};
use crate::input::bounds::Bounds;
use crate::input::gas_mixture::GasMixture;
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::UnitSystem;
use crate::input::setting::Setting;
use crate::standing::departure;
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
    Item::OldBandHeight,
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
];

/// Room to leave on both sides of a value, as shares of its range, the most that there is. Invented.
const ROOMS: [f64; 3] = [0.1, 0.05, 0.02];
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
    let mut walk = Walk { sheet: sheet.clone(), procedure, has_doubt: false, steps: Vec::new() };
    walk.set_aside();
    for item in FIRST {
        walk.set(item);
    }
    if !walk.is_pile_settled_by_others() {
        walk.set_overlap();
    }
    let (sheet, done) = (walk.sheet.clone(), walk.steps.len());
    walk.set_amps_and_turning();
    if walk.is_height_outside() {
        // One after the other does not do.
        walk.sheet = sheet;
        walk.steps.truncate(done);
        walk.feed_and_turn();
    }
    walk.set(Item::VOLTAGE);
    // What the steel needs goes with amps, volts and turning; and a joint that is heated last is warm at the arc.
    walk.set_preheat();
    walk
}

/// A setup on its way to being right.
#[derive(Clone)]
pub(super) struct Walk<'a> {
    pub(super) sheet: SetupSheet,
    pub(super) procedure: &'a ProcedureFile,
    /// Feed, amps and stick-out did not belong together when the stick-out was put right.
    pub(super) has_doubt: bool,
    pub(super) steps: Vec<Step>,
}

impl Walk<'_> {
    pub(super) fn state(&self, sheet: &SetupSheet) -> State {
        evaluate(sheet, self.procedure)
    }
    pub(super) fn judged(&self, item: Item) -> Option<Judged> {
        self.state(&self.sheet).0.into_iter().find(|judged| judged.item == item)
    }
    pub(super) fn setting(&self, item: Item) -> Option<Setting> {
        match self.judged(item)?.wanted? {
            Wanted::Ranges(setting) => Some(setting),
            Wanted::Exactly(_) => None,
        }
    }
    /// A joint whose steel is in doubt is set aside: nothing is turned that would put it right.
    fn set_aside(&mut self) {
        let Some(judged) = self.judged(Item::PREHEAT) else { return };
        let (SettingVerdict::Differs(_, advice), Some(from)) = (judged.verdict, judged.value) else { return };
        let mut after = self.sheet.clone();
        after.entries.retain(|entry| entry.item != Item::PREHEAT);
        self.steps.push(Step {
            turn: Item::PREHEAT,
            how: advice.adjust.to_owned(),
            from: Some(from),
            to: None,
            until: None,
            settles: Vec::new(),
            measures: vec![Item::PREHEAT],
            moves: Vec::new(),
            moves_also: "",
            caution: caution(Item::PREHEAT, Some(Side::High)),
        });
        self.sheet = after;
    }
    /// Amps by wire feed, then turning.
    pub(super) fn set_amps_and_turning(&mut self) {
        self.set_amps();
        self.find(Item::TURN_TIME, &[Belonging::Speed, Belonging::Height, Belonging::Pile]);
    }
    /// A setting that is simply put where the procedure wants it.
    pub(super) fn set(&mut self, item: Item) {
        if item == Item::STICK_OUT && self.sheet.size(Item::OldBandHeight).is_some() {
            // It has to be right on the bare joint and over the old band.
            return self.find(item, &[Belonging::OldBand]);
        }
        let Some(judged) = self.judged(item).filter(|judged| judged.verdict.severity().is_some()) else {
            return self.set_to_fit(item);
        };
        let to = match (item, judged.wanted) {
            (Item::OldBand, _) => Some(Measured::Word("none")),
            // So low that a stick-out in the middle of its range does over it and beside it.
            (Item::OldBandHeight, _) => {
                most_left_mm(self.procedure).map(|most_mm| Measured::Size(0.5 * most_mm))
            }
            (_, Some(Wanted::Exactly(value))) => Some(value),
            (_, Some(Wanted::Ranges(setting))) => setting.value_to_set().map(Measured::Size),
            // What is refused where the procedure says nothing.
            (Item::CoolantBeforeArc, None) => Some(Measured::Word("yes")),
            (Item::GasMixture, None) => GasMixture::parse("98Ar/2O2").ok().map(Measured::Gas),
            (_, None) => None,
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
            let usual = benchmark_gas_flow(bore);
            // What the procedure gives goes before what is usual.
            if self.setting(item).is_some_and(|setting| departure(usual, &setting).is_some()) {
                return;
            }
            let to = Measured::Size(usual);
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
            // No law is known that tells the amps of another feed there.
            Item::WIRE_FEED if !has_law(&self.sheet, self.procedure) => {
                after.entries.retain(|entry| entry.item != Item::CURRENT);
            }
            Item::OldBand => after.entries.retain(|entry| entry.item != Item::OldBandHeight),
            Item::STICK_OUT => after = self.with_amps_of(after),
            Item::TorchSide => {
                let size = after.size(Item::TORCH_OFFSET);
                let setting = self.setting(Item::TORCH_OFFSET);
                if let (Some(size), Some(setting)) = (size, setting)
                    && departure(size, &setting).is_some()
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
    pub(super) fn find(&mut self, item: Item, with: &[Belonging]) {
        let Some(from) = self.sheet.size(item) else { return };
        let (settings, fits) = self.state(&self.sheet);
        let is_off = settings.iter().any(|judged| judged.item == item && judged.verdict.severity().is_some());
        if !is_off && !with.iter().any(|of| fits.iter().any(is_bad(*of))) {
            return;
        }
        let (range, aim) = self.range_and_aim(item, from);
        let put_to = |value| self.with_consequences(item, Measured::Size(value));
        if let Some((value, after)) = self.best(range, aim.unwrap_or(from), put_to) {
            self.take(item, Some(Measured::Size(value)), None, after);
        }
    }
    /// Where a control may be put, and where it belongs.
    pub(super) fn range_and_aim(&self, item: Item, from: f64) -> (Bounds, Option<f64>) {
        match (self.setting(item), self.sheet.size(Item::OutsideDiameter)) {
            (Some(setting), _) => (reach(&setting, from), setting.value_to_set()),
            (None, Some(diameter)) if item == Item::TURN_TIME => {
                let usual = benchmark_turn_time(diameter);
                (Bounds::between(0.9 * usual, 1.1 * usual), Some(usual))
            }
            _ => (Bounds::between(0.5 * from, 1.5 * from), None),
        }
    }
    /// Of all values of a range, the one that leaves least wrong and is nearest to the aim; none where it
    /// is no better than what stands.
    pub(super) fn best(
        &self,
        range: Bounds,
        aim: f64,
        put_to: impl Fn(f64) -> SetupSheet,
    ) -> Option<(f64, SetupSheet)> {
        let (low, high) = (range.low?, range.high?);
        let bad_at = |value: f64| badness(&self.state(&put_to(value)));
        let grid = (0..=TRIED).map(|index| low + (high - low) * f64::from(index) / f64::from(TRIED));
        let tried: Vec<_> = std::iter::once(aim).chain(grid).map(|value| (bad_at(value), value)).collect();
        let least = tried.iter().map(|(bad, _)| *bad).min()?;
        // As near to the aim as may be, and not at the very edge of what is good, where there is room beside it.
        let room = |share: f64| share * (high - low);
        let has_room = |value: f64, room: f64| bad_at(value - room) == least && bad_at(value + room) == least;
        let mut good: Vec<_> =
            tried.iter().filter(|(bad, _)| *bad == least).map(|(_, value)| *value).collect();
        good.sort_by(|one, other| (one - aim).abs().total_cmp(&(other - aim).abs()));
        let steady = ROOMS.iter().find_map(|share| good.iter().find(|value| has_room(**value, room(*share))));
        let value = *steady.or_else(|| good.first())?;
        (least < badness(&self.state(&self.sheet))).then(|| (value, put_to(value)))
    }
    /// Takes a step on paper.
    pub(super) fn take(
        &mut self,
        turn: Item,
        to: Option<Measured>,
        until: Option<(Item, f64)>,
        after: SetupSheet,
    ) {
        let (before_state, after_state) = (self.state(&self.sheet), self.state(&after));
        let severity = |state: &State, item: Item| {
            state.0.iter().find(|judged| judged.item == item).and_then(|judged| judged.verdict.severity())
        };
        let settles = Item::all()
            .filter(|item| after.value(*item).is_some())
            .filter(|item| severity(&before_state, *item) > severity(&after_state, *item))
            .collect();
        self.has_doubt |= turn == Item::STICK_OUT && self.is_doubtful();
        let is_dropped = self.sheet.value(Item::CURRENT).is_some() && after.value(Item::CURRENT).is_none();
        let measures = if is_dropped { vec![Item::CURRENT] } else { Vec::new() };
        let side = side_of_move(turn, self.sheet.value(turn), to, until, &self.sheet);
        // Where its verdict has words of its own they are the step's.
        let own = self.judged(turn).and_then(|judged| judged.verdict.advice());
        let own = own.filter(|_| {
            matches!(
                turn,
                Item::PREHEAT
                    | Item::TORCH_ANGLE
                    | Item::GasMixture
                    | Item::OldBandHeight
                    | Item::CoolantBeforeArc
            )
        });
        let advice = own.unwrap_or_else(|| side.map_or_else(|| turn.mismatch(), |side| turn.advice(side)));
        let rotation = rotation_of_joint(&after, self.procedure);
        self.steps.push(Step {
            turn,
            how: with_coating(
                &with_directions(advice.adjust, rotation),
                self.procedure.material.coating_limit_c,
            ),
            from: self.sheet.value(turn),
            to,
            until,
            settles,
            measures,
            moves: moved(turn, (&self.sheet, &before_state), (&after, &after_state)),
            moves_also: moves_also(turn),
            caution: caution(turn, side),
        });
        self.sheet = after;
    }
}

/// A setting with another value.
pub(super) fn put(sheet: &SetupSheet, item: Item, value: Measured) -> SetupSheet {
    let mut sheet = sheet.clone();
    sheet.put(Entry { item, value, written: item.show(value, UnitSystem::Metric) });
    sheet
}

/// Where a control may be put: what is allowed, else what is recommended, else around where it is.
pub(super) fn reach(setting: &Setting, from: f64) -> Bounds {
    let aim = setting.value_to_set().unwrap_or(from);
    let around = Bounds::between(0.8 * aim, 1.2 * aim);
    let range = setting.allowed.or(setting.recommended).unwrap_or(around);
    Bounds { low: range.low.or(around.low), high: range.high.or(around.high) }
}

pub(super) fn is_bad(of: Belonging) -> impl Fn(&Fit) -> bool {
    move |fit| fit.of == of && fit.is_good == Some(false)
}

/// How much is wrong: one thing that is worse outweighs all that are less so.
pub(super) fn badness((settings, fits): &State) -> u32 {
    let of_settings = settings
        .iter()
        .filter(|judged| judged.item != Item::PREHEAT)
        .filter_map(|judged| judged.verdict.severity())
        .map(|worst| match worst {
            Severity::Stop => 1_000_000,
            Severity::Warn => 10_000,
            Severity::Advise => 100,
        });
    // No amps and no turn are chosen for the sake of a cold joint: that is heated.
    let is_counted = |fit: &&Fit| fit.is_good == Some(false) && fit.of != Belonging::Preheat;
    // The stick-out over an old band is held against what is allowed of it: as bad as a stick-out outside that.
    let weight = |fit: &Fit| if fit.of == Belonging::OldBand { 10_000 } else { 1 };
    let of_fits = fits.iter().filter(is_counted).map(weight);
    of_settings.sum::<u32>() + of_fits.sum::<u32>()
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
