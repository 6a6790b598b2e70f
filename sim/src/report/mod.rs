//! What people and machines are shown of a replay.

pub mod json;
pub mod meaning;
pub mod plan;
pub mod style;
pub mod text;
