//! A reading that stands still though it usually moves.
//!
//! Decides: how fine a reading is (the smallest step seen between two of it), how far it usually moves
//! within a window of a second and ten readings, and whether it stands still against that habit.
//! Assumes: it is told least and greatest of each tick, and whether the arc is settled: only then is a
//! habit learnt.
//! Never: calls a reading stuck that is too coarse to tell: one that usually moves by less than one and a half steps.

/// Times are kept in units of 2^10 µs, so that 32 bits last for 50 days.
const UNIT_BITS: u32 = 10;
/// A window is at least so long, in units (1 s), and has so many readings.
const WINDOW_UNITS: u16 = 977;
const WINDOW_READINGS: u16 = 10;
/// So many windows after a strike tell of no habit.
const PASSED_OVER: u8 = 2;
/// Fewer equal readings than this are not called stuck, however long they took.
const LEAST_REPEATS: u16 = 30;
/// So many half steps wide in a usual window, it cannot stay on one of them by chance.
const FINE_HALVES: u32 = 8;
/// So many half steps wide it cannot do so for long: for a minute, and twenty windows' readings.
const COARSE_HALVES: u32 = 3;
const COARSE_US: u64 = 60_000_000;
const MANY_REPEATS: u16 = 200;
/// A stand is held against what it usually rests, at most: so many times as long.
const RESTS: u32 = 4;
/// A fine reading that stood still for longer was stuck, and shows no habit, µs.
const SHORTEST_US: u64 = 3_000_000;

/// A stand in a band is odd from this length on, in units (3 s): so many times as long as any other there, and as
/// the mean one.
const ODD_UNITS: u32 = 2930;
const ODD_BESIDE_NEXT: u32 = 4;
const ODD_BESIDE_MEAN: u32 = 8;

/// A fine reading that stood still for so long, in units (1.8 s, for one of 2 s is looked at now and then), and over so
/// many looks, froze, where it moves all the time else: so many times as often, after a seventh of that on average, and
/// after half of it at most. At the crest of a slow swing it stands for less, and one that is told only where it has changed
/// stands for every time between.
const FREEZE_UNITS: u32 = 1758;
const FREEZE_REPEATS: u16 = 10;
const MOVES_BESIDE: u16 = 8;
const FREEZE_BESIDE_MEAN: u32 = 7;
const FREEZE_BESIDE_ANY: u32 = 2;

/// What stands still without an arc and for so many looks under it, right after or before, is no meter that is quiet
/// without one.
const REACHES_LOOKS: u16 = 4;

/// A current is never the same for so long, in units (20 s), and half of its time in a band: an arc moves it by some
/// amperes within a second (common practice, no source). Unless it is seen to be read in steps of one in so many.
const LONG_UNITS: u32 = 19_531;
const COARSE_ONE_IN: u32 = 64;
/// A flow that usually moves by so many steps does not stand still for that long by chance.
const LONG_WIDTH: (u32, u32) = (6, 5);
/// A reading is flat that stood still for so much of its time in a band, at once.
const FLAT: (u32, u32) = (15, 16);

/// How long a reading stood still, each time, within one band, in units.
#[derive(Clone, Copy, Debug)]
struct Stands {
    longest: u32,
    next: u32,
    sum: u32,
    count: u16,
    /// The longest for which it did not freeze.
    usual: u16,
    /// Those for which a fine reading froze: their time, and how many there were.
    frozen: u32,
    freezes: u16,
    /// How often it moved.
    moves: u16,
    /// How long it had stood still as the band began.
    before: u32,
    /// The longest one was of many readings, and at this value.
    many: bool,
    value: i32,
    /// The reading moved, after the windows that are passed over.
    moved: bool,
    /// The band is over: what still stands has been counted.
    over: bool,
    beginning: Beginning,
}

/// Whether what a reading stood at as the band began is what it read then.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Beginning {
    /// It was not read yet.
    Unread,
    /// So far it is.
    GoesOn,
    /// It was for longer than a quiet meter's can be by chance.
    Hung,
    /// It was another.
    Moved,
}

impl Stands {
    /// Nothing yet.
    const EMPTY: Self = Self {
        longest: 0,
        next: 0,
        sum: 0,
        count: 0,
        usual: 0,
        frozen: 0,
        freezes: 0,
        moves: 0,
        before: 0,
        many: false,
        value: 0,
        moved: false,
        over: false,
        beginning: Beginning::Unread,
    };
}

impl Stands {
    fn with(self, length: u32, value: i32, repeats: u16) -> Self {
        let (sum, count) = (self.sum.saturating_add(length), self.count.saturating_add(1));
        if length > self.longest {
            let many = repeats >= LEAST_REPEATS;
            Self { longest: length, next: self.longest, sum, count, many, value, ..self }
        } else {
            Self { next: self.next.max(length), sum, count, ..self }
        }
    }
    fn are_odd(self) -> bool {
        let mean = self.sum.checked_div(u32::from(self.count)).unwrap_or(0);
        self.longest >= ODD_UNITS
            && self.longest > self.next.saturating_mul(ODD_BESIDE_NEXT)
            && self.longest > mean.saturating_mul(ODD_BESIDE_MEAN)
    }
    /// Did a reading that moves all the time freeze?
    fn are_freezes(self) -> bool {
        let moves = self.moves.saturating_sub(self.freezes);
        let moving = self.sum.saturating_sub(self.frozen);
        let mean = moving.checked_div(u32::from(moves)).unwrap_or(FREEZE_UNITS);
        self.freezes > 0
            && moves >= self.freezes.saturating_mul(MOVES_BESIDE)
            && mean.saturating_mul(FREEZE_BESIDE_MEAN) <= FREEZE_UNITS
            && u32::from(self.usual).saturating_mul(FREEZE_BESIDE_ANY) <= FREEZE_UNITS
    }
}

/// One reading: how it stands, and how it usually moves.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Stillness {
    since: u32,
    value: i32,
    /// The smallest difference seen between two readings, raw; 0: none yet.
    step: u32,
    /// How far it usually moves within a window, raw, rather too little than too much.
    width: u32,
    low: i32,
    high: i32,
    /// Low bits of the time at which the window began.
    window_start: u16,
    window_readings: u16,
    /// How long it stood still before it moved again, at most, of late.
    rest: u16,
    repeats: u16,
    /// Windows that are passed over: a slow meter still comes up to what the arc has.
    passed_over: u8,
    stands: Stands,
}

impl Stillness {
    /// Nothing yet.
    pub(crate) const EMPTY: Self = Self {
        since: 0,
        value: 0,
        step: 0,
        width: 0,
        low: 0,
        high: 0,
        window_start: 0,
        window_readings: 0,
        rest: 0,
        repeats: 0,
        passed_over: 0,
        stands: Stands::EMPTY,
    };
}

impl Stillness {
    /// A band begins, with habits of its own.
    pub(crate) fn begin_band(&mut self, now_us: u64) {
        let now = (now_us >> UNIT_BITS) as u32;
        let before = if self.repeats > 0 { now.wrapping_sub(self.since) } else { 0 };
        self.stands = Stands { before, ..Stands::EMPTY };
    }
    /// The band is over since then; the reading may stand on.
    pub(crate) fn end_band(&mut self, ended_us: u64) {
        self.note_stand(ended_us);
        self.stands.over = true;
    }
    /// It stood still until now, as far as the arc burned until `lit_us`, after which it may stand on.
    fn note_stand(&mut self, lit_us: u64) {
        let stood = ((lit_us >> UNIT_BITS) as u32).wrapping_sub(self.since);
        // At zero a meter rests.
        if self.stands.over || stood > i32::MAX.unsigned_abs() || self.value.unsigned_abs() <= self.step {
            return;
        }
        self.stands.moves = self.stands.moves.saturating_add(1);
        if self.repeats == 0 {
            return;
        }
        self.stands = self.stands.with(stood, self.value, self.repeats);
        if stood >= FREEZE_UNITS && self.repeats >= FREEZE_REPEATS && self.spans(FINE_HALVES) {
            self.stands.frozen = self.stands.frozen.saturating_add(stood);
            self.stands.freezes = self.stands.freezes.saturating_add(1);
        } else {
            let stood = u16::try_from(stood).unwrap_or(u16::MAX);
            self.stands.usual = self.stands.usual.max(stood);
        }
    }
    /// Since when it has stood still, not at rest, though it moves all the time under an arc, and until when it is to have
    /// stood under one, lest it be a meter that is quiet without, µs.
    pub(crate) fn freezes_since(&self, now_us: u64) -> Option<(u64, u64)> {
        if self.value.unsigned_abs() <= self.step || !self.spans(FINE_HALVES) {
            return None;
        }
        let usual_units = u32::from(self.rest).saturating_mul(RESTS).max(FREEZE_UNITS);
        let since_us = self.stood_since(now_us, u64::from(usual_units) << UNIT_BITS, FREEZE_REPEATS)?;
        let look_us = now_us.saturating_sub(since_us).checked_div(u64::from(self.repeats))?;
        Some((since_us, since_us.saturating_add(look_us.saturating_mul(u64::from(REACHES_LOOKS)))))
    }
    /// Did a reading that is not too coarse stand still once in the band for far longer than ever else in it?
    pub(crate) fn stood_oddly(&self) -> bool {
        self.spans(COARSE_HALVES) && self.stands.are_odd() || self.stands.are_freezes()
    }
    /// The same of a flow, which for a long time does so too where it usually moves by somewhat more than a step: one that
    /// only ever wavers between two digits may rest on one of them, and one that visits a third does not for long.
    pub(crate) fn flow_stood_oddly(&self) -> bool {
        let (wide, step) = (self.width.saturating_mul(LONG_WIDTH.1), self.step.saturating_mul(LONG_WIDTH.0));
        let may_be_long = self.step > 0 && wide >= step && self.stands.longest >= LONG_UNITS;
        (may_be_long || self.spans(COARSE_HALVES)) && self.stands.are_odd() || self.stands.are_freezes()
    }
    /// Did it stand still for half of its time in the band, and for long, with a reading that is not seen to be coarse?
    pub(crate) fn stood_for_half(&self) -> bool {
        let Stands { longest, many, sum, .. } = self.stands;
        many && !self.is_coarse() && longest >= LONG_UNITS && longest.saturating_mul(2) >= sum
    }
    /// Is what it stood at in the band seen to be read in steps of one in so few?
    const fn is_coarse(&self) -> bool {
        self.step.saturating_mul(COARSE_ONE_IN) > self.stood_at().unsigned_abs()
    }
    /// The value at which it stood longest in the band; a band over, it may well rest at another.
    pub(crate) const fn stood_at(&self) -> i32 {
        if self.stands.longest > 0 { self.stands.value } else { self.value }
    }
    /// Has it moved, by steps no larger than these, raw?
    pub(crate) const fn is_read_in(&self, largest: u32) -> bool {
        self.step > 0 && self.step <= largest
    }
    /// Has it moved by fine steps, be it without an arc?
    pub(crate) const fn is_seen_fine(&self) -> bool {
        self.step > 0 && !self.is_coarse()
    }
    /// Was it read under the arc of the band, and never moved there once a slow meter had come up? One that moves as the arc
    /// begins or ends alone did not move under it.
    pub(crate) fn was_flat(&self) -> bool {
        let Stands { longest, many, sum, moved, .. } = self.stands;
        let but_for_its_ends =
            many && longest >= LONG_UNITS && longest.saturating_mul(FLAT.1) >= sum.saturating_mul(FLAT.0);
        self.repeats > 0 && !moved || but_for_its_ends
    }
    /// Had it stood still, as the band began, for far longer than ever in it?
    pub(crate) fn stood_oddly_before(&self) -> bool {
        let Stands { longest, before, .. } = self.stands;
        before >= ODD_UNITS && before > longest.saturating_mul(ODD_BESIDE_NEXT)
    }
    /// For how long had it stood still, as the band began, though it moves all the time under an arc: and went on to, or
    /// `moves_without` one, µs?
    pub(crate) fn hung_before_us(&self, moves_without: bool) -> u64 {
        let Stands { before, beginning, .. } = self.stands;
        let usual = u32::from(self.rest).saturating_mul(RESTS).max(FREEZE_UNITS);
        let hung =
            (moves_without || beginning == Beginning::Hung) && before >= usual && self.spans(FINE_HALVES);
        if hung { u64::from(before) << UNIT_BITS } else { 0 }
    }
    /// Does it usually move by so many half steps?
    fn spans(&self, halves: u32) -> bool {
        self.step > 0 && self.width.saturating_mul(2) >= self.step.saturating_mul(halves)
    }
    /// Counts equal readings anew; the habit stays.
    pub(crate) fn forget_repeats(&mut self) {
        (self.repeats, self.window_readings, self.passed_over) = (0, 0, PASSED_OVER);
    }
    /// For so long it was not read: that is no part of what it stands still, if it then still does.
    pub(crate) fn skip(&mut self, now_us: u64, waited_us: u64) {
        let stood = ((now_us >> UNIT_BITS) as u32).wrapping_sub(self.since);
        self.since = self.since.wrapping_add(stood.min((waited_us >> UNIT_BITS) as u32));
        self.window_readings = 0;
    }
    /// The smallest difference seen between two readings, raw; 0: none yet.
    pub(crate) const fn step(&self) -> u32 {
        self.step
    }
    /// The value it stands at.
    pub(crate) const fn value(&self) -> i32 {
        self.value
    }
    /// Does it move from reading to reading?
    pub(crate) const fn moves(&self) -> bool {
        self.repeats < LEAST_REPEATS
    }
    /// Takes the `count` readings of a tick that ends at `now_us`; the arc was last seen burning at `lit_us`.
    pub(crate) fn take(
        &mut self,
        (now_us, lit_us): (u64, u64),
        (least, greatest): (i32, i32),
        count: u32,
        settled: bool,
    ) {
        let now = (now_us >> UNIT_BITS) as u32;
        let count = u16::try_from(count).unwrap_or(u16::MAX);
        let stood = self.repeats > 0;
        let moves = least != greatest || stood && least != self.value;
        self.stands.moved |= moves && settled && self.passed_over == 0;
        self.follow_beginning(least == greatest && least == self.value);
        if stood && least == greatest && least == self.value {
            self.repeats = self.repeats.saturating_add(count);
        } else {
            let rest = u16::try_from(now.wrapping_sub(self.since)).unwrap_or(u16::MAX);
            // Its first reading in the band was told as a move, after none.
            let hung = self.stands.beginning == Beginning::Hung && self.stands.moves <= 1;
            self.note_stand(now_us.min(lit_us));
            // What stood still for long enough to be called stuck was no habit, nor what it hung at as the band began.
            if stood && settled && !hung && self.stuck_since(now_us, SHORTEST_US).is_none() {
                self.rest = self.rest.max(rest);
            }
            self.note_step(least, greatest);
            let repeats = if least == greatest { count } else { 0 };
            (self.since, self.value, self.repeats) = (now, greatest, repeats);
        }
        if settled {
            self.widen(now, (least, greatest), count);
        }
    }
    /// At zero a meter rests.
    fn follow_beginning(&mut self, is_same: bool) {
        self.stands.beginning = match self.stands.beginning {
            Beginning::Unread | Beginning::GoesOn if !is_same || self.value == 0 => Beginning::Moved,
            Beginning::Unread => Beginning::GoesOn,
            Beginning::GoesOn if self.repeats.saturating_add(1) >= REACHES_LOOKS => Beginning::Hung,
            known => known,
        };
    }
    fn note_step(&mut self, least: i32, greatest: i32) {
        let mut step = self.step.wrapping_sub(1);
        let in_window = self.window_readings > 0;
        let mut note = |one: i32, other: i32| step = step.min(one.abs_diff(other).wrapping_sub(1));
        note(least, greatest);
        // Before the first reading there is none to differ from.
        if self.since > 0 {
            note(least, self.value);
            note(greatest, self.value);
        }
        if in_window {
            note(least, self.low);
            note(greatest, self.high);
        }
        self.step = step.wrapping_add(1);
    }
    fn widen(&mut self, now: u32, (least, greatest): (i32, i32), count: u16) {
        if self.window_readings == 0 {
            (self.low, self.high, self.window_start) = (least, greatest, now as u16);
        }
        (self.low, self.high) = (self.low.min(least), self.high.max(greatest));
        self.window_readings = self.window_readings.saturating_add(count);
        let length = (now as u16).wrapping_sub(self.window_start);
        if length < WINDOW_UNITS || self.window_readings < WINDOW_READINGS {
            return;
        }
        self.window_readings = 0;
        if self.passed_over > 0 {
            self.passed_over = self.passed_over.saturating_sub(1);
            return;
        }
        let width = self.high.abs_diff(self.low);
        if width == 0 {
            return;
        }
        self.rest = self.rest.saturating_sub(self.rest >> 4);
        self.width = if width < self.width {
            self.width.saturating_sub(self.width.saturating_sub(width) >> 2)
        } else if self.width == 0 {
            width >> 1
        } else {
            self.width.saturating_add(width.saturating_sub(self.width) >> 3)
        };
    }
    /// Since when it has stood still against its habit, if for at least `least_us`, µs.
    pub(crate) fn stuck_since(&self, now_us: u64, least_us: u64) -> Option<u64> {
        let (least_us, repeats) = if self.spans(FINE_HALVES) {
            (least_us, LEAST_REPEATS)
        } else if self.spans(COARSE_HALVES) {
            (least_us.max(COARSE_US), MANY_REPEATS)
        } else {
            return None;
        };
        let rests_us = u64::from(u32::from(self.rest).saturating_mul(RESTS)) << UNIT_BITS;
        self.stood_since(now_us, least_us.max(rests_us), repeats)
    }
    /// Has it been looked at and never moved?
    pub(crate) const fn never_moved(&self) -> bool {
        self.step == 0 && self.repeats > 0
    }
    /// Since when it has stood still that never moved at all, if for at least `least_us`, µs: of a
    /// reading that is known to be fine.
    pub(crate) fn never_moved_since(&self, now_us: u64, least_us: u64) -> Option<u64> {
        if self.step > 0 { None } else { self.stood_since(now_us, least_us, MANY_REPEATS) }
    }
    fn stood_since(&self, now_us: u64, least_us: u64, repeats: u16) -> Option<u64> {
        let now = (now_us >> UNIT_BITS) as u32;
        let still_us = u64::from(now.wrapping_sub(self.since)) << UNIT_BITS;
        (self.repeats >= repeats && still_us >= least_us).then(|| now_us.saturating_sub(still_us))
    }
}

#[cfg(test)]
mod tests;
