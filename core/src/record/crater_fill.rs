//! Crater fill: the ramp down at the end of a band, past a full turn.
//!
//! Decides: how long a reading that falls below its range past a full turn waits before it is told. If the arc
//! goes out meanwhile, and current and voltage ran down, or the current under a held voltage, it was crater
//! fill; if they did not, if the reading comes back, or stays low for longer than the procedure's crater fill
//! lasts, it is told with the time at which it began.
//! Assumes: it is asked at every tick, and only past a full turn.
//! Never: holds back what began before the full turn, or anything for longer than the procedure gives; takes a
//! step for a ramp, nor one row, the mean of burning and out, for a step. A mere advisory that began before it lets nothing worse through: that waits like any other.

use crate::judge::judgement::Judgement;
use crate::rule::{Rule, Severity};
use crate::statistics::Block;
use crate::trackers::electrical::ElectricalSums;
use crate::units::Degrees;

/// Current and voltage are followed from this angle on: a ramp may begin before the full turn, and go on past it.
pub(crate) const FOLLOWED_FROM: Degrees = Degrees::from_milli(330_000);
/// Means over so long show a ramp, µs.
const PIECE_US: u64 = 80_000;
/// A piece that lasts for longer shows neither a ramp nor a step, µs.
const COARSE_US: u64 = 150_000;
/// What falls by less, in percent, does not run down: common practice, no source.
const CURRENT_FALLS: i64 = 5;
const VOLTAGE_FALLS: i64 = 2;
/// A current that falls by so much, in percent, runs down, though a source that holds its voltage holds it.
const CURRENT_ALONE: i64 = 15;
/// A voltage that falls by less, in percent, may do so at once: meters show whole volts.
const VOLTAGE_STEPS: i64 = 15;
/// A ramp falls by no more than this share, in percent, within two pieces.
const STEEPEST: i64 = 75;
/// The last pieces do not count: a slow meter shows an arc that is out for some tenths of a second more.
const TAIL: usize = 2;

/// How current or voltage fall towards the end of a band.
#[derive(Clone, Copy, Debug)]
struct Fall {
    gathering: Block,
    since_us: u64,
    /// Mean of the first piece.
    full: Option<i32>,
    /// Means of the last two pieces that count, the older first.
    before: [i32; 2],
    least: i32,
    /// Most that it fell within two pieces.
    steepest: i32,
    /// Readings came too seldom to tell a step from a ramp.
    is_coarse: bool,
    /// The newest pieces, the oldest first.
    tail: [Option<i32>; TAIL],
}

impl Fall {
    /// Nothing yet.
    const fn empty() -> Self {
        Self {
            gathering: Block::EMPTY,
            since_us: 0,
            full: None,
            before: [0; 2],
            least: 0,
            steepest: 0,
            is_coarse: false,
            tail: [None; TAIL],
        }
    }
}

impl Fall {
    fn push(&mut self, now_us: u64, block: Block) {
        self.gathering.merge(block);
        let lasted_us = now_us.saturating_sub(self.since_us);
        if lasted_us < PIECE_US {
            return;
        }
        self.since_us = now_us;
        self.is_coarse |= self.full.is_some() && lasted_us > COARSE_US;
        let Some(mean) = self.gathering.take().mean().map(i32::saturating_abs) else { return };
        if self.full.is_none() {
            (self.full, self.least, self.before) = (Some(mean), mean, [mean; 2]);
        }
        self.tail.rotate_left(1);
        let counts = self.tail.last_mut().and_then(|newest| newest.replace(mean));
        if let Some(counts) = counts {
            let [older, newer] = self.before;
            self.steepest = self.steepest.max(older.saturating_sub(counts));
            self.before = [newer, counts];
            self.least = self.least.min(counts);
        }
    }
    /// By how much it fell, in percent of the first piece; `None` where nothing is measured.
    fn percent(&self) -> Option<i64> {
        let full = i64::from(self.full?);
        i64::from(self.drop()).saturating_mul(100).checked_div(full)
    }
    fn drop(&self) -> i32 {
        self.full.map_or(0, |full| full.saturating_sub(self.least))
    }
    fn is_step(&self) -> bool {
        !self.is_coarse
            && i64::from(self.steepest).saturating_mul(100) > i64::from(self.drop()).saturating_mul(STEEPEST)
    }
}

/// A reading that waits.
#[derive(Clone, Copy, Debug)]
struct Waiting {
    since_us: u64,
    /// When it was last below its range.
    low_us: u64,
    /// The advisory that stood when it began.
    stood: Option<Severity>,
    level: Severity,
    worst: i32,
    limit: Option<i32>,
}

/// The readings that fall in a crater fill.
#[derive(Clone, Copy, Debug)]
pub(crate) struct CraterFill {
    waiting: [Option<Waiting>; 4],
    current: Fall,
    voltage: Fall,
}

impl CraterFill {
    /// Nothing yet.
    pub(crate) const fn empty() -> Self {
        Self { waiting: [None; 4], current: Fall::empty(), voltage: Fall::empty() }
    }
}

impl CraterFill {
    /// The place of a rule that crater fill would break.
    const fn place(rule: Rule) -> Option<usize> {
        match rule {
            Rule::TransferLowVoltage => Some(0),
            Rule::VoltageLow => Some(1),
            Rule::CurrentLow => Some(2),
            Rule::WireFeedLow => Some(3),
            _ => None,
        }
    }
    /// Could crater fill break it?
    pub(crate) const fn concerns(rule: Rule) -> bool {
        Self::place(rule).is_some()
    }
    /// Takes the sums of a tick from [`FOLLOWED_FROM`] on.
    pub(crate) fn follow(&mut self, now_us: u64, sums: &ElectricalSums) {
        self.current.push(now_us, sums.current.block());
        self.voltage.push(now_us, sums.voltage.block());
    }
    /// Have current and voltage run down by now, or the feed and with it the current, under a voltage that is held?
    pub(crate) fn runs_down(&self) -> bool {
        // What is not measured is not held against the rest.
        let (amps, volts) = (self.current.percent(), self.voltage.percent());
        let runs = amps.is_none_or(|fell| fell >= CURRENT_FALLS && !self.current.is_step());
        let holds = amps >= Some(CURRENT_ALONE) && volts < Some(VOLTAGE_FALLS);
        let follows = volts
            .is_none_or(|fell| fell >= VOLTAGE_FALLS && (fell < VOLTAGE_STEPS || !self.voltage.is_step()));
        runs && (holds || follows)
    }
    /// What becomes of `found`, where the alarm stands at the level `stands`: nothing is held back up to that, nor where
    /// it is a warning. A crater fill lasts `longest_us` at most; what came back sooner than `on_delay_us` is not told.
    pub(crate) fn take(
        &mut self,
        rule: Rule,
        found: Judgement,
        stands: Option<Severity>,
        now_us: u64,
        (longest_us, on_delay_us): (u32, u32),
    ) -> Judgement {
        let runs_down = self.runs_down();
        let Some(slot) = Self::place(rule).and_then(|place| self.waiting.get_mut(place)) else {
            return found;
        };
        let Judgement::Judged { level, value, limit, .. } = found else {
            // The arc is out.
            let ended = if found == Judgement::NotApplicable { slot.take() } else { None };
            let is_told = |waiting: &Waiting| !runs_down && !waiting.is_partly_unseen(now_us);
            return ended.filter(is_told).map_or(found, |waiting| waiting.tell());
        };
        let stood = slot.map_or(stands, |waiting| waiting.stood);
        let beyond = level.filter(|level| Some(*level) > stood && stood < Some(Severity::Warn));
        match (beyond, slot.as_mut()) {
            (Some(level), None) => {
                let (since_us, low_us) = (now_us, now_us);
                *slot = Some(Waiting { since_us, low_us, stood, level, worst: value, limit });
                Judgement::Unknown
            }
            (Some(level), Some(waiting)) => {
                waiting.worst = waiting.worst.min(value);
                waiting.low_us = now_us;
                if level > waiting.level {
                    (waiting.level, waiting.limit) = (level, limit);
                }
                let waits = now_us.saturating_sub(waiting.since_us) < u64::from(longest_us);
                if waits { Judgement::Unknown } else { waiting.tell() }
            }
            // A ramp wavers about the end of the range.
            (None, Some(waiting)) if now_us.saturating_sub(waiting.since_us) < u64::from(longest_us) => {
                Judgement::Unknown
            }
            (None, Some(waiting)) => {
                let lasted_us = waiting.low_us.saturating_sub(waiting.since_us);
                let told = if lasted_us >= u64::from(on_delay_us) { waiting.tell() } else { found };
                *slot = None;
                told
            }
            (None, None) => found,
        }
    }
}

impl Waiting {
    /// Was it low in one reading alone, the last of rows so far apart that each may be a mean? Then the arc went out in
    /// it, and for how much of it the arc burned was not seen.
    const fn is_partly_unseen(&self, now_us: u64) -> bool {
        self.low_us == self.since_us && now_us.saturating_sub(self.since_us) > COARSE_US
    }
    const fn tell(&self) -> Judgement {
        Judgement::Judged {
            level: Some(self.level),
            value: self.worst,
            limit: self.limit,
            since_us: Some(self.since_us),
        }
    }
}
