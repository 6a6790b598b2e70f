//! What is known about each joint of a quantity, as rows of a regression.
//!
//! Decides: what is modelled before charting: the level, who welded, how warm shop and work were.
//! Assumes: operators differ by a constant; warmth acts in proportion.
//! Never: leaves a joint out because its temperature was not read: the last one read stands for it.

use super::event::{self, Applied};
use super::measure::Measure;
use super::record::Record;

/// More operators than that share the last place.
const MOST_OPERATORS: usize = 24;
/// Temperatures that differ by less, degC, make no difference that could be told (common practice, no source).
const LEAST_RANGE_C: f64 = 3.0;
/// Temperatures count in steps of so many degC, to be about one.
const STEP_C: f64 = 10.0;

/// Operators, and 10 degC, make a difference of some three standard deviations at most (common practice, no
/// source): that much is expected before any reading, so that a few odd joints make no operator odd.
pub const USUAL: f64 = 3.0;

/// Of which kind a regressor is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Who welded.
    Operator,
    /// The temperature of the shop.
    Ambient,
    /// The temperature of the work before its first band.
    Work,
}

/// What is modelled.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Model {
    /// Who welded.
    pub has_operator: bool,
    /// The temperature of the shop.
    pub has_ambient: bool,
    /// The temperature of the work before its first band.
    pub has_work: bool,
}

impl Default for Model {
    fn default() -> Self {
        Self { has_operator: true, has_ambient: true, has_work: true }
    }
}

impl Model {
    /// Reads a list such as `operator,ambient`, or `none`.
    ///
    /// # Errors
    /// What is allowed.
    pub fn parse(text: &str) -> Result<Self, String> {
        let mut model = Self { has_operator: false, has_ambient: false, has_work: false };
        for name in text.split(',').filter(|_| text != "none") {
            match name.trim() {
                "operator" => model.has_operator = true,
                "ambient" => model.has_ambient = true,
                "work" => model.has_work = true,
                _ => return Err("allowed: none, or some of operator, ambient, work".to_owned()),
            }
        }
        Ok(model)
    }
}

/// Rows of a quantity, one a joint.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Known {
    /// The regressors of each joint: the level first.
    pub rows: Vec<Vec<f64>>,
    /// The event from which on the level is learnt anew.
    pub restarts: Vec<Option<event::Kind>>,
    /// What is modelled, in words.
    pub names: Vec<&'static str>,
    /// Of each regressor but the level, its kind.
    pub kinds: Vec<Kind>,
    /// How much each of them is expected to make, in standard deviations of a joint.
    pub sizes: Vec<f64>,
    /// Joints with a crater fill or the like, which count nowhere.
    pub craters: Vec<bool>,
}

impl Known {
    /// Of the joints of a quantity.
    pub fn of(
        joints: &[&Record],
        measure: Measure,
        model: Model,
        restarts: Vec<Option<event::Kind>>,
    ) -> Self {
        let mut known = Self { rows: vec![vec![1.0]; joints.len()], restarts, ..Self::default() };
        if model.has_operator {
            known.add_operators(joints);
        }
        let ambient: Vec<_> = joints.iter().map(|record| record.context.ambient_c).collect();
        known.add_temperature(&ambient, ("ambient", Kind::Ambient), model.has_ambient);
        let work: Vec<_> = joints.iter().map(|record| record.work_at_start_c()).collect();
        let is_work = matches!(measure, Measure::Preheat | Measure::Interpass);
        known.add_temperature(&work, ("work", Kind::Work), model.has_work && !is_work);
        known.sizes = vec![USUAL; known.kinds.len()];
        known
    }
    fn add_operators(&mut self, joints: &[&Record]) {
        let mut operators: Vec<Option<&String>> = Vec::new();
        for record in joints {
            let operator = record.context.operator.as_ref();
            if !operators.contains(&operator) {
                operators.push(operator);
            }
        }
        operators.truncate(MOST_OPERATORS);
        if operators.len() < 2 {
            return;
        }
        self.names.push("operator");
        self.kinds.extend((1..operators.len()).map(|_| Kind::Operator));
        for (row, record) in self.rows.iter_mut().zip(joints) {
            let operator = record.context.operator.as_ref();
            let place = operators.iter().position(|known| *known == operator).unwrap_or(operators.len() - 1);
            row.extend((1..operators.len()).map(|other| f64::from(u8::from(place == other))));
        }
    }
    /// Taken where at least half of the joints tell it, and it differs.
    fn add_temperature(
        &mut self,
        readings: &[Option<f64>],
        (name, kind): (&'static str, Kind),
        is_asked: bool,
    ) {
        let told: Vec<f64> = readings.iter().flatten().copied().collect();
        let Some(&first) = told.first().filter(|_| is_asked && 2 * told.len() >= readings.len()) else {
            return;
        };
        let (low, high) =
            told.iter().fold((first, first), |(low, high), reading| (reading.min(low), reading.max(high)));
        if high - low < LEAST_RANGE_C {
            return;
        }
        self.names.push(name);
        self.kinds.push(kind);
        let mut last = first;
        for (row, reading) in self.rows.iter_mut().zip(readings) {
            last = reading.unwrap_or(last);
            row.push((last - first) / STEP_C);
        }
    }
    /// Has this joint a crater fill or the like?
    pub fn is_crater(&self, at: usize) -> bool {
        self.craters.get(at) == Some(&true)
    }
    /// Regressors of a joint.
    pub fn width(&self) -> usize {
        self.rows.first().map_or(1, Vec::len)
    }
    /// Expects so much of all regressors of a kind.
    pub fn set_size(&mut self, kind: Kind, size: f64) {
        let own = self.sizes.iter_mut().zip(&self.kinds).filter(|(_, other)| **other == kind);
        own.for_each(|(own, _)| *own = size);
    }
    /// What is expected of all regressors but the level: a row each, whose reading is nothing.
    pub fn expected(&self, levels: usize) -> Vec<Vec<f64>> {
        let width = self.width() - 1 + levels;
        let row = |(at, size): (usize, &f64)| {
            (0..width).map(|other| if other == at { size.recip() } else { 0.0 }).collect()
        };
        (levels..width).zip(&self.sizes).map(row).collect()
    }
    /// Rows of the joints `at`, with a level of its own for each stretch between events instead of one
    /// that is let go; and what is expected of the rest.
    pub fn with_levels(&self, at: &[usize]) -> (Vec<Vec<f64>>, Vec<Vec<f64>>) {
        let stretch = |index: usize| self.restarts[..=index].iter().flatten().count();
        let stretches: Vec<usize> = at.iter().map(|&index| stretch(index)).collect();
        let mut levels = stretches.clone();
        levels.dedup();
        let row = |(&index, own): (&usize, &usize)| {
            let level = levels.iter().map(|level| f64::from(u8::from(level == own)));
            level.chain(self.rows[index].iter().skip(1).copied()).collect()
        };
        (at.iter().zip(&stretches).map(row).collect(), self.expected(levels.len()))
    }
}

/// Where the level of a quantity is learnt anew, for the joints of its points.
pub fn restarts(
    joints: &[usize],
    measure: Measure,
    group: usize,
    events: &[Applied],
) -> Vec<Option<event::Kind>> {
    let mut restarts = vec![None; joints.len()];
    for event in events.iter().filter(|event| event.group == group && event.kind.shifts(measure)) {
        // Before the first joint there is no level to let go.
        if let Some(at) = joints.iter().position(|&joint| joint >= event.joint).filter(|at| *at > 0) {
            restarts[at] = Some(event.kind);
        }
    }
    restarts
}
