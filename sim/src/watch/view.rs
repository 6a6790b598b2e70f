//! Everything the screen shows, as plain data.
//!
//! Decides: which joint is shown, and when what is shown is not of now.
//! Assumes: nothing.
//! Never: judges; it sums up what the core said.

use super::gauge::Gauge;
use super::history::History;
use super::ledger::{Ledger, News};
use super::timeliness::NotNow;
use super::unrolled::Unrolled;
use crate::input::quantity::UnitSystem;
use bandward::flash::journal::Kept;
use bandward::link::Outputs;
use bandward::monitor::SoFar;
use bandward::rule::RuleSet;
use bandward::{ActiveAlarm, JointRecord, Outcome, Phase, Rule};

/// How it stands with a board.
// Each of its flags is one plain fact, not a state in disguise.
#[allow(clippy::struct_excessive_bools)]
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct LinkView {
    /// Why there is no link.
    pub lost: Option<String>,
    /// For how long there have been no readings, s, where that is too long.
    pub silent_s: Option<u64>,
    /// Were there ever any?
    pub has_spoken: bool,
    /// What the board drives; absent where that is not known now.
    pub outputs: Option<Outputs>,
    /// A bench test is under way: the relay is released for that alone.
    pub is_bench: bool,
    /// What is wrong with the board itself, and what nobody acknowledged, in words.
    pub faults: Option<String>,
    /// Its black box is frozen.
    pub black_box_frozen: bool,
    /// Frames with a fault, at both ends.
    pub bad: u32,
    /// Frames that never came, at both ends.
    pub missed: u32,
    /// Sound frames from the board.
    pub taken: u32,
    /// CRC of the active procedure.
    pub procedure_crc: u32,
    /// That is another one than the one whose ranges were to be shown.
    pub is_other_procedure: bool,
    /// What comes is recorded.
    pub is_recording: bool,
    /// What became of the last order.
    pub notice: Option<String>,
}

/// What the screen shows.
#[derive(Clone, Debug)]
pub struct View {
    /// The trace, or the board.
    pub source: String,
    /// The procedure it is judged by.
    pub procedure: Option<String>,
    /// Units.
    pub system: UnitSystem,
    /// Time in the trace, s.
    pub time_s: f64,
    /// How fast it is played, or that it is not.
    pub pace: String,
    /// There is no more to come.
    pub is_over: bool,
    /// Why the rows of a stream are not of now, where they are not.
    pub not_now: Option<NotNow>,
    /// The arc phase.
    pub phase: Phase,
    /// The band, from 1; 0 before the first.
    pub band: u16,
    /// Angle turned since the band began, degrees.
    pub turned_deg: Option<f64>,
    /// What to do before the next band, where it is too hot or too cold for one.
    pub next_band: Option<String>,
    /// That it is neither, where that is known.
    pub in_range_words: Option<String>,
    /// Watched quantities.
    pub gauges: Vec<Gauge>,
    /// Active alarms, the worst first.
    pub alarms: Vec<ActiveAlarm>,
    /// The alarms of this watch, the cleared ones too.
    pub history: History,
    /// The joint unrolled.
    pub unrolled: Unrolled,
    /// Bands that the procedure gives a joint.
    pub bands_planned: Option<u32>,
    /// Finished bands: joint, number and what each came to.
    pub bands: Vec<(u16, u16, Outcome)>,
    /// What it all came to.
    pub outcome: Outcome,
    /// Was anything found that needs no procedure to be wrong?
    pub has_faults: bool,
    /// What band and joint under way have come to so far.
    pub so_far: SoFar,
    /// The last joint that is done.
    pub last_joint: Option<JointRecord>,
    /// How it stands with a broker to which this is published.
    pub broker: Option<String>,
    /// Keys and what they do.
    pub keys: &'static str,
    /// The board, where there is one.
    pub link: Option<LinkView>,
    /// Lines that are shown below the verdict in the place of everything else.
    pub overlay: Option<Vec<String>>,
}

impl View {
    /// Before anything is known.
    pub fn new(source: String, system: UnitSystem, keys: &'static str) -> Self {
        Self {
            source,
            procedure: None,
            system,
            time_s: 0.0,
            pace: String::new(),
            is_over: false,
            not_now: None,
            phase: Phase::Idle,
            band: 0,
            turned_deg: None,
            next_band: None,
            in_range_words: None,
            gauges: Vec::new(),
            alarms: Vec::new(),
            history: History::default(),
            unrolled: Unrolled::default(),
            bands_planned: None,
            bands: Vec::new(),
            outcome: Outcome::NotAsked,
            has_faults: false,
            so_far: SoFar::default(),
            last_joint: None,
            broker: None,
            keys,
            link: None,
            overlay: None,
        }
    }
    /// Is what it shows not of now?
    pub fn is_old(&self) -> bool {
        let is_not_now = self.not_now.is_some() && !self.is_over;
        is_not_now || self.link.as_ref().is_some_and(|link| link.silent_s.is_some() || link.lost.is_some())
    }
    /// Are there no values of now, because they are old or because there is nothing more to come?
    pub fn is_past(&self) -> bool {
        self.is_old() || self.is_over
    }
    /// The joint to be shown: the one under way, and before the next begins the last one that is done: is it done, its
    /// number, what it came to and what broke it; `None` before there is any.
    pub fn shown_joint(&self) -> Option<(bool, u16, Outcome, RuleSet)> {
        let so_far = &self.so_far;
        let is_open = self.phase.is_in_band() && !self.is_over;
        let has_begun = is_open || so_far.bands > 0 || so_far.band != Outcome::NotAsked;
        match &self.last_joint {
            Some(joint) if !has_begun => Some((true, joint.joint, joint.outcome, joint.broken)),
            None if !has_begun && so_far.broken_in_joint.is_empty() => None,
            _ => Some((false, so_far.joint_number, so_far.joint, so_far.broken_in_joint)),
        }
    }
    /// The joint that the band belongs to; before its first band the one that is to be begun.
    pub fn joint_number(&self) -> u16 {
        let shown = self.shown_joint().filter(|_| self.band > 0 || self.is_over);
        shown.map_or(self.so_far.joint_number, |(_, number, ..)| number)
    }
    /// Finished bands of the joint that is shown.
    pub fn bands_done(&self) -> u16 {
        let done = self.last_joint.filter(|_| self.shown_joint().is_some_and(|(is_done, ..)| is_done));
        done.map_or(self.so_far.bands, |joint| joint.bands)
    }
    /// Takes over what was said so far.
    pub fn take(&mut self, ledger: &Ledger) {
        self.phase = ledger.phase;
        self.band = ledger.band;
        self.alarms.clone_from(&ledger.active);
        self.alarms.sort_by_key(|alarm| std::cmp::Reverse(alarm.severity));
        self.bands.clone_from(&ledger.bands);
        self.outcome = ledger.outcome();
        self.has_faults = ledger.has_faults();
        self.so_far = ledger.so_far;
        self.last_joint = ledger.last_joint;
    }
    /// Takes what was said since the last time, in its order.
    pub fn hear(&mut self, news: &[News], ledger: &Ledger) {
        for (one, joint) in news.iter().zip(joints_of(news, ledger.so_far.joint_number)) {
            self.history.take(one, joint);
        }
    }
    /// Once everything else is filled in: what was lost on the way is mended by what is so now.
    pub fn settle(&mut self, ledger: &Ledger) {
        if self.is_over && self.link.is_none() {
            // Whatever stood then stands no more: there is nothing left that it could be of.
            self.alarms.clear();
            self.history.end(self.time_s);
        } else if !self.is_old() {
            // What is old corrects nothing: nothing is known of now.
            self.history.correct(ledger, self.time_s);
        }
        let mut unrolled = std::mem::take(&mut self.unrolled);
        unrolled.take(self);
        self.unrolled = unrolled;
    }
    /// The arc phase as people say it. At the end of every band the arc goes out: that is a fault only where its alarm
    /// says so.
    pub fn phase_words(&self) -> &'static str {
        match self.phase {
            Phase::Idle => "no arc",
            Phase::PreFlow => "gas before the arc",
            Phase::Strike => "arc struck",
            Phase::Arc => "arc burning",
            Phase::Outage if self.alarms.iter().any(|alarm| alarm.rule == Rule::ArcOutage) => "ARC OUT",
            Phase::Outage => "arc off",
            Phase::PostFlow => "gas after the arc",
        }
    }
}

/// The names of rules, separated by commas.
pub fn names(rules: RuleSet) -> String {
    rules.iter().map(Rule::name).collect::<Vec<_>>().join(", ")
}

/// The joint of each piece of news: that of the record which comes next, as much may have gone by since the last look;
/// after the last record the one that it leaves open, and without any record the one of `now`.
fn joints_of(news: &[News], now: u16) -> Vec<u16> {
    let of_record = |one: &News| match one {
        News::Band(band) => Some((band.joint, band.joint)),
        News::Joint(joint) => Some((joint.joint, joint.joint.saturating_add(1))),
        News::Bench(kept) => match **kept {
            Kept::Band(band) | Kept::BenchBand(band) => Some((band.joint, band.joint)),
            Kept::Joint(joint) | Kept::BenchJoint(joint) => {
                Some((joint.joint, joint.joint.saturating_add(1)))
            }
        },
        News::Event(_) => None,
    };
    let open = news.iter().rev().find_map(of_record).map_or(now, |(_, then)| then);
    let mut joints = Vec::with_capacity(news.len());
    let mut joint = open;
    for one in news.iter().rev() {
        joint = of_record(one).map_or(joint, |(of, _)| of);
        joints.push(joint);
    }
    joints.reverse();
    joints
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::watch::player::Player;
    use bandward::{BandRecord, Event, Severity};

    pub(in crate::watch) fn view() -> View {
        View::new(String::new(), UnitSystem::Metric, "")
    }
    pub(in crate::watch) fn alarm(rule: Rule, severity: Severity, shelved: bool) -> ActiveAlarm {
        ActiveAlarm { rule, channel: None, severity, acknowledged: false, shelved }
    }

    #[test]
    fn what_is_heard_late_is_of_the_joint_that_it_was_of() {
        let event = News::Event(Event::Tack { time_us: 0, arc_time_us: 0 });
        let band = |joint| News::Band(Box::new(BandRecord { joint, ..BandRecord::empty() }));
        let done = |joint| News::Joint(JointRecord { joint, ..JointRecord::default() });
        let news =
            [event.clone(), band(1), event.clone(), done(1), event.clone(), band(2), done(2), event.clone()];
        assert_eq!(joints_of(&news, 9), [1, 1, 1, 1, 2, 2, 2, 3]);
        assert_eq!(joints_of(&[event.clone(), event], 4), [4, 4]);
    }

    #[test]
    fn after_a_joint_its_bands_are_counted_and_the_next_has_its_own_number() {
        let (file, reader) = (crate::demo::procedure().expect("sound"), crate::demo::trace().expect("sound"));
        let acquisition = reader.header().acquisition;
        let mut player = Player::new(Box::new(reader), acquisition, file.procedure);
        player.advance(u64::MAX, None).expect("no fault");
        let mut view = View { is_over: true, ..view() };
        view.take(player.ledger());
        // The demo joint has three bands.
        assert_eq!((view.joint_number(), view.bands_done()), (1, 3));
        // Gas flows before the next, of which there is no band yet.
        (view.is_over, view.phase, view.band, view.so_far) = (false, Phase::PreFlow, 0, SoFar::default());
        view.so_far.joint_number = 2;
        assert_eq!((view.joint_number(), view.shown_joint().map(|(_, joint, ..)| joint)), (2, Some(1)));
    }

    #[test]
    fn once_a_trace_has_ended_no_alarm_stands_and_the_list_tells_that_it_stood() {
        let mut ledger = Ledger::default();
        ledger.active.push(alarm(Rule::GasLow, Severity::Stop, false));
        let mut view = view();
        for (time_s, is_over) in [(1.0, false), (2.0, true), (2.0, true)] {
            (view.time_s, view.is_over) = (time_s, is_over);
            view.take(&ledger);
            view.settle(&ledger);
        }
        assert!(view.alarms.is_empty());
        let told = view.history.json();
        assert_eq!(told.len(), 1, "{told:?}");
        assert_eq!((&told[0]["cleared_s"], &told[0]["is_active_at_end"]), (&2.0.into(), &true.into()));
    }
}
