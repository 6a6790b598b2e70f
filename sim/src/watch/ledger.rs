//! What was said so far, by a monitor here or on a board.
//!
//! Decides: which alarms are active, and how the weld stands as a whole.
//! Assumes: events come in the order in which they were said.
//! Never: judges.

use crate::alarm::is_same;
use bandward::flash::journal::Kept;
use bandward::link::Telemetry;
use bandward::monitor::SoFar;
use bandward::{
    ActiveAlarm, AlarmEvent, AlarmKind, BandRecord, Event, JointRecord, Outcome, Phase, Severity, Sink,
};

/// Something that was said and not handed on yet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum News {
    /// Something happened.
    Event(Event),
    /// A band is finished.
    Band(Box<BandRecord>),
    /// A joint is done.
    Joint(JointRecord),
    /// A band or a joint of a bench test: nobody welded.
    Bench(Box<Kept>),
}

/// Finished bands that are kept: more than any screen shows.
const MOST_BANDS: usize = 1024;

/// All that a screen needs of what was said.
#[derive(Clone, Debug, Default)]
pub struct Ledger {
    /// The arc phase.
    pub phase: Phase,
    /// The band it belongs to, from 1; 0 before the first.
    pub band: u16,
    /// Alarms that are active, in the order they were raised.
    pub active: Vec<ActiveAlarm>,
    /// The last finished bands: joint, number and what each came to.
    pub bands: Vec<(u16, u16, Outcome)>,
    /// What band and joint under way have come to so far.
    pub so_far: SoFar,
    /// The last joint that is done.
    pub last_joint: Option<JointRecord>,
    /// What the joints that are done came to: as bad as the worst.
    joints: Option<Outcome>,
    /// The worst severity of any alarm so far.
    pub worst: Option<Severity>,
    news: Vec<News>,
}

impl Ledger {
    /// What it all came to: the joints that are done, and one that is not done: that is not proven, however good it
    /// has been so far.
    pub fn outcome(&self) -> Outcome {
        match self.joints {
            Some(joints) if !self.is_open() => joints,
            joints => {
                let so_far = self.so_far.joint;
                let open = if so_far == Outcome::Proven { Outcome::NotProven } else { so_far };
                joints.max(Some(open)).unwrap_or_default()
            }
        }
    }
    /// Is a joint under way?
    const fn is_open(&self) -> bool {
        self.so_far.bands > 0 || self.phase.is_in_band()
    }
    /// Why it is not proven by what the joints came to, if it is not: for machines and for people.
    pub fn unproven(&self) -> Option<(&'static str, &'static str)> {
        let why = match self.joints {
            _ if self.outcome() != Outcome::NotProven => return None,
            Some(Outcome::NotProven) => ("joint-not-proven", "a joint is not proven, as its record says"),
            _ if self.is_open() => ("joint-under-way", "a joint was under way at the end"),
            _ => ("no-joint", "no joint came to its end"),
        };
        Some(why)
    }
    /// Was anything found that needs no procedure to be wrong?
    pub fn has_faults(&self) -> bool {
        self.worst >= Some(Severity::Warn)
    }
    /// What was said since the last time this was asked.
    pub fn take_news(&mut self) -> Vec<News> {
        std::mem::take(&mut self.news)
    }
    /// Takes over what a board says is so now: alarms raised before this program was connected, and
    /// what was said in frames that were lost.
    pub fn correct(&mut self, telemetry: &Telemetry) {
        self.phase = telemetry.phase;
        self.band = telemetry.position.band;
        self.so_far = telemetry.so_far;
        self.active = telemetry.alarms.iter().flatten().copied().collect();
        self.worst = self.active.iter().map(|alarm| Some(alarm.severity)).fold(self.worst, Ord::max);
    }
    /// What a board told of a joint under way, if it is this one, is over with its record: a bench test ends with that, and
    /// no state follows.
    fn close(&mut self, joint: u16) {
        if self.so_far.joint_number == joint {
            self.so_far = SoFar {
                joint_number: joint.saturating_add(1),
                joint: Outcome::NotProven,
                ..SoFar::default()
            };
        }
    }
    /// Starts again, as a board does with a new procedure; what was found so far still counts.
    pub fn forget_active(&mut self) {
        self.active.clear();
        self.phase = Phase::Idle;
    }
    /// A band or a joint of a bench test of this watch's own: it counts as if it had been welded, and is told as what it is.
    pub fn bench(&mut self, kept: &Kept) {
        match kept.as_welded() {
            Kept::Band(record) => self.band(&record),
            Kept::Joint(record) => self.joint(&record),
            _ => return,
        }
        self.news.pop();
        self.news.push(News::Bench(Box::new(*kept)));
    }
    /// One of somebody else's bench test: it counts for nothing, and nothing was asked of it.
    pub fn bench_of_others(&mut self, kept: &Kept) {
        let outcome = Outcome::NotAsked;
        let kept = match *kept {
            Kept::Band(record) | Kept::BenchBand(record) => Kept::BenchBand(BandRecord { outcome, ..record }),
            Kept::Joint(record) | Kept::BenchJoint(record) => {
                Kept::BenchJoint(JointRecord { outcome, ..record })
            }
        };
        self.news.push(News::Bench(Box::new(kept)));
    }
    fn alarm(&mut self, event: &AlarmEvent) {
        self.worst = self.worst.max(Some(event.severity));
        let is_same = |alarm: &ActiveAlarm| is_same(alarm.rule, event.rule, alarm.channel, event.channel);
        if event.kind == AlarmKind::Cleared {
            self.active.retain(|alarm| !is_same(alarm));
            return;
        }
        let place = self.active.iter().position(is_same);
        if place.is_none() && matches!(event.kind, AlarmKind::Shelved | AlarmKind::Unshelved) {
            // Put away before it is raised: nothing is active.
            return;
        }
        let place = place.unwrap_or_else(|| {
            self.active.push(ActiveAlarm {
                rule: event.rule,
                channel: event.channel,
                severity: event.severity,
                acknowledged: false,
                shelved: false,
            });
            self.active.len() - 1
        });
        let alarm = &mut self.active[place];
        alarm.severity = event.severity;
        // As in the core: a stop ends the shelf.
        alarm.shelved &= event.severity < Severity::Stop;
        match event.kind {
            AlarmKind::Acknowledged => alarm.acknowledged = true,
            AlarmKind::Shelved => alarm.shelved = true,
            AlarmKind::Unshelved => alarm.shelved = false,
            _ => alarm.acknowledged = false,
        }
    }
}

impl Sink for Ledger {
    fn event(&mut self, event: &Event) {
        match event {
            Event::Phase { phase, band, .. } => (self.phase, self.band) = (*phase, *band),
            Event::Tack { .. } => {}
            Event::Alarm(alarm) => self.alarm(alarm),
        }
        self.news.push(News::Event(*event));
    }
    fn band(&mut self, record: &BandRecord) {
        if self.bands.len() >= MOST_BANDS {
            self.bands.remove(0);
        }
        self.bands.push((record.joint, record.band, record.outcome));
        self.news.push(News::Band(Box::new(*record)));
    }
    fn joint(&mut self, record: &JointRecord) {
        self.close(record.joint);
        self.last_joint = Some(*record);
        self.joints = self.joints.max(Some(record.outcome));
        self.news.push(News::Joint(*record));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::watch::lines;

    /// Before, the state of before the end of a joint stood on after its record, which no state followed.
    #[test]
    fn a_joint_is_not_under_way_once_its_record_has_come() {
        let state =
            |joint_number| SoFar { joint_number, bands: 2, joint: Outcome::Proven, ..SoFar::default() };
        let record = JointRecord { joint: 1, bands: 3, outcome: Outcome::Proven, ..JointRecord::default() };
        for (under_way, expected, why) in
            [(1, Outcome::Proven, None), (2, Outcome::NotProven, Some("joint-under-way"))]
        {
            let mut ledger = Ledger { so_far: state(under_way), ..Ledger::default() };
            ledger.bench(&Kept::BenchJoint(record));
            assert_eq!(ledger.outcome(), expected);
            assert_eq!(ledger.unproven().map(|(name, _)| name), why);
        }
    }
    /// Before, only the state said that a bench test was under way, and who did not hear that took it for a weld.
    #[test]
    fn what_a_bench_test_left_is_marked_and_counts_only_for_who_asked_for_it() {
        let outcome = Outcome::Proven;
        let band = Kept::BenchBand(BandRecord { band: 1, outcome, ..BandRecord::default() });
        let joint = Kept::BenchJoint(JointRecord { bands: 1, outcome, ..JointRecord::default() });
        let take: [fn(&mut Ledger, &Kept); 2] = [Ledger::bench, Ledger::bench_of_others];
        for (take, expected) in take.into_iter().zip(["proven", "not asked"]) {
            let mut ledger = Ledger::default();
            take(&mut ledger, &band);
            take(&mut ledger, &joint);
            assert_eq!(ledger.outcome().name(), expected);
            let told: Vec<_> = ledger.take_news().iter().map(lines::line).collect();
            assert_eq!(told.len(), 2);
            for (line, event) in told.iter().zip(["band", "joint"]) {
                assert_eq!((&line["event"], &line["bench_test"]), (&event.into(), &true.into()));
                assert_eq!(line["record"]["outcome"], expected);
            }
        }
    }
}
