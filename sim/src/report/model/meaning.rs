//! What each rule means to the person at the machine, and why a rule was not judged.
//!
//! Decides: the words. Common practice, no source.
//! Assumes: nothing.
//! Never: changes a verdict.

use bandward::record::joint::Shortfall;
use bandward::record::proof::Why;
use bandward::{Channel, NotJudged, Rule};

/// What is wrong and what it does to the band.
pub const fn meaning(rule: Rule) -> &'static str {
    match rule {
        Rule::VoltageLow => "voltage low: cooler pool that freezes sooner, a narrow high bead",
        Rule::VoltageHigh => "voltage high: hotter, more fluid pool that is hard to hold",
        Rule::CurrentLow => "current low: wire feed too slow, or the torch too far from the work",
        Rule::CurrentHigh => "current high: wire feed too fast, or the torch too near the work",
        Rule::TransferLowVoltage => {
            "voltage under its floor: the metal transfer itself changes; never permitted"
        }
        Rule::TransferShortCircuits => "the wire short-circuits: spatter, poor tie-in; raise the voltage",
        Rule::TransferShortCircuitsLow => "fewer short circuits than the procedure gives",
        Rule::GasLow => "too little shielding gas: porosity",
        Rule::GasHigh => "too much shielding gas: it swirls and draws air in",
        Rule::GasPreflow => "gas started too late before the arc: porosity at the start of the band",
        Rule::GasPostflow => "gas stopped too soon after the arc: the end of the band cooled in air",
        Rule::GasPreflowLong => "gas flowed too long before the arc: gas is wasted",
        Rule::GasPostflowLong => "gas flowed too long after the arc: gas is wasted",
        Rule::WeaveRateLow => "weave too slow or stopped: ridges, or one narrow bead",
        Rule::WeaveRateHigh => "weave too fast: the pool cannot follow, edges do not tie in",
        Rule::WeaveWidthLow => "weave too narrow: a narrow, high band",
        Rule::WeaveWidthHigh => "weave too wide: a thin band over the edge of its place",
        Rule::WeaveCentreDrift => "the weave wandered sideways: the band is not where it should be",
        Rule::TurnTimeFast => "the pipe turns too fast: a thin band",
        Rule::TurnTimeSlow => "the pipe turns too slowly: metal piles up high, the joint gets hot",
        Rule::SpindleSlip => "the pipe slipped in the chuck: thick and thin places",
        Rule::SpindleStall => "the pipe stood still under the arc: a lump, and a hot spot below it",
        Rule::SpindleReversed => {
            "the pipe turns the wrong way round: the pool rolls off, or the torch digs in; stop and look"
        }
        Rule::StepOverLow => "step-over too small: bands pile onto each other",
        Rule::StepOverHigh => "step-over too large: a gap between neighbouring bands",
        Rule::OverlapShort => "the band does not close over its own start",
        Rule::OverlapLong => "the band runs too far over its own start: a thick, hot place",
        Rule::ArcOutage => "the arc went out within the band: a cold spot or a gap",
        Rule::PolarityWrong => "wrong polarity for this wire",
        Rule::CoolantLow => "too little torch coolant: the torch will burn",
        Rule::CoolantHigh => "more torch coolant than the procedure gives: look at the meter and the pump",
        Rule::WireFeedLow => "wire feed too slow: fewer amps, a thin and cold band",
        Rule::WireFeedHigh => "wire feed too fast: more amps, a high band and a hot pool",
        Rule::BandHeightLow => "too little metal on the width laid: a low band",
        Rule::BandHeightHigh => "too much metal on the width laid: a high band",
        Rule::InterpassLow => "the joint was too cold to start the next band: cracking",
        Rule::InterpassHigh => "the joint was too hot to start the next band",
        Rule::CoolingFast => {
            "the joint cooled too fast after its last band: hard steel beside the weld, cracking"
        }
        Rule::PreheatLow => "the joint was too cold to start: cracking",
        Rule::PreheatHigh => "the joint was too hot to start: the bore's coating and the steel suffer",
        Rule::SignalImplausible => "the reading contradicts other channels, or leaps: signal invalid",
        Rule::SignalStuck => "the reading does not change in any digit: signal invalid",
        Rule::SignalRailed => "the reading is at the end of the sensor's range: signal invalid",
        Rule::SignalMissing => "no reading: nothing can be said of what it measures",
        Rule::SignalLate => "readings came late or out of order: not monitored meanwhile",
    }
}

/// Why a rule was not judged, as part of a sentence.
pub fn reason(reason: NotJudged, sample_rate_hz: f64) -> String {
    match reason {
        NotJudged::NoRange => "the procedure gives nothing to judge it by".to_owned(),
        NotJudged::NoSize => "the procedure does not give the sizes it is worked out with".to_owned(),
        NotJudged::NoChannel(channel) => format!("the trace has no {} channel", channel.name()),
        NotJudged::RateTooLow { needed_mhz } => format!(
            "needs at least {:.1} samples a second, the trace has {sample_rate_hz:.1}",
            f64::from(needed_mhz) / 1000.0
        ),
        NotJudged::ChannelLost(channel) => {
            format!("the {} signal was invalid part of the time", channel.name())
        }
        NotJudged::StartUnseen => "the trace begins with the arc burning".to_owned(),
        NotJudged::EndUnseen => "the trace ends before it could be seen".to_owned(),
        NotJudged::NeverApplied => "the condition never occurred in this trace".to_owned(),
    }
}

/// Why a limit is not proven in a band, in a few words.
pub fn why(why: Why, rule: Rule) -> String {
    let channels = rule.needs().iter().map(Channel::name).collect::<Vec<_>>().join(" and ");
    let of_channels =
        |words: &str| if channels.is_empty() { words.to_owned() } else { format!("{words}: {channels}") };
    match why {
        Why::Unsettled => "too little was seen for a value".to_owned(),
        Why::NoChannel => of_channels("no channel, or no size given"),
        Why::RateTooLow => "too few samples a second".to_owned(),
        Why::TooCoarse => of_channels("readings too coarse"),
        Why::ChannelLost => of_channels("signal invalid part of the time"),
        Why::SenseUnknown => {
            "the angle runs the other way than the rotation asks for; whether pipe or encoder is not known"
                .to_owned()
        }
        Why::Gap => "a hole in the data".to_owned(),
        Why::StartUnseen => "the data begin with the arc burning".to_owned(),
        Why::EndUnseen => "the data end before it could be seen".to_owned(),
        Why::Motionless => of_channels("the reading did not move where it must; the meter may be dead"),
        Why::Contradicted => of_channels("the readings around the strike do not agree"),
        Why::FellEarly => {
            "in the first five minutes it fell by more than is allowed in ten: heat that spreads, or a plunge"
                .to_owned()
        }
        Why::FlowedBefore => {
            "the gas meter read a flow since the arc before, or since the data began: when the gas came on for this \
             arc is not known"
                .to_owned()
        }
        Why::DelayTooLong => {
            "the procedure lets its alarm, or one about the measuring, come too late".to_owned()
        }
    }
}

/// Why a joint is not complete.
pub const fn shortfall(shortfall: Shortfall) -> &'static str {
    match shortfall {
        Shortfall::NoBand => "no band was found",
        Shortfall::WeldingUnseen => {
            "other channels show welding where no arc was seen: check the current's column and unit"
        }
        Shortfall::BandsMissing => "bands are missing",
        Shortfall::BandsExtra => "more bands than the procedure gives",
        Shortfall::BandBrokenOff => "the arc stopped for good before a full turn",
        Shortfall::DataEndedInBand => "the data end within a band",
        Shortfall::StartUnseen => "the data begin within a band",
        Shortfall::UnseenBetweenBands => {
            "not monitored for a time between bands: a band laid then was not seen"
        }
        Shortfall::GroupsNotProven => "the carriage does not show the groups that the procedure gives",
    }
}
