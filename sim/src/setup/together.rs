//! Wire feed and turning, where neither alone brings amps and height in.
//!
//! Decides: whether both are turned, and how far; or that no two settings do, and what is measured then.
//! Assumes: height goes with the feed and with the turn time, and the amps with the feed alone.
//! Never: leads to a height, or to amps, outside the procedure; nor makes any setting worse than it stands.

use super::amps::range_of_feed;
use super::caution::caution;
use super::consistency::{Belonging, Fit};
use super::item::{Item, Measured};
use super::sheet::SetupSheet;
use super::state::State;
use super::steps::{Step, Walk, badness, put};
use crate::input::bounds::Bounds;
use bandward::Severity;

/// Values tried of each of the two.
const TRIED: u32 = 32;
/// What moves by less than this share is left where it is.
const NOTHING: f64 = 0.005;

/// A setup as it would be with another feed and another turn.
struct Candidate {
    bad: u32,
    room: usize,
    /// How far the two are from where they stand, as shares.
    moved: f64,
    feed: f64,
    turn_s: f64,
}

impl Walk<'_> {
    /// Is the height that would be laid outside, of a band by itself or where bands overlap?
    pub(super) fn is_height_outside(&self) -> bool {
        self.state(&self.sheet).1.iter().any(is_of_height)
    }
    /// Feed and turning moved together, each within its own range; where that does not do either, what to measure.
    pub(super) fn feed_and_turn(&mut self) {
        let sizes = self.sheet.size(Item::WIRE_FEED).zip(self.sheet.size(Item::TURN_TIME));
        let Some((feed, turn_s)) = sizes else { return };
        let found = (feed > 0.0 && turn_s > 0.0).then(|| self.search(feed, turn_s)).flatten();
        let Some(Candidate { feed: to, turn_s: to_s, .. }) = found else { return self.measure_height() };
        if (to / feed - 1.0).abs() > NOTHING
            && let Some(after) = self.fed(to)
        {
            let until = after.size(Item::CURRENT).map(|amps| (Item::CURRENT, amps));
            self.take(Item::WIRE_FEED, Some(Measured::Size(to)), until, after);
        }
        if (to_s / turn_s - 1.0).abs() > NOTHING {
            let after = put(&self.sheet, Item::TURN_TIME, Measured::Size(to_s));
            self.take(Item::TURN_TIME, Some(Measured::Size(to_s)), None, after);
        }
    }
    fn search(&self, feed: f64, turn_s: f64) -> Option<Candidate> {
        let before = self.state(&self.sheet);
        let feeds: Vec<f64> =
            spread(range_of_feed(self, feed, feed), feed).into_iter().filter(|feed| *feed > 0.0).collect();
        let turns = spread(self.range_and_aim(Item::TURN_TIME, turn_s).0, turn_s);
        let bad: Vec<Vec<Option<u32>>> = feeds
            .iter()
            .map(|&feed| {
                let Some(fed) = self.fed(feed) else { return vec![None; turns.len()] };
                turns.iter().map(|&turn_s| self.bad_unless_worse(&before, &fed, turn_s)).collect()
            })
            .collect();
        let least = bad.iter().flatten().flatten().min().copied()?;
        let at = |row: usize, column: usize| bad.get(row)?.get(column).copied().flatten();
        let mut all = Vec::new();
        for (row, &to) in feeds.iter().enumerate() {
            for (column, &to_s) in
                turns.iter().enumerate().filter(|(column, _)| at(row, *column) == Some(least))
            {
                let beside = [
                    (row.wrapping_sub(1), column),
                    (row + 1, column),
                    (row, column.wrapping_sub(1)),
                    (row, column + 1),
                ];
                let room = beside.iter().filter(|(row, column)| at(*row, *column) == Some(least)).count();
                let moved = (to / feed - 1.0).abs() + (to_s / turn_s - 1.0).abs();
                all.push(Candidate { bad: least, room, moved, feed: to, turn_s: to_s });
            }
        }
        // Not at the very edge of what is good, where there is room beside it; then the shortest way.
        all.into_iter().min_by(|one, other| {
            (other.room, one.bad).cmp(&(one.room, other.bad)).then(one.moved.total_cmp(&other.moved))
        })
    }
    /// How bad a feed with a turn is; nothing where the height is outside, or anything is worse than it was.
    fn bad_unless_worse(&self, before: &State, fed: &SetupSheet, turn_s: f64) -> Option<u32> {
        let state = self.state(&put(fed, Item::TURN_TIME, Measured::Size(turn_s)));
        let is_outside = |severity: Option<Severity>| severity >= Some(Severity::Warn);
        let is_worse = before.0.iter().zip(&state.0).any(|(was, is)| {
            let turned = [Item::WIRE_FEED, Item::CURRENT, Item::TURN_TIME].contains(&is.item);
            let (was, is) = (was.verdict.severity(), is.verdict.severity());
            is > was && is_outside(is) || turned && is_outside(is)
        });
        (!is_worse && !state.1.iter().any(is_of_height)).then(|| badness(&state))
    }
    fn measure_height(&mut self) {
        let measures = vec![Item::WIRE_FEED, Item::CURRENT, Item::TURN_TIME];
        let mut after = self.sheet.clone();
        after.entries.retain(|entry| !measures.contains(&entry.item));
        self.steps.push(Step {
            turn: Item::WIRE_FEED,
            how: "leave feed and turning as they are: amps and height cannot both be brought in by wire feed and turn \
                  time within their ranges. Measure wire feed, current and turn time again, and the height of a band \
                  laid on scrap; where they read the same, look for another wire or another width than the procedure's, \
                  else the procedure does not do for this machine: have it qualified anew"
                .to_owned(),
            from: None,
            to: None,
            until: None,
            settles: Vec::new(),
            measures,
            moves: Vec::new(),
            moves_also: "",
            caution: caution(Item::WIRE_FEED, None),
        });
        self.sheet = after;
    }
}

fn is_of_height(fit: &Fit) -> bool {
    matches!(fit.of, Belonging::Height | Belonging::Pile) && fit.is_good == Some(false)
}

/// Values over a range, and where it stands.
fn spread(range: Bounds, from: f64) -> Vec<f64> {
    let (low, high) = (range.low.unwrap_or(from), range.high.unwrap_or(from));
    let grid = (0..=TRIED).map(|index| low + (high - low) * f64::from(index) / f64::from(TRIED));
    let mut all: Vec<f64> = grid.chain((low..=high).contains(&from).then_some(from)).collect();
    all.sort_by(f64::total_cmp);
    all
}
