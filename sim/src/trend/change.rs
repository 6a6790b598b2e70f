//! Where a quantity changed, and whether at once or step by step.
//!
//! Decides: the change point with its interval, and step or slope.
//! Assumes: one change within what it is given; scatter that is normal once what is known is taken off.
//! Never: calls a shape that the readings do not tell from the other.
//!
//! Each possible change point is fitted by least squares, which for normal scatter is maximum likelihood
//! (Hinkley 1970, "Inference about the change-point in a sequence of random variables", Biometrika 57,
//! 1-17; for two lines that join Hinkley 1971, "Inference in two-phase regression", Journal of the
//! American Statistical Association 66, 736-743; both from memory). The interval holds the points whose
//! likelihood is near the best: with twice the log-likelihood ratio up to 7.35 it has 95 % confidence,
//! since the largest of a random walk to both sides exceeds x with probability 1 - (1 - exp(-x))^2
//! (Siegmund 1988, "Confidence sets in change-point problems", International Statistical Review 56,
//! 31-48; from memory). Step and slope have as many parameters, so their likelihoods compare directly;
//! a twofold log ratio below 2 is not worth more than a bare mention (Kass and Raftery 1995, "Bayes
//! factors", Journal of the American Statistical Association 90, 773-795; from memory).

use super::reference::{Reference, normal_deviate};
use super::scatter::Scatter;
use bandward::rule::Side;

/// Twice the log-likelihood ratio within the interval.
const WITHIN: f64 = 7.35;
/// Twice the log-likelihood ratio that tells step from slope.
const TOLD: f64 = 2.0;

/// How it changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shape {
    /// At once.
    Step,
    /// More and more.
    Slope,
    /// Too few readings to say.
    NotTold,
}

impl Shape {
    /// In words.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Step => "step",
            Self::Slope => "slope",
            Self::NotTold => "not told",
        }
    }
}

/// A change.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Change {
    /// Which way.
    pub side: Side,
    /// How.
    pub shape: Shape,
    /// The first reading that changed, in the counting of what was given.
    pub at: usize,
    /// It was not before this one, with 95 % confidence.
    pub from: usize,
    /// It was not after this one, with 95 % confidence.
    pub to: usize,
    /// How far the last reading has changed.
    pub size: f64,
    /// How far from one reading to the next, for a slope.
    pub per_joint: Option<f64>,
    /// How clear it is: the deviate of the change, were its point known.
    pub deviate: f64,
}

/// One change tried.
#[derive(Clone, Copy, Debug)]
struct Tried {
    at: usize,
    /// Sum of the squares it leaves.
    squares: f64,
    /// What a unit of it makes.
    size: f64,
}

/// Readings with what is known of them.
pub struct Fit<'r> {
    rows: &'r [Vec<f64>],
    base: Reference,
    rest: Vec<f64>,
    least_squares: f64,
    scatter: Scatter,
    /// Readings before this one may be the first that changed.
    latest: usize,
}

impl<'r> Fit<'r> {
    /// Of readings, their rows and what is expected of those; `None` for too few.
    pub fn new(
        rows: &'r [Vec<f64>],
        expected: &[Vec<f64>],
        readings: &[f64],
        least_deviation: f64,
        scatter: Scatter,
    ) -> Option<Self> {
        let mut base = Reference::expecting(expected, rows.first()?.len(), least_deviation);
        rows.iter().zip(readings).for_each(|(row, &reading)| base.learn(row, reading));
        let coefficients = base.coefficients();
        let expected =
            |row: &Vec<f64>| row.iter().zip(&coefficients).map(|(one, other)| one * other).sum::<f64>();
        let rest = rows.iter().zip(readings).map(|(row, reading)| reading - expected(row)).collect();
        // What steps of a sensor leave counts as at least what can be told.
        let least_squares = least_deviation * least_deviation;
        (base.degrees() >= 4.0).then_some(Self {
            rows,
            base,
            rest,
            least_squares,
            scatter,
            latest: rows.len(),
        })
    }
    /// Only of changes whose first reading is one of so many at the beginning.
    #[must_use]
    pub fn beginning_by(self, count: usize) -> Self {
        Self { latest: count, ..self }
    }
    /// A change of this course from reading `at` on; `None` where what is known already explains it.
    fn tried(&self, at: usize, course: impl Fn(usize) -> f64) -> Option<Tried> {
        let mut known = vec![0.0; self.rows.first()?.len()];
        let (mut own, mut with_rest) = (0.0, 0.0);
        for index in at..self.rows.len() {
            let height = course(index);
            own += height * height;
            with_rest += height * self.rest[index];
            known.iter_mut().zip(&self.rows[index]).for_each(|(sum, entry)| *sum += height * entry);
        }
        let free = own - self.base.reach(&known);
        if free <= 1e-6 * own {
            return None;
        }
        let least = 0.1 * self.least_squares * self.base.degrees();
        let squares = (self.base.squares() - with_rest * with_rest / free).max(least);
        Some(Tried { at, squares, size: with_rest / free })
    }
    /// Every step, or every slope, to `side`.
    fn all(&self, is_slope: bool, side: Option<Side>) -> Vec<Tried> {
        let is_asked = |tried: &Tried| side.is_none_or(|side| (tried.size > 0.0) == (side == Side::High));
        let count = self.rows.len();
        let last = if is_slope { count.saturating_sub(1) } else { count };
        (2..last.min(self.latest))
            .filter_map(|at| self.tried(at, |index| if is_slope { (index - at + 1) as f64 } else { 1.0 }))
            .filter(is_asked)
            .collect()
    }
    /// The deviate of a change that leaves so much, and is shown by so many readings.
    fn deviate(&self, squares: f64, shown: usize) -> f64 {
        let degrees = self.base.degrees() - 1.0;
        let variance = (squares / degrees).max(self.least_squares);
        let t = ((self.base.squares() - squares) / variance).max(0.0).sqrt();
        normal_deviate(t, degrees) / self.scatter.inflation_of(shown.max(1) as f64).sqrt()
    }
    /// The deviate of a line through all readings.
    pub fn line_deviate(&self) -> f64 {
        self.tried(0, |index| index as f64 + 1.0)
            .map_or(0.0, |line| self.deviate(line.squares, self.rows.len()))
    }
    /// Twice the log-likelihood ratio of what leaves `less` to what leaves `more`.
    fn ratio(&self, more: f64, less: f64) -> f64 {
        self.rows.len() as f64 * (more / less).ln() / self.scatter.inflation()
    }
    /// The change that is most likely.
    pub fn change(&self, side: Option<Side>) -> Option<Change> {
        let best = |all: &[Tried]| all.iter().copied().min_by(|one, two| one.squares.total_cmp(&two.squares));
        let (steps, slopes) = (self.all(false, side), self.all(true, side));
        let (step, slope) = (best(&steps), best(&slopes));
        let squares = |tried: Option<Tried>| tried.map_or(self.base.squares(), |tried| tried.squares);
        let for_slope = self.ratio(squares(step), squares(slope));
        let shape = match for_slope {
            ratio if ratio > TOLD => Shape::Slope,
            ratio if ratio < -TOLD => Shape::Step,
            _ => Shape::NotTold,
        };
        let is_slope = for_slope > 0.0;
        let (found, all) = if is_slope { (slope?, &slopes) } else { (step?, &steps) };
        let likely = |tried: &&Tried| self.ratio(tried.squares, found.squares) <= WITHIN;
        let within = || all.iter().filter(likely).map(|tried| tried.at);
        let length = (self.rows.len() - found.at) as f64;
        Some(Change {
            side: if found.size > 0.0 { Side::High } else { Side::Low },
            shape,
            at: found.at,
            from: within().min().unwrap_or(found.at),
            to: within().max().unwrap_or(found.at),
            size: if is_slope { found.size * length } else { found.size },
            per_joint: (shape == Shape::Slope).then_some(found.size),
            deviate: self.deviate(found.squares, self.rows.len() - found.at),
        })
    }
}

impl Change {
    /// Without a shape where that is in doubt: its interval is wide, or it is a slope that may be a step of one of
    /// these other changes of the same joints.
    #[must_use]
    pub fn shown_by(self, is_wide: bool, others: &[Self]) -> Self {
        let is_step_of = |other: &Self| {
            other.shape == Shape::Step
                && (self.from..=self.to).contains(&other.at)
                && other.to - other.from < self.to - self.from
        };
        let is_doubted = is_wide || self.shape == Shape::Slope && others.iter().any(is_step_of);
        if is_doubted { Self { shape: Shape::NotTold, per_joint: None, ..self } } else { self }
    }
    /// With its places in the counting of `at`.
    #[must_use]
    pub fn placed(self, at: &[usize]) -> Self {
        let place = |own: usize| at.get(own).copied().unwrap_or(own);
        Self { at: place(self.at), from: place(self.from), to: place(self.to), ..self }
    }
}
