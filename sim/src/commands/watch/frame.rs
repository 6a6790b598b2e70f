//! How often a picture is made.

use std::time::Duration;

/// Time between two pictures.
pub(super) const FRAME: Duration = Duration::from_millis(50);
