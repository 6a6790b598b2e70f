//! Everything together: one call a sample.
//!
//! Decides: what is looked at when. Every sample is checked and added up; every tick (20 ms, or
//! every sample when they come slower) the windows close and the rules are judged. The work of a tick
//! is cut into slots that run one a sample, so that no single sample bears all of it.
//! Assumes: nothing of the samples; out of order, absent and absurd ones are findings.
//! Never: reads a clock, allocates, or fails.

mod bands;
mod clock;
mod cooling;
mod faults;
mod joints;
mod next_plain;
mod plain;
mod samples;
mod slots;
mod so_far;
mod standing;
mod steps;
mod strike;
mod time;

pub use crate::acquisition::{Acquisition, TICK_US};
use crate::alarms::{ActiveAlarm, Alarms};
use crate::event::Sink;
use crate::judge::View;
use crate::judge::channels::ChannelWatch;
use crate::judge::judgement::{Moment, Position};
use crate::judge::readings::Readings;
use crate::procedure::SoundProcedure;
use crate::record::bands::Bands;
use crate::record::coverage::{Coverage, SLOWEST_US, rate_allows};
pub use crate::record::coverage::{NotJudged, Plan};
use crate::rule::{Quantity, Rule, Severity};
use crate::sample::ChannelSet;
use crate::trackers::Trackers;
use crate::trackers::arc::Phase;
use clock::{Clock, SLOTS};
use plain::Plain;
pub use so_far::{SoFar, SoFarInParts};

/// Watches one machine.
///
/// Its size is fixed; see `size_of::<Monitor>()`.
///
/// In this order, since a Cortex-M reaches 4 KiB from where an object begins with one instruction: first what
/// every sample needs.
#[derive(Clone, Debug)]
#[repr(C)]
pub struct Monitor {
    plain: Plain,
    clock: Clock,
    acquisition: Acquisition,
    trackers: Trackers,
    bands: Bands,
    channels: ChannelWatch,
    readings: Readings,
    coverage: Coverage,
    alarms: Alarms,
    /// Do samples come fast enough to follow the weave?
    weave_is_followed: bool,
    procedure: SoundProcedure,
}

impl Monitor {
    /// Watches nothing yet: for a static, where [`Monitor::start`] then starts it in place.
    ///
    /// ```
    /// use bandward::{Acquisition, Monitor, Procedure, SoundProcedure, sample::ChannelSet};
    /// use std::sync::Mutex; // on a board, its own
    ///
    /// static MONITOR: Mutex<Monitor> = Mutex::new(Monitor::resting());
    ///
    /// let procedure = SoundProcedure::try_from(Procedure::new()).unwrap();
    /// MONITOR.lock().unwrap().start(&procedure, Acquisition::every(100, ChannelSet::ELECTRICAL));
    /// ```
    #[must_use]
    pub const fn resting() -> Self {
        Self {
            procedure: SoundProcedure::NONE,
            acquisition: Acquisition::every(SLOWEST_US, ChannelSet::EMPTY),
            trackers: Trackers::RESTING,
            bands: Bands::empty(),
            channels: ChannelWatch::new(),
            readings: Readings::new(),
            coverage: Coverage::RESTING,
            alarms: Alarms::new(),
            clock: Clock::RESTING,
            weave_is_followed: false,
            plain: Plain::NEVER,
        }
    }
    /// Starts watching, by value: where there is a stack for it.
    #[must_use]
    pub fn new(procedure: &SoundProcedure, acquisition: Acquisition) -> Self {
        let mut monitor = Self::resting();
        monitor.start(procedure, acquisition);
        monitor
    }
    /// Starts watching anew, in place: what was watched before is forgotten.
    pub fn start(&mut self, procedure: &SoundProcedure, acquisition: Acquisition) {
        self.start_by(procedure, &Plan::new(procedure, acquisition));
    }
    /// Starts watching anew, in place, by a procedure and the plan made of it.
    pub fn start_by(&mut self, procedure: &SoundProcedure, plan: &Plan) {
        self.watch_by(procedure);
        self.restart_by(plan);
    }
    /// Not inlined: its copy is on the stack of this call alone.
    #[inline(never)]
    fn watch_by(&mut self, procedure: &SoundProcedure) {
        self.procedure.clone_from(procedure);
    }
    /// Starts watching anew by the same procedure, in place.
    pub fn restart(&mut self, acquisition: Acquisition) {
        self.restart_by(&Plan::new(&self.procedure, acquisition));
    }
    /// Starts watching anew, in place, by the same procedure and a plan made of it.
    pub fn restart_by(&mut self, plan: &Plan) {
        // Named one by one, so that none is forgotten.
        let Self {
            procedure,
            acquisition,
            trackers,
            bands,
            channels,
            readings,
            coverage,
            alarms,
            clock,
            weave_is_followed,
            plain,
        } = self;
        *acquisition = plan.acquisition;
        trackers.start(procedure, acquisition);
        bands.start();
        *channels = ChannelWatch::new();
        *readings = Readings::new();
        *coverage = Coverage::new(plan);
        alarms.start();
        *clock = Clock::new(acquisition);
        *weave_is_followed = plan.weave_is_followed;
        *plain = Plain::NEVER;
    }
    /// The procedure it watches by.
    pub const fn procedure(&self) -> &SoundProcedure {
        &self.procedure
    }
    /// Is the judging of a tick, or the beginning of a band, under way, so that the next sample bears more than itself?
    /// A board does other work that can wait after a sample at which it is not.
    pub const fn is_at_work(&self) -> bool {
        self.clock.slot < SLOTS || self.bands.struck.is_some()
    }
    /// The arc phase.
    pub fn phase(&self) -> Phase {
        self.trackers.arc.phase()
    }
    /// How often two samples were further apart than the tolerance.
    pub fn gaps(&self) -> u32 {
        self.clock.gaps()
    }
    /// How many samples came from the past and were left out.
    pub fn out_of_order(&self) -> u32 {
        self.clock.out_of_order()
    }
    /// Where on the joint the weld was at the last tick.
    pub const fn position(&self) -> Position {
        self.clock.moment.position
    }
    /// The value the rules about `quantity` were last held against, raw (see
    /// [`Quantity::fraction_bits`]); absent while none of them applies, and where its channel is not
    /// wired, cannot be believed, or is sampled too slowly.
    pub fn reading(&self, quantity: Quantity) -> Option<i32> {
        if matches!(quantity, Quantity::GasPostflow | Quantity::Overlap) {
            // Known only when the band is over.
            return None;
        }
        let [rule, _] = quantity.rules();
        let rule = rule?;
        let sound = self.acquisition.channels.minus(self.channels.unsound());
        let is_sound =
            sound.contains_all(rule.needs()) && rate_allows(rule, &self.procedure, &self.acquisition);
        self.readings.value(quantity).filter(|_| is_sound)
    }
    /// Why a rule is not judged, or was not for a time.
    pub fn not_judged(&self, rule: Rule) -> Option<NotJudged> {
        self.coverage.not_judged(rule, &self.procedure, &self.acquisition)
    }
    /// Every alarm that is active.
    pub fn active_alarms(&self) -> impl Iterator<Item = ActiveAlarm> {
        self.alarms.active()
    }
    /// The worst severity of all active alarms.
    pub fn worst_active(&self) -> Option<Severity> {
        self.alarms.worst_active()
    }
    /// The worst severity of all alarms that nobody has acknowledged or shelved: sound a horn.
    pub fn worst_unacknowledged(&self) -> Option<Severity> {
        self.alarms.worst_unacknowledged()
    }
    /// Acknowledges every active alarm: horns fall silent, lamps stay while the alarms do.
    pub fn acknowledge(&mut self, time_us: u64, sink: &mut dyn Sink) {
        self.tell_early_wire(sink);
        let moment = Moment { now_us: time_us, ..self.clock.moment };
        self.alarms.acknowledge(&moment, sink);
    }
    /// Puts a rule away for `for_us` microseconds (at most 71 minutes; 0 takes it back), counted in
    /// samples' time; a rule about channels only for the channels with such an alarm now. An alarm that stops the weld
    /// cannot be put away, and one that comes to that is taken back.
    ///
    /// ```
    /// use bandward::{Acquisition, BandRecord, Event, Monitor, Rule, Sink, SoundProcedure, sample::ChannelSet};
    ///
    /// /// Writes down who was put away.
    /// #[derive(Default)]
    /// struct Told(Vec<Event>);
    /// impl Sink for Told {
    ///     fn event(&mut self, event: &Event) { self.0.push(*event); }
    ///     fn band(&mut self, _: &BandRecord) {}
    /// }
    /// let mut monitor = Monitor::new(&SoundProcedure::NONE, Acquisition::every(1_000, ChannelSet::ELECTRICAL));
    /// let mut told = Told::default();
    /// monitor.shelve(Rule::GasHigh, 600_000_000, &mut told); // for ten minutes
    /// assert!(matches!(told.0[..], [Event::Alarm(alarm)] if alarm.rule == Rule::GasHigh));
    /// ```
    pub fn shelve(&mut self, rule: Rule, for_us: u32, sink: &mut dyn Sink) {
        self.tell_early_wire(sink);
        self.alarms.shelve(rule, for_us, &self.clock.moment, sink);
    }
    /// Ends the watch: closes an open band with the last sample, and the joint with it.
    pub fn finish(&mut self, sink: &mut dyn Sink) {
        self.begin_at_once(sink);
        self.run_slots(SLOTS, sink);
        self.close_for_want_of_data(sink);
        if self.bands.joint.has_begun() || self.bands.joint.number() == 1 {
            self.end_joint(self.clock.last_us, sink);
        }
        self.plain = Plain::NEVER;
    }

    fn view(&self) -> View<'_> {
        View {
            procedure: &self.procedure,
            acquisition: &self.acquisition,
            trackers: &self.trackers,
            channels: &self.channels,
            bands: &self.bands,
            coverage: &self.coverage,
            moment: &self.clock.moment,
        }
    }
}
