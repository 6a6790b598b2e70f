//! The hold relay, the lamp and the horn.
//!
//! Decides: what each of them does. The relay is energised only while nothing holds the weld, so that a
//! broken wire, a dead board or a board without power holds the weld just as a stop does. Whatever released it
//! latches: it comes back only when the cause is gone and somebody has acknowledged, in either order (the state
//! "returned to normal, unacknowledged" of IEC 62682 and OPC UA 10000-9). The lamp also shows the verdict: it is
//! dark only where nothing was broken and nothing was left unjudged.
//! Assumes: the relay's normally open contact is in the welding machine's hold circuit.
//! Never: energises the relay before the first sample was judged, or during a bench test. It is a monitor, not
//! a safety device and not an emergency stop.

use bandward::event::{AlarmEvent, AlarmKind};
use bandward::link::{BoardFaults, Lamp, Outputs};
use bandward::rule::RuleSet;
use bandward::sample::ChannelSet;
use bandward::{Channel, JointRecord, Outcome, Severity, SoFar};
use embedded_hal::digital::{OutputPin, PinState};

/// One alarm a rule, and one a rule and channel.
const PLACES: usize = 1 + Channel::COUNT;

/// The alarms of one place.
#[derive(Clone, Copy, Debug)]
struct Place {
    /// An alarm of warn or worse.
    warning: RuleSet,
    /// An alarm for which the relay is released.
    holding: RuleSet,
    /// An alarm that held, is over, and that nobody acknowledged.
    returned: RuleSet,
    /// An active alarm that somebody acknowledged.
    acknowledged: RuleSet,
    /// An alarm of warn or worse that nobody acknowledged.
    unseen: RuleSet,
    /// An alarm that somebody put away for a time.
    shelved: RuleSet,
}

impl Place {
    const EMPTY: Self = Self {
        warning: RuleSet::EMPTY,
        holding: RuleSet::EMPTY,
        returned: RuleSet::EMPTY,
        acknowledged: RuleSet::EMPTY,
        unseen: RuleSet::EMPTY,
        shelved: RuleSet::EMPTY,
    };
    fn take(&mut self, alarm: &AlarmEvent) {
        let rule = alarm.rule;
        match alarm.kind {
            AlarmKind::Raised | AlarmKind::Escalated => {
                self.acknowledged = self.acknowledged.without(rule);
                if alarm.severity >= Severity::Warn {
                    self.warning = self.warning.with(rule);
                    self.unseen = self.unseen.with(rule);
                }
                // A dead sensor holds whatever severity the procedure gives it.
                if alarm.severity == Severity::Stop || rule.is_about_a_channel() {
                    self.holding = self.holding.with(rule);
                    self.returned = self.returned.without(rule);
                }
                if alarm.severity == Severity::Stop {
                    // As in the core: a stop ends the shelf.
                    self.shelved = self.shelved.without(rule);
                }
            }
            AlarmKind::Cleared => {
                if self.holding.contains(rule) && !self.acknowledged.contains(rule) {
                    self.returned = self.returned.with(rule);
                }
                // The shelf is a time, which runs on whether the alarm is there or not.
                for set in [&mut self.warning, &mut self.holding, &mut self.acknowledged, &mut self.unseen] {
                    *set = set.without(rule);
                }
            }
            AlarmKind::Repeated => {
                self.acknowledged = self.acknowledged.without(rule);
                if self.warning.contains(rule) {
                    self.unseen = self.unseen.with(rule);
                }
            }
            AlarmKind::Acknowledged => {
                self.acknowledged = self.acknowledged.with(rule);
                self.unseen = self.unseen.without(rule);
            }
            AlarmKind::Shelved => self.shelved = self.shelved.with(rule),
            AlarmKind::Unshelved => self.shelved = self.shelved.without(rule),
        }
    }
}

/// In which places there is an alarm of a kind, a bit each: what the outputs follow from, without a walk over all places.
#[derive(Clone, Copy, Debug)]
struct Anywhere {
    /// One that lights the lamp.
    lit: u16,
    unseen: u16,
    holding: u16,
    returned: u16,
}

impl Anywhere {
    const NOWHERE: Self = Self { lit: 0, unseen: 0, holding: 0, returned: 0 };

    fn look(&mut self, index: usize, place: &Place) {
        let bit = 1 << index;
        let set =
            |bits: &mut u16, rules: RuleSet| *bits = *bits & !bit | if rules.is_empty() { 0 } else { bit };
        set(&mut self.lit, place.warning.union(place.holding).minus(place.shelved));
        set(&mut self.unseen, place.unseen.minus(place.shelved));
        set(&mut self.holding, place.holding);
        set(&mut self.returned, place.returned);
    }
}

/// Nothing is wrong with the board.
pub(crate) const NO_FAULTS: BoardFaults = BoardFaults {
    bad_configuration: false,
    missed_deadline: false,
    watchdog_reset: false,
    bad_clock: false,
    wrong_rate: false,
    silent: ChannelSet::EMPTY,
    unwatched_arc: false,
    journal: false,
    relay: false,
    started: false,
};

/// What is active, from the events alone.
#[derive(Clone, Debug)]
pub struct Annunciator {
    places: [Place; PLACES],
    anywhere: Anywhere,
    /// Alarms that released the relay in a watch that was given up, and that nobody acknowledged.
    carried: RuleSet,
    /// Faults of the board that are there now.
    present: BoardFaults,
    /// Those, and those that nobody acknowledged.
    latched: BoardFaults,
    /// Those that are there and that somebody acknowledged: forgotten as soon as they are over.
    acknowledged: BoardFaults,
    /// What the last joint came to.
    last_joint: Outcome,
    /// What the lamp shows of the verdict.
    shown: Outcome,
    judging: bool,
    is_bench: bool,
    /// What follows from all that: worked out when it changes, once for all changes of a sample.
    outputs: Outputs,
    is_stale: bool,
}

/// Half a period of the slow blink, µs.
pub const BLINK_US: u64 = 1_000_000;

impl Default for Annunciator {
    fn default() -> Self {
        Self::new()
    }
}

impl Annunciator {
    /// Nothing active, and nothing judged yet: the relay is released.
    pub const fn new() -> Self {
        Self {
            places: [Place::EMPTY; PLACES],
            anywhere: Anywhere::NOWHERE,
            carried: RuleSet::EMPTY,
            present: NO_FAULTS,
            latched: NO_FAULTS,
            acknowledged: NO_FAULTS,
            last_joint: Outcome::NotAsked,
            shown: Outcome::NotAsked,
            judging: false,
            is_bench: false,
            outputs: Outputs { relay_energised: false, lamp: Lamp::Off, horn: false },
            is_stale: false,
        }
    }
    /// Another watch begins: its alarms start anew. What held the relay on the machine's own samples holds it
    /// until somebody acknowledges; what a bench test's samples did is gone with them.
    pub fn begin_watch(&mut self, is_bench: bool) {
        let carried = if self.is_bench { self.carried } else { self.returned().union(self.holding()) };
        let Self { present, latched, acknowledged, .. } = *self;
        *self = Self { carried, present, latched, acknowledged, is_bench, ..Self::new() };
        self.is_stale = true;
    }
    /// A sample was judged; true if it is the first of the watch.
    #[inline]
    pub fn judged(&mut self) -> bool {
        let is_first = !self.judging;
        if is_first {
            self.judging = true;
            self.is_stale = true;
        }
        is_first
    }
    /// Takes the verdict so far.
    pub fn verdict(&mut self, so_far: &SoFar) {
        // A joint without a band is not proven by definition, which is no news to anybody.
        let has_begun = so_far.bands > 0 || so_far.band != Outcome::NotAsked;
        self.shown = match (has_begun, so_far.joint) {
            (false, Outcome::Broken) => Outcome::Broken,
            (false, _) => self.last_joint,
            (true, joint) => joint,
        };
        self.is_stale = true;
    }
    /// The verdict that the lamp shows: on the joint under way, or else on the last one.
    pub const fn shown(&self) -> Outcome {
        self.shown
    }
    /// A joint is done.
    pub fn joint_done(&mut self, joint: &JointRecord) {
        self.last_joint = joint.outcome;
        self.shown = joint.outcome;
        self.is_stale = true;
    }
    /// Takes a change of an alarm.
    pub fn take(&mut self, alarm: &AlarmEvent) {
        let index = alarm.channel.map_or(0, |channel| channel as usize + 1);
        if let Some(place) = self.places.get_mut(index) {
            place.take(alarm);
            self.anywhere.look(index, place);
        }
        self.is_stale = true;
    }
    /// Takes the faults of the board that are there now. Those of before stay until acknowledged, before or after
    /// they were over.
    pub fn take_faults(&mut self, present: BoardFaults) {
        if present != self.present {
            let begun = present.minus(self.present);
            let over = self.acknowledged.minus(present);
            self.latched = self.latched.minus(over);
            self.acknowledged = self.acknowledged.minus(over);
            self.present = present;
            self.take_moment(begun);
        }
    }
    /// A fault of the board that was there for a moment; it stays until acknowledged.
    pub fn take_moment(&mut self, fault: BoardFaults) {
        self.latched = self.latched.union(fault);
        self.acknowledged = self.acknowledged.minus(fault);
        self.is_stale = true;
    }
    /// Another procedure is in force.
    pub fn forget_bad_configuration(&mut self) {
        self.present.bad_configuration = false;
        self.latched.bad_configuration = false;
        self.is_stale = true;
    }
    /// The faults of the board that are there, or that nobody acknowledged.
    pub const fn faults(&self) -> BoardFaults {
        self.latched
    }
    /// A person has pressed the button: what is over is forgotten, the board's own faults too.
    pub fn acknowledge(&mut self) {
        (self.latched, self.acknowledged) = (self.present, self.present);
        self.carried = RuleSet::EMPTY;
        for place in &mut self.places {
            place.returned = RuleSet::EMPTY;
        }
        self.anywhere.returned = 0;
        self.is_stale = true;
    }
    /// Alarms that released the relay, are over or of an earlier watch, and were not acknowledged.
    pub fn returned(&self) -> RuleSet {
        self.places.iter().fold(self.carried, |rules, place| rules.union(place.returned))
    }
    fn holding(&self) -> RuleSet {
        self.places.iter().fold(RuleSet::EMPTY, |rules, place| rules.union(place.holding))
    }
    /// Is it a bench test's samples that are judged?
    pub const fn is_bench(&self) -> bool {
        self.is_bench
    }
    /// What the outputs must be.
    pub fn outputs(&self) -> Outputs {
        if self.is_stale { self.outputs_now() } else { self.outputs }
    }
    /// Has anything changed since the outputs were worked out?
    pub const fn is_stale(&self) -> bool {
        self.is_stale
    }
    /// Works the outputs out, so that [`Self::outputs`] has them at hand.
    #[inline]
    pub fn work_out(&mut self) {
        if self.is_stale {
            (self.outputs, self.is_stale) = (self.outputs_now(), false);
        }
    }
    #[inline(never)]
    fn outputs_now(&self) -> Outputs {
        let Anywhere { lit, unseen, holding, returned } = self.anywhere;
        let has_returned = returned != 0 || !self.carried.is_empty();
        let lamp = match self.shown {
            _ if lit != 0 || has_returned || self.latched.any() => Lamp::On,
            Outcome::Broken => Lamp::On,
            Outcome::NotProven => Lamp::Slow,
            Outcome::NotAsked | Outcome::Proven => Lamp::Off,
        };
        let holds = has_returned || holding != 0 || self.latched.hold_relay() || self.is_bench;
        Outputs { relay_energised: self.judging && !holds, lamp, horn: unseen != 0 }
    }
}

/// What the pins must be at one moment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Levels {
    /// The relay is energised.
    pub relay: bool,
    /// The lamp is lit.
    pub lamp: bool,
    /// The horn sounds.
    pub horn: bool,
}

impl Levels {
    /// Of these outputs at this time of the samples, µs: a slow lamp is lit for every other second.
    pub const fn at(outputs: Outputs, time_us: u64) -> Self {
        let lamp = match outputs.lamp {
            Lamp::Off => false,
            Lamp::Slow => (time_us / BLINK_US).is_multiple_of(2),
            Lamp::On => true,
        };
        Self { relay: outputs.relay_energised, lamp, horn: outputs.horn }
    }
}

/// The pins.
pub struct Pins<Relay, Lamp, Horn> {
    /// Energises the relay when high.
    pub relay: Relay,
    /// Lights the lamp when high.
    pub lamp: Lamp,
    /// Sounds the horn when high.
    pub horn: Horn,
}

impl<Relay: OutputPin, Lamp: OutputPin, Horn: OutputPin> Pins<Relay, Lamp, Horn> {
    /// Drives the pins. The relay comes first, and a lamp that fails does not keep it from moving.
    pub fn drive(&mut self, levels: Levels) -> Driven {
        let relay = self.relay.set_state(PinState::from(levels.relay)).is_ok();
        let lamp = self.lamp.set_state(PinState::from(levels.lamp)).is_ok();
        let horn = self.horn.set_state(PinState::from(levels.horn)).is_ok();
        Driven { relay, all: relay && lamp && horn }
    }
}

/// Which pins took what they were to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Driven {
    /// That of the relay.
    pub relay: bool,
    /// All of them.
    pub all: bool,
}

/// What the driver of a watchdog timer implements.
pub trait Watchdog {
    /// Puts off the reset for another period.
    fn feed(&mut self);
    /// Was the last reset the watchdog's doing?
    fn caused_reset(&self) -> bool;
}
