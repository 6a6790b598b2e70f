//! Reading what people write: any text is refused or read, never a panic; what is shown reads back.

use bandward_sim::input::bounds;
use bandward_sim::input::gas_mixture::GasMixture;
use bandward_sim::input::layout::Layout;
use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_sim::input::quantity::{Dimension, UnitSystem, format};
use bandward_sim::input::written_quantity::parse;
use proptest::prelude::*;

const DIMENSIONS: [Dimension; 20] = [
    Dimension::Current,
    Dimension::Voltage,
    Dimension::Flow,
    Dimension::LiquidFlow,
    Dimension::Length,
    Dimension::WireSpeed,
    Dimension::Temperature,
    Dimension::TemperatureDifference,
    Dimension::Rate,
    Dimension::Duration,
    Dimension::Angle,
    Dimension::EventRate,
    Dimension::Power,
    Dimension::Share,
    Dimension::SurfaceSpeed,
    Dimension::EnergyPerLength,
    Dimension::Area,
    Dimension::Mass,
    Dimension::MassRate,
    Dimension::Volume,
];

fn dimension() -> impl Strategy<Value = Dimension> {
    prop::sample::select(&DIMENSIONS[..])
}

/// Texts near to quantities, which reach further into the reader than any text does.
fn nearly_a_quantity() -> impl Strategy<Value = String> {
    prop::string::string_regex("(at least |at most )?[-+−]?[0-9]{0,4}[ .,/-]?[0-9]{0,3}[ /]?[0-9]{0,3}( to )?[0-9]{0,3} ?(mm|in|\"|°C|degF|/min|ft³/h|A|V|%|µs)?")
        .expect("a sound pattern")
}

/// Texts near to a procedure or layout, line by line.
fn nearly_a_file() -> impl Strategy<Value = String> {
    let line = prop_oneof![
        "\\[(time|channels|current|voltage|alarm\\.voltage-low|joint|gas|sensor\\.work|arc)\\]?",
        "(allowed|recommended|floor|seconds|current|mixture|deadband|bands) ?=? ?\\[?\"?[0-9 ./-]{0,6}(A|V|degC|s|Ar)?\"?,?\\]?",
        "current = \\{ column = \"[a-zµ ]{0,3}\", unit = \"A\", scale = [-0-9.]{0,4} \\}?",
        any::<String>(),
    ];
    prop::collection::vec(line, 0..12).prop_map(|lines| lines.join("\n"))
}

/// Half of the last decimal shown, in the unit shown, as the house unit of the dimension; for inches
/// also the 0.002 in by which a fraction may miss.
fn resolution(dimension: Dimension, system: UnitSystem) -> f64 {
    match (dimension, system) {
        (Dimension::Flow, UnitSystem::Inch) => 0.05 * 28.316_846_592 / 60.0,
        (Dimension::LiquidFlow, UnitSystem::Inch) => 0.005 * 3.785_411_784,
        (Dimension::Length, UnitSystem::Inch) => 0.002 * 25.4,
        (Dimension::WireSpeed, UnitSystem::Inch) => 0.05 * 25.4,
        (Dimension::WireSpeed, UnitSystem::Metric) => 5.0,
        (
            Dimension::Voltage
            | Dimension::Flow
            | Dimension::LiquidFlow
            | Dimension::Length
            | Dimension::Duration
            | Dimension::EventRate
            | Dimension::Mass
            | Dimension::MassRate,
            _,
        ) => 0.005,
        (Dimension::Power, _) | (Dimension::Volume, UnitSystem::Metric) => 0.5,
        (Dimension::Share, _)
        | (Dimension::SurfaceSpeed | Dimension::EnergyPerLength, UnitSystem::Metric) => 0.0005,
        (Dimension::SurfaceSpeed, UnitSystem::Inch) => 0.005 * 25.4 / 60.0,
        (Dimension::EnergyPerLength, UnitSystem::Inch) => 0.5 / 25_400.0,
        (Dimension::Area, UnitSystem::Inch) => 0.000_05 * 645.16,
        (Dimension::Volume, UnitSystem::Inch) => 0.05 * 28.316_846_592,
        _ => 0.05,
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_text_makes_the_reader_panic(text in any::<String>(), dimension in dimension()) {
        let _ = parse(&text, dimension);
        let _ = bounds::parse(&text, dimension);
        let _ = GasMixture::parse(&text);
    }

    #[test]
    fn nor_does_a_text_near_to_a_quantity(text in nearly_a_quantity(), dimension in dimension()) {
        if let Ok(value) = parse(&text, dimension) {
            prop_assert!(value.is_finite());
        }
        let _ = bounds::parse(&text, dimension);
    }

    #[test]
    fn what_is_shown_reads_back(
        value in -10_000.0..10_000.0_f64,
        dimension in dimension(),
        system in prop::sample::select(&[UnitSystem::Metric, UnitSystem::Inch][..]),
    ) {
        let text = format(value, dimension, system);
        let back = parse(&text, dimension);
        let tolerance = resolution(dimension, system) * 1.000_001 + 1e-9;
        prop_assert!(back.as_ref().is_ok_and(|back| (back - value).abs() <= tolerance), "{} {:?}", text, back);
    }

    #[test]
    fn no_file_makes_the_readers_panic(text in nearly_a_file()) {
        let refusals = [ProcedureFile::parse("x.toml", &text).err(), Layout::parse("x.toml", &text).err()];
        for errors in refusals.into_iter().flatten() {
            prop_assert!(!errors.faults().is_empty());
            prop_assert!(!errors.to_string().is_empty() && !errors.styled().is_empty());
        }
    }
}
