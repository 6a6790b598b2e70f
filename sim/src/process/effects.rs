//! What the faults of a joint do to it at one moment.
//!
//! Decides: how each kind of fault acts on settings, drives, lines and instruments.
//! Assumes: a share from 0 (not at all) to 1 (in full) for each active fault.
//! Never: keeps state.

use super::arc::{Circuit, Setting};
use super::drives::WeaveSetting;
use super::fault::{Fault, Kind};
use super::joint::Joint;
use bandward::Channel;
use bandward::sample::ChannelSet;

/// Everything a fault can change, as it stands at one moment.
#[derive(Clone, Debug, PartialEq)]
pub struct Effects {
    /// Source, feeder and torch height.
    pub setting: Setting,
    /// Repelled drops a second.
    pub repelled_per_s: f64,
    /// Wander of the point of contact in the tip, standard deviation, mm.
    pub contact_wander_mm: f64,
    /// Heaving of arc and pool, standard deviation, mm.
    pub pool_mm: f64,
    /// Is the arc held out?
    pub arc_out: bool,
    /// Flow the gas line is set to, L/min.
    pub gas_lpm: f64,
    /// Flow of the coolant pump, L/min.
    pub coolant_lpm: f64,
    /// The weave drive.
    pub weave: WeaveSetting,
    /// Turning speed the chuck is told, degrees a second.
    pub turning_deg_per_s: f64,
    /// Share of the speed the pipe loses.
    pub slip: f64,
    /// Share of its counts the encoder loses.
    pub counts_lost: f64,
    /// Instruments whose reading stands still.
    pub frozen: ChannelSet,
    /// Instruments at the end of their range.
    pub railed: ChannelSet,
    /// Instruments that show zero.
    pub dead: ChannelSet,
    /// Instruments that give no reading.
    pub missing: ChannelSet,
    /// Is no row written?
    pub rows_missing: bool,
}

impl Effects {
    /// A joint without fault.
    pub fn none(joint: &Joint, setting: Setting) -> Self {
        Self {
            setting,
            repelled_per_s: 0.0,
            contact_wander_mm: 0.0,
            pool_mm: joint.pool_mm,
            arc_out: false,
            gas_lpm: joint.gas_lpm,
            coolant_lpm: joint.coolant_lpm,
            weave: joint.weave(),
            turning_deg_per_s: 360.0 / joint.turn_time_s,
            slip: 0.0,
            counts_lost: 0.0,
            frozen: ChannelSet::EMPTY,
            railed: ChannelSet::EMPTY,
            dead: ChannelSet::EMPTY,
            missing: ChannelSet::EMPTY,
            rows_missing: false,
        }
    }

    /// With `share` of a fault on top.
    pub fn add(&mut self, fault: &Fault, share: f64, joint: &Joint, circuit: &Circuit) {
        let from = |usual: f64| usual + share * (fault.size - usual);
        let of_channel = |set: ChannelSet| fault.channel.map_or(set, |channel: Channel| set.with(channel));
        match fault.kind {
            Kind::VoltageSetLow | Kind::VoltageSetHigh | Kind::SourceSagging => {
                self.setting = circuit.with_voltage(self.setting, from(joint.voltage_v));
            }
            Kind::FeedSetLow | Kind::FeedSetHigh | Kind::WireSlipping => {
                self.setting = circuit.with_current_by_feed(self.setting, from(joint.current_a));
            }
            Kind::TorchCreepingUp => {
                self.setting = circuit.with_current_by_height(self.setting, from(joint.current_a));
            }
            // The mixture is wrong or it is not: a smaller share is no fewer drops.
            Kind::GasMixtureWrong => self.repelled_per_s = fault.size,
            Kind::ContactTipWear => self.contact_wander_mm = share * fault.size,
            Kind::Wind => self.pool_mm = from(joint.pool_mm),
            Kind::ArcOut => self.arc_out = true,
            Kind::GasLeak | Kind::GasOpened | Kind::BottleRunningOut => self.gas_lpm = from(joint.gas_lpm),
            Kind::CoolantLost => self.coolant_lpm = from(joint.coolant_lpm),
            Kind::WeaveSlow | Kind::WeaveFast | Kind::WeaveDriveSlipping => {
                self.weave.per_min = from(joint.weave_per_min);
            }
            Kind::WeaveNarrow | Kind::WeaveWide => {
                self.weave.amplitude_mm = 0.5 * (from(joint.weave_width_mm) + joint.weave_backlash_mm);
            }
            Kind::WeaveScrewLoosening => {
                let lost_mm = joint.weave_width_mm - from(joint.weave_width_mm);
                self.weave.backlash_mm = (joint.weave_backlash_mm + lost_mm).max(0.0);
            }
            Kind::WeaveWandering => self.weave.centre_mm = from(0.0),
            Kind::TurningFast | Kind::TurningSlow => self.turning_deg_per_s = 360.0 / from(joint.turn_time_s),
            Kind::ChuckSlip => self.slip = from(0.0),
            Kind::ChuckStall => self.turning_deg_per_s = 0.0,
            Kind::EncoderLosingCounts => self.counts_lost = from(0.0),
            Kind::ReadingFrozen => self.frozen = of_channel(self.frozen),
            Kind::ReadingRailed => self.railed = of_channel(self.railed),
            Kind::ReadingDead => self.dead = of_channel(self.dead),
            Kind::ReadingMissing => self.missing = of_channel(self.missing),
            Kind::RowsMissing => self.rows_missing = true,
            // These act where the band begins or ends, or after the last.
            Kind::GasValveLate
            | Kind::GasValveEarly
            | Kind::StepShort
            | Kind::StepLong
            | Kind::StoppedEarly
            | Kind::LeadsSwapped
            | Kind::WorkHot
            | Kind::WorkCold
            | Kind::CooledUncovered => {}
        }
    }
}
