//! Holds nothing: the measurements are in `benches/`.
