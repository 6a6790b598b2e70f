//! The kinds of faults, in one table.
//!
//! Decides: for each kind its sizes and shapes, the rules that should tell it and the causes that name it.
//! Assumes: a rule or cause that stands here before the monitor has it counts as not told.

use super::fault::Shape;
use super::shop::Gauge;

/// What can be wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[expect(missing_docs, reason = "the table below says what each is")]
pub enum Kind {
    SourceLow,
    SourceSags,
    SourceHigh,
    FeedLow,
    FeedHigh,
    WireSlipSeen,
    WireSlipUnseen,
    WornTip,
    TorchCreeps,
    TorchDrops,
    TorchKnockedUp,
    RunOut,
    GasLeak,
    GasBottle,
    GasHigh,
    Wind,
    NoPreflow,
    NoPostflow,
    WeaveSlow,
    WeaveFast,
    WeaveNarrow,
    WeaveWide,
    WeaveStopped,
    WeaveCollapsed,
    WeaveWanders,
    TurnFast,
    TurnSlow,
    ChuckSlip,
    ChuckSlipTimer,
    ChuckStall,
    WrongWay,
    EncoderLosing,
    StepShort,
    StepLong,
    OverlapShort,
    OverlapLong,
    ArcOut,
    LeadsSwapped,
    CoolantLost,
    PreheatLow,
    PreheatHigh,
    InterpassLow,
    InterpassHigh,
    HeightLow,
    HeightHigh,
    Frozen,
    Zero,
    Dead,
    Spikes,
    CutInBand,
    StoppedEarly,
    MissingBand,
    ExtraBand,
    CurrentInKiloampere,
    NoBandSeen,
}

/// What is known of a kind.
#[derive(Clone, Copy, Debug)]
pub struct Facts {
    /// The kind; the table is in the order of the kinds.
    pub kind: Kind,
    /// Its name in tables.
    pub name: &'static str,
    /// The rules any of which tells it; none: no limit is broken, or the verdict has to tell it.
    pub rules: &'static [&'static str],
    /// The causes any of which names it; none: no cause is asked for.
    pub causes: &'static [&'static str],
    /// What it takes out of its range.
    pub gauge: Option<Gauge>,
    /// The shapes it comes in.
    pub shapes: &'static [Shape],
    /// Sizes, from just past the limit to gross.
    pub sizes: [f64; 3],
    /// Can it only be in the first band?
    pub first_band_only: bool,
}

const COMING: &[Shape] = &[Shape::Step, Shape::Ramp, Shape::Intermittent];
const STAYING: &[Shape] = &[Shape::Step, Shape::Ramp, Shape::Band];
const SUDDEN: &[Shape] = &[Shape::Step, Shape::Intermittent];
const ACT: &[Shape] = &[Shape::Act];
const ONWARDS: &[Shape] = &[Shape::Onwards];
const SILENT: &[&str] = &["signal-stuck", "signal-missing", "signal-railed"];

const fn row(kind: Kind, name: &'static str, sizes: [f64; 3]) -> Facts {
    Facts { kind, name, rules: &[], causes: &[], gauge: None, shapes: ACT, sizes, first_band_only: false }
}

impl Facts {
    const fn rules(self, rules: &'static [&'static str]) -> Self {
        Self { rules, ..self }
    }
    const fn causes(self, causes: &'static [&'static str]) -> Self {
        Self { causes, ..self }
    }
    const fn gauge(self, gauge: Gauge, shapes: &'static [Shape]) -> Self {
        Self { gauge: Some(gauge), shapes, ..self }
    }
    const fn shapes(self, shapes: &'static [Shape]) -> Self {
        Self { shapes, ..self }
    }
    const fn in_first_band(self) -> Self {
        Self { first_band_only: true, ..self }
    }
}

/// Every kind, in order.
pub const FACTS: &[Facts] = &[
    // Volts taken from the source.
    row(Kind::SourceLow, "source set low", [2.4, 3.2, 5.0])
        .rules(&["voltage-low", "transfer-low-voltage"])
        .causes(&["voltage-set-low"])
        .gauge(Gauge::Voltage, &[Shape::Step, Shape::Band]),
    row(Kind::SourceSags, "source sags", [2.4, 3.2, 5.0])
        .rules(&["voltage-low", "transfer-low-voltage"])
        .causes(&["source-sagging", "voltage-set-low"])
        .gauge(Gauge::Voltage, &[Shape::Ramp, Shape::Intermittent]),
    row(Kind::SourceHigh, "source set high", [2.8, 3.6, 5.5])
        .rules(&["voltage-high"])
        .causes(&["voltage-set-high"])
        .gauge(Gauge::Voltage, STAYING),
    // Share of the speed asked for.
    row(Kind::FeedLow, "wire feed set low", [0.82, 0.76, 0.6])
        .rules(&["wire-feed-low", "current-low"])
        .causes(&["feed-set-low"])
        .gauge(Gauge::Feed, &[Shape::Step, Shape::Band]),
    row(Kind::FeedHigh, "wire feed set high", [1.18, 1.25, 1.4])
        .rules(&["wire-feed-high", "current-high"])
        .causes(&["feed-set-high"])
        .gauge(Gauge::Feed, &[Shape::Step, Shape::Band]),
    // Share of the wire lost at the drive rolls.
    row(Kind::WireSlipSeen, "wire slips, tachometer on the wire", [0.2, 0.3, 0.5])
        .rules(&["wire-feed-low", "current-low"])
        .causes(&["wire-slipping"])
        .gauge(Gauge::Current, COMING),
    row(Kind::WireSlipUnseen, "wire slips, tachometer on the motor", [0.2, 0.3, 0.5])
        .rules(&["current-low"])
        .causes(&["wire-slipping"])
        .gauge(Gauge::Current, COMING),
    // Millimetres that the contact moves up in the bore.
    row(Kind::WornTip, "worn contact tip", [12.0, 15.0, 20.0])
        .rules(&["current-low"])
        .causes(&["contact-tip-wear"])
        .gauge(Gauge::Current, &[Shape::Ramp, Shape::Band]),
    // Millimetres of height.
    row(Kind::TorchCreeps, "torch creeps up", [11.5, 14.0, 19.0])
        .rules(&["current-low"])
        .causes(&["torch-creeping-up"])
        .gauge(Gauge::Current, &[Shape::Ramp]),
    row(Kind::TorchDrops, "torch drops", [8.5, 10.0, 12.0])
        .rules(&["current-high"])
        .causes(&["torch-dropping"])
        .gauge(Gauge::Current, &[Shape::Step, Shape::Ramp]),
    row(Kind::TorchKnockedUp, "torch knocked up", [11.5, 14.0, 19.0])
        .rules(&["current-low"])
        .causes(&["torch-knocked"])
        .gauge(Gauge::Current, &[Shape::Step]),
    row(Kind::RunOut, "pipe runs out", [9.0, 10.5, 13.0])
        .rules(&["current-low", "current-high"])
        .causes(&["run-out"])
        .gauge(Gauge::Current, &[Shape::OnceATurn]),
    // Share of the flow that is left.
    row(Kind::GasLeak, "gas leaks", [0.78, 0.6, 0.2])
        .rules(&["gas-low"])
        .causes(&["gas-leak"])
        .gauge(Gauge::Gas, SUDDEN),
    row(Kind::GasBottle, "bottle runs empty", [0.78, 0.6, 0.2])
        .rules(&["gas-low"])
        .causes(&["bottle-running-out"])
        .gauge(Gauge::Gas, &[Shape::Ramp]),
    row(Kind::GasHigh, "gas opened too far", [1.3, 1.5, 2.0])
        .rules(&["gas-high"])
        .causes(&["gas-opened"])
        .gauge(Gauge::Gas, &[Shape::Step, Shape::Band]),
    // Volts by which the arc's falls flicker; nothing limits it.
    row(Kind::Wind, "wind", [1.5, 2.5, 4.0]).causes(&["wind"]).shapes(&[Shape::Step, Shape::Intermittent]),
    // Seconds of gas that are left.
    row(Kind::NoPreflow, "pre-flow short", [0.35, 0.1, 0.0])
        .rules(&["gas-preflow"])
        .causes(&["gas-valve-late"]),
    row(Kind::NoPostflow, "post-flow short", [1.6, 0.8, 0.0])
        .rules(&["gas-postflow"])
        .causes(&["gas-valve-early"]),
    // Share of rate or width.
    row(Kind::WeaveSlow, "weave slow", [0.7, 0.6, 0.4])
        .rules(&["weave-rate-low"])
        .causes(&["weave-slow", "weave-drive-slipping"])
        .gauge(Gauge::WeaveRate, STAYING),
    row(Kind::WeaveFast, "weave fast", [1.33, 1.5, 1.8])
        .rules(&["weave-rate-high"])
        .causes(&["weave-fast"])
        .gauge(Gauge::WeaveRate, STAYING),
    row(Kind::WeaveNarrow, "weave narrow", [0.8, 0.65, 0.4])
        .rules(&["weave-width-low"])
        .causes(&["weave-narrow", "weave-screw-loosening"])
        .gauge(Gauge::WeaveWidth, STAYING),
    row(Kind::WeaveWide, "weave wide", [1.18, 1.3, 1.5])
        .rules(&["weave-width-high"])
        .causes(&["weave-wide"])
        .gauge(Gauge::WeaveWidth, STAYING),
    row(Kind::WeaveStopped, "weave stops", [0.0; 3])
        .rules(&["weave-rate-low", "weave-width-low", "signal-stuck"])
        .causes(&["weave-drive-slipping", "weave-slow", "weave-stopped"])
        .gauge(Gauge::WeaveRate, SUDDEN),
    row(Kind::WeaveCollapsed, "weave collapses", [0.3, 0.2, 0.1])
        .rules(&["weave-width-low", "weave-rate-low"])
        .causes(&["weave-drive-slipping", "weave-narrow", "weave-screw-loosening"])
        .gauge(Gauge::WeaveWidth, SUDDEN),
    // Millimetres.
    row(Kind::WeaveWanders, "weave wanders", [2.6, 3.5, 6.0])
        .rules(&["weave-centre-drift"])
        .causes(&["weave-wandering"])
        .gauge(Gauge::Centre, &[Shape::Step, Shape::Ramp]),
    // Share of the speed.
    row(Kind::TurnFast, "turning fast", [1.12, 1.2, 1.4])
        .rules(&["turn-time-fast"])
        .causes(&["turning-fast"])
        .gauge(Gauge::TurnTime, &[Shape::Band]),
    row(Kind::TurnSlow, "turning slow", [0.9, 0.82, 0.65])
        .rules(&["turn-time-slow"])
        .causes(&["turning-slow"])
        .gauge(Gauge::TurnTime, &[Shape::Band]),
    row(Kind::ChuckSlip, "chuck slips", [0.5, 0.3, 0.1])
        .rules(&["spindle-slip", "spindle-stall"])
        .causes(&["chuck-slip"])
        .gauge(Gauge::TurnTime, SUDDEN),
    row(Kind::ChuckSlipTimer, "chuck slips, a timer ends the band", [0.5, 0.3, 0.1])
        .rules(&["spindle-slip", "spindle-stall", "overlap-short"])
        .causes(&["chuck-slip"])
        .gauge(Gauge::TurnTime, SUDDEN),
    row(Kind::ChuckStall, "pipe stalls", [0.0; 3])
        .rules(&["spindle-stall", "spindle-slip"])
        .causes(&["chuck-stall"])
        .gauge(Gauge::TurnTime, &[Shape::Step]),
    row(Kind::WrongWay, "turning the wrong way", [-1.0; 3])
        .rules(&["wrong-way", "spindle-wrong-way", "spindle-reversed", "turning-wrong-way", "rotation-wrong"])
        .causes(&["turning-the-wrong-way"])
        .shapes(&[Shape::Band, Shape::Joint]),
    row(Kind::EncoderLosing, "encoder loses counts", [0.5, 0.7, 0.9])
        .rules(&["spindle-slip", "spindle-stall", "overlap-short", "signal-stuck"])
        .causes(&["encoder-losing-counts"])
        .shapes(SUDDEN),
    // Millimetres on top of the step.
    row(Kind::StepShort, "step short", [-1.4, -2.5, -6.0]).rules(&["step-over-low"]).causes(&["step-short"]),
    row(Kind::StepLong, "step long", [1.4, 2.5, 6.0]).rules(&["step-over-high"]).causes(&["step-long"]),
    // Degrees past the turn.
    row(Kind::OverlapShort, "overlap short", [2.0, 0.0, -4.0])
        .rules(&["overlap-short"])
        .causes(&["stopped-early"]),
    row(Kind::OverlapLong, "overlap long", [32.0, 50.0, 120.0])
        .rules(&["overlap-long"])
        .causes(&["stopped-late"]),
    // Seconds.
    row(Kind::ArcOut, "arc goes out", [0.5, 1.0, 2.0])
        .rules(&["arc-outage"])
        .causes(&["arc-out"])
        .shapes(&[Shape::Step]),
    row(Kind::LeadsSwapped, "leads swapped", [1.0; 3])
        .rules(&["polarity-wrong"])
        .causes(&["leads-swapped"])
        .shapes(&[Shape::Joint]),
    row(Kind::CoolantLost, "coolant lost", [0.5, 0.35, 0.08])
        .rules(&["coolant-low"])
        .causes(&["coolant-lost"])
        .gauge(Gauge::Coolant, STAYING),
    // Degrees Celsius at the start of a band.
    row(Kind::PreheatLow, "preheat low", [112.0, 95.0, 40.0])
        .rules(&["preheat-low"])
        .causes(&["work-cold"])
        .in_first_band(),
    row(Kind::PreheatHigh, "preheat high", [305.0, 330.0, 420.0])
        .rules(&["preheat-high"])
        .causes(&["work-hot"])
        .in_first_band(),
    row(Kind::InterpassLow, "between bands too cold", [112.0, 95.0, 40.0])
        .rules(&["interpass-low"])
        .causes(&["work-cold"]),
    row(Kind::InterpassHigh, "between bands too hot", [408.0, 430.0, 520.0])
        .rules(&["interpass-high"])
        .causes(&["work-hot"]),
    // Three settings together, each inside its own range: share of the height.
    row(Kind::HeightLow, "band low, each setting in range", [0.80; 3])
        .rules(&["band-height-low"])
        .shapes(&[Shape::Band]),
    row(Kind::HeightHigh, "band high, each setting in range", [1.22; 3])
        .rules(&["band-height-high"])
        .shapes(&[Shape::Band]),
    // Sensors.
    row(Kind::Frozen, "frozen", [1.0; 3]).rules(SILENT).causes(&["reading-frozen"]).shapes(ONWARDS),
    row(Kind::Zero, "at zero", [0.0; 3])
        .rules(SILENT)
        .causes(&["reading-frozen", "reading-missing", "reading-railed", "reading-dead"])
        .shapes(ONWARDS),
    row(Kind::Dead, "gone", [1.0; 3]).rules(SILENT).causes(&["reading-missing"]).shapes(ONWARDS),
    row(Kind::Spikes, "single spikes", [1.0; 3]).shapes(&[Shape::Joint]),
    // Joints that cannot be signed.
    row(Kind::CutInBand, "trace ends inside a band", [0.3, 0.6, 0.9]),
    row(Kind::StoppedEarly, "arc stopped for good before a turn", [330.0, 250.0, 120.0])
        .rules(&["overlap-short"])
        .causes(&["stopped-early"]),
    row(Kind::MissingBand, "a band missing", [1.0; 3]),
    row(Kind::ExtraBand, "a band too many", [1.0; 3]),
    row(Kind::CurrentInKiloampere, "current logged in kA", [0.001; 3]).shapes(&[Shape::Joint]),
    row(Kind::NoBandSeen, "current and voltage at zero all along", [0.0; 3]).shapes(&[Shape::Joint]),
];
