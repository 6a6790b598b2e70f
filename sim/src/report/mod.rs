//! What people and machines are shown of a replay.

mod draw;
pub mod findings;
pub mod fit;
pub mod heat_picture;
mod heat_words;
pub mod identity;
pub mod inspection;
mod inspection_json;
pub mod json;
pub mod model;
pub mod page;
pub mod picture;
pub mod plan;
pub mod plan_heat;
mod plan_joint;
#[cfg(feature = "register")]
pub mod register;
pub mod repair;
pub mod rounded;
pub mod setup;
mod setup_json;
pub mod shift;
pub mod shift_json;
pub mod style;
pub mod text;
mod torch_drawing;
pub mod trend;
pub mod trend_json;
pub mod trend_words;
pub mod trial;

pub use inspection_json::json as inspection_json;
pub use model::Report;
