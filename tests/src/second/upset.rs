//! What the faults of an instant do to the machine.
//!
//! Decides: how a fault's kind and size act on source, wire, torch, gas, weave, spindle and coolant.

use super::fault::Fault;
use super::kinds::Kind;

/// All that is upset at one instant; factors are 1 and additions 0 where nothing is.
#[derive(Clone, Copy, Debug)]
pub struct Upset {
    /// On top of the source, V.
    pub source_v: f64,
    /// Factor on the speed asked of the feeder.
    pub feed: f64,
    /// Share of the wire that the rolls pass on.
    pub grip: f64,
    /// Does the tachometer ride on the wire?
    pub grip_seen: bool,
    /// On top of the torch's height, mm.
    pub lift_mm: f64,
    /// How far the contact in a worn tip has moved up, mm.
    pub worn_mm: f64,
    /// Flicker of the arc's falls, V.
    pub wind_v: f64,
    /// Share of the gas that passes.
    pub gas: f64,
    /// Factor on the weave's rate.
    pub weave_rate: f64,
    /// Factor on the weave's width.
    pub weave_width: f64,
    /// The weave's centre, mm.
    pub centre_mm: f64,
    /// Factor on the speed asked of the spindle.
    pub turning: f64,
    /// Share of the drive's motion that the chuck passes on.
    pub held: f64,
    /// Share of the encoder's counts that come through.
    pub seen: f64,
    /// Share of the coolant.
    pub coolant: f64,
    /// The arc is out.
    pub arc_out: bool,
    /// Leads swapped.
    pub reversed: bool,
}

impl Default for Upset {
    fn default() -> Self {
        Self {
            source_v: 0.0,
            feed: 1.0,
            grip: 1.0,
            grip_seen: true,
            lift_mm: 0.0,
            worn_mm: 0.0,
            wind_v: 0.0,
            gas: 1.0,
            weave_rate: 1.0,
            weave_width: 1.0,
            centre_mm: 0.0,
            turning: 1.0,
            held: 1.0,
            seen: 1.0,
            coolant: 1.0,
            arc_out: false,
            reversed: false,
        }
    }
}

impl Upset {
    /// Adds a fault at this strength.
    pub fn add(&mut self, fault: &Fault, strength: f64) {
        let size = fault.size();
        let factor = 1.0 + (size - 1.0) * strength;
        let addition = size * strength;
        match fault.kind {
            Kind::SourceLow | Kind::SourceSags => self.source_v -= addition,
            Kind::SourceHigh => self.source_v += addition,
            Kind::FeedLow | Kind::FeedHigh => self.feed *= factor,
            Kind::WireSlipSeen => self.grip *= 1.0 - addition,
            Kind::WireSlipUnseen => (self.grip, self.grip_seen) = (self.grip * (1.0 - addition), false),
            Kind::WornTip => self.worn_mm += addition,
            Kind::TorchCreeps | Kind::TorchKnockedUp | Kind::RunOut => self.lift_mm += addition,
            Kind::TorchDrops => self.lift_mm -= addition,
            Kind::GasLeak | Kind::GasBottle | Kind::GasHigh => self.gas *= factor,
            Kind::Wind => self.wind_v += addition,
            Kind::WeaveSlow | Kind::WeaveFast | Kind::WeaveStopped => self.weave_rate *= factor,
            Kind::WeaveNarrow | Kind::WeaveWide | Kind::WeaveCollapsed => self.weave_width *= factor,
            Kind::WeaveWanders => self.centre_mm += addition,
            Kind::TurnFast | Kind::TurnSlow | Kind::WrongWay => self.turning *= factor,
            Kind::ChuckSlip | Kind::ChuckSlipTimer | Kind::ChuckStall => self.held *= factor,
            Kind::EncoderLosing => self.seen *= 1.0 - addition,
            Kind::CoolantLost => self.coolant *= factor,
            Kind::ArcOut => self.arc_out |= strength > 0.0,
            Kind::LeadsSwapped => self.reversed = true,
            Kind::HeightLow | Kind::HeightHigh => self.three_settings(size),
            // Done by the plan of the joint or by the instruments.
            _ => {}
        }
    }
    /// Feed, speed and width each a part of the way, so that no one of them leaves its range.
    fn three_settings(&mut self, height: f64) {
        let (feed, turn_time, width) = if height < 1.0 { (0.93, 0.96, 1.11) } else { (1.08, 1.05, 0.895) };
        self.feed *= feed;
        self.turning /= turn_time;
        self.weave_width *= width;
    }
}
