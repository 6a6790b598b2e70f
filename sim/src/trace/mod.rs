//! Traces: rows of readings over time, in engineering units.

pub mod row;

pub use row::Row;
