//! The hold relay, the lamp and the horn.
//!
//! Decides: what each of them does. The relay is energised only while no alarm holds the weld, so that a
//! broken wire, a dead board or a board without power holds the weld just as a stop does. The lamp also shows
//! the verdict: it is dark only where nothing was broken and nothing was left unjudged.
//! Assumes: the relay's normally open contact is in the welding machine's hold circuit.
//! Never: energises the relay before the first sample was judged. It is a monitor, not a safety
//! device and not an emergency stop.

use bandward::event::{AlarmEvent, AlarmKind};
use bandward::link::{Lamp, Outputs};
use bandward::rule::RuleSet;
use bandward::{Channel, JointRecord, Outcome, Severity, SoFar};
use embedded_hal::digital::{OutputPin, PinState};

/// Why the relay is released although no alarm asks for it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Faults {
    /// The procedure in force does not make sense, or could not be read.
    pub bad_configuration: bool,
    /// A sample came too late to be judged in time; stays until acknowledged.
    pub missed_deadline: bool,
    /// The watchdog started the board; stays until acknowledged.
    pub watchdog_reset: bool,
}

impl Faults {
    const fn any(self) -> bool {
        self.bad_configuration || self.missed_deadline || self.watchdog_reset
    }
}

/// One alarm a rule, and one a rule and channel.
const PLACES: usize = 1 + Channel::COUNT;

/// What is active, from the events alone.
#[derive(Clone, Debug)]
pub struct Annunciator {
    /// Rules with an alarm of warn or worse.
    warning: [RuleSet; PLACES],
    /// Rules with an alarm that holds the weld.
    holding: [RuleSet; PLACES],
    /// Rules with an alarm nobody has acknowledged.
    unseen: [RuleSet; PLACES],
    /// Rules whose alarm is put away: no lamp and no horn, but it still holds.
    shelved: [RuleSet; PLACES],
    /// Faults of the board itself.
    pub faults: Faults,
    /// What the last joint that is done came to.
    last_joint: Outcome,
    /// What the lamp shows of the verdict: the joint under way, or the last one until the next begins.
    shown: Outcome,
    judging: bool,
}

/// Half a period of the slow blink, µs.
const BLINK_US: u64 = 1_000_000;

impl Default for Annunciator {
    fn default() -> Self {
        Self::new()
    }
}

impl Annunciator {
    /// Nothing active, and nothing judged yet: the relay is released.
    pub const fn new() -> Self {
        let none = [RuleSet::EMPTY; PLACES];
        let faults = Faults { bad_configuration: false, missed_deadline: false, watchdog_reset: false };
        Self {
            warning: none,
            holding: none,
            unseen: none,
            shelved: none,
            faults,
            last_joint: Outcome::NotAsked,
            shown: Outcome::NotAsked,
            judging: false,
        }
    }
    /// A sample was judged.
    pub const fn judged(&mut self) {
        self.judging = true;
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
    }
    /// A joint is done.
    pub const fn joint_done(&mut self, joint: &JointRecord) {
        self.last_joint = joint.outcome;
        self.shown = joint.outcome;
    }
    /// Takes a change of an alarm.
    pub fn take(&mut self, alarm: &AlarmEvent) {
        let place = alarm.channel.map_or(0, |channel| channel as usize + 1);
        let sets = (
            self.warning.get_mut(place),
            self.holding.get_mut(place),
            self.unseen.get_mut(place),
            self.shelved.get_mut(place),
        );
        let (Some(warning), Some(holding), Some(unseen), Some(shelved)) = sets else { return };
        let rule = alarm.rule;
        match alarm.kind {
            AlarmKind::Raised | AlarmKind::Escalated => {
                if alarm.severity >= Severity::Warn {
                    *warning = warning.with(rule);
                    *unseen = unseen.with(rule);
                }
                // A dead sensor holds whatever severity the procedure gives it.
                if alarm.severity == Severity::Stop || rule.is_about_a_channel() {
                    *holding = holding.with(rule);
                }
            }
            AlarmKind::Cleared => {
                *warning = warning.without(rule);
                *holding = holding.without(rule);
                *unseen = unseen.without(rule);
                *shelved = shelved.without(rule);
            }
            AlarmKind::Repeated if warning.contains(rule) => *unseen = unseen.with(rule),
            AlarmKind::Repeated => {}
            AlarmKind::Acknowledged => *unseen = unseen.without(rule),
            AlarmKind::Shelved => *shelved = shelved.with(rule),
            AlarmKind::Unshelved => *shelved = shelved.without(rule),
        }
    }
    /// A person has pressed the button: the board's own faults that are over are forgotten.
    pub const fn acknowledge(&mut self) {
        self.faults.missed_deadline = false;
        self.faults.watchdog_reset = false;
    }
    /// What the outputs must be.
    pub fn outputs(&self) -> Outputs {
        let holds = self.holding.iter().any(|rules| !rules.is_empty());
        let shown = |sets: &[RuleSet; PLACES]| {
            sets.iter().zip(&self.shelved).any(|(rules, shelved)| rules.iter().any(|r| !shelved.contains(r)))
        };
        let faulty = self.faults.any();
        let lamp = match self.shown {
            _ if faulty || shown(&self.warning) => Lamp::On,
            Outcome::Broken => Lamp::On,
            Outcome::NotProven => Lamp::Slow,
            Outcome::NotAsked | Outcome::Proven => Lamp::Off,
        };
        Outputs { relay_energised: self.judging && !holds && !faulty, lamp, horn: shown(&self.unseen) }
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
    /// Drives the pins; returns whether all of them took it. The relay comes first, and a lamp that
    /// fails does not keep it from moving.
    pub fn drive(&mut self, levels: Levels) -> bool {
        let relay = self.relay.set_state(PinState::from(levels.relay)).is_ok();
        let lamp = self.lamp.set_state(PinState::from(levels.lamp)).is_ok();
        let horn = self.horn.set_state(PinState::from(levels.horn)).is_ok();
        relay && lamp && horn
    }
}

/// What the driver of a watchdog timer implements.
pub trait Watchdog {
    /// Puts off the reset for another period.
    fn feed(&mut self);
    /// Was the last reset the watchdog's doing?
    fn caused_reset(&self) -> bool;
}
