//! Shops over weeks.
