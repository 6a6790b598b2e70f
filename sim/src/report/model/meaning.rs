//! What each rule means to the person at the machine, and why a rule was not judged.
//!
//! Decides: the words. Common practice, no source.
//! Assumes: nothing.
//! Never: changes a verdict.

use bandward::{NotJudged, Rule};

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
        Rule::GasLow => "too little shielding gas: porosity",
        Rule::GasHigh => "too much shielding gas: it swirls and draws air in",
        Rule::GasPreflow => "gas started too late before the arc: porosity at the start of the band",
        Rule::GasPostflow => "gas stopped too soon after the arc: the end of the band cooled in air",
        Rule::WeaveRateLow => "weave too slow or stopped: ridges, or one narrow bead",
        Rule::WeaveRateHigh => "weave too fast: the pool cannot follow, edges do not tie in",
        Rule::WeaveWidthLow => "weave too narrow: a narrow, high band",
        Rule::WeaveWidthHigh => "weave too wide: a thin band over the edge of its place",
        Rule::WeaveCentreDrift => "the weave wandered sideways: the band is not where it should be",
        Rule::TurnTimeFast => "the pipe turns too fast: a thin band",
        Rule::TurnTimeSlow => "the pipe turns too slowly: metal piles up high, the joint gets hot",
        Rule::SpindleSlip => "the pipe slipped in the chuck: thick and thin places",
        Rule::SpindleStall => "the pipe stood still under the arc: a lump, and a hot spot below it",
        Rule::StepOverLow => "step-over too small: bands pile onto each other",
        Rule::StepOverHigh => "step-over too large: a gap between neighbouring bands",
        Rule::OverlapShort => "the band does not close over its own start",
        Rule::ArcOutage => "the arc went out within the band: a cold spot or a gap",
        Rule::PolarityWrong => "wrong polarity for this wire",
        Rule::CoolantLow => "too little torch coolant: the torch will burn",
        Rule::InterpassHigh => "the joint was too hot to start the next band",
        Rule::PreheatLow => "the joint was too cold to start: cracking",
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
