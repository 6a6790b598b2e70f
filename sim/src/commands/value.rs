//! Values of options: quantities with their units, as in files.
//!
//! Decides: what an option may hold, and what is said where it may not.
//! Assumes: nothing.
//! Never: guesses a unit that was not written.

use crate::input::gas_mixture::{GasMixture, MixtureError};

/// A shielding gas.
///
/// # Errors
/// Says what is wrong and what is allowed.
pub fn gas(text: &str) -> Result<GasMixture, String> {
    GasMixture::parse(text).map_err(|error| format!("{error}; allowed: {}", MixtureError::ALLOWED))
}

/// One reader for each quantity.
pub mod quantity {
    use crate::input::quantity::{Dimension, UnitSystem, format};
    use crate::input::setting::Subject;
    use crate::input::written_quantity::QuantityError;
    use crate::input::written_quantity::parse;
    use bandward::Quantity;

    fn within(text: &str, dimension: Dimension, (low, high): (f64, f64)) -> Result<f64, String> {
        let value = parse(text, dimension).map_err(|error| {
            format!("{}; allowed: {}", error.problem(text, dimension), QuantityError::allowed(dimension))
        })?;
        if (low..=high).contains(&value) {
            return Ok(value);
        }
        let [low, high] = [low, high].map(|end| format(end, dimension, UnitSystem::Metric));
        Err(format!("not possible; allowed: {low} to {high}"))
    }

    macro_rules! readers {
        ($($name:ident: $dimension:expr, $range:expr, $doc:literal;)*) => {$(
            #[doc = $doc]
            ///
            /// # Errors
            /// Says what is wrong and what is allowed.
            pub fn $name(text: &str) -> Result<f64, String> {
                within(text, $dimension, $range)
            }
        )*};
    }

    const fn judged(quantity: Quantity) -> (f64, f64) {
        Subject::Judged(quantity).possible()
    }

    readers! {
        diameter: Dimension::Length, (10.0, 1000.0), "Outside diameter of a joint, mm.";
        turn_time: Dimension::Duration, judged(Quantity::TurnTime), "Time of one turn, s.";
        total_width: Dimension::Length, (1.0, 10_000.0), "Width to cover, mm.";
        width: Dimension::Length, (1.0, 500.0), "Width of a band, or the step to the next, mm.";
        wire_diameter: Dimension::Length, (0.1, 10.0), "Wire diameter, mm.";
        wire_feed: Dimension::WireSpeed, Subject::Judged(Quantity::WireFeed).possible(), "Wire feed, mm/min.";
        current: Dimension::Current, judged(Quantity::Current), "Welding current, A.";
        voltage: Dimension::Voltage, judged(Quantity::Voltage), "Arc voltage, V.";
        stick_out: Dimension::Length, Subject::StickOut.possible(), "Electrical stick-out, mm.";
        gas_flow: Dimension::Flow, judged(Quantity::GasFlow), "Gas flow, L/min.";
        distance: Dimension::Length, (0.0, 1000.0), "Distance from the shoulder, mm.";
        angle: Dimension::Angle, (0.0, 359.0), "Angle round the joint, degrees.";
        old_band: Dimension::Length, (0.0, 20.0), "What is left of an old band, mm.";
        spool: Dimension::Mass, (0.01, 10_000.0), "Wire on a spool, kg.";
        bore: Dimension::Length, (1.0, 1000.0), "Bore of a joint, mm.";
        hydrogen: Dimension::Hydrogen, (0.1, 100.0), "Diffusible hydrogen, mL in 100 g.";
        coating_limit: Dimension::Temperature, (50.0, 1000.0), "What a coating stands, °C.";
        preheat: Dimension::Temperature, judged(Quantity::Preheat), "Temperature before a band, °C.";
        ambient: Dimension::Temperature, (-60.0, 60.0), "Temperature of the air, °C.";
        wind: Dimension::WindSpeed, (0.0, 50.0), "Speed of the air, m/s.";
        blanket: Dimension::Length, (1.0, 500.0), "Thickness of a blanket, mm.";
        bottle: Dimension::Volume, (1.0, 1e9), "Gas out of a bottle, L.";
    }
}
